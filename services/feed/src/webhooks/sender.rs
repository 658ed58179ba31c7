//! One replica tells the receivers: whoever holds the lease.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use becket_store::{Outdated, PageRequest, StoreError, StoredWebhook};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::Instant;

use super::Teller;
use super::course::Course;
use crate::wake::Wake;

/// How long the lease lasts. A replica that dies is replaced after this time at the latest.
const LEASE: Duration = Duration::from_secs(10);
/// How often it is renewed.
const RENEW: Duration = Duration::from_secs(3);
/// Receivers that are read at once.
const PAGE: u32 = 500;
/// How often is looked for letters that need no longer be kept, how many are dropped at once, and how many of the newest are kept whatever the
/// clock says.
const SWEEP_EVERY: Duration = Duration::from_secs(60);
const SWEPT_AT_ONCE: u32 = 500;
const NEWEST_KEPT: u32 = 1000;

/// The task of this replica that tells receivers while it holds the lease. It ends when this is dropped.
pub(crate) struct Sender(JoinHandle<()>);

impl Sender {
    pub(crate) fn start(teller: Teller, wake: Wake) -> Self {
        Self(tokio::spawn(run(Arc::new(teller), wake)))
    }
}

impl Drop for Sender {
    fn drop(&mut self) {
        self.0.abort();
    }
}

async fn run(teller: Arc<Teller>, mut wake: Wake) {
    loop {
        match take(&teller).await {
            Ok(Some(fence)) => Lead::new(Arc::clone(&teller), fence).run(&mut wake).await,
            Ok(None) => {}
            Err(error) => tracing::debug!(%error, "it is not known which replica tells receivers"),
        }
        tokio::time::sleep(RENEW).await;
    }
}

async fn take(teller: &Teller) -> Result<Option<i64>, StoreError> {
    let ttl_us = i64::try_from(LEASE.as_micros()).unwrap_or(i64::MAX);
    teller.store.take_lease(&teller.holder, teller.clock.now_us(), ttl_us).await
}

/// The time during which this replica holds the lease.
struct Lead {
    teller: Arc<Teller>,
    fence: i64,
    /// When the lease was last taken or kept, by the clock of this process, which never jumps.
    kept: Instant,
    swept: Instant,
    courses: JoinSet<(String, i64)>,
    /// Receivers that are being told, and up to where the others were looked at.
    busy: HashMap<String, Option<i64>>,
}

impl Lead {
    fn new(teller: Arc<Teller>, fence: i64) -> Self {
        let now = Instant::now();
        Self { teller, fence, kept: now, swept: now, courses: JoinSet::new(), busy: HashMap::new() }
    }

    /// Tells until the lease is lost. What is under way then is given up; another replica may be telling the same by now.
    async fn run(mut self, wake: &mut Wake) {
        loop {
            wake.about_to_look();
            if let Err(error) = self.start_courses().await {
                tracing::debug!(%error, "receivers are told later");
            }
            tokio::select! {
                () = wake.next() => {}
                Some(ended) = self.courses.join_next() => match ended {
                    Ok((webhook_id, position)) => drop(self.busy.insert(webhook_id, Some(position))),
                    // A course that panicked does not say which it was; all begin anew.
                    Err(error) => {
                        tracing::error!(%error, "telling a receiver failed");
                        return;
                    }
                },
                () = tokio::time::sleep_until(self.kept + RENEW) => {}
            }
            if self.kept.elapsed() >= RENEW && !self.keep().await {
                return;
            }
            if self.swept.elapsed() >= SWEEP_EVERY {
                self.sweep().await;
            }
        }
    }

    /// Keeps the lease. Returns whether it is still this replica's.
    async fn keep(&mut self) -> bool {
        let begun = Instant::now();
        match take(&self.teller).await {
            Ok(Some(fence)) if fence == self.fence => {
                self.kept = begun;
                true
            }
            Ok(_) => false,
            Err(error) => {
                tracing::debug!(%error, "the lease could not be kept yet");
                // Not asked again at once.
                tokio::time::sleep(RENEW / 6).await;
                self.kept.elapsed() < LEASE
            }
        }
    }

    /// Drops old letters, if they are not kept for ever.
    async fn sweep(&mut self) {
        self.swept = Instant::now();
        let Some(kept) = self.teller.settings.letter_retention else { return };
        let kept_us = i64::try_from(kept.as_micros()).unwrap_or(i64::MAX);
        let now_us = self.teller.clock.now_us();
        let old = Outdated { now_us, kept_us, newest_kept: NEWEST_KEPT, most: SWEPT_AT_ONCE };
        match self.teller.store.drop_letters(self.fence, &old).await {
            Ok(0) => {}
            Ok(dropped) => tracing::warn!(dropped, "events that were laid aside are no longer kept"),
            Err(error) => tracing::debug!(%error, "old letters are dropped later"),
        }
    }

    /// Begins to tell every receiver for which there is something and who is not being told.
    async fn start_courses(&mut self) -> Result<(), StoreError> {
        let mut page = PageRequest { after: None, limit: PAGE };
        let mut last = None;
        loop {
            let found = self.teller.store.list_webhooks(&page).await?;
            for stored in found.items {
                if stored.gone {
                    continue;
                }
                let last = match last {
                    Some(last) => last,
                    None => *last.insert(self.teller.store.last_sequence().await?),
                };
                self.start_course(stored, last);
            }
            match found.next {
                Some(next) => page.after = Some(next),
                None => return Ok(()),
            }
        }
    }

    fn start_course(&mut self, stored: StoredWebhook, last: i64) {
        let noted = stored.progress.told_sequence;
        let position = match self.busy.get(&stored.webhook.webhook_id) {
            Some(None) => return,
            // What it does not want is not noted each time.
            Some(Some(looked_at)) => noted.max(*looked_at),
            None => noted,
        };
        if position >= last && stored.queued == 0 {
            return;
        }
        self.busy.insert(stored.webhook.webhook_id.clone(), None);
        let course = Course { teller: Arc::clone(&self.teller), fence: self.fence, stored, position };
        self.courses.spawn(course.run());
    }
}
