//! The checker: replays a plan against the model of the crate's documentation.
//!
//! It shares no code with any planner and trusts nothing in the plan. Numbers in the comments are those of the
//! constraints in the crate's documentation.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::model::{
    Coil, CoilIndex, GroupIndex, Piece, PieceIndex, PieceOrder, Problem, SerialIndex, Unison, WireIndex,
};
use crate::plan::{Plan, Step, Tail};
use crate::violation::{Figure, Violation};

/// Checks a plan against its problem.
///
/// # Errors
///
/// All violations found, those of single steps in the order of steps. After a violation the replay goes on from what the
/// steps really do to the coils, so one mistake may show in several violations.
pub fn check_plan(problem: &Problem, plan: &Plan) -> Result<(), Vec<Violation>> {
    if let Err(faults) = problem.check() {
        return Err(faults.into_iter().map(Violation::UnsoundProblem).collect());
    }
    let mut replay = Replay::new(problem);
    for (number, step) in plan.steps.iter().enumerate() {
        replay.step(number, step);
    }
    replay.check_all_accounted(&plan.uncut);
    replay.check_nothing_left_mounted();
    replay.check_trays();
    replay.check_due_order();
    replay.check_groups();
    replay.check_figures(plan);
    if replay.violations.is_empty() { Ok(()) } else { Err(replay.violations) }
}

/// A coil as the replay sees it.
#[derive(Debug)]
struct Spool {
    left: i64,
    on: Option<u32>,
    /// The plan has mounted it or cut from it.
    touched: bool,
    given_pieces: bool,
    put_on_by_plan: bool,
    used_up: bool,
    /// Back in stock with this much, in µm.
    remnant: Option<Um>,
    /// Last piece cut for each serial since the coil was mounted.
    last_cut: BTreeMap<SerialIndex, Piece>,
}

/// What equal sealed coils share: wire, length and margin.
type Equal = (WireIndex, Um, Um);

/// The state of the station, the tallies, and what was found.
#[derive(Debug)]
struct Replay<'a> {
    problem: &'a Problem,
    spools: Vec<Spool>,
    holders: BTreeMap<u32, CoilIndex>,
    /// Sealed coils that were not mounted yet, by order of receipt.
    sealed: BTreeMap<Equal, BTreeSet<(u32, CoilIndex)>>,
    times_cut: Vec<u32>,
    /// First and last step in which a serial is cut.
    spans: BTreeMap<SerialIndex, (usize, usize)>,
    origins: BTreeMap<GroupIndex, BTreeSet<CoilIndex>>,
    cuts: i128,
    cut_length: i128,
    scrap: i128,
    mountings: i128,
    violations: Vec<Violation>,
}

impl<'a> Replay<'a> {
    fn new(problem: &'a Problem) -> Self {
        let spool = |coil: &Coil| Spool {
            left: coil.available.get(),
            on: coil.mounted_at,
            touched: false,
            given_pieces: false,
            put_on_by_plan: false,
            used_up: false,
            remnant: None,
            last_cut: BTreeMap::new(),
        };
        let mut sealed: BTreeMap<Equal, BTreeSet<(u32, CoilIndex)>> = BTreeMap::new();
        for (c, coil) in problem.indexed_coils().filter(|(_, coil)| !coil.opened && coil.mounted_at.is_none())
        {
            sealed
                .entry((coil.wire, coil.available, coil.margin))
                .or_default()
                .insert((coil.received_rank, c));
        }
        let holders = problem.indexed_coils().filter_map(|(c, coil)| coil.mounted_at.map(|on| (on, c)));
        Self {
            problem,
            spools: problem.coils.iter().map(spool).collect(),
            holders: holders.collect(),
            sealed,
            times_cut: vec![0; problem.pieces.len()],
            spans: BTreeMap::new(),
            origins: BTreeMap::new(),
            cuts: 0,
            cut_length: 0,
            scrap: 0,
            mountings: 0,
            violations: Vec::new(),
        }
    }

    fn step(&mut self, step: usize, what: &Step) {
        let (Step::Mount { coil, .. } | Step::Cut { coil, .. } | Step::Unmount { coil, .. }) = *what;
        if coil.index() >= self.spools.len() {
            self.violations.push(Violation::UnknownCoil { step, coil });
            return;
        }
        match *what {
            Step::Mount { coil, position, remaining_after } => {
                self.mount(step, coil, position, remaining_after)
            }
            Step::Cut { coil, piece, remaining_after } => self.cut(step, coil, piece, remaining_after),
            Step::Unmount { coil, position, tail } => self.unmount(step, coil, position, tail),
        }
    }

    fn mount(&mut self, step: usize, coil: CoilIndex, position: u32, stated: Um) {
        // (4) The position exists and is free, and the coil is nowhere else.
        if position >= self.problem.station.reel_positions {
            self.violations.push(Violation::UnknownPosition { step, position });
        }
        if let Some(holder) = self.holders.get(&position).copied() {
            self.violations.push(Violation::PositionTaken { step, position, holder });
        }
        let spool = &mut self.spools[coil.index()];
        if spool.on.is_some() {
            self.violations.push(Violation::MountedTwice { step, coil });
        }
        // (7) What was used up does not come back.
        if spool.used_up {
            self.violations.push(Violation::FinishedCoilMounted { step, coil });
        }
        spool.on = Some(position);
        spool.touched = true;
        spool.put_on_by_plan = true;
        spool.remnant = None;
        spool.last_cut.clear();
        // (3) The trim comes off.
        spool.left = spool.left.saturating_sub(self.problem.policy.end_trim.get());
        self.holders.insert(position, coil);
        self.mountings += 1;
        self.scrap += i128::from(self.problem.policy.end_trim.get());
        self.check_balance(step, coil, stated);
        self.check_first_in(step, coil);
    }

    /// (11) No equal sealed coil of earlier receipt is left.
    fn check_first_in(&mut self, step: usize, coil: CoilIndex) {
        let Coil { wire, available, margin, received_rank, .. } = self.problem.coils[coil.index()];
        let Some(equal) = self.sealed.get_mut(&(wire, available, margin)) else { return };
        if equal.remove(&(received_rank, coil))
            && self.problem.policy.fifo
            && let Some((_, older)) = equal.first().filter(|(rank, _)| *rank < received_rank)
        {
            self.violations.push(Violation::NotFirstIn { step, coil, older: *older });
        }
    }

    fn cut(&mut self, step: usize, coil: CoilIndex, index: PieceIndex, stated: Um) {
        let Some(piece) = self.problem.pieces.get(index.index()).copied() else {
            self.violations.push(Violation::UnknownPiece { step, piece: index });
            return;
        };
        // (1) No piece twice.
        self.times_cut[index.index()] += 1;
        if self.times_cut[index.index()] > 1 {
            self.violations.push(Violation::CutTwice { step, piece: index });
        }
        // (2) Right wire, mounted coil.
        if self.problem.coils[coil.index()].wire != piece.wire {
            self.violations.push(Violation::WrongWire { step, coil, piece: index });
        }
        let spool = &mut self.spools[coil.index()];
        if spool.on.is_none() {
            self.violations.push(Violation::CutFromUnmounted { step, coil });
        }
        spool.touched = true;
        spool.given_pieces = true;
        spool.left = spool.left.saturating_sub(piece.length.get());
        // (9) Wanted order within the serial.
        if let Some(before) = spool.last_cut.insert(piece.serial, piece)
            && !may_follow(self.problem.policy.piece_order, &before, &piece)
        {
            self.violations.push(Violation::OutOfOrder { step, piece: index });
        }
        // (3) Balance and margin.
        let left = spool.left;
        self.check_balance(step, coil, stated);
        let kept = i128::from(self.problem.policy.margin.get())
            + i128::from(self.problem.coils[coil.index()].margin.get());
        if left >= 0 && i128::from(left) < kept {
            self.violations.push(Violation::MarginCut { step, coil, remaining: Um::new(left) });
        }
        let span = self.spans.entry(piece.serial).or_insert((step, step));
        span.1 = step;
        self.origins.entry(piece.group).or_default().insert(coil);
        self.cuts += 1;
        self.cut_length += i128::from(piece.length.get());
    }

    fn unmount(&mut self, step: usize, coil: CoilIndex, position: u32, stated: Tail) {
        let spool = &mut self.spools[coil.index()];
        if spool.on != Some(position) {
            self.violations.push(Violation::NotOnPosition { step, coil, position });
        }
        if self.holders.get(&position) == Some(&coil) {
            self.holders.remove(&position);
        }
        spool.on = None;
        // (7) The tail is what it is.
        let wire = self.problem.coils[coil.index()].wire;
        let keep_from = self.problem.wires[wire.index()].smallest_remnant.get();
        let actual = match spool.left {
            0 => Tail::Empty,
            left if left < keep_from => Tail::Scrap(Um::new(left)),
            left => Tail::Remnant(Um::new(left)),
        };
        match actual {
            Tail::Empty => spool.used_up = true,
            Tail::Scrap(length) => {
                spool.used_up = true;
                self.scrap += i128::from(length.get());
            }
            Tail::Remnant(length) => spool.remnant = Some(length),
        }
        if stated != actual {
            self.violations.push(Violation::TailWrong { step, stated, actual });
        }
    }

    /// (3) What remains is as stated and not below nothing.
    fn check_balance(&mut self, step: usize, coil: CoilIndex, stated: Um) {
        let actual = Um::new(self.spools[coil.index()].left);
        if actual < Um::ZERO {
            self.violations.push(Violation::Overdrawn { step, coil, remaining: actual });
        }
        if stated != actual {
            self.violations.push(Violation::RemainingWrong { step, stated, actual });
        }
    }

    /// (1) Every piece is cut or listed as uncut.
    fn check_all_accounted(&mut self, uncut: &[PieceIndex]) {
        let mut listed = BTreeSet::new();
        for piece in uncut.iter().copied() {
            if piece.index() >= self.times_cut.len() {
                self.violations.push(Violation::UnknownUncutPiece { piece });
            } else if !listed.insert(piece) {
                self.violations.push(Violation::UncutTwice { piece });
            }
        }
        for (piece, times) in (0u32..).map(PieceIndex).zip(&self.times_cut) {
            match (*times > 0, listed.contains(&piece)) {
                (true, true) => self.violations.push(Violation::CutAndUncut { piece }),
                (false, false) => self.violations.push(Violation::Forgotten { piece }),
                (true, false) | (false, true) => {}
            }
        }
    }

    /// (8) What the plan touched is taken off.
    fn check_nothing_left_mounted(&mut self) {
        for (coil, spool) in (0u32..).map(CoilIndex).zip(&self.spools) {
            if spool.touched && spool.on.is_some() {
                self.violations.push(Violation::StillMounted { coil });
            }
        }
    }

    /// (5) Open serials never exceed the trays.
    fn check_trays(&mut self) {
        let mut closings = BTreeSet::new();
        let mut spans: Vec<_> = self.spans.values().copied().collect();
        spans.sort_unstable();
        for (first, last) in spans {
            // Steps are distinct, so a serial that closed before this one opened has freed its tray.
            closings = closings.split_off(&first);
            closings.insert(last);
            let open = closings.len() as u64;
            if open > u64::from(self.problem.station.trays) {
                self.violations.push(Violation::TraysExceeded { step: first, open });
            }
        }
    }

    /// (10) No serial is begun too far ahead of one that is open.
    fn check_due_order(&mut self) {
        let Some(window) = self.problem.policy.due_window else { return };
        let spans: Vec<_> = self.spans.iter().map(|(serial, span)| (*serial, *span)).collect();
        let ahead = usize::try_from(window).unwrap_or(usize::MAX).saturating_add(1);
        let mut latest: Option<(usize, SerialIndex)> = None;
        for (place, (serial, (first, _))) in spans.iter().enumerate().skip(ahead) {
            let (due, (_, last)) = spans[place - ahead];
            latest = latest.max(Some((last, due)));
            if let Some((_, open)) = latest.filter(|(last, _)| last > first) {
                self.violations.push(Violation::AheadOfDueOrder { step: *first, serial: *serial, open });
            }
        }
    }

    /// (6) Hard groups are cut from one coil as a whole, or not at all.
    fn check_groups(&mut self) {
        if self.problem.policy.unison != Unison::Hard {
            return;
        }
        for (group, coils) in &self.origins {
            if coils.len() > 1 {
                self.violations.push(Violation::GroupSplit { group: *group });
            }
        }
        let missing = self.problem.pieces.iter().zip(&self.times_cut).filter(|(_, times)| **times == 0);
        let missing: BTreeSet<GroupIndex> = missing.map(|(piece, _)| piece.group).collect();
        for group in missing.into_iter().filter(|group| self.origins.contains_key(group)) {
            self.violations.push(Violation::GroupCutInPart { group });
        }
    }

    /// Figures are what the steps come to.
    fn check_figures(&mut self, plan: &Plan) {
        let tally = |test: &dyn Fn(&Spool, &Coil) -> bool| {
            self.spools.iter().zip(&self.problem.coils).map(|(s, c)| i128::from(test(s, c))).sum::<i128>()
        };
        let used = tally(&|spool, _| spool.given_pieces);
        let opened = tally(&|spool, coil| spool.put_on_by_plan && !coil.opened && coil.mounted_at.is_none());
        let split = self.origins.values().map(|coils| i128::from(coils.len() > 1)).sum::<i128>();
        let remnants =
            self.spools.iter().filter_map(|spool| spool.remnant).map(|l| i128::from(l.get())).sum();
        let stated = plan.figures;
        for (figure, stated, actual) in [
            (Figure::PiecesCut, i128::from(stated.pieces_cut), self.cuts),
            (Figure::CutLength, i128::from(stated.cut_length.get()), self.cut_length),
            (Figure::Scrap, i128::from(stated.scrap.get()), self.scrap),
            (Figure::RemnantLength, i128::from(stated.remnant_length.get()), remnants),
            (Figure::CoilsUsed, i128::from(stated.coils_used), used),
            (Figure::CoilsOpened, i128::from(stated.coils_opened), opened),
            (Figure::ReelChanges, i128::from(stated.reel_changes), self.mountings),
            (Figure::GroupsSplit, i128::from(stated.groups_split), split),
        ] {
            if stated != actual {
                self.violations.push(Violation::FigureWrong { figure, stated, actual });
            }
        }
    }
}

/// Whether `next` may be cut after `before` in the wanted order.
fn may_follow(order: PieceOrder, before: &Piece, next: &Piece) -> bool {
    match order {
        PieceOrder::BySize => next.length <= before.length,
        PieceOrder::UpTheScale => next.rank >= before.rank,
        PieceOrder::DownTheScale => next.rank <= before.rank,
    }
}
