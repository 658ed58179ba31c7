//! What the service does, one file each.

mod amend_job;
mod close_job;
mod compare_sets;
mod compute_bands;
mod compute_job_sets;
mod compute_partials;
mod compute_stretch;
pub(crate) mod compute_string_set;
mod create_scale;
mod design_bass;
mod design_plain_wires;
mod freeze_string_set;
mod get_job;
mod get_scale;
mod get_string_set;
mod get_winding_order;
mod get_wire;
mod import_wires;
mod list_jobs;
mod list_scales;
mod list_special_strings;
mod list_winding_orders;
mod list_wires;
mod match_replacement;
mod open_job;
mod release_scale;
mod release_winding_order;
mod update_scale;
mod update_wire;

pub(crate) use compute_job_sets::JobSetStream;
pub(crate) use get_string_set::SetBasis;
