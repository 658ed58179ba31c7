//! Cut lists: making them, and storing what a transition changes.

use std::collections::{BTreeMap, BTreeSet};

use async_trait::async_trait;
use becket_floor::{
    CoilGuard, CoilId, CoilState, CutListHeader, CutListState, FloorChange, LevelReport, ListId, NewCutList,
    SerialDigest, Shortage, StationId, Step, StepKind,
};
use becket_units::Um;

use super::coils::{add_evidence, store_coil};
use super::effects::{coils as coil_effects, floor as effects};
use super::{EvidenceRow, LockedCoil, StationTables, corrupt, note, unsigned};
use crate::cut_store::{StoredCutList, StoredHeader};
use crate::error::{Kind, StoreError};
use crate::floor_json::{change_json, list_json};

/// The steps of writes of cut lists.
#[async_trait]
pub trait FloorTables: StationTables {
    /// The highest number of a list, 0 before the first, to which no other write adds until this one has ended.
    async fn last_list_number(&mut self) -> Result<i64, StoreError>;

    /// The number and the whole header of a list.
    async fn read_header(&mut self, list_id: &ListId) -> Result<(i64, StoredHeader), StoreError>;

    /// The number and the header of a list, which nobody else changes until the write has ended. Its serials and the levels of its plan, which
    /// have rows of their own, are left out.
    async fn lock_header(&mut self, list_id: &ListId) -> Result<(i64, StoredHeader), StoreError>;

    /// Adds a list with its header; [`update_header`](Self::update_header) stores what changes in its life.
    async fn insert_header(&mut self, number: i64, header: &CutListHeader) -> Result<(), StoreError>;

    /// Stores what changes of a header in the life of a list.
    async fn update_header(&mut self, number: i64, header: &CutListHeader) -> Result<(), StoreError>;

    /// Replaces the serials of a list.
    async fn replace_serials(&mut self, number: i64, serials: &[SerialDigest]) -> Result<(), StoreError>;

    /// Replaces the levels of a list's plan, as they are reported.
    async fn replace_levels(&mut self, number: i64, levels: &[LevelReport]) -> Result<(), StoreError>;

    /// Replaces the shortages of a list, and returns those that were there.
    async fn replace_shortages(
        &mut self,
        number: i64,
        shortages: &[Shortage],
    ) -> Result<Vec<Shortage>, StoreError>;

    /// The list that runs at a station, apart from one, if there is one.
    async fn running_at(&mut self, station_id: &StationId, apart: i64) -> Result<Option<ListId>, StoreError>;

    /// Stores what execution changes of a step, and returns the step as it was. What it cuts, for whom and from which coil does not change
    /// by that: `None` if there is no step of that number with the same.
    async fn execute_step(&mut self, number: i64, step: &Step) -> Result<Option<Step>, StoreError>;

    /// Removes all pending steps of a list, and returns them in their order.
    async fn delete_pending(&mut self, number: i64) -> Result<Vec<Step>, StoreError>;

    /// The place in `steps` of one that cuts a piece which is pending on a list or cut and good, and that list.
    async fn claimed_by(&mut self, steps: &[Step]) -> Result<Option<(usize, ListId)>, StoreError>;

    /// Adds steps.
    async fn insert_steps(&mut self, number: i64, steps: &[Step]) -> Result<(), StoreError>;

    /// What a list counts on, by coil.
    async fn counted_on(&mut self, number: i64) -> Result<Vec<(CoilId, Um)>, StoreError>;
}

/// See [`CutStore::create_cut_list`](crate::CutStore::create_cut_list).
///
/// # Errors
/// As stated there.
pub async fn create_cut_list(
    tables: &mut impl FloorTables,
    list: &NewCutList,
    guards: &[CoilGuard],
) -> Result<StoredCutList, StoreError> {
    let now_us = tables.now_us();
    tables.lock_station(&list.station_id).await?;
    tables.read_station(&list.station_id).await?;
    let coils = list.steps.iter().map(|step| &step.coil_id).chain(guards.iter().map(|guard| &guard.coil_id));
    let coils = lock_coils(tables, coils).await?;
    check_guards(tables, &coils, guards, None).await?;
    let last = tables.last_list_number().await?;
    // Lists are never removed, so numbers are never given twice.
    let number = unsigned(last)?.checked_add(1).ok_or_else(|| corrupt("no list number is left"))?;
    let named = list.clone().named(ListId::numbered(number));
    let number = i64::from(number);
    tables.insert_header(number, &named.header).await?;
    tables.update_header(number, &named.header).await?;
    tables.effect(effects::new_header(number, &named.header, now_us));
    store_serials(tables, number, None, &named.header).await?;
    store_shortages(tables, number, &named.shortages).await?;
    insert_pending(tables, number, &named.header.list_id, &named.steps).await?;
    note(tables, effects::steps(number, &[], named.steps.iter())?);
    check_growth(tables, number, &[]).await?;
    tables.tell(subject(&named.header.list_id), None, Some(list_json(&named.header, list)));
    Ok(StoredCutList { list: named, created_us: now_us, updated_us: now_us })
}

/// See [`CutStore::commit_floor`](crate::CutStore::commit_floor).
///
/// # Errors
/// As stated there.
pub async fn commit_floor(
    tables: &mut impl FloorTables,
    change: &FloorChange,
) -> Result<StoredHeader, StoreError> {
    let list_id = &change.header.list_id;
    // Who only cuts rests on the list and the coil alone: its version changes with what is mounted where, too.
    if !change.mounted.is_empty() || change.replace_pending.is_some() || change.changed_steps.is_empty() {
        tables.lock_station(&change.header.station_id).await?;
    }
    let (number, before) = tables.lock_header(list_id).await?;
    let current = before.header.version;
    if change.header.version != current.saturating_add(1) {
        let id = list_id.as_str().to_owned();
        return Err(StoreError::VersionStale { kind: Kind::CutList, id, current });
    }
    let (counted_on, coils) = lock_coils_of(tables, number, change).await?;
    check_guards(tables, &coils, &change.guards, Some(list_id)).await?;
    if change.header.state == CutListState::Running && before.header.state != CutListState::Running {
        refuse_second_running(tables, number, &before.header.station_id).await?;
    }
    // What was there before, told in the same form as what is there now.
    let mut was = FloorChange::nothing_but(before.header.clone());
    for step in &change.changed_steps {
        let Some(before) = tables.execute_step(number, step).await? else {
            let reason = format!("step {} is another one", step.step_number);
            return Err(StoreError::ChangeInconsistent { reason });
        };
        note(tables, effects::executed(number, &before, step));
        was.changed_steps.push(before);
    }
    if let Some(pending) = &change.replace_pending {
        let dropped = tables.delete_pending(number).await?;
        insert_done(tables, number, &change.added_steps).await?;
        insert_pending(tables, number, list_id, pending).await?;
        note(tables, effects::steps(number, &dropped, change.added_steps.iter().chain(pending))?);
        was.replace_pending = Some(dropped);
        was.header = tables.read_header(list_id).await?.1.header;
        store_serials(tables, number, Some(&was.header), &change.header).await?;
        book(tables, &coils, change, &mut was).await?;
        check_growth(tables, number, &counted_on).await?;
    } else {
        if !change.added_steps.is_empty() {
            let reason = "steps are added, and those that follow are not replaced".to_owned();
            return Err(StoreError::ChangeInconsistent { reason });
        }
        book(tables, &coils, change, &mut was).await?;
    }
    if let Some(shortages) = &change.shortages {
        was.shortages = Some(store_shortages(tables, number, shortages).await?);
    }
    tables.update_header(number, &change.header).await?;
    note(tables, effects::changed_header(number, &before, &change.header, tables.now_us()));
    tables.tell(subject(list_id), Some(change_json(&was)), Some(change_json(change)));
    let (created_us, updated_us) = (before.created_us, tables.now_us());
    Ok(StoredHeader { header: change.header.clone(), created_us, updated_us })
}

/// Replaces serials and levels of a list, and notes that.
async fn store_serials(
    tables: &mut impl FloorTables,
    number: i64,
    before: Option<&CutListHeader>,
    header: &CutListHeader,
) -> Result<(), StoreError> {
    let serials = before.map_or(&[] as &[SerialDigest], |before| &before.serials);
    tables.replace_serials(number, &header.serials).await?;
    note(tables, effects::serials(number, serials, &header.serials));
    let levels = before.map_or(&[] as &[LevelReport], |before| &before.quality.levels);
    tables.replace_levels(number, &header.quality.levels).await?;
    note(tables, effects::levels(number, levels, &header.quality.levels));
    Ok(())
}

/// Replaces the shortages of a list, notes that, and returns those that were there.
async fn store_shortages(
    tables: &mut impl FloorTables,
    number: i64,
    shortages: &[Shortage],
) -> Result<Vec<Shortage>, StoreError> {
    let before = tables.replace_shortages(number, shortages).await?;
    note(tables, effects::shortages(number, &before, shortages)?);
    Ok(before)
}

/// Locked coils by id.
type Locked = BTreeMap<CoilId, LockedCoil>;

fn subject(list_id: &ListId) -> String {
    format!("{}/{list_id}", Kind::CutList)
}

async fn lock_coils(
    tables: &mut impl FloorTables,
    coil_ids: impl Iterator<Item = &CoilId>,
) -> Result<Locked, StoreError> {
    let in_order: BTreeSet<&CoilId> = coil_ids.collect();
    if in_order.is_empty() {
        return Ok(Locked::new());
    }
    let in_order: Vec<CoilId> = in_order.into_iter().cloned().collect();
    let locked = tables.lock_coils(&in_order).await?;
    Ok(locked.into_iter().map(|locked| (locked.coil.coil_id.clone(), locked)).collect())
}

/// Locks every coil that a change books on, puts up, takes off, counts on, or no longer counts on. Returns what the list
/// counted on, if its pending steps are replaced.
async fn lock_coils_of(
    tables: &mut impl FloorTables,
    number: i64,
    change: &FloorChange,
) -> Result<(Vec<(CoilId, Um)>, Locked), StoreError> {
    let counted_on = match change.replace_pending {
        Some(_) => tables.counted_on(number).await?,
        None => Vec::new(),
    };
    let mut taken_off = Vec::new();
    if !change.mounted.is_empty() {
        let mounted = tables.read_station(&change.header.station_id).await?.station.mounted;
        taken_off.extend(change.mounted.iter().filter_map(|(position, _)| mounted.get(position).cloned()));
    }
    let named = (change.guards.iter().map(|guard| &guard.coil_id))
        .chain(change.bookings.iter().map(|booking| &booking.coil_id))
        .chain(change.coil_states.iter().map(|(coil_id, _)| coil_id))
        .chain(change.mounted.iter().filter_map(|(_, coil_id)| coil_id.as_ref()))
        .chain(change.replace_pending.iter().flatten().map(|step| &step.coil_id))
        .chain(counted_on.iter().map(|(coil_id, _)| coil_id))
        .chain(&taken_off);
    let locked = lock_coils(tables, named).await?;
    Ok((counted_on, locked))
}

/// Refuses to start a list at a station at which another one runs.
async fn refuse_second_running(
    tables: &mut impl FloorTables,
    number: i64,
    station_id: &StationId,
) -> Result<(), StoreError> {
    match tables.running_at(station_id, number).await? {
        None => Ok(()),
        Some(running) => Err(StoreError::StationBusy { station_id: station_id.clone(), running }),
    }
}

/// Books on coils, changes their states and mounts them. Each coil that is touched gets one new version. What was there before is added to
/// `was`.
async fn book(
    tables: &mut impl FloorTables,
    coils: &Locked,
    change: &FloorChange,
    was: &mut FloorChange,
) -> Result<(), StoreError> {
    let station_id = &change.header.station_id;
    let mut touched: BTreeSet<CoilId> =
        change.bookings.iter().map(|booking| booking.coil_id.clone()).collect();
    touched.extend(change.coil_states.iter().map(|(coil_id, _)| coil_id.clone()));
    for (position, coil_id) in &change.mounted {
        let taken_off = tables.clear_position(station_id, *position).await?;
        if let Some(coil_id) = coil_id {
            tables.mount(station_id, *position, coil_id).await?;
        }
        note(tables, coil_effects::mounted(station_id, *position, taken_off.as_ref(), coil_id.as_ref()));
        touched.extend(taken_off.iter().chain(coil_id).cloned());
        was.mounted.push((*position, taken_off));
    }
    for coil_id in touched {
        let missing = || StoreError::NotFound { kind: Kind::Coil, id: coil_id.as_str().to_owned() };
        let there = coils.get(&coil_id).ok_or_else(missing)?;
        let mut coil = there.coil.clone();
        for booking in change.bookings.iter().filter(|booking| booking.coil_id == coil_id) {
            let line =
                coil.apply(booking).map_err(|e| StoreError::ChangeInconsistent { reason: e.to_string() })?;
            if let Some(evidence) = &line {
                let list_id = Some(&change.header.list_id);
                let row = EvidenceRow { coil_id: &coil_id, list_id, evidence, note: "" };
                add_evidence(tables, &row).await?;
            }
        }
        if let Some((_, state)) = change.coil_states.iter().rev().find(|(changed, _)| *changed == coil_id) {
            was.coil_states.push((coil_id, coil.state));
            coil.state = *state;
        }
        store_coil(tables, there, &coil).await?;
    }
    Ok(())
}

/// Refuses a decision that rests on coils as they no longer are.
async fn check_guards(
    tables: &mut impl FloorTables,
    coils: &Locked,
    guards: &[CoilGuard],
    seen_from: Option<&ListId>,
) -> Result<(), StoreError> {
    let of_others = guards.iter().filter(|guard| guard.reserved_by_others.is_some());
    let of_others: Vec<CoilId> = of_others.map(|guard| guard.coil_id.clone()).collect();
    let found = match of_others.is_empty() {
        true => Vec::new(),
        false => tables.read_floor_coils(&of_others, seen_from).await?,
    };
    let reserved: BTreeMap<&CoilId, Um> =
        found.iter().map(|coil| (&coil.coil.coil_id, coil.reserved_by_others)).collect();
    for guard in guards {
        let same_version = coils.get(&guard.coil_id).is_some_and(|coil| coil.version == guard.version);
        let by_others = guard.reserved_by_others;
        let same_reserved =
            by_others.is_none_or(|by_others| reserved.get(&guard.coil_id) == Some(&by_others));
        if !(same_version && same_reserved) {
            return Err(StoreError::StockChanged { coil_id: guard.coil_id.clone() });
        }
    }
    Ok(())
}

/// Adds steps that were not planned and are done. They cut nothing: what is cut was pending before.
async fn insert_done(tables: &mut impl FloorTables, number: i64, added: &[Step]) -> Result<(), StoreError> {
    if let Some(step) = added.iter().find(|step| step.is_pending() || step.kind == StepKind::Cut) {
        let reason = format!("step {} cannot be added as done", step.step_number);
        return Err(StoreError::ChangeInconsistent { reason });
    }
    if added.is_empty() { Ok(()) } else { tables.insert_steps(number, added).await }
}

/// Adds pending steps. A piece that another list has, or that the list would have twice, is refused.
async fn insert_pending(
    tables: &mut impl FloorTables,
    number: i64,
    list_id: &ListId,
    pending: &[Step],
) -> Result<(), StoreError> {
    if let Some(step) = pending.iter().find(|step| !step.is_pending()) {
        let reason = format!("step {} of the new plan is not pending", step.step_number);
        return Err(StoreError::ChangeInconsistent { reason });
    }
    let claimed = |step: &Step, list_id: &ListId| match &step.piece {
        Some(piece) => StoreError::PieceClaimed {
            serial_id: piece.serial_id.clone(),
            piece_id: piece.piece_id.clone(),
            list_id: list_id.clone(),
        },
        None => StoreError::ChangeInconsistent { reason: format!("step {} cuts nothing", step.step_number) },
    };
    let mut pieces = BTreeSet::new();
    for step in pending.iter().filter(|step| step.kind == StepKind::Cut) {
        let again =
            step.piece.as_ref().is_some_and(|piece| !pieces.insert((&piece.serial_id, &piece.piece_id)));
        if again {
            return Err(claimed(step, list_id));
        }
    }
    if let Some((at, other)) = tables.claimed_by(pending).await?
        && let Some(step) = pending.get(at)
    {
        return Err(claimed(step, &other));
    }
    tables.insert_steps(number, pending).await
}

/// Refuses a list that counts on more of a coil than it did before, unless the coil is usable and has enough for all lists.
async fn check_growth(
    tables: &mut impl FloorTables,
    number: i64,
    before: &[(CoilId, Um)],
) -> Result<(), StoreError> {
    for (coil_id, sum) in tables.counted_on(number).await? {
        let grown = before.iter().all(|(known, was)| *known != coil_id || *was < sum);
        if !grown {
            continue;
        }
        let coil = tables.read_coil(&coil_id).await?;
        if !matches!(coil.coil.state, CoilState::Sealed | CoilState::Opened)
            || coil.reserved > coil.coil.remaining
        {
            return Err(StoreError::StockChanged { coil_id });
        }
    }
    Ok(())
}
