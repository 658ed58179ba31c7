//! The body of an answer: ends streams at shutdown, corrects the code in its trailers and logs the call when
//! it ends.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::Pin;
use std::task::{Context, Poll};

use becket_api::errors::ErrorReason;
use http::{HeaderMap, HeaderValue};
use http_body::{Body, Frame, SizeHint};
use pin_project_lite::pin_project;
use tokio::time::Instant;
use tokio_util::sync::WaitForCancellationFutureOwned;
use tonic::codegen::Bytes;
use tonic::{Code, Status};

use crate::call::{CALL, Call};
use crate::codes::corrected;
use crate::errors::{StatusBuilder, internal};
use crate::panics::panic_text;

/// Writes the one line of a call when it is dropped, so that a call that its caller gives up is logged too.
pub(crate) struct CallLine {
    pub(crate) call: Call,
    pub(crate) method: String,
    pub(crate) started: Instant,
    /// Set once the call has ended with a code.
    pub(crate) code: Option<Code>,
}

impl CallLine {
    /// Takes the code from headers or trailers.
    pub(crate) fn note(&mut self, headers: &HeaderMap) {
        if let Some(status) = Status::from_header_map(headers) {
            self.code = Some(status.code());
        }
    }
}

impl Drop for CallLine {
    fn drop(&mut self) {
        // A body without trailers that is given up by its caller has no code.
        let code = self.code.unwrap_or(Code::Cancelled);
        let elapsed_us = u64::try_from(self.started.elapsed().as_micros()).unwrap_or(u64::MAX);
        // Divided only for display; µs below 2^53 are exact.
        #[expect(clippy::cast_precision_loss, reason = "a duration for display")]
        let ms = elapsed_us as f64 / 1000.0;
        let request_id = self.call.request_id.get().map_or("", String::as_str);
        tracing::info!(method = %self.method, code = ?code, ms, call_id = %self.call.id, request_id, "call");
    }
}

pin_project! {
    /// The body of an answer of tonic, watched.
    pub(crate) struct EdgeBody {
        #[pin]
        inner: tonic::body::Body,
        #[pin]
        drained: WaitForCancellationFutureOwned,
        line: CallLine,
        ended: bool,
    }
}

impl EdgeBody {
    pub(crate) fn new(
        inner: tonic::body::Body,
        drained: WaitForCancellationFutureOwned,
        line: CallLine,
    ) -> Self {
        Self { inner, drained, line, ended: false }
    }
}

impl Body for EdgeBody {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let mut this = self.project();
        if *this.ended {
            return Poll::Ready(None);
        }
        let call = this.line.call.clone();
        let inner = this.inner.as_mut();
        let polled = CALL.sync_scope(call, || catch_unwind(AssertUnwindSafe(|| inner.poll_frame(cx))));
        let frame = match polled {
            Ok(Poll::Ready(frame)) => frame,
            Ok(Poll::Pending) => {
                // Only a body that waits for news is cut off; one that has something to send is never
                // pending.
                if this.drained.poll(cx).is_pending() {
                    return Poll::Pending;
                }
                let status = StatusBuilder::new(ErrorReason::Overloaded, "the service is stopping").build();
                return end_with(&status, this.ended, this.line);
            }
            Err(payload) => {
                let status =
                    CALL.sync_scope(this.line.call.clone(), || internal(panic_text(payload.as_ref())));
                return end_with(&status, this.ended, this.line);
            }
        };
        match frame {
            Some(Ok(frame)) => match frame.into_trailers() {
                Ok(trailers) => {
                    *this.ended = true;
                    let trailers = correct_in_place(trailers, &this.line.call);
                    this.line.note(&trailers);
                    Poll::Ready(Some(Ok(Frame::trailers(trailers))))
                }
                Err(frame) => Poll::Ready(Some(Ok(frame))),
            },
            Some(Err(error)) => {
                this.line.code = Some(error.code());
                Poll::Ready(Some(Err(error)))
            }
            None => {
                *this.ended = true;
                Poll::Ready(None)
            }
        }
    }

    fn is_end_stream(&self) -> bool {
        self.ended || self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

/// Ends a body with a status.
fn end_with(
    status: &Status,
    ended: &mut bool,
    line: &mut CallLine,
) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
    *ended = true;
    line.code = Some(status.code());
    Poll::Ready(Some(Ok(Frame::trailers(trailers_of(status)))))
}

/// Replaces the status in headers or trailers if it needs correction.
pub(crate) fn correct_in_place(mut headers: HeaderMap, call: &Call) -> HeaderMap {
    if let Some(status) = CALL.sync_scope(call.clone(), || corrected(&headers)) {
        for (name, value) in trailers_of(&status) {
            if let Some(name) = name {
                headers.insert(name, value);
            }
        }
    }
    headers
}

/// A status as trailers.
fn trailers_of(status: &Status) -> HeaderMap {
    let mut trailers = HeaderMap::new();
    if status.add_header(&mut trailers).is_err() {
        // Only a text that is no header value fails, and the library escapes texts; the code alone still
        // tells the truth.
        trailers.insert("grpc-status", HeaderValue::from(status.code() as i32));
    }
    trailers
}
