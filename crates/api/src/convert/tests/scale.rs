//! Wires, scales, and how sets are computed.

use becket_scale::{Choice, ComputeOptionsDraft, ScaleDraft};
use becket_wire::WireDraft;
use proptest::option::of as maybe;
use proptest::prelude::*;

use super::{number, text};
use crate::stringing::{
    Allowances, AsBuilt, ComputeOptions, Note, Pack, Scale, Section, SizeNumber, StrengthBasis,
    StrengthPoint, StrengthPowerLaw, StrengthStated, StrengthTable, Winding, Wire, strength_basis::Basis,
};

fn basis() -> impl Strategy<Value = Option<Basis>> {
    let point = (number(), number())
        .prop_map(|(diameter_mm, tensile_mpa)| StrengthPoint { diameter_mm, tensile_mpa });
    maybe(prop_oneof![
        proptest::collection::vec(point, 0..4).prop_map(|points| Basis::Table(StrengthTable { points })),
        (number(), number()).prop_map(|(a_mpa, m)| Basis::PowerLaw(StrengthPowerLaw { a_mpa, m })),
        number().prop_map(|tensile_mpa| Basis::Stated(StrengthStated { tensile_mpa })),
    ])
}

prop_compose! {
    fn wire()(
        wire_id in text(), title in text(), material in 0..=6, diameter_mm in number(), density_kg_m3 in number(),
        youngs_modulus_gpa in number(), size in maybe((0..=2, number())), strength in maybe((text(), basis())),
        packs in proptest::collection::vec((text(), number()), 0..3),
    ) -> Wire {
        Wire {
            wire_id, title, material, diameter_mm, density_kg_m3, youngs_modulus_gpa,
            size: size.map(|(series, number)| SizeNumber { series, number }),
            strength: strength.map(|(label, basis)| StrengthBasis { label, basis }),
            packs: packs.into_iter().map(|(label, mass_g)| Pack { label, mass_g }).collect(),
            ..Wire::default()
        }
    }
}

prop_compose! {
    fn allowances()(
        a in maybe(number()), b in maybe(number()), c in maybe(number()), d in maybe(number()), e in maybe(number()),
        f in maybe(number()), g in maybe(number()), h in maybe(number()),
    ) -> Allowances {
        Allowances {
            tuning_pin_diameter_mm: a, turns: b, becket_mm: c, hitch_pin_diameter_mm: d, eye_mm: e, working_mm: f,
            cut_step_mm: g, winding_finish_turns: h,
        }
    }
}

prop_compose! {
    fn note()(
        (note, string_count, hitch) in any::<(i32, i32, Option<i32>)>(), section_id in text(), wire_id in text(),
        (speaking_mm, front_mm, back_mm, pitch_offset_cents) in (number(), number(), number(), number()),
        windings in proptest::collection::vec((text(), number(), number()), 0..3), allowances in maybe(allowances()),
        string_spacing_mm in maybe(number()),
    ) -> Note {
        let winding =
            |(wire_id, bare_front_mm, bare_back_mm)| Winding { wire_id, bare_front_mm, bare_back_mm };
        Note {
            note, section_id, string_count, speaking_mm, front_mm, back_mm, wire_id,
            windings: windings.into_iter().map(winding).collect(),
            hitch, pitch_offset_cents, allowances, string_spacing_mm,
        }
    }
}

prop_compose! {
    fn scale()(
        (model_id, revision_id, title) in (text(), text(), text()), (first_note, last_note) in any::<(i32, i32)>(),
        sections in proptest::collection::vec((text(), text(), any::<i32>(), maybe(allowances())), 0..3),
        notes in proptest::collection::vec(note(), 0..4), allowances in maybe(allowances()),
        plate_limit_n in maybe(number()),
    ) -> Scale {
        let section = |(section_id, title, hitch, allowances)| Section { section_id, title, hitch, allowances };
        Scale {
            model_id, revision_id, title, first_note, last_note,
            sections: sections.into_iter().map(section).collect(),
            notes, allowances, plate_limit_n,
            ..Scale::default()
        }
    }
}

proptest! {
    #[test]
    fn a_wire_comes_back(wire in wire()) {
        prop_assert_eq!(&Wire::from(&WireDraft::from(&wire)), &wire);
    }

    /// Numbers that stand for no style come back too: the domain must be able to say what was given.
    #[test]
    fn a_scale_comes_back(scale in scale()) {
        prop_assert_eq!(&Scale::from(&ScaleDraft::from(&scale)), &scale);
    }

    #[test]
    fn options_come_back(
        a4_hz in maybe(number()), pitch_basis: Option<i32>, load_share_limit in maybe(number()),
        string_tension_limit_n in maybe(number()), tension_step_limit in maybe(number()),
        clearance_limit_mm in maybe(number()), (string_model, winding_model, partial_count) in any::<(Option<i32>, Option<i32>, Option<i32>)>(),
        include_partials: Option<bool>,
    ) {
        let options = ComputeOptions {
            a4_hz, pitch_basis, load_share_limit, string_tension_limit_n, tension_step_limit, string_model,
            winding_model, partial_count, include_partials, clearance_limit_mm,
        };
        prop_assert_eq!(ComputeOptions::from(&ComputeOptionsDraft::from(&options)), options);
    }

    #[test]
    fn measurements_come_back(note: i32, speaking_mm in maybe(number()), wire_id in maybe(text())) {
        let as_built = AsBuilt { note, speaking_mm, wire_id, ..AsBuilt::default() };
        prop_assert_eq!(&AsBuilt::from(&becket_scale::AsBuilt::from(&as_built)), &as_built);
    }
}

#[test]
fn a_style_that_is_none_reaches_the_domain() {
    let section = Section { hitch: 9, ..Section::default() };
    let draft = ScaleDraft::from(&Scale { sections: vec![section], ..Scale::default() });
    assert_eq!(draft.sections[0].hitch, Choice::Unknown(9));
}
