//! What every write does before its work.

use becket_api::digest::request_digest;
use becket_api::requests::WriteRequest;
use becket_store::{Engine, WriteContext};
use prost::Message;

use crate::clock::Clock;
use crate::context::{CallContext, check_request_id};
use crate::request::{RequestError, decode};

/// How a write begins.
#[derive(Debug)]
pub enum Begun<R> {
    /// The request was answered before; this is the answer.
    Answered(R),
    /// It is new.
    New(WriteContext),
}

/// Checks the request id, takes it out of the request and looks whether the request was answered before.
///
/// A repeat gets its first answer even if the request would be refused by now, so this comes before any other check. With
/// `validate_only` nothing is stored, so nothing can be repeated, and no id is needed.
///
/// # Errors
/// [`RequestError::Fault`] of `request_id`; [`RequestError::Store`], with
/// [`RequestIdReused`](becket_store::StoreError::RequestIdReused) if another request had the id; [`RequestError::Damaged`].
pub async fn begin_write<Q: WriteRequest, R: Message + Default>(
    store: &(impl Engine + ?Sized),
    clock: &dyn Clock,
    call: &CallContext,
    request: &mut Q,
) -> Result<Begun<R>, RequestError> {
    let validate_only = request.validate_only();
    let context = write_context(clock, call, request)?;
    if validate_only {
        return Ok(Begun::New(context));
    }
    match first_answer(store, &context).await? {
        Some(answer) => Ok(Begun::Answered(answer)),
        None => Ok(Begun::New(context)),
    }
}

/// Checks the request id, takes it out of the request, and says who writes what.
///
/// # Errors
/// [`RequestError::Fault`] of `request_id`.
pub fn write_context<Q: WriteRequest>(
    clock: &dyn Clock,
    call: &CallContext,
    request: &mut Q,
) -> Result<WriteContext, RequestError> {
    let request_id = std::mem::take(request.request_id());
    if !(request.validate_only() && request_id.is_empty()) {
        check_request_id(&request_id)?;
    }
    Ok(WriteContext {
        method: Q::METHOD,
        request_id,
        request_digest: request_digest(Q::METHOD, &request.encode_to_vec()),
        actor: call.actor.clone(),
        origin: call.origin.clone(),
        now_us: clock.now_us(),
    })
}

/// The first answer to a request, if it was answered before.
///
/// # Errors
/// As [`begin_write`], without faults.
pub async fn first_answer<R: Message + Default>(
    store: &(impl Engine + ?Sized),
    context: &WriteContext,
) -> Result<Option<R>, RequestError> {
    store.find_answer(context).await?.map(|answer| decode(&answer)).transpose()
}

/// The outcome of a write; of one that was refused, the first answer if there is one by now.
///
/// A request that comes to two replicas at the same moment passes [`begin_write`] at both. One of them does the work, and the other may then find
/// that the work cannot be done (again) and refuse it, although its caller is to get the first answer. So a refusal looks once more. `again` is
/// the request as it came.
///
/// # Errors
/// Those of the write.
pub async fn or_first_answer<Q: WriteRequest, R: Message + Default, E>(
    store: &(impl Engine + ?Sized),
    clock: &dyn Clock,
    call: &CallContext,
    mut again: Q,
    write: impl Future<Output = Result<R, E>>,
) -> Result<R, E> {
    match write.await {
        Ok(answer) => Ok(answer),
        Err(refusal) => match begin_write(store, clock, call, &mut again).await {
            Ok(Begun::Answered(answer)) => Ok(answer),
            _ => Err(refusal),
        },
    }
}
