//! Messages beyond their bound, refused by the head that states their length, before their bytes are taken.
//!
//! The decoder behind has a bound of its own, but refuses with another code and without a reason.

use std::pin::Pin;
use std::task::{Context, Poll, ready};

use bytes::Bytes;
use http::Request;
use http_body::Frame;
use tonic::Status;
use tonic::body::Body;
use tonic::server::NamedService;
use tower::Service;

use crate::error::ServiceError;

/// A message's head (doc/PROTOCOL-HTTP2.md of grpc): whether it is compressed, then its length, big-endian.
const HEAD: usize = 5;

/// A gRPC service that takes no message beyond a bound: such a one is refused as TOO_LARGE.
#[derive(Debug, Clone)]
pub struct Bounded<S> {
    inner: S,
    limit: usize,
}

impl<S> Bounded<S> {
    /// The service, taking messages of up to `limit` bytes. The service's own bound must not be lower.
    pub fn new(inner: S, limit: usize) -> Self {
        Self { inner, limit }
    }
}

impl<S: NamedService> NamedService for Bounded<S> {
    const NAME: &'static str = S::NAME;
}

impl<S: Service<Request<Body>>> Service<Request<Body>> for Bounded<S> {
    type Response = S::Response;
    type Error = S::Error;
    type Future = S::Future;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), Self::Error>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        let heads = Heads::new(self.limit);
        self.inner.call(request.map(|inner| {
            Body::new(Measured {
                inner,
                heads,
                too_large: false,
            })
        }))
    }
}

/// A request's body whose messages are measured as they pass.
struct Measured {
    inner: Body,
    heads: Heads,
    too_large: bool,
}

impl http_body::Body for Measured {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let this = self.get_mut();
        if this.too_large {
            return Poll::Ready(Some(Err(this.refusal())));
        }
        let Some(frame) = ready!(Pin::new(&mut this.inner).poll_frame(cx)?) else {
            return Poll::Ready(None);
        };
        let passed = match frame.into_data() {
            Ok(data) => match this.heads.fitting(&data) {
                None => Frame::data(data),
                // Messages that came before in the same frame are still worth having.
                Some(count) => {
                    this.too_large = true;
                    Frame::data(data.slice(..count))
                }
            },
            Err(other) => other,
        };
        Poll::Ready(Some(Ok(passed)))
    }

    fn is_end_stream(&self) -> bool {
        !self.too_large && self.inner.is_end_stream()
    }
}

impl Measured {
    fn refusal(&self) -> Status {
        let limit = format!("{} bytes", self.heads.limit);
        let what = "a message".to_owned();
        ServiceError::TooLarge { what, limit }.into()
    }
}

/// Follows the heads of messages through data that is cut anywhere.
struct Heads {
    limit: usize,
    /// Bytes of the present message still to come.
    left: usize,
    /// The head as far as it has come.
    head: [u8; HEAD],
    known: usize,
}

impl Heads {
    fn new(limit: usize) -> Self {
        Self {
            limit,
            left: 0,
            head: [0; HEAD],
            known: 0,
        }
    }

    /// How many bytes of the data go before a message beyond the bound (what has come of its head may be among them);
    /// none if no such message begins here.
    fn fitting(&mut self, data: &[u8]) -> Option<usize> {
        let mut at = 0;
        while at < data.len() {
            let skipped = self.left.min(data.len() - at);
            self.left -= skipped;
            at += skipped;
            let began = at;
            while self.left == 0
                && let Some(byte) = data.get(at)
            {
                at += 1;
                if let Some(place) = self.head.get_mut(self.known) {
                    *place = *byte;
                }
                self.known += 1;
                if self.known == HEAD {
                    self.known = 0;
                    let [_, length @ ..] = self.head;
                    let length = usize::try_from(u32::from_be_bytes(length)).unwrap_or(usize::MAX);
                    if length > self.limit {
                        return Some(began);
                    }
                    self.left = length;
                    break;
                }
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(length: u32) -> Vec<u8> {
        let mut bytes = vec![0];
        bytes.extend(length.to_be_bytes());
        bytes.extend(vec![0xff; length as usize]);
        bytes
    }

    #[test]
    fn first_message_beyond_the_bound_is_found_however_the_data_is_cut() {
        let fitting = [message(10), message(0), message(0), message(3)].concat();
        let data = [fitting.clone(), message(11), message(1)].concat();
        for size in 1..=data.len() {
            let mut heads = Heads::new(10);
            let mut before = 0;
            let found = data.chunks(size).find_map(|piece| {
                let found = heads.fitting(piece);
                before += found.unwrap_or(piece.len());
                found
            });
            assert!(found.is_some(), "cut every {size} bytes");
            // Of its own head at most what came in pieces before may have been passed on.
            assert!(
                (fitting.len()..fitting.len() + HEAD).contains(&before),
                "cut every {size} bytes: {before}"
            );
        }
        for size in 1..=fitting.len() {
            let mut heads = Heads::new(10);
            assert!(fitting.chunks(size).all(|piece| heads.fitting(piece).is_none()));
        }
    }
}
