//! What the acceptance tests share: the real program as a process of its own, and the tools that `tests/run` installs.

pub mod trial;

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex, OnceLock, PoisonError, mpsc};
use std::thread;
use std::time::{Duration, Instant};

/// How long a server may take from its start until it takes connections, on a busy machine.
const START_LIMIT: Duration = Duration::from_secs(30);

/// Lines of a server's output that are kept for a failure's message.
const KEPT_LINES: usize = 200;

/// The root of the repository.
pub fn repository() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_path_buf()
}

/// A tool below `tests/.tools`, such as `python/bin/python`.
///
/// # Errors
/// When it is not there: says to run `tests/run`.
pub fn tool(path: &str) -> Result<PathBuf, String> {
    let tool = repository().join("tests/.tools").join(path);
    if tool.exists() {
        Ok(tool)
    } else {
        Err(format!(
            "tests/.tools/{path} is missing: run tests/run, which installs it"
        ))
    }
}

/// The program under test: the one in `SPRINGWRIGHT_BIN`, else the one cargo builds, in release where the caller is.
///
/// # Errors
/// When it does not build.
pub fn program() -> Result<PathBuf, String> {
    static PROGRAM: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    PROGRAM.get_or_init(build_program).clone()
}

fn build_program() -> Result<PathBuf, String> {
    if let Some(given) = std::env::var_os("SPRINGWRIGHT_BIN") {
        return Ok(PathBuf::from(given));
    }
    // The whole workspace, because the features of shared dependencies are chosen for what is built together: another
    // choice would build them twice.
    let profile: &[&str] = if cfg!(debug_assertions) { &[] } else { &["--release"] };
    built("springwright", &[&["--workspace", "--bins"], profile].concat())
}

/// Where the executable of that name stands, after `cargo build` with these arguments.
///
/// # Errors
/// It does not build, in the compiler's words.
pub fn built(name: &str, arguments: &[&str]) -> Result<PathBuf, String> {
    // By its plain name, so that build scripts find the toolchain this project is built with, whatever folder they run in.
    let built = Command::new("cargo")
        .args(["build", "--message-format=json-render-diagnostics"])
        .args(arguments)
        .current_dir(repository())
        .output()
        .map_err(|error| format!("cargo does not start: {error}"))?;
    let messages = String::from_utf8_lossy(&built.stdout);
    let executable = messages.lines().find_map(|line| {
        let message: serde_json::Value = serde_json::from_str(line).ok()?;
        let made = message.get("target")?.get("name")?.as_str()?;
        let path = message.get("executable")?.as_str()?;
        (made == name).then(|| PathBuf::from(path))
    });
    executable.ok_or_else(|| format!("{name} does not build: {}", String::from_utf8_lossy(&built.stderr)))
}

/// A `springwright serve` on a free loopback port. Killed when dropped.
#[derive(Debug)]
pub struct Server {
    process: Child,
    address: SocketAddr,
    said: Arc<Mutex<Vec<String>>>,
}

impl Server {
    /// Starts a server that makes a new store in `store`, absent or empty.
    ///
    /// # Errors
    /// When it ends, or does not say where it listens, within 30 s: with what it said.
    pub fn create(store: &Path) -> Result<Self, String> {
        Self::start(store, &["--create"])
    }

    /// Starts a server over the store that stands in `store`.
    ///
    /// # Errors
    /// When it ends, or does not say where it listens, within 30 s: with what it said.
    pub fn open(store: &Path) -> Result<Self, String> {
        Self::start(store, &[])
    }

    /// Starts a simulated tester.
    ///
    /// # Errors
    /// As [`Server::create`].
    pub fn tester(arguments: &[&str]) -> Result<Self, String> {
        let mut command = Command::new(program()?);
        command.arg("tester").args(arguments);
        Self::listening(&mut command)
    }

    fn start(store: &Path, more: &[&str]) -> Result<Self, String> {
        let mut command = Command::new(program()?);
        command.arg("serve").args(more).arg("--store").arg(store);
        Self::listening(&mut command)
    }

    fn listening(command: &mut Command) -> Result<Self, String> {
        let mut process = command
            .args(["--listen", "127.0.0.1:0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| format!("the server does not start: {error}"))?;
        let said = Arc::new(Mutex::new(Vec::new()));
        let (found, address) = mpsc::channel();
        follow(process.stdout.take(), &said, &found);
        follow(process.stderr.take(), &said, &found);
        // The readers hold the only senders left: a server that ends closes the channel.
        drop(found);
        let address = address.recv_timeout(START_LIMIT);
        let mut server = Self {
            process,
            address: address.unwrap_or_else(|_| SocketAddr::from(([127, 0, 0, 1], 0))),
            said,
        };
        if address.is_err() {
            server.kill();
            return Err(format!("the server did not say where it listens:\n{}", server.output()));
        }
        server.wait_for_connection()?;
        Ok(server)
    }

    fn wait_for_connection(&mut self) -> Result<(), String> {
        let started = Instant::now();
        while started.elapsed() < START_LIMIT {
            if TcpStream::connect_timeout(&self.address, Duration::from_secs(1)).is_ok() {
                return Ok(());
            }
            thread::sleep(Duration::from_millis(20));
        }
        Err(format!("nothing answers at {}:\n{}", self.address, self.output()))
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.process.id()
    }

    /// Whether it still runs.
    pub fn is_alive(&mut self) -> bool {
        matches!(self.process.try_wait(), Ok(None))
    }

    /// Memory it holds now, in KiB (`VmRSS`).
    ///
    /// # Errors
    /// When the process is gone.
    pub fn resident_kib(&self) -> Result<u64, String> {
        let path = format!("/proc/{}/status", self.id());
        let status = std::fs::read_to_string(&path).map_err(|error| format!("{path}: {error}"))?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        line.and_then(|rest| rest.trim().trim_end_matches(" kB").parse().ok())
            .ok_or_else(|| format!("{path} states no VmRSS: the process has ended"))
    }

    /// The last lines it wrote.
    pub fn output(&self) -> String {
        self.said.lock().unwrap_or_else(PoisonError::into_inner).join("\n")
    }

    /// Ends it with SIGTERM and waits until it has closed its store.
    ///
    /// # Errors
    /// When it does not end within 30 s, or not well: with what it said.
    pub fn stop(&mut self) -> Result<(), String> {
        self.signal("-TERM")?;
        let started = Instant::now();
        while started.elapsed() < START_LIMIT {
            match self.process.try_wait() {
                Ok(Some(status)) if status.success() => return Ok(()),
                Ok(Some(status)) => return Err(format!("the server ended with {status}:\n{}", self.output())),
                Ok(None) => thread::sleep(Duration::from_millis(5)),
                Err(error) => return Err(error.to_string()),
            }
        }
        Err(format!("the server did not end:\n{}", self.output()))
    }

    /// Lets it stand still where it is.
    ///
    /// # Errors
    /// When it has ended.
    pub fn pause(&self) -> Result<(), String> {
        self.signal("-STOP")
    }

    /// Lets it go on.
    ///
    /// # Errors
    /// When it has ended.
    pub fn resume(&self) -> Result<(), String> {
        self.signal("-CONT")
    }

    fn signal(&self, signal: &str) -> Result<(), String> {
        let id = self.id().to_string();
        let sent = Command::new("kill").args([signal, &id]).status();
        match sent {
            Ok(status) if status.success() => Ok(()),
            other => Err(format!("{signal} to {id}: {other:?}")),
        }
    }

    /// Ends it with SIGKILL, as a crash would.
    pub fn kill(&mut self) {
        // Fails only when the process has ended already, which is what is wanted.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Reads a pipe to its end, so that the writer never waits, and sends the first loopback address it sees.
fn follow<R: Read + Send + 'static>(pipe: Option<R>, said: &Arc<Mutex<Vec<String>>>, found: &mpsc::Sender<SocketAddr>) {
    let Some(pipe) = pipe else { return };
    let (said, found) = (Arc::clone(said), found.clone());
    thread::spawn(move || {
        let mut reader = BufReader::new(pipe);
        let mut line = Vec::new();
        while reader.read_until(b'\n', &mut line).is_ok_and(|count| count > 0) {
            let text = String::from_utf8_lossy(&line).trim_end().to_owned();
            if let Some(address) = loopback_address(&text) {
                // Nobody waits for a second one.
                let _ = found.send(address);
            }
            let mut said = said.lock().unwrap_or_else(PoisonError::into_inner);
            if said.len() >= KEPT_LINES {
                said.remove(0);
            }
            said.push(text);
            line.clear();
        }
    });
}

fn loopback_address(line: &str) -> Option<SocketAddr> {
    let start = line.find("127.0.0.1:")?;
    let rest = line.get(start..)?;
    let end = rest
        .find(|c: char| !c.is_ascii_digit() && c != '.' && c != ':')
        .unwrap_or(rest.len());
    let address: SocketAddr = rest.get(..end)?.trim_end_matches(['.', ':']).parse().ok()?;
    (address.port() != 0).then_some(address)
}

/// What `springwright verify` prints of a store that nobody serves.
///
/// # Errors
/// When it finds anything wrong: with all it printed.
pub fn verify(store: &Path) -> Result<String, String> {
    let output = Command::new(program()?)
        .arg("verify")
        .arg("--store")
        .arg(store)
        .output();
    let output = output.map_err(|error| format!("verify does not start: {error}"))?;
    let printed = both(&output);
    if output.status.success() {
        Ok(printed)
    } else {
        Err(printed)
    }
}

/// Runs a script of `tests/foreign` against a server and returns what it printed.
///
/// # Errors
/// When it cannot start, runs longer than `limit`, or ends with a failure: with all it printed.
pub fn run_foreign(script: &str, arguments: &[&OsStr], limit: Duration) -> Result<String, String> {
    let mut command = Command::new("timeout");
    command
        .args(["--kill-after=5", &limit.as_secs().to_string()])
        .arg(tool("python/bin/python")?)
        .arg(repository().join("tests/foreign").join(script))
        .args(arguments)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("PYTHONUNBUFFERED", "1");
    ended_well(script, command, limit)
}

fn ended_well(script: &str, mut command: Command, limit: Duration) -> Result<String, String> {
    let output = command
        .output()
        .map_err(|error| format!("{script} does not start: {error}"))?;
    let printed = both(&output);
    match output.status.code() {
        Some(0) => Ok(printed),
        Some(124) => Err(format!("{script} took longer than {limit:?}:\n{printed}")),
        code => Err(format!("{script} ended with {code:?}:\n{printed}")),
    }
}

/// Runs a script of `tests/browser`, which drives a real browser, and returns what it printed.
///
/// # Errors
/// As [`run_foreign`].
pub fn run_browser(script: &str, arguments: &[&OsStr], limit: Duration) -> Result<String, String> {
    let mut command = Command::new("timeout");
    command
        .args(["--kill-after=5", &limit.as_secs().to_string(), "node"])
        .arg(repository().join("tests/browser").join(script))
        .args(arguments);
    ended_well(script, command, limit)
}

/// Standard output and standard error of a finished process.
pub fn both(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}
