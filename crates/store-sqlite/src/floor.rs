//! The steps of writes of cut lists.

use async_trait::async_trait;
use becket_floor::{
    CoilId, CutListHeader, LevelReport, ListId, SerialDigest, Shortage, StationId, Step, StepKind,
};
use becket_store::tables::{
    Code, Columns as _, FloorTables, corrupt, level_order_code, shortage_of, step_of,
};
use becket_store::{StoreError, StoredHeader};
use becket_units::Um;

use crate::cells::each;
use crate::cut_lists;
use crate::errors::engine;
use crate::steps;
use crate::write::Write;

#[async_trait]
impl FloorTables for Write<'_> {
    async fn last_list_number(&mut self) -> Result<i64, StoreError> {
        sqlx::query_scalar("SELECT COALESCE(MAX(list_number), 0) FROM cut_lists")
            .fetch_one(self.db())
            .await
            .map_err(engine)
    }

    async fn read_header(&mut self, list_id: &ListId) -> Result<(i64, StoredHeader), StoreError> {
        cut_lists::header(self.db(), list_id).await
    }

    async fn lock_header(&mut self, list_id: &ListId) -> Result<(i64, StoredHeader), StoreError> {
        cut_lists::bare_header(self.db(), list_id).await
    }

    async fn insert_header(&mut self, number: i64, header: &CutListHeader) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        sqlx::query(
            "INSERT INTO cut_lists (list_number, list_id, station_id, state, unison_rule, end_trim_um, coil_margin_um, \
             coil_margin_milli_sds, piece_order, wound_cores, due_window, fifo, level_order, search_rounds, time_budget_ms, pieces, cut_um, \
             scrap_um, remnant_um, coils_used, coils_opened, reel_changes, unisons_split, pieces_done, pieces_pending, \
             version, created_us, updated_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, ?, ?)",
        )
        .bind(number)
        .bind(header.list_id.as_str())
        .bind(header.station_id.as_str())
        .bind(header.state.code())
        .bind(header.policy.unison_rule.code())
        .bind(header.policy.end_trim.get())
        .bind(header.policy.coil_margin.get())
        .bind(header.policy.coil_margin_sds.thousandths())
        .bind(header.policy.piece_order.code())
        .bind(header.policy.wound_cores)
        .bind(header.policy.due_window)
        .bind(header.policy.fifo)
        .bind(level_order_code(&header.policy.level_order))
        .bind(header.policy.effort.rounds_per_coil)
        .bind(header.policy.time_budget_ms)
        .bind(now_us)
        .bind(now_us)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(())
    }

    async fn update_header(&mut self, number: i64, header: &CutListHeader) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        let figures = header.figures;
        sqlx::query(
            "UPDATE cut_lists SET state = ?, pieces = ?, cut_um = ?, scrap_um = ?, remnant_um = ?, coils_used = ?, \
             coils_opened = ?, reel_changes = ?, unisons_split = ?, pieces_done = ?, pieces_pending = ?, start_us = ?, \
             end_us = ?, search_stopped = ?, version = ?, updated_us = ? WHERE list_number = ?",
        )
        .bind(header.state.code())
        .bind(figures.pieces)
        .bind(figures.cut.get())
        .bind(figures.scrap.get())
        .bind(figures.remnant.get())
        .bind(figures.coils_used)
        .bind(figures.coils_opened)
        .bind(figures.reel_changes)
        .bind(figures.unisons_split)
        .bind(header.pieces_done)
        .bind(header.pieces_pending)
        .bind(header.start_us)
        .bind(header.end_us)
        .bind(header.quality.stopped)
        .bind(header.version)
        .bind(now_us)
        .bind(number)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(())
    }

    async fn replace_serials(&mut self, number: i64, serials: &[SerialDigest]) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM cut_list_serials WHERE list_number = ?")
            .bind(number)
            .execute(self.db())
            .await
            .map_err(engine)?;
        for (place, serial) in (0_i64..).zip(serials) {
            sqlx::query(
                "INSERT INTO cut_list_serials (list_number, place, serial_id, set_digest, due_date) \
                 VALUES (?, ?, ?, ?, ?)",
            )
            .bind(number)
            .bind(place)
            .bind(serial.serial_id.as_str())
            .bind(&serial.set_digest)
            .bind(&serial.due_date)
            .execute(self.db())
            .await
            .map_err(engine)?;
        }
        Ok(())
    }

    async fn replace_levels(&mut self, number: i64, levels: &[LevelReport]) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM cut_list_levels WHERE list_number = ?")
            .bind(number)
            .execute(self.db())
            .await
            .map_err(engine)?;
        for (place, report) in (0_i64..).zip(levels) {
            sqlx::query(
                "INSERT INTO cut_list_levels (list_number, place, level, value, lower_bound, proven) \
                 VALUES (?, ?, ?, ?, ?, ?)",
            )
            .bind(number)
            .bind(place)
            .bind(report.level.code())
            .bind(report.value)
            .bind(report.lower_bound)
            .bind(report.proven)
            .execute(self.db())
            .await
            .map_err(engine)?;
        }
        Ok(())
    }

    async fn replace_shortages(
        &mut self,
        number: i64,
        shortages: &[Shortage],
    ) -> Result<Vec<Shortage>, StoreError> {
        let rows = sqlx::query("DELETE FROM shortages WHERE list_number = ? RETURNING *")
            .bind(number)
            .fetch_all(self.db())
            .await
            .map_err(engine)?;
        let mut before = each(rows, |row| Ok((row.integer("place")?, shortage_of(row)?)))?;
        before.sort_unstable_by_key(|(place, _)| *place);
        for (place, shortage) in (0_i64..).zip(shortages) {
            let pieces: Vec<&str> = shortage.piece_ids.iter().map(|id| id.as_str()).collect();
            sqlx::query(
                "INSERT INTO shortages (list_number, place, wire_id, serial_id, piece_ids, length_um) \
                 VALUES (?, ?, ?, ?, ?, ?)",
            )
            .bind(number)
            .bind(place)
            .bind(shortage.wire_id.as_str())
            .bind(shortage.serial_id.as_str())
            .bind(serde_json::to_string(&pieces).map_err(corrupt)?)
            .bind(shortage.length.get())
            .execute(self.db())
            .await
            .map_err(engine)?;
        }
        Ok(before.into_iter().map(|(_, shortage)| shortage).collect())
    }

    async fn running_at(&mut self, station_id: &StationId, apart: i64) -> Result<Option<ListId>, StoreError> {
        let running: Option<String> = sqlx::query_scalar(
            "SELECT list_id FROM cut_lists WHERE station_id = ? AND state = 'running' AND list_number <> ?",
        )
        .bind(station_id.as_str())
        .bind(apart)
        .fetch_optional(self.db())
        .await
        .map_err(engine)?;
        running.map(|id| ListId::new(id).map_err(corrupt)).transpose()
    }

    async fn execute_step(&mut self, number: i64, step: &Step) -> Result<Option<Step>, StoreError> {
        steps::execute(self.db(), number, step).await
    }

    async fn delete_pending(&mut self, number: i64) -> Result<Vec<Step>, StoreError> {
        let rows =
            sqlx::query("DELETE FROM cut_steps WHERE list_number = ? AND state = 'pending' RETURNING *")
                .bind(number)
                .fetch_all(self.db())
                .await
                .map_err(engine)?;
        let mut steps = each(rows, step_of)?;
        steps.sort_unstable_by_key(|step| step.step_number);
        Ok(steps)
    }

    async fn claimed_by(&mut self, steps: &[Step]) -> Result<Option<(usize, ListId)>, StoreError> {
        let pieces = steps.iter().enumerate().filter(|(_, step)| step.kind == StepKind::Cut);
        let pieces: Vec<(usize, &str, &str)> = pieces
            .filter_map(|(at, step)| {
                let piece = step.piece.as_ref()?;
                Some((at, piece.serial_id.as_str(), piece.piece_id.as_str()))
            })
            .collect();
        // From the pieces to the index, never the other way: a shop has many more steps than a list.
        let claimed: Option<(i64, String)> = sqlx::query_as(
            "SELECT p.value ->> 0, l.list_id FROM json_each(?) p CROSS JOIN cut_steps s ON s.serial_id = p.value ->> 1 \
             AND s.piece_id = p.value ->> 2 AND s.kind = 'cut' AND s.state IN ('pending', 'done') \
             JOIN cut_lists l ON l.list_number = s.list_number ORDER BY 1 LIMIT 1",
        )
        .bind(serde_json::to_string(&pieces).map_err(corrupt)?)
        .fetch_optional(self.db())
        .await
        .map_err(engine)?;
        let claimed = claimed.map(|(at, list_id)| Ok((at, ListId::new(list_id).map_err(corrupt)?)));
        let claimed = claimed.transpose()?;
        claimed.map(|(at, list_id)| Ok((usize::try_from(at).map_err(corrupt)?, list_id))).transpose()
    }

    async fn insert_steps(&mut self, number: i64, steps: &[Step]) -> Result<(), StoreError> {
        steps::insert(self.db(), number, steps).await
    }

    async fn counted_on(&mut self, number: i64) -> Result<Vec<(CoilId, Um)>, StoreError> {
        let rows: Vec<(String, i64)> = sqlx::query_as(
            "SELECT coil_id, SUM(length_um) FROM cut_steps WHERE list_number = ? AND state = 'pending' \
             AND kind IN ('mount', 'cut') GROUP BY coil_id ORDER BY coil_id",
        )
        .bind(number)
        .fetch_all(self.db())
        .await
        .map_err(engine)?;
        rows.into_iter().map(|(coil, sum)| Ok((CoilId::new(coil).map_err(corrupt)?, Um::new(sum)))).collect()
    }
}
