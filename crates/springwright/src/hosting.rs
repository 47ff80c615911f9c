//! The service in this process: over TCP for `serve` and `demo`, in memory for a verb without a server.

use std::path::PathBuf;

use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;

use crate::fail::Fail;

/// Which store is served.
pub(crate) enum Store {
    /// One that stands in this folder.
    Existing(PathBuf),
    /// A new one in this folder, absent or empty.
    Create(PathBuf),
    /// None that outlives the process.
    Memory,
}

/// A service that runs until its token is cancelled.
pub(crate) struct Hosted {
    shutdown: CancellationToken,
    running: JoinHandle<Result<(), Fail>>,
}

impl Hosted {
    /// Asks the service to end and waits until it has: what it holds is then on the disk.
    pub(crate) async fn end(self) -> Result<(), Fail> {
        self.shutdown.cancel();
        self.ended().await
    }

    /// Waits until the service has ended by itself or by its token.
    pub(crate) async fn ended(self) -> Result<(), Fail> {
        self.running
            .await
            .map_err(|fault| Fail::at("the service ended badly", fault))?
    }
}

/// Opens a store and serves it on a port.
pub(crate) async fn on_port(
    store: Store,
    hosts: Vec<String>,
    listener: TcpListener,
    shutdown: CancellationToken,
) -> Result<Hosted, Fail> {
    Err(Fail::error("no service"))
}

/// A service on an empty store in memory, and the only connection to it.
pub(crate) async fn in_memory() -> Result<(Channel, Hosted), Fail> {
    Err(Fail::error("no service"))
}
