//! Storage of the cutting service: coils, stations, cut lists.

use std::collections::{BTreeMap, BTreeSet};

use async_trait::async_trait;
use becket_floor::{
    Booking, Coil, CoilGuard, CoilId, CoilState, CutList, CutListHeader, CutListState, Evidence, Finding,
    FloorChange, FloorCoil, ListId, LotId, NewCutList, PieceId, SerialId, SpoilCause, Station, StationId,
    WireId, predict,
};
use becket_units::Um;

use crate::context::{Answer, Engine, WriteContext, Written};
use crate::error::StoreError;
use crate::page::{Page, PageRequest};

/// A coil in stock.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredCoil {
    /// The coil.
    pub coil: Coil,
    /// Length that lists count on and have not cut yet.
    pub reserved: Um,
    /// Lines of its ledger that disagree and on which nobody has decided.
    pub held_evidence: u32,
    /// The latest line that told the length anew and is believed.
    pub last_finding: u32,
    /// Version; rises with balance, state, mounting and evidence, not with reservations.
    pub version: i64,
    /// When it was booked, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// A line of a coil's ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct EvidenceRecord {
    /// Number within the coil, from 1.
    pub number: u32,
    /// The line.
    pub evidence: Evidence,
    /// List whose step it was, if any.
    pub list_id: Option<ListId>,
    /// Why, for people; may be empty.
    pub note: String,
    /// Who added it.
    pub actor: String,
    /// When it was added, in µs since 1970 (UTC).
    pub created_us: i64,
    /// Who decided upon it, if it had been held.
    pub decided: Option<Decided>,
}

/// Who decided upon evidence, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decided {
    /// When, in µs since 1970 (UTC).
    pub decided_us: i64,
    /// Who.
    pub decided_by: String,
}

/// What is decided upon evidence that was held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decision {
    /// Number of the evidence.
    pub number: u32,
    /// Whether it is believed; the booking that follows from it belongs to the same change.
    pub accepted: bool,
}

/// One change of a coil outside of cut lists.
#[derive(Debug, Clone, PartialEq)]
pub struct CoilChange {
    /// Coil.
    pub coil_id: CoilId,
    /// Version on which the decision rests.
    pub expected_version: i64,
    /// What is booked, if anything.
    pub booking: Option<Booking>,
    /// Evidence that disagrees and is kept out of the balance until somebody decides.
    pub held: Option<Finding>,
    /// What is decided upon evidence that was held.
    pub decision: Option<Decision>,
    /// State after it. A scrapped coil is taken off its reel position.
    pub state: CoilState,
    /// Which lists forbid the change, once those of `lists` are changed.
    pub refuse_if: RefuseIf,
    /// Lists that are changed in the same step, so that none is left with a step that cannot be done.
    pub lists: Vec<FloorChange>,
    /// Why, for the journal; may be empty.
    pub note: String,
}

/// Which lists forbid the change of a coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RefuseIf {
    /// None.
    Never,
    /// One that still has to put the coil on a reel or to cut from it.
    CountedOn,
    /// One with a pending step on it, be it only to take it off.
    Named,
}

/// What became of a change.
#[derive(Debug, Clone, PartialEq)]
pub struct CoilChanged {
    /// The coil after it.
    pub coil: StoredCoil,
    /// Lists that count on the coil, by id.
    pub list_ids: Vec<ListId>,
    /// The line that was added to the coil's ledger, or decided upon, if any.
    pub evidence: Option<EvidenceRecord>,
}

impl CoilChanged {
    /// Lists that count on more wire than is left: all that count on the coil, if together they want more than it has.
    #[must_use]
    pub fn short_list_ids(&self) -> &[ListId] {
        if self.coil.reserved > self.coil.coil.remaining { &self.list_ids } else { &[] }
    }
}

/// Which coils are wanted. An empty filter takes all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CoilFilter {
    /// Only coils of this wire.
    pub wire_id: Option<WireId>,
    /// Only coils of this lot.
    pub lot_id: Option<LotId>,
    /// Only coils in this state.
    pub state: Option<CoilState>,
}

/// What the shop decided about one wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StockRule {
    /// Wire.
    pub wire_id: WireId,
    /// A remnant shorter than this is scrap.
    pub smallest_remnant: Um,
}

/// A station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredStation {
    /// The station with what is mounted.
    pub station: Station,
    /// Version; mounting does not change it.
    pub version: i64,
    /// When it was created, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// A coil that was taken off a reel position outside of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unmounted {
    /// The station after it.
    pub station: StoredStation,
    /// The coil.
    pub coil_id: CoilId,
    /// Planned lists of the station that expect the coil on its reel, by number.
    pub list_ids: Vec<ListId>,
}

/// A cut list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredCutList {
    /// The list; its header holds the version.
    pub list: CutList,
    /// When it was planned, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// A cut list with all that tells what its pending steps will leave, as it is at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct ListOnFloor {
    /// The list.
    pub list: StoredCutList,
    /// Coils of its pending steps, and others that were asked for, as the list sees them; by id.
    pub coils: Vec<FloorCoil>,
    /// Wire that running lists with a lower number count on, by coil: what comes before the list if it runs.
    pub ahead_running: BTreeMap<CoilId, Um>,
    /// Wire that running lists, and planned ones with a lower number, count on, by coil: what comes before the list if it
    /// is planned.
    pub ahead_planned: BTreeMap<CoilId, Um>,
}

impl ListOnFloor {
    /// What comes before the list if it is in a state.
    #[must_use]
    pub fn ahead(&self, state: CutListState) -> &BTreeMap<CoilId, Um> {
        if state == CutListState::Planned { &self.ahead_planned } else { &self.ahead_running }
    }

    /// The list with what its pending steps will leave.
    #[must_use]
    pub fn predicted(&self) -> StoredCutList {
        let list = &self.list.list;
        StoredCutList { list: predict(list, &self.coils, self.ahead(list.header.state)), ..self.list }
    }
}

/// A station and coils as a list finds them: all that decides on its next steps beside the list itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Workplace {
    /// The station.
    pub station: StoredStation,
    /// The coils that were asked for and are there, as the list sees them; by id.
    pub coils: Vec<FloorCoil>,
    /// Wire that running lists with a lower number count on, by coil.
    pub ahead_running: BTreeMap<CoilId, Um>,
}

impl Workplace {
    /// Puts together what an engine found: a station, and coils with what running lists with a lower number count on.
    #[must_use]
    pub fn of(station: StoredStation, found: Vec<(FloorCoil, Um)>) -> Self {
        let ahead_running = found.iter().map(|(coil, ahead)| (coil.coil.coil_id.clone(), *ahead)).collect();
        Self { station, coils: found.into_iter().map(|(coil, _)| coil).collect(), ahead_running }
    }
}

/// A cut list without steps and shortages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredHeader {
    /// The header.
    pub header: CutListHeader,
    /// When it was planned, in µs since 1970 (UTC).
    pub created_us: i64,
    /// When it last changed, in µs since 1970 (UTC).
    pub updated_us: i64,
}

/// Which cut lists are wanted. An empty filter takes all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CutListFilter {
    /// Only lists of this station.
    pub station_id: Option<StationId>,
    /// Only lists in this state.
    pub state: Option<CutListState>,
}

/// Where a piece came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutRecord {
    /// Serial.
    pub serial_id: SerialId,
    /// Piece.
    pub piece_id: PieceId,
    /// Coil.
    pub coil_id: CoilId,
    /// Lot of the coil.
    pub lot_id: LotId,
    /// Wire of the coil.
    pub wire_id: WireId,
    /// Numbers of the notes that it serves, rising.
    pub notes: Vec<i32>,
    /// Wire that was cut or, of a spoiled piece, lost.
    pub length: Um,
    /// List.
    pub list_id: ListId,
    /// Step of the list.
    pub step_number: u32,
    /// When it was cut, in µs since 1970 (UTC).
    pub cut_us: i64,
    /// Who cut it.
    pub cut_by: String,
    /// How it was lost, if it was.
    pub spoil_cause: Option<SpoilCause>,
}

/// One wire of a lot in one serial.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotSerial {
    /// Serial.
    pub serial_id: SerialId,
    /// Wire.
    pub wire_id: WireId,
    /// Coils of the lot used in it, in order, each once.
    pub coil_ids: Vec<CoilId>,
    /// Pieces, in the order of cutting.
    pub piece_ids: Vec<PieceId>,
    /// Their length.
    pub length: Um,
}

/// A piece that must not be planned again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Serial.
    pub serial_id: SerialId,
    /// Piece.
    pub piece_id: PieceId,
    /// List that has it.
    pub list_id: ListId,
    /// Whether it is cut and good; else it is to be cut.
    pub is_cut: bool,
}

/// Storage of coils, stations and cut lists. Coils, stations, lists and executed steps are never removed.
///
/// Every method can fail with [`StoreError::Busy`], [`StoreError::Unavailable`] and [`StoreError::Corrupt`], every write
/// with [`StoreError::RequestIdReused`]; other errors are named with each.
///
/// What lists count on is not stored by itself: it is the trims and pieces of pending steps. Where a piece came from is not
/// either: it is in the executed step. So neither can disagree with the lists.
#[async_trait]
pub trait CutStore: Engine {
    /// Books coils: all of them or none. Subject "coils/id". The answer gets them in the order given.
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`] with all ids that are there already or given twice.
    async fn receive_coils(
        &self,
        ctx: &WriteContext,
        coils: Vec<Coil>,
        answer: Answer<Vec<StoredCoil>>,
    ) -> Result<Written, StoreError>;

    /// Weighs, sets aside, returns or scraps a coil, or decides upon evidence of its length; and changes lists with it, as
    /// [`commit_floor`](Self::commit_floor) does, all in one step.
    ///
    /// # Errors
    /// Those of [`commit_floor`](Self::commit_floor) for a list;
    /// [`StoreError::NotFound`] for the coil or for evidence to decide upon that is not held, [`StoreError::VersionStale`], [`StoreError::CoilReserved`],
    /// [`StoreError::ChangeInconsistent`] if the booking does not fit the balance.
    async fn change_coil(
        &self,
        ctx: &WriteContext,
        change: CoilChange,
        answer: Answer<CoilChanged>,
    ) -> Result<Written, StoreError>;

    /// Lists with a pending step on a coil, be it only to take it off, by number.
    ///
    /// # Errors
    /// Only the general ones.
    async fn lists_naming(&self, coil_id: &CoilId) -> Result<Vec<ListId>, StoreError>;

    /// One coil.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn coil(&self, coil_id: &CoilId) -> Result<StoredCoil, StoreError>;

    /// The ledger of a coil, the latest line first. One of a coil that is not there is empty.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn list_coil_evidence(
        &self,
        coil_id: &CoilId,
        page: &PageRequest,
    ) -> Result<Page<EvidenceRecord>, StoreError>;

    /// One line of a coil's ledger.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn coil_evidence(&self, coil_id: &CoilId, number: u32) -> Result<EvidenceRecord, StoreError>;

    /// Coils by id.
    ///
    /// # Errors
    /// Only the general ones.
    async fn list_coils(
        &self,
        filter: &CoilFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredCoil>, StoreError>;

    /// Coils of these wires that are sealed, opened or set aside, and all coils that are mounted anywhere, seen from a list:
    /// what it has reserved itself is not "by others". With no list, all that is reserved is by others. In the order of
    /// receipt.
    ///
    /// # Errors
    /// Only the general ones.
    async fn stock(
        &self,
        wire_ids: &[WireId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError>;

    /// The coils of these ids that are there, in any state, seen from a list as in [`stock`](Self::stock); by id.
    ///
    /// # Errors
    /// Only the general ones.
    async fn floor_coils(
        &self,
        coil_ids: &[CoilId],
        seen_from: Option<&ListId>,
    ) -> Result<Vec<FloorCoil>, StoreError>;

    /// Sets the rule of a wire. Subject "stockRules/wire".
    ///
    /// # Errors
    /// Only the general ones.
    async fn set_stock_rule(
        &self,
        ctx: &WriteContext,
        rule: StockRule,
        answer: Answer<StockRule>,
    ) -> Result<Written, StoreError>;

    /// Rules by wire id.
    ///
    /// # Errors
    /// Only the general ones.
    async fn list_stock_rules(&self, page: &PageRequest) -> Result<Page<StockRule>, StoreError>;

    /// Creates a station (`expected_version` is `None`) or changes it; what `station.mounted` holds is not regarded. Subject
    /// "stations/id".
    ///
    /// # Errors
    /// [`StoreError::AlreadyExists`], [`StoreError::NotFound`], [`StoreError::VersionStale`],
    /// [`StoreError::PositionsInUse`].
    async fn save_station(
        &self,
        ctx: &WriteContext,
        station: Station,
        expected_version: Option<i64>,
        answer: Answer<StoredStation>,
    ) -> Result<Written, StoreError>;

    /// One station.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn station(&self, station_id: &StationId) -> Result<StoredStation, StoreError>;

    /// Takes a coil off a reel position outside of a list; the coil has a new version, and is used up if nothing is left on it.
    /// Subject "stations/id".
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::PositionEmpty`], [`StoreError::CoilReserved`] if the list that runs at the
    /// station expects the coil on its reel: its next step on the coil is no mounting.
    async fn unmount_coil(
        &self,
        ctx: &WriteContext,
        station_id: &StationId,
        reel_position: u32,
        answer: Answer<Unmounted>,
    ) -> Result<Written, StoreError>;

    /// Stations by id.
    ///
    /// # Errors
    /// Only the general ones.
    async fn list_stations(&self, page: &PageRequest) -> Result<Page<StoredStation>, StoreError>;

    /// Stores a planned list under the next name and reserves its wire. Subject "cutLists/id".
    ///
    /// # Errors
    /// [`StoreError::NotFound`] for its station or a coil; [`StoreError::StockChanged`] if a guard does not hold, a coil
    /// of a pending step is neither sealed nor opened, or all lists together would count on more than remains of a coil;
    /// [`StoreError::PieceClaimed`] if a piece is pending on another list, or cut and good.
    async fn create_cut_list(
        &self,
        ctx: &WriteContext,
        list: NewCutList,
        guards: Vec<CoilGuard>,
        answer: Answer<StoredCutList>,
    ) -> Result<Written, StoreError>;

    /// One list.
    ///
    /// # Errors
    /// [`StoreError::NotFound`].
    async fn cut_list(&self, list_id: &ListId) -> Result<StoredCutList, StoreError>;

    /// One list with the coils of its pending steps, and those in `more` that are there.
    ///
    /// # Errors
    /// [`StoreError::NotFound`] for the list.
    async fn cut_list_on_floor(&self, list_id: &ListId, more: &[CoilId]) -> Result<ListOnFloor, StoreError>;

    /// A station and coils as a list finds them. Station and coils may be of two moments; whoever decides upon them names the versions of the
    /// coils, which change with what is mounted, too.
    ///
    /// # Errors
    /// [`StoreError::NotFound`] for the station. Coils that are not there are passed over.
    async fn workplace(
        &self,
        station_id: &StationId,
        list_id: &ListId,
        coil_ids: &[CoilId],
    ) -> Result<Workplace, StoreError>;

    /// Coils of which lists of other stations than this one still want to cut.
    ///
    /// # Errors
    /// Only the general ones.
    async fn coils_wanted_elsewhere(&self, station_id: &StationId) -> Result<BTreeSet<CoilId>, StoreError>;

    /// Lists, newest first.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn list_cut_lists(
        &self,
        filter: &CutListFilter,
        page: &PageRequest,
    ) -> Result<Page<StoredHeader>, StoreError>;

    /// Stores all that a transition changes. The list after it is [`FloorChange::applied_to`] of the list before; the answer gets
    /// its header.
    ///
    /// # Errors
    /// [`StoreError::NotFound`]; [`StoreError::VersionStale`] if `change.header.version` is not one above the list's version;
    /// [`StoreError::StockChanged`] if a guard does not hold, or the list would count on more of a coil than before
    /// although it is not usable or has too little left; [`StoreError::PieceClaimed`]; [`StoreError::StationBusy`] if the change
    /// starts the list while another one runs at its station; [`StoreError::ChangeInconsistent`].
    async fn commit_floor(
        &self,
        ctx: &WriteContext,
        change: FloorChange,
        answer: Answer<StoredHeader>,
    ) -> Result<Written, StoreError>;

    /// Cuts of these serials' pieces, spoiled ones included, in the order of cutting.
    ///
    /// # Errors
    /// Only the general ones.
    async fn cuts_of_serials(&self, serial_ids: &[SerialId]) -> Result<Vec<CutRecord>, StoreError>;

    /// Serials that hold wire of a lot, by serial and wire; spoiled pieces do not count.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`].
    async fn serials_of_lot(&self, lot_id: &LotId, page: &PageRequest)
    -> Result<Page<LotSerial>, StoreError>;

    /// Pieces of these serials that are on lists already: pending, or cut and good; by serial and piece.
    ///
    /// # Errors
    /// Only the general ones.
    async fn claimed_pieces(&self, serial_ids: &[SerialId]) -> Result<Vec<Claim>, StoreError>;
}
