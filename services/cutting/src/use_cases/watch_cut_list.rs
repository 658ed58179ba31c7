//! Following a cut list.

use std::sync::Arc;
use std::time::Duration;

use becket_api::convert::Known;
use becket_api::cutting::{CutStep, WatchCutListRequest, WatchCutListResponse};
use becket_floor::{CutList, ListId};
use becket_store::StoreError;
use becket_units::Fault;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;

use crate::app::App;
use crate::changes::ListListener;
use crate::error::UseCaseError;
use crate::ids::id;

const METHOD: &str = "becket.cutting.v1.CutListService/WatchCutList";
/// A change that another process made is seen after this time at the latest.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Silence after which a message shows that the stream is alive.
const HEARTBEAT: Duration = Duration::from_secs(15);

/// What a watcher gets.
pub(crate) type WatchStream = ReceiverStream<Result<WatchCutListResponse, Status>>;

impl App {
    /// Sends the state of a list at once and whenever it changes, until the list has ended.
    ///
    /// A state is read only when there is room for it, so a reader that is slow gets fewer states, and the latest, and costs
    /// no more memory than another.
    pub(crate) async fn watch_cut_list(
        self: Arc<Self>,
        request: WatchCutListRequest,
    ) -> Result<WatchStream, UseCaseError> {
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let seen = match request.resume_token.as_str() {
            "" => None,
            token => Some(self.seen_by(&list_id, token)?),
        };
        let listener = self.changes.listen();
        // A list that is not there is an error of the call and not of its stream.
        self.store.cut_list(&list_id).await?;
        let (sender, receiver) = mpsc::channel(1);
        let watcher = Watcher { app: self, list_id, listener, seen, quiet_since: Instant::now() };
        tokio::spawn(watcher.run(sender));
        Ok(ReceiverStream::new(receiver))
    }

    fn seen_by(&self, list_id: &ListId, token: &str) -> Result<Seen, UseCaseError> {
        let cursor = self.tokens.decode(METHOD, list_id.as_str().as_bytes(), token).ok();
        cursor.as_deref().and_then(Seen::read).ok_or_else(|| {
            Fault::new("resume_token", "this token", "empty, or the token of a message about this list")
                .into()
        })
    }
}

/// What a reader has seen of a list. A weighing of the coil, or a cut of another list from it, changes what the next step will
/// leave and not the list's version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Seen {
    version: i64,
    /// What the next step will leave, in µm; -1 if none is pending.
    left_um: i64,
}

impl Seen {
    fn of(list: &CutList) -> Self {
        let left_um = list.next().map_or(-1, |step| step.remaining_after.get());
        Self { version: list.header.version, left_um }
    }

    fn read(cursor: &str) -> Option<Self> {
        let (version, left_um) = cursor.split_once(' ')?;
        Some(Self { version: version.parse().ok()?, left_um: left_um.parse().ok()? })
    }

    fn cursor(self) -> String {
        format!("{} {}", self.version, self.left_um)
    }
}

struct Watcher {
    app: Arc<App>,
    list_id: ListId,
    listener: ListListener,
    /// The state that the reader has.
    seen: Option<Seen>,
    quiet_since: Instant,
}

impl Watcher {
    /// Runs until the list has ended or nobody reads any more.
    async fn run(mut self, sender: mpsc::Sender<Result<WatchCutListResponse, Status>>) {
        while let Ok(room) = sender.reserve().await {
            match self.app.store.cut_list_on_floor(&self.list_id, &[]).await {
                Ok(floor) => {
                    let stored = floor.predicted();
                    let ended = !stored.list.header.state.is_active();
                    if let Some(message) = self.message(&stored.list) {
                        room.send(Ok(message));
                    }
                    if ended {
                        return;
                    }
                }
                // Others write; it is looked at again soon.
                Err(StoreError::Busy) => {}
                Err(error) => {
                    room.send(Err(UseCaseError::from(error).into()));
                    return;
                }
            }
            tokio::select! {
                () = sender.closed() => return,
                () = self.listener.changed(&self.list_id) => {}
                () = tokio::time::sleep(LOOK_EVERY) => {}
            }
        }
    }

    /// What is to be sent, if anything.
    fn message(&mut self, list: &CutList) -> Option<WatchCutListResponse> {
        let seen = Seen::of(list);
        let heartbeat = self.seen == Some(seen);
        if heartbeat && self.quiet_since.elapsed() < HEARTBEAT {
            return None;
        }
        self.seen = Some(seen);
        self.quiet_since = Instant::now();
        let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
        Some(WatchCutListResponse {
            state: list.header.state.number(),
            next: list.next().map(CutStep::from),
            pieces_done: count(list.header.pieces_done),
            pieces_pending: count(list.header.pieces_pending),
            resume_token: self.app.tokens.encode(METHOD, self.list_id.as_str().as_bytes(), &seen.cursor()),
            heartbeat,
        })
    }
}
