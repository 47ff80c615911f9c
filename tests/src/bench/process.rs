//! Processes beside this one: the bare echo server, what a process costs.

use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use acceptance::both;
use bytes::Bytes;
use serde_json::Value;
use tonic::transport::server::TcpIncoming;

use crate::raw::Echo;

/// Ticks a second in which the kernel states CPU time: fixed by its interface to programs.
const TICKS: f64 = 100.0;

/// CPU time a process has used, all its threads.
pub(crate) fn cpu_time(id: u32) -> Result<Duration, String> {
    let path = format!("/proc/{id}/stat");
    let text = std::fs::read_to_string(&path).map_err(|error| format!("{path}: {error}"))?;
    // The name in parentheses may hold blanks; user and system time are the 12th and 13th field after it.
    let fields: Vec<&str> = text.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |at: usize| fields.get(at).and_then(|field| field.parse::<f64>().ok());
    let both = ticks(11)
        .zip(ticks(12))
        .ok_or_else(|| format!("{path} states no CPU time"))?;
    Ok(Duration::from_secs_f64((both.0 + both.1) / TICKS))
}

/// This program again, in another part.
pub(crate) fn itself(arguments: &[String]) -> Command {
    // Holds even when the build of the program under test has replaced this file meanwhile.
    let mut command = Command::new("/proc/self/exe");
    command.args(arguments).stdin(Stdio::null());
    command
}

/// The bare echo server as a process of its own. Killed when dropped.
pub(crate) struct EchoServer {
    process: Child,
    pub(crate) address: SocketAddr,
}

impl EchoServer {
    pub(crate) fn start(reply_bytes: usize) -> Result<Self, String> {
        let mut process = itself(&["--echo".to_owned(), reply_bytes.to_string()])
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|error| error.to_string())?;
        let mut line = String::new();
        if let Some(output) = process.stdout.take() {
            BufReader::new(output)
                .read_line(&mut line)
                .map_err(|error| error.to_string())?;
        }
        let address = line
            .trim()
            .parse()
            .map_err(|_| format!("the echo server said {line:?}"));
        let server = Self {
            process,
            address: *address.as_ref().unwrap_or(&SocketAddr::from(([127, 0, 0, 1], 0))),
        };
        address.map(|_| server)
    }

    pub(crate) fn id(&self) -> u32 {
        self.process.id()
    }
}

impl Drop for EchoServer {
    fn drop(&mut self) {
        // Fails only when it has ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Serves echoes until killed.
pub(crate) async fn echo(reply_bytes: usize) -> Result<(), String> {
    let incoming = TcpIncoming::bind(([127, 0, 0, 1], 0).into()).map_err(|error| error.to_string())?;
    crate::table::say(&incoming.local_addr().map_err(|error| error.to_string())?.to_string());
    tonic::transport::Server::builder()
        .add_service(Echo(Bytes::from(vec![b'x'; reply_bytes])))
        // Small writes would wait for each other.
        .serve_with_incoming(incoming.with_nodelay(Some(true)))
        .await
        .map_err(|error| error.to_string())
}

/// Memory of this process by a line of its status, such as `VmRSS`, KiB.
pub(crate) fn memory_kib(name: &str) -> Result<u64, String> {
    let text = std::fs::read_to_string("/proc/self/status").map_err(|error| error.to_string())?;
    let line = text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'));
    line.and_then(|rest| rest.trim().trim_end_matches(" kB").parse().ok())
        .ok_or_else(|| format!("no {name} is stated"))
}

/// Makes `VmHWM` start again from what is held now.
pub(crate) fn reset_peak() -> Result<(), String> {
    std::fs::write("/proc/self/clear_refs", "5").map_err(|error| format!("/proc/self/clear_refs: {error}"))
}

/// What a program prints, as JSON.
pub(crate) fn json_of(command: &mut Command) -> Result<Value, String> {
    let output = command.output().map_err(|error| error.to_string())?;
    serde_json::from_slice(&output.stdout).map_err(|_| both(&output))
}

/// A number of such an answer.
pub(crate) fn number(of: &Value, group: &str, name: &str) -> Result<f64, String> {
    let found = of.get(group).and_then(|group| group.get(name)).and_then(Value::as_f64);
    found.ok_or_else(|| format!("{group}.{name} is missing from {of}"))
}
