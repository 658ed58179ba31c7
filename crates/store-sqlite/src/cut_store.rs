//! [`CutStore`], put together from the files of its concerns.

use std::collections::BTreeSet;

use async_trait::async_trait;
use becket_floor::{
    Coil, CoilGuard, CoilId, FloorChange, FloorCoil, ListId, LotId, NewCutList, SerialId, Station, StationId,
    WireId,
};
use becket_store::{
    Answer, Claim, CoilChange, CoilChanged, CoilFilter, CutListFilter, CutRecord, CutStore, ListOnFloor,
    LotSerial, Page, PageRequest, StockRule, StoreError, StoredCoil, StoredCutList, StoredHeader,
    StoredStation, Unmounted, WriteContext, Written,
};

use crate::{SqliteStore, coils, cut_lists, floor_commit, on_floor, records, stations};

#[async_trait]
impl CutStore for SqliteStore {
    async fn receive_coils(
        &self,
        ctx: &WriteContext,
        coils: Vec<Coil>,
        answer: Answer<Vec<StoredCoil>>,
    ) -> Result<Written, StoreError> {
        coils::receive(self, ctx, coils, answer).await
    }

    async fn change_coil(
        &self,
        ctx: &WriteContext,
        change: CoilChange,
        answer: Answer<CoilChanged>,
    ) -> Result<Written, StoreError> {
        coils::change(self, ctx, change, answer).await
    }

    async fn coil(&self, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
        coils::one(self, coil_id).await
    }

    async fn list_coils(
        &self,
        filter: &CoilFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredCoil>, StoreError> {
        coils::list(self, filter, page).await
    }

    async fn stock(
        &self,
        wire_ids: &[WireId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError> {
        coils::stock(self, wire_ids, seen_from).await
    }

    async fn floor_coils(
        &self,
        coil_ids: &[CoilId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError> {
        coils::floor_coils(self, coil_ids, seen_from).await
    }

    async fn set_stock_rule(
        &self,
        ctx: &WriteContext,
        rule: StockRule,
        answer: Answer<StockRule>,
    ) -> Result<Written, StoreError> {
        coils::set_rule(self, ctx, rule, answer).await
    }

    async fn list_stock_rules(&self, page: &PageRequest) -> Result<Page<StockRule>, StoreError> {
        coils::list_rules(self, page).await
    }

    async fn save_station(
        &self,
        ctx: &WriteContext,
        station: Station,
        expected_version: Option<i64>,
        answer: Answer<StoredStation>,
    ) -> Result<Written, StoreError> {
        stations::save(self, ctx, station, expected_version, answer).await
    }

    async fn station(&self, station_id: &StationId) -> Result<StoredStation, StoreError> {
        stations::one(self, station_id).await
    }

    async fn unmount_coil(
        &self,
        ctx: &WriteContext,
        station_id: &StationId,
        reel_position: u32,
        answer: Answer<Unmounted>,
    ) -> Result<Written, StoreError> {
        stations::unmount(self, ctx, station_id, reel_position, answer).await
    }

    async fn list_stations(&self, page: &PageRequest) -> Result<Page<StoredStation>, StoreError> {
        stations::list(self, page).await
    }

    async fn create_cut_list(
        &self,
        ctx: &WriteContext,
        list: NewCutList,
        guards: Vec<CoilGuard>,
        answer: Answer<StoredCutList>,
    ) -> Result<Written, StoreError> {
        cut_lists::create(self, ctx, list, guards, answer).await
    }

    async fn cut_list(&self, list_id: &ListId) -> Result<StoredCutList, StoreError> {
        cut_lists::one(self, list_id).await
    }

    async fn cut_list_on_floor(&self, list_id: &ListId, more: &[CoilId]) -> Result<ListOnFloor, StoreError> {
        on_floor::list(self, list_id, more).await
    }

    async fn coils_wanted_elsewhere(&self, station_id: &StationId) -> Result<BTreeSet<CoilId>, StoreError> {
        on_floor::wanted_elsewhere(self, station_id).await
    }

    async fn list_cut_lists(
        &self,
        filter: &CutListFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredHeader>, StoreError> {
        cut_lists::list(self, filter, page).await
    }

    async fn commit_floor(
        &self,
        ctx: &WriteContext,
        change: FloorChange,
        answer: Answer<StoredHeader>,
    ) -> Result<Written, StoreError> {
        floor_commit::commit(self, ctx, change, answer).await
    }

    async fn cuts_of_serial(&self, serial_id: &SerialId) -> Result<Vec<CutRecord>, StoreError> {
        records::of_serial(self, serial_id).await
    }

    async fn serials_of_lot(
        &self,
        lot_id: &LotId,
        page: &PageRequest,
    ) -> Result<Page<LotSerial>, StoreError> {
        records::serials_of_lot(self, lot_id, page).await
    }

    async fn claimed_pieces(&self, serial_ids: &[SerialId]) -> Result<Vec<Claim>, StoreError> {
        records::claims(self, serial_ids).await
    }
}
