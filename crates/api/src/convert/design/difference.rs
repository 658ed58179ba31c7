//! What differs between two sets.

use std::collections::BTreeMap;

use becket_design::{Change, DifferenceRow, DifferenceTable, DifferenceTolerances, PieceOfString};
use becket_scale::{StringId, StringSet, WindingFigures};
use becket_units::Fault;
use becket_wire::WireId;

use super::renamed;
use crate::convert::count;
use crate::convert::enums::Known;
use crate::convert::string_set::{string, winding};
use crate::stringing as api;

/// Reads tolerances and fills in the defaults; whether they are in range says [`DifferenceTolerances::check`].
#[must_use]
pub fn read_difference_tolerances(tolerances: Option<&api::DifferenceTolerances>) -> DifferenceTolerances {
    let default = DifferenceTolerances::default();
    let Some(tolerances) = tolerances else { return default };
    let api::DifferenceTolerances {
        speaking_mm,
        frequency_cents,
        tension_share,
        load_share,
        inharmonicity_share,
        cut_mm,
    } = *tolerances;
    DifferenceTolerances {
        speaking_mm: speaking_mm.unwrap_or(default.speaking_mm),
        frequency_cents: frequency_cents.unwrap_or(default.frequency_cents),
        tension: tension_share.unwrap_or(default.tension),
        load_share: load_share.unwrap_or(default.load_share),
        inharmonicity: inharmonicity_share.unwrap_or(default.inharmonicity),
        cut_mm: cut_mm.unwrap_or(default.cut_mm),
    }
}

/// Gives faults of the domain the paths of a request that compares.
#[must_use]
pub fn difference_paths(faults: Vec<Fault>) -> Vec<Fault> {
    let rules = [
        ("tolerances.tension", "tolerances.tension_share"),
        ("tolerances.inharmonicity", "tolerances.inharmonicity_share"),
    ];
    renamed(faults, &rules)
}

/// The answer to a comparison.
#[must_use]
pub fn difference_response(table: &DifferenceTable) -> api::CompareSetsResponse {
    let DifferenceTable { rows, unchanged, tension_n, pieces } = table;
    api::CompareSetsResponse {
        rows: rows.iter().map(row).collect(),
        unchanged_strings: count(*unchanged),
        total_tension_n: Some(number(tension_n)),
        old_pieces: count(pieces.old),
        new_pieces: count(pieces.new),
    }
}

/// Strings that differ from the standard set, each with its figures in the set of the serial.
#[must_use]
pub fn special_strings(table: &DifferenceTable, of_serial: &StringSet) -> Vec<api::SpecialString> {
    let figures: BTreeMap<StringId, _> =
        of_serial.strings.iter().map(|figures| (figures.string_id, figures)).collect();
    let special = |differs: &DifferenceRow| api::SpecialString {
        difference: Some(row(differs)),
        string: figures.get(&differs.string_id).map(|figures| string(figures)),
    };
    table.rows.iter().map(special).collect()
}

fn row(row: &DifferenceRow) -> api::DifferenceRow {
    let DifferenceRow {
        string_id,
        presence,
        wire_id,
        windings,
        speaking_mm,
        frequency_hz,
        tension_n,
        load_share,
        inharmonicity,
        cut_mm,
        piece,
    } = row;
    api::DifferenceRow {
        string_id: string_id.to_string(),
        note: string_id.note().into(),
        presence: presence.number(),
        wire: wire_id.as_ref().map(wire),
        windings: windings.as_ref().map(layers),
        speaking_mm: speaking_mm.as_ref().map(number),
        frequency_hz: frequency_hz.as_ref().map(number),
        tension_n: tension_n.as_ref().map(number),
        load_share: load_share.as_ref().map(|&Change { old, new }| api::NumberChange { old, new }),
        inharmonicity: inharmonicity.as_ref().map(number),
        cut_mm: cut_mm.as_ref().map(number),
        piece: piece.as_ref().map(|Change { old, new }| api::PieceChange {
            old: Some(piece_of_string(old)),
            new: Some(piece_of_string(new)),
        }),
    }
}

fn number(&Change { old, new }: &Change<f64>) -> api::NumberChange {
    api::NumberChange { old: Some(old), new: Some(new) }
}

fn wire(Change { old, new }: &Change<WireId>) -> api::WireChange {
    api::WireChange { old: old.to_string(), new: new.to_string() }
}

fn layers(Change { old, new }: &Change<Vec<WindingFigures>>) -> api::WindingsChange {
    api::WindingsChange { old: old.iter().map(winding).collect(), new: new.iter().map(winding).collect() }
}

fn piece_of_string(piece: &PieceOfString) -> api::PieceOfString {
    let PieceOfString { piece_id, kind, length } = piece;
    api::PieceOfString { piece_id: piece_id.to_string(), kind: kind.number(), length_um: length.get() }
}
