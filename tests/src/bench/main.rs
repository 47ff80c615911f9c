//! Measures the program against what the machine can do at all, in the same run, and prints one table. Every figure is a
//! measurement of this run; nothing is asserted.
//!
//! `bench [--row NAME] [--dir DIR]`; stores are made in folders of their own below DIR, else below the system's folder for
//! temporary files.

mod calls;
mod forecast;
mod judge;
mod process;
mod raw;
mod record;
mod reduce;
mod samples;
mod springs;
mod start;
mod storage;
mod table;
mod valving;
mod watch;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use table::{Line, note, say};

const ROWS: &[&str] = &[
    "calls", "record", "watch", "reduce", "springs", "valving", "judge", "forecast", "bytes", "start",
];

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match ran(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            note(&format!("bench: {error}"));
            ExitCode::FAILURE
        }
    }
}

fn ran(arguments: &[String]) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| error.to_string())?;
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["--echo", bytes] => {
            let bytes = bytes.parse().map_err(|_| format!("{bytes:?} is no number of bytes"))?;
            runtime.block_on(process::echo(bytes))
        }
        ["--reduce", file, rounds] => reduce::part(file, rounds),
        options => {
            let options = Options::read(options)?;
            runtime.block_on(all(&options))
        }
    }
}

struct Options<'a> {
    row: Option<&'a str>,
    dir: PathBuf,
}

impl<'a> Options<'a> {
    fn read(words: &[&'a str]) -> Result<Self, String> {
        let mut options = Self {
            row: None,
            dir: std::env::temp_dir(),
        };
        for pair in words.chunks(2) {
            match pair {
                ["--row", row] if ROWS.contains(row) => options.row = Some(row),
                ["--dir", dir] => options.dir = PathBuf::from(dir),
                _ => return Err(format!("usage: bench [--row {}] [--dir DIR]", ROWS.join("|"))),
            }
        }
        Ok(options)
    }
}

async fn all(options: &Options<'_>) -> Result<(), String> {
    let program = acceptance::program()?;
    let folder = tempfile::tempdir_in(&options.dir).map_err(|error| error.to_string())?;
    let mut lines = Vec::new();
    for row in ROWS
        .iter()
        .copied()
        .filter(|row| options.row.is_none_or(|wanted| wanted == *row))
    {
        lines.extend(one(row, folder.path()).await?);
    }
    say(&conditions(&program, folder.path()));
    table::print(&lines);
    Ok(())
}

async fn one(row: &str, dir: &Path) -> Result<Vec<Line>, String> {
    match row {
        "calls" => calls::rows(dir).await,
        "record" => record::rows(dir).await,
        "watch" => watch::rows(dir).await,
        "judge" => blocking(judge::rows).await,
        "bytes" => blocking(storage::rows).await,
        "springs" => blocking(springs::rows).await,
        "valving" => blocking(valving::rows).await,
        "forecast" => blocking(forecast::rows).await,
        "reduce" => {
            let dir = dir.to_path_buf();
            blocking(move || reduce::rows(&dir)).await
        }
        "start" => {
            let dir = dir.to_path_buf();
            blocking(move || start::rows(&dir)).await
        }
        other => Err(format!("there is no row {other}")),
    }
}

/// Runs what blocks, such as the store, away from the async threads.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> Result<T, String> + Send + 'static) -> Result<T, String> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| error.to_string())?
}

/// What the figures hold for.
fn conditions(program: &Path, dir: &Path) -> String {
    let read = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
    let cpu = read("/proc/cpuinfo");
    let model = cpu.lines().find_map(|line| line.strip_prefix("model name"));
    let model = model.unwrap_or_default().trim_start_matches([' ', '\t', ':']);
    let threads = std::thread::available_parallelism().map_or(0, usize::from);
    let load = read("/proc/loadavg");
    let load = load.split_whitespace().next().unwrap_or("unknown").to_owned();
    let profile = if cfg!(debug_assertions) { "debug" } else { "release" };
    let program = program.file_name().unwrap_or_default().to_string_lossy();
    format!(
        "{program}, {profile}; {threads} processors ({model}), clients and servers on the same ones; load {load}; stores \
         below {}",
        dir.parent().unwrap_or(dir).display()
    )
}
