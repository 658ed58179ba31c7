//! The demo files of the product read, validate and compute; what they give is shown whole and traced by its digest.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test")]

use becket_api::convert::{SetInputs, serial_need, string_set};
use becket_api::cutting::{ScheduleLine, Station};
use becket_api::digest::string_set_digest;
use becket_api::document::{CoilsDocument, Format, parse_coils, parse_list, parse_toml, to_toml};
use becket_api::stringing::{Job, Scale, StringSet, Wire};
use becket_scale::{AsBuilt, ComputeOptions, ComputeOptionsDraft, ScaleDraft, compute};
use becket_units::Um;
use becket_wire::{Catalogue, SizeSeries, WireDraft, standard_wires};

const WIRES: &str = include_str!("../../../services/becket/demo/wires.toml");
const SMALL: &str = include_str!("../../../services/becket/demo/scales/small-160.toml");
const CONCERT: &str = include_str!("../../../services/becket/demo/scales/concert-270.toml");
const COILS: &str = include_str!("../../../services/becket/demo/coils.toml");
const JOBS: &str = include_str!("../../../services/becket/demo/jobs.toml");
const SCHEDULE: &str = include_str!("../../../services/becket/demo/schedule.toml");
const STATION: &str = include_str!("../../../services/becket/demo/station.toml");

fn catalogue() -> Catalogue {
    let mut catalogue: Catalogue = standard_wires(SizeSeries::Inch).into_iter().collect();
    for wire in parse_list::<Wire>(WIRES, Format::Toml, "wires").unwrap() {
        catalogue.insert(WireDraft::from(&wire).validate().unwrap());
    }
    catalogue
}

fn scale(text: &str) -> becket_scale::Scale {
    ScaleDraft::from(&parse_toml::<Scale>(text).unwrap()).validate(&catalogue()).unwrap()
}

fn set_of(scale: &becket_scale::Scale, as_built_notes: &[i16], options: &ComputeOptions) -> StringSet {
    let catalogue = catalogue();
    let computed = compute(scale, &catalogue, options).unwrap();
    let inputs = SetInputs {
        serial_id: "S1",
        scale,
        as_built_notes,
        catalogue: &catalogue,
        options,
        computed_by: "test",
    };
    string_set(&inputs, &computed)
}

#[test]
fn files_read_and_read_back() {
    for text in [SMALL, CONCERT] {
        let scale: Scale = parse_toml(text).unwrap();
        assert_eq!(scale.notes.len(), 88);
        assert_eq!(parse_toml::<Scale>(&to_toml(&scale).unwrap()).unwrap(), scale);
    }
    let CoilsDocument { coils, stock_rules } = parse_coils(COILS, Format::Toml).unwrap();
    assert!(coils.len() > 100 && stock_rules.len() > 10);
    assert_eq!(parse_list::<Job>(JOBS, Format::Toml, "jobs").unwrap().len(), 4);
    assert!(!parse_list::<ScheduleLine>(SCHEDULE, Format::Toml, "lines").unwrap().is_empty());
    assert_eq!(parse_toml::<Station>(STATION).unwrap().reel_positions, 4);
}

#[test]
fn a_set_is_shown_whole() {
    let scale = scale(SMALL);
    let options = ComputeOptions::default();
    let set = set_of(&scale, &[], &options);
    assert_eq!(set.strings.len(), 230);
    let basis = set.basis.as_ref().unwrap();
    assert_eq!(basis.options.unwrap().a4_hz, Some(440.0));
    assert_eq!(basis.wires.len(), scale.wire_ids().len());
    let shown = parse_toml::<Scale>(SMALL).unwrap();
    assert_eq!(basis.scale.as_ref().unwrap(), &shown);

    // Every string is in the one piece that it names.
    for string in &set.strings {
        let holders: Vec<_> =
            set.pieces.iter().filter(|piece| piece.string_ids.contains(&string.string_id)).collect();
        assert_eq!(holders.len(), 1, "{}", string.string_id);
        assert_eq!(holders[0].piece_id, string.piece_id);
    }
    let need = serial_need(&set, "2026-12-01").unwrap();
    let total = Um::checked_sum(need.pieces.iter().map(|piece| piece.length)).unwrap();
    assert_eq!(total.get(), set.pieces.iter().map(|piece| piece.length_um).sum::<i64>());
    assert_eq!(need.serial.set_digest, set.digest);
}

#[test]
fn the_digest_follows_inputs_and_nothing_else() {
    let released = scale(SMALL);
    let options = ComputeOptions::default();
    let set = set_of(&released, &[], &options);
    assert_eq!(set.digest, set_of(&released, &[], &options).digest, "same inputs");

    // What changes no piece.
    let mut same = set.clone();
    same.serial_id.clear();
    same.frozen = true;
    same.warnings.clear();
    let basis = same.basis.as_mut().unwrap();
    basis.computed_by = "another".to_owned();
    basis.wires.reverse();
    basis.wires[0].title = "another".to_owned();
    basis.scale.as_mut().unwrap().title = "another".to_owned();
    assert_eq!(string_set_digest(&same), set.digest);

    // What does.
    let sharper =
        ComputeOptionsDraft { a4_hz: Some(442.0), ..ComputeOptionsDraft::default() }.validate().unwrap();
    let measured = AsBuilt { note: 52, speaking_mm: Some(344.25), ..AsBuilt::default() };
    let built = released.with_as_built(&[measured], &catalogue()).unwrap();
    assert_eq!(built.as_built_notes, [52]);
    let mut digests = vec![
        set.digest.clone(),
        set_of(&released, &[], &sharper).digest,
        set_of(&built.scale, &built.as_built_notes, &options).digest,
        set_of(&scale(CONCERT), &[], &options).digest,
    ];
    let edits: [fn(&mut StringSet); 6] = [
        |set| set.pieces[0].length_um += 1,
        |set| set.pieces[0].kind = 2,
        |set| drop(set.pieces.pop()),
        |set| set.basis.as_mut().unwrap().wires[0].density_kg_m3 += 1.0,
        |set| {
            set.basis.as_mut().unwrap().scale.as_mut().unwrap().notes[3].allowances = Some(Default::default())
        },
        |set| set.basis = None,
    ];
    for edit in edits {
        let mut changed = set.clone();
        edit(&mut changed);
        digests.push(string_set_digest(&changed));
    }
    let count = digests.len();
    digests.sort();
    digests.dedup();
    assert_eq!(digests.len(), count);
}

/// Pins the bytes that are hashed: a digest that was stored must mean the same for ever. The value was worked out by a
/// second implementation, in another language, of what the documentation of the digest says.
#[test]
fn the_digest_of_a_small_set_is_known() {
    let text = r#"
        basis = { options = { a4_hz = 440, pitch_basis = "stiffness_free" }, as_built_notes = [7] }
        pieces = [{ piece_id = "1.1", kind = "wound_core", wire_id = "w", string_ids = ["1.1"], section_id = "s", length_um = 1234567 }]
    "#;
    let set: StringSet = parse_toml(text).unwrap();
    assert_eq!(string_set_digest(&set), "955ec8ad2a28560a653a2de0149634262a6da2c0c486da6da5d07139be246724");
}
