//! A simulated rate tester: presses a spring of known truth and tells what its load cell and its scale would show.
//!
//! The truth model is this module's own and shares only quantities with the physics of the workbench: a tester built
//! on the code it is meant to test would prove nothing. Everything it says is invented, and says so.
//!
//! # The line
//! Plain text over TCP, one reading a line, `\n` at the end:
//! ```text
//! # springwright tester 1; simulated, invented data
//! # test 5d1c02aa
//! # columns elapsed:us,deflection:mm,load:N
//! # separator space
//! # resume from-line
//! # from 0
//! 0 0.00 0.3
//! 10000 0.02 0.3
//! # end 1234
//! ```
//! A connection gets the whole test from its start. It may send commands, one a line:
//! - `from N` within [`door::COMMAND_WAIT`] of connecting: leave out the first N readings, so that a feed which lost its
//!   own place goes on without loss and without repeating. `# from N` confirms it.
//! - `start`: begin at once instead of waiting for a `from`.
//! - `tare`: take the load shown now as no load from here on; `# tare VALUE` confirms it. Later readings of this
//!   connection differ from those of others.
//! - `stop`: end the test here; `# end N` follows.
//!
//! With `--wait` there is one test for all connections, and it begins with `start`: `# obeys start tare stop` and `# waiting`
//! say so, `# started` confirms it. `tare` holds until the next one, whoever connects, and is said again where it stood:
//! at the beginning for one of an earlier test. What cannot be done now is answered with `# refused: WHY`. A test that
//! ended makes room for the next, with other noise, as soon as a client connects without `from`.
//!
//! With `--checksum` each line ends with its number and a checksum, `TEXT*NUMBER*CHECKSUM`, and `# checksum crc32c` says so: the
//! number counts readings up to and with this line (on a note, before it), the checksum is CRC-32C over everything before the
//! last `*`, eight lower-case hexadecimal digits. Without it a line that was garbled on its way may pass for another reading.
//!
//! With `--pty` the same is said on a pseudo-terminal to whoever opens it; with `--scpi` the tester answers when it is asked
//! instead (see `scpi`).
//!
//! `# test` names the set-up: the same word promises the same readings. `# end N` counts the readings of the whole test
//! up to there, those left out by `from` included.

mod door;
mod pty;
mod readings;
mod scpi;
mod setup;
mod stroke;
mod truth;
mod turns;

use std::fmt;
use std::io::Write;
use std::net::SocketAddr;

use tokio_util::sync::CancellationToken;

pub(crate) use door::{Manner, Tester};
pub(crate) use pty::serve as serve_pty;
#[allow(unused_imports, reason = "the demo presses without a line in between")]
pub(crate) use readings::{Reading, Readings};
pub(crate) use scpi::Instrument;
pub(crate) use setup::{Options, Setup, SetupError};

use crate::tty::Pty;

/// Why the tester cannot run.
#[derive(Debug)]
pub(crate) enum TesterError {
    /// The set-up contradicts itself or is out of range.
    Setup(SetupError),
    /// The address cannot be listened on.
    Listen {
        /// The address asked for.
        address: SocketAddr,
        /// What the system said.
        error: std::io::Error,
    },
    /// There is no pseudo-terminal, or it failed.
    Line(std::io::Error),
    /// Nothing could be written to standard output.
    Output(std::io::Error),
}

impl fmt::Display for TesterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Setup(error) => error.fmt(f),
            Self::Listen { address, error } => write!(f, "cannot listen on {address}: {error}"),
            Self::Line(error) => write!(f, "the pseudo-terminal: {error}"),
            Self::Output(error) => write!(f, "cannot write: {error}"),
        }
    }
}

impl std::error::Error for TesterError {}

impl From<SetupError> for TesterError {
    fn from(error: SetupError) -> Self {
        Self::Setup(error)
    }
}

/// Runs the verb: prints the lines, or listens until told to end (or, with `--once`, until one client had a whole test).
///
/// # Errors
/// [`TesterError`] where the set-up is faulty, the address taken or the output gone.
pub(crate) async fn run(options: Options, shutdown: CancellationToken) -> Result<(), TesterError> {
    let setup = Setup::try_from(&options)?;
    let mut out = std::io::stdout();
    if options.print {
        let mut out = std::io::BufWriter::new(out);
        return readings::write_test(&setup, &mut out).map_err(TesterError::Output);
    }
    if options.pty {
        let pty = Pty::new().map_err(TesterError::Line)?;
        // Before anybody is served: whoever started this reads it here.
        writeln!(out, "line {}", pty.device().display()).map_err(TesterError::Output)?;
        out.flush().map_err(TesterError::Output)?;
        let served = serve_pty(&pty, setup, options.pace(), options.manner(), shutdown);
        return served.await.map_err(TesterError::Line);
    }
    if let Some(address) = options.scpi {
        let instrument = Instrument::bind(address, setup, options.pace()).await?;
        writeln!(out, "listening {}", instrument.address()).map_err(TesterError::Output)?;
        out.flush().map_err(TesterError::Output)?;
        instrument.serve(shutdown).await;
        return Ok(());
    }
    let tester = Tester::bind(options.listen, setup, options.pace(), options.manner()).await?;
    // The port may have been chosen by the system: whoever started this reads it here.
    writeln!(out, "listening {}", tester.address()).map_err(TesterError::Output)?;
    out.flush().map_err(TesterError::Output)?;
    tester.serve(shutdown).await;
    Ok(())
}
