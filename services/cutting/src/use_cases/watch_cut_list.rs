//! Following a cut list.

use std::sync::Arc;
use std::time::Duration;

use becket_api::convert::{Known, timestamp};
use becket_api::cutting::{CutListChange, CutStep, WatchCutListRequest, WatchCutListResponse};
use becket_floor::{CutList, ListId};
use becket_store::{Entry, Kind, StoreError};
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
/// Changes that one message tells at most.
const MOST_CHANGES: usize = 100;

/// What a watcher gets.
pub(crate) type WatchStream = ReceiverStream<Result<WatchCutListResponse, Status>>;

impl App {
    /// Sends the state of a list at once and whenever it changes, until the list has ended.
    ///
    /// A state is read only when there is room for it, so a reader that is slow gets fewer states, and the latest, and costs
    /// no more memory than another. The changes that led to it are read from the journal, from where the reader stands there; so each is
    /// told once and in order, however slow the reader is and wherever it comes back.
    pub(crate) async fn watch_cut_list(
        self: Arc<Self>,
        request: WatchCutListRequest,
    ) -> Result<WatchStream, UseCaseError> {
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let resumed = match request.resume_token.as_str() {
            "" => None,
            token => Some(self.resumed(&list_id, token)?),
        };
        let listener = self.changes.listen();
        // A list that is not there is an error of the call and not of its stream.
        self.store.cut_list(&list_id).await?;
        let (seen, told) = match resumed {
            Some(Resumed { seen, told: Some(told) }) => (Some(seen), told),
            // Before the first state is read: what comes after this is told as a change.
            other => (other.map(|resumed| resumed.seen), self.store.last_sequence().await?),
        };
        let (sender, receiver) = mpsc::channel(1);
        let watcher = Watcher { app: self, list_id, listener, seen, told, quiet_since: Instant::now() };
        tokio::spawn(watcher.run(sender));
        Ok(ReceiverStream::new(receiver))
    }

    fn resumed(&self, list_id: &ListId, token: &str) -> Result<Resumed, UseCaseError> {
        let cursor = self.tokens.decode(METHOD, list_id.as_str().as_bytes(), token).ok();
        cursor.as_deref().and_then(Resumed::read).ok_or_else(|| {
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
}

/// What a token tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Resumed {
    seen: Seen,
    /// Sequence in the journal up to which changes were told; absent in tokens of servers that did not tell them.
    told: Option<i64>,
}

impl Resumed {
    fn read(cursor: &str) -> Option<Self> {
        let mut parts = cursor.split(' ');
        let (version, left_um) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
        let told = parts.next().map(str::parse).transpose().ok()?;
        parts.next().is_none().then_some(Self { seen: Seen { version, left_um }, told })
    }

    fn cursor(seen: Seen, told: i64) -> String {
        format!("{} {} {told}", seen.version, seen.left_um)
    }
}

struct Watcher {
    app: Arc<App>,
    list_id: ListId,
    listener: ListListener,
    /// The state that the reader has.
    seen: Option<Seen>,
    /// Sequence in the journal up to which the reader was told the list's changes.
    told: i64,
    quiet_since: Instant,
}

impl Watcher {
    /// Runs until the list has ended or nobody reads any more.
    async fn run(mut self, sender: mpsc::Sender<Result<WatchCutListResponse, Status>>) {
        while let Ok(room) = sender.reserve().await {
            let next = match self.look().await {
                Ok((message, next)) => {
                    if let Some(message) = message {
                        room.send(Ok(message));
                    }
                    next
                }
                // Others write; it is looked at again soon.
                Err(StoreError::Busy) => Next::Wait,
                Err(error) => {
                    room.send(Err(UseCaseError::from(error).into()));
                    return;
                }
            };
            match next {
                Next::End => return,
                Next::Look => {}
                Next::Wait => tokio::select! {
                    () = sender.closed() => return,
                    () = self.listener.changed(&self.list_id) => {}
                    () = tokio::time::sleep(LOOK_EVERY) => {}
                },
            }
        }
    }

    /// Looks at the list, and says what is to be sent, if anything, and how it goes on.
    async fn look(&mut self) -> Result<(Option<WatchCutListResponse>, Next), StoreError> {
        // Before the state, so that the state holds every change that is told.
        let mut changes = self.changes_behind(self.told).await?;
        let stored = self.app.store.cut_list_on_floor(&self.list_id, &[]).await?.predicted();
        let list = &stored.list;
        let ended = !list.header.state.is_active();
        if ended && changes.len() < MOST_CHANGES {
            // Nothing changes the list any more, so what is there now is the rest.
            let last = changes.last().map_or(self.told, |entry| entry.sequence);
            changes.extend(self.changes_behind(last).await?);
            changes.truncate(MOST_CHANGES);
        }
        let next = match (changes.len() < MOST_CHANGES, ended) {
            (false, _) => Next::Look,
            (true, false) => Next::Wait,
            (true, true) => Next::End,
        };
        Ok((self.message(list, &changes), next))
    }

    async fn changes_behind(&self, sequence: i64) -> Result<Vec<Entry>, StoreError> {
        let subject = format!("{}/{}", Kind::CutList, self.list_id);
        let limit = u32::try_from(MOST_CHANGES).unwrap_or(u32::MAX);
        self.app.store.entries(sequence, limit, Some(&subject)).await
    }

    /// What is to be sent, if anything.
    fn message(&mut self, list: &CutList, changes: &[Entry]) -> Option<WatchCutListResponse> {
        let seen = Seen::of(list);
        let heartbeat = self.seen == Some(seen) && changes.is_empty();
        if heartbeat && self.quiet_since.elapsed() < HEARTBEAT {
            return None;
        }
        self.seen = Some(seen);
        self.told = changes.last().map_or(self.told, |entry| entry.sequence);
        self.quiet_since = Instant::now();
        let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
        let cursor = Resumed::cursor(seen, self.told);
        Some(WatchCutListResponse {
            state: list.header.state.number(),
            next: list.next().map(CutStep::from),
            pieces_done: count(list.header.pieces_done),
            pieces_pending: count(list.header.pieces_pending),
            resume_token: self.app.tokens.encode(METHOD, self.list_id.as_str().as_bytes(), &cursor),
            heartbeat,
            changes: changes.iter().map(shown).collect(),
        })
    }
}

/// How a watcher goes on.
enum Next {
    /// There is more.
    Look,
    /// Until something changes.
    Wait,
    /// The list has ended and everything is told.
    End,
}

fn shown(entry: &Entry) -> CutListChange {
    CutListChange {
        sequence: entry.sequence,
        change_time: Some(timestamp(entry.entry_us)),
        actor: entry.actor.clone(),
        method: entry.method.clone(),
        list_version: version_after(entry).unwrap_or_default(),
    }
}

/// The version of the list after a change.
fn version_after(entry: &Entry) -> Option<i64> {
    let after: serde_json::Value = serde_json::from_str(entry.after.as_deref()?).ok()?;
    after.get("version")?.as_i64()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cursors_of_earlier_servers_are_read() {
        let seen = Seen { version: 4, left_um: -1 };
        assert_eq!(Resumed::read("4 -1"), Some(Resumed { seen, told: None }));
        assert_eq!(Resumed::read(&Resumed::cursor(seen, 17)), Some(Resumed { seen, told: Some(17) }));
        for bad in ["", "4", "4 x", "4 -1 x", "4 -1 17 1"] {
            assert_eq!(Resumed::read(bad), None, "{bad}");
        }
    }
}
