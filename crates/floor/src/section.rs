//! Sections of the scale, and the order in which the stringer wants the pieces.

use becket_planner::{self as planner, Piece};

use crate::ids::SectionId;

/// The section of a scale that a piece belongs to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Section {
    /// Place of the section, counted from the bass, from 1.
    pub number: u32,
    /// Its name in the scale.
    pub section_id: SectionId,
}

impl Section {
    /// Number for the planner: 0 where it is not known, which comes before all sections.
    pub(crate) fn number_of(section: Option<&Self>) -> u32 {
        section.map_or(0, |section| section.number)
    }
}

/// Order in which the pieces of one serial are cut from a coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PieceOrder {
    /// Longest first.
    BySize,
    /// Section by section from the bass up; longest first within a section.
    BySection,
    /// From the lowest note up.
    UpTheScale,
    /// From the highest note down.
    DownTheScale,
}

impl PieceOrder {
    /// The planner's name for it. The planner knows the order by sections as one of ranks, which [`arrange`](Self::arrange) gives.
    pub(crate) fn rule(self) -> planner::PieceOrder {
        match self {
            Self::BySize => planner::PieceOrder::BySize,
            Self::BySection | Self::UpTheScale => planner::PieceOrder::UpTheScale,
            Self::DownTheScale => planner::PieceOrder::DownTheScale,
        }
    }

    /// Ranks pieces, whose rank is their place up the scale, as this order wants them; to be called before they are planned. Pieces
    /// of one section and length may then be cut in any order.
    pub fn arrange(self, pieces: &mut [Piece]) {
        if self != Self::BySection {
            return;
        }
        let key = |piece: &Piece| (piece.section, std::cmp::Reverse(piece.length));
        let mut keys: Vec<_> = pieces.iter().map(key).collect();
        keys.sort_unstable();
        keys.dedup();
        for piece in pieces {
            let place = keys.binary_search(&key(piece)).unwrap_or_default();
            piece.rank = u32::try_from(place).unwrap_or(u32::MAX);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use becket_planner::{GroupIndex, SerialIndex, WireIndex};
    use becket_units::Um;

    fn piece((section, length, rank): (u32, i64, u32)) -> Piece {
        let (wire, serial, group) = (WireIndex(0), SerialIndex(0), GroupIndex(rank));
        Piece { wire, serial, length: Um::new(length), group, rank, section }
    }

    #[test]
    fn sections_come_from_the_bass_up_and_long_pieces_first() {
        let given = [(2, 500, 0), (1, 900, 1), (2, 700, 2), (1, 950, 3), (2, 500, 4), (0, 10, 5)];
        let ranks = |order: PieceOrder| {
            let mut pieces = given.map(piece);
            order.arrange(&mut pieces);
            pieces.map(|piece| piece.rank)
        };
        assert_eq!(ranks(PieceOrder::BySection), [4, 2, 3, 1, 4, 0]);
        assert_eq!(ranks(PieceOrder::UpTheScale), [0, 1, 2, 3, 4, 5]);
    }
}
