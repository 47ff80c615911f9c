//! A client in another language, which learns the API from reflection alone, against the real server.

use std::ffi::OsStr;
use std::time::Duration;

use acceptance::{Server, run_foreign};
use tempfile::TempDir;

/// Runs one group of journeys against a server of its own.
fn journeys(group: &str) -> Result<(), String> {
    let folder = TempDir::new().map_err(|error| error.to_string())?;
    let server = Server::create(&folder.path().join("store"))?;
    let address = server.address().to_string();
    let arguments = [OsStr::new(&address), OsStr::new(group)];
    let printed = run_foreign("journeys.py", &arguments, Duration::from_secs(240));
    printed
        .map(drop)
        .map_err(|said| format!("{said}\nthe server said:\n{}", server.output()))
}

#[test]
fn foreign_client_uses_every_rpc_by_reflection_alone() {
    journeys("all").unwrap();
}
