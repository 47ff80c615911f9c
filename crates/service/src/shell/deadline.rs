//! Deadlines: the client's `grpc-timeout` and the server's own.
//!
//! The header is taken off the request: the deadline is answered here, as DEADLINE_EXCEEDED, and nowhere else.

use std::time::Duration;

use axum::body::Body;
use http::{HeaderMap, Request};
use tokio::time::Instant;
use wire::v1::ViolationReason;
use wire::violation::Violations;

use crate::error::ServiceError;

const GRPC_TIMEOUT: &str = "grpc-timeout";

/// When the call ends at the latest; in the request's extensions, so that long work can stop by itself. Work that
/// blocks a thread is not stopped from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Deadline(pub Instant);

/// Takes the deadline off the request: the client's, but not later than `most` from now.
pub(super) fn take(request: &mut Request<Body>, most: Option<Duration>) -> Result<Option<Deadline>, ServiceError> {
    let asked = read(request.headers())?;
    request.headers_mut().remove(GRPC_TIMEOUT);
    let timeout = match (asked, most) {
        (Some(asked), Some(most)) => Some(asked.min(most)),
        (asked, most) => asked.or(most),
    };
    // One beyond what the clock can show is no deadline.
    let deadline = timeout
        .and_then(|timeout| Instant::now().checked_add(timeout))
        .map(Deadline);
    if let Some(deadline) = deadline {
        request.extensions_mut().insert(deadline);
    }
    Ok(deadline)
}

/// What the work gives, or DEADLINE.
pub(super) async fn within<F: Future>(deadline: Option<Deadline>, work: F) -> Result<F::Output, ServiceError> {
    match deadline {
        Some(Deadline(at)) => tokio::time::timeout_at(at, work)
            .await
            .map_err(|_| ServiceError::Deadline),
        None => Ok(work.await),
    }
}

/// Waits for the deadline; for ever without one.
pub(super) async fn passed(deadline: Option<Deadline>) {
    match deadline {
        Some(Deadline(at)) => tokio::time::sleep_until(at).await,
        None => std::future::pending().await,
    }
}

/// The client's timeout. One that cannot be read is refused: to ignore it would let a call run that its client has
/// long given up.
fn read(headers: &HeaderMap) -> Result<Option<Duration>, ServiceError> {
    let Some(value) = headers.get(GRPC_TIMEOUT) else {
        return Ok(None);
    };
    if let Some(timeout) = value.to_str().ok().and_then(parse) {
        return Ok(Some(timeout));
    }
    let mut violations = Violations::new();
    let allowed = "grpc-timeout is not 1 to 8 digits and one of H M S m u n";
    violations.at(GRPC_TIMEOUT).push(ViolationReason::OutOfRange, allowed);
    violations.finish()?;
    Ok(None)
}

/// The text form of the gRPC protocol (doc/PROTOCOL-HTTP2.md of grpc): 1 to 8 digits, then a unit.
fn parse(text: &str) -> Option<Duration> {
    let digits = text.get(..text.len().checked_sub(1)?)?;
    if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let count: u64 = digits.parse().ok()?;
    match text.get(digits.len()..)? {
        "H" => Some(Duration::from_secs(count * 3600)),
        "M" => Some(Duration::from_secs(count * 60)),
        "S" => Some(Duration::from_secs(count)),
        "m" => Some(Duration::from_millis(count)),
        "u" => Some(Duration::from_micros(count)),
        "n" => Some(Duration::from_nanos(count)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timeout_reads_as_the_protocol_writes_it() {
        let second = Duration::from_secs(1);
        assert_eq!(parse("2H"), Some(second * 7200));
        assert_eq!(parse("2M"), Some(second * 120));
        assert_eq!(parse("1S"), Some(second));
        assert_eq!(parse("1000m"), Some(second));
        assert_eq!(parse("1000000u"), Some(second));
        assert_eq!(parse("99999999n"), Some(Duration::from_nanos(99_999_999)));
        for wrong in ["", "1", "S", "+1S", "-1S", "123456789S", "1s", "1é", "1 S"] {
            assert_eq!(parse(wrong), None, "{wrong:?}");
        }
    }

    #[tokio::test]
    async fn server_shortens_but_never_lengthens_what_the_client_asks() {
        let most = Some(Duration::from_secs(30));
        let left = |asked: &str, most| {
            let mut request = Request::builder()
                .header(GRPC_TIMEOUT, asked)
                .body(Body::empty())
                .unwrap();
            let deadline = take(&mut request, most).unwrap();
            assert!(!request.headers().contains_key(GRPC_TIMEOUT));
            assert_eq!(request.extensions().get::<Deadline>().copied(), deadline);
            deadline.map(|Deadline(at)| (at - Instant::now()).as_secs_f64().round())
        };
        assert_eq!(left("5S", most), Some(5.0));
        assert_eq!(left("2H", most), Some(30.0));
        assert_eq!(left("2H", None), Some(7200.0));
    }
}
