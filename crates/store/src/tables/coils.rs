//! Coils and stock rules.

use async_trait::async_trait;
use becket_floor::{Coil, CoilId, CoilState, EvidenceState, FloorCoil, ListId, StationId, WireId};
use becket_units::Um;

use super::effects::coils as effects;
use super::{EvidenceRow, FloorTables, Writing, commit_floor};
use crate::cut_store::{CoilChange, CoilChanged, EvidenceRecord, RefuseIf, StockRule, StoredCoil};
use crate::error::{Kind, StoreError};
use crate::floor_json::{coil_json, evidence_json, rule_json};

/// A coil that nobody else changes until the write has ended. What is reserved on it is not told: who locks it may have waited for others
/// that reserved some, which the same statement does not see.
#[derive(Debug, Clone, PartialEq)]
pub struct LockedCoil {
    /// The coil.
    pub coil: Coil,
    /// Version.
    pub version: i64,
    /// When it was received, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// The steps of writes of coils.
#[async_trait]
pub trait CoilTables: Writing {
    /// Keeps others from booking on these coils, and from counting on more of them, until the write has ended, and reads them. Ids in
    /// rising order; those that are not there are passed over.
    async fn lock_coils(&mut self, coil_ids: &[CoilId]) -> Result<Vec<LockedCoil>, StoreError>;

    /// Keeps others from receiving coils until the write has ended, for the same reason as
    /// [`lock_catalogue`](super::WireTables::lock_catalogue).
    async fn lock_receipt(&mut self) -> Result<(), StoreError> {
        Ok(())
    }

    /// Adds a coil with version 1. Returns whether it was new; one that is there stays as it is.
    async fn insert_coil(&mut self, coil: &Coil) -> Result<bool, StoreError>;

    /// A coil with what is reserved on it.
    async fn read_coil(&mut self, coil_id: &CoilId) -> Result<StoredCoil, StoreError>;

    /// Coils that are there, as seen from a list; by id.
    async fn read_floor_coils(
        &mut self,
        coil_ids: &[CoilId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError>;

    /// Stores balance and state of a coil, and raises its version.
    async fn update_coil(&mut self, coil: &Coil) -> Result<(), StoreError>;

    /// Adds a line to the ledger of a coil, under the next number of the coil. Returns the number.
    async fn insert_evidence(&mut self, row: &EvidenceRow<'_>) -> Result<u32, StoreError>;

    /// A line of a coil's ledger.
    async fn read_evidence(&mut self, coil_id: &CoilId, number: u32) -> Result<EvidenceRecord, StoreError>;

    /// Decides upon evidence that is held. Returns whether it was.
    async fn decide_evidence(
        &mut self,
        coil_id: &CoilId,
        number: u32,
        state: EvidenceState,
    ) -> Result<bool, StoreError>;

    /// Lists that have wire of a coil reserved, by number.
    async fn lists_counting_on(&mut self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError>;

    /// Lists with a pending step of any kind on a coil, by number. A list that has only to take it off reserves nothing of it and
    /// would still be left with a step that cannot be done.
    async fn lists_naming(&mut self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError>;

    /// Takes a coil off the reel position on which it is, if it is on one, and returns the place.
    async fn take_off_everywhere(&mut self, coil_id: &CoilId)
    -> Result<Option<(StationId, u32)>, StoreError>;

    /// Adds the rule of a wire. Returns whether it was new; one that is there stays as it is.
    async fn insert_rule(&mut self, rule: &StockRule) -> Result<bool, StoreError>;

    /// The rule of a wire that has one, which nobody else changes from then on.
    async fn lock_rule(&mut self, wire_id: &WireId) -> Result<StockRule, StoreError>;

    /// Replaces the rule of a wire that has one.
    async fn update_rule(&mut self, rule: &StockRule) -> Result<(), StoreError>;
}

/// See [`CutStore::receive_coils`](crate::CutStore::receive_coils).
///
/// # Errors
/// As stated there.
pub async fn receive_coils(
    tables: &mut impl CoilTables,
    coils: &[Coil],
) -> Result<Vec<StoredCoil>, StoreError> {
    tables.lock_receipt().await?;
    let now_us = tables.now_us();
    let mut clashes = Vec::new();
    let mut stored = Vec::with_capacity(coils.len());
    for coil in coils {
        if tables.insert_coil(coil).await? {
            let evidence = &coil.receipt();
            let row = EvidenceRow { coil_id: &coil.coil_id, list_id: None, evidence, note: "" };
            tables.effect(effects::new_coil(coil, now_us));
            let last_finding = add_evidence(tables, &row).await?;
            tables.tell(subject(&coil.coil_id), None, Some(coil_json(coil, "")));
            let coil = coil.clone();
            stored.push(StoredCoil {
                coil,
                reserved: Um::ZERO,
                held_evidence: 0,
                last_finding,
                version: 1,
                created_us: now_us,
                updated_us: now_us,
            });
        } else {
            clashes.push(coil.coil_id.as_str().to_owned());
        }
    }
    if !clashes.is_empty() {
        return Err(StoreError::AlreadyExists { kind: Kind::Coil, ids: clashes });
    }
    Ok(stored)
}

/// See [`CutStore::change_coil`](crate::CutStore::change_coil).
///
/// # Errors
/// As stated there.
pub async fn change_coil(
    tables: &mut impl FloorTables,
    change: &CoilChange,
) -> Result<CoilChanged, StoreError> {
    let CoilChange { coil_id, expected_version, booking, held, decision, state, refuse_if, lists, note } =
        change;
    for list in lists {
        commit_floor(tables, list).await?;
    }
    let before = lock_coil(tables, coil_id).await?;
    if before.version != *expected_version {
        let (id, current) = (coil_id.as_str().to_owned(), before.version);
        return Err(StoreError::VersionStale { kind: Kind::Coil, id, current });
    }
    let list_ids = tables.lists_counting_on(coil_id).await?;
    let forbid = match refuse_if {
        RefuseIf::Never => Vec::new(),
        RefuseIf::CountedOn => list_ids.clone(),
        RefuseIf::Named => tables.lists_naming(coil_id).await?,
    };
    if !forbid.is_empty() {
        return Err(StoreError::CoilReserved { coil_id: coil_id.clone(), list_ids: forbid });
    }
    let mut coil = before.coil.clone();
    let mut line = held.as_ref().map(|finding| coil.held(finding));
    if let Some(booking) = booking {
        let booked =
            coil.apply(booking).map_err(|e| StoreError::ChangeInconsistent { reason: e.to_string() })?;
        line = booked.or(line);
    }
    coil.state = *state;
    let mut number = None;
    if let Some(decision) = decision {
        let state = if decision.accepted { EvidenceState::Accepted } else { EvidenceState::Rejected };
        if !tables.decide_evidence(coil_id, decision.number, state).await? {
            let id = format!("{coil_id}/{}", decision.number);
            return Err(StoreError::NotFound { kind: Kind::CoilEvidence, id });
        }
        let decided =
            effects::decided_evidence(coil_id, decision.number, state, tables.actor(), tables.now_us());
        tables.effect(decided);
        number = Some(decision.number);
    }
    if let Some(evidence) = &line {
        let row = EvidenceRow { coil_id, list_id: None, evidence, note };
        number = Some(add_evidence(tables, &row).await?);
    }
    store_coil(tables, &before, &coil).await?;
    if *state == CoilState::Scrapped
        && let Some((station_id, position)) = tables.take_off_everywhere(coil_id).await?
    {
        super::note(tables, effects::mounted(&station_id, position, Some(coil_id), None));
    }
    let evidence = match number {
        Some(number) => Some(tables.read_evidence(coil_id, number).await?),
        None => None,
    };
    let after = match &evidence {
        Some(evidence) => evidence_json(&coil, note, evidence),
        None => coil_json(&coil, note),
    };
    tables.tell(subject(coil_id), Some(coil_json(&before.coil, "")), Some(after));
    Ok(CoilChanged { coil: tables.read_coil(coil_id).await?, list_ids, evidence })
}

/// See [`CutStore::set_stock_rule`](crate::CutStore::set_stock_rule).
///
/// # Errors
/// As stated there.
pub async fn set_stock_rule(tables: &mut impl CoilTables, rule: &StockRule) -> Result<StockRule, StoreError> {
    let before = if tables.insert_rule(rule).await? {
        None
    } else {
        let before = tables.lock_rule(&rule.wire_id).await?;
        tables.update_rule(rule).await?;
        Some(before)
    };
    super::note(tables, effects::rule(before.as_ref(), rule));
    let was = before.as_ref().map(rule_json);
    tables.tell(format!("{}/{}", Kind::StockRule, rule.wire_id), was, Some(rule_json(rule)));
    Ok(rule.clone())
}

/// Locks one coil.
pub(super) async fn lock_coil(
    tables: &mut impl CoilTables,
    coil_id: &CoilId,
) -> Result<LockedCoil, StoreError> {
    let locked = tables.lock_coils(std::slice::from_ref(coil_id)).await?;
    let missing = || StoreError::NotFound { kind: Kind::Coil, id: coil_id.as_str().to_owned() };
    locked.into_iter().next().ok_or_else(missing)
}

/// Stores balance and state of a coil as a new version, and notes that.
pub(super) async fn store_coil(
    tables: &mut impl CoilTables,
    before: &LockedCoil,
    coil: &Coil,
) -> Result<(), StoreError> {
    tables.update_coil(coil).await?;
    if let Some(effect) = effects::changed_coil(before, coil, tables.now_us()) {
        tables.effect(effect);
    }
    Ok(())
}

/// Adds a line to the ledger of a coil, and notes that.
pub(super) async fn add_evidence(
    tables: &mut impl CoilTables,
    row: &EvidenceRow<'_>,
) -> Result<u32, StoreError> {
    let number = tables.insert_evidence(row).await?;
    let effect = effects::new_evidence(number, row, tables.actor(), tables.now_us());
    tables.effect(effect);
    Ok(number)
}

fn subject(coil_id: &CoilId) -> String {
    format!("{}/{coil_id}", Kind::Coil)
}
