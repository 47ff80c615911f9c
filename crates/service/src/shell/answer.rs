//! What every request passes before and after the router.

use std::io;
use std::time::Duration;

use axum::body::Body;
use futures_util::future::BoxFuture;
use http::{Request, Response};
use hyper::body::Incoming;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt as _;
use tracing::Instrument as _;

use crate::error::ServiceError;

use super::Settings;
use super::arriving::Arriving;
use super::body::Watched;
use super::catalogue::Catalogue;
use super::deadline::{self, Deadline};
use super::dialect::Dialect;
use super::host::Hosts;
use super::load::InFlight;
use super::panic::caught;
use super::trace::Call;

/// The router with everything around it.
pub(super) struct Shell {
    router: axum::Router,
    hosts: Hosts,
    catalogue: Catalogue,
    unary_deadline: Duration,
    request_body: Duration,
    in_flight: InFlight,
    shutdown: CancellationToken,
}

impl Shell {
    pub(super) fn new(router: axum::Router, settings: &Settings, shutdown: CancellationToken) -> io::Result<Self> {
        Ok(Self {
            router,
            hosts: Hosts::new(&settings.hosts)?,
            catalogue: Catalogue::read()?,
            unary_deadline: settings.unary_deadline,
            request_body: settings.request_body,
            in_flight: InFlight::new(settings.in_flight),
            shutdown,
        })
    }

    /// Answers one request.
    pub(super) async fn answer(&self, request: Request<Incoming>) -> Response<Body> {
        let mut request = request.map(Body::new);
        let dialect = Dialect::of(&request);
        let call = Call::begin(&mut request);
        let span = call.span();
        let (response, end) = match self.admitted(&mut request, dialect).instrument(span).await {
            Ok(answered) => answered,
            Err(error) => (dialect.refusal(error), None),
        };
        Watched::around(response, dialect, end, call)
    }

    /// The router's answer, and what ends it early if it is a stream.
    async fn admitted(
        &self,
        request: &mut Request<Body>,
        dialect: Dialect,
    ) -> Result<(Response<Body>, Option<BoxFuture<'static, ServiceError>>), ServiceError> {
        self.hosts.check(request)?;
        let streams = dialect == Dialect::Grpc && self.catalogue.streams(request.uri().path());
        let most = if streams { None } else { Some(self.unary_deadline) };
        let deadline = deadline::take(request, most)?;
        let end = if streams {
            self.early_end(request.uri().path(), deadline)
        } else {
            None
        };
        let response = {
            let _admitted = self.in_flight.admit(request.uri().path())?;
            let mut request = std::mem::take(request);
            if !(streams && self.catalogue.takes_stream(request.uri().path())) {
                request = request.map(|body| Arriving::within(body, self.request_body));
            }
            let routed = self.router.clone().oneshot(request);
            let Ok(response) = deadline::within(deadline, caught(routed)).await??;
            response
        };
        Ok((response, end))
    }

    /// A stream ends at its deadline. Streams of services that do not know the token end with it; the others say
    /// themselves how far they have come.
    fn early_end(&self, path: &str, deadline: Option<Deadline>) -> Option<BoxFuture<'static, ServiceError>> {
        let shutdown = self.catalogue.is_foreign(path).then(|| self.shutdown.clone());
        if deadline.is_none() && shutdown.is_none() {
            return None;
        }
        Some(Box::pin(async move {
            let shutting_down = async {
                match shutdown {
                    Some(token) => token.cancelled().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                () = deadline::passed(deadline) => ServiceError::Deadline,
                () = shutting_down => ServiceError::ShuttingDown,
            }
        }))
    }
}
