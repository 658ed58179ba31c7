//! The problem: what is to be cut, from what, and under which rules.

use becket_units::Um;

macro_rules! index {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub u32);

        impl $name {
            /// Position in the list that it points into.
            #[must_use]
            pub fn index(self) -> usize {
                self.0 as usize
            }
        }
    };
}

index! {
    /// Position of a piece in [`Problem::pieces`].
    PieceIndex
}
index! {
    /// Position of a coil in [`Problem::coils`].
    CoilIndex
}
index! {
    /// Position of a wire in [`Problem::wires`].
    WireIndex
}
index! {
    /// A serial by its place in due order: 0 is due first. Ties of the due date are broken by the caller.
    SerialIndex
}
index! {
    /// A group of pieces. Numbers need not be dense.
    GroupIndex
}

/// One piece of wire to cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// Wire from which it is cut.
    pub wire: WireIndex,
    /// Serial for which it is cut.
    pub serial: SerialIndex,
    /// Length to cut, in µm, more than 0 and at most [`MAX_LENGTH`](crate::MAX_LENGTH).
    pub length: Um,
    /// Pieces that serve one note, or notes chained by looped pieces, and should come from one coil. All pieces of a group
    /// have the same wire and serial.
    pub group: GroupIndex,
    /// Place in the stringer's order up the scale: low notes have low ranks. Equal ranks may be cut in any order.
    pub rank: u32,
    /// Section of the scale, numbered from the bass up.
    pub section: u32,
}

/// One coil of wire in stock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coil {
    /// Wire on the coil.
    pub wire: WireIndex,
    /// Length that may be cut, in µm: what remains less what is reserved for others; 0 to [`MAX_LENGTH`](crate::MAX_LENGTH).
    /// Tails are judged by this length, so a coil with a reservation is longer in truth than its tail here says.
    pub available: Um,
    /// Whether wire was cut from it before. A coil mounted at the start counts as opened in any case.
    pub opened: bool,
    /// Order of receipt: sealed coils with lower ranks are opened first, see [`Policy::fifo`].
    pub received_rank: u32,
    /// Lot or heat. Where a group must be split, coils of one lot are preferred.
    pub lot: u32,
    /// Reel position (from 0) on which it is mounted at the start, with its end trimmed already.
    pub mounted_at: Option<u32>,
    /// Length left on it besides [`Policy::margin`] because its own length is known less well, in µm, 0 to
    /// [`MAX_LENGTH`](crate::MAX_LENGTH).
    pub margin: Um,
}

/// What holds for all coils of a wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WireRule {
    /// Shortest tail worth keeping, in µm, 0 to [`MAX_LENGTH`](crate::MAX_LENGTH). A shorter tail is scrap.
    pub smallest_remnant: Um,
}

/// The wire station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Station {
    /// Number of coils that can be mounted at a time, at least 1.
    pub reel_positions: u32,
    /// Number of serials whose pieces can lie in trays at a time, at least 1.
    pub trays: u32,
}

/// How strictly the pieces of a group come from one coil. Two lots of one wire can differ enough to be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unison {
    /// One coil for the whole group, or none of it is cut.
    Hard,
    /// One coil if any coil has enough; else the group is split, and counted in
    /// [`Figures::groups_split`](crate::Figures::groups_split).
    Preferred,
    /// Groups do not matter.
    Off,
}

/// Order in which the pieces of one serial are cut from a coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PieceOrder {
    /// Longest first.
    BySize,
    /// By rising rank.
    UpTheScale,
    /// By falling rank.
    DownTheScale,
}

impl PieceOrder {
    /// Place of a piece in this order: less comes first, equal places may be cut in any order.
    pub(crate) fn key(self, piece: &Piece) -> (i64, i64) {
        match self {
            Self::BySize => (-piece.length.get(), 0),
            Self::UpTheScale => (i64::from(piece.rank), 0),
            Self::DownTheScale => (-i64::from(piece.rank), 0),
        }
    }
}

/// What the shop wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Policy {
    /// Whether groups are kept on one coil.
    pub unison: Unison,
    /// Length cut off squarely whenever a coil is mounted, in µm, 0 to [`MAX_LENGTH`](crate::MAX_LENGTH).
    pub end_trim: Um,
    /// Length left on every coil that is cut because its length is known only roughly, in µm, 0 to
    /// [`MAX_LENGTH`](crate::MAX_LENGTH).
    pub margin: Um,
    /// Order of pieces on a coil.
    pub piece_order: PieceOrder,
    /// How far serials may be cut ahead of due order: one is begun only when all that are due more than so many places
    /// before it are done, where places are counted among the serials of which anything is cut. 0 is strict due order,
    /// one serial at a time; `None` leaves the order free within the trays.
    pub due_window: Option<u32>,
    /// Whether equal sealed coils, of one wire, length and margin, are opened in their order of receipt. Without it a coil of a
    /// fitting lot may be opened before an older one.
    pub fifo: bool,
}

impl Default for Policy {
    /// Unisons preferred, neither trim nor margin, up the scale, any order of serials, first in first out.
    fn default() -> Self {
        Self {
            unison: Unison::Preferred,
            end_trim: Um::ZERO,
            margin: Um::ZERO,
            piece_order: PieceOrder::UpTheScale,
            due_window: None,
            fifo: true,
        }
    }
}

/// A day's cutting. [`Problem::check`] says whether it is sound; planners refuse one that is not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Wires.
    pub wires: Vec<WireRule>,
    /// Number of serials; [`SerialIndex`] 0 is due first.
    pub serials: u32,
    /// Pieces to cut.
    pub pieces: Vec<Piece>,
    /// Coils in stock.
    pub coils: Vec<Coil>,
    /// Wire station.
    pub station: Station,
    /// What the shop wants.
    pub policy: Policy,
}

impl Problem {
    /// Pieces with their indices.
    pub fn indexed_pieces(&self) -> impl Iterator<Item = (PieceIndex, &Piece)> {
        (0u32..).map(PieceIndex).zip(&self.pieces)
    }

    /// Length that is left on a coil if it is cut: the policy's margin and its own.
    pub(crate) fn margin_of(&self, coil: CoilIndex) -> i64 {
        self.policy.margin.get() + self.coils[coil.index()].margin.get()
    }

    /// Number of serials, consecutive in due order, that may be cut in any order among themselves.
    pub(crate) fn serials_at_a_time(&self) -> u32 {
        let window = self.policy.due_window.map_or(u32::MAX, |window| window.saturating_add(1));
        self.station.trays.min(window)
    }

    /// Coils with their indices.
    pub fn indexed_coils(&self) -> impl Iterator<Item = (CoilIndex, &Coil)> {
        (0u32..).map(CoilIndex).zip(&self.coils)
    }
}
