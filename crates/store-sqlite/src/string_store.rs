//! [`StringStore`], put together from the files of its concerns.

use async_trait::async_trait;
use becket_store::{
    Answer, Document, Frozen, FrozenSet, Imported, JobColumns, JobFilter, JobState, NewWindingOrder, NewWire,
    Page, PageRequest, ScaleStanding, SetStanding, StoreError, StoredJob, StoredScale, StoredWindingOrder,
    StoredWire, StringStore, WindingRelease, WriteContext, Written,
};

use crate::scales::ScaleKey;
use crate::{SqliteStore, jobs, scales, winding_orders, wires};

#[async_trait]
impl StringStore for SqliteStore {
    async fn import_wires(
        &self,
        ctx: &WriteContext,
        wires: Vec<NewWire>,
        answer: Answer<Imported>,
    ) -> Result<Written, StoreError> {
        wires::import(self, ctx, wires, answer).await
    }

    async fn update_wire(
        &self,
        ctx: &WriteContext,
        expected_version: i64,
        wire: NewWire,
        answer: Answer<StoredWire>,
    ) -> Result<Written, StoreError> {
        wires::update(self, ctx, expected_version, wire, answer).await
    }

    async fn wire(&self, wire_id: &str) -> Result<StoredWire, StoreError> {
        wires::one(self, wire_id).await
    }

    async fn wires(&self, wire_ids: &[String]) -> Result<Vec<StoredWire>, StoreError> {
        wires::some(self, wire_ids).await
    }

    async fn wires_generation(&self) -> Result<i64, StoreError> {
        wires::generation(self).await
    }

    async fn list_wires(
        &self,
        material: Option<i32>,
        page: &PageRequest,
    ) -> Result<Page<StoredWire>, StoreError> {
        wires::list(self, material, page).await
    }

    async fn create_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        document: Document,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError> {
        scales::create(self, ctx, ScaleKey { model_id, revision_id }, document, answer).await
    }

    async fn update_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        expected_version: i64,
        document: Document,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError> {
        let key = ScaleKey { model_id, revision_id };
        scales::update(self, ctx, key, expected_version, document, answer).await
    }

    async fn release_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        expected_version: i64,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError> {
        scales::release(self, ctx, ScaleKey { model_id, revision_id }, expected_version, answer).await
    }

    async fn scale(&self, model_id: &str, revision_id: &str) -> Result<StoredScale, StoreError> {
        scales::one(self, ScaleKey { model_id, revision_id }).await
    }

    async fn scale_standing(&self, model_id: &str, revision_id: &str) -> Result<ScaleStanding, StoreError> {
        scales::standing(self, ScaleKey { model_id, revision_id }).await
    }

    async fn list_scales(
        &self,
        model_id: Option<&str>,
        page: &PageRequest,
    ) -> Result<Page<StoredScale>, StoreError> {
        scales::list(self, model_id, page).await
    }

    async fn open_job(
        &self,
        ctx: &WriteContext,
        columns: JobColumns,
        document: Document,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError> {
        jobs::open(self, ctx, columns, document, answer).await
    }

    async fn amend_job(
        &self,
        ctx: &WriteContext,
        expected_version: i64,
        columns: JobColumns,
        document: Document,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError> {
        jobs::amend(self, ctx, expected_version, columns, document, answer).await
    }

    async fn close_job(
        &self,
        ctx: &WriteContext,
        serial_id: &str,
        expected_version: i64,
        final_state: JobState,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError> {
        jobs::close(self, ctx, serial_id, expected_version, final_state, answer).await
    }

    async fn job(&self, serial_id: &str) -> Result<StoredJob, StoreError> {
        jobs::one(self, serial_id).await
    }

    async fn set_standing(&self, serial_id: &str) -> Result<SetStanding, StoreError> {
        jobs::standing(self, serial_id).await
    }

    async fn list_jobs(&self, filter: &JobFilter, page: &PageRequest) -> Result<Page<StoredJob>, StoreError> {
        jobs::list(self, filter, page).await
    }

    async fn freeze_set(
        &self,
        ctx: &WriteContext,
        serial_id: &str,
        expected_version: i64,
        set: FrozenSet,
        answer: Answer<Frozen>,
    ) -> Result<Written, StoreError> {
        jobs::freeze(self, ctx, serial_id, expected_version, set, answer).await
    }

    async fn frozen_set(&self, serial_id: &str) -> Result<Option<(FrozenSet, Frozen)>, StoreError> {
        jobs::set_of(self, serial_id).await
    }

    async fn release_winding_order(
        &self,
        ctx: &WriteContext,
        order: NewWindingOrder,
        answer: Answer<WindingRelease>,
    ) -> Result<Written, StoreError> {
        winding_orders::release(self, ctx, order, answer).await
    }

    async fn winding_order(
        &self,
        order_id: &str,
        revision: Option<i64>,
    ) -> Result<StoredWindingOrder, StoreError> {
        winding_orders::one(self, order_id, revision).await
    }

    async fn winding_order_of(
        &self,
        serial_ids: &[String],
    ) -> Result<Option<StoredWindingOrder>, StoreError> {
        winding_orders::of_serials(self, serial_ids).await
    }

    async fn list_winding_orders(
        &self,
        serial_id: Option<&str>,
        page: &PageRequest,
    ) -> Result<Page<StoredWindingOrder>, StoreError> {
        winding_orders::list(self, serial_id, page).await
    }
}
