//! Telling one receiver, event by event.

use std::sync::Arc;
use std::time::Duration;

use becket_api::cloud_event::to_json;
use becket_store::{DeadLetter, Entry, Outcome, PageRequest, StoreError, StoredWebhook, WebhookProgress};
use http::StatusCode;

use super::Teller;
use super::pause::pause;
use super::signature::sign;
use super::target::Target;
use crate::events::event_of;
use crate::filter::Filter;

/// Entries that are read at once.
const BATCH: u32 = 32;
/// Letters that are read at once.
const LETTERS: u32 = 100;
/// Entries that a receiver does not want are noted as done after so many; fewer are read again by whoever takes over.
const NOTE_SKIPPED: i64 = 500;
/// Longest reason that is kept, in characters.
const LONGEST_REASON: usize = 200;

/// One receiver.
pub(super) struct Course {
    pub(super) teller: Arc<Teller>,
    pub(super) fence: i64,
    pub(super) stored: StoredWebhook,
    /// Up to here everything was looked at; at or behind what is noted.
    pub(super) position: i64,
}

/// How a course ends before it has told everything.
pub(super) enum Stop {
    /// Another replica tells now, or the receiver is removed or gone.
    Over,
    /// The database does not answer.
    Store(StoreError),
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

/// What came of one attempt.
enum Attempt {
    Told,
    Gone,
    Failed { why: String, asked: Option<Duration> },
}

impl Course {
    /// Tells everything that there is. Returns the receiver and up to where everything was looked at.
    pub(super) async fn run(mut self) -> (String, i64) {
        match self.tell_all().await {
            Ok(()) | Err(Stop::Over) => {}
            Err(Stop::Store(error)) => {
                tracing::debug!(%error, webhook_id = self.id(), "a receiver is told later");
            }
        }
        (self.stored.webhook.webhook_id, self.position)
    }

    fn id(&self) -> &str {
        &self.stored.webhook.webhook_id
    }

    async fn tell_all(&mut self) -> Result<(), Stop> {
        let (url, types) = (&self.stored.webhook.url, &self.stored.webhook.types);
        let filter = Filter::read(types, &self.stored.webhook.subject_prefix);
        // Both were checked when they were stored.
        let (Some(target), Ok(filter)) = (Target::read(url), filter) else { return Err(Stop::Over) };
        self.tell_letters(&target).await?;
        loop {
            let entries = self.teller.store.entries(self.position, BATCH, None).await?;
            let last = entries.len() < BATCH as usize;
            for entry in &entries {
                if filter.wants(entry).is_some() {
                    self.tell(&target, entry).await?;
                }
                self.position = entry.sequence;
            }
            if self.position - self.stored.progress.told_sequence >= NOTE_SKIPPED {
                self.note(|course| Outcome::Progress(course.behind(course.position))).await?;
            }
            if last {
                return Ok(());
            }
        }
    }

    /// Progress up to an entry, with nothing left open.
    fn behind(&self, sequence: i64) -> WebhookProgress {
        WebhookProgress { told_sequence: sequence, ..WebhookProgress::default() }
    }

    /// Tries an event until it is told or laid aside.
    async fn tell(&mut self, target: &Target, entry: &Entry) -> Result<(), Stop> {
        self.wait_until_due().await;
        loop {
            let failed = match self.attempt(target, entry).await {
                Attempt::Told => return self.note(|c| Outcome::Progress(c.behind(entry.sequence))).await,
                Attempt::Gone => {
                    let gone_us = self.teller.clock.now_us();
                    self.note(|c| Outcome::Gone { progress: c.behind(entry.sequence), gone_us }).await?;
                    tracing::warn!(webhook_id = self.id(), "a receiver is gone and is not told any more");
                    return Err(Stop::Over);
                }
                Attempt::Failed { why, asked } => (why, asked),
            };
            let (why, asked) = failed;
            let attempts = self.stored.progress.attempts.saturating_add(1);
            let settings = &self.teller.settings;
            if attempts >= i64::from(settings.attempts) {
                let letter = self.letter(entry.sequence, attempts, why);
                tracing::warn!(webhook_id = self.id(), sequence = entry.sequence, "an event is laid aside");
                return self.note(|c| Outcome::LaidAside(c.behind(entry.sequence), letter)).await;
            }
            let wait = pause(settings, self.id(), entry.sequence, attempts, asked);
            let wait_us = i64::try_from(wait.as_micros()).unwrap_or(i64::MAX);
            let next_us = self.teller.clock.now_us().saturating_add(wait_us);
            let told_sequence = self.stored.progress.told_sequence;
            let progress = WebhookProgress { told_sequence, attempts, next_us, last_error: why };
            self.note(|_| Outcome::Progress(progress)).await?;
            tokio::time::sleep(wait).await;
        }
    }

    /// Waits for the pause that another replica, or this one before it ended, has begun. One that is longer than any can be is of before a clock
    /// jumped.
    async fn wait_until_due(&self) {
        let left_us = self.stored.progress.next_us.saturating_sub(self.teller.clock.now_us());
        let left = Duration::from_micros(u64::try_from(left_us).unwrap_or(0));
        if self.stored.progress.attempts > 0 && left <= self.teller.settings.longest_pause {
            tokio::time::sleep(left).await;
        }
    }

    /// Sends letters again that are to be, once each.
    async fn tell_letters(&mut self, target: &Target) -> Result<(), Stop> {
        if self.stored.queued == 0 {
            return Ok(());
        }
        let page = PageRequest { after: None, limit: LETTERS };
        let letters = self.teller.store.list_letters(self.id(), true, &page).await?.items;
        for letter in letters {
            let entries = self.teller.store.entries(letter.sequence.saturating_sub(1), 1, None).await?;
            let attempt = match entries.first() {
                Some(entry) => self.attempt(target, entry).await,
                None => Attempt::Failed { why: "its entry is not in the journal".to_owned(), asked: None },
            };
            let outcome = match attempt {
                Attempt::Told => Outcome::LetterTold { sequence: letter.sequence },
                Attempt::Gone => Outcome::Gone {
                    progress: self.stored.progress.clone(),
                    gone_us: self.teller.clock.now_us(),
                },
                Attempt::Failed { why, .. } => Outcome::LetterFailed(self.letter(
                    letter.sequence,
                    letter.attempts.saturating_add(1),
                    why,
                )),
            };
            let gone = matches!(outcome, Outcome::Gone { .. });
            self.note(|_| outcome).await?;
            if gone {
                return Err(Stop::Over);
            }
        }
        Ok(())
    }

    fn letter(&self, sequence: i64, attempts: i64, last_error: String) -> DeadLetter {
        DeadLetter { sequence, queued: false, attempts, failed_us: self.teller.clock.now_us(), last_error }
    }

    /// Notes an outcome, and remembers the progress that it holds.
    async fn note(&mut self, outcome: impl FnOnce(&Self) -> Outcome) -> Result<(), Stop> {
        let outcome = outcome(self);
        let from = self.stored.progress.told_sequence;
        if !self.teller.store.note_outcome(self.fence, self.id(), from, &outcome).await? {
            return Err(Stop::Over);
        }
        if let Outcome::Progress(progress) | Outcome::LaidAside(progress, _) = outcome {
            self.stored.progress = progress;
        }
        Ok(())
    }

    async fn attempt(&self, target: &Target, entry: &Entry) -> Attempt {
        let teller = &self.teller;
        let failed =
            |why: String| Attempt::Failed { why: why.chars().take(LONGEST_REASON).collect(), asked: None };
        let Some(event_type) = crate::events::type_of(entry) else {
            return failed("its entry is none that is told".to_owned());
        };
        let event = match event_of(entry, event_type, &teller.source) {
            Ok(event) => event,
            Err(error) => return failed(error.to_string()),
        };
        let body = to_json(&event).to_string().into_bytes();
        let unix_s = teller.clock.now_us().div_euclid(1_000_000);
        let signature = sign(&self.stored.webhook.secret.0, unix_s, &body);
        match teller.poster.post(target, &signature, body).await {
            Ok(reply) if reply.status.is_success() => Attempt::Told,
            Ok(reply) if reply.status == StatusCode::GONE => Attempt::Gone,
            Ok(reply) => Attempt::Failed {
                why: format!("answered {}", reply.status.as_u16()),
                asked: reply.retry_after,
            },
            Err(why) => failed(why),
        }
    }
}
