//! Printing: tables for people, csv for spreadsheets. Nothing here asks a server.

mod bands;
mod coil;
mod cut_list;
mod design;
mod difference;
mod estimate;
mod evidence;
mod feed;
mod job;
mod journal;
mod measures;
mod names;
mod partials;
mod picture;
mod record;
mod replacement;
mod safety;
mod scale;
mod sets;
mod sheet;
mod station;
mod stretch;
mod string_set;
mod verify;
mod webhook;
mod winding_order;
mod windings;
mod wire;

pub(crate) use bands::{bands_sheet, bands_text, winding_bands_sheet};
pub(crate) use coil::{coil_sheet, coil_text, rule_sheet};
pub(crate) use cut_list::{
    ListView, Look, cut_list_body, cut_list_sheet, cut_list_text, list_picture, list_replan_text,
    lists_sheet, picture_text, plan_cuts_text, plan_picture, plan_steps_sheet, plan_text, replan_text,
    steps_sheet, watch_line, work_items_sheet, work_sheet_text,
};
pub(crate) use design::{bass_sheet, bass_text, plain_sheet, plain_text};
pub(crate) use difference::{difference_sheet, difference_text, special_sheet, special_text};
pub(crate) use estimate::{estimate_sheet, estimate_text, estimate_weeks_sheet, shortfall_text};
pub(crate) use evidence::{evidence_sheet, run_out_text, weighing_text};
pub(crate) use feed::{event_line, event_sheet};
pub(crate) use job::{job_sheet, job_text};
pub(crate) use journal::{changes_sheet, journal_sheet};
pub(crate) use measures::Measures;

pub(crate) use partials::{partials_sheet, partials_text};
pub(crate) use picture::{Tuning, picture};
pub(crate) use record::{record_sheet, record_text, trace_sheet};
pub(crate) use replacement::{replacement_sheet, replacement_text};
pub(crate) use safety::SAFETY_NOTE;
pub(crate) use scale::{notes_sheet, scale_sheet, scale_text};
pub(crate) use sets::sets_sheet;
pub(crate) use sheet::{Sheet, left, right};
pub(crate) use station::{station_sheet, station_text};
pub(crate) use stretch::{stretch_sheet, stretch_text};
pub(crate) use string_set::{
    pieces_sheet, set_overview, set_text, strings_of_kinds, strings_sheet, wire_totals_sheet,
};
pub(crate) use verify::{verify_json, verify_sheet, verify_text};
pub(crate) use webhook::{letter_sheet, webhook_sheet};
pub(crate) use winding_order::{winding_lines_sheet, winding_order_text, winding_orders_sheet};
pub(crate) use windings::{WINDINGS_NOTE, windings_sheet};
pub(crate) use wire::{WireNames, wire_sheet, wire_text};
