//! The request's body, and how long it may take to come.

use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Body;
use bytes::Bytes;
use http_body::{Body as _, Frame, SizeHint};
use tokio::time::Sleep;
use tonic::Status;

use crate::error::ServiceError;

/// A body that must have come by a moment. One that has not ends with DEADLINE, which a gRPC door passes on.
pub(super) struct Arriving {
    inner: Body,
    latest: Pin<Box<Sleep>>,
}

impl Arriving {
    pub(super) fn within(inner: Body, most: Duration) -> Body {
        if inner.is_end_stream() {
            return inner;
        }
        let latest = Box::pin(tokio::time::sleep(most));
        Body::new(Self { inner, latest })
    }
}

impl http_body::Body for Arriving {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.get_mut();
        // The moment comes first: a body that never ends is not kept alive by coming in small pieces.
        if this.latest.as_mut().poll(cx).is_ready() {
            let late = Status::from(ServiceError::Deadline);
            return Poll::Ready(Some(Err(axum::Error::new(late))));
        }
        Pin::new(&mut this.inner).poll_frame(cx)
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}
