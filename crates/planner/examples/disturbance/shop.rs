//! A shop floor that does not agree with its plan: coils are longer or shorter than believed, cuts are spoilt, coils are taken
//! away, jobs come in. It follows a plan step by step and has it made anew when it must.
//!
//! All chance comes from a seed (splitmix64), so that every run sees the same floor.

use std::collections::{BTreeMap, BTreeSet};

use becket_planner::{
    Coil, CoilIndex, Disturbed, Kin, Moves, Piece, PieceIndex, Plan, PlanError, Policy, Problem, Replanned,
    Replanner, SerialIndex, Station, Step, WireRule, check_plan,
};
use becket_units::Um;

/// The generator splitmix64 (S. Vigna, public domain reference code; from memory).
#[derive(Debug, Clone)]
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`.
    pub(crate) fn within(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low + 1).unwrap_or(1);
        low + i64::try_from(self.next() % span).unwrap_or(0)
    }

    /// Whether something happens that happens so often in a million times.
    pub(crate) fn happens(&mut self, per_million: i64) -> bool {
        self.within(1, 1_000_000) <= per_million
    }

    /// About normally distributed with mean 0 and standard deviation 1 000 000: the sum of twelve even numbers.
    pub(crate) fn normal_millionths(&mut self) -> i64 {
        (0..12).map(|_| self.within(-500_000, 500_000)).sum()
    }
}

/// What goes wrong, and how the stringer meets it.
#[derive(Debug, Clone)]
pub(crate) struct Trouble {
    /// Standard deviation of a coil's true length and of a check's result, in millionths of the length.
    pub(crate) spread_ppm: i64,
    /// Cuts that are spoilt, in a million.
    pub(crate) spoilt_ppm: i64,
    /// Mountings at which the coil proves unusable and is taken away, in a million.
    pub(crate) taken_ppm: i64,
    /// The coil is checked, by weight, once less than this is left by the books, for each entry; µm.
    pub(crate) checks: Vec<i64>,
    /// What is left is measured along the bench, to the millimetre, once less than this is left by the books; µm.
    pub(crate) bench: i64,
    /// Whether the plan is made anew when a check tells another length; else only when it cannot be gone on with.
    pub(crate) replan: bool,
}

/// A coil as it is and as it is believed to be.
#[derive(Debug, Clone)]
pub(crate) struct ShopCoil {
    /// The coil as the planner sees it; `available` is what is believed to be on it.
    pub(crate) coil: Coil,
    /// What is on it, in µm.
    pub(crate) truth: i64,
    /// Whether it was put on a reel and has given all that it can.
    pub(crate) ended: bool,
    checks_done: usize,
    measured: bool,
}

/// What happened.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    /// Tails thrown away, in µm.
    pub(crate) tails: i64,
    /// Longest of them.
    pub(crate) longest_tail: i64,
    /// End trims.
    pub(crate) trims: i64,
    /// Wire on coils that were taken away.
    pub(crate) taken: i64,
    /// Wire of spoilt pieces.
    pub(crate) spoilt: i64,
    /// Coils of which nothing is left in stock.
    pub(crate) used_up: i64,
    /// Coils that were cut from.
    pub(crate) used: i64,
    /// Remnants shorter than 2 m that went back into stock.
    pub(crate) short_remnants: i64,
    /// Times that the wire ran out in a cut.
    pub(crate) run_outs: i64,
    /// Times that a plan was made anew.
    pub(crate) replans: i64,
    /// Sum over these of former cuts that no disturbance forced away, and of those among them that were moved.
    pub(crate) untouched: u64,
    /// See `untouched`.
    pub(crate) moved: u64,
    /// Pieces that were cut from another coil than the first plan said, without having been forced away or recut.
    pub(crate) ever_moved: u64,
    /// Pieces that nobody could cut.
    pub(crate) missing: usize,
}

/// The floor.
#[derive(Debug, Clone)]
pub(crate) struct Shop {
    /// Wires.
    pub(crate) wires: Vec<WireRule>,
    /// Station.
    pub(crate) station: Station,
    /// Policy.
    pub(crate) policy: Policy,
    /// Pieces; their serial is an entry of `due`.
    pub(crate) pieces: Vec<Piece>,
    /// Place of each serial in due order, by its number.
    pub(crate) due: Vec<u32>,
    /// Coils.
    pub(crate) coils: Vec<ShopCoil>,
    /// Coil from which each piece was cut.
    pub(crate) cut_from: Vec<Option<CoilIndex>>,
    /// What goes wrong.
    pub(crate) trouble: Trouble,
    /// Chance.
    pub(crate) chance: Chance,
    /// What happened.
    pub(crate) tally: Tally,
    /// Steps still to be done, with the shop's numbers of pieces.
    pub(crate) steps: Vec<Step>,
    moved: Vec<bool>,
}

/// A change of plan: what it started from, and what came out.
#[derive(Debug)]
pub(crate) struct Change<'a> {
    /// Problem at that moment.
    pub(crate) problem: &'a Problem,
    /// Steps that were to be done.
    pub(crate) former: &'a [Step],
    /// Serials in trays.
    pub(crate) open: &'a [SerialIndex],
    /// Coils of the notes that are cut in part.
    pub(crate) kin: &'a [Option<Kin>],
    /// New plan.
    pub(crate) replanned: &'a Replanned,
    /// How long it took, by the caller's clock.
    pub(crate) micros: u128,
}

impl Change<'_> {
    /// What is wrong with the new plan, by the checker and by a count of trays that knows which serials were open before.
    pub(crate) fn faults(&self) -> Vec<String> {
        let plan = &self.replanned.plan;
        let mut faults = Vec::new();
        if let Err(violations) = check_plan(self.problem, plan) {
            faults.extend(violations.iter().map(|violation| format!("{violation:?}")));
        }
        let serials: Vec<SerialIndex> = plan
            .steps
            .iter()
            .filter_map(|step| match step {
                Step::Cut { piece, .. } => Some(self.problem.pieces[piece.index()].serial),
                _ => None,
            })
            .collect();
        let mut open: BTreeSet<SerialIndex> =
            self.open.iter().copied().filter(|serial| serials.contains(serial)).collect();
        let most = open.len().max(self.problem.station.trays as usize);
        for (i, serial) in serials.iter().enumerate() {
            open.insert(*serial);
            if open.len() > most {
                faults.push(format!("{} serials are open at cut {i}, with {most} trays", open.len()));
            }
            if !serials[i + 1..].contains(serial) {
                open.remove(serial);
            }
        }
        let Moves { kept, moved, forced, added, .. } = self.replanned.moves;
        let cut = self.former.iter().filter(|step| matches!(step, Step::Cut { .. })).count() as u64;
        let gone = self.problem.pieces.len() as u64;
        if kept + moved + forced != cut || kept + added > gone || self.kin.len() as u64 != gone {
            faults.push(format!("{:?} of {cut} cuts and {gone} pieces", self.replanned.moves));
        }
        faults
    }
}

impl Shop {
    /// A floor whose coils differ from what is believed of them.
    pub(crate) fn new(problem: &Problem, trouble: Trouble, seed: u64) -> Self {
        let mut chance = Chance(seed);
        let coils = problem
            .coils
            .iter()
            .map(|coil| {
                let believed = i128::from(coil.available.get());
                let off = i128::from(chance.normal_millionths()) * i128::from(trouble.spread_ppm);
                let truth = believed + believed * off / 1_000_000_000_000;
                let truth = i64::try_from(truth).unwrap_or(0).max(0);
                ShopCoil { coil: *coil, truth, ended: false, checks_done: 0, measured: false }
            })
            .collect();
        Self {
            wires: problem.wires.clone(),
            station: problem.station,
            policy: problem.policy,
            pieces: problem.pieces.clone(),
            due: (0..problem.serials).collect(),
            coils,
            cut_from: vec![None; problem.pieces.len()],
            trouble,
            chance,
            tally: Tally::default(),
            steps: Vec::new(),
            moved: vec![false; problem.pieces.len()],
        }
    }

    /// Adds a job that is due before all others.
    pub(crate) fn rush(&mut self, pieces: &[Piece]) {
        let serial = SerialIndex(u32::try_from(self.due.len()).unwrap_or(0));
        self.due.iter_mut().for_each(|due| *due += 1);
        self.due.push(0);
        let group = self.pieces.iter().map(|piece| piece.group.0).max().unwrap_or(0) + 1;
        for piece in pieces {
            let group = becket_planner::GroupIndex(piece.group.0 + group);
            self.pieces.push(Piece { serial, group, ..*piece });
            self.cut_from.push(None);
            self.moved.push(true);
        }
    }

    /// What is still to be cut, as a problem, with the shop's numbers of its pieces.
    pub(crate) fn problem(&self) -> (Problem, Vec<usize>) {
        let pending: Vec<usize> = (0..self.pieces.len()).filter(|p| self.cut_from[*p].is_none()).collect();
        let order = self.order();
        let piece = |p: &usize| {
            let piece = self.pieces[*p];
            Piece { serial: SerialIndex(order[piece.serial.index()]), ..piece }
        };
        let problem = Problem {
            wires: self.wires.clone(),
            serials: u32::try_from(self.due.len()).unwrap_or(0),
            pieces: pending.iter().map(piece).collect(),
            coils: self.coils.iter().map(|coil| coil.coil).collect(),
            station: self.station,
            policy: self.policy,
        };
        (problem, pending)
    }

    /// Serials, by the shop's numbers, of which a piece is cut and another is not.
    fn begun(&self) -> BTreeSet<usize> {
        let of = |cut: bool| -> BTreeSet<usize> {
            let pieces = self.pieces.iter().zip(&self.cut_from).filter(|(_, from)| from.is_some() == cut);
            pieces.map(|(piece, _)| piece.serial.index()).collect()
        };
        of(true).intersection(&of(false)).copied().collect()
    }

    /// Place of each serial in the problem: in due order, but what is begun first where the shop sets a due window.
    fn order(&self) -> Vec<u32> {
        let begun = self.begun();
        let first = |serial: usize| self.policy.due_window.is_none() || begun.contains(&serial);
        let mut serials: Vec<usize> = (0..self.due.len()).collect();
        serials.sort_by_key(|serial| (!first(*serial), self.due[*serial]));
        let mut order = vec![0; serials.len()];
        for (place, serial) in (0u32..).zip(serials) {
            order[serial] = place;
        }
        order
    }

    fn open(&self) -> Vec<SerialIndex> {
        let order = self.order();
        self.begun().into_iter().map(|serial| SerialIndex(order[serial])).collect()
    }

    fn kin(&self, pending: &[usize]) -> Vec<Option<Kin>> {
        let mut coils: BTreeMap<u32, CoilIndex> = BTreeMap::new();
        for (piece, from) in self.pieces.iter().zip(&self.cut_from) {
            if let Some(coil) = from {
                coils.insert(piece.group.0, *coil);
            }
        }
        let kin = |coil: &CoilIndex| {
            let entry = &self.coils[coil.index()];
            Kin { coil: (!entry.ended).then_some(*coil), lot: Some(entry.coil.lot) }
        };
        pending.iter().map(|p| coils.get(&self.pieces[*p].group.0).map(kin)).collect()
    }

    /// Makes the plan anew.
    ///
    /// # Errors
    /// If the planner refuses the problem.
    pub(crate) fn replan(
        &mut self,
        replanner: &Replanner,
        clock: &mut impl FnMut() -> u128,
        mut seen: impl FnMut(&Change<'_>),
    ) -> Result<(), PlanError> {
        let (problem, pending) = self.problem();
        let number: BTreeMap<usize, u32> = pending.iter().copied().zip(0u32..).collect();
        let mut former = Vec::with_capacity(self.steps.len());
        for step in &self.steps {
            match *step {
                Step::Cut { coil, piece, remaining_after } => {
                    if let Some(n) = number.get(&piece.index()) {
                        former.push(Step::Cut { coil, piece: PieceIndex(*n), remaining_after });
                    }
                }
                other => former.push(other),
            }
        }
        let (open, kin) = (self.open(), self.kin(&pending));
        let floor = Disturbed { problem: &problem, former: &former, open: &open, kin: &kin };
        let start = clock();
        let replanned = replanner.replan(&floor, &|| false)?;
        let micros = clock() - start;
        seen(&Change {
            problem: &problem,
            former: &former,
            open: &open,
            kin: &kin,
            replanned: &replanned,
            micros,
        });
        let Moves { kept, moved, .. } = replanned.moves;
        self.tally.replans += 1;
        self.tally.untouched += kept + moved;
        self.tally.moved += moved;
        self.note_moved(&former, &replanned.plan, &pending);
        self.steps = in_shop_numbers(&replanned.plan, &pending);
        Ok(())
    }

    fn note_moved(&mut self, former: &[Step], plan: &Plan, pending: &[usize]) {
        let coils = |steps: &[Step]| -> BTreeMap<PieceIndex, CoilIndex> {
            let cut = |step: &Step| match step {
                Step::Cut { coil, piece, .. } => Some((*piece, *coil)),
                _ => None,
            };
            steps.iter().filter_map(cut).collect()
        };
        let (before, after) = (coils(former), coils(&plan.steps));
        for (piece, coil) in &before {
            let p = pending[piece.index()];
            if after.get(piece) != Some(coil) && !self.moved[p] {
                self.moved[p] = true;
                self.tally.ever_moved += 1;
            }
        }
    }

    /// Does the next step. Returns whether the plan must be made anew; `None` when nothing is left to do.
    pub(crate) fn go_on(&mut self) -> Option<bool> {
        if self.steps.is_empty() {
            self.tally.missing = self.cut_from.iter().filter(|from| from.is_none()).count();
            return None;
        }
        match self.steps[0] {
            Step::Mount { coil, position, .. } => Some(self.mount(coil, position)),
            Step::Cut { coil, piece, .. } => Some(self.cut(coil, piece.index())),
            Step::Unmount { coil, .. } => {
                self.steps.remove(0);
                self.take_off(coil);
                Some(false)
            }
        }
    }

    fn mount(&mut self, index: CoilIndex, position: u32) -> bool {
        self.steps.remove(0);
        if self.chance.happens(self.trouble.taken_ppm) {
            // Kinked: it goes back to the supplier.
            let coil = &mut self.coils[index.index()];
            coil.ended = true;
            self.tally.taken += std::mem::take(&mut coil.truth);
            coil.coil.available = Um::ZERO;
            return true;
        }
        let trim = self.policy.end_trim.get();
        let coil = &mut self.coils[index.index()];
        self.tally.trims += trim.min(coil.truth);
        coil.truth = (coil.truth - trim).max(0);
        coil.coil.available = Um::new((coil.coil.available.get() - trim).max(0));
        coil.coil.opened = true;
        coil.coil.mounted_at = Some(position);
        self.check(index)
    }

    fn cut(&mut self, index: CoilIndex, piece: usize) -> bool {
        let length = self.pieces[piece].length.get();
        let coil = &mut self.coils[index.index()];
        if coil.truth < length {
            // What is left is in the stringer's hand and is measured.
            self.tally.run_outs += 1;
            coil.coil.available = Um::new(coil.truth);
            coil.measured = true;
            return true;
        }
        self.steps.remove(0);
        coil.truth -= length;
        coil.coil.available = Um::new((coil.coil.available.get() - length).max(0));
        let spoilt = self.chance.happens(self.trouble.spoilt_ppm);
        if spoilt {
            self.tally.spoilt += length;
            self.moved[piece] = true;
        } else {
            self.cut_from[piece] = Some(index);
        }
        let differs = self.check(index);
        spoilt || differs
    }

    /// Looks how much is left if it is time; returns whether it is worth a new plan.
    fn check(&mut self, index: CoilIndex) -> bool {
        let spread = self.trouble.spread_ppm;
        let gives_more = self.steps.iter().any(|s| matches!(s, Step::Cut { coil, .. } if *coil == index));
        let coil = &mut self.coils[index.index()];
        let believed = coil.coil.available.get();
        let mut differs = false;
        while self.trouble.checks.get(coil.checks_done).is_some_and(|from| believed <= *from) {
            coil.checks_done += 1;
            differs = true;
        }
        if differs {
            let off = i128::from(self.chance.normal_millionths()) * i128::from(spread);
            let weighed = i128::from(coil.truth) + i128::from(coil.truth) * off / 1_000_000_000_000;
            coil.coil.available = Um::new(i64::try_from(weighed).unwrap_or(0).max(0));
        }
        if believed <= self.trouble.bench && !coil.measured {
            coil.measured = true;
            coil.coil.available = Um::new(coil.truth / 1000 * 1000);
            differs = true;
        }
        differs && self.trouble.replan && (gives_more || believed != coil.coil.available.get())
    }

    fn take_off(&mut self, index: CoilIndex) {
        let coil = &mut self.coils[index.index()];
        let keep_from = self.wires[coil.coil.wire.index()].smallest_remnant.get();
        coil.coil.mounted_at = None;
        if coil.truth >= keep_from && coil.truth > 0 {
            self.tally.short_remnants += i64::from(coil.truth < 2_000_000);
            // A short rest is measured before it is labelled.
            if coil.truth < 2_000_000 || coil.coil.available.get() < keep_from {
                coil.coil.available = Um::new(coil.truth);
            }
            return;
        }
        self.tally.tails += coil.truth;
        self.tally.longest_tail = self.tally.longest_tail.max(coil.truth);
        self.tally.used_up += 1;
        coil.truth = 0;
        coil.ended = true;
        coil.coil.available = Um::ZERO;
    }

    /// Wire that has come from nowhere or gone nowhere, in µm, given what was there at first.
    pub(crate) fn lost_count(&self, at_first: i64) -> i64 {
        let cut = self.pieces.iter().zip(&self.cut_from).filter(|(_, from)| from.is_some());
        let cut: i64 = cut.map(|(piece, _)| piece.length.get()).sum();
        let left: i64 = self.coils.iter().map(|coil| coil.truth).sum();
        at_first - left - cut - self.tally.spoilt - self.tally.trims - self.tally.tails - self.tally.taken
    }

    /// Counts what can only be counted at the end.
    pub(crate) fn close(&mut self) {
        let used: BTreeSet<CoilIndex> = self.cut_from.iter().flatten().copied().collect();
        self.tally.used = i64::try_from(used.len()).unwrap_or(0);
    }
}

fn in_shop_numbers(plan: &Plan, pending: &[usize]) -> Vec<Step> {
    let step = |step: &Step| match *step {
        Step::Cut { coil, piece, remaining_after } => {
            let piece = PieceIndex(u32::try_from(pending[piece.index()]).unwrap_or(u32::MAX));
            Step::Cut { coil, piece, remaining_after }
        }
        other => other,
    };
    plan.steps.iter().map(step).collect()
}
