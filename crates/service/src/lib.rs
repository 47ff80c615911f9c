//! The workbench as a service: operations of the bench behind gRPC doors and a page, with clock, sockets, limits and shutdown.

pub mod bench;
pub mod drawing;
pub mod error;
pub mod grpc;
pub mod maintenance;
mod page;
mod page_token;
mod places;
pub mod sheet;
pub mod shell;
mod staircase;

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use store::Store;
use store::engine::memory::MemoryEngine;
use store::engine::{Engine, Health};
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;
use wire::v1::book_service_server::BookServiceServer;
use wire::v1::calibration_service_server::CalibrationServiceServer;
use wire::v1::drawer_service_server::DrawerServiceServer;
use wire::v1::rack_service_server::RackServiceServer;
use wire::v1::run_service_server::RunServiceServer;
use wire::v1::setup_service_server::SetupServiceServer;
use wire::v1::spring_service_server::SpringServiceServer;
use wire::v1::valving_service_server::ValvingServiceServer;

use bench::{Bench, WallClock};
use grpc::{Door, MAX_REQUEST_BYTES, MAX_STEP_BYTES};
use places::Places;
use shell::Bounded;
pub use shell::{Listener, Settings};

/// How often what is due is looked after: purges, runs to seal.
const HOUSEKEEPING: Duration = Duration::from_secs(60);
/// Steps of housekeeping taken at once.
const STEPS: usize = 16;
/// How long the process may take to leave once the engine has failed.
const LEAVING: Duration = Duration::from_secs(2);

/// Which store is served.
#[derive(Debug, Clone)]
pub enum StoreChoice {
    /// None that outlives the process.
    Memory,
    /// One that stands in this folder.
    Existing(PathBuf),
    /// A new one in this folder, absent or empty.
    Create(PathBuf),
}

/// Why a service cannot run.
#[derive(Debug)]
pub struct ServiceFault(String);

impl fmt::Display for ServiceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for ServiceFault {}

fn fault(error: impl fmt::Display) -> ServiceFault {
    ServiceFault(error.to_string())
}

/// An opened store, ready to be served.
pub struct Service {
    engine: Arc<dyn Engine>,
    store: Store,
}

/// Opens a store. Blocks: after an unclean stop everything is read first.
///
/// # Errors
/// The store is refused; the text says what is wrong, where, and what to do.
pub fn open(choice: &StoreChoice) -> Result<Service, ServiceFault> {
    let engine: Arc<dyn Engine> = match choice {
        StoreChoice::Memory => Arc::new(MemoryEngine::new()),
        StoreChoice::Existing(dir) => store::embedded::open_existing(dir).map_err(fault)?,
        StoreChoice::Create(dir) => store::embedded::create(dir).map_err(fault)?,
    };
    let store = Store::over(Arc::clone(&engine)).map_err(fault)?;
    Ok(Service { engine, store })
}

impl Service {
    /// Serves until `shutdown` is cancelled, then ends streams, drains and closes the store.
    ///
    /// # Errors
    /// The shell's settings are wrong, or the engine failed; in the latter case nothing is closed and the process should
    /// leave.
    pub async fn run(
        self,
        listener: Listener,
        settings: Settings,
        shutdown: CancellationToken,
    ) -> Result<(), ServiceFault> {
        let bench = Arc::new(Bench::new(self.store, Arc::new(WallClock), shutdown.clone()));
        let places = Places::new(Arc::clone(&bench));
        let door = Door::new(places.clone());
        let (health, health_service) = shell::health().await.map_err(fault)?;
        let routes = Routes::new(health_service)
            .add_service(Bounded::new(
                SpringServiceServer::new(door.clone()).max_decoding_message_size(MAX_REQUEST_BYTES),
                MAX_REQUEST_BYTES,
            ))
            .add_service(Bounded::new(RackServiceServer::new(door.clone()), MAX_STEP_BYTES))
            .add_service(Bounded::new(DrawerServiceServer::new(door.clone()), MAX_STEP_BYTES))
            .add_service(Bounded::new(
                CalibrationServiceServer::new(door.clone()),
                MAX_STEP_BYTES,
            ))
            .add_service(Bounded::new(BookServiceServer::new(door.clone()), MAX_STEP_BYTES))
            .add_service(Bounded::new(SetupServiceServer::new(door.clone()), MAX_STEP_BYTES))
            .add_service(Bounded::new(ValvingServiceServer::new(door.clone()), MAX_STEP_BYTES))
            .add_service(Bounded::new(RunServiceServer::new(door), MAX_STEP_BYTES));
        let routes = shell::with_reflection(routes).map_err(fault)?;
        let router = shell::assemble(routes, page::router(places));
        let keeping = tokio::spawn(keep_house(Arc::clone(&bench), shutdown.clone()));
        let mut condition = self.engine.watch();
        let serving = shell::serve(listener, router, settings, shutdown.clone());
        tokio::select! {
            served = serving => served.map_err(fault)?,
            reason = failure(&mut condition) => {
                health.set(false).await;
                shutdown.cancel();
                // Those who wait for an answer get IN_DOUBT; nothing of the engine is closed or dropped.
                tokio::time::sleep(LEAVING / 2).await;
                return Err(fault(format!("the store has failed: {reason}")));
            }
        }
        shutdown.cancel();
        health.set(false).await;
        let _ = keeping.await;
        let engine = self.engine;
        tokio::task::spawn_blocking(move || engine.close())
            .await
            .map_err(fault)?
            .map_err(fault)
    }
}

async fn failure(condition: &mut tokio::sync::watch::Receiver<Health>) -> String {
    loop {
        if let Health::Failed(reason) = &*condition.borrow_and_update() {
            return reason.clone();
        }
        if condition.changed().await.is_err() {
            return std::future::pending().await;
        }
    }
}

/// Removes what is due for removal and seals finished runs, a few steps at a time.
async fn keep_house(bench: Arc<Bench>, shutdown: CancellationToken) {
    loop {
        let due = Arc::clone(&bench);
        let done = tokio::task::spawn_blocking(move || {
            let purged = due.store().purge_due(due.now(), STEPS);
            let sealed = due.store().seal_due(STEPS);
            (purged, sealed)
        })
        .await;
        if let Ok((purged, sealed)) = done {
            if let Err(error) = purged {
                tracing::warn!(%error, "purging stopped");
            }
            if let Err(error) = sealed {
                tracing::warn!(%error, "sealing stopped");
            }
        }
        tokio::select! {
            () = shutdown.cancelled() => return,
            () = tokio::time::sleep(HOUSEKEEPING) => {}
        }
    }
}
