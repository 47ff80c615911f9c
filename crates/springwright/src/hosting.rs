//! The service in this process: over TCP for `serve` and `demo`, in memory for a verb without a server.

use std::path::PathBuf;

use service::{Listener, Settings, StoreChoice};
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
    let settings = Settings {
        hosts,
        ..Settings::default()
    };
    host(store, Listener::Tcp(listener), settings, shutdown).await
}

/// A service on an empty store in memory, and the only connection to it.
pub(crate) async fn in_memory() -> Result<(Channel, Hosted), Fail> {
    let (connector, listener) = service::shell::memory();
    let hosted = host(Store::Memory, listener, Settings::default(), CancellationToken::new()).await?;
    Ok((connector.channel(), hosted))
}

async fn host(
    store: Store,
    listener: Listener,
    settings: Settings,
    shutdown: CancellationToken,
) -> Result<Hosted, Fail> {
    let choice = match store {
        Store::Existing(dir) => StoreChoice::Existing(dir),
        Store::Create(dir) => StoreChoice::Create(dir),
        Store::Memory => StoreChoice::Memory,
    };
    let opened = tokio::task::spawn_blocking(move || service::open(&choice))
        .await
        .map_err(|fault| Fail::at("the store", fault))?
        .map_err(|fault| Fail::error(fault.to_string()))?;
    let token = shutdown.clone();
    let running = tokio::spawn(async move {
        opened
            .run(listener, settings, token)
            .await
            .map_err(|fault| Fail::error(fault.to_string()))
    });
    Ok(Hosted { shutdown, running })
}
