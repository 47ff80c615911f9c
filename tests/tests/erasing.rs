//! A rider is erased from a real shop: at once from every answer, and from the files once the store is compacted.
#![allow(clippy::unwrap_used, reason = "a test all through")]

use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::{Server, both, program};
use serde_json::Value;
use tempfile::TempDir;

const NAME: &str = "Wilhelmine Unverwechselbar";
const LATER: &str = "Wilma Eindeutigkeit";
const CONTACT: &str = "+00 555 7311 unverwechselbar";

fn run(arguments: &[&str]) -> Result<String, String> {
    let output = Command::new(program()?)
        .args(arguments)
        .output()
        .map_err(|error| error.to_string())?;
    match output.status.success() {
        true => Ok(String::from_utf8_lossy(&output.stdout).into_owned()),
        false => Err(both(&output)),
    }
}

fn ask(server: &Server, arguments: &[&str]) -> Result<Value, String> {
    let address = server.address().to_string();
    let said = run(&[&["book"], arguments, &["--json", "--server", &address]].concat())?;
    serde_json::from_str(&said).map_err(|error| format!("{said}: {error}"))
}

/// Files below a folder that hold one of the texts.
fn holding(folder: &Path, found: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            holding(&path, found)?;
            continue;
        }
        let bytes = std::fs::read(&path)?;
        let holds = |text: &str| bytes.windows(text.len()).any(|window| window == text.as_bytes());
        if [NAME, LATER, CONTACT].into_iter().any(holds) {
            found.push(path);
        }
    }
    Ok(())
}

fn files_with_the_person(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    holding(folder, &mut found).unwrap();
    found
}

#[test]
fn after_erasing_and_compacting_no_byte_of_the_store_tells_of_the_rider() {
    let folder = TempDir::new().unwrap();
    let store = folder.path().join("shop");
    let shop = store.display().to_string();
    let backup = folder.path().join("backup.txt").display().to_string();
    let mut server = Server::create(&store).unwrap();
    let rider = ask(&server, &["create-rider", "--person-name", NAME, "--contact", CONTACT]).unwrap();
    let rider = rider["name"].as_str().unwrap().to_owned();
    ask(&server, &["update-rider", "--name", &rider, "--person-name", LATER]).unwrap();
    ask(&server, &["create-machine", "--machine-id", "m1", "--rider", &rider]).unwrap();
    server.stop().unwrap();
    assert!(
        !files_with_the_person(&store).is_empty(),
        "else the search below proves nothing"
    );
    run(&["export", "--store", &shop, "--to", &backup]).unwrap();

    let mut server = Server::open(&store).unwrap();
    let erased = ask(&server, &["erase-rider", "--name", &rider]).unwrap();
    assert_eq!(erased["copies"][0]["place"], backup, "{erased}");
    let gone = ask(&server, &["get-rider", "--name", &rider]).unwrap_err();
    assert!(gone.contains("NOT_FOUND"), "{gone}");
    server.stop().unwrap();
    run(&["compact", "--store", &shop]).unwrap();
    assert_eq!(files_with_the_person(&store), Vec::<PathBuf>::new());
    run(&["verify", "--store", &shop]).unwrap();

    // The machine keeps the random id, and nothing else of the person.
    let server = Server::open(&store).unwrap();
    let machine = ask(&server, &["get-machine", "--name", "machines/m1"]).unwrap();
    assert_eq!(machine["rider"].as_str(), Some(rider.as_str()));
}
