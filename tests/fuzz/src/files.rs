//! Files that people write: read, checked, computed and written again.

use std::sync::OnceLock;

use becket_api::cutting::ScheduleLine;
use becket_api::document::{
    Format, coils_from_csv, list_to_toml, parse, parse_coils, parse_list, to_json, to_toml, wires_from_csv,
};
use becket_api::stringing::{Scale, Wire};
use becket_scale::{ComputeOptions, ScaleDraft, compute};
use becket_wire::{Catalogue, SizeSeries, WireDraft, standard_wires};

/// Forms that may hold a nested document.
const FORMATS: [Format; 2] = [Format::Toml, Format::Json];

/// A scale: what can be read can be checked, what is sound can be computed, and what is written reads the same.
pub fn scale(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for format in FORMATS {
        let Ok(read) = parse::<Scale>(&text, format) else { continue };
        read_again(&read);
        let catalogue = standard();
        if let Ok(sound) = ScaleDraft::from(&read).validate(catalogue) {
            // A sound scale may still have no answer, which is an error and no panic.
            drop(compute(&sound, catalogue, &ComputeOptions::default()));
        }
    }
}

fn read_again(scale: &Scale) {
    for (written, format) in [(to_toml(scale), Format::Toml), (to_json(scale), Format::Json)] {
        let Ok(written) = written else { continue };
        match parse::<Scale>(&written, format) {
            // Numbers that are none differ from themselves, so the text is compared.
            Ok(again) => assert_eq!(format!("{again:?}"), format!("{scale:?}"), "{written}"),
            Err(error) => panic!("what was written cannot be read: {error}: {written}"),
        }
    }
}

/// Wires and coils, in every form.
pub fn catalogue(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for format in FORMATS {
        if let Ok(wires) = parse_list::<Wire>(&text, format, "wires") {
            for wire in &wires {
                drop(WireDraft::from(wire).validate());
            }
            drop(list_to_toml("wires", &wires));
        }
        drop(parse_coils(&text, format));
    }
    if let Ok(wires) = wires_from_csv(&text) {
        for wire in &wires {
            drop(WireDraft::from(wire).validate());
        }
    }
    drop(coils_from_csv(&text));
}

/// A build schedule.
pub fn schedule(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for format in FORMATS {
        if let Ok(lines) = parse_list::<ScheduleLine>(&text, format, "lines") {
            drop(list_to_toml("lines", &lines));
        }
    }
}

fn standard() -> &'static Catalogue {
    static WIRES: OnceLock<Catalogue> = OnceLock::new();
    WIRES.get_or_init(|| {
        let wires =
            standard_wires(SizeSeries::Inch).into_iter().chain(standard_wires(SizeSeries::Millimetre));
        let mut catalogue: Catalogue = wires.collect();
        for wire in
            parse_list::<Wire>(becket_e2e::demo::WIRES, Format::Toml, "wires").expect("the demo reads")
        {
            catalogue.insert(WireDraft::from(&wire).validate().expect("the demo is sound"));
        }
        catalogue
    })
}
