//! A whole test on the bench's page: a real server, tester and feed, watched and worked in a real browser.

use std::ffi::OsStr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use acceptance::{Server, program, run_browser};
use tempfile::TempDir;

/// A feed that stays at the bench; killed when dropped.
struct Feed(Child);

impl Feed {
    fn start(server: &Server, tester: &Server, spool: &Path) -> Result<Self, String> {
        let (server, tester) = (server.address().to_string(), tester.address().to_string());
        let mut command = Command::new(program()?);
        command
            .args([
                "feed",
                "--stay",
                "--server",
                &server,
                "--connect",
                &tester,
                "--tester",
                "the test's",
            ])
            .arg("--spool")
            .arg(spool)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        let started = command.spawn();
        started
            .map(Self)
            .map_err(|error| format!("the feed does not start: {error}"))
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        // Fails only when it has ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_test_is_watched_and_worked_from_start_to_kept_report() {
    let folder = TempDir::new().unwrap();
    let server = Server::create(&folder.path().join("store")).unwrap();
    let tester = [
        "--wait",
        "--speed",
        "3",
        "--strokes",
        "1",
        "--tare",
        "1.8 N",
        "--seed",
        "4",
    ];
    let tester = Server::tester(&tester).unwrap();
    let _feed = Feed::start(&server, &tester, &folder.path().join("spool")).unwrap();
    let url = format!("http://{}", server.address());
    // Where somebody wants to look at the pictures, they are kept.
    let pictures = std::env::var_os("SPRINGWRIGHT_PICTURES");
    let pictures = pictures.as_deref().unwrap_or(folder.path().as_os_str());
    let arguments = [OsStr::new(&url), pictures];
    let printed = run_browser("live.mjs", &arguments, Duration::from_secs(180));
    if let Err(said) = printed {
        panic!("{said}\nthe server said:\n{}", server.output());
    }
}
