//! Whatever comes down the line, the server answers everybody else, holds its memory and lives.

use std::ffi::OsStr;
use std::time::Duration;

use acceptance::{Server, program, run_foreign};
use tempfile::TempDir;

/// Memory a server may hold after it was attacked, in KiB.
const MEMORY_LIMIT_KIB: u64 = 200 * 1024;

#[test]
fn attacked_server_answers_well_formed_calls_within_a_second_and_lives() {
    let folder = TempDir::new().unwrap();
    let mut server = Server::create(&folder.path().join("store")).unwrap();
    let (address, id) = (server.address().to_string(), server.id().to_string());
    let program = program().unwrap();
    let arguments = [OsStr::new(&address), OsStr::new(&id), program.as_os_str()];
    let printed = run_foreign("hostile.py", &arguments, Duration::from_secs(300));
    assert!(server.is_alive(), "the server died:\n{}", server.output());
    printed.unwrap_or_else(|said| panic!("{said}\nthe server said:\n{}", server.output()));
    assert!(server.resident_kib().unwrap() < MEMORY_LIMIT_KIB);
    assert!(!server.output().contains("panicked"), "{}", server.output());
}
