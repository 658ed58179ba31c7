//! Rows become records.

use std::collections::BTreeMap;

use becket_floor::{
    Coil, CoilId, CoilState, CutListHeader, CutListState, Effort, FloorCoil, LengthEstimate, Level,
    LevelOrder, LevelReport, ListId, LotId, MountPlace, PieceId, PieceKind, PieceOrder, PlanFigures,
    PlanPolicy, Quality, Sds, Section, SectionId, SerialDigest, SerialId, Shortage, SpoilCause, Station,
    StationId, Step, StepKind, StepPiece, StepState, TailUse, Unison, WireId,
};
use becket_units::Um;

use super::{Code, LockedCoil, bytes_32, corrupt, unsigned};
use crate::context::Stored;
use crate::cut_store::{Claim, CutRecord, LotSerial, StockRule, StoredCoil, StoredHeader, StoredStation};
use crate::error::StoreError;
use crate::journal::Entry;
use crate::string_store::{JobColumns, JobState, StoredJob, StoredScale, StoredWire};
use crate::winding_orders::StoredWindingOrder;

type Read<T> = Result<T, StoreError>;

/// A row of a table, by the names of its columns. Every method fails with [`StoreError::Corrupt`] if there is no such column or
/// it holds something else.
#[allow(missing_docs, reason = "the names say what each reads")]
pub trait Columns {
    fn is_null(&self, column: &str) -> Read<bool>;
    fn text(&self, column: &str) -> Read<String>;
    fn optional_text(&self, column: &str) -> Read<Option<String>>;
    fn integer(&self, column: &str) -> Read<i64>;
    fn optional_integer(&self, column: &str) -> Read<Option<i64>>;
    fn real(&self, column: &str) -> Read<f64>;
    fn optional_real(&self, column: &str) -> Read<Option<f64>>;
    fn truth(&self, column: &str) -> Read<bool>;
    fn bytes(&self, column: &str) -> Read<Vec<u8>>;
}

fn id<T, E: std::fmt::Display>(
    row: &impl Columns,
    column: &str,
    make: impl FnOnce(String) -> Result<T, E>,
) -> Read<T> {
    make(row.text(column)?).map_err(corrupt)
}

fn um(row: &impl Columns, column: &str) -> Read<Um> {
    row.integer(column).map(Um::new)
}

fn count(row: &impl Columns, column: &str) -> Read<u32> {
    unsigned(row.integer(column)?)
}

fn optional_count(row: &impl Columns, column: &str) -> Read<Option<u32>> {
    row.optional_integer(column)?.map(unsigned).transpose()
}

fn optional_code<T: Code>(row: &impl Columns, column: &str) -> Read<Option<T>> {
    row.optional_text(column)?.map(|code| T::of(&code)).transpose()
}

/// The id in column `coil_id`.
///
/// # Errors
/// As [`Columns`].
pub fn coil_id_of(row: &impl Columns) -> Read<CoilId> {
    id(row, "coil_id", CoilId::new)
}

/// The id in column `list_id`.
///
/// # Errors
/// As [`Columns`].
pub fn list_id_of(row: &impl Columns) -> Read<ListId> {
    id(row, "list_id", ListId::new)
}

/// Ids of lists.
///
/// # Errors
/// [`StoreError::Corrupt`] if one of them is none.
pub fn each_list_id(ids: Vec<String>) -> Read<Vec<ListId>> {
    ids.into_iter().map(|id| ListId::new(id).map_err(corrupt)).collect()
}

/// The number in column `list_number`.
///
/// # Errors
/// As [`Columns`].
pub fn list_number_of(row: &impl Columns) -> Read<i64> {
    row.integer("list_number")
}

/// The columns that every document has.
///
/// # Errors
/// As [`Columns`].
pub fn stored_of(row: &impl Columns) -> Read<Stored> {
    Ok(Stored {
        bytes: row.bytes("bytes")?,
        version: row.integer("version")?,
        created_us: row.integer("created_us")?,
        updated_us: row.integer("updated_us")?,
    })
}

/// A wire.
///
/// # Errors
/// As [`Columns`].
pub fn wire_of(row: &impl Columns) -> Read<StoredWire> {
    Ok(StoredWire { wire_id: row.text("wire_id")?, stored: stored_of(row)? })
}

/// A scale revision.
///
/// # Errors
/// As [`Columns`].
pub fn scale_of(row: &impl Columns) -> Read<StoredScale> {
    Ok(StoredScale {
        model_id: row.text("model_id")?,
        revision_id: row.text("revision_id")?,
        stored: stored_of(row)?,
        released_us: row.optional_integer("released_us")?,
    })
}

/// A job.
///
/// # Errors
/// As [`Columns`].
pub fn job_of(row: &impl Columns) -> Read<StoredJob> {
    Ok(StoredJob {
        columns: JobColumns {
            serial_id: row.text("serial_id")?,
            due_date: row.text("due_date")?,
            station_id: row.text("station_id")?,
        },
        state: JobState::of(&row.text("state")?)?,
        freeze_us: row.optional_integer("freeze_us")?,
        stored: stored_of(row)?,
    })
}

/// A revision of a winding order.
///
/// # Errors
/// As [`Columns`].
pub fn winding_order_of(row: &impl Columns) -> Read<StoredWindingOrder> {
    Ok(StoredWindingOrder {
        order_id: row.text("order_id")?,
        revision: row.integer("revision")?,
        reason: row.text("reason")?,
        digest: row.text("digest")?,
        bytes: row.bytes("bytes")?,
        release_us: row.integer("release_us")?,
    })
}

/// An entry of the journal.
///
/// # Errors
/// As [`Columns`].
pub fn entry_of(row: &impl Columns) -> Read<Entry> {
    Ok(Entry {
        sequence: row.integer("sequence")?,
        entry_us: row.integer("entry_us")?,
        actor: row.text("actor")?,
        origin: row.text("origin")?,
        request_id: row.text("request_id")?,
        method: row.text("method")?,
        subject: row.text("subject")?,
        before: row.optional_text("before_json")?,
        after: row.optional_text("after_json")?,
        effects: row.optional_text("effects_json")?,
        hash: bytes_32(row.bytes("hash")?)?,
    })
}

/// A coil.
///
/// # Errors
/// As [`Columns`].
pub fn coil_of(row: &impl Columns) -> Read<Coil> {
    Ok(Coil {
        coil_id: coil_id_of(row)?,
        wire_id: id(row, "wire_id", WireId::new)?,
        lot_id: id(row, "lot_id", LotId::new)?,
        received_date: row.text("received_date")?,
        state: CoilState::of(&row.text("state")?)?,
        received: um(row, "received_um")?,
        remaining: um(row, "remaining_um")?,
        cut: um(row, "cut_um")?,
        scrapped: um(row, "scrapped_um")?,
        adjusted: um(row, "adjusted_um")?,
        linear_density_g_m: row.real("linear_density_g_m")?,
        estimate: LengthEstimate {
            variance_mm2: row.real("variance_mm2")?,
            density_error: row.real("density_error")?,
            density_variance: row.real("density_variance")?,
            covariance_mm: row.real("covariance_mm")?,
        },
    })
}

/// A coil that is locked.
///
/// # Errors
/// As [`Columns`].
pub fn locked_coil_of(row: &impl Columns) -> Read<LockedCoil> {
    Ok(LockedCoil {
        coil: coil_of(row)?,
        version: row.integer("version")?,
        created_us: row.integer("created_us")?,
        updated_us: row.integer("updated_us")?,
    })
}

/// A coil with `reserved_um`, `held_evidence` and `last_finding`.
///
/// # Errors
/// As [`Columns`].
pub fn stored_coil_of(row: &impl Columns) -> Read<StoredCoil> {
    Ok(StoredCoil {
        coil: coil_of(row)?,
        reserved: um(row, "reserved_um")?,
        held_evidence: count(row, "held_evidence")?,
        last_finding: count(row, "last_finding")?,
        version: row.integer("version")?,
        created_us: row.integer("created_us")?,
        updated_us: row.integer("updated_us")?,
    })
}

/// A coil with `reserved_um` by others, `smallest_remnant_um`, and `station_id` and `reel_position` if it is mounted.
///
/// # Errors
/// As [`Columns`].
pub fn floor_coil_of(row: &impl Columns) -> Read<FloorCoil> {
    let mounted = match (row.optional_text("station_id")?, row.optional_integer("reel_position")?) {
        (Some(station), Some(position)) => Some(MountPlace {
            station_id: StationId::new(station).map_err(corrupt)?,
            reel_position: unsigned(position)?,
        }),
        _ => None,
    };
    Ok(FloorCoil {
        coil: coil_of(row)?,
        version: row.integer("version")?,
        reserved_by_others: um(row, "reserved_um")?,
        smallest_remnant: um(row, "smallest_remnant_um")?,
        mounted,
    })
}

/// A stock rule.
///
/// # Errors
/// As [`Columns`].
pub fn rule_of(row: &impl Columns) -> Read<StockRule> {
    Ok(StockRule {
        wire_id: id(row, "wire_id", WireId::new)?,
        smallest_remnant: um(row, "smallest_remnant_um")?,
    })
}

/// A station on which nothing is mounted yet.
///
/// # Errors
/// As [`Columns`].
pub fn station_of(row: &impl Columns) -> Read<StoredStation> {
    Ok(StoredStation {
        station: Station {
            station_id: id(row, "station_id", StationId::new)?,
            title: row.text("title")?,
            reel_positions: count(row, "reel_positions")?,
            trays: count(row, "trays")?,
            mounted: BTreeMap::new(),
        },
        version: row.integer("version")?,
        created_us: row.integer("created_us")?,
        updated_us: row.integer("updated_us")?,
    })
}

/// A serial of a list.
///
/// # Errors
/// As [`Columns`].
pub fn serial_digest_of(row: &impl Columns) -> Read<SerialDigest> {
    Ok(SerialDigest {
        serial_id: id(row, "serial_id", SerialId::new)?,
        set_digest: row.text("set_digest")?,
        due_date: row.text("due_date")?,
    })
}

/// A shortage of a list.
///
/// # Errors
/// As [`Columns`].
pub fn shortage_of(row: &impl Columns) -> Read<Shortage> {
    let pieces: Vec<String> = serde_json::from_str(&row.text("piece_ids")?).map_err(corrupt)?;
    Ok(Shortage {
        wire_id: id(row, "wire_id", WireId::new)?,
        serial_id: id(row, "serial_id", SerialId::new)?,
        piece_ids: pieces.into_iter().map(PieceId::new).collect::<Result<_, _>>().map_err(corrupt)?,
        length: um(row, "length_um")?,
    })
}

/// The header of a list.
///
/// # Errors
/// As [`Columns`].
pub fn header_of(
    row: &impl Columns,
    serials: Vec<SerialDigest>,
    levels: Vec<LevelReport>,
) -> Read<StoredHeader> {
    let header = CutListHeader {
        list_id: list_id_of(row)?,
        station_id: id(row, "station_id", StationId::new)?,
        state: CutListState::of(&row.text("state")?)?,
        serials,
        policy: PlanPolicy {
            unison_rule: Unison::of(&row.text("unison_rule")?)?,
            end_trim: um(row, "end_trim_um")?,
            coil_margin: um(row, "coil_margin_um")?,
            coil_margin_sds: sds_of(row)?,
            piece_order: PieceOrder::of(&row.text("piece_order")?)?,
            wound_cores: row.truth("wound_cores")?,
            due_window: optional_count(row, "due_window")?,
            fifo: row.truth("fifo")?,
            level_order: level_order_of(&row.text("level_order")?)?,
            effort: Effort { rounds_per_coil: count(row, "search_rounds")? },
            time_budget_ms: optional_count(row, "time_budget_ms")?,
        },
        figures: PlanFigures {
            pieces: count(row, "pieces")?,
            cut: um(row, "cut_um")?,
            scrap: um(row, "scrap_um")?,
            remnant: um(row, "remnant_um")?,
            coils_used: count(row, "coils_used")?,
            coils_opened: count(row, "coils_opened")?,
            reel_changes: count(row, "reel_changes")?,
            unisons_split: count(row, "unisons_split")?,
        },
        quality: Quality { levels, stopped: row.truth("search_stopped")? },
        pieces_done: count(row, "pieces_done")?,
        pieces_pending: count(row, "pieces_pending")?,
        version: row.integer("version")?,
        start_us: row.optional_integer("start_us")?,
        end_us: row.optional_integer("end_us")?,
    };
    let (created_us, updated_us) = (row.integer("created_us")?, row.integer("updated_us")?);
    Ok(StoredHeader { header, created_us, updated_us })
}

/// An order of levels as one word.
#[must_use]
pub fn level_order_code(order: &LevelOrder) -> String {
    order.levels().map(Code::code).join(",")
}

fn level_order_of(code: &str) -> Read<LevelOrder> {
    let levels = code.split(',').map(Level::of).collect::<Read<Vec<_>>>()?;
    let order = levels.try_into().ok().and_then(LevelOrder::new);
    order.ok_or_else(|| corrupt(format!("{code:?} is no order of levels")))
}

/// What a plan comes to on a level.
///
/// # Errors
/// As [`Columns`].
pub fn level_of(row: &impl Columns) -> Read<LevelReport> {
    Ok(LevelReport {
        level: Level::of(&row.text("level")?)?,
        value: row.integer("value")?,
        lower_bound: row.integer("lower_bound")?,
        proven: row.truth("proven")?,
    })
}

fn sds_of(row: &impl Columns) -> Read<Sds> {
    let thousandths = u16::try_from(row.integer("coil_margin_milli_sds")?).ok();
    let sds = thousandths.and_then(Sds::of_thousandths);
    sds.ok_or_else(|| corrupt("a margin in standard deviations is out of range"))
}

/// A step of a list.
///
/// # Errors
/// As [`Columns`].
pub fn step_of(row: &impl Columns) -> Read<Step> {
    Ok(Step {
        step_number: count(row, "step_number")?,
        kind: StepKind::of(&row.text("kind")?)?,
        state: StepState::of(&row.text("state")?)?,
        coil_id: coil_id_of(row)?,
        lot_id: id(row, "lot_id", LotId::new)?,
        wire_id: id(row, "wire_id", WireId::new)?,
        reel_position: count(row, "reel_position")?,
        piece: piece_of(row)?,
        length: um(row, "length_um")?,
        remaining_after: um(row, "remaining_after_um")?,
        tail_use: optional_code::<TailUse>(row, "tail_use")?,
        opens_coil: row.truth("opens_coil")?,
        spoil_cause: optional_code::<SpoilCause>(row, "spoil_cause")?,
        done_us: row.optional_integer("done_us")?,
        done_by: row.text("done_by")?,
    })
}

fn piece_of(row: &impl Columns) -> Read<Option<StepPiece>> {
    let get = |column: &str| row.optional_text(column);
    let (Some(serial), Some(piece), Some(kind), Some(notes)) =
        (get("serial_id")?, get("piece_id")?, get("piece_kind")?, get("notes")?)
    else {
        return Ok(None);
    };
    Ok(Some(StepPiece {
        serial_id: SerialId::new(serial).map_err(corrupt)?,
        piece_id: PieceId::new(piece).map_err(corrupt)?,
        kind: PieceKind::of(&kind)?,
        notes: serde_json::from_str(&notes).map_err(corrupt)?,
        section: section_of(row)?,
        length: um(row, "piece_um")?,
        recut: row.truth("recut")?,
    }))
}

/// Steps that were planned before sections were kept have none.
fn section_of(row: &impl Columns) -> Read<Option<Section>> {
    match (row.optional_text("section_id")?, optional_count(row, "section_number")?) {
        (Some(section_id), Some(number)) => {
            Ok(Some(Section { section_id: SectionId::new(section_id).map_err(corrupt)?, number }))
        }
        _ => Ok(None),
    }
}

/// Where a piece came from: a cut step with its `list_id`.
///
/// # Errors
/// As [`Columns`].
pub fn cut_record_of(row: &impl Columns) -> Read<CutRecord> {
    Ok(CutRecord {
        serial_id: id(row, "serial_id", SerialId::new)?,
        piece_id: id(row, "piece_id", PieceId::new)?,
        coil_id: coil_id_of(row)?,
        lot_id: id(row, "lot_id", LotId::new)?,
        wire_id: id(row, "wire_id", WireId::new)?,
        notes: serde_json::from_str(&row.text("notes")?).map_err(corrupt)?,
        length: um(row, "length_um")?,
        list_id: list_id_of(row)?,
        step_number: count(row, "step_number")?,
        cut_us: row.integer("done_us")?,
        cut_by: row.text("done_by")?,
        spoil_cause: optional_code::<SpoilCause>(row, "spoil_cause")?,
    })
}

/// A wire of a lot in a serial: `length_um` in all, and its pieces in the order of cutting as pairs of coil and piece.
///
/// # Errors
/// As [`Columns`].
pub fn lot_serial_of(row: &impl Columns, pieces: Vec<(String, String)>) -> Read<LotSerial> {
    let mut serial = LotSerial {
        serial_id: id(row, "serial_id", SerialId::new)?,
        wire_id: id(row, "wire_id", WireId::new)?,
        coil_ids: Vec::new(),
        piece_ids: Vec::new(),
        length: um(row, "length_um")?,
    };
    for (coil, piece) in pieces {
        let coil = CoilId::new(coil).map_err(corrupt)?;
        if !serial.coil_ids.contains(&coil) {
            serial.coil_ids.push(coil);
        }
        serial.piece_ids.push(PieceId::new(piece).map_err(corrupt)?);
    }
    Ok(serial)
}

/// A piece that is on a list, with `is_cut`.
///
/// # Errors
/// As [`Columns`].
pub fn claim_of(row: &impl Columns) -> Read<Claim> {
    Ok(Claim {
        serial_id: id(row, "serial_id", SerialId::new)?,
        piece_id: id(row, "piece_id", PieceId::new)?,
        list_id: list_id_of(row)?,
        is_cut: row.truth("is_cut")?,
    })
}
