//! What a feed is told about the line to its instrument: serial lines, instruments that are asked, checksums.

use std::path::PathBuf;
use std::time::Duration;

use super::super::scpi::Scpi;
use super::super::source::Source;
use super::Options;
use crate::tty::{DataBits, Flow, Parity, SerialSettings, StopBits};

/// The line to an instrument.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct LineOptions {
    /// Read a tester on a serial line, such as /dev/ttyUSB0
    #[arg(long, value_name = "DEVICE")]
    pub(crate) serial: Option<PathBuf>,
    /// Its speed, bits a second
    #[arg(long, default_value_t = 9600, requires = "serial", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    pub(crate) baud: u32,
    /// Bits of a character
    #[arg(long, value_enum, default_value_t = DataBits::Eight, requires = "serial")]
    pub(crate) data_bits: DataBits,
    /// The bit that makes the sum of a character's bits even or odd
    #[arg(long, value_enum, default_value_t = Parity::None, requires = "serial")]
    pub(crate) parity: Parity,
    /// Bits at the end of a character
    #[arg(long, value_enum, default_value_t = StopBits::One, requires = "serial")]
    pub(crate) stop_bits: StopBits,
    /// How one side asks the other to wait
    #[arg(long, value_enum, default_value_t = Flow::None, requires = "serial")]
    pub(crate) flow: Flow,
    /// Ask an instrument that speaks SCPI over TCP, HOST:PORT (often port 5025); needs --query and --columns
    #[arg(long, value_name = "HOST:PORT", requires_all = ["query", "columns"], conflicts_with_all = ["separator", "skip_lines"])]
    pub(crate) scpi: Option<String>,
    /// What it is asked for a reading, such as "MEAS:LOAD?"; one for each column, in their order, or one that answers all
    #[arg(long, requires = "scpi")]
    pub(crate) query: Vec<String>,
    /// What it is told once after each connection, such as "CONF:LOAD" (may be repeated)
    #[arg(long, requires = "scpi")]
    pub(crate) setup: Vec<String>,
    /// What it answers with 0 once the test is over, such as "STAT:OPER:COND?"; left out: the test is ended by hand
    #[arg(long, requires = "scpi")]
    pub(crate) busy_query: Option<String>,
    /// Readings a second; 0: as fast as it answers
    #[arg(long, default_value_t = 20.0, requires = "scpi", value_parser = poll_rate)]
    pub(crate) poll_hz: f64,
    /// How long an answer may take, ms
    #[arg(long, default_value_t = 1000, requires = "scpi", value_parser = clap::value_parser!(u64).range(1..=600_000))]
    pub(crate) answer_ms: u64,
    /// Take only what ends with its number and a right checksum; the instrument must say them
    #[arg(long)]
    pub(crate) checksum: bool,
}

fn poll_rate(text: &str) -> Result<f64, String> {
    let rate = text
        .parse::<f64>()
        .ok()
        .filter(|rate| *rate == 0.0 || (0.001..=10_000.0).contains(rate));
    rate.ok_or_else(|| format!("\"{text}\" is no rate; allowed: 0.001 to 10000 Hz, or 0"))
}

impl Options {
    /// The source; its group promises that there is exactly one.
    pub(crate) fn source(&self) -> Source {
        let line = &self.line;
        if let Some(device) = &line.serial {
            // Not made plain: a name that is moved to another device after an interruption is meant to be.
            return Source::Serial(
                std::path::absolute(device).unwrap_or_else(|_| device.clone()),
                SerialSettings {
                    baud: line.baud,
                    data_bits: line.data_bits,
                    parity: line.parity,
                    stop_bits: line.stop_bits,
                    flow: line.flow,
                },
            );
        }
        if let Some(address) = &line.scpi {
            return Source::Scpi(Box::new(self.scpi(address)));
        }
        match (&self.connect, &self.file) {
            (Some(address), _) => Source::Tcp(address.clone()),
            (None, Some(path)) => Source::File(std::path::absolute(path).unwrap_or_else(|_| path.clone())),
            (None, None) => Source::Stdin,
        }
    }

    fn scpi(&self, address: &str) -> Scpi {
        let line = &self.line;
        let columns = self.columns.as_ref();
        Scpi {
            address: address.to_owned(),
            setup: line.setup.clone(),
            queries: line.query.clone(),
            busy: line.busy_query.clone(),
            columns: columns.map(ToString::to_string).unwrap_or_default(),
            column_count: columns.map_or(0, |columns| columns.fields().len()),
            period: if line.poll_hz > 0.0 {
                Duration::from_secs_f64(1.0 / line.poll_hz)
            } else {
                Duration::ZERO
            },
            patience: Duration::from_millis(line.answer_ms),
            sealed: line.checksum,
        }
    }
}
