//! A panic in a handler costs its caller one answer and nobody else anything.

use std::any::Any;
use std::panic::AssertUnwindSafe;

use futures_util::FutureExt as _;

use crate::error::ServiceError;

/// What the work gives, or INTERNAL when it panics. The work is dropped then and never polled again, so a state it
/// broke is seen by nobody, except behind a lock of its own; those poison.
pub(super) async fn caught<F: Future>(work: F) -> Result<F::Output, ServiceError> {
    AssertUnwindSafe(work)
        .catch_unwind()
        .await
        .map_err(|payload| fault(&*payload))
}

/// The error for what a panic carried.
pub(super) fn fault(payload: &(dyn Any + Send)) -> ServiceError {
    let text = payload.downcast_ref::<String>().map(String::as_str);
    let text = text.or_else(|| payload.downcast_ref::<&str>().copied());
    ServiceError::Internal {
        context: format!("panic: {}", text.unwrap_or("without a text")),
    }
}
