//! The digest of a string set.

use super::canonical::Canonical;
use super::{hex, later};
use crate::stringing::{
    Allowances, ComputeOptions, Note, Piece, Scale, Section, SetBasis, SizeNumber, StrengthBasis,
    StrengthPoint, StrengthPowerLaw, StrengthStated, StrengthTable, StringSet, Winding, Wire,
    strength_basis::Basis,
};

/// Names the form of the bytes; another one must have another name.
const DOMAIN: &str = "becket string set 1";

/// Returns the SHA-256 of a string set in hexadecimal: equal digests mean the same pieces from the same inputs.
///
/// What goes in, in this order: the options; the scale with its compass, sections, notes, allowances and plate limit;
/// the wires by their id with material, diameter, size, density, Young's modulus and strength; the numbers of the notes
/// that were measured; the pieces with kind, wire, strings, section and length.
///
/// What stays out: the serial, since two serials of the same measurements share a set; names for people, packs, etags,
/// times and states, which change no piece; figures, totals and warnings, which follow from what goes in; the version of
/// the program; whether the set is frozen.
///
/// A field that came after the form was fixed stands behind all that, with its name, and only where it is stated and
/// differs from what held before it came: so a set that does without it keeps its digest for ever. The question for
/// partials, which adds figures and changes none, stays out.
///
/// Only integers, doubles as they were stated and texts are hashed, and lengths of pieces in whole micrometres, so the
/// last bit of a computed figure cannot change the digest unless it changes a piece.
#[must_use]
pub fn string_set_digest(set: &StringSet) -> String {
    let StringSet {
        serial_id: _,
        model_id: _,
        revision_id: _,
        basis,
        strings: _,
        pieces,
        wire_totals: _,
        section_totals: _,
        totals: _,
        warnings: _,
        digest: _,
        frozen: _,
        freeze_time: _,
    } = set;
    let mut hash = Canonical::new(DOMAIN);
    hash.optional(basis.as_ref(), basis_bytes);
    hash.list(pieces, piece);
    if let Some(basis) = basis {
        later::fields(&mut hash, basis);
    }
    hex(&hash.finish())
}

fn basis_bytes(hash: &mut Canonical, basis: &SetBasis) {
    let SetBasis { options, scale: of_scale, wires, as_built_notes, computed_by: _ } = basis;
    hash.optional(options.as_ref(), compute_options);
    hash.optional(of_scale.as_ref(), scale);
    let mut by_id: Vec<&Wire> = wires.iter().collect();
    by_id.sort_by(|a, b| a.wire_id.cmp(&b.wire_id));
    hash.list(&by_id, |hash, one| wire(hash, one));
    hash.list(as_built_notes, |hash, note| hash.integer((*note).into()));
}

fn compute_options(hash: &mut Canonical, options: &ComputeOptions) {
    let ComputeOptions {
        a4_hz,
        pitch_basis,
        load_share_limit,
        string_tension_limit_n,
        tension_step_limit,
        string_model: _,
        winding_model: _,
        partial_count: _,
        include_partials: _,
        clearance_limit_mm: _,
    } = *options;
    hash.optional(a4_hz, Canonical::number);
    hash.optional(pitch_basis, |hash, basis| hash.integer(basis.into()));
    hash.optional(load_share_limit, Canonical::number);
    hash.optional(string_tension_limit_n, Canonical::number);
    hash.optional(tension_step_limit, Canonical::number);
}

fn scale(hash: &mut Canonical, of: &Scale) {
    let Scale {
        model_id,
        revision_id,
        title: _,
        first_note,
        last_note,
        sections,
        notes,
        allowances: of_scale,
        plate_limit_n,
        state: _,
        etag: _,
        create_time: _,
        update_time: _,
        release_time: _,
    } = of;
    hash.text(model_id);
    hash.text(revision_id);
    hash.integer((*first_note).into());
    hash.integer((*last_note).into());
    hash.list(sections, section);
    hash.list(notes, note);
    hash.optional(of_scale.as_ref(), allowances);
    hash.optional(*plate_limit_n, Canonical::number);
}

fn section(hash: &mut Canonical, of: &Section) {
    let Section { section_id, title: _, hitch, allowances: of_section } = of;
    hash.text(section_id);
    hash.integer((*hitch).into());
    hash.optional(of_section.as_ref(), allowances);
}

fn allowances(hash: &mut Canonical, of: &Allowances) {
    let Allowances {
        tuning_pin_diameter_mm,
        turns,
        becket_mm,
        hitch_pin_diameter_mm,
        eye_mm,
        working_mm,
        cut_step_mm,
        winding_finish_turns: _,
    } = *of;
    let fields =
        [tuning_pin_diameter_mm, turns, becket_mm, hitch_pin_diameter_mm, eye_mm, working_mm, cut_step_mm];
    for field in fields {
        hash.optional(field, Canonical::number);
    }
}

fn note(hash: &mut Canonical, of: &Note) {
    let Note {
        note,
        section_id,
        string_count,
        speaking_mm,
        front_mm,
        back_mm,
        wire_id,
        windings,
        hitch,
        pitch_offset_cents,
        allowances: of_note,
        string_spacing_mm: _,
    } = of;
    hash.integer((*note).into());
    hash.text(section_id);
    hash.integer((*string_count).into());
    hash.number(*speaking_mm);
    hash.number(*front_mm);
    hash.number(*back_mm);
    hash.text(wire_id);
    hash.list(windings, |hash, Winding { wire_id, bare_front_mm, bare_back_mm }| {
        hash.text(wire_id);
        hash.number(*bare_front_mm);
        hash.number(*bare_back_mm);
    });
    hash.optional(*hitch, |hash, style| hash.integer(style.into()));
    hash.number(*pitch_offset_cents);
    hash.optional(of_note.as_ref(), allowances);
}

fn wire(hash: &mut Canonical, of: &Wire) {
    let Wire {
        wire_id,
        title: _,
        material,
        diameter_mm,
        size,
        density_kg_m3,
        youngs_modulus_gpa,
        strength: of_wire,
        packs: _,
        etag: _,
        create_time: _,
        update_time: _,
    } = of;
    hash.text(wire_id);
    hash.integer((*material).into());
    hash.number(*diameter_mm);
    hash.optional(size.as_ref(), |hash, SizeNumber { series, number }| {
        hash.integer((*series).into());
        hash.number(*number);
    });
    hash.number(*density_kg_m3);
    hash.number(*youngs_modulus_gpa);
    hash.optional(of_wire.as_ref(), strength);
}

fn strength(hash: &mut Canonical, of: &StrengthBasis) {
    let StrengthBasis { label, basis } = of;
    hash.text(label);
    hash.optional(basis.as_ref(), |hash, basis| match basis {
        Basis::Table(StrengthTable { points }) => {
            hash.integer(1);
            hash.list(points, |hash, StrengthPoint { diameter_mm, tensile_mpa }| {
                hash.number(*diameter_mm);
                hash.number(*tensile_mpa);
            });
        }
        Basis::PowerLaw(StrengthPowerLaw { a_mpa, m }) => {
            hash.integer(2);
            hash.number(*a_mpa);
            hash.number(*m);
        }
        Basis::Stated(StrengthStated { tensile_mpa }) => {
            hash.integer(3);
            hash.number(*tensile_mpa);
        }
    });
}

fn piece(hash: &mut Canonical, of: &Piece) {
    let Piece { piece_id, kind, wire_id, string_ids, section_id, length_um, mass_g: _ } = of;
    hash.text(piece_id);
    hash.integer((*kind).into());
    hash.text(wire_id);
    hash.list(string_ids, |hash, string_id| hash.text(string_id));
    hash.text(section_id);
    hash.integer(*length_um);
}
