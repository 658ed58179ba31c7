//! Questions of design and their answers.
//!
//! Inward, a request becomes the terms of a question: what the domain asks for without the wires, which the caller takes
//! from the catalogue. Reading never ends at the first fault: the terms then hold a harmless value in its place, so that
//! the domain can look at the rest, and the faults tell what was read. [`merged`] puts both lists together.
//!
//! The domain names fields as its own types do. Where the API has another path, the terms lead a fault back to it.

mod bands;
mod bass;
mod difference;
mod objective;
mod pitch;
mod plain;
mod replacement;
mod stretch;
mod targets;
mod what_if;

pub use bands::{read_bands, string_bands};
pub use bass::{BassTerms, bass_response, read_bass};
pub use difference::{difference_paths, difference_response, read_difference_tolerances, special_strings};
pub use pitch::string_models;
pub use plain::{PlainTerms, plain_response, read_plain};
pub use replacement::{ReplacementTerms, read_replacement, replacement_response};
pub use stretch::{read_stretch, stretch_paths, stretch_response};
pub use what_if::{read_note_changes, read_wire_changes};

use becket_design::{DesignError, Unmet};
use becket_units::Fault;
use becket_wire::{Wire, WireId};

/// Puts faults found by a check beside those found before; of two at one field the one found first stays.
#[must_use]
pub fn merged(mut found: Vec<Fault>, more: Vec<Fault>) -> Vec<Fault> {
    for fault in more {
        if !found.iter().any(|known| known.field == fault.field) {
            found.push(fault);
        }
    }
    found
}

/// The faults of a domain check.
#[must_use]
pub fn checked(result: Result<(), DesignError>) -> Vec<Fault> {
    match result {
        Err(DesignError::Faults(faults)) => faults,
        // A check of fields alone finds nothing else.
        Ok(()) | Err(_) => Vec::new(),
    }
}

/// A note for which nothing in stock keeps to the limits, as a fault of its field.
#[must_use]
pub fn unmet(unmet: &Unmet, field: String) -> Fault {
    let Unmet { note, tried, too_high, too_low, lowest_load_share, highest_load_share } = *unmet;
    let shares = match (lowest_load_share, highest_load_share) {
        (Some(low), Some(high)) => {
            format!(", shares of breaking load {:.1} % to {:.1} %", low * 100.0, high * 100.0)
        }
        _ => String::new(),
    };
    let value =
        format!("note {note}: of {tried} combinations {too_high} are too high and {too_low} too low{shares}");
    Fault::new(field, value, "one that keeps to the limits")
}

/// Label of the strength basis of one of the wires from which was chosen.
fn strength_label(wires: &[Wire], wire_id: &WireId) -> String {
    wires.iter().find(|wire| wire.wire_id() == wire_id).map_or_else(String::new, label)
}

fn label(wire: &Wire) -> String {
    wire.strength().map_or_else(String::new, |basis| basis.label.clone())
}

/// Gives faults the paths of the API: the first rule whose domain path is the fault's, or a message around it, counts.
fn renamed(faults: Vec<Fault>, rules: &[(&str, &str)]) -> Vec<Fault> {
    let rename = |mut fault: Fault| {
        for (domain, api) in rules {
            if let Some(rest) = fault.field.strip_prefix(domain)
                && (rest.is_empty() || rest.starts_with(['.', '[']))
            {
                fault.field = format!("{api}{rest}").trim_start_matches('.').to_owned();
                break;
            }
        }
        fault
    };
    faults.into_iter().map(rename).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_renamed_as_a_whole_or_not_at_all() {
        let faults = ["wires[3].material", "wires", "wires_more", "options.count", "notes[2].note"];
        let faults = faults.map(|field| Fault::new(field, 1, "2")).to_vec();
        let rules = [("wires", "sizes.wire_ids"), ("options", "")];
        let fields: Vec<String> = renamed(faults, &rules).into_iter().map(|fault| fault.field).collect();
        assert_eq!(
            fields,
            ["sizes.wire_ids[3].material", "sizes.wire_ids", "wires_more", "count", "notes[2].note"]
        );
    }

    #[test]
    fn the_first_fault_of_a_field_stays() {
        let found =
            merged(vec![Fault::new("a", 1, "x")], vec![Fault::new("a", 2, "y"), Fault::new("b", 3, "z")]);
        assert_eq!(found, [Fault::new("a", 1, "x"), Fault::new("b", 3, "z")]);
    }
}
