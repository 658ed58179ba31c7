//! What is on each coil while a plan is being made.

use crate::model::{Coil, CoilIndex, Problem};

/// State of one coil.
#[derive(Debug, Clone, Copy)]
struct Entry {
    /// On the coil now, in µm, with the end trim of the present batch taken off as soon as a piece is placed.
    remaining: i64,
    /// Reel position, if mounted.
    position: Option<u32>,
    /// Whether wire was cut from it, before or in this plan.
    opened: bool,
    /// Whether a piece of the present batch is placed on it. Its end trim, if any, is then paid.
    in_batch: bool,
    /// Whether its tail was scrap or empty: it does not come back.
    finished: bool,
}

/// Account of all coils.
///
/// Pieces are placed for a whole batch before it is cut. A coil that is mounted when the batch begins is cut before any
/// other coil is put on, so it pays no end trim; any other coil is mounted once in the batch and pays one. Therefore the
/// account is exact at all times.
#[derive(Debug)]
pub(crate) struct Ledger<'a> {
    problem: &'a Problem,
    entries: Vec<Entry>,
}

impl<'a> Ledger<'a> {
    /// Opens the account with what is in stock.
    pub(crate) fn new(problem: &'a Problem) -> Self {
        let entry = |coil: &Coil| Entry {
            remaining: coil.available.get(),
            position: coil.mounted_at,
            opened: coil.opened || coil.mounted_at.is_some(),
            in_batch: false,
            finished: false,
        };
        Self { problem, entries: problem.coils.iter().map(entry).collect() }
    }

    /// What would be left after placing `length` µm on the coil; `None` if it does not hold that much.
    pub(crate) fn tail_after(&self, coil: CoilIndex, length: i64) -> Option<i64> {
        let entry = self.entry(coil);
        let tail = entry.remaining - self.trim_due(coil) - length;
        (!entry.finished && tail >= self.problem.margin_of(coil)).then_some(tail)
    }

    /// Whether placing a piece on the coil now costs a mounting that is not needed anyway.
    pub(crate) fn needs_mounting(&self, coil: CoilIndex) -> bool {
        let entry = self.entry(coil);
        entry.position.is_none() && !entry.in_batch
    }

    /// Takes `length` µm off the coil for a piece of the present batch, and the end trim if it is due.
    pub(crate) fn take(&mut self, coil: CoilIndex, length: i64) {
        let trim = self.trim_due(coil);
        let entry = self.entry_mut(coil);
        entry.remaining -= trim + length;
        entry.opened = true;
        entry.in_batch = true;
    }

    /// Ends the present batch.
    pub(crate) fn end_batch(&mut self) {
        for entry in &mut self.entries {
            entry.in_batch = false;
        }
    }

    /// Notes that the coil is put on a reel position.
    pub(crate) fn mount(&mut self, coil: CoilIndex, position: u32) {
        self.entry_mut(coil).position = Some(position);
    }

    /// Notes that the coil is taken off, for good if `finished`.
    pub(crate) fn unmount(&mut self, coil: CoilIndex, finished: bool) {
        let entry = self.entry_mut(coil);
        entry.position = None;
        entry.finished = finished;
    }

    /// What is on the coil, in µm.
    pub(crate) fn remaining(&self, coil: CoilIndex) -> i64 {
        self.entry(coil).remaining
    }

    /// Whether the coil is opened.
    pub(crate) fn is_opened(&self, coil: CoilIndex) -> bool {
        self.entry(coil).opened
    }

    /// Whether the coil is mounted now.
    pub(crate) fn is_mounted(&self, coil: CoilIndex) -> bool {
        self.entry(coil).position.is_some()
    }

    /// Length of the end trim that placing a piece on the coil would cost now, in µm.
    fn trim_due(&self, coil: CoilIndex) -> i64 {
        if self.needs_mounting(coil) { self.problem.policy.end_trim.get() } else { 0 }
    }

    fn entry(&self, coil: CoilIndex) -> &Entry {
        &self.entries[coil.index()]
    }

    fn entry_mut(&mut self, coil: CoilIndex) -> &mut Entry {
        &mut self.entries[coil.index()]
    }
}
