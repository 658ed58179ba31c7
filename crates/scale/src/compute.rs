//! From a scale to its string set.

use std::sync::Arc;

use becket_acoustics::DomainError;
use becket_units::{LengthError, Um};
use becket_wire::{Catalogue, Material, Wire, WireId};

use crate::draft::HitchStyle;
use crate::ids::{PieceId, StringId};
use crate::looping::{Fixing, Joint, Looping, PieceKind, Slot};
use crate::model::{Note, Scale};
use crate::options::ComputeOptions;
use crate::set::{Piece, StringFigures, StringSet};
use crate::string::NoteFigures;
use crate::totals::Sums;
use crate::warnings;

/// Why a set could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ComputeError {
    /// The catalogue lacks a wire of the scale: it is not the one with which the scale was validated.
    #[error("wire {wire_id} of the scale is not in the catalogue; validate the scale against this catalogue")]
    UnknownWire {
        /// The wire.
        wire_id: WireId,
    },
    /// A wire of the catalogue is not of the kind that the scale uses it for: it was changed after the scale was
    /// validated.
    #[error(
        "note {note} uses wire {wire_id} of {material}, which does not fit; validate the scale against this catalogue"
    )]
    UnfitWire {
        /// The note.
        note: i16,
        /// The wire.
        wire_id: WireId,
        /// Its material.
        material: Material,
    },
    /// A formula refuses the note. With [`crate::PitchBasis::FirstPartial`] that is a string so thick and short that
    /// its stiffness alone sounds higher than the pitch: choose a thinner wire or a longer string. With
    /// [`crate::StringModel::Stepped`] it can be a string so unevenly wound that no B describes its partials.
    #[error("note {note}: {source}")]
    Formula {
        /// The note.
        note: i16,
        /// What the formula refuses.
        source: DomainError,
    },
    /// The length of a piece cannot be said in micrometres.
    #[error("piece {piece_id}: {source}")]
    Length {
        /// The piece.
        piece_id: PieceId,
        /// Why.
        source: LengthError,
    },
}

/// Computes the string set of a scale.
///
/// # Units
/// As the fields of [`StringSet`] say.
///
/// # Formula
/// Tension from pitch, length and linear density; pieces from the straight length, relaxed, and the allowances; see the
/// functions of `becket_acoustics` for each formula and its source. A piece's length is the sum over its one or two
/// strings, rounded up to the cutting step; where two notes of a pair have different steps, to the coarser one.
///
/// # Valid range and accuracy
/// Deterministic: equal arguments give equal results to the bit. With [`crate::StringModel::ClosedForm`] the bare ends of a
/// winding count in the linear density by Rayleigh's quotient, and not in the inharmonicity; with
/// [`crate::StringModel::Stepped`] tension and partials of wound strings are exact, and the inharmonicity is fitted to them.
///
/// # Errors
/// [`ComputeError`]; with the catalogue that the scale was validated against, only [`ComputeError::Formula`]: on the
/// first-partial basis, or in the stepped model where no B fits the partials of a string that is mostly bare.
pub fn compute(
    scale: &Scale,
    catalogue: &Catalogue,
    options: &ComputeOptions,
) -> Result<StringSet, ComputeError> {
    let wires = find_wires(scale, catalogue)?;
    let rows: Vec<(StringId, &Note)> =
        scale.notes().iter().flat_map(|note| note.string_ids().map(move |string| (string, note))).collect();
    let slots: Vec<Slot> = rows.iter().map(|(_, note)| slot(note)).collect();
    let looping = Looping::of(&slots);
    let strings = strings(scale, &rows, &looping.joints, &wires, options)?;
    let pieces = looping.joints.iter().map(|joint| piece(joint, &rows, &strings, &wires));
    let pieces = pieces.collect::<Result<Vec<_>, _>>()?;
    let sums = Sums::of(scale, &wires, &strings, &pieces);
    let warnings = warnings::of(scale, &wires, options, &strings, &looping.straddles, sums.totals.tension_n);
    Ok(StringSet {
        strings,
        pieces,
        wire_totals: sums.wires,
        section_totals: sums.sections,
        totals: sums.totals,
        warnings,
    })
}

/// The scale's wires by index, each fit for its use.
pub(crate) fn find_wires<'a>(scale: &Scale, catalogue: &'a Catalogue) -> Result<Vec<&'a Wire>, ComputeError> {
    let find = |wire_id: &WireId| {
        catalogue.get(wire_id.as_str()).ok_or_else(|| ComputeError::UnknownWire { wire_id: wire_id.clone() })
    };
    let wires = scale.wire_ids().iter().map(find).collect::<Result<Vec<_>, _>>()?;
    for note in scale.notes() {
        let core = wires[note.wire.at()];
        let windings = note.windings.iter().map(|winding| wires[winding.wire.at()]);
        let unfit_core = Some(core).filter(|wire| !wire.material().carries_tension());
        if let Some(wire) = unfit_core.or(windings.into_iter().find(|wire| !wire.material().is_winding())) {
            let (wire_id, material) = (wire.wire_id().clone(), wire.material());
            return Err(ComputeError::UnfitWire { note: note.note, wire_id, material });
        }
    }
    Ok(wires)
}

fn slot(note: &Note) -> Slot {
    let fixing = match note.effective_hitch() {
        _ if note.is_wound() => Fixing::Wound,
        HitchStyle::LoopedBack => Fixing::Looped,
        HitchStyle::Tied => Fixing::Tied,
    };
    Slot { section: note.section, wire: note.wire, fixing }
}

/// All strings in order.
fn strings(
    scale: &Scale,
    rows: &[(StringId, &Note)],
    joints: &[Joint],
    wires: &[&Wire],
    options: &ComputeOptions,
) -> Result<Vec<StringFigures>, ComputeError> {
    let label = |wire: &&Wire| wire.strength().map_or("", |basis| basis.label.as_str()).into();
    let labels: Vec<Arc<str>> = wires.iter().map(label).collect();
    let mut pieces_of_strings = joints.iter().flat_map(|joint| {
        let piece_id = piece_id(joint, rows);
        std::iter::repeat_n((piece_id, joint.kind), 1 + usize::from(joint.second.is_some()))
    });
    let mut strings = Vec::with_capacity(rows.len());
    for note in scale.notes() {
        let figures = NoteFigures::of(note, wires, options)
            .map_err(|source| ComputeError::Formula { note: note.note, source })?;
        // Joints hold every string once and in order, so the two sequences keep step.
        for (string_id, (piece_id, kind)) in note.string_ids().zip(&mut pieces_of_strings) {
            strings.push(StringFigures {
                string_id,
                section_id: note.section_id.clone(),
                wire_id: note.wire_id.clone(),
                piece_id,
                frequency_hz: figures.frequency_hz,
                speaking_mm: note.speaking_mm,
                linear_density_g_m: figures.linear_density_g_m,
                tension_n: figures.tension_n,
                stress_mpa: figures.stress_mpa,
                breaking_load_n: figures.breaking_load_n,
                load_share: figures.load_share,
                strength_label: labels[note.wire.at()].clone(),
                inharmonicity: figures.inharmonicity,
                stretch_mm: figures.stretch_mm,
                cut_mm: match kind {
                    PieceKind::LoopedPair => figures.looped_cut_mm,
                    PieceKind::TiedSingle | PieceKind::WoundCore => figures.tied_cut_mm,
                },
                windings: figures.windings.clone(),
                wound: figures.wound,
                clearance_mm: figures.clearance_mm,
                partials: figures.partials.clone(),
            });
        }
    }
    Ok(strings)
}

fn piece_id(joint: &Joint, rows: &[(StringId, &Note)]) -> PieceId {
    PieceId::of_rows(rows[joint.first].0, joint.second.map(|second| rows[second].0))
}

fn piece(
    joint: &Joint,
    rows: &[(StringId, &Note)],
    strings: &[StringFigures],
    wires: &[&Wire],
) -> Result<Piece, ComputeError> {
    let piece_id = piece_id(joint, rows);
    let note = rows[joint.first].1;
    let mut sum_mm = strings[joint.first].cut_mm;
    let mut step = note.effective_allowances().cut_step;
    if let Some(second) = joint.second {
        sum_mm += strings[second].cut_mm;
        step = step.max(rows[second].1.effective_allowances().cut_step);
    }
    let length = Um::from_mm_f64_up(sum_mm)
        .and_then(|length| length.ceil_to(step))
        .map_err(|source| ComputeError::Length { piece_id, source })?;
    Ok(Piece {
        piece_id,
        kind: joint.kind,
        wire_id: note.wire_id.clone(),
        section_id: note.section_id.clone(),
        length,
        mass_g: wires[note.wire.at()].mass_g(length.as_mm()),
    })
}
