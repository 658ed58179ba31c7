//! Deadlines: the shorter of what the caller states and what the service allows.

use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use becket_api::errors::ErrorReason;
use becket_units::Fault;
use http::HeaderMap;
use pin_project_lite::pin_project;
use tokio::time::{Instant, Sleep, sleep_until};
use tonic::{Request, Status};

use crate::errors::{StatusBuilder, from_faults};

/// Header in which a gRPC caller states how long it waits.
const TIMEOUT_HEADER: &str = "grpc-timeout";

/// The answer is sent this much before the deadline, so that it reaches the caller while it still listens. It
/// also has to come before the server library's own timer, which would answer CANCELLED.
const HEAD_START: Duration = Duration::from_millis(10);

/// The moment by which a call must be answered. Found in the extensions of every request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Deadline {
    at: Instant,
}

impl Deadline {
    /// Builds the deadline that is `timeout` from now.
    pub fn after(timeout: Duration) -> Self {
        Self { at: Instant::now() + timeout }
    }

    /// Builds the deadline of a call that came in at a moment and may take so long.
    pub(crate) fn of_call(arrived: Instant, allowed: Duration) -> Self {
        Self { at: arrived + allowed }
    }

    /// Returns the deadline that the caller of a request states, if it states one. A call that answers with a stream ends
    /// it then; the deadline of the service is only for the beginning of the answer.
    pub fn stated<T>(request: &Request<T>) -> Option<Self> {
        let stated = request.metadata().get(TIMEOUT_HEADER)?.to_str().ok().and_then(parse_timeout)?;
        Some(Self::after(stated.saturating_sub(HEAD_START.min(stated / 4))))
    }

    /// Returns the moment itself.
    pub fn instant(self) -> Instant {
        self.at
    }

    /// Returns how long it is until then; nothing once it has passed.
    pub fn remaining(self) -> Duration {
        self.at.saturating_duration_since(Instant::now())
    }
}

/// Finds how long a call may take until its answer begins: the caller's time-out, or `default` if it states
/// none, but never more than `longest`; less a small head start.
///
/// # Errors
/// INVALID_ARGUMENT if the header is not what the gRPC protocol allows.
pub(crate) fn time_allowed(
    headers: &HeaderMap,
    default: Duration,
    longest: Duration,
) -> Result<Duration, Status> {
    let stated = match headers.get(TIMEOUT_HEADER) {
        None => default,
        Some(value) => match value.to_str().ok().and_then(parse_timeout) {
            Some(timeout) => timeout,
            None => {
                let text = String::from_utf8_lossy(value.as_bytes());
                return Err(from_faults(&[Fault::new(
                    TIMEOUT_HEADER,
                    text,
                    "1 to 8 digits and a unit of H, M, S, m, u, n",
                )]));
            }
        },
    };
    let allowed = stated.min(longest);
    Ok(allowed.saturating_sub(HEAD_START.min(allowed / 4)))
}

pin_project! {
    /// Work that has until a deadline.
    ///
    /// Unlike a time-out of the runtime it looks at the clock whenever the work has been looked at. On a busy machine timers ring late, and
    /// the server library's own timer for the same call, which is due a few milliseconds later, may have rung by then: it must never find
    /// the work unfinished first.
    #[derive(Debug)]
    pub(crate) struct Until<F> {
        #[pin]
        work: F,
        #[pin]
        alarm: Sleep,
    }
}

impl<F> Until<F> {
    pub(crate) fn new(deadline: Deadline, work: F) -> Self {
        Self { work, alarm: sleep_until(deadline.at) }
    }
}

impl<F: Future> Future for Until<F> {
    type Output = Result<F::Output, Status>;

    fn poll(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Self::Output> {
        let mut this = self.project();
        if let Poll::Ready(done) = this.work.poll(cx) {
            return Poll::Ready(Ok(done));
        }
        let rung = this.alarm.as_mut().poll(cx).is_ready();
        if rung || Instant::now() >= this.alarm.deadline() {
            return Poll::Ready(Err(exceeded()));
        }
        Poll::Pending
    }
}

/// The answer to a call whose deadline passed.
pub fn exceeded() -> Status {
    StatusBuilder::new(ErrorReason::Deadline, "the deadline passed before the work was done").build()
}

/// Reads a time-out as the gRPC protocol writes it: up to eight digits and a unit.
fn parse_timeout(text: &str) -> Option<Duration> {
    let unit = text.chars().next_back()?;
    let digits = text.strip_suffix(unit)?;
    if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let count: u64 = digits.parse().ok()?;
    match unit {
        'H' => Some(Duration::from_secs(count * 3600)),
        'M' => Some(Duration::from_secs(count * 60)),
        'S' => Some(Duration::from_secs(count)),
        'm' => Some(Duration::from_millis(count)),
        'u' => Some(Duration::from_micros(count)),
        'n' => Some(Duration::from_nanos(count)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(timeout: &str) -> HeaderMap {
        HeaderMap::from_iter([(http::HeaderName::from_static(TIMEOUT_HEADER), timeout.parse().unwrap())])
    }

    #[test]
    fn every_unit_of_the_protocol() {
        let cases = [
            ("2H", 7_200_000_000_000),
            ("2M", 120_000_000_000),
            ("2S", 2_000_000_000),
            ("2m", 2_000_000),
            ("2u", 2_000),
            ("99999999n", 99_999_999),
        ];
        for (text, nanos) in cases {
            assert_eq!(parse_timeout(text), Some(Duration::from_nanos(nanos)), "{text}");
        }
        for bad in ["", "S", "5", "5s", "-1S", "1.5S", "+1S", "123456789S", "5€"] {
            assert_eq!(parse_timeout(bad), None, "{bad}");
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_stated_deadline_is_that_of_the_stream() {
        let mut request = Request::new(());
        assert_eq!(Deadline::stated(&request), None);
        request.set_timeout(Duration::from_secs(90));
        let stated = Deadline::stated(&request).unwrap();
        assert_eq!(stated.remaining(), Duration::from_millis(89_990));
    }

    #[test]
    fn the_shorter_time_counts_less_the_head_start() {
        let (default, longest) = (Duration::from_secs(10), Duration::from_secs(60));
        let allowed = |headers: HeaderMap| time_allowed(&headers, default, longest).unwrap();
        assert_eq!(allowed(HeaderMap::new()), Duration::from_millis(9_990));
        assert_eq!(allowed(headers("1S")), Duration::from_millis(990));
        assert_eq!(allowed(headers("3H")), Duration::from_millis(59_990));
        assert_eq!(allowed(headers("8m")), Duration::from_millis(6));
        assert!(time_allowed(&headers("soon"), default, longest).is_err());
    }
}
