//! The one layer around all routes.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use http::{Request, Response};
use tokio::time::{Instant, timeout};
use tokio_util::sync::CancellationToken;
use tonic::Status;
use tonic::body::Body;
use tonic::service::Routes;
use tower::{Layer, Service};

use crate::access::Gate;
use crate::admission::{Admission, Client};
use crate::body::{CallLine, EdgeBody, correct_in_place};
use crate::call::{CALL, Call};
use crate::deadline::{Deadline, exceeded, time_allowed};
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
        Box::pin(answer(ready, Arc::clone(&self.rules), request))
    }
}

/// Answers one call.
async fn answer(
    routes: Routes,
    rules: Arc<EdgeRules>,
    request: Request<Body>,
) -> Result<Response<EdgeBody>, Infallible> {
    let call = Call::begin(request.headers());
    let mut line = CallLine {
        call: call.clone(),
        method: request.uri().path().trim_start_matches('/').to_owned(),
        started: Instant::now(),
        code: None,
    };
    let response = CALL.scope(call.clone(), within_rules(routes, &rules, request)).await;
    let response = response.unwrap_or_else(Status::into_http);
    let (mut parts, body) = response.into_parts();
    parts.headers = correct_in_place(parts.headers, &call);
    // A status in the headers means that nothing follows.
    line.note(&parts.headers);
    let drained = rules.draining.clone().cancelled_owned();
    Ok(Response::from_parts(parts, EdgeBody::new(body, drained, line)))
}

/// Calls the routes within the limits of concurrency and time, and turns a panic into INTERNAL.
async fn within_rules(
    mut routes: Routes,
    rules: &EdgeRules,
    mut request: Request<Body>,
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
    let allowed = time_allowed(request.headers(), rules.default_deadline, rules.longest_deadline)?;
    request.extensions_mut().insert(Deadline::after(allowed));
    match timeout(allowed, caught(routes.call(request))).await {
        Err(_) => Err(exceeded()),
        Ok(Err(panic)) => Err(internal(panic)),
        Ok(Ok(answered)) => answered.map_err(|never| match never {}),
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

    async fn code_with_timeout(timeout: &'static str) -> Code {
        let rules = EdgeRules {
            admission: Admission::new(8, 8),
            gate: None,
            default_deadline: Duration::from_secs(60),
            longest_deadline: Duration::from_secs(60),
            draining: CancellationToken::new(),
        };
        let mut edge = EdgeLayer(Arc::new(rules)).layer(Routes::new(Never));
        let mut request = Request::new(Body::empty());
        *request.uri_mut() = "/becket.test.Never/Call".parse().unwrap();
        request.headers_mut().insert("grpc-timeout", HeaderValue::from_static(timeout));
        let response = edge.call(request).await.unwrap();
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

    #[tokio::test]
    async fn a_timeout_that_is_none_is_refused() {
        assert_eq!(code_with_timeout("soon").await, Code::InvalidArgument);
    }
}
