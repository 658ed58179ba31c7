//! How a set is computed.

use becket_scale::ComputeOptionsDraft;

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
        } = *options;
        Self {
            a4_hz,
            pitch_basis: pitch_basis.map(choice),
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
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
        } = *draft;
        Self {
            a4_hz,
            pitch_basis: pitch_basis.map(choice_number),
            load_share_limit,
            string_tension_limit_n,
            tension_step_limit,
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
        }
    }
}
