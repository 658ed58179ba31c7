//! The one layer around all routes.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use http::{Request, Response};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use tonic::Status;
use tonic::body::Body;
use tonic::service::Routes;
use tower::{Layer, Service};

use crate::access::Gate;
use crate::admission::{Admission, Client};
use crate::body::{CallLine, EdgeBody, correct_in_place};
use crate::call::{CALL, Call};
use crate::deadline::{Deadline, Until, time_allowed};
use crate::errors::internal;
use crate::listening::Peer;
use crate::panics::caught;

/// What all calls share.
#[derive(Debug)]
pub(crate) struct EdgeRules {
    pub(crate) admission: Admission,
    /// Who may call; none where everyone may.
    pub(crate) gate: Option<Arc<Gate>>,
    pub(crate) default_deadline: Duration,
    pub(crate) longest_deadline: Duration,
    /// Cancelled when the service begins to stop.
    pub(crate) draining: CancellationToken,
}

/// Puts an [`Edge`] around the routes.
#[derive(Debug, Clone)]
pub(crate) struct EdgeLayer(pub(crate) Arc<EdgeRules>);

impl Layer<Routes> for EdgeLayer {
    type Service = Edge;

    fn layer(&self, routes: Routes) -> Edge {
        Edge { routes, rules: Arc::clone(&self.0) }
    }
}

/// The routes with everything that holds for every call.
#[derive(Debug, Clone)]
pub(crate) struct Edge {
    routes: Routes,
    rules: Arc<EdgeRules>,
}

impl Service<Request<Body>> for Edge {
    type Response = Response<EdgeBody>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<EdgeBody>, Infallible>> + Send>>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Service::<Request<Body>>::poll_ready(&mut self.routes, cx)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        // The service that was polled ready must be the one that is called.
        let fresh = self.routes.clone();
        let ready = std::mem::replace(&mut self.routes, fresh);
        // Time counts from here and not from when the answer is first worked on, which on a busy machine is later: the server library
        // sets its own timer in this moment, and answers CANCELLED when it rings.
        Box::pin(answer(ready, Arc::clone(&self.rules), request, Instant::now()))
    }
}

/// Answers one call.
async fn answer(
    routes: Routes,
    rules: Arc<EdgeRules>,
    request: Request<Body>,
    arrived: Instant,
) -> Result<Response<EdgeBody>, Infallible> {
    let call = Call::begin(request.headers());
    let mut line = CallLine {
        call: call.clone(),
        method: request.uri().path().trim_start_matches('/').to_owned(),
        started: arrived,
        code: None,
    };
    let response = CALL.scope(call.clone(), within_rules(routes, &rules, request, arrived)).await;
    let response = response.unwrap_or_else(Status::into_http);
    let (mut parts, body) = response.into_parts();
    parts.headers = correct_in_place(parts.headers, &call);
    // A status in the headers means that nothing follows.
    line.note(&parts.headers);
    let drained = rules.draining.clone().cancelled_owned();
    Ok(Response::from_parts(parts, EdgeBody::new(body, drained, line)))
}

/// Calls the routes within the limits of time and concurrency.
async fn within_rules(
    routes: Routes,
    rules: &EdgeRules,
    request: Request<Body>,
    arrived: Instant,
) -> Result<Response<Body>, Status> {
    let allowed = time_allowed(request.headers(), rules.default_deadline, rules.longest_deadline)?;
    let deadline = Deadline::of_call(arrived, allowed);
    Until::new(deadline, admitted(routes, rules, request, deadline)).await?
}

/// Calls the routes for whoever may call them and finds a place, and turns a panic into INTERNAL.
async fn admitted(
    mut routes: Routes,
    rules: &EdgeRules,
    mut request: Request<Body>,
    deadline: Deadline,
) -> Result<Response<Body>, Status> {
    let path = request.uri().path().to_owned();
    let peer = request.extensions().get::<Peer>().cloned();
    let caller = match &rules.gate {
        None => None,
        Some(gate) => gate.pass(&path, request.headers(), peer.as_ref()).await?,
    };
    let client = Client::of(caller.as_ref(), peer.as_ref());
    let _place = rules.admission.admit(&path, client)?;
    if let Some(caller) = caller {
        request.extensions_mut().insert(caller);
    }
    request.extensions_mut().insert(deadline);
    match caught(routes.call(request)).await {
        Err(panic) => Err(internal(panic)),
        Ok(answered) => answered.map_err(|never| match never {}),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tonic::Code;
    use tonic::codegen::http::HeaderValue;

    /// A service that never answers.
    #[derive(Clone)]
    struct Never;

    impl tonic::server::NamedService for Never {
        const NAME: &'static str = "becket.test.Never";
    }

    impl Service<Request<Body>> for Never {
        type Response = Response<Body>;
        type Error = Infallible;
        type Future = std::future::Pending<Result<Response<Body>, Infallible>>;

        fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
            Poll::Ready(Ok(()))
        }

        fn call(&mut self, _: Request<Body>) -> Self::Future {
            std::future::pending()
        }
    }

    fn edge() -> Edge {
        let rules = EdgeRules {
            admission: Admission::new(8, 8),
            gate: None,
            default_deadline: Duration::from_secs(60),
            longest_deadline: Duration::from_secs(60),
            draining: CancellationToken::new(),
        };
        EdgeLayer(Arc::new(rules)).layer(Routes::new(Never))
    }

    fn request(timeout: &'static str) -> Request<Body> {
        let mut request = Request::new(Body::empty());
        *request.uri_mut() = "/becket.test.Never/Call".parse().unwrap();
        request.headers_mut().insert("grpc-timeout", HeaderValue::from_static(timeout));
        request
    }

    async fn code_with_timeout(timeout: &'static str) -> Code {
        let response = edge().call(request(timeout)).await.unwrap();
        Status::from_header_map(response.headers()).unwrap().code()
    }

    #[tokio::test]
    async fn the_callers_timeout_is_kept() {
        let started = Instant::now();
        assert_eq!(code_with_timeout("200m").await, Code::DeadlineExceeded);
        let elapsed = started.elapsed();
        assert!(elapsed >= Duration::from_millis(190), "{elapsed:?} is before the head start");
        assert!(elapsed < Duration::from_secs(30), "{elapsed:?}");
    }

    /// Found by tests of a slow database: where the answer was first worked on only after a while, the server library's timer rang first.
    #[tokio::test(start_paused = true)]
    async fn time_counts_from_the_call_and_not_from_the_first_look() {
        let mut edge = edge();
        let answer = edge.call(request("1S"));
        tokio::time::advance(Duration::from_millis(995)).await;
        let mut answer = std::pin::pin!(answer);
        // Looked at once, as the timer of the library would, and without a timer of the runtime that could ring in between.
        let looked = std::future::poll_fn(|cx| Poll::Ready(answer.as_mut().poll(cx))).await;
        let Poll::Ready(Ok(response)) = looked else { panic!("not answered at once") };
        let status = Status::from_header_map(response.headers()).unwrap();
        assert_eq!(status.code(), Code::DeadlineExceeded);
    }

    #[tokio::test]
    async fn a_timeout_that_is_none_is_refused() {
        assert_eq!(code_with_timeout("soon").await, Code::InvalidArgument);
    }
}
