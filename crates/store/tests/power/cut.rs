//! A disk whose power can be cut: ext4 in a file behind a loop device.
//!
//! A copy of the file is what the disk held in that moment: all that was synced, and nothing that only stood in memory. Mounting the
//! copy replays the journal, as after a power cut. A disk's own volatile cache and torn sectors are not modelled.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// Set in the process that has mounts of its own.
const OWN_MOUNTS: &str = "SPRINGWRIGHT_OWN_MOUNTS";

/// Runs this program again where its mounts are seen by nobody else and end with it, even when it is killed. None when this is that
/// process already, or where that cannot be had.
pub(crate) fn among_mounts_of_our_own(arguments: &[String]) -> Option<i32> {
    let unshare = || {
        let mut command = Command::new("unshare");
        command.arg("--mount").env(OWN_MOUNTS, "1");
        command
    };
    if std::env::var_os(OWN_MOUNTS).is_some() || !unshare().arg("true").status().is_ok_and(|status| status.success()) {
        return None;
    }
    let status = unshare()
        .arg(std::env::current_exe().unwrap())
        .args(arguments)
        .status()
        .unwrap();
    Some(status.code().unwrap_or(1))
}

/// Whether power can be cut here. Without it the run fails unless that is explicitly acceptable.
pub(crate) fn available() -> bool {
    let tried = std::panic::catch_unwind(|| drop(Image::of(16 << 20).mount())).is_ok();
    if !tried {
        assert!(
            std::env::var("ALLOW_NO_POWER_CUT").is_ok_and(|value| value == "1"),
            "power cuts need root, loop devices and mkfs.ext4; set ALLOW_NO_POWER_CUT=1 to go without them"
        );
        println!("*** NOT TESTED: no power was cut, because loop devices cannot be mounted here ***");
    }
    tried
}

/// A disk.
pub(crate) struct Image {
    folder: TempDir,
}

impl Image {
    /// An empty one of so many bytes.
    pub(crate) fn of(bytes: u64) -> Self {
        let image = Self {
            folder: TempDir::with_prefix("springwright-power-").unwrap(),
        };
        File::create(image.file()).unwrap().set_len(bytes).unwrap();
        run(
            "mkfs.ext4",
            &[
                "-q",
                "-F",
                "-m",
                "0",
                "-E",
                "lazy_itable_init=0,lazy_journal_init=0",
                text(&image.file()),
            ],
        );
        image
    }

    /// The disk as it is now, whatever is still on its way to it.
    pub(crate) fn copy(&self) -> Self {
        let copy = Self {
            folder: TempDir::with_prefix("springwright-power-").unwrap(),
        };
        run("cp", &["--sparse=always", text(&self.file()), text(&copy.file())]);
        copy
    }

    /// Mounts it until the mount is dropped.
    pub(crate) fn mount(&self) -> Mount<'_> {
        let point = self.folder.path().join("mounted");
        std::fs::create_dir(&point).unwrap();
        run("mount", &["-o", "loop", text(&self.file()), text(&point)]);
        Mount { point, _image: self }
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("disk.ext4")
    }
}

/// A mounted disk. The loop device goes with the mount.
pub(crate) struct Mount<'a> {
    point: PathBuf,
    _image: &'a Image,
}

impl Mount<'_> {
    pub(crate) fn path(&self) -> &Path {
        &self.point
    }
}

impl Drop for Mount<'_> {
    fn drop(&mut self) {
        // Also when a case panics; lazily when a process still stands in the folder, so that nothing stays behind either way.
        let unmounted = |flags: &[&str]| {
            Command::new("umount")
                .args(flags)
                .arg(&self.point)
                .stderr(Stdio::null())
                .status()
                .is_ok_and(|s| s.success())
        };
        if !unmounted(&[]) && !unmounted(&["-l"]) {
            println!("{} could not be unmounted", self.point.display());
        }
        let _ = std::fs::remove_dir(&self.point);
    }
}

fn run(program: &str, arguments: &[&str]) {
    let done = Command::new(program).args(arguments).output().unwrap();
    assert!(
        done.status.success(),
        "{program} {arguments:?}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}
