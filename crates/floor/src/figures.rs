//! How good a plan is.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::ids::{CoilId, SerialId};
use crate::step::{Step, StepKind, StepState, TailUse};

/// What the steps of a list come to, done and pending together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PlanFigures {
    /// Pieces that are cut, without spoiled ones.
    pub pieces: u32,
    /// Length of these pieces.
    pub cut: Um,
    /// Trims, spoiled pieces, and tails too short to use.
    pub scrap: Um,
    /// Remnants that stay usable: of each coil, what is left when it is taken off for the last time.
    pub remnant: Um,
    /// Coils from which a piece is cut, spoiled ones included.
    pub coils_used: u32,
    /// Coils newly opened.
    pub coils_opened: u32,
    /// Times that a coil is put on a reel position.
    pub reel_changes: u32,
    /// Notes of a serial whose pieces come from more than one coil.
    pub unisons_split: u32,
}

impl PlanFigures {
    /// Sums up steps. Lengths that do not fit are cut off at the largest length.
    #[must_use]
    pub fn of<'a>(steps: impl IntoIterator<Item = &'a Step>) -> Self {
        let mut figures = Self::default();
        let mut used: BTreeSet<&CoilId> = BTreeSet::new();
        let mut tails: BTreeMap<&CoilId, Um> = BTreeMap::new();
        let mut notes: BTreeMap<(&SerialId, i32), BTreeSet<&CoilId>> = BTreeMap::new();
        for step in steps {
            match step.kind {
                StepKind::Mount => {
                    figures.reel_changes = figures.reel_changes.saturating_add(1);
                    figures.coils_opened = figures.coils_opened.saturating_add(u32::from(step.opens_coil));
                    figures.scrap = add(figures.scrap, step.length);
                }
                StepKind::Cut => {
                    used.insert(&step.coil_id);
                    if step.state == StepState::Spoiled {
                        figures.scrap = add(figures.scrap, step.length);
                        continue;
                    }
                    figures.pieces = figures.pieces.saturating_add(1);
                    figures.cut = add(figures.cut, step.length);
                    if let Some(piece) = &step.piece {
                        for note in &piece.notes {
                            notes.entry((&piece.serial_id, *note)).or_default().insert(&step.coil_id);
                        }
                    }
                }
                StepKind::Unmount if step.tail_use == Some(TailUse::Scrap) => {
                    figures.scrap = add(figures.scrap, step.length);
                    tails.remove(&step.coil_id);
                }
                StepKind::Unmount => {
                    tails.insert(&step.coil_id, step.remaining_after);
                }
            }
        }
        figures.remnant = tails.into_values().fold(Um::ZERO, add);
        figures.coils_used = count(used.len());
        figures.unisons_split = count(notes.values().filter(|coils| coils.len() > 1).count());
        figures
    }
}

fn add(sum: Um, length: Um) -> Um {
    sum.checked_add(length).unwrap_or(Um::new(i64::MAX))
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{LotId, PieceId, WireId};
    use crate::step::{PieceKind, StepPiece};

    fn step(coil: &str, kind: StepKind, length: i64, remaining_after: i64) -> Step {
        Step {
            step_number: 1,
            kind,
            state: StepState::Pending,
            coil_id: CoilId::new(coil).unwrap(),
            lot_id: LotId::new("L").unwrap(),
            wire_id: WireId::new("w").unwrap(),
            reel_position: 1,
            piece: None,
            length: Um::new(length),
            remaining_after: Um::new(remaining_after),
            tail_use: (kind == StepKind::Unmount).then_some(TailUse::Keep),
            opens_coil: false,
            spoil_cause: None,
            done_us: None,
            done_by: String::new(),
        }
    }

    fn cut(coil: &str, length: i64, notes: &[i32]) -> Step {
        let piece = StepPiece {
            serial_id: SerialId::new("S").unwrap(),
            piece_id: PieceId::new("52.1").unwrap(),
            kind: PieceKind::TiedSingle,
            notes: notes.to_vec(),
            section: None,
            length: Um::new(length),
            recut: false,
        };
        Step { piece: Some(piece), ..step(coil, StepKind::Cut, length, 0) }
    }

    #[test]
    fn a_remnant_counts_once_and_not_if_it_becomes_scrap() {
        let mut steps = vec![
            step("A", StepKind::Unmount, 0, 900),
            step("A", StepKind::Unmount, 0, 700),
            step("B", StepKind::Unmount, 0, 500),
            step("B", StepKind::Unmount, 50, 0),
        ];
        steps[3].tail_use = Some(TailUse::Scrap);
        let figures = PlanFigures::of(&steps);
        assert_eq!((figures.remnant, figures.scrap), (Um::new(700), Um::new(50)));
    }

    #[test]
    fn notes_on_two_coils_are_split_unless_the_odd_one_is_spoiled() {
        let mut steps = vec![cut("A", 5, &[52, 53]), cut("B", 5, &[53]), cut("B", 5, &[54])];
        assert_eq!(PlanFigures::of(&steps).unisons_split, 1);
        steps[1].state = StepState::Spoiled;
        let figures = PlanFigures::of(&steps);
        assert_eq!((figures.unisons_split, figures.pieces, figures.scrap), (0, 2, Um::new(5)));
        assert_eq!((figures.cut, figures.coils_used), (Um::new(10), 2));
    }
}
