//! Conversions between API messages and domain types, one file for each group of messages.
//!
//! Inward, a message becomes a draft of the domain, which the domain validates: the ranges are the domain's business and
//! are not repeated here. Where a domain type has no draft, the conversion itself reports all faults at once. Outward,
//! every field is taken apart by name, so that a new field of the domain does not compile until somebody decides where it
//! goes; inward the same holds for a new field of the API.
//!
//! Functions that read a message are called `read_…`, those that show a domain value by the name of the message; where no
//! more than the value is needed, they are `From` implementations.
//!
//! Faults name fields by their path in the message. Those of the domain begin at the message that was converted;
//! [`within`] puts the path of that message before them.

mod coil;
mod cut_list;
mod design;
mod enums;
mod evidence;
mod job;
mod needs;
mod options;
mod plan;
mod quantity;
mod scale;
mod stamps;
mod station;
mod string_set;
mod winding_order;
mod wire;
mod work_sheet;

pub use coil::{coil, read_new_coil, read_stock_rule, stock_rule};
pub use cut_list::{cut_list, cut_list_header, list_replan, read_plan_policy};
pub use design::{
    BassTerms, PlainTerms, ReplacementTerms, bass_response, checked, difference_paths, difference_response,
    merged, plain_response, read_bands, read_bass, read_difference_tolerances, read_note_changes, read_plain,
    read_replacement, read_stretch, read_wire_changes, replacement_response, special_strings, stretch_paths,
    stretch_response, string_bands, string_models, unmet,
};
pub use enums::{Known, required};
pub use evidence::{EvidenceLine, coil_evidence, read_scales};
pub use job::job_faults;
pub use needs::serial_need;
pub use plan::{PlanQuestion, level_report, plan_cuts_response, read_plan_cuts};
pub use quantity::{kilograms, metres, pieces};
pub use stamps::{Stamps, etag_version, micros, timestamp};
pub use station::{read_station, station};
pub use string_set::{SetInputs, note_partials, string_set};
pub use winding_order::{winding_order, winding_order_digest};
pub use work_sheet::work_sheet;

use becket_units::Fault;

/// Puts the path of a message before the paths of its faults: `scale` and `notes[3].hitch` give `scale.notes[3].hitch`.
#[must_use]
pub fn within(faults: Vec<Fault>, path: &str) -> Vec<Fault> {
    faults.into_iter().map(|fault| fault.within(path)).collect()
}

/// Takes a message that must be there.
///
/// # Errors
/// A fault of `field` if it is not.
pub fn given<'a, T>(field: &str, message: Option<&'a T>) -> Result<&'a T, Fault> {
    message.ok_or_else(|| Fault::new(field, "nothing", "a value; it must be given"))
}

/// A count as the API has it. No count of the domain comes near the limit.
fn count(value: u32) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}

#[cfg(test)]
mod tests;
