//! Kills the server and cuts its power while instruments record and people work at rack and drawer, and looks for everything
//! it has acknowledged afterwards.
//!
//! `SPRINGWRIGHT_LONG=1` runs ten times as many rounds. Power cuts need root and loop devices; where these are missing
//! the test fails, unless `ALLOW_NO_POWER_CUT=1` says that a run without them is acceptable.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a failing helper fails its test"
)]

mod chance;
// The disk whose power can be cut is that of the store's own test.
#[path = "../../../crates/store/tests/power/cut.rs"]
mod cut;
mod drawer;
mod line;
mod rack;
mod recorder;
mod shop;

use std::path::Path;
use std::time::Duration;

use acceptance::{Server, verify};
use chance::Chance;
use cut::Image;
use shop::{Depth, Shop};

/// The store keeps 256 MiB free.
const DISK: u64 = 1 << 30;

/// Kills or cuts after which every run is read again, and not only those that were open.
const FULL_CHECK: usize = 10;

fn long() -> bool {
    std::env::var("SPRINGWRIGHT_LONG").is_ok_and(|value| value == "1")
}

fn sound(store: &Path) {
    let said = verify(store).unwrap();
    assert!(said.contains(" 0 problems"), "{said}");
}

#[test]
fn acknowledged_changes_survive_a_killed_server() {
    let kills = if long() { 200 } else { 20 };
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("store");
    let (shop, mut chance) = (Shop::new(), Chance::new());
    let mut server = Server::create(&store).unwrap();
    for kill in 1..=kills {
        let work = shop.open(&server);
        work.go_on(chance.between(Duration::ZERO, Duration::from_millis(900)));
        work.end(|| server.kill());
        // Whoever opens the store first has to cope with how it was left; that is now the one and now the other.
        if kill % 4 == 0 {
            sound(&store);
        }
        server = Server::open(&store).unwrap();
        let depth = if kill % FULL_CHECK == 0 {
            Depth::Everything
        } else {
            Depth::Latest
        };
        shop.check(&server, depth);
    }
    shop.finish(&server);
    shop.check(&server, Depth::Everything);
    server.kill();
    sound(&store);
    println!("{kills} kills, {}", shop.tally());
    assert!(
        shop.acknowledged() > kills * 5,
        "too little was written to show anything"
    );
}

#[test]
fn acknowledged_changes_survive_a_power_cut() {
    let again = ["acknowledged_changes_survive_a_power_cut", "--exact", "--nocapture"].map(str::to_owned);
    if let Some(code) = cut::among_mounts_of_our_own(&again) {
        assert_eq!(code, 0, "see above");
        return;
    }
    if !cut::available() {
        return;
    }
    let cuts = if long() { 50 } else { 5 };
    let image = Image::of(DISK);
    let disk = image.mount();
    let (shop, mut chance) = (Shop::new(), Chance::new());
    let mut server = Server::create(&disk.path().join("store")).unwrap();
    let work = shop.open(&server);
    for _ in 0..cuts {
        work.go_on(chance.between(Duration::from_millis(50), Duration::from_millis(900)));
        server.pause().unwrap();
        // The server stands still, so what it has acknowledged is exactly what has come through the line.
        let then = work.settled();
        let copy = image.copy();
        server.resume().unwrap();
        work.rest(|| look_after_a_cut(&copy, &then));
    }
    work.end(|| server.kill());
    println!("{cuts} power cuts, {}", shop.tally());
    assert!(
        shop.acknowledged() > cuts * 5,
        "too little was written to show anything"
    );
}

/// Opens what the disk held, takes up what was open, and looks for everything again.
fn look_after_a_cut(copy: &Image, then: &Shop) {
    let after = copy.mount();
    let store = after.path().join("store");
    let mut server = Server::open(&store).unwrap();
    then.check(&server, Depth::Everything);
    then.finish(&server);
    then.check(&server, Depth::Latest);
    server.kill();
    sound(&store);
}
