//! Why storage refuses or fails.

use std::fmt;

use becket_floor::{CoilId, CutListState, ListId, PieceId, SerialId, StationId};

use crate::string_store::JobState;

/// A kind of stored thing. It displays as the collection part of the thing's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Wire of the catalogue.
    Wire,
    /// Scale revision; its id is "model/revision".
    Scale,
    /// Job, by its serial.
    Job,
    /// Coil.
    Coil,
    /// Evidence of a coil's length; its id is "coil/number".
    CoilEvidence,
    /// Rule for a wire in stock.
    StockRule,
    /// Station.
    Station,
    /// Cut list.
    CutList,
    /// Winding order.
    WindingOrder,
    /// Receiver of events by HTTP.
    Webhook,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Wire => "wires",
            Self::Scale => "scales",
            Self::Job => "jobs",
            Self::Coil => "coils",
            Self::CoilEvidence => "coilEvidence",
            Self::StockRule => "stockRules",
            Self::Station => "stations",
            Self::CutList => "cutLists",
            Self::WindingOrder => "windingOrders",
            Self::Webhook => "webhooks",
        })
    }
}

/// Why storage refuses or fails. In every case nothing was stored.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The thing is not there.
    #[error("{kind}/{id} is not there")]
    NotFound {
        /// Kind.
        kind: Kind,
        /// Id.
        id: String,
    },
    /// Things with these ids are there already, with other content. Choose other ids, or update them.
    #[error("{kind} {} are there already", .ids.join(", "))]
    AlreadyExists {
        /// Kind.
        kind: Kind,
        /// Ids.
        ids: Vec<String>,
    },
    /// The version is not the current one: read again, decide again.
    #[error("the version of {kind}/{id} is {current} by now")]
    VersionStale {
        /// Kind.
        kind: Kind,
        /// Id.
        id: String,
        /// Current version.
        current: i64,
    },
    /// The request id was used before with another request. Choose a new one.
    #[error("the request id was used before with another request")]
    RequestIdReused,
    /// The request was carried out before, and its first answer is no longer kept. It is not done again: read what is there now.
    #[error(
        "the request was carried out before, in entry {sequence} of the journal, and its answer is no longer kept"
    )]
    AnswerDropped {
        /// Sequence of an entry that the request made.
        sequence: i64,
    },
    /// The scale revision is released and never changes. Make a new revision.
    #[error("scale {id} is released")]
    ScaleReleased {
        /// "model/revision".
        id: String,
    },
    /// The job's state does not allow this.
    #[error("job {serial_id} is {state:?}")]
    JobState {
        /// Serial.
        serial_id: String,
        /// Its state.
        state: JobState,
    },
    /// The serial's set is frozen with another digest.
    #[error("the string set of {serial_id} is frozen with digest {digest}")]
    SetFrozen {
        /// Serial.
        serial_id: String,
        /// Digest of the frozen set.
        digest: String,
    },
    /// The serial is on an order of other serials. Order with the same serials again, or without this one.
    #[error(
        "the wound strings of {serial_id} are on winding order {order_id}, which is for other serials too or instead"
    )]
    WindingOrdered {
        /// Serial.
        serial_id: String,
        /// Order that it is on.
        order_id: String,
    },
    /// The content differs from that of the latest revision, and no reason is given. State why.
    #[error("winding order {order_id} differs from its revision {revision}")]
    WindingReasonMissing {
        /// Order.
        order_id: String,
        /// Latest revision.
        revision: i64,
    },
    /// A coil is no longer as it was when the decision was taken, or has too little left for what was planned. Decide again.
    #[error("coil {coil_id} has changed, or has too little left")]
    StockChanged {
        /// Coil.
        coil_id: CoilId,
    },
    /// Steps of lists that are still to be done name the coil. Re-plan, finish or cancel the lists first.
    #[error("cut lists count on coil {coil_id}")]
    CoilReserved {
        /// Coil.
        coil_id: CoilId,
        /// The lists.
        list_ids: Vec<ListId>,
    },
    /// Another list has the piece, or it is cut. Plan again without it.
    #[error("piece {piece_id} of {serial_id} is on {list_id} already")]
    PieceClaimed {
        /// Serial.
        serial_id: SerialId,
        /// Piece.
        piece_id: PieceId,
        /// List that has it.
        list_id: ListId,
    },
    /// Nothing is mounted on the reel position.
    #[error("reel position {reel_position} of station {station_id} is empty")]
    PositionEmpty {
        /// Station.
        station_id: StationId,
        /// Position, from 1.
        reel_position: u32,
    },
    /// Coils are mounted on reel positions that the station would lose. Take them off first: confirm the steps that do so, or
    /// unmount what a list has left behind.
    #[error("coils are mounted on reel positions {positions:?}")]
    PositionsInUse {
        /// The positions, from 1.
        positions: Vec<u32>,
    },
    /// Another list runs at the station. Finish it first.
    #[error("cut list {running} is running at station {station_id}")]
    StationBusy {
        /// Station.
        station_id: StationId,
        /// List that is running.
        running: ListId,
    },
    /// The list's state does not allow this.
    #[error("cut list {list_id} is {state:?}")]
    ListState {
        /// List.
        list_id: ListId,
        /// Its state.
        state: CutListState,
    },
    /// A text holds a zero byte, which not every engine can keep or look for. Leave it out.
    #[error("a text of the request holds a zero byte, which the store can neither keep nor look for")]
    TextUnstorable,
    /// The cursor of a page is not one of this listing. Begin with the first page.
    #[error("the cursor is not one of this listing")]
    CursorInvalid,
    /// The change does not fit the floor as it is stored: a coil mounted twice, say. A fault of the caller's program.
    #[error("the change does not fit what is stored: {reason}")]
    ChangeInconsistent {
        /// What does not fit.
        reason: String,
    },
    /// Others write at the moment. Try again.
    #[error("the store is busy")]
    Busy,
    /// The store cannot be reached, or cannot write (a full disk, say).
    #[error("the store is unavailable")]
    Unavailable(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// What is stored cannot be understood. The database was changed by other means, or is of a later version.
    #[error("the store holds something that cannot be understood: {what}")]
    Corrupt {
        /// Where and what.
        what: String,
    },
}
