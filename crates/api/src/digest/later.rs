//! Fields of a string set's inputs that came after the form of its digest was fixed.
//!
//! What precedes them in the digest says itself where it ends, so anything may follow: the name of a field, which number
//! of its list it belongs to, and its value.

use super::canonical::Canonical;
use crate::stringing::{Allowances, ComputeOptions, SetBasis, StringModel, WindingModel};

/// What was meant before options could say it. Other than defaults, these never change.
const PARTIALS_BEFORE: i32 = 16;
const CLEARANCE_BEFORE_MM: f64 = 0.5;

/// Hashes the fields that are stated and not what was meant before.
pub(super) fn fields(hash: &mut Canonical, basis: &SetBasis) {
    let SetBasis { options, scale, wires: _, as_built_notes: _, computed_by: _ } = basis;
    if let Some(options) = options {
        compute_options(hash, options);
    }
    let Some(scale) = scale else { return };
    finish_turns(hash, "scale", 0, scale.allowances.as_ref());
    for (at, section) in (0..).zip(&scale.sections) {
        finish_turns(hash, "section", at, section.allowances.as_ref());
    }
    for (at, note) in (0..).zip(&scale.notes) {
        finish_turns(hash, "note", at, note.allowances.as_ref());
        if let Some(spacing_mm) = note.string_spacing_mm {
            hash.text("note string_spacing_mm");
            hash.integer(at);
            hash.number(spacing_mm);
        }
    }
}

fn compute_options(hash: &mut Canonical, options: &ComputeOptions) {
    let integers = [
        ("string_model", options.string_model, i32::from(StringModel::ClosedForm)),
        ("winding_model", options.winding_model, i32::from(WindingModel::Tube)),
        ("partial_count", options.partial_count, PARTIALS_BEFORE),
    ];
    for (name, value, before) in integers {
        if let Some(value) = value.filter(|&value| value != before) {
            hash.text(name);
            hash.integer(value.into());
        }
    }
    if let Some(limit_mm) = options.clearance_limit_mm.filter(|&limit_mm| limit_mm != CLEARANCE_BEFORE_MM) {
        hash.text("clearance_limit_mm");
        hash.number(limit_mm);
    }
}

fn finish_turns(hash: &mut Canonical, level: &str, at: i64, allowances: Option<&Allowances>) {
    if let Some(turns) = allowances.and_then(|allowances| allowances.winding_finish_turns) {
        hash.text(level);
        hash.text("winding_finish_turns");
        hash.integer(at);
        hash.number(turns);
    }
}
