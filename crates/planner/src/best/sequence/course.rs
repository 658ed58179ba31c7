//! In which order wires are stopped for: a set of serials that slides along the due order.

use std::collections::VecDeque;

use crate::model::{CoilIndex, PieceIndex, Problem, WireIndex};

use super::keep::{Kept, best_kept};

/// What one serial needs of one wire.
#[derive(Debug, Clone)]
pub(super) struct Stop {
    /// Place of the serial among those that have pieces, in due order.
    pub(super) place: usize,
    /// All of it, in µm.
    pub(super) length: i64,
    /// Its shortest piece, in µm.
    pub(super) shortest: i64,
    pieces: Vec<PieceIndex>,
}

/// Pieces that are cut together: wires in order, each with its pieces.
pub(in crate::best) type Phase = Vec<(WireIndex, Vec<PieceIndex>)>;

/// What is still to be cut.
///
/// Let B serials be cut at a time, and f be the first serial that is not done. The serials f … f + B − 1 may be open. In the phase
/// of f all wires are stopped for that f still needs, and each of them serves all open serials; so each wire is stopped for
/// as late as can be, which needs the fewest stops (intervals are stabbed at their ends). What is on the reel positions
/// serves every serial that comes into the set, since that costs nothing. Where all serials have the same wires this gives
/// batches of B serials.
#[derive(Debug, Clone)]
pub(in crate::best) struct Course {
    /// For each wire what the serials need that are not served yet, in due order.
    queues: Vec<VecDeque<Stop>>,
    /// Length of all that.
    ahead: Vec<i64>,
    at_a_time: usize,
}

impl Course {
    pub(in crate::best) fn new(problem: &Problem) -> Self {
        let mut has_pieces = vec![0; problem.serials as usize];
        for piece in &problem.pieces {
            has_pieces[piece.serial.index()] = 1;
        }
        let mut next = 0;
        let mut place = |has: usize| {
            next += has;
            next - has
        };
        let places: Vec<usize> = has_pieces.into_iter().map(&mut place).collect();
        let mut pieces: Vec<(WireIndex, usize, PieceIndex)> = problem
            .indexed_pieces()
            .map(|(p, piece)| (piece.wire, places[piece.serial.index()], p))
            .collect();
        pieces.sort_unstable();
        let mut queues = vec![VecDeque::new(); problem.wires.len()];
        for of_both in pieces.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
            let Some((wire, place, _)) = of_both.first() else { continue };
            let lengths = || of_both.iter().map(|(_, _, p)| problem.pieces[p.index()].length.get());
            queues[wire.index()].push_back(Stop {
                place: *place,
                length: lengths().sum(),
                shortest: lengths().min().unwrap_or(0),
                pieces: of_both.iter().map(|(_, _, p)| *p).collect(),
            });
        }
        let ahead = queues.iter().map(|queue| queue.iter().map(|stop: &Stop| stop.length).sum()).collect();
        Self { queues, ahead, at_a_time: (problem.serials_at_a_time() as usize).max(1) }
    }

    /// What is not served yet of a wire.
    pub(super) fn waiting(&self, wire: WireIndex) -> impl Iterator<Item = &Stop> {
        self.queues[wire.index()].iter()
    }

    /// The first serial that is not done; `None` if all are.
    pub(in crate::best) fn first(&self) -> Option<usize> {
        self.queues.iter().filter_map(|queue| queue.front()).map(|stop| stop.place).min()
    }

    /// What is cut in the phase of serial `first`: all that it needs, and what the mounted coils, each with its usable length
    /// in µm, can give to open serials.
    pub(in crate::best) fn take(
        &mut self,
        problem: &Problem,
        first: usize,
        mounted: impl Iterator<Item = (CoilIndex, i64)>,
    ) -> Phase {
        let end = first + self.at_a_time;
        let mut usable = vec![0i64; self.queues.len()];
        for (coil, length) in mounted {
            let of_wire = &mut usable[problem.coils[coil.index()].wire.index()];
            *of_wire = length.max(*of_wire);
        }
        let mut phase = Phase::new();
        let queues = self.queues.iter_mut().zip(&mut self.ahead);
        for ((wire, (queue, ahead)), usable) in (0u32..).map(WireIndex).zip(queues).zip(usable) {
            let must = queue.front().is_some_and(|stop| stop.place == first);
            let mut left = if must { i64::MAX } else { usable };
            let mut pieces = Vec::new();
            while let Some(stop) = queue.front().filter(|stop| stop.place < end && stop.length <= left) {
                left -= stop.length;
                *ahead -= stop.length;
                pieces.extend_from_slice(&stop.pieces);
                queue.pop_front();
            }
            if !pieces.is_empty() {
                phase.push((wire, pieces));
            }
        }
        phase
    }

    /// Length of what is not served yet of a wire, in µm.
    pub(in crate::best) fn ahead(&self, wire: WireIndex) -> i64 {
        self.ahead[wire.index()]
    }

    /// Which wires should stay on the reel positions from phase to phase.
    pub(in crate::best) fn kept(&self, problem: &Problem) -> Kept {
        best_kept(problem, self)
    }

    /// Places of the serials that need each wire.
    pub(super) fn places(&self) -> Vec<Vec<usize>> {
        self.queues.iter().map(|queue| queue.iter().map(|stop| stop.place).collect()).collect()
    }

    /// Number of serials that are cut at a time.
    pub(super) fn at_a_time(&self) -> usize {
        self.at_a_time
    }
}
