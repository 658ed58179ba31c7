//! Effects on cut lists.

use becket_floor::{
    CutListHeader, LevelReport, PlanFigures, PlanPolicy, Quality, SerialDigest, Shortage, Step, StepPiece,
};

use super::coils::Stamp;
use crate::cut_store::StoredHeader;
use crate::effect::{Effect, Fields};
use crate::error::StoreError;
use crate::tables::{Code, Value, corrupt, level_order_code};

fn header_row(number: i64, header: &CutListHeader, created_us: i64, updated_us: i64) -> Fields {
    // Destructured without `..`: a new field must get its column. Serials and levels have tables of their own.
    let CutListHeader {
        list_id,
        station_id,
        state,
        serials: _,
        policy,
        figures,
        quality: Quality { levels: _, stopped },
        pieces_done,
        pieces_pending,
        version,
        start_us,
        end_us,
    } = header;
    let mut row = vec![
        ("list_number", number.into()),
        ("list_id", list_id.as_str().into()),
        ("station_id", station_id.as_str().into()),
        ("state", state.code().into()),
        ("search_stopped", (*stopped).into()),
        ("pieces_done", (*pieces_done).into()),
        ("pieces_pending", (*pieces_pending).into()),
        ("start_us", (*start_us).into()),
        ("end_us", (*end_us).into()),
    ];
    row.extend(Stamp { version: *version, created_us, updated_us }.fields());
    row.extend(policy_fields(policy));
    row.extend(figure_fields(figures));
    row
}

fn policy_fields(policy: &PlanPolicy) -> Fields {
    let PlanPolicy {
        unison_rule,
        end_trim,
        coil_margin,
        coil_margin_sds,
        piece_order,
        wound_cores,
        due_window,
        fifo,
        level_order,
        effort,
        time_budget_ms,
    } = policy;
    vec![
        ("unison_rule", unison_rule.code().into()),
        ("end_trim_um", (*end_trim).into()),
        ("coil_margin_um", (*coil_margin).into()),
        ("coil_margin_milli_sds", u32::from(coil_margin_sds.thousandths()).into()),
        ("piece_order", piece_order.code().into()),
        ("wound_cores", (*wound_cores).into()),
        ("due_window", (*due_window).into()),
        ("fifo", (*fifo).into()),
        ("level_order", level_order_code(level_order).into()),
        ("search_rounds", effort.rounds_per_coil.into()),
        ("time_budget_ms", (*time_budget_ms).into()),
    ]
}

fn figure_fields(figures: &PlanFigures) -> Fields {
    let PlanFigures { pieces, cut, scrap, remnant, coils_used, coils_opened, reel_changes, unisons_split } =
        *figures;
    vec![
        ("pieces", pieces.into()),
        ("cut_um", cut.into()),
        ("scrap_um", scrap.into()),
        ("remnant_um", remnant.into()),
        ("coils_used", coils_used.into()),
        ("coils_opened", coils_opened.into()),
        ("reel_changes", reel_changes.into()),
        ("unisons_split", unisons_split.into()),
    ]
}

/// A list is new.
pub(in crate::tables) fn new_header(number: i64, header: &CutListHeader, now_us: i64) -> Effect {
    Effect::Put { table: "cut_lists", row: header_row(number, header, now_us, now_us) }
}

/// A list has another header. Its policy and its station stay.
pub(in crate::tables) fn changed_header(
    number: i64,
    before: &StoredHeader,
    header: &CutListHeader,
    now_us: i64,
) -> Option<Effect> {
    let was = header_row(number, &before.header, before.created_us, before.updated_us);
    let is = header_row(number, header, before.created_us, now_us);
    Effect::difference("cut_lists", vec![("list_number", number.into())], &was, is)
}

/// A list is of these serials now.
pub(in crate::tables) fn serials(number: i64, before: &[SerialDigest], now: &[SerialDigest]) -> Vec<Effect> {
    let rows = |serials: &[SerialDigest]| placed(number, serials.iter().map(serial_fields));
    Effect::replacement("cut_list_serials", rows(before), rows(now))
}

fn serial_fields(serial: &SerialDigest) -> Fields {
    let SerialDigest { serial_id, set_digest, due_date } = serial;
    vec![
        ("serial_id", serial_id.as_str().into()),
        ("set_digest", set_digest.as_str().into()),
        ("due_date", due_date.as_str().into()),
    ]
}

/// A plan has these levels now.
pub(in crate::tables) fn levels(number: i64, before: &[LevelReport], now: &[LevelReport]) -> Vec<Effect> {
    let fields = |report: &LevelReport| {
        let LevelReport { level, value, lower_bound, proven } = *report;
        vec![
            ("level", level.code().into()),
            ("value", value.into()),
            ("lower_bound", lower_bound.into()),
            ("proven", proven.into()),
        ]
    };
    let rows = |levels: &[LevelReport]| placed(number, levels.iter().map(fields));
    Effect::replacement("cut_list_levels", rows(before), rows(now))
}

/// A list has these shortages now.
pub(in crate::tables) fn shortages(
    number: i64,
    before: &[Shortage],
    now: &[Shortage],
) -> Result<Vec<Effect>, StoreError> {
    let rows = |shortages: &[Shortage]| -> Result<Vec<Fields>, StoreError> {
        let fields = shortages.iter().map(shortage_fields).collect::<Result<Vec<_>, StoreError>>()?;
        Ok(placed(number, fields.into_iter()))
    };
    Ok(Effect::replacement("shortages", rows(before)?, rows(now)?))
}

fn shortage_fields(shortage: &Shortage) -> Result<Fields, StoreError> {
    let Shortage { wire_id, serial_id, piece_ids, length } = shortage;
    let pieces: Vec<&str> = piece_ids.iter().map(|id| id.as_str()).collect();
    Ok(vec![
        ("wire_id", wire_id.as_str().into()),
        ("serial_id", serial_id.as_str().into()),
        ("piece_ids", serde_json::to_string(&pieces).map_err(corrupt)?.into()),
        ("length_um", (*length).into()),
    ])
}

/// The rows of a list, by place from 0.
fn placed(number: i64, rows: impl Iterator<Item = Fields>) -> Vec<Fields> {
    let put = |(place, fields): (i64, Fields)| {
        let mut row = vec![("list_number", number.into()), ("place", place.into())];
        row.extend(fields);
        row
    };
    (0_i64..).zip(rows).map(put).collect()
}

/// A list has these steps instead of those, which are pending.
pub(in crate::tables) fn steps<'a>(
    number: i64,
    before: &[Step],
    now: impl Iterator<Item = &'a Step>,
) -> Result<Vec<Effect>, StoreError> {
    let before = before.iter().map(|step| step_row(number, step)).collect::<Result<_, _>>()?;
    let now = now.map(|step| step_row(number, step)).collect::<Result<_, _>>()?;
    Ok(Effect::replacement("cut_steps", before, now))
}

fn step_row(number: i64, step: &Step) -> Result<Fields, StoreError> {
    // Destructured without `..`: a new field must get its column.
    let Step {
        step_number,
        kind,
        state: _,
        coil_id,
        lot_id,
        wire_id,
        reel_position,
        piece,
        length: _,
        remaining_after: _,
        tail_use: _,
        opens_coil: _,
        spoil_cause: _,
        done_us: _,
        done_by: _,
    } = step;
    let mut row = vec![
        ("list_number", number.into()),
        ("step_number", (*step_number).into()),
        ("kind", kind.code().into()),
        ("coil_id", coil_id.as_str().into()),
        ("lot_id", lot_id.as_str().into()),
        ("wire_id", wire_id.as_str().into()),
        ("reel_position", (*reel_position).into()),
    ];
    row.extend(piece_fields(piece.as_ref())?);
    row.extend(execution_fields(step));
    Ok(row)
}

fn piece_fields(piece: Option<&StepPiece>) -> Result<Fields, StoreError> {
    let Some(StepPiece { serial_id, piece_id, kind, notes, length, recut, section }) = piece else {
        let none =
            ["serial_id", "piece_id", "piece_kind", "notes", "piece_um", "section_id", "section_number"];
        let nulls = none.into_iter().map(|column| (column, Value::Null));
        return Ok(nulls.chain([("recut", false.into())]).collect());
    };
    Ok(vec![
        ("serial_id", serial_id.as_str().into()),
        ("piece_id", piece_id.as_str().into()),
        ("piece_kind", kind.code().into()),
        ("notes", serde_json::to_string(notes).map_err(corrupt)?.into()),
        ("piece_um", (*length).into()),
        ("recut", (*recut).into()),
        ("section_id", section.as_ref().map(|section| section.section_id.as_str()).into()),
        ("section_number", section.as_ref().map(|section| section.number).into()),
    ])
}

/// What execution changes of a step.
fn execution_fields(step: &Step) -> Fields {
    vec![
        ("state", step.state.code().into()),
        ("length_um", step.length.into()),
        ("remaining_after_um", step.remaining_after.into()),
        ("tail_use", step.tail_use.map(Code::code).into()),
        ("opens_coil", step.opens_coil.into()),
        ("spoil_cause", step.spoil_cause.map(Code::code).into()),
        ("done_us", step.done_us.into()),
        ("done_by", step.done_by.as_str().into()),
    ]
}

/// A step is executed, or its piece turns out to be spoiled.
pub(in crate::tables) fn executed(number: i64, before: &Step, step: &Step) -> Option<Effect> {
    let key = vec![("list_number", number.into()), ("step_number", step.step_number.into())];
    Effect::difference("cut_steps", key, &execution_fields(before), execution_fields(step))
}
