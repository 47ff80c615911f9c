//! The layers, as what each crate must not know.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::repository;

/// What may be seen of the workspace by each crate, tests and build scripts included for none.
const LAYERS: &[(&str, &[&str])] = &[
    ("mechanics", &[]),
    ("wire", &["mechanics"]),
    ("store", &["mechanics"]),
    ("service", &["mechanics", "store", "wire"]),
    ("springwright", &["mechanics", "service", "wire"]),
    ("acceptance", &["mechanics", "service", "springwright", "store", "wire"]),
];

/// The names that may stand at the top of the repository, besides those that begin with a dot.
const TOP_NAMES: &[&str] = &[
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "clippy.toml",
    "crates",
    "deny.toml",
    "deploy",
    "proto",
    "rust-toolchain.toml",
    "rustfmt.toml",
    "tests",
];

type Dependencies = BTreeMap<String, BTreeSet<String>>;

/// For each crate of the workspace the names of what it depends on, other than for its own tests.
fn dependencies() -> Result<Dependencies, String> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version=1", "--no-deps", "--offline"])
        .current_dir(repository())
        .output()
        .map_err(|error| error.to_string())?;
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).map_err(|error| error.to_string())?;
    let packages = metadata
        .get("packages")
        .and_then(|all| all.as_array())
        .ok_or("no packages")?;
    let name = |value: &serde_json::Value| value["name"].as_str().unwrap_or_default().to_owned();
    let entries = packages.iter().map(|package| {
        let all = package["dependencies"].as_array().into_iter().flatten();
        let kept = all.filter(|one| one["kind"].as_str() != Some("dev"));
        (name(package), kept.map(name).collect())
    });
    Ok(entries.collect())
}

/// Every Rust file below a folder.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for path in entries.map(|entry| entry.path()) {
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found
}

/// The lines of a crate's sources, without comments, in which `wanted` holds.
fn lines_where(folder: &str, wanted: impl Fn(&str) -> bool) -> Vec<String> {
    let root = repository();
    let mut found = Vec::new();
    for path in sources(&root.join(folder)) {
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        for (index, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            if wanted(code) {
                let shown = path.strip_prefix(&root).unwrap_or(&path).display();
                found.push(format!("{shown}:{}: {}", index + 1, line.trim()));
            }
        }
    }
    found
}

#[test]
fn every_crate_sees_only_the_layers_below_it() {
    let dependencies = dependencies().unwrap();
    let expected: BTreeSet<_> = LAYERS.iter().map(|(name, _)| (*name).to_owned()).collect();
    let present: BTreeSet<_> = dependencies.keys().cloned().collect();
    assert_eq!(
        present, expected,
        "a crate came or went: the layers must say where it stands"
    );
    for (name, allowed) in LAYERS {
        for seen in dependencies[*name].intersection(&expected) {
            assert!(allowed.contains(&seen.as_str()), "{name} must not see {seen}");
        }
    }
}

#[test]
fn physics_depends_on_quantities_and_statistics_alone() {
    let mut seen = dependencies().unwrap()["mechanics"].clone();
    seen.remove("statrs");
    assert_eq!(seen, BTreeSet::from(["uom".to_owned()]));
}

#[test]
fn physics_knows_no_clock_thread_environment_file_or_log() {
    const ABSENT: &[&str] = &[
        "std::time",
        "std::thread",
        "std::env",
        "std::fs",
        "std::net",
        "std::process",
        "std::io",
        "SystemTime",
        "Instant",
        "tracing",
        "log::",
        "println!",
        "Serialize",
        "Mutex",
        "static mut",
    ];
    assert!(!sources(&repository().join("crates/mechanics/src")).is_empty());
    let found = lines_where("crates/mechanics/src", |code| {
        ABSENT.iter().any(|absent| code.contains(absent))
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn engine_shows_in_the_store_alone() {
    for (name, seen) in dependencies().unwrap() {
        assert_eq!(seen.contains("sled"), name == "store", "{name}");
    }
    for folder in [
        "crates/mechanics",
        "crates/wire",
        "crates/service",
        "crates/springwright",
        "tests/src",
    ] {
        let found = lines_where(folder, |code| code.contains("sled::"));
        assert!(found.is_empty(), "{}", found.join("\n"));
    }
}

#[test]
fn store_is_given_the_time() {
    let found = lines_where("crates/store/src", |code| code.contains("SystemTime"));
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn page_opens_no_store_and_speaks_no_grpc() {
    let absent = ["store::", ".store()", "tonic::"];
    let found = lines_where("crates/service/src/page", |code| {
        absent.iter().any(|word| code.contains(word))
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn program_shares_only_quantities_with_the_physics() {
    let found = lines_where("crates/springwright/src", |code| {
        let mut uses = code
            .match_indices("mechanics::")
            .map(|(at, found)| &code[at + found.len()..]);
        uses.any(|rest| !rest.starts_with("quantity"))
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn every_crate_takes_the_workspace_lints() {
    let root = repository();
    let workspace = std::fs::read_to_string(root.join("Cargo.toml")).unwrap();
    assert!(workspace.contains("unsafe_code = \"forbid\""));
    for (name, _) in LAYERS {
        let folder = if *name == "acceptance" {
            root.join("tests")
        } else {
            root.join("crates").join(name)
        };
        let manifest = std::fs::read_to_string(folder.join("Cargo.toml")).unwrap();
        assert!(manifest.contains("[lints]\nworkspace = true"), "{name}");
    }
}

#[test]
fn nothing_new_stands_at_the_top() {
    let names = std::fs::read_dir(repository()).unwrap();
    let names = names.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    // What cargo builds is ignored by git.
    let strange: Vec<_> = names
        .filter(|name| !name.starts_with('.') && name != "target" && !TOP_NAMES.contains(&name.as_str()))
        .collect();
    assert_eq!(strange, [""; 0], "the map of the repository does not name these");
}
