//! How a set is computed.

use becket_scale::ComputeOptionsDraft;

use super::count;
use super::enums::Known;
use super::scale::{choice, choice_number};
use crate::stringing::ComputeOptions;

impl From<&ComputeOptions> for ComputeOptionsDraft {
    fn from(options: &ComputeOptions) -> Self {
        let ComputeOptions {
            a4_hz,
            pitch_basis,
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
            string_model,
            winding_model,
            partial_count,
            include_partials,
            clearance_limit_mm,
        } = *options;
        Self {
            a4_hz,
            pitch_basis: pitch_basis.map(choice),
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
            clearance_limit_mm,
            string_model: string_model.map(choice),
            winding_model: winding_model.map(choice),
            partial_count,
            include_partials,
        }
    }
}

impl From<&ComputeOptionsDraft> for ComputeOptions {
    fn from(draft: &ComputeOptionsDraft) -> Self {
        let ComputeOptionsDraft {
            a4_hz,
            pitch_basis,
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
            clearance_limit_mm,
            string_model,
            winding_model,
            partial_count,
            include_partials,
        } = *draft;
        Self {
            a4_hz,
            pitch_basis: pitch_basis.map(choice_number),
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
            string_model: string_model.map(choice_number),
            winding_model: winding_model.map(choice_number),
            partial_count,
            include_partials,
            clearance_limit_mm,
        }
    }
}

/// All fields are set, defaults included.
impl From<&becket_scale::ComputeOptions> for ComputeOptions {
    fn from(options: &becket_scale::ComputeOptions) -> Self {
        Self {
            a4_hz: Some(options.a4_hz()),
            pitch_basis: Some(options.pitch_basis().number()),
            load_share_limit: Some(options.load_share_limit()),
            string_tension_limit_n: Some(options.string_tension_limit_n()),
            tension_step_limit: Some(options.tension_step_limit()),
            string_model: Some(options.string_model().number()),
            winding_model: Some(options.winding_model().number()),
            partial_count: Some(count(options.partial_count())),
            include_partials: Some(options.include_partials()),
            clearance_limit_mm: Some(options.clearance_limit_mm()),
        }
    }
}
