//! From strings to pieces: which neighbours share one looped piece of wire.
//!
//! Looped plain wire runs in order through a section: the first string with the second, the third with the next
//! note's first, and so on. A piece has one wire and joins two strings that are next to each other, so
//!
//! - a wound string, or one tied by choice, stands between its neighbours and keeps them apart;
//! - where the wire changes after an odd run, the last string before the change and the first after it are tied
//!   singles, and pairing starts afresh with the string after those;
//! - a string left over before an interruption or at the end of a section is a tied single.
//!
//! This follows common practice; that a section of n three-string notes takes 3n/2 pieces and one tied string if
//! that is odd was said so in a mechanical-music digest of 1996-04-25.

use crate::model::{SectionIndex, WireIndex};

/// What a piece of wire becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PieceKind {
    /// A plain piece that is looped back at the hitch pin and makes two strings.
    LoopedPair,
    /// A plain piece with an eye that makes one string.
    TiedSingle,
    /// The core of a wound string.
    WoundCore,
}

/// How one string wants to be fixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fixing {
    /// Plain and looped, if a partner is found.
    Looped,
    /// Plain and tied by choice.
    Tied,
    /// Wound, so always a piece of its own.
    Wound,
}

/// One string as far as pairing is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Slot {
    pub(crate) section: SectionIndex,
    pub(crate) wire: WireIndex,
    pub(crate) fixing: Fixing,
}

/// A piece as positions in the row of strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Joint {
    pub(crate) kind: PieceKind,
    pub(crate) first: usize,
    pub(crate) second: Option<usize>,
}

/// Pieces in the order of their first string.
#[derive(Debug, Default)]
pub(crate) struct Looping {
    pub(crate) joints: Vec<Joint>,
    /// First strings of the neighbours that a pair would have joined across a wire change; the second is the next one.
    pub(crate) straddles: Vec<usize>,
}

impl Looping {
    /// Pairs a whole row of strings, in their order across the piano.
    pub(crate) fn of(row: &[Slot]) -> Self {
        let mut looping = Self { joints: Vec::with_capacity(row.len()), straddles: Vec::new() };
        // The string before, if it is looped and still without a partner.
        let mut open: Option<(usize, Slot)> = None;
        for (at, &slot) in row.iter().enumerate() {
            if let Some((before, _)) = open.take_if(|(_, open)| open.section != slot.section) {
                looping.single(PieceKind::TiedSingle, before);
            }
            open = match (open, slot.fixing) {
                (None, Fixing::Looped) => Some((at, slot)),
                (Some((before, partner)), Fixing::Looped) => {
                    looping.join(before, partner.wire, at, slot.wire);
                    None
                }
                (open, Fixing::Tied | Fixing::Wound) => {
                    if let Some((before, _)) = open {
                        looping.single(PieceKind::TiedSingle, before);
                    }
                    looping.single(own_kind(slot.fixing), at);
                    None
                }
            };
        }
        if let Some((before, _)) = open {
            looping.single(PieceKind::TiedSingle, before);
        }
        looping
    }

    fn single(&mut self, kind: PieceKind, first: usize) {
        self.joints.push(Joint { kind, first, second: None });
    }

    fn join(&mut self, first: usize, wire: WireIndex, second: usize, other: WireIndex) {
        if wire == other {
            self.joints.push(Joint { kind: PieceKind::LoopedPair, first, second: Some(second) });
        } else {
            self.single(PieceKind::TiedSingle, first);
            self.single(PieceKind::TiedSingle, second);
            self.straddles.push(first);
        }
    }
}

fn own_kind(fixing: Fixing) -> PieceKind {
    match fixing {
        Fixing::Wound => PieceKind::WoundCore,
        Fixing::Looped | Fixing::Tied => PieceKind::TiedSingle,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Writes pieces as text: a pair in brackets, a tied single as '.', a core as 'w', a straddle as '!'.
    fn picture(row: &[Slot]) -> String {
        let looping = Looping::of(row);
        let mut text = String::new();
        for joint in &looping.joints {
            text.push_str(match joint.kind {
                PieceKind::LoopedPair => "[]",
                PieceKind::TiedSingle => ".",
                PieceKind::WoundCore => "w",
            });
            if looping.straddles.contains(&joint.first) {
                text.push('!');
            }
        }
        text
    }

    /// Reads a row: a letter is the wire of a looped string, 't' and 'w' a tied and a wound one, '|' a new section.
    fn row(text: &str) -> Vec<Slot> {
        let mut section = 0;
        let mut row = Vec::new();
        for letter in text.chars() {
            let (fixing, wire) = match letter {
                '|' => {
                    section += 1;
                    continue;
                }
                't' => (Fixing::Tied, 0),
                'w' => (Fixing::Wound, 0),
                other => (Fixing::Looped, other as u16),
            };
            row.push(Slot { section: SectionIndex(section), wire: WireIndex(wire), fixing });
        }
        row
    }

    #[track_caller]
    fn check(strings: &str, pieces: &str) {
        assert_eq!(picture(&row(strings)), pieces, "{strings}");
    }

    /// 20 notes → 30 pieces, 21 → 31 and one tied, 17 → 25 and one tied: mechanical-music digest, 1996-04-25.
    #[test]
    fn three_string_notes_take_one_and_a_half_pieces() {
        for (notes, pairs, tied) in [(20, 30, 0), (21, 31, 1), (17, 25, 1)] {
            check(&"aaa".repeat(notes), &("[]".repeat(pairs) + &".".repeat(tied)));
        }
    }

    #[test]
    fn a_pair_needs_neighbours_of_one_wire_and_section() {
        check("", "");
        check("a", ".");
        check("aa", "[]");
        check("aaabbb", "[].!.[]");
        check("aaaabbbb", "[][][][]");
        check("aaa|aaa", "[].[].");
        check("aaa|bbb", "[].[].");
        check("abc", ".!..");
        check("abbb", ".!.[]");
        check("awa", ".w.");
        check("aawaa", "[]w[]");
        check("aaatttaaa", "[]....[].");
        check("wwaa|w", "ww[]w");
    }

    fn any_row() -> impl Strategy<Value = Vec<Slot>> {
        let slot = (0u8..=1, 0u16..3, 0u8..10);
        prop::collection::vec(slot, 0..120).prop_map(|slots| {
            let mut section = 0;
            let row = slots.into_iter().map(|(step, wire, fixing)| {
                section += u8::from(fixing == 9) * step;
                let fixing = match fixing {
                    0 => Fixing::Tied,
                    1 => Fixing::Wound,
                    _ => Fixing::Looped,
                };
                Slot { section: SectionIndex(section), wire: WireIndex(wire), fixing }
            });
            row.collect()
        })
    }

    proptest! {
        #[test]
        fn every_string_is_in_one_piece_in_order(row in any_row()) {
            let looping = Looping::of(&row);
            let strings: Vec<usize> =
                looping.joints.iter().flat_map(|j| std::iter::once(j.first).chain(j.second)).collect();
            prop_assert_eq!(strings, (0..row.len()).collect::<Vec<_>>());
            for joint in &looping.joints {
                let first = row[joint.first];
                match joint.second {
                    Some(second) => {
                        prop_assert_eq!(joint.kind, PieceKind::LoopedPair);
                        prop_assert_eq!(second, joint.first + 1);
                        prop_assert_eq!(first, row[second]);
                        prop_assert_eq!(first.fixing, Fixing::Looped);
                    }
                    None => prop_assert_eq!(joint.kind, own_kind(first.fixing)),
                }
            }
        }

        /// Two looped neighbours of one wire and section are never both left as singles, unless one of them stands at
        /// a wire change that broke a pair.
        #[test]
        fn no_pair_is_missed(row in any_row()) {
            let looping = Looping::of(&row);
            let single = |at: usize| looping.joints.iter().any(|j| j.first == at && j.second.is_none());
            for at in 1..row.len() {
                let alike = row[at - 1] == row[at] && row[at].fixing == Fixing::Looped;
                let broken = at >= 2 && looping.straddles.contains(&(at - 2));
                prop_assert!(!(alike && single(at - 1) && single(at)) || broken);
            }
            for &first in &looping.straddles {
                prop_assert!(row[first].wire != row[first + 1].wire);
                prop_assert_eq!(row[first].section, row[first + 1].section);
                prop_assert!(single(first) && single(first + 1));
            }
        }

        /// In rows of one wire, the number of pairs is the largest that any pairing of neighbours could give.
        #[test]
        fn one_wire_gives_the_most_pairs(row in any_row()) {
            let row: Vec<Slot> = row.into_iter().map(|s| Slot { wire: WireIndex(0), ..s }).collect();
            let pairs = Looping::of(&row).joints.iter().filter(|j| j.second.is_some()).count();
            // Best number of pairs among the first k strings, by trying both choices for the k-th.
            let mut best = vec![0; row.len() + 1];
            for k in 2..=row.len() {
                let alike = row[k - 2] == row[k - 1] && row[k - 1].fixing == Fixing::Looped;
                best[k] = best[k - 1].max(if alike { best[k - 2] + 1 } else { 0 });
            }
            prop_assert_eq!(pairs, best[row.len()]);
        }
    }
}
