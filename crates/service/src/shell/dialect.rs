//! How a client expects to be refused.

use axum::body::Body;
use http::header::{CONTENT_TYPE, RETRY_AFTER, X_CONTENT_TYPE_OPTIONS};
use http::{HeaderValue, Request, Response, StatusCode};
use tonic::Status;

use crate::error::ServiceError;

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dialect {
    /// A gRPC client: it reads a status.
    Grpc,
    /// A browser or the like: it reads HTTP.
    Plain,
}

impl Dialect {
    pub(super) fn of<B>(request: &Request<B>) -> Self {
        let content_type = request.headers().get(CONTENT_TYPE).map(HeaderValue::as_bytes);
        if content_type.is_some_and(|value| value.starts_with(b"application/grpc")) {
            Self::Grpc
        } else {
            Self::Plain
        }
    }

    pub(super) fn refusal(self, error: ServiceError) -> Response<Body> {
        match self {
            Self::Grpc => Status::from(error).into_http(),
            Self::Plain => plain(&error),
        }
    }

    /// The answer where nothing is served.
    pub(super) fn unknown(self, path: &str) -> Response<Body> {
        match self {
            Self::Grpc => Status::unimplemented(wire::violation::bounded(path, 200) + " is not served").into_http(),
            Self::Plain => {
                let mut response = text("not found");
                *response.status_mut() = StatusCode::NOT_FOUND;
                response
            }
        }
    }
}

/// Only what the shell itself refuses comes here.
fn plain(error: &ServiceError) -> Response<Body> {
    http_refusal(error, text(error.to_string()))
}

/// An answer that says why something was refused, made one over HTTP: its status, the log's line, when to come back.
pub(crate) fn http_refusal(error: &ServiceError, mut response: Response<Body>) -> Response<Body> {
    if let Some(context) = error.context() {
        tracing::error!(context, "{error}");
    }
    *response.status_mut() = http_status(error);
    if let ServiceError::Overloaded { retry_after } = error {
        let seconds = HeaderValue::from(retry_after.as_secs().max(1));
        response.headers_mut().insert(RETRY_AFTER, seconds);
    }
    response
}

/// The status of an error over HTTP (RFC 9110, 15.5 and 15.6).
fn http_status(error: &ServiceError) -> StatusCode {
    use ServiceError as E;
    match error {
        E::InvalidFields(_) => StatusCode::BAD_REQUEST,
        E::HostRefused { .. } => StatusCode::FORBIDDEN,
        E::NotFound { .. } => StatusCode::NOT_FOUND,
        E::StaleEtag { .. }
        | E::RequestIdReused { .. }
        | E::NameTaken { .. }
        | E::NameTakenByDeleted { .. }
        | E::RunOpen { .. }
        | E::RunClosed { .. }
        | E::Superseded { .. }
        | E::BlockDiffers { .. }
        | E::BlockOutOfOrder { .. }
        | E::RunFull { .. }
        | E::StepOutOfPlace { .. }
        | E::FinishDiffers { .. }
        | E::NotResumable { .. }
        | E::NotAttached { .. }
        | E::NotObeyed { .. }
        | E::NotEnoughShims { .. }
        | E::LotsDiffer { .. }
        | E::StackBuilt { .. }
        | E::StackNotBuilt { .. }
        | E::InUse { .. } => StatusCode::CONFLICT,
        E::Deleted { .. } => StatusCode::GONE,
        E::TooLarge { .. } => StatusCode::PAYLOAD_TOO_LARGE,
        E::NotReducible { .. } | E::NotConverged { .. } => StatusCode::UNPROCESSABLE_ENTITY,
        E::DiskLow => StatusCode::INSUFFICIENT_STORAGE,
        E::Overloaded { .. }
        | E::WatcherTooSlow
        | E::InDoubt
        | E::Deadline
        | E::ShuttingDown
        | E::StoreFailed { .. } => StatusCode::SERVICE_UNAVAILABLE,
        E::DataDamaged { .. } | E::Internal { .. } => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

fn text(line: impl std::fmt::Display) -> Response<Body> {
    let mut response = Response::new(Body::from(format!("{line}\n")));
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8"));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    response
}
