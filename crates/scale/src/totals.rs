//! Sums of a set, in a fixed order so that they repeat to the bit.

use becket_wire::Wire;

use crate::ids::StringId;
use crate::looping::PieceKind;
use crate::model::Scale;
use crate::set::{Extreme, Piece, SectionTotal, SetTotals, StringFigures, WireTotal};

/// All sums.
pub(crate) struct Sums {
    pub(crate) totals: SetTotals,
    pub(crate) wires: Vec<WireTotal>,
    pub(crate) sections: Vec<SectionTotal>,
}

impl Sums {
    pub(crate) fn of(scale: &Scale, wires: &[&Wire], strings: &[StringFigures], pieces: &[Piece]) -> Self {
        let empty_wire = |wire: &&Wire| WireTotal {
            wire_id: wire.wire_id().clone(),
            pieces: 0,
            length_mm: 0.0,
            mass_g: 0.0,
        };
        let mut sums = Self {
            totals: SetTotals::default(),
            wires: wires.iter().map(empty_wire).collect(),
            sections: Vec::with_capacity(scale.sections().len()),
        };
        let mut strings = strings.iter();
        let mut pieces = pieces.iter().peekable();
        for note in scale.notes() {
            if sums.sections.len() <= note.section.at() {
                sums.sections.push(SectionTotal {
                    section_id: note.section_id.clone(),
                    strings: 0,
                    pieces: 0,
                    tied_singles: 0,
                    tension_n: 0.0,
                });
            }
            for string in strings.by_ref().take(note.string_count.into()) {
                sums.add_string(string);
                for (winding, figures) in note.windings.iter().zip(&string.windings) {
                    let total = &mut sums.wires[winding.wire.at()];
                    total.length_mm += figures.wire_length_mm;
                    total.mass_g += figures.wire_mass_g;
                }
            }
            while let Some(piece) = pieces.next_if(|piece| piece.piece_id.first().note() == note.note) {
                sums.add_piece(piece);
                let total = &mut sums.wires[note.wire.at()];
                total.pieces += 1;
                total.length_mm += piece.length.as_mm();
                total.mass_g += piece.mass_g;
            }
        }
        sums
    }

    /// Adds a string to the totals and to the section that was begun last.
    fn add_string(&mut self, string: &StringFigures) {
        let totals = &mut self.totals;
        totals.strings += 1;
        totals.tension_n += string.tension_n;
        let (id, tension_n) = (string.string_id, string.tension_n);
        keep(&mut totals.lowest_tension, id, tension_n, |new, old| new < old);
        keep(&mut totals.highest_tension, id, tension_n, |new, old| new > old);
        if let Some(share) = string.load_share {
            keep(&mut totals.lowest_load_share, id, share, |new, old| new < old);
            keep(&mut totals.highest_load_share, id, share, |new, old| new > old);
        }
        if let Some(section) = self.sections.last_mut() {
            section.strings += 1;
            section.tension_n += string.tension_n;
        }
    }

    fn add_piece(&mut self, piece: &Piece) {
        let totals = &mut self.totals;
        totals.pieces += 1;
        let tied = u32::from(piece.kind == PieceKind::TiedSingle);
        totals.tied_singles += tied;
        match piece.kind {
            PieceKind::LoopedPair => totals.looped_pairs += 1,
            PieceKind::WoundCore => totals.wound_strings += 1,
            PieceKind::TiedSingle => {}
        }
        if let Some(section) = self.sections.last_mut() {
            section.pieces += 1;
            section.tied_singles += tied;
        }
    }
}

fn keep(extreme: &mut Option<Extreme>, string_id: StringId, value: f64, better: fn(f64, f64) -> bool) {
    if extreme.is_none_or(|kept| better(value, kept.value)) {
        *extreme = Some(Extreme { string_id, value });
    }
}
