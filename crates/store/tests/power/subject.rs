//! Drives the writing and the checking process.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crate::THREADS;

/// What is written, and by which engine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mode {
    /// 100 to 3,000 bytes.
    Small,
    /// 4 kB up to the largest value.
    Large,
    /// Both, by the engine as it is without the sync.
    Unsynced,
}

impl Mode {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Mode::Small => "small",
            Mode::Large => "large",
            Mode::Unsynced => "unsynced",
        }
    }

    pub(crate) fn from_word(word: &str) -> Self {
        [Mode::Small, Mode::Large, Mode::Unsynced]
            .into_iter()
            .find(|mode| mode.word() == word)
            .unwrap()
    }
}

/// Acknowledged records.
#[derive(Clone, Debug, Default)]
pub(crate) struct Acks {
    pub(crate) count: usize,
    newest: Vec<u64>,
    ready: bool,
    failed: Option<String>,
}

impl Acks {
    /// The newest acknowledged record of each chain; `before` for those that had none in this run.
    pub(crate) fn newest(&self, before: &[u64]) -> Vec<u64> {
        assert_eq!(self.failed, None, "a write failed without any cut");
        before
            .iter()
            .enumerate()
            .map(|(i, before)| self.newest.get(i).map_or(*before, |newest| *newest.max(before)))
            .collect()
    }

    fn hear(&mut self, line: &str) {
        match line.split(' ').collect::<Vec<_>>().as_slice() {
            ["ready"] => self.ready = true,
            ["ack", chain, number] => {
                let (chain, number): (usize, u64) = (chain.parse().unwrap(), number.parse().unwrap());
                self.newest.resize(THREADS as usize, 0);
                // Each exactly once and in order, which is also what makes the newest stand for all.
                assert!(self.newest[chain] == 0 || self.newest[chain] + 1 == number, "{line}");
                self.newest[chain] = number;
                self.count += 1;
            }
            _ => self.failed = Some(line.to_owned()),
        }
    }
}

/// A running process that writes.
pub(crate) struct Writer {
    child: Child,
    acks: Arc<Mutex<Acks>>,
    listener: Option<JoinHandle<()>>,
}

impl Writer {
    /// Starts and waits until it writes.
    pub(crate) fn start(dir: &Path, mode: Mode) -> Self {
        let mut child = this_program(&["writer", dir.to_str().unwrap(), mode.word()])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let acks = Arc::new(Mutex::new(Acks::default()));
        let heard = Arc::clone(&acks);
        let listener = thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                heard.lock().unwrap().hear(&line);
            }
        });
        let mut writer = Self {
            child,
            acks,
            listener: Some(listener),
        };
        let started = Instant::now();
        while !writer.acks.lock().unwrap().ready {
            assert!(started.elapsed() < Duration::from_secs(60), "the writer does not start");
            assert!(
                writer.child.try_wait().unwrap().is_none(),
                "the writer could not open its store"
            );
            thread::sleep(Duration::from_millis(2));
        }
        writer
    }

    pub(crate) fn pause(&self) {
        self.signal("-STOP");
    }

    pub(crate) fn resume(&self) {
        self.signal("-CONT");
    }

    /// What has come through the pipe, once nothing more comes.
    pub(crate) fn acknowledged(&self) -> Acks {
        let mut before = self.acks.lock().unwrap().clone();
        loop {
            thread::sleep(Duration::from_millis(15));
            let now = self.acks.lock().unwrap().clone();
            if now.count == before.count {
                return now;
            }
            before = now;
        }
    }

    /// Kills it without warning and returns everything it acknowledged.
    pub(crate) fn kill(mut self) -> Acks {
        self.end();
        self.acks.lock().unwrap().clone()
    }

    fn end(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if let Some(listener) = self.listener.take() {
            listener.join().unwrap();
        }
    }

    fn signal(&self, signal: &str) {
        assert!(
            Command::new("kill")
                .args([signal, &self.child.id().to_string()])
                .status()
                .unwrap()
                .success()
        );
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if self.listener.is_some() {
            self.end();
        }
    }
}

/// Starts a compaction and kills it unless it is done by then.
pub(crate) fn kill_compaction(dir: &Path, mode: Mode, after: Duration) {
    let mut child = this_program(&["compact", dir.to_str().unwrap(), mode.word()])
        .spawn()
        .unwrap();
    thread::sleep(after);
    let _ = child.kill();
    let status = child.wait().unwrap();
    assert!(
        status.success() || status.code().is_none(),
        "compaction failed: {status}"
    );
}

/// What was found after a kill or a cut.
pub(crate) enum Verdict {
    /// Everything; here are the newest records.
    Whole(Vec<u64>),
    /// Not everything.
    Lost(String),
}

/// Looks for everything up to `acknowledged`, in a process of its own, which may not survive what it finds.
pub(crate) fn check(dir: &Path, mode: Mode, acknowledged: &[u64]) -> Verdict {
    let output = this_program(&["check", dir.to_str().unwrap(), mode.word()])
        .stderr(Stdio::piped())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    if !output.status.success() {
        let words = text
            .lines()
            .find_map(|line| line.strip_prefix("lost "))
            .map(str::to_owned);
        return Verdict::Lost(
            words.unwrap_or_else(|| format!("{}: {}", output.status, String::from_utf8_lossy(&output.stderr))),
        );
    }
    let heads: Vec<u64> = text
        .lines()
        .map(|line| line.rsplit(' ').next().unwrap().parse().unwrap())
        .collect();
    for (chain, (head, acknowledged)) in heads.iter().zip(acknowledged).enumerate() {
        // One batch of each chain can have been under way.
        if head < acknowledged || *head > acknowledged + 1 {
            return Verdict::Lost(format!("chain {chain} ends at {head}; {acknowledged} was acknowledged"));
        }
    }
    assert_eq!(heads.len(), acknowledged.len());
    Verdict::Whole(heads)
}

fn this_program(arguments: &[&str]) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(arguments).env("RUST_BACKTRACE", "0").stdin(Stdio::null());
    command
}

/// A reproducible enough source of pauses: any pause is a valid moment for a cut.
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new() -> Self {
        Self(
            std::time::SystemTime::now()
                .duration_since(std::time::UNIX_EPOCH)
                .map_or(1, |now| now.as_nanos() as u64),
        )
    }

    pub(crate) fn between(&mut self, least: Duration, most: Duration) -> Duration {
        self.0 = mix(self.0);
        least + Duration::from_micros(self.0 % ((most - least).as_micros() as u64))
    }
}

/// Scrambles a number (the finaliser of SplitMix64, public domain).
pub(crate) fn mix(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}
