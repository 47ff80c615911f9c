//! Kills the process and cuts the power while it writes, and looks for every acknowledged write afterwards.
//!
//! `SPRINGWRIGHT_LONG=1` runs ten times as many rounds. Power cuts need root and loop devices; where these are missing the run fails,
//! unless `ALLOW_NO_POWER_CUT=1` says that a run without them is acceptable.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout
)]

mod cut;
mod record;
mod subject;

use std::time::Duration;

use cut::Image;
use store::engine::sled::{SledEngine, SledOptions};
use store::engine::{Batch, BatchFault, Engine, Lane, Outcome};
use subject::{Chance, Mode, Verdict, Writer};

const THREADS: u32 = 8;
const DISK: u64 = 320 << 20;

type Case = (&'static str, fn());

const CASES: [Case; 4] = [
    (
        "acknowledged_writes_survive_a_killed_process",
        acknowledged_writes_survive_a_killed_process,
    ),
    (
        "acknowledged_writes_survive_a_power_cut",
        acknowledged_writes_survive_a_power_cut,
    ),
    (
        "a_disk_that_fills_up_is_noticed_in_time_to_open_again",
        a_disk_that_fills_up_is_noticed_in_time_to_open_again,
    ),
    (
        "an_engine_that_does_not_sync_is_caught_by_a_power_cut",
        an_engine_that_does_not_sync_is_caught_by_a_power_cut,
    ),
];

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["writer", dir, mode] => record::write(dir.as_ref(), Mode::from_word(mode)),
        ["compact", dir, mode] => record::compact(dir.as_ref(), Mode::from_word(mode)),
        ["check", dir, mode] => record::check(dir.as_ref(), Mode::from_word(mode)),
        _ if arguments.iter().any(|argument| argument == "--list") => {
            CASES.iter().for_each(|(name, _)| println!("{name}: test"));
        }
        _ => match cut::among_mounts_of_our_own(&arguments) {
            Some(code) => std::process::exit(code),
            None => run(arguments.iter().find(|argument| !argument.starts_with('-'))),
        },
    }
}

fn run(filter: Option<&String>) {
    let (mut passed, mut filtered) = (0, 0);
    for (name, case) in CASES {
        if filter.is_none_or(|filter| name.contains(filter.as_str())) {
            println!("test {name} ...");
            case();
            println!("test {name} ... ok");
            passed += 1;
        } else {
            filtered += 1;
        }
    }
    // The line of cargo's own tests, so that whoever sums them up counts these too.
    println!("\ntest result: ok. {passed} passed; 0 failed; 0 ignored; 0 measured; {filtered} filtered out");
}

fn long() -> bool {
    std::env::var("SPRINGWRIGHT_LONG").is_ok_and(|value| value == "1")
}

fn acknowledged_writes_survive_a_killed_process() {
    let rounds = if long() { 1000 } else { 100 };
    let scratch = tempfile::tempdir().unwrap();
    let mut chance = Chance::new();
    let mut acknowledged = 0;
    for mode in [Mode::Small, Mode::Large] {
        let dir = scratch.path().join(mode.word());
        let mut heads = vec![0; THREADS as usize];
        for round in 0..rounds / 2 {
            let writer = Writer::start(&dir, mode);
            std::thread::sleep(chance.between(Duration::from_millis(5), Duration::from_millis(300)));
            let acks = writer.kill();
            acknowledged += acks.count;
            if round % 5 == 4 {
                subject::kill_compaction(&dir, mode, chance.between(Duration::ZERO, Duration::from_millis(400)));
            }
            match subject::check(&dir, mode, &acks.newest(&heads)) {
                Verdict::Whole(found) => heads = found,
                Verdict::Lost(what) => panic!("{}, round {round}: {what}", mode.word()),
            }
        }
    }
    println!("{rounds} kills, {acknowledged} acknowledged, none lost");
    assert!(acknowledged > rounds * 5, "too little was written to show anything");
}

fn acknowledged_writes_survive_a_power_cut() {
    if !cut::available() {
        return;
    }
    let cuts = if long() { 200 } else { 20 };
    let (mut acknowledged, mut lost) = (0, Vec::new());
    for mode in [Mode::Small, Mode::Large] {
        let report = cut_power(mode, cuts / 2, false);
        acknowledged += report.acknowledged;
        lost.extend(report.lost);
    }
    println!(
        "{cuts} power cuts, {acknowledged} acknowledged, {} stores with losses",
        lost.len()
    );
    assert!(lost.is_empty(), "{}", lost.join("\n"));
    assert!(acknowledged > cuts * 5, "too little was written to show anything");
}

/// The engine cannot be opened on a full disk, so writing has to stop before.
fn a_disk_that_fills_up_is_noticed_in_time_to_open_again() {
    if !cut::available() {
        return;
    }
    let image = Image::of(DISK);
    let disk = image.mount();
    let options = SledOptions {
        reserve: 128 << 20,
        ..SledOptions::new(disk.path().join("store"))
    };
    let engine = SledEngine::create(&options).unwrap();
    let row = |i: u64| ([&b"r"[..], &i.to_be_bytes()].concat(), i.to_le_bytes().repeat(7000));
    let mut rows = 0;
    let refusal = loop {
        let (key, value) = row(rows);
        match engine.commit(Batch::new().put(key, value), Lane::Bulk) {
            Outcome::Committed => rows += 1,
            other => break other,
        }
        assert!(rows < 20_000, "more was taken than the disk can hold");
    };
    assert!(
        matches!(refusal, Outcome::Unfit(BatchFault::DiskLow { .. })),
        "{refusal:?}"
    );
    assert!(rows > 500, "{rows} rows");
    let freeing = Batch::new().delete(row(0).0).allow_when_low();
    assert_eq!(engine.commit(freeing, Lane::Live), Outcome::Committed);
    engine.close().unwrap();
    drop(engine);
    let engine = SledEngine::open_existing(&SledOptions {
        read_all: true,
        ..options
    })
    .unwrap();
    assert!((1..rows).all(|i| engine.get(&row(i).0).unwrap() == Some(row(i).1)));
    assert_eq!(engine.get(&row(0).0).unwrap(), None);
    engine.close().unwrap();
    println!("{rows} rows of 56 kB, then refused");
}

/// Were this not to find anything, the test above would prove nothing.
fn an_engine_that_does_not_sync_is_caught_by_a_power_cut() {
    if !cut::available() {
        return;
    }
    for _ in 0..if long() { 5 } else { 1 } {
        let report = cut_power(Mode::Unsynced, 20, true);
        let lost = report
            .lost
            .first()
            .expect("20 power cuts showed no loss in an engine that does not sync");
        println!("caught at cut {}: {lost}", report.cuts);
    }
}

struct Report {
    cuts: usize,
    acknowledged: usize,
    lost: Vec<String>,
}

/// Cuts the power of one running writer again and again; each cut is a copy of its disk as it was in that moment.
fn cut_power(mode: Mode, cuts: usize, stop_at_loss: bool) -> Report {
    let image = Image::of(DISK);
    let disk = image.mount();
    let dir = disk.path().join("store");
    let mut chance = Chance::new();
    let mut report = Report {
        cuts: 0,
        acknowledged: 0,
        lost: Vec::new(),
    };
    let writer = Writer::start(&dir, mode);
    while report.cuts < cuts && (report.lost.is_empty() || !stop_at_loss) {
        std::thread::sleep(chance.between(Duration::from_millis(50), Duration::from_millis(600)));
        writer.pause();
        // The writer stands still, so what it has acknowledged is exactly what has come through the pipe.
        let acks = writer.acknowledged();
        let copy = image.copy();
        writer.resume();
        report.cuts += 1;
        report.acknowledged = acks.count;
        let after = copy.mount();
        if let Verdict::Lost(what) =
            subject::check(&after.path().join("store"), mode, &acks.newest(&[0; THREADS as usize]))
        {
            report
                .lost
                .push(format!("{}, cut {}: {what}", mode.word(), report.cuts));
        }
    }
    writer.kill();
    report
}
