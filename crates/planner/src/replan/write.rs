//! From an order of steps to a plan with its figures.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::model::{CoilIndex, GroupIndex, PieceIndex, Problem, SerialIndex};
use crate::plan::{Figures, Plan, Step, Tail};

use crate::receipt::in_order_of_receipt;

use super::Disturbed;
use super::sequence::{Entry, open_flags};

/// What is known of a coil on the way.
#[derive(Debug, Clone, Copy)]
struct Spool {
    left: i64,
    position: Option<u32>,
    used: bool,
    put_on: bool,
    finished: bool,
    remnant: i64,
    /// Mountings so far, those at the start included.
    visit: u32,
}

struct Writer<'a> {
    problem: &'a Problem,
    spools: Vec<Spool>,
    cut: Vec<bool>,
    /// Place in the wanted order of the last piece of a serial in a visit of a coil.
    last: BTreeMap<(CoilIndex, u32, SerialIndex), (i64, i64)>,
    sources: BTreeMap<GroupIndex, BTreeSet<CoilIndex>>,
    steps: Vec<Step>,
    figures: Figures,
}

/// Writes a plan; `None` if a coil does not hold what is cut from it, a position is taken, there are too few trays, or pieces are
/// out of the wanted order.
pub(super) fn write(floor: &Disturbed<'_>, entries: &[Entry]) -> Option<Plan> {
    if !trays_suffice(floor, entries) || !keeps_due_window(floor.problem, entries) {
        return None;
    }
    let problem = floor.problem;
    let spool = |coil: &crate::model::Coil| Spool {
        left: coil.available.get(),
        position: coil.mounted_at,
        used: false,
        put_on: false,
        finished: false,
        remnant: 0,
        visit: 0,
    };
    let mut writer = Writer {
        problem,
        spools: problem.coils.iter().map(spool).collect(),
        cut: vec![false; problem.pieces.len()],
        last: BTreeMap::new(),
        sources: BTreeMap::new(),
        steps: Vec::with_capacity(entries.len()),
        figures: Figures::default(),
    };
    for entry in entries {
        match *entry {
            Entry::Mount(coil, position) => writer.mount(coil, position)?,
            Entry::Cut(coil, piece) => writer.cut(coil, piece)?,
            Entry::Unmount(coil, position) => writer.unmount(coil, position)?,
        }
    }
    let mut plan = writer.finish()?;
    in_order_of_receipt(problem, &mut plan);
    Some(plan)
}

impl Writer<'_> {
    fn mount(&mut self, coil: CoilIndex, position: u32) -> Option<()> {
        let taken = self.spools.iter().any(|spool| spool.position == Some(position));
        let spool = &mut self.spools[coil.index()];
        let trim = self.problem.policy.end_trim;
        if taken || spool.position.is_some() || spool.finished || spool.left < trim.get() {
            return None;
        }
        spool.left -= trim.get();
        spool.position = Some(position);
        spool.put_on = true;
        spool.visit += 1;
        spool.remnant = 0;
        self.figures.reel_changes += 1;
        self.figures.scrap = self.figures.scrap.checked_add(trim)?;
        self.steps.push(Step::Mount { coil, position, remaining_after: Um::new(spool.left) });
        Some(())
    }

    fn cut(&mut self, coil: CoilIndex, piece: PieceIndex) -> Option<()> {
        let entry = &self.problem.pieces[piece.index()];
        let spool = &mut self.spools[coil.index()];
        spool.left -= entry.length.get();
        if spool.position.is_none() || spool.left < self.problem.margin_of(coil) {
            return None;
        }
        let key = self.problem.policy.piece_order.key(entry);
        if self.last.insert((coil, spool.visit, entry.serial), key).is_some_and(|before| before > key) {
            return None;
        }
        spool.used = true;
        self.cut[piece.index()] = true;
        self.sources.entry(entry.group).or_default().insert(coil);
        self.figures.pieces_cut += 1;
        self.figures.cut_length = self.figures.cut_length.checked_add(entry.length)?;
        self.steps.push(Step::Cut { coil, piece, remaining_after: Um::new(spool.left) });
        Some(())
    }

    fn unmount(&mut self, coil: CoilIndex, position: u32) -> Option<()> {
        let keep_from =
            self.problem.wires[self.problem.coils[coil.index()].wire.index()].smallest_remnant.get();
        let spool = &mut self.spools[coil.index()];
        if spool.position != Some(position) {
            return None;
        }
        spool.position = None;
        let left = Um::new(spool.left);
        let tail = match spool.left {
            0 => Tail::Empty,
            length if length < keep_from => Tail::Scrap(left),
            _ => Tail::Remnant(left),
        };
        match tail {
            Tail::Remnant(length) => spool.remnant = length.get(),
            Tail::Empty | Tail::Scrap(_) => spool.finished = true,
        }
        if let Tail::Scrap(length) = tail {
            self.figures.scrap = self.figures.scrap.checked_add(length)?;
        }
        self.steps.push(Step::Unmount { coil, position, tail });
        Some(())
    }

    fn finish(mut self) -> Option<Plan> {
        let mut on: Vec<(u32, CoilIndex)> = (0u32..)
            .map(CoilIndex)
            .zip(&self.spools)
            .filter(|(_, spool)| spool.used || spool.put_on)
            .filter_map(|(coil, spool)| Some((spool.position?, coil)))
            .collect();
        on.sort_unstable();
        for (position, coil) in on {
            self.unmount(coil, position)?;
        }
        let count = |test: &dyn Fn(usize, &Spool) -> bool| {
            self.spools.iter().enumerate().filter(|(c, spool)| test(*c, spool)).fold(0, |n, _| n + 1)
        };
        let coils = &self.problem.coils;
        self.figures.coils_used = count(&|_, spool| spool.used);
        self.figures.coils_opened =
            count(&|c, spool| spool.put_on && !coils[c].opened && coils[c].mounted_at.is_none());
        self.figures.remnant_length = Um::new(self.spools.iter().map(|spool| spool.remnant).sum());
        self.figures.groups_split =
            self.sources.values().filter(|coils| coils.len() > 1).fold(0, |n, _| n + 1);
        let uncut = (0u32..).map(PieceIndex).zip(&self.cut).filter(|(_, cut)| !**cut).map(|(p, _)| p);
        Some(Plan { uncut: uncut.collect(), steps: self.steps, figures: self.figures })
    }
}

/// Whether no more serials are open at a time than there are trays, those that are open at the start included.
fn trays_suffice(floor: &Disturbed<'_>, entries: &[Entry]) -> bool {
    let problem = floor.problem;
    let cuts = |(i, entry): (usize, &Entry)| match entry {
        Entry::Cut(_, piece) => Some((i, problem.pieces[piece.index()].serial)),
        _ => None,
    };
    let mut last: BTreeMap<SerialIndex, usize> = BTreeMap::new();
    for (i, serial) in entries.iter().enumerate().filter_map(cuts) {
        last.insert(serial, i);
    }
    let mut open: BTreeSet<SerialIndex> = (0u32..)
        .map(SerialIndex)
        .zip(open_flags(floor))
        .filter(|(serial, open)| *open && last.contains_key(serial))
        .map(|(serial, _)| serial)
        .collect();
    let most = (problem.station.trays as usize).max(open.len());
    for (i, serial) in entries.iter().enumerate().filter_map(cuts) {
        open.insert(serial);
        if open.len() > most {
            return false;
        }
        if last.get(&serial) == Some(&i) {
            open.remove(&serial);
        }
    }
    true
}

/// Whether no serial is begun before all that are due more than the window before it are done.
fn keeps_due_window(problem: &Problem, entries: &[Entry]) -> bool {
    let Some(window) = problem.policy.due_window else { return true };
    let mut spans: BTreeMap<SerialIndex, (usize, usize)> = BTreeMap::new();
    for (i, entry) in entries.iter().enumerate() {
        if let Entry::Cut(_, piece) = entry {
            spans.entry(problem.pieces[piece.index()].serial).or_insert((i, i)).1 = i;
        }
    }
    let mut done = 0;
    let ahead = usize::try_from(window).unwrap_or(usize::MAX).saturating_add(1);
    let spans: Vec<(usize, usize)> = spans.into_values().collect();
    spans.iter().skip(ahead).zip(&spans).all(|((first, _), (_, last))| {
        done = done.max(*last);
        done < *first
    })
}
