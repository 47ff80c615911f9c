//! Where connections come from: a TCP port, or this process itself.

use std::io;
use std::time::Duration;

use hyper_util::rt::TokioIo;
use tokio::io::DuplexStream;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;
use tonic::transport::{Channel, Endpoint, Uri};

/// Bytes under way in each direction of an in-memory connection: one HTTP/2 frame of the largest usual size and more.
const MEMORY_PIPE_BYTES: usize = 64 * 1024;

/// In-memory connections that may wait to be accepted.
const MEMORY_BACKLOG: usize = 16;

/// Pause after the system refused a connection, mostly for want of descriptors: they come back when others end.
const ACCEPT_PAUSE: Duration = Duration::from_millis(50);

/// Accepts connections.
#[derive(Debug)]
pub enum Listener {
    /// From a TCP port.
    Tcp(TcpListener),
    /// From a [`MemoryConnector`].
    Memory(mpsc::Receiver<DuplexStream>),
}

/// A connection that was accepted.
pub(super) enum Accepted {
    Tcp(TcpStream),
    Memory(DuplexStream),
}

impl Listener {
    /// The next connection; none when there cannot be any more.
    pub(super) async fn accept(&mut self) -> Option<Accepted> {
        match self {
            Self::Tcp(listener) => Some(Accepted::Tcp(accept_tcp(listener).await)),
            Self::Memory(waiting) => waiting.recv().await.map(Accepted::Memory),
        }
    }
}

async fn accept_tcp(listener: &TcpListener) -> TcpStream {
    loop {
        match listener.accept().await {
            // Small replies must not wait for the peer's acknowledgement of the one before.
            Ok((stream, _)) if stream.set_nodelay(true).is_ok() => return stream,
            Ok(_) => {}
            Err(error) if is_of_one_connection(&error) => {}
            Err(error) => {
                tracing::warn!(%error, "cannot accept a connection");
                tokio::time::sleep(ACCEPT_PAUSE).await;
            }
        }
    }
}

/// Whether the peer gave up while it was being accepted.
fn is_of_one_connection(error: &io::Error) -> bool {
    use io::ErrorKind as K;
    matches!(
        error.kind(),
        K::ConnectionAborted | K::ConnectionReset | K::ConnectionRefused
    )
}

/// Connects to a listener within the process. It ends once its connectors and their channels are gone.
#[derive(Debug, Clone)]
pub struct MemoryConnector {
    listener: mpsc::Sender<DuplexStream>,
}

/// A listener that only this process can reach, and what reaches it.
pub fn memory() -> (MemoryConnector, Listener) {
    let (listener, waiting) = mpsc::channel(MEMORY_BACKLOG);
    (MemoryConnector { listener }, Listener::Memory(waiting))
}

impl MemoryConnector {
    /// A gRPC channel; it connects with its first call. Needs a running tokio runtime.
    pub fn channel(&self) -> Channel {
        let listener = self.listener.clone();
        // The host is one the shell answers to; nothing is looked up.
        Endpoint::from_static("http://localhost").connect_with_connector_lazy(tower::service_fn(move |_: Uri| {
            let listener = listener.clone();
            async move { connect(&listener).await.map(TokioIo::new) }
        }))
    }

    /// A bare connection.
    ///
    /// # Errors
    /// The listener is gone.
    pub async fn connect(&self) -> io::Result<DuplexStream> {
        connect(&self.listener).await
    }
}

async fn connect(listener: &mpsc::Sender<DuplexStream>) -> io::Result<DuplexStream> {
    let (near, far) = tokio::io::duplex(MEMORY_PIPE_BYTES);
    let gone = |_| {
        io::Error::new(
            io::ErrorKind::ConnectionRefused,
            "the service in this process has ended",
        )
    };
    listener.send(far).await.map_err(gone)?;
    Ok(near)
}
