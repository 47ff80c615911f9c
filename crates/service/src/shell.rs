//! The shell around the service: sockets, limits, refusals before any operation is reached, and the way down.
//!
//! One port carries gRPC and the page. A request passes, in this order: its id and its line in the log, the check of
//! the host it is for, the deadline, the bound on work in flight, the router. What each of them refuses is answered
//! as a gRPC status to gRPC clients and as plain text to others.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

mod accept;
mod answer;
mod arriving;
mod body;
mod bounded;
mod catalogue;
mod deadline;
mod dialect;
mod host;
mod listener;
mod load;
mod panic;
mod routes;
mod trace;

pub use bounded::Bounded;
pub use deadline::Deadline;
pub(crate) use dialect::http_refusal;
pub use listener::{Listener, MemoryConnector, memory};
pub use load::StreamPermits;
pub use routes::{Health, assemble, health, with_reflection};
pub use trace::RequestId;

/// The limits of the shell. Every one has a default that suits a workshop; tests shorten the times.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Hosts answered to besides the loopback ones: names or addresses as they appear in `Host`, without a port.
    pub hosts: Vec<String>,
    /// Connections at a time; each costs up to 1 MiB of unread input. More of them wait in the listener's backlog,
    /// unanswered, until one ends.
    pub connections: usize,
    /// A connection whose first request has not reached the service by then is dropped.
    pub first_request: Duration,
    /// An HTTP/1 connection with no request, or with half a request head, for that long is closed.
    pub http1_idle: Duration,
    /// How often an HTTP/2 peer is asked for a sign of life.
    pub keepalive_interval: Duration,
    /// How long that sign may take.
    pub keepalive_timeout: Duration,
    /// HTTP/2 streams at a time on one connection. Not fewer than a client opens before it has read the settings:
    /// those beyond it fail as protocol errors.
    pub concurrent_streams: u32,
    /// Bytes of a request's header list.
    pub header_bytes: u32,
    /// How long a call with one reply may take, whatever the client allows.
    pub unary_deadline: Duration,
    /// How long the body of a request that is no stream may take to come. Until then it may hold a place of those below.
    pub request_body: Duration,
    /// Requests at a time that have no response head yet; more are refused at once. Open streams are not counted:
    /// see [`StreamPermits`].
    pub in_flight: usize,
    /// How long connections may take to end once the server goes down.
    pub drain: Duration,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            hosts: Vec::new(),
            connections: 256,
            first_request: Duration::from_secs(5),
            http1_idle: Duration::from_secs(30),
            keepalive_interval: Duration::from_secs(20),
            keepalive_timeout: Duration::from_secs(10),
            concurrent_streams: 256,
            header_bytes: 16 * 1024,
            unary_deadline: Duration::from_secs(30),
            request_body: Duration::from_secs(10),
            in_flight: 512,
            drain: Duration::from_secs(10),
        }
    }
}

/// Serves the router until `shutdown` is cancelled, or until nobody can connect any more (an in-memory listener
/// whose connectors are gone). Then connections are asked to end, and ended once [`Settings::drain`] is over; streams
/// should watch the same token and end with SHUTTING_DOWN.
///
/// # Errors
/// A host in the settings is neither a name nor an address.
pub async fn serve(
    listener: Listener,
    router: axum::Router,
    settings: Settings,
    shutdown: CancellationToken,
) -> io::Result<()> {
    let shell = Arc::new(answer::Shell::new(router, &settings, shutdown.clone())?);
    accept::until_shutdown(listener, shell, &settings, shutdown).await;
    Ok(())
}
