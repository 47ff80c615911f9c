//! An id for every request, and one line in the log.
//!
//! What went well and fast is told at level debug: a line for each costs more than most answers do. What was refused,
//! failed, was left by its client or took long is told at level info.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use axum::body::Body;
use http::{HeaderMap, HeaderName, HeaderValue, Request, StatusCode, response};
use tonic::Code;
use tracing::Span;
use uuid::Uuid;

static X_REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Answers that take this long are told of even if they went well.
const LONG: Duration = Duration::from_millis(250);

/// Longest id taken over from a client, in bytes.
const MAX_ID_BYTES: usize = 128;

/// The id of a request, from `x-request-id` or fresh; in the request's extensions and in the response's headers. It
/// finds a call in the logs and has nothing to do with the `request_id` of a mutation.
#[derive(Debug, Clone)]
pub struct RequestId(HeaderValue);

impl RequestId {
    fn of(headers: &HeaderMap) -> Self {
        let sent = headers.get(&X_REQUEST_ID).filter(|id| {
            let bytes = id.as_bytes();
            (1..=MAX_ID_BYTES).contains(&bytes.len()) && bytes.iter().all(u8::is_ascii_graphic)
        });
        Self(sent.cloned().unwrap_or_else(fresh))
    }

    /// Its text.
    pub fn as_str(&self) -> &str {
        self.0.to_str().unwrap_or_default()
    }
}

/// A random start and a count: a draw from the system's source for every request would cost more than the rest of this.
fn fresh() -> HeaderValue {
    static START: OnceLock<u64> = OnceLock::new();
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let start = *START.get_or_init(|| Uuid::new_v4().as_u64_pair().0);
    let text = format!("{start:016x}-{:x}", COUNT.fetch_add(1, Ordering::Relaxed));
    HeaderValue::try_from(text).unwrap_or(HeaderValue::from_static("none"))
}

/// A request being answered. It is logged when this is dropped, which is also when its client goes away.
pub(super) struct Call {
    span: Span,
    method: String,
    id: RequestId,
    began: Instant,
    http: Option<StatusCode>,
    grpc: Option<Code>,
    completed: bool,
}

impl Call {
    pub(super) fn begin(request: &mut Request<Body>) -> Self {
        let id = RequestId::of(request.headers());
        let method = wire::violation::bounded(request.uri().path(), 200);
        request.extensions_mut().insert(id.clone());
        let span = tracing::info_span!("request", id = id.as_str(), method);
        Self {
            span,
            method,
            id,
            began: Instant::now(),
            http: None,
            grpc: None,
            completed: false,
        }
    }

    pub(super) fn span(&self) -> Span {
        self.span.clone()
    }

    /// Notes the response head and writes the id into it.
    pub(super) fn answered(&mut self, head: &mut response::Parts) {
        head.headers.insert(X_REQUEST_ID.clone(), self.id.0.clone());
        self.http = Some(head.status);
        self.note_code(&head.headers);
    }

    /// Notes the trailers.
    pub(super) fn ended(&mut self, trailers: &HeaderMap) {
        self.note_code(trailers);
    }

    /// Notes that the whole answer was taken.
    pub(super) fn completed(&mut self) {
        self.completed = true;
    }

    fn went_well(&self) -> bool {
        let fine = match (self.grpc, self.http) {
            (Some(code), _) => code == Code::Ok,
            (None, Some(http)) => http.is_success() || http.is_redirection(),
            (None, None) => false,
        };
        fine && self.completed
    }

    fn note_code(&mut self, headers: &HeaderMap) {
        if let Some(code) = headers.get("grpc-status") {
            self.grpc = Some(Code::from_bytes(code.as_bytes()));
        }
    }
}

impl Drop for Call {
    fn drop(&mut self) {
        let took = self.began.elapsed();
        let quiet = self.went_well() && took < LONG;
        if quiet && !tracing::enabled!(tracing::Level::DEBUG) {
            return;
        }
        let status = match (self.grpc, self.http) {
            (Some(code), _) => format!("{code:?}"),
            (None, Some(http)) => http.as_u16().to_string(),
            (None, None) => "none".to_owned(),
        };
        let duration_ms = took.as_secs_f64() * 1e3;
        let (id, method, completed) = (self.id.as_str(), self.method.as_str(), self.completed);
        if quiet {
            tracing::debug!(parent: None, id, method, status, duration_ms, completed, "request");
        } else {
            tracing::info!(parent: None, id, method, status, duration_ms, completed, "request");
        }
    }
}
