//! The response body, watched until its end: for the log, for an end before its own, for a panic on the way.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Body;
use bytes::Bytes;
use futures_util::future::BoxFuture;
use http::{HeaderMap, Response};
use http_body::{Body as _, Frame, SizeHint};
use tonic::Status;

use crate::error::ServiceError;

use super::dialect::Dialect;
use super::panic::fault;
use super::trace::Call;

pub(super) struct Watched {
    inner: Body,
    dialect: Dialect,
    /// What ends the body early. A reader that takes nothing stops the body from being polled and so is not ended by
    /// it; whoever fills the stream has to notice that.
    end: Option<BoxFuture<'static, ServiceError>>,
    /// Whether the last poll had to wait. Then one frame goes first: the last word of a stream is not lost to an end
    /// that came with it, and a stream that never waits still ends.
    waited: bool,
    over: bool,
    call: Call,
}

impl Watched {
    pub(super) fn around(
        response: Response<Body>,
        dialect: Dialect,
        end: Option<BoxFuture<'static, ServiceError>>,
        mut call: Call,
    ) -> Response<Body> {
        let (mut head, inner) = response.into_parts();
        call.answered(&mut head);
        let over = inner.is_end_stream();
        Response::from_parts(
            head,
            Body::new(Self {
                inner,
                dialect,
                end,
                waited: true,
                over,
                call,
            }),
        )
    }

    fn ended_early(&mut self, cx: &mut Context<'_>) -> Poll<ServiceError> {
        match &mut self.end {
            Some(end) => end.as_mut().poll(cx),
            None => Poll::Pending,
        }
    }

    fn poll_inner(&mut self, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let Self { inner, call, .. } = self;
        let polled = call
            .span()
            .in_scope(|| catch_unwind(AssertUnwindSafe(|| Pin::new(inner).poll_frame(cx))));
        match polled {
            Ok(polled) => polled,
            Err(payload) => Poll::Ready(self.last_frame(fault(&*payload))),
        }
    }

    /// Ends the body with an error: as trailers for gRPC; others see it break off.
    fn last_frame(&mut self, error: ServiceError) -> Option<Result<Frame<Bytes>, axum::Error>> {
        // Whatever fills the stream learns at once that nobody reads it any more.
        self.inner = Body::empty();
        self.end = None;
        if self.dialect == Dialect::Plain {
            return Some(Err(axum::Error::new(error)));
        }
        let mut trailers = HeaderMap::new();
        let added = Status::from(error).add_header(&mut trailers);
        Some(added.map(|()| Frame::trailers(trailers)).map_err(axum::Error::new))
    }
}

impl http_body::Body for Watched {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.get_mut();
        if this.over {
            return Poll::Ready(None);
        }
        let mut polled = if this.waited {
            this.poll_inner(cx)
        } else {
            Poll::Pending
        };
        if polled.is_pending()
            && let Poll::Ready(error) = this.ended_early(cx)
        {
            polled = Poll::Ready(this.last_frame(error));
        } else if polled.is_pending() && !this.waited {
            polled = this.poll_inner(cx);
        }
        this.waited = polled.is_pending();
        match &polled {
            Poll::Ready(None | Some(Err(_))) => this.over = true,
            Poll::Ready(Some(Ok(frame))) => {
                if let Some(trailers) = frame.trailers_ref() {
                    this.over = true;
                    this.call.ended(trailers);
                }
            }
            Poll::Pending => {}
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.over || self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        if self.is_end_stream() {
            self.call.completed();
        }
    }
}
