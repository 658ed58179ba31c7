//! Storing what a transition changes.

use std::collections::{BTreeMap, BTreeSet};

use becket_floor::{
    CoilGuard, CoilId, CoilState, CutListState, FloorChange, ListId, StationId, Step, StepKind,
};
use becket_store::{Answer, Kind, StoreError, StoredHeader, WriteContext, Written, change_json};
use becket_units::Um;
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::codes::Code;
use crate::errors::{corrupt, engine};
use crate::write::{Write, begin};
use crate::{coils, cut_lists, steps};

pub(crate) async fn commit(
    store: &SqliteStore,
    ctx: &WriteContext,
    change: FloorChange,
    answer: Answer<StoredHeader>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let list_id = change.header.list_id.clone();
    let (number, before) = cut_lists::header(write.db(), &list_id).await?;
    let current = before.header.version;
    if change.header.version != current.saturating_add(1) {
        let id = list_id.as_str().to_owned();
        return Err(StoreError::VersionStale { kind: Kind::CutList, id, current });
    }
    check_guards(write.db(), &change.guards, Some(&list_id)).await?;
    if change.header.state == CutListState::Running && before.header.state != CutListState::Running {
        refuse_second_running(write.db(), number, &before.header.station_id).await?;
    }
    for step in &change.changed_steps {
        steps::execute(write.db(), number, step).await?;
    }
    if let Some(pending) = &change.replace_pending {
        let counted_on = counted_on(write.db(), number).await?;
        sqlx::query("DELETE FROM cut_steps WHERE list_number = ? AND state = 'pending'")
            .bind(number)
            .execute(write.db())
            .await
            .map_err(engine)?;
        insert_pending(write.db(), number, pending).await?;
        cut_lists::write_serials(write.db(), number, &change.header.serials).await?;
        book(&mut write, &change).await?;
        check_growth(write.db(), number, &counted_on).await?;
    } else {
        book(&mut write, &change).await?;
    }
    if let Some(shortages) = &change.shortages {
        cut_lists::write_shortages(write.db(), number, shortages).await?;
    }
    cut_lists::update_header(&mut write, number, &change.header).await?;
    let was =
        serde_json::json!({ "state": before.header.state.code().to_ascii_uppercase(), "version": current });
    write.journal(cut_lists::subject(&list_id), Some(was.to_string()), Some(change_json(&change))).await?;
    let stored =
        StoredHeader { header: change.header, created_us: before.created_us, updated_us: ctx.now_us };
    write.finish(&stored, answer).await
}

/// Refuses to start a list at a station at which another one runs.
async fn refuse_second_running(
    db: &mut SqliteConnection,
    number: i64,
    station_id: &StationId,
) -> Result<(), StoreError> {
    let running: Option<String> = sqlx::query_scalar(
        "SELECT list_id FROM cut_lists WHERE station_id = ? AND state = 'running' AND list_number <> ?",
    )
    .bind(station_id.as_str())
    .bind(number)
    .fetch_optional(db)
    .await
    .map_err(engine)?;
    let Some(running) = running else { return Ok(()) };
    let running = ListId::new(running).map_err(corrupt)?;
    Err(StoreError::StationBusy { station_id: station_id.clone(), running })
}

/// Books on coils, changes their states and mounts them. Each coil that is touched gets one new version.
async fn book(write: &mut Write<'_>, change: &FloorChange) -> Result<(), StoreError> {
    let station_id = change.header.station_id.as_str();
    let mut touched: BTreeSet<CoilId> =
        change.bookings.iter().map(|booking| booking.coil_id.clone()).collect();
    touched.extend(change.coil_states.iter().map(|(coil_id, _)| coil_id.clone()));
    for (position, coil_id) in &change.mounted {
        let taken_off: Vec<String> = sqlx::query_scalar(
            "DELETE FROM mounts WHERE station_id = ? AND reel_position = ? RETURNING coil_id",
        )
        .bind(station_id)
        .bind(position)
        .fetch_all(write.db())
        .await
        .map_err(engine)?;
        for coil_id in taken_off {
            touched.insert(CoilId::new(coil_id).map_err(corrupt)?);
        }
        let Some(coil_id) = coil_id else { continue };
        touched.insert(coil_id.clone());
        sqlx::query("INSERT INTO mounts (station_id, reel_position, coil_id) VALUES (?, ?, ?)")
            .bind(station_id)
            .bind(position)
            .bind(coil_id.as_str())
            .execute(write.db())
            .await
            .map_err(engine)?;
    }
    for coil_id in touched {
        let mut coil = coils::read(write.db(), &coil_id).await?.coil;
        for booking in change.bookings.iter().filter(|booking| booking.coil_id == coil_id) {
            coil.apply(booking).map_err(|e| StoreError::ChangeInconsistent { reason: e.to_string() })?;
        }
        if let Some((_, state)) = change.coil_states.iter().rev().find(|(changed, _)| *changed == coil_id) {
            coil.state = *state;
        }
        coils::update(write, &coil).await?;
    }
    Ok(())
}

/// Refuses a decision that rests on coils as they no longer are.
pub(crate) async fn check_guards(
    db: &mut SqliteConnection,
    guards: &[CoilGuard],
    seen_from: Option<&ListId>,
) -> Result<(), StoreError> {
    if guards.is_empty() {
        return Ok(());
    }
    let ids: Vec<CoilId> = guards.iter().map(|guard| guard.coil_id.clone()).collect();
    let found = coils::read_floor_coils(db, &ids, seen_from).await?;
    let found: BTreeMap<&CoilId, _> = found.iter().map(|coil| (&coil.coil.coil_id, coil)).collect();
    for guard in guards {
        let holds = found.get(&guard.coil_id).is_some_and(|coil| {
            coil.version == guard.version
                && guard.reserved_by_others.is_none_or(|reserved| reserved == coil.reserved_by_others)
        });
        if !holds {
            return Err(StoreError::StockChanged { coil_id: guard.coil_id.clone() });
        }
    }
    Ok(())
}

/// Adds pending steps. A piece that another list has is refused.
pub(crate) async fn insert_pending(
    db: &mut SqliteConnection,
    number: i64,
    pending: &[Step],
) -> Result<(), StoreError> {
    for step in pending {
        if !step.is_pending() {
            let reason = format!("step {} of the new plan is not pending", step.step_number);
            return Err(StoreError::ChangeInconsistent { reason });
        }
        refuse_claimed(db, step).await?;
        steps::insert(db, number, step).await?;
    }
    Ok(())
}

async fn refuse_claimed(db: &mut SqliteConnection, step: &Step) -> Result<(), StoreError> {
    let Some(piece) = step.piece.as_ref().filter(|_| step.kind == StepKind::Cut) else { return Ok(()) };
    let list_id: Option<String> = sqlx::query_scalar(
        "SELECT l.list_id FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.serial_id = ? AND s.piece_id = ? AND s.kind = 'cut' AND s.state IN ('pending', 'done')",
    )
    .bind(piece.serial_id.as_str())
    .bind(piece.piece_id.as_str())
    .fetch_optional(db)
    .await
    .map_err(engine)?;
    let Some(list_id) = list_id else { return Ok(()) };
    Err(StoreError::PieceClaimed {
        serial_id: piece.serial_id.clone(),
        piece_id: piece.piece_id.clone(),
        list_id: ListId::new(list_id).map_err(corrupt)?,
    })
}

/// What a list counts on, by coil.
async fn counted_on(db: &mut SqliteConnection, number: i64) -> Result<Vec<(CoilId, Um)>, StoreError> {
    let rows: Vec<(String, i64)> = sqlx::query_as(
        "SELECT coil_id, SUM(length_um) FROM cut_steps WHERE list_number = ? AND state = 'pending' \
         AND kind IN ('mount', 'cut') GROUP BY coil_id ORDER BY coil_id",
    )
    .bind(number)
    .fetch_all(db)
    .await
    .map_err(engine)?;
    rows.into_iter().map(|(coil, sum)| Ok((CoilId::new(coil).map_err(corrupt)?, Um::new(sum)))).collect()
}

/// Refuses a list that counts on more of a coil than it did before, unless the coil is usable and has enough for all lists.
pub(crate) async fn check_growth(
    db: &mut SqliteConnection,
    number: i64,
    before: &[(CoilId, Um)],
) -> Result<(), StoreError> {
    for (coil_id, sum) in counted_on(db, number).await? {
        let grown = before.iter().all(|(known, was)| *known != coil_id || *was < sum);
        if !grown {
            continue;
        }
        let coil = coils::read(db, &coil_id).await?;
        if !matches!(coil.coil.state, CoilState::Sealed | CoilState::Opened)
            || coil.reserved > coil.coil.remaining
        {
            return Err(StoreError::StockChanged { coil_id });
        }
    }
    Ok(())
}
