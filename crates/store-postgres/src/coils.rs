//! Coils and stock rules.

use async_trait::async_trait;
use becket_floor::{Coil, CoilId, EvidenceState, FloorCoil, ListId, StationId, WireId};
use becket_store::tables::{
    Code, CoilTables, Columns, EvidenceRow, LockedCoil, corrupt, each_list_id, floor_coil_of, locked_coil_of,
    rule_of, stored_coil_of, unsigned,
};
use becket_store::{CoilFilter, EvidenceRecord, Kind, Page, PageRequest, StockRule, StoreError, StoredCoil};
use becket_units::Um;
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::evidence;
use crate::write::{Turn, Write};

#[async_trait]
impl CoilTables for Write<'_> {
    async fn lock_coils(&mut self, coil_ids: &[CoilId]) -> Result<Vec<LockedCoil>, StoreError> {
        let coil_ids: Vec<&str> = coil_ids.iter().map(|id| id.as_str()).collect();
        // Rows are locked as the sort gives them, so in one order for all, and come as whoever was waited for left them. References
        // to a coil are not held up.
        let rows =
            sqlx::query("SELECT * FROM coils WHERE coil_id = ANY($1) ORDER BY coil_id FOR NO KEY UPDATE")
                .bind(coil_ids)
                .fetch_all(self.db())
                .await
                .map_err(engine)?;
        each(rows, locked_coil_of)
    }

    async fn lock_receipt(&mut self) -> Result<(), StoreError> {
        self.take_turns(Turn::Coils).await
    }

    async fn insert_coil(&mut self, coil: &Coil) -> Result<bool, StoreError> {
        let now_us = self.ctx.now_us;
        let inserted = sqlx::query(
            "INSERT INTO coils (coil_id, wire_id, lot_id, received_date, state, received_um, remaining_um, cut_um, \
             scrapped_um, adjusted_um, linear_density_g_m, variance_mm2, density_error, density_variance, covariance_mm, \
             version, created_us, updated_us) \
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, 1, $16, $17) ON CONFLICT DO NOTHING",
        )
        .bind(coil.coil_id.as_str())
        .bind(coil.wire_id.as_str())
        .bind(coil.lot_id.as_str())
        .bind(&coil.received_date)
        .bind(coil.state.code())
        .bind(coil.received.get())
        .bind(coil.remaining.get())
        .bind(coil.cut.get())
        .bind(coil.scrapped.get())
        .bind(coil.adjusted.get())
        .bind(coil.linear_density_g_m)
        .bind(coil.estimate.variance_mm2)
        .bind(coil.estimate.density_error)
        .bind(coil.estimate.density_variance)
        .bind(coil.estimate.covariance_mm)
        .bind(now_us)
        .bind(now_us)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(inserted.rows_affected() == 1)
    }

    async fn read_coil(&mut self, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
        read(self.db(), coil_id).await
    }

    async fn read_floor_coils(
        &mut self,
        coil_ids: &[CoilId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError> {
        read_floor_coils(self.db(), coil_ids, seen_from).await
    }

    async fn update_coil(&mut self, coil: &Coil) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        sqlx::query(
            "UPDATE coils SET state = $1, remaining_um = $2, cut_um = $3, scrapped_um = $4, adjusted_um = $5, \
             variance_mm2 = $6, density_error = $7, density_variance = $8, covariance_mm = $9, version = version + 1, \
             updated_us = $10 WHERE coil_id = $11",
        )
        .bind(coil.state.code())
        .bind(coil.remaining.get())
        .bind(coil.cut.get())
        .bind(coil.scrapped.get())
        .bind(coil.adjusted.get())
        .bind(coil.estimate.variance_mm2)
        .bind(coil.estimate.density_error)
        .bind(coil.estimate.density_variance)
        .bind(coil.estimate.covariance_mm)
        .bind(now_us)
        .bind(coil.coil_id.as_str())
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(())
    }

    async fn insert_evidence(&mut self, row: &EvidenceRow<'_>) -> Result<u32, StoreError> {
        evidence::insert(self, row).await
    }

    async fn read_evidence(&mut self, coil_id: &CoilId, number: u32) -> Result<EvidenceRecord, StoreError> {
        evidence::read(self.db(), coil_id, number).await
    }

    async fn decide_evidence(
        &mut self,
        coil_id: &CoilId,
        number: u32,
        state: EvidenceState,
    ) -> Result<bool, StoreError> {
        evidence::decide(self, coil_id, number, state.code()).await
    }

    async fn lists_counting_on(&mut self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
        let ids = sqlx::query_scalar(
            "SELECT list_id FROM cut_lists WHERE list_number IN (SELECT list_number FROM cut_steps \
             WHERE coil_id = $1 AND state = 'pending' AND kind IN ('mount', 'cut')) ORDER BY list_number",
        )
        .bind(coil_id.as_str())
        .fetch_all(self.db())
        .await
        .map_err(engine)?;
        each_list_id(ids)
    }

    async fn lists_naming(&mut self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
        naming(self.db(), coil_id).await
    }

    async fn take_off_everywhere(
        &mut self,
        coil_id: &CoilId,
    ) -> Result<Option<(StationId, u32)>, StoreError> {
        let was: Option<(String, i64)> =
            sqlx::query_as("DELETE FROM mounts WHERE coil_id = $1 RETURNING station_id, reel_position")
                .bind(coil_id.as_str())
                .fetch_optional(self.db())
                .await
                .map_err(engine)?;
        let place =
            |(station, position)| Ok((StationId::new(station).map_err(corrupt)?, unsigned(position)?));
        was.map(place).transpose()
    }

    async fn insert_rule(&mut self, rule: &StockRule) -> Result<bool, StoreError> {
        let inserted = sqlx::query(
            "INSERT INTO stock_rules (wire_id, smallest_remnant_um) VALUES ($1, $2) ON CONFLICT DO NOTHING",
        )
        .bind(rule.wire_id.as_str())
        .bind(rule.smallest_remnant.get())
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(inserted.rows_affected() == 1)
    }

    async fn lock_rule(&mut self, wire_id: &WireId) -> Result<StockRule, StoreError> {
        let row = sqlx::query("SELECT * FROM stock_rules WHERE wire_id = $1 FOR UPDATE")
            .bind(wire_id.as_str())
            .fetch_one(self.db())
            .await
            .map_err(engine)?;
        rule_of(&Cells(row))
    }

    async fn update_rule(&mut self, rule: &StockRule) -> Result<(), StoreError> {
        sqlx::query("UPDATE stock_rules SET smallest_remnant_um = $1 WHERE wire_id = $2")
            .bind(rule.smallest_remnant.get())
            .bind(rule.wire_id.as_str())
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }
}

// What a coil is with what is reserved on it and what its ledger tells. The conditions are those of the indices
// "pending_by_coil", "evidence_held" and "findings_by_coil".
macro_rules! stored_coil_sql {
    ($rest:literal) => {
        concat!(
            "SELECT c.*, COALESCE((SELECT SUM(s.length_um)::bigint FROM cut_steps s WHERE s.coil_id = c.coil_id \
             AND s.state = 'pending' AND s.kind IN ('mount', 'cut')), 0) AS reserved_um, \
             (SELECT COUNT(*) FROM coil_evidence e WHERE e.coil_id = c.coil_id AND e.state = 'held') AS held_evidence, \
             COALESCE((SELECT MAX(e.evidence_number) FROM coil_evidence e WHERE e.coil_id = c.coil_id \
             AND e.kind NOT IN ('cut', 'scrap') AND e.state IN ('merged', 'accepted')), 0) AS last_finding FROM coils c ",
            $rest
        )
    };
}

pub(crate) async fn lists_naming(store: &PostgresStore, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    naming(&mut db, coil_id).await
}

async fn naming(db: &mut PgConnection, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
    let ids = sqlx::query_scalar(
        "SELECT list_id FROM cut_lists WHERE list_number IN (SELECT list_number FROM cut_steps \
         WHERE coil_id = $1 AND state = 'pending') ORDER BY list_number",
    )
    .bind(coil_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    each_list_id(ids)
}

pub(crate) async fn one(store: &PostgresStore, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, coil_id).await
}

async fn read(db: &mut PgConnection, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
    let row = sqlx::query(stored_coil_sql!("WHERE c.coil_id = $1"))
        .bind(coil_id.as_str())
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    let missing = || StoreError::NotFound { kind: Kind::Coil, id: coil_id.as_str().to_owned() };
    stored_coil_of(&Cells(row.ok_or_else(missing)?))
}

pub(crate) async fn list(
    store: &PostgresStore,
    filter: &CoilFilter,
    page: &PageRequest,
) -> Result<Page<StoredCoil>, StoreError> {
    let rows = sqlx::query(stored_coil_sql!(
        "WHERE c.coil_id > $1 AND ($2 IS NULL OR c.wire_id = $2) AND ($3 IS NULL OR c.lot_id = $3) \
         AND ($4 IS NULL OR c.state = $4) ORDER BY c.coil_id LIMIT $5"
    ))
    .bind(page.after.as_deref().unwrap_or_default())
    .bind(filter.wire_id.as_ref().map(|id| id.as_str()))
    .bind(filter.lot_id.as_ref().map(|id| id.as_str()))
    .bind(filter.state.map(Code::code))
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let coils = each(rows, stored_coil_of)?;
    Ok(Page::from_fetched(coils, page.limit, |coil: &StoredCoil| coil.coil.coil_id.as_str().to_owned()))
}

// A coil as the floor sees it from list ?2, or from none. With no list the comparison is with NULL, and all is by others.
macro_rules! floor_coil_sql {
    ($rest:literal) => {
        floor_coil_sql!("", $rest)
    };
    ($more:literal, $rest:literal) => {
        concat!(
            "SELECT c.*, COALESCE((SELECT SUM(s.length_um)::bigint FROM cut_steps s WHERE s.coil_id = c.coil_id \
             AND s.state = 'pending' AND s.kind IN ('mount', 'cut') \
             AND s.list_number IS DISTINCT FROM (SELECT list_number FROM cut_lists WHERE list_id = $2)), 0) AS reserved_um, \
             COALESCE(r.smallest_remnant_um, 0) AS smallest_remnant_um, m.station_id, m.reel_position ",
            $more,
            " FROM coils c LEFT JOIN stock_rules r ON r.wire_id = c.wire_id LEFT JOIN mounts m ON m.coil_id = c.coil_id ",
            $rest
        )
    };
}

pub(crate) async fn stock(
    store: &PostgresStore,
    wire_ids: &[WireId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let wire_ids: Vec<&str> = wire_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(floor_coil_sql!(
        "WHERE m.coil_id IS NOT NULL OR (c.wire_id = ANY($1) \
         AND c.state IN ('sealed', 'opened', 'set_aside')) ORDER BY c.received_date, c.coil_id"
    ))
    .bind(wire_ids)
    .bind(seen_from.map(|id| id.as_str()))
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    each(rows, floor_coil_of)
}

pub(crate) async fn floor_coils(
    store: &PostgresStore,
    coil_ids: &[CoilId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read_floor_coils(&mut db, coil_ids, seen_from).await
}

pub(crate) async fn read_floor_coils(
    db: &mut PgConnection,
    coil_ids: &[CoilId],
    seen_from: Option<&ListId>,
) -> Result<Vec<FloorCoil>, StoreError> {
    let coil_ids: Vec<&str> = coil_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(floor_coil_sql!("WHERE c.coil_id = ANY($1) ORDER BY c.coil_id"))
        .bind(coil_ids)
        .bind(seen_from.map(|id| id.as_str()))
        .fetch_all(db)
        .await
        .map_err(engine)?;
    each(rows, floor_coil_of)
}

/// Coils as a list sees them, with the wire of each that running lists with a lower number count on.
pub(crate) async fn coils_ahead(
    db: &mut PgConnection,
    coil_ids: &[CoilId],
    seen_from: &ListId,
) -> Result<Vec<(FloorCoil, Um)>, StoreError> {
    let coil_ids: Vec<&str> = coil_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(floor_coil_sql!(
        ", COALESCE((SELECT SUM(s.length_um)::bigint FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.coil_id = c.coil_id AND s.state = 'pending' AND s.kind IN ('mount', 'cut') AND l.state = 'running' \
         AND l.list_number < (SELECT list_number FROM cut_lists WHERE list_id = $2)), 0) AS ahead_um",
        "WHERE c.coil_id = ANY($1) ORDER BY c.coil_id"
    ))
    .bind(coil_ids)
    .bind(seen_from.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    each(rows, |row| Ok((floor_coil_of(row)?, Um::new(row.integer("ahead_um")?))))
}

pub(crate) async fn list_rules(
    store: &PostgresStore,
    page: &PageRequest,
) -> Result<Page<StockRule>, StoreError> {
    let rows = sqlx::query("SELECT * FROM stock_rules WHERE wire_id > $1 ORDER BY wire_id LIMIT $2")
        .bind(page.after.as_deref().unwrap_or_default())
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&store.reader)
        .await
        .map_err(engine)?;
    let rules = each(rows, rule_of)?;
    Ok(Page::from_fetched(rules, page.limit, |rule: &StockRule| rule.wire_id.as_str().to_owned()))
}
