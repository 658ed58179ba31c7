//! What the service does, one file each.

mod amend_job;
mod close_job;
mod compute_job_sets;
mod compute_partials;
mod compute_string_set;
mod create_scale;
mod freeze_string_set;
mod get_job;
mod get_scale;
mod get_string_set;
mod get_winding_order;
mod get_wire;
mod import_wires;
mod list_jobs;
mod list_scales;
mod list_winding_orders;
mod list_wires;
mod open_job;
mod release_scale;
mod release_winding_order;
mod update_scale;
mod update_wire;

pub(crate) use compute_job_sets::JobSetStream;
pub(crate) use get_string_set::SetBasis;
