//! The program against itself: a server over a store on disk, the same service in one process, the demo.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test that cannot go on fails where it stands"
)]

use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Output, Stdio};

/// A server that is killed when the test ends.
struct Server {
    child: Child,
    address: String,
}

impl Server {
    fn start(arguments: &[&str]) -> Self {
        let mut command = program(&["serve", "--listen", "127.0.0.1:0"]);
        let mut child = command.args(arguments).stdout(Stdio::piped()).spawn().unwrap();
        let mut first = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut first)
            .unwrap();
        let address = first
            .strip_prefix("listening ")
            .unwrap_or_else(|| panic!("the first line is {first:?}"));
        Self {
            address: address.trim().to_owned(),
            child,
        }
    }

    fn ask(&self, arguments: &[&str]) -> Output {
        program(arguments).args(["--server", &self.address]).output().unwrap()
    }

    /// Ends it as `systemctl stop` would; whether it ended with success.
    fn stop(mut self) -> bool {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &id]).status().unwrap().success());
        self.child.wait().unwrap().success()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_springwright"));
    command.args(arguments).stdin(Stdio::null()).env_remove("RUST_LOG");
    command
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Invented readings of a spring of 9.31 N/mm: contact at 2 mm, and a ripple that no rounding hides.
fn readings() -> String {
    let mut text = String::from("deflection,load\n");
    for step in 0..400 {
        let deflection = f64::from(step) * 0.1;
        let ripple = if step % 2 == 0 { 0.2 } else { -0.2 };
        let load = (deflection - 2.0).max(0.0) * 9.31 + ripple;
        text += &format!("{deflection:.1},{load:.2}\n");
    }
    text
}

#[test]
fn a_calculation_gives_the_same_json_in_process_and_from_a_server() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let server = Server::start(&["--store", &store, "--create"]);
    let csv = folder.path().join("run.csv");
    std::fs::write(&csv, readings()).unwrap();
    let csv = csv.display().to_string();
    let load = [
        "spring",
        "load-at-length",
        "--rate",
        "9.5N/mm",
        "--free-length",
        "450mm",
        "--length",
        "400mm",
        "--json",
    ];
    let reduce = [
        "spring",
        "reduce-run",
        "--csv",
        &csv,
        "--columns",
        "deflection:mm,load:N",
        "--marking",
        "9.5 N/mm",
        "--grade",
        "5%",
        "--frame",
        "2500 N/mm",
        "--json",
    ];
    for arguments in [load.as_slice(), reduce.as_slice()] {
        let here = program(arguments).output().unwrap();
        let there = server.ask(arguments);
        assert_eq!(here.status.code(), Some(0), "{}", stderr(&here));
        assert_eq!(stdout(&here), stdout(&there));
        assert_eq!(stderr(&here), "");
        serde_json::from_str::<serde_json::Value>(&stdout(&here)).unwrap();
    }
    let reply: serde_json::Value = serde_json::from_str(&stdout(&program(&load).output().unwrap())).unwrap();
    // 9.5 N/mm over 50 mm.
    assert!((reply["load"]["value"]["value"].as_f64().unwrap() - 475.0).abs() < 1e-9);
}

#[test]
fn a_reply_read_back_as_a_request_is_the_same_record() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let server = Server::start(&["--store", &store, "--create"]);
    let arguments = [
        "rack",
        "create-spring",
        "--spring-id",
        "a7",
        "--marked-rate",
        "0.1 kgf/mm",
        "--label",
        "left",
        "--json",
    ];
    let created = server.ask(&arguments);
    assert_eq!(created.status.code(), Some(0), "{}", stderr(&created));
    let got = server.ask(&["rack", "get-spring", "--name", "springs/a7", "--json"]);
    assert_eq!(stdout(&got), stdout(&created));
    let missing = server.ask(&["rack", "get-spring", "--name", "springs/b8"]);
    assert_eq!(
        (missing.status.code(), stdout(&missing).as_str()),
        (Some(1), ""),
        "{}",
        stderr(&missing)
    );
    // What was acknowledged is there after a stop and a start, and a store is not made twice.
    assert!(server.stop());
    let again = program(&["serve", "--listen", "127.0.0.1:0", "--store", &store, "--create"])
        .output()
        .unwrap();
    assert_eq!(again.status.code(), Some(2), "{}", stderr(&again));
    let server = Server::start(&["--store", &store]);
    let got = server.ask(&["rack", "get-spring", "--name", "springs/a7", "--json"]);
    assert_eq!(stdout(&got), stdout(&created));
}

#[test]
fn a_store_that_is_not_there_is_refused_rather_than_made() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("unmounted");
    let output = program(&[
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--store",
        &store.display().to_string(),
    ])
    .output()
    .unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    assert!(
        stderr(&output).contains("--create") && !store.exists(),
        "{}",
        stderr(&output)
    );
}

#[test]
fn a_store_moves_through_its_export_unchanged() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (first, second, backup) = (path("first"), path("second"), path("backup.txt"));
    let server = Server::start(&["--store", &first, "--create"]);
    for id in ["a7", "b8"] {
        let created = server.ask(&[
            "rack",
            "create-spring",
            "--spring-id",
            id,
            "--marked-rate",
            "54.3 lbf/in",
        ]);
        assert_eq!(created.status.code(), Some(0), "{}", stderr(&created));
    }
    let open = program(&["verify", "--store", &first]).output().unwrap();
    assert_eq!(
        open.status.code(),
        Some(2),
        "a store that is served was opened a second time"
    );
    assert!(server.stop());
    let done = |arguments: &[&str]| {
        let output = program(arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        stdout(&output)
    };
    assert_eq!(done(&["export", "--store", &first, "--to", &backup]), "");
    done(&["import", "--store", &second, "--from", &backup]);
    done(&["compact", "--store", &second]);
    assert!(done(&["verify", "--store", &second]).contains("2 records"));
    assert_eq!(
        records(&done(&["export", "--store", &second, "--to", "-"])),
        records(&std::fs::read_to_string(&backup).unwrap())
    );
    // A backup that stands is never written over, and one that failed is not left behind.
    let over = program(&["export", "--store", &first, "--to", &backup])
        .output()
        .unwrap();
    assert!(
        over.status.code() == Some(2) && stderr(&over).contains(&backup),
        "{}",
        stderr(&over)
    );
    let absent = program(&["export", "--store", &path("absent"), "--to", &path("half.txt")])
        .output()
        .unwrap();
    assert!(absent.status.code() == Some(2) && !folder.path().join("half.txt").exists());
}

/// Slow: the whole bench at work on real sockets, some seconds.
#[test]
fn the_demo_shows_sound_and_unsound_springs_and_a_pair_with_a_tired_leg() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let output = program(&["demo", "--once", "--store", &store]).output().unwrap();
    let shown = stdout(&output);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(stderr(&output).contains("invented"), "{}", stderr(&output));
    let reports: Vec<_> = shown.split("\n== springs/").skip(1).collect();
    let expected = [
        ("demo-true", "ACCEPTED"),
        ("demo-mismarked", "REFUSED"),
        ("demo-tired", "REFUSED"),
        ("demo-binds", "coil bind at"),
        ("demo-dual-rate", "two straight parts"),
        ("demo-progressive", "progressive"),
        ("demo-leg-left", "ACCEPTED"),
        ("demo-leg-right", "NOT MATCHED"),
    ];
    assert_eq!(reports.len(), expected.len(), "{shown}");
    for (report, (id, found)) in reports.iter().zip(expected) {
        assert!(
            report.starts_with(id) && report.contains(found) && report.contains("invented"),
            "{report}"
        );
    }
    // Three machines whose riders get faster: what their visits say, what is to be done, what comes next.
    let machines: Vec<_> = shown.split("\n== machines/").skip(1).collect();
    let expected = [
        (
            "demo-light",
            [
                "rear rebound: moves towards closed",
                "respring front spring, stiffer",
                "replace rear rebound unit",
                "rear another shock",
            ],
        ),
        (
            "demo-allround",
            [
                "rear rebound: moves towards closed",
                "front rebound: too few to show a trend",
                "respring rear spring, stiffer",
                "rear shock revalved",
            ],
        ),
        (
            "demo-fast",
            [
                "front low-speed compression: moves towards closed",
                "front high-speed compression: no trend",
                "rear rebound: too few to show a trend",
                "front fork springs, fitted",
            ],
        ),
    ];
    assert_eq!(machines.len(), expected.len(), "{shown}");
    for (told, (id, said)) in machines.iter().zip(expected) {
        assert!(told.starts_with(id) && told.contains("invented"), "{told}");
        for words in said {
            assert!(told.contains(words), "{words:?} is not in {told}");
        }
    }
    // The sheet of each is one page, with its verdicts and drawings.
    let server = Server::start(&["--store", &store]);
    for id in ["demo-light", "demo-allround", "demo-fast"] {
        let (sheet, file) = (format!("jobSheets/{id}"), folder.path().join(format!("{id}.pdf")));
        let file = file.display().to_string();
        let rendered = server.ask(&["setup", "render-job-sheet", "--job-sheet", &sheet, "--out", &file]);
        assert_eq!(rendered.status.code(), Some(0), "{}", stderr(&rendered));
        let info = Command::new("pdfinfo").arg(&file).output().unwrap();
        let pages = stdout(&info)
            .lines()
            .find(|line| line.starts_with("Pages:"))
            .map(str::to_owned);
        assert!(
            pages.as_deref().is_some_and(|pages| pages.ends_with(" 1")),
            "{id}: {pages:?}"
        );
    }
    assert!(server.stop());
}

/// The lines of an export that speak of records: not which store they came from, nor the sum over everything.
fn records(export: &str) -> Vec<&str> {
    let of_the_store = |line: &str| {
        ["store ", "sequence ", "end "]
            .iter()
            .any(|word| line.starts_with(word))
    };
    export.lines().filter(|line| !of_the_store(line)).collect()
}

/// A simulated tester, and what its first line says of where it is.
fn tester(arguments: &[&str], says: &str) -> (Server, String) {
    let mut child = program(&["tester", "--fast"])
        .args(arguments)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut first)
        .unwrap();
    let place = first.strip_prefix(says).unwrap_or_else(|| panic!("{first:?}")).trim();
    let place = place.to_owned();
    let address = String::new();
    (Server { child, address }, place)
}

#[test]
fn a_serial_line_and_a_dialogue_are_recorded_and_read_back_through_a_kept_calibration() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let server = Server::start(&["--store", &store, "--create"]);
    // The cell is taken to show twice what is applied: the rate is half of what is pressed, 9.5 N/mm.
    let kept = server.ask(&[
        "calibration",
        "create-tester",
        "--tester-id",
        "press",
        "--points",
        "0:0, 500:1000, 1000:2000",
        "--applied-unit",
        "N",
        "--shown-unit",
        "N",
        "--calibrated",
        "2026-01-01",
        "--due",
        "2026-01-02",
    ]);
    assert!(kept.status.success(), "{}", stderr(&kept));
    let spool = folder.path().join("spool").display().to_string();
    let (_line, device) = tester(&["--pty", "--checksum"], "line ");
    let (_instrument, address) = tester(&["--scpi", "127.0.0.1:0"], "listening ");
    let serial = ["--serial", &device, "--checksum"];
    let dialogue = [
        "--scpi",
        &address,
        "--columns",
        "deflection:mm,load:N",
        "--query",
        "MEAS:DEFL?",
        "--query",
        "MEAS:LOAD?",
        "--busy-query",
        "STAT:OPER:COND?",
        "--poll-hz",
        "0",
    ];
    for (id, source) in [("serial", serial.as_slice()), ("dialogue", dialogue.as_slice())] {
        let feed = [
            &["feed", "--tester", "testers/press", "--run-id", id, "--spool", &spool],
            source,
        ]
        .concat();
        let fed = server.ask(&feed);
        assert!(fed.status.success(), "{}", stderr(&fed));
        assert!(stdout(&fed).contains("0 gaps, 0 malformed lines"), "{}", stdout(&fed));
        let reduced = server.ask(&["spring", "reduce-run", "--run", &format!("runs/{id}")]);
        let said = stdout(&reduced);
        for part in [
            "curve of the load calibration",
            "testers/press@1",
            "CALIBRATION_OVERDUE",
        ] {
            assert!(said.contains(part), "{part} is missing from:\n{said}");
        }
        let rate = said.lines().find_map(|line| line.strip_prefix("rate ")).unwrap();
        assert!(rate.trim().starts_with("4.7"), "{rate}");
    }
    assert!(server.stop());
}

#[test]
fn a_stack_of_the_drawer_is_drawn_as_the_same_stack_by_its_values() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let server = Server::start(&["--store", &store, "--create"]);
    let values = [
        "--shims",
        "30x0.15*2, 26x0.15, 22x0.15 mm",
        "--clamp",
        "14mm",
        "--port-inner",
        "18mm",
        "--port-outer",
        "26mm",
    ];
    let kept = server.ask(&[&["drawer", "create-stack", "--id", "mid"], &values[..]].concat());
    assert_eq!(kept.status.code(), Some(0), "{}", stderr(&kept));
    let draw = ["valving", "draw-stack", "--pressure", "0.5MPa"];
    let named = server.ask(&[&draw[..], &["--stack", "stacks/mid"]].concat());
    assert_eq!((named.status.code(), stderr(&named).as_str()), (Some(0), ""));
    let typed = program(&[&draw[..], &values[..]].concat()).output().unwrap();
    assert!(
        stdout(&named).contains("edge of the face shim lifts"),
        "{}",
        stdout(&named)
    );
    assert_eq!(stdout(&named), stdout(&typed));
    let missing = server.ask(&[&draw[..], &["--stack", "stacks/nobody"]].concat());
    assert_eq!((missing.status.code(), stdout(&missing).as_str()), (Some(1), ""));
    assert!(server.stop());
}
