//! The stream of events.

use std::pin::Pin;
use std::sync::{Arc, OnceLock};
use std::task::{Context, Poll, ready};
use std::time::Duration;

use becket_api::feed::{StartPosition, WatchEventsRequest, WatchEventsResponse};
use becket_store::StoreError;
use becket_units::Fault;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_stream::Stream;
use tonic::Status;

use crate::Feed;
use crate::error::FeedError;
use crate::events::event_of;
use crate::filter::Filter;
use crate::position::Position;
use crate::wake::Wake;

const METHOD: &str = "becket.feed.v1.FeedService/WatchEvents";
/// Entries that are read at once.
const BATCH: u32 = 32;
/// Messages that wait for a reader. With what its connection takes, that is all that a reader who rests costs.
const WAITING: usize = 16;
/// Silence after which a message shows that the stream is alive.
const HEARTBEAT: Duration = Duration::from_secs(15);

impl Feed {
    /// Sends every event behind a position, and then new ones.
    pub(crate) async fn watch_events(
        self: Arc<Self>,
        request: WatchEventsRequest,
    ) -> Result<EventStream, FeedError> {
        let WatchEventsRequest { resume_token, start_position, types, subject_prefix } = request;
        let start = StartPosition::try_from(start_position).ok();
        let mut faults = Vec::new();
        let filter = Filter::read(&types, &subject_prefix).map_err(|found| faults.extend(found)).ok();
        let given = match (resume_token.as_str(), start) {
            ("", Some(start @ (StartPosition::Beginning | StartPosition::Now))) => Some(Ok(start)),
            (token, Some(StartPosition::Unspecified)) if !token.is_empty() => Some(Err(token)),
            _ => {
                let allowed = "BEGINNING or NOW without a resume_token, none with one";
                faults.push(Fault::new("start_position", start_position, allowed));
                None
            }
        };
        let (Some(filter), Some(given)) = (filter, given) else { return Err(FeedError::Faults(faults)) };
        let bound_to = filter.bytes();
        // Before the journal is read, so that nothing falls between.
        let wake = self.wakes.reader();
        let position = match given {
            Ok(start) => Position::start(&*self.store, start, self.oldest_us()).await?,
            Err(token) => self.resumed(&bound_to, token).await?,
        };
        let (sender, receiver) = mpsc::channel(WAITING);
        let end = Arc::new(OnceLock::new());
        let pump = Pump { feed: self, filter, bound_to, position, wake, sender };
        tokio::spawn(pump.run(Arc::clone(&end)));
        Ok(EventStream { receiver, end })
    }

    /// The time from which on events are told, in µs since 1970.
    fn oldest_us(&self) -> i64 {
        let retention_us = i64::try_from(self.settings.retention.as_micros()).unwrap_or(i64::MAX);
        self.clock.now_us().saturating_sub(retention_us)
    }

    async fn resumed(&self, bound_to: &[u8], token: &str) -> Result<Position, FeedError> {
        let cursor = self.tokens.decode(METHOD, bound_to, token).ok();
        let Some(position) = cursor.as_deref().and_then(Position::read) else {
            let allowed = "the token of a message of this feed, with the same types and subject_prefix";
            return Err(FeedError::Faults(vec![Fault::new("resume_token", "this token", allowed)]));
        };
        position.check(&*self.store, self.oldest_us()).await?;
        Ok(position)
    }
}

/// The messages of one call.
#[derive(Debug)]
pub(crate) struct EventStream {
    receiver: mpsc::Receiver<WatchEventsResponse>,
    /// Why there are no more, once the messages that wait are read.
    end: Arc<OnceLock<Status>>,
}

impl Stream for EventStream {
    type Item = Result<WatchEventsResponse, Status>;

    fn poll_next(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let this = self.get_mut();
        match ready!(this.receiver.poll_recv(cx)) {
            Some(message) => Poll::Ready(Some(Ok(message))),
            None => Poll::Ready(this.end.get().cloned().map(Err)),
        }
    }
}

/// Moves events from the journal to one reader.
struct Pump {
    feed: Arc<Feed>,
    filter: Filter,
    bound_to: Vec<u8>,
    position: Position,
    wake: Wake,
    sender: mpsc::Sender<WatchEventsResponse>,
}

/// Why a pump stops.
enum Stop {
    /// Nobody reads any more.
    Left,
    /// The reader is told why.
    Told(FeedError),
}

impl From<FeedError> for Stop {
    fn from(error: FeedError) -> Self {
        Self::Told(error)
    }
}

impl Pump {
    async fn run(mut self, end: Arc<OnceLock<Status>>) {
        if let Err(Stop::Told(error)) = self.pump().await {
            // Set before the sender is dropped, which is what the reader waits for.
            drop(end.set(error.into()));
        }
    }

    async fn pump(&mut self) -> Result<(), Stop> {
        let mut quiet_since = None::<Instant>;
        loop {
            self.wake.about_to_look();
            let sent = self.catch_up().await?;
            if sent {
                quiet_since = None;
            }
            if quiet_since.is_none_or(|since| since.elapsed() >= HEARTBEAT) {
                self.send(None).await?;
                quiet_since = Some(Instant::now());
            }
            tokio::select! {
                () = self.sender.closed() => return Err(Stop::Left),
                () = self.wake.next() => {}
            }
        }
    }

    /// Sends what is there. Returns whether there was an event for this reader.
    async fn catch_up(&mut self) -> Result<bool, Stop> {
        let mut sent = false;
        loop {
            let entries = match self.feed.store.entries(self.position.sequence, BATCH, None).await {
                Ok(entries) => entries,
                // Others write; it is looked at again soon.
                Err(StoreError::Busy) => return Ok(sent),
                Err(error) => return Err(FeedError::from(error).into()),
            };
            let last = entries.len() < BATCH as usize;
            for entry in &entries {
                self.position = Position::behind(entry);
                if let Some(event_type) = self.filter.wants(entry) {
                    let event = event_of(entry, event_type, &self.feed.source).map_err(FeedError::from)?;
                    self.send(Some(event)).await?;
                    sent = true;
                }
            }
            if last {
                return Ok(sent);
            }
        }
    }

    async fn send(&self, event: Option<becket_api::feed::CloudEvent>) -> Result<(), Stop> {
        let patience = self.feed.settings.slow_reader;
        match tokio::time::timeout(patience, self.sender.reserve()).await {
            Ok(Ok(room)) => {
                let token = self.feed.tokens.encode(METHOD, &self.bound_to, &self.position.cursor());
                room.send(WatchEventsResponse { event, resume_token: token });
                Ok(())
            }
            Ok(Err(_)) => Err(Stop::Left),
            Err(_) => Err(FeedError::TooSlow { after_s: patience.as_secs() }.into()),
        }
    }
}
