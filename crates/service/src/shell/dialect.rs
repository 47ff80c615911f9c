//! How a client expects to be refused.

use axum::body::Body;
use http::header::{CONTENT_TYPE, RETRY_AFTER};
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
            Self::Plain => text(StatusCode::NOT_FOUND, "not found"),
        }
    }
}

/// Only what the shell itself refuses comes here.
fn plain(error: &ServiceError) -> Response<Body> {
    if let Some(context) = error.context() {
        tracing::error!(context, "{error}");
    }
    let status = match error {
        ServiceError::HostRefused { .. } => StatusCode::FORBIDDEN,
        ServiceError::InvalidFields(_) => StatusCode::BAD_REQUEST,
        ServiceError::Overloaded { .. } | ServiceError::Deadline | ServiceError::ShuttingDown => {
            StatusCode::SERVICE_UNAVAILABLE
        }
        _ => StatusCode::INTERNAL_SERVER_ERROR,
    };
    let mut response = text(status, &error.to_string());
    if let ServiceError::Overloaded { retry_after } = error {
        let seconds = HeaderValue::from(retry_after.as_secs().max(1));
        response.headers_mut().insert(RETRY_AFTER, seconds);
    }
    response
}

fn text(status: StatusCode, line: &str) -> Response<Body> {
    let mut response = Response::new(Body::from(format!("{line}\n")));
    *response.status_mut() = status;
    response
        .headers_mut()
        .insert(CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8"));
    response
}
