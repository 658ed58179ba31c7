//! Storage of the stringing service: wires, scales, jobs, frozen string sets.

use async_trait::async_trait;

use crate::context::{Answer, Document, Engine, Stored, WriteContext, Written};
use crate::error::StoreError;
use crate::page::{Page, PageRequest};
use crate::winding_orders::{NewWindingOrder, StoredWindingOrder, WindingRelease};

/// A wire to store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewWire {
    /// Id.
    pub wire_id: String,
    /// Number of the material, by which wires can be listed.
    pub material: i32,
    /// The wire, without its output-only fields.
    pub document: Document,
}

/// A wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredWire {
    /// Id.
    pub wire_id: String,
    /// The wire.
    pub stored: Stored,
}

/// What became of an import.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Imported {
    /// Ids of wires that are new, in the order given.
    pub added: Vec<String>,
    /// Ids of wires that were there already with the same bytes, in the order given.
    pub unchanged: Vec<String>,
}

/// A scale revision.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredScale {
    /// Model.
    pub model_id: String,
    /// Revision.
    pub revision_id: String,
    /// The scale.
    pub stored: Stored,
    /// When it was released, in µs since 1970 (UTC); `None` for a draft.
    pub released_us: Option<i64>,
}

/// Where a job is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum JobState {
    /// Open: its string set follows its inputs.
    Open,
    /// Its string set is fixed for good.
    Frozen,
    /// Done.
    Done,
    /// Given up.
    GivenUp,
}

/// What jobs are listed by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobColumns {
    /// Serial.
    pub serial_id: String,
    /// Day by which it is due, ISO 8601.
    pub due_date: String,
    /// Station that cuts it.
    pub station_id: String,
}

/// A job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredJob {
    /// What it is listed by.
    pub columns: JobColumns,
    /// State.
    pub state: JobState,
    /// When its set was frozen, in µs since 1970 (UTC).
    pub freeze_us: Option<i64>,
    /// The job.
    pub stored: Stored,
}

/// Which jobs are wanted. An empty filter takes all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct JobFilter {
    /// Only jobs in this state.
    pub state: Option<JobState>,
    /// Only jobs of this station.
    pub station_id: Option<String>,
    /// Only jobs due on or before this day, ISO 8601.
    pub due_by_date: Option<String>,
}

/// A string set to freeze.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrozenSet {
    /// Digest of the set, in hexadecimal.
    pub digest: String,
    /// The encoded set.
    pub bytes: Vec<u8>,
}

/// What became of freezing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frozen {
    /// When the set was frozen, in µs since 1970 (UTC).
    pub freeze_us: i64,
}

/// What the string set of a serial follows from, at one moment. Each number rises with every change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SetStanding {
    /// Version of the job, which names its scale.
    pub job_version: i64,
    /// Whether the set is frozen; once it is, it is for good.
    pub is_frozen: bool,
    /// As [`StringStore::wires_generation`] tells it.
    pub wires_generation: i64,
}

/// What is computed from a scale follows from this, at one moment. Each number rises with every change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScaleStanding {
    /// Version of the scale, a draft or a released one.
    pub scale_version: i64,
    /// As [`StringStore::wires_generation`] tells it.
    pub wires_generation: i64,
}

/// Storage of wires, scales and jobs. Wires, scales and jobs are never removed.
///
/// Every method can fail with [`StoreError::Busy`], [`StoreError::Unavailable`] and [`StoreError::Corrupt`], every write
/// with [`StoreError::RequestIdReused`]; other errors are named with each.
#[async_trait]
pub trait StringStore: Engine {
    /// Adds wires: all of them or none. One that is there with the same bytes is left as it is. Subject "wires/id".
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`] with all ids that are there with other bytes, or given twice with different bytes.
    async fn import_wires(
        &self,
        ctx: &WriteContext,
        wires: Vec<NewWire>,
        answer: Answer<Imported>,
    ) -> Result<Written, StoreError>;

    /// Replaces a wire.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::VersionStale`].
    async fn update_wire(
        &self,
        ctx: &WriteContext,
        expected_version: i64,
        wire: NewWire,
        answer: Answer<StoredWire>,
    ) -> Result<Written, StoreError>;

    /// One wire.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn wire(&self, wire_id: &str) -> Result<StoredWire, StoreError>;

    /// The wires among `wire_ids` that are there, by id, each once.
    ///
    /// # Errors
    /// Only the general ones.
    async fn wires(&self, wire_ids: &[String]) -> Result<Vec<StoredWire>, StoreError>;

    /// A number that rises whenever any wire is added or changed.
    ///
    /// # Errors
    /// Only the general ones.
    async fn wires_generation(&self) -> Result<i64, StoreError>;

    /// Wires by id, of one material if that is given.
    ///
    /// # Errors
    /// Only the general ones.
    async fn list_wires(
        &self,
        material: Option<i32>,
        page: &PageRequest,
    ) -> Result<Page<StoredWire>, StoreError>;

    /// Stores a new revision as a draft. Subject "scales/model/revision".
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`].
    async fn create_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        document: Document,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError>;

    /// Replaces a draft.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::ScaleReleased`], [`StoreError::VersionStale`].
    async fn update_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        expected_version: i64,
        document: Document,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError>;

    /// Makes a draft immutable.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::ScaleReleased`], [`StoreError::VersionStale`].
    async fn release_scale(
        &self,
        ctx: &WriteContext,
        model_id: &str,
        revision_id: &str,
        expected_version: i64,
        answer: Answer<StoredScale>,
    ) -> Result<Written, StoreError>;

    /// One revision.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn scale(&self, model_id: &str, revision_id: &str) -> Result<StoredScale, StoreError>;

    /// What follows from a revision rests on this; read at one moment.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn scale_standing(&self, model_id: &str, revision_id: &str) -> Result<ScaleStanding, StoreError>;

    /// Revisions by model and revision, of one model if that is given.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn list_scales(
        &self,
        model_id: Option<&str>,
        page: &PageRequest,
    ) -> Result<Page<StoredScale>, StoreError>;

    /// Opens a job. Subject "jobs/serial".
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`].
    async fn open_job(
        &self,
        ctx: &WriteContext,
        columns: JobColumns,
        document: Document,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError>;

    /// Replaces the content of a job that is open or frozen. What may change on a frozen one is the caller's to decide, on
    /// the version that it names.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::JobState`], [`StoreError::VersionStale`].
    async fn amend_job(
        &self,
        ctx: &WriteContext,
        expected_version: i64,
        columns: JobColumns,
        document: Document,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError>;

    /// Ends a job that is open or frozen, in `final_state`. Its string set, if frozen, stays.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::JobState`] also if `final_state` is no end, [`StoreError::VersionStale`].
    async fn close_job(
        &self,
        ctx: &WriteContext,
        serial_id: &str,
        expected_version: i64,
        final_state: JobState,
        answer: Answer<StoredJob>,
    ) -> Result<Written, StoreError>;

    /// One job.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn job(&self, serial_id: &str) -> Result<StoredJob, StoreError>;

    /// What the set of a serial rests on; read at one moment.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn set_standing(&self, serial_id: &str) -> Result<SetStanding, StoreError>;

    /// Jobs by due date and serial.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn list_jobs(&self, filter: &JobFilter, page: &PageRequest) -> Result<Page<StoredJob>, StoreError>;

    /// Fixes the string set of an open job for good; the job is frozen from then on and has a new version. If it is
    /// frozen with the same digest already, nothing changes.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::SetFrozen`] with another digest, [`StoreError::JobState`] for a job that has
    /// ended, frozen or not, since whoever freezes is about to cut, [`StoreError::VersionStale`] if the job is not the one
    /// from which the set was computed.
    async fn freeze_set(
        &self,
        ctx: &WriteContext,
        serial_id: &str,
        expected_version: i64,
        set: FrozenSet,
        answer: Answer<Frozen>,
    ) -> Result<Written, StoreError>;

    /// The frozen set of a serial, if there is one, and when it was frozen.
    ///
    /// # Errors
    /// Only the general ones; an unknown serial has no set.
    async fn frozen_set(&self, serial_id: &str) -> Result<Option<(FrozenSet, Frozen)>, StoreError>;

    /// Releases an order of wound strings: revision 1 for serials that are on no order, the next one for serials that have
    /// an order of their own with other content; if its content is the same, nothing changes. Subject "windingOrders/id".
    ///
    /// # Errors
    /// [`StoreError::NotFound`] for a serial without a job, [`StoreError::WindingOrdered`] if an order has some of the serials
    /// and not exactly these, [`StoreError::WindingReasonMissing`].
    async fn release_winding_order(
        &self,
        ctx: &WriteContext,
        order: NewWindingOrder,
        answer: Answer<WindingRelease>,
    ) -> Result<Written, StoreError>;

    /// One revision of an order, or its latest.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn winding_order(
        &self,
        order_id: &str,
        revision: Option<i64>,
    ) -> Result<StoredWindingOrder, StoreError>;

    /// The latest revision of the order of exactly these serials, if there is one.
    ///
    /// # Errors
    /// [`StoreError::WindingOrdered`] if an order has some of them and not exactly these.
    async fn winding_order_of(&self, serial_ids: &[String])
    -> Result<Option<StoredWindingOrder>, StoreError>;

    /// The latest revisions of all orders by number, or of the order that a serial is on.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn list_winding_orders(
        &self,
        serial_id: Option<&str>,
        page: &PageRequest,
    ) -> Result<Page<StoredWindingOrder>, StoreError>;
}
