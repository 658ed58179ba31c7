//! What the service does, one file each.

mod cancel_cut_list;
mod change_coil;
mod commit;
mod confirm_step;
mod decide_coil_evidence;
mod estimate_wire;
mod finish_cut_list;
mod get_coil;
mod get_cut_list;
mod get_serial_record;
mod get_station;
mod get_work_sheet;
mod list_coil_evidence;
mod list_coils;
mod list_cut_lists;
mod list_lot_serials;
mod list_stations;
mod list_stock_rules;
mod lost_coil;
mod plan_cut_list;
mod plan_cuts;
mod receive_coils;
mod replan_cut_list;
mod report_run_out;
mod report_spoiled_piece;
mod return_coil;
mod save_station;
mod scrap_coil;
mod set_aside_coil;
mod set_stock_rule;
mod start_cut_list;
mod unmount_coil;
mod watch_cut_list;
mod weigh_coil;

pub(crate) use watch_cut_list::WatchStream;
