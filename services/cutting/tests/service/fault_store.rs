//! A store that fails when it is told to, as a full disk or a crash would make it.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicU32, Ordering};

use async_trait::async_trait;
use becket_floor::{
    Coil, CoilGuard, CoilId, FloorChange, FloorCoil, ListId, LotId, NewCutList, SerialId, Station, StationId,
    WireId,
};
use becket_store::{
    Answer, Claim, CoilChange, CoilChanged, CoilFilter, CutListFilter, CutRecord, CutStore, Engine, Entry,
    EvidenceRecord, JournalStore, ListOnFloor, LotSerial, Page, PageRequest, StockRule, StoreError,
    StoredCoil, StoredCutList, StoredHeader, StoredStation, Unmounted, Workplace, WriteContext, Written,
};
use becket_store_sqlite::SqliteStore;

/// Passes everything on, except that the next so many changes of cut lists fail.
pub(crate) struct FaultStore {
    inner: SqliteStore,
    failing_commits: AtomicU32,
    stale_commits: AtomicU32,
}

impl FaultStore {
    pub(crate) fn new(inner: SqliteStore) -> Self {
        Self { inner, failing_commits: AtomicU32::new(0), stale_commits: AtomicU32::new(0) }
    }

    /// Lets the next `count` changes of lists fail before anything is stored.
    pub(crate) fn fail_commits(&self, count: u32) {
        self.failing_commits.store(count, Ordering::SeqCst);
    }

    /// Lets the next `count` changes and new lists find that somebody else was faster.
    pub(crate) fn outrun(&self, count: u32) {
        self.stale_commits.store(count, Ordering::SeqCst);
    }

    fn fault(&self) -> Result<(), StoreError> {
        let take = |counter: &AtomicU32| {
            counter.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |left| left.checked_sub(1)).is_ok()
        };
        if take(&self.failing_commits) {
            return Err(StoreError::Unavailable("the disk is full".into()));
        }
        if take(&self.stale_commits) {
            return Err(StoreError::StockChanged { coil_id: CoilId::new("A19").unwrap() });
        }
        Ok(())
    }
}

#[async_trait]
impl Engine for FaultStore {
    async fn find_answer(&self, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
        self.inner.find_answer(ctx).await
    }

    async fn drop_answers(&self, old: &becket_store::Outdated) -> Result<u64, StoreError> {
        self.inner.drop_answers(old).await
    }

    async fn token_key(&self) -> Result<[u8; 32], StoreError> {
        self.inner.token_key().await
    }

    async fn check(&self) -> Result<(), StoreError> {
        self.inner.check().await
    }
}

#[async_trait]
impl CutStore for FaultStore {
    async fn receive_coils(
        &self,
        ctx: &WriteContext,
        coils: Vec<Coil>,
        answer: Answer<Vec<StoredCoil>>,
    ) -> Result<Written, StoreError> {
        self.inner.receive_coils(ctx, coils, answer).await
    }

    async fn change_coil(
        &self,
        ctx: &WriteContext,
        change: CoilChange,
        answer: Answer<CoilChanged>,
    ) -> Result<Written, StoreError> {
        self.fault()?;
        self.inner.change_coil(ctx, change, answer).await
    }

    async fn lists_naming(&self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError> {
        self.inner.lists_naming(coil_id).await
    }

    async fn coil(&self, coil_id: &CoilId) -> Result<StoredCoil, StoreError> {
        self.inner.coil(coil_id).await
    }

    async fn list_coil_evidence(
        &self,
        coil_id: &CoilId,
        page: &PageRequest,
    ) -> Result<Page<EvidenceRecord>, StoreError> {
        self.inner.list_coil_evidence(coil_id, page).await
    }

    async fn coil_evidence(&self, coil_id: &CoilId, number: u32) -> Result<EvidenceRecord, StoreError> {
        self.inner.coil_evidence(coil_id, number).await
    }

    async fn list_coils(
        &self,
        filter: &CoilFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredCoil>, StoreError> {
        self.inner.list_coils(filter, page).await
    }

    async fn stock(
        &self,
        wires: &[WireId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError> {
        self.inner.stock(wires, seen_from).await
    }

    async fn floor_coils(
        &self,
        coil_ids: &[CoilId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError> {
        self.inner.floor_coils(coil_ids, seen_from).await
    }

    async fn set_stock_rule(
        &self,
        ctx: &WriteContext,
        rule: StockRule,
        answer: Answer<StockRule>,
    ) -> Result<Written, StoreError> {
        self.inner.set_stock_rule(ctx, rule, answer).await
    }

    async fn list_stock_rules(&self, page: &PageRequest) -> Result<Page<StockRule>, StoreError> {
        self.inner.list_stock_rules(page).await
    }

    async fn save_station(
        &self,
        ctx: &WriteContext,
        station: Station,
        expected_version: Option<i64>,
        answer: Answer<StoredStation>,
    ) -> Result<Written, StoreError> {
        self.inner.save_station(ctx, station, expected_version, answer).await
    }

    async fn station(&self, station_id: &StationId) -> Result<StoredStation, StoreError> {
        self.inner.station(station_id).await
    }

    async fn unmount_coil(
        &self,
        ctx: &WriteContext,
        station_id: &StationId,
        reel_position: u32,
        answer: Answer<Unmounted>,
    ) -> Result<Written, StoreError> {
        self.inner.unmount_coil(ctx, station_id, reel_position, answer).await
    }

    async fn list_stations(&self, page: &PageRequest) -> Result<Page<StoredStation>, StoreError> {
        self.inner.list_stations(page).await
    }

    async fn create_cut_list(
        &self,
        ctx: &WriteContext,
        list: NewCutList,
        guards: Vec<CoilGuard>,
        answer: Answer<StoredCutList>,
    ) -> Result<Written, StoreError> {
        self.fault()?;
        self.inner.create_cut_list(ctx, list, guards, answer).await
    }

    async fn cut_list(&self, list_id: &ListId) -> Result<StoredCutList, StoreError> {
        self.inner.cut_list(list_id).await
    }

    async fn cut_list_on_floor(&self, list_id: &ListId, more: &[CoilId]) -> Result<ListOnFloor, StoreError> {
        self.inner.cut_list_on_floor(list_id, more).await
    }

    async fn workplace(
        &self,
        station_id: &StationId,
        list_id: &ListId,
        coil_ids: &[CoilId],
    ) -> Result<Workplace, StoreError> {
        self.inner.workplace(station_id, list_id, coil_ids).await
    }

    async fn coils_wanted_elsewhere(&self, station_id: &StationId) -> Result<BTreeSet<CoilId>, StoreError> {
        self.inner.coils_wanted_elsewhere(station_id).await
    }

    async fn list_cut_lists(
        &self,
        filter: &CutListFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredHeader>, StoreError> {
        self.inner.list_cut_lists(filter, page).await
    }

    async fn commit_floor(
        &self,
        ctx: &WriteContext,
        change: FloorChange,
        answer: Answer<StoredHeader>,
    ) -> Result<Written, StoreError> {
        self.fault()?;
        self.inner.commit_floor(ctx, change, answer).await
    }

    async fn cuts_of_serials(&self, serial_ids: &[SerialId]) -> Result<Vec<CutRecord>, StoreError> {
        self.inner.cuts_of_serials(serial_ids).await
    }

    async fn serials_of_lot(
        &self,
        lot_id: &LotId,
        page: &PageRequest,
    ) -> Result<Page<LotSerial>, StoreError> {
        self.inner.serials_of_lot(lot_id, page).await
    }

    async fn claimed_pieces(&self, serial_ids: &[SerialId]) -> Result<Vec<Claim>, StoreError> {
        self.inner.claimed_pieces(serial_ids).await
    }
}

#[async_trait]
impl JournalStore for FaultStore {
    async fn entries(
        &self,
        after_sequence: i64,
        limit: u32,
        subject: Option<&str>,
    ) -> Result<Vec<Entry>, StoreError> {
        self.inner.entries(after_sequence, limit, subject).await
    }

    async fn last_sequence(&self) -> Result<i64, StoreError> {
        self.inner.last_sequence().await
    }
}
