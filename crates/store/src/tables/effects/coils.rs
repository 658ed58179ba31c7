//! Effects on coils, their ledgers, stock rules, stations and what is mounted.

use becket_floor::{Coil, CoilId, EvidenceState, LengthEstimate, Scales, Station, StationId};

use crate::cut_store::{StockRule, StoredStation};
use crate::effect::{Effect, Fields};
use crate::tables::{Code, EvidenceRow, LockedCoil, Value};

/// Version and times of a row.
#[derive(Debug, Clone, Copy)]
pub(in crate::tables) struct Stamp {
    pub(in crate::tables) version: i64,
    pub(in crate::tables) created_us: i64,
    pub(in crate::tables) updated_us: i64,
}

impl Stamp {
    /// Of a row that is made now.
    pub(in crate::tables) fn new(now_us: i64) -> Self {
        Self { version: 1, created_us: now_us, updated_us: now_us }
    }

    /// Of a row that is changed now.
    pub(in crate::tables) fn next(self, now_us: i64) -> Self {
        Self { version: self.version + 1, updated_us: now_us, ..self }
    }

    pub(in crate::tables) fn fields(self) -> [(&'static str, Value); 3] {
        let Self { version, created_us, updated_us } = self;
        [("version", version.into()), ("created_us", created_us.into()), ("updated_us", updated_us.into())]
    }
}

fn coil_row(coil: &Coil, stamp: Stamp) -> Fields {
    // Destructured without `..`: a new field must get its column.
    let Coil {
        coil_id,
        wire_id,
        lot_id,
        received_date,
        state,
        received,
        remaining,
        cut,
        scrapped,
        adjusted,
        linear_density_g_m,
        estimate,
    } = coil;
    let LengthEstimate { variance_mm2, density_error, density_variance, covariance_mm } = *estimate;
    let mut row = vec![
        ("coil_id", coil_id.as_str().into()),
        ("wire_id", wire_id.as_str().into()),
        ("lot_id", lot_id.as_str().into()),
        ("received_date", received_date.as_str().into()),
        ("state", state.code().into()),
        ("received_um", (*received).into()),
        ("remaining_um", (*remaining).into()),
        ("cut_um", (*cut).into()),
        ("scrapped_um", (*scrapped).into()),
        ("adjusted_um", (*adjusted).into()),
        ("linear_density_g_m", (*linear_density_g_m).into()),
        ("variance_mm2", variance_mm2.into()),
        ("density_error", density_error.into()),
        ("density_variance", density_variance.into()),
        ("covariance_mm", covariance_mm.into()),
    ];
    row.extend(stamp.fields());
    row
}

/// A coil is new.
pub(in crate::tables) fn new_coil(coil: &Coil, now_us: i64) -> Effect {
    Effect::Put { table: "coils", row: coil_row(coil, Stamp::new(now_us)) }
}

/// A coil has another balance or state, and a new version.
pub(in crate::tables) fn changed_coil(before: &LockedCoil, coil: &Coil, now_us: i64) -> Option<Effect> {
    let was = Stamp { version: before.version, created_us: before.created_us, updated_us: before.updated_us };
    let key = vec![("coil_id", coil.coil_id.as_str().into())];
    Effect::difference("coils", key, &coil_row(&before.coil, was), coil_row(coil, was.next(now_us)))
}

/// A line is added to the ledger of a coil.
pub(in crate::tables) fn new_evidence(
    number: u32,
    row: &EvidenceRow<'_>,
    actor: &str,
    now_us: i64,
) -> Effect {
    let EvidenceRow { coil_id, list_id, evidence, note } = *row;
    let scales = row.scales();
    let grams = |of: fn(Scales) -> f64| scales.map(of).into();
    let row = vec![
        ("coil_id", coil_id.as_str().into()),
        ("evidence_number", number.into()),
        ("kind", row.kind_code().into()),
        ("state", row.state_code().into()),
        ("length_um", evidence.length.into()),
        ("length_sd_mm", evidence.sd_mm.into()),
        ("deviation_sds", evidence.deviation_sds.into()),
        ("before_um", evidence.before.remaining.into()),
        ("before_sd_mm", evidence.before.sd_mm.into()),
        ("after_um", evidence.after.remaining.into()),
        ("after_sd_mm", evidence.after.sd_mm.into()),
        ("gross_g", grams(|scales| scales.gross_g)),
        ("tare_g", grams(|scales| scales.tare_g)),
        ("resolution_g", grams(|scales| scales.resolution_g)),
        ("tare_sd_g", grams(|scales| scales.tare_sd_g)),
        ("accepted_number", row.accepted_number().into()),
        ("list_id", list_id.map(|id| id.as_str()).into()),
        ("note", note.into()),
        ("actor", actor.into()),
        ("created_us", now_us.into()),
        ("decided_us", Value::Null),
        ("decided_by", Value::Null),
    ];
    Effect::Put { table: "coil_evidence", row }
}

/// Evidence that was held is decided upon.
pub(in crate::tables) fn decided_evidence(
    coil_id: &CoilId,
    number: u32,
    state: EvidenceState,
    actor: &str,
    now_us: i64,
) -> Effect {
    let key = vec![("coil_id", coil_id.as_str().into()), ("evidence_number", number.into())];
    let to =
        vec![("state", state.code().into()), ("decided_us", now_us.into()), ("decided_by", actor.into())];
    // Only what is held is decided upon.
    let was = vec![
        ("state", EvidenceState::Held.code().into()),
        ("decided_us", Value::Null),
        ("decided_by", Value::Null),
    ];
    Effect::Set { table: "coil_evidence", key, was, to }
}

/// A wire has this rule now.
pub(in crate::tables) fn rule(before: Option<&StockRule>, rule: &StockRule) -> Vec<Effect> {
    let row = |rule: &StockRule| {
        let StockRule { wire_id, smallest_remnant } = rule;
        vec![("wire_id", wire_id.as_str().into()), ("smallest_remnant_um", (*smallest_remnant).into())]
    };
    Effect::replacement("stock_rules", before.map(row).into_iter().collect(), vec![row(rule)])
}

/// A station has these data now.
pub(in crate::tables) fn station(
    before: Option<&StoredStation>,
    station: &Station,
    now_us: i64,
) -> Vec<Effect> {
    let stamp = before.map(|stored| {
        let StoredStation { version, created_us, updated_us, station: _ } = *stored;
        Stamp { version, created_us, updated_us }
    });
    let was = before.zip(stamp).map(|(stored, stamp)| station_row(&stored.station, stamp));
    let stamp = stamp.map_or_else(|| Stamp::new(now_us), |stamp| stamp.next(now_us));
    Effect::replacement("stations", was.into_iter().collect(), vec![station_row(station, stamp)])
}

fn station_row(station: &Station, stamp: Stamp) -> Fields {
    // What is mounted has a table of its own.
    let Station { station_id, title, reel_positions, trays, mounted: _ } = station;
    let mut row = vec![
        ("station_id", station_id.as_str().into()),
        ("title", title.as_str().into()),
        ("reel_positions", (*reel_positions).into()),
        ("trays", (*trays).into()),
    ];
    row.extend(stamp.fields());
    row
}

fn mount_row(station_id: &StationId, reel_position: u32, coil_id: &CoilId) -> Fields {
    vec![
        ("station_id", station_id.as_str().into()),
        ("reel_position", reel_position.into()),
        ("coil_id", coil_id.as_str().into()),
    ]
}

/// A reel position has another coil, or none.
pub(in crate::tables) fn mounted(
    station_id: &StationId,
    reel_position: u32,
    before: Option<&CoilId>,
    now: Option<&CoilId>,
) -> Vec<Effect> {
    let rows = |coil: Option<&CoilId>| {
        coil.map(|coil_id| mount_row(station_id, reel_position, coil_id)).into_iter().collect()
    };
    Effect::replacement("mounts", rows(before), rows(now))
}
