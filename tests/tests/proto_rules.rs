//! The API's and the disk format's own rules: every change that would break a client, or make old bytes unreadable, is
//! rejected before it lands.

use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::{both, repository, tool};
use tempfile::TempDir;

/// A copy of the protos that a test may spoil.
struct Protos {
    folder: TempDir,
}

impl Protos {
    fn copy() -> Result<Self, String> {
        let folder = TempDir::new().map_err(|error| error.to_string())?;
        copy_all(&repository().join("proto"), folder.path()).map_err(|error| error.to_string())?;
        Ok(Self { folder })
    }

    /// Replaces the first occurrence of a text in a file.
    fn change(&self, file: &str, from: &str, to: &str) -> Result<(), String> {
        let path = self.folder.path().join(file);
        let text = std::fs::read_to_string(&path).map_err(|error| format!("{file}: {error}"))?;
        if !text.contains(from) {
            return Err(format!("{file} does not contain {from:?}"));
        }
        std::fs::write(&path, text.replacen(from, to, 1)).map_err(|error| error.to_string())
    }

    fn lint(&self) -> Result<String, String> {
        self.buf(&["lint"])
    }

    /// Against the committed baseline.
    fn breaking(&self) -> Result<String, String> {
        self.buf(&["breaking", "--against", "baseline.binpb"])
    }

    /// `Err` with what buf said when it refuses.
    fn buf(&self, arguments: &[&str]) -> Result<String, String> {
        let output = Command::new(tool("node_modules/.bin/buf")?)
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .map_err(|error| error.to_string())?;
        if output.status.success() {
            Ok(both(&output))
        } else {
            Err(both(&output))
        }
    }
}

fn copy_all(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    for entry in std::fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_all(&entry.path(), &target)?;
        } else {
            std::fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}

/// Every proto file, as a path below `proto`.
fn files() -> Vec<PathBuf> {
    let root = repository().join("proto");
    let packages = [root.join("springwright/v1"), root.join("springwright/store/v1")];
    let mut found = Vec::new();
    for package in packages {
        let entries = std::fs::read_dir(package)
            .into_iter()
            .flatten()
            .flatten()
            .map(|entry| entry.path());
        let protos = entries.filter(|path| path.extension().is_some_and(|extension| extension == "proto"));
        found.extend(protos.map(|path| path.strip_prefix(&root).unwrap_or(&path).to_path_buf()));
    }
    found
}

#[test]
fn protos_follow_the_rules_and_keep_what_was_promised() {
    let protos = Protos::copy().unwrap();
    protos.lint().unwrap();
    protos.breaking().unwrap();
}

#[test]
fn baseline_knows_everything_the_protos_offer() {
    let protos = Protos::copy().unwrap();
    protos
        .buf(&["build", "--exclude-source-info", "--output", "current.binpb"])
        .unwrap();
    let missing = protos.buf(&["breaking", "baseline.binpb", "--against", "current.binpb"]);
    assert!(
        missing.is_ok(),
        "the baseline cannot protect what it does not know; when the additions are wanted, refresh it in proto/ with \
         `buf build --exclude-source-info --output baseline.binpb`:\n{}",
        missing.unwrap_err()
    );
}

#[test]
fn removed_rpc_is_rejected() {
    let protos = Protos::copy().unwrap();
    let file = "springwright/v1/springs.proto";
    let rpc = "rpc LoadAtLength(LoadAtLengthRequest) returns (LoadAtLengthResponse);";
    protos.change(file, rpc, "").unwrap();
    let said = protos.breaking().unwrap_err();
    assert!(said.contains("LoadAtLength"), "{said}");
}

#[test]
fn changed_unit_number_is_rejected() {
    let protos = Protos::copy().unwrap();
    protos
        .change("springwright/v1/quantity.proto", "UNIT_INCH = 2;", "UNIT_INCH = 7;")
        .unwrap();
    let said = protos.breaking().unwrap_err();
    assert!(said.contains("Unit"), "{said}");
}

#[test]
fn renumbered_field_is_rejected_in_every_file_of_the_api_and_of_the_disk_format() {
    let files = files();
    for package in ["springwright/v1", "springwright/store/v1"] {
        assert!(
            files.iter().any(|file| file.starts_with(package)),
            "no proto of {package}"
        );
    }
    for file in files {
        let text = std::fs::read_to_string(repository().join("proto").join(&file)).unwrap();
        let message = text.find("\nmessage ").map_or("", |start| &text[start..]);
        let is_field = |line: &&str| line.starts_with("  ") && line.ends_with(" = 1;") && !line.contains('_');
        let is_any_field = |line: &&str| line.starts_with("  ") && line.ends_with(" = 1;") && !line.contains("UNIT_");
        let field = message
            .lines()
            .find(is_field)
            .or_else(|| message.lines().find(is_any_field))
            .unwrap();
        let protos = Protos::copy().unwrap();
        let renumbered = field.replace(" = 1;", " = 4711;");
        let shown = file.display().to_string();
        protos.change(&shown, field, &renumbered).unwrap();
        let said = protos.breaking().unwrap_err();
        assert!(said.contains(&shown) || said.contains("field"), "{shown}: {said}");
    }
}

#[test]
fn field_without_a_comment_is_rejected() {
    let protos = Protos::copy().unwrap();
    let file = "springwright/v1/records.proto";
    protos
        .change(file, "message Gap {", "message Gap {\n  int32 unexplained = 99;\n")
        .unwrap();
    let said = protos.lint().unwrap_err();
    assert!(said.contains("unexplained"), "{said}");
}
