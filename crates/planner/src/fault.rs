//! Faults of a problem, found before anything is planned.

use std::collections::BTreeMap;
use std::fmt;

use becket_units::Um;

use crate::model::{Coil, CoilIndex, GroupIndex, Piece, PieceIndex, Problem, SerialIndex, WireIndex};

/// Largest number of pieces in a problem.
pub const MAX_PIECES: usize = 2_000_000;
/// Largest number of coils in a problem.
pub const MAX_COILS: usize = 100_000;
/// Largest number of wires in a problem.
pub const MAX_WIRES: usize = 100_000;
/// Largest number of serials in a problem.
pub const MAX_SERIALS: u32 = 100_000;
/// Largest length of anything: 1000 km. All pieces of the largest problem together then still fit into 64 bits.
pub const MAX_LENGTH: Um = Um::new(1_000_000_000_000);

/// One fault of a problem. It names things by index, since the planner knows no paths or names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProblemFault {
    /// More pieces than [`MAX_PIECES`].
    TooManyPieces(usize),
    /// More coils than [`MAX_COILS`].
    TooManyCoils(usize),
    /// More wires than [`MAX_WIRES`].
    TooManyWires(usize),
    /// More serials than [`MAX_SERIALS`].
    TooManySerials(u32),
    /// The station has no reel position.
    NoReelPosition,
    /// The station has no tray.
    NoTray,
    /// The end trim is negative or above [`MAX_LENGTH`].
    EndTrimOutOfRange(Um),
    /// The margin is negative or above [`MAX_LENGTH`].
    MarginOutOfRange(Um),
    /// A wire's smallest remnant is negative or above [`MAX_LENGTH`].
    SmallestRemnantOutOfRange(WireIndex, Um),
    /// A piece's length is not positive or above [`MAX_LENGTH`].
    PieceLengthOutOfRange(PieceIndex, Um),
    /// A piece names a wire that the problem does not have.
    PieceOfUnknownWire(PieceIndex, WireIndex),
    /// A piece names a serial that the problem does not have.
    PieceOfUnknownSerial(PieceIndex, SerialIndex),
    /// A piece has another wire than the first piece of its group.
    GroupOverSeveralWires(GroupIndex, PieceIndex),
    /// A piece has another serial than the first piece of its group.
    GroupOverSeveralSerials(GroupIndex, PieceIndex),
    /// A coil's length is negative or above [`MAX_LENGTH`].
    CoilLengthOutOfRange(CoilIndex, Um),
    /// A coil's margin is negative or above [`MAX_LENGTH`].
    CoilMarginOutOfRange(CoilIndex, Um),
    /// A coil names a wire that the problem does not have.
    CoilOfUnknownWire(CoilIndex, WireIndex),
    /// A coil is mounted on a position that the station does not have.
    CoilOnUnknownPosition(CoilIndex, u32),
    /// Two coils are mounted on one position at the start: position, first coil, second coil.
    PositionTakenTwice(u32, CoilIndex, CoilIndex),
}

impl fmt::Display for ProblemFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let max = MAX_LENGTH;
        match self {
            Self::TooManyPieces(n) => write!(f, "{n} pieces; at most {MAX_PIECES} can be planned"),
            Self::TooManyCoils(n) => write!(f, "{n} coils; at most {MAX_COILS} can be planned"),
            Self::TooManyWires(n) => write!(f, "{n} wires; at most {MAX_WIRES} can be planned"),
            Self::TooManySerials(n) => write!(f, "{n} serials; at most {MAX_SERIALS} can be planned"),
            Self::NoReelPosition => write!(f, "the station has no reel position; it needs at least 1"),
            Self::NoTray => write!(f, "the station has no tray; it needs at least 1"),
            Self::EndTrimOutOfRange(l) => write!(f, "end trim is {}; allowed are 0 to {max}", l),
            Self::MarginOutOfRange(l) => write!(f, "margin is {}; allowed are 0 to {max}", l),
            Self::SmallestRemnantOutOfRange(w, l) => {
                write!(f, "smallest remnant of wire {} is {}; allowed are 0 to {max}", w.0, l)
            }
            Self::PieceLengthOutOfRange(p, l) => {
                write!(f, "piece {} is {} long; allowed are more than 0, up to {max}", p.0, l)
            }
            Self::PieceOfUnknownWire(p, w) => {
                write!(f, "piece {} names wire {}, which is not there", p.0, w.0)
            }
            Self::PieceOfUnknownSerial(p, s) => {
                write!(f, "piece {} names serial {}, which is not there", p.0, s.0)
            }
            Self::GroupOverSeveralWires(g, p) => {
                write!(f, "piece {} has another wire than the rest of its group {}", p.0, g.0)
            }
            Self::GroupOverSeveralSerials(g, p) => {
                write!(f, "piece {} has another serial than the rest of its group {}", p.0, g.0)
            }
            Self::CoilLengthOutOfRange(c, l) => {
                write!(f, "coil {} has {}; allowed are 0 to {max}", c.0, l)
            }
            Self::CoilMarginOutOfRange(c, l) => {
                write!(f, "coil {} has a margin of {}; allowed are 0 to {max}", c.0, l)
            }
            Self::CoilOfUnknownWire(c, w) => write!(f, "coil {} names wire {}, which is not there", c.0, w.0),
            Self::CoilOnUnknownPosition(c, p) => {
                write!(f, "coil {} is mounted on position {p}, which the station does not have", c.0)
            }
            Self::PositionTakenTwice(p, a, b) => {
                write!(f, "coils {} and {} are both mounted on position {p}", a.0, b.0)
            }
        }
    }
}

impl Problem {
    /// Checks that the problem is sound, before any planning.
    ///
    /// # Errors
    ///
    /// All faults at once, in the order: sizes, station, policy, wires, pieces, coils. If the problem is too big, only the
    /// sizes are reported, so that a refusal stays cheap.
    pub fn check(&self) -> Result<(), Vec<ProblemFault>> {
        let mut faults = self.size_faults();
        if faults.is_empty() {
            self.add_frame_faults(&mut faults);
            self.add_piece_faults(&mut faults);
            self.add_coil_faults(&mut faults);
        }
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }

    fn size_faults(&self) -> Vec<ProblemFault> {
        let mut faults = Vec::new();
        if self.pieces.len() > MAX_PIECES {
            faults.push(ProblemFault::TooManyPieces(self.pieces.len()));
        }
        if self.coils.len() > MAX_COILS {
            faults.push(ProblemFault::TooManyCoils(self.coils.len()));
        }
        if self.wires.len() > MAX_WIRES {
            faults.push(ProblemFault::TooManyWires(self.wires.len()));
        }
        if self.serials > MAX_SERIALS {
            faults.push(ProblemFault::TooManySerials(self.serials));
        }
        faults
    }

    fn add_frame_faults(&self, faults: &mut Vec<ProblemFault>) {
        if self.station.reel_positions == 0 {
            faults.push(ProblemFault::NoReelPosition);
        }
        if self.station.trays == 0 {
            faults.push(ProblemFault::NoTray);
        }
        if !is_length(self.policy.end_trim) {
            faults.push(ProblemFault::EndTrimOutOfRange(self.policy.end_trim));
        }
        if !is_length(self.policy.margin) {
            faults.push(ProblemFault::MarginOutOfRange(self.policy.margin));
        }
        for (w, rule) in (0u32..).map(WireIndex).zip(&self.wires) {
            if !is_length(rule.smallest_remnant) {
                faults.push(ProblemFault::SmallestRemnantOutOfRange(w, rule.smallest_remnant));
            }
        }
    }

    fn add_piece_faults(&self, faults: &mut Vec<ProblemFault>) {
        let mut groups: BTreeMap<GroupIndex, &Piece> = BTreeMap::new();
        for (p, piece) in self.indexed_pieces() {
            if !is_length(piece.length) || piece.length == Um::ZERO {
                faults.push(ProblemFault::PieceLengthOutOfRange(p, piece.length));
            }
            if piece.wire.index() >= self.wires.len() {
                faults.push(ProblemFault::PieceOfUnknownWire(p, piece.wire));
            }
            if piece.serial.0 >= self.serials {
                faults.push(ProblemFault::PieceOfUnknownSerial(p, piece.serial));
            }
            let first = groups.entry(piece.group).or_insert(piece);
            if first.wire != piece.wire {
                faults.push(ProblemFault::GroupOverSeveralWires(piece.group, p));
            }
            if first.serial != piece.serial {
                faults.push(ProblemFault::GroupOverSeveralSerials(piece.group, p));
            }
        }
    }

    fn add_coil_faults(&self, faults: &mut Vec<ProblemFault>) {
        let mut taken: BTreeMap<u32, CoilIndex> = BTreeMap::new();
        for (c, coil) in self.indexed_coils() {
            let Coil { wire, available, mounted_at, margin, .. } = *coil;
            if !is_length(available) {
                faults.push(ProblemFault::CoilLengthOutOfRange(c, available));
            }
            if !is_length(margin) {
                faults.push(ProblemFault::CoilMarginOutOfRange(c, margin));
            }
            if wire.index() >= self.wires.len() {
                faults.push(ProblemFault::CoilOfUnknownWire(c, wire));
            }
            let Some(position) = mounted_at else { continue };
            if position >= self.station.reel_positions {
                faults.push(ProblemFault::CoilOnUnknownPosition(c, position));
            }
            if let Some(first) = taken.get(&position) {
                faults.push(ProblemFault::PositionTakenTwice(position, *first, c));
            } else {
                taken.insert(position, c);
            }
        }
    }
}

/// Whether a length is within 0 to [`MAX_LENGTH`].
fn is_length(length: Um) -> bool {
    (Um::ZERO..=MAX_LENGTH).contains(&length)
}
