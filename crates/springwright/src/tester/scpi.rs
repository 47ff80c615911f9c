//! The tester as an instrument that answers when it is asked, over TCP.
//!
//! The syntax of messages is that of IEEE 488.2 and SCPI-99: units separated by `;`, headers in long or short form, a header
//! goes on in the branch of the one before unless it begins with `:`, answers to one message come as one line. The commands on
//! the press are this tester's own:
//! - `*IDN?`, `*RST` (the press begins anew), `*CLS`, `*ESR?`, `*OPC?`, `*OPC`, `*TST?`, `*WAI`;
//! - `SYSTem:ERRor[:NEXT]?`, `SYSTem:VERSion?`;
//! - `SYSTem:COMMunicate:CHECksum ON|OFF`: answers on this connection end with their number and a checksum;
//! - `MEASure:DEFLection?`, `MEASure:LOAD?`: of one reading, where both stand in one message; the first begins the press; `9.9E37`
//!   where the cell ends, `9.91E37` once the test is over;
//! - `INITiate`: begins the press; `ABORt`: ends it;
//! - `STATus:OPERation:CONDition?`: 16 while it measures (bit 4), else 0.

use std::collections::VecDeque;
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};

use mechanics::quantity::{ForceUnit, Unit};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::TesterError;
use super::readings::{Display, Reading, Readings};
use super::setup::{Pace, Setup};

/// Longest message taken.
const MESSAGE_BYTES_MAX: u64 = 4096;
/// Faults remembered; the last then says that there were more.
const FAULTS_MAX: usize = 16;
/// Connections served at once.
const CONNECTIONS_MAX: usize = 16;
/// Bit of the event status register: a message was not understood (IEEE 488.2, 11.5.1.1.4).
const COMMAND_ERROR: u8 = 32;
const OPERATION_COMPLETE: u8 = 1;
/// Bit 4 of the operation status: measuring (SCPI-99, 9.3).
const MEASURING: &str = "16";

/// An instrument that listens.
#[derive(Debug)]
pub(crate) struct Instrument {
    listener: TcpListener,
    address: SocketAddr,
    press: Arc<Mutex<Press>>,
}

impl Instrument {
    /// Takes the address.
    ///
    /// # Errors
    /// [`TesterError::Listen`] where it is taken or not ours.
    pub(crate) async fn bind(address: SocketAddr, setup: Setup, pace: Pace) -> Result<Self, TesterError> {
        let listen = |error| TesterError::Listen { address, error };
        let listener = TcpListener::bind(address).await.map_err(listen)?;
        Ok(Self {
            address: listener.local_addr().map_err(listen)?,
            listener,
            press: Arc::new(Mutex::new(Press::new(setup, pace))),
        })
    }

    /// Where it listens.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves until told to end.
    pub(crate) async fn serve(self, shutdown: CancellationToken) {
        let permits = Arc::new(Semaphore::new(CONNECTIONS_MAX));
        loop {
            let accepted = tokio::select! {
                () = shutdown.cancelled() => return,
                accepted = self.listener.accept() => accepted,
            };
            let (Ok((stream, _)), Ok(permit)) = (accepted, Arc::clone(&permits).try_acquire_owned()) else {
                tokio::task::yield_now().await;
                continue;
            };
            let (press, shutdown) = (Arc::clone(&self.press), shutdown.clone());
            tokio::spawn(async move {
                tokio::select! {
                    () = shutdown.cancelled() => {}
                    // A client that hangs up is its own affair.
                    _ = converse(stream, press) => {}
                }
                drop(permit);
            });
        }
    }
}

async fn converse(stream: TcpStream, press: Arc<Mutex<Press>>) -> io::Result<()> {
    stream.set_nodelay(true)?;
    let (from, mut to) = stream.into_split();
    let mut from = BufReader::new(from);
    let (mut sealed, mut answers) = (false, 0_u64);
    loop {
        let mut message = Vec::new();
        (&mut from)
            .take(MESSAGE_BYTES_MAX)
            .read_until(b'\n', &mut message)
            .await?;
        if !message.ends_with(b"\n") {
            return Ok(());
        }
        let message = String::from_utf8_lossy(&message).into_owned();
        let answer = {
            let mut press = press.lock().unwrap_or_else(PoisonError::into_inner);
            press.message(&message, &mut sealed)
        };
        if let Some(answer) = answer {
            answers += 1;
            let line = match sealed {
                true => {
                    let covered = format!("{answer}*{answers}");
                    format!("{covered}*{:08x}\n", crc32c::crc32c(covered.as_bytes()))
                }
                false => answer + "\n",
            };
            to.write_all(line.as_bytes()).await?;
        }
    }
}

/// The press, as all connections see it.
#[derive(Debug)]
struct Press {
    setup: Setup,
    pace: Pace,
    readings: Readings,
    /// When the press began.
    began: Option<Instant>,
    /// The reading on the display; none: the test is over, or has not begun.
    shown: Option<Reading>,
    /// The one after it, once it was looked for.
    next: Option<Reading>,
    faults: VecDeque<String>,
    events: u8,
}

impl Press {
    fn new(setup: Setup, pace: Pace) -> Self {
        let mut readings = Readings::of(&setup);
        Self {
            next: readings.next(),
            readings,
            setup,
            pace,
            began: None,
            shown: None,
            faults: VecDeque::new(),
            events: 0,
        }
    }

    /// Obeys a message; the answers of its queries as one.
    fn message(&mut self, message: &str, sealed: &mut bool) -> Option<String> {
        let mut answers = Vec::new();
        let mut branch: Vec<String> = Vec::new();
        let mut taken = false;
        for unit in message.trim().split(';').map(str::trim).filter(|unit| !unit.is_empty()) {
            let (header, parameter) = unit
                .split_once(' ')
                .map_or((unit, ""), |(head, rest)| (head, rest.trim()));
            if header.starts_with('*') {
                answers.extend(self.common(&header.to_ascii_uppercase(), parameter));
                continue;
            }
            let own = header.trim_start_matches(':').split(':').map(str::to_owned);
            let path: Vec<String> = if header.starts_with(':') {
                own.collect()
            } else {
                branch.iter().cloned().chain(own).collect()
            };
            if is(&path, "MEASure:DEFLection?") || is(&path, "MEASure:LOAD?") {
                // One message shows one reading.
                if !std::mem::replace(&mut taken, true) {
                    self.look();
                }
            }
            answers.extend(self.command(&path, parameter, sealed));
            branch = path;
            branch.pop();
        }
        (!answers.is_empty()).then(|| answers.join(";"))
    }

    fn common(&mut self, header: &str, parameter: &str) -> Option<String> {
        if !parameter.is_empty() {
            self.fault("-108,\"Parameter not allowed\"");
            return None;
        }
        match header {
            "*IDN?" => return Some("Springwright,simulated rate tester,0,1".to_owned()),
            "*OPC?" => return Some("1".to_owned()),
            "*TST?" => return Some("0".to_owned()),
            "*ESR?" => return Some(std::mem::take(&mut self.events).to_string()),
            "*RST" => {
                self.readings = Readings::of(&self.setup);
                self.next = self.readings.next();
                (self.began, self.shown) = (None, None);
            }
            "*CLS" => {
                self.faults.clear();
                self.events = 0;
            }
            "*OPC" => self.events |= OPERATION_COMPLETE,
            "*WAI" => {}
            _ => self.fault("-113,\"Undefined header\""),
        }
        None
    }

    fn command(&mut self, path: &[String], parameter: &str, sealed: &mut bool) -> Option<String> {
        let takes_one = is(path, "SYSTem:COMMunicate:CHECksum");
        if parameter.is_empty() == takes_one {
            self.fault(if takes_one {
                "-109,\"Missing parameter\""
            } else {
                "-108,\"Parameter not allowed\""
            });
            return None;
        }
        if is(path, "MEASure:DEFLection?") {
            return Some(self.deflection());
        }
        if is(path, "MEASure:LOAD?") {
            return Some(self.load());
        }
        if is(path, "STATus:OPERation:CONDition?") {
            return Some(if self.measures() { MEASURING } else { "0" }.to_owned());
        }
        if is(path, "SYSTem:ERRor?") || is(path, "SYSTem:ERRor:NEXT?") {
            return Some(self.faults.pop_front().unwrap_or_else(|| "0,\"No error\"".to_owned()));
        }
        if is(path, "SYSTem:VERSion?") {
            return Some("1999.0".to_owned());
        }
        if is(path, "INITiate") || is(path, "INITiate:IMMediate") {
            self.began.get_or_insert_with(Instant::now);
        } else if is(path, "ABORt") {
            (self.shown, self.next) = (None, None);
        } else if takes_one {
            match parameter.to_ascii_uppercase().as_str() {
                "ON" | "1" => *sealed = true,
                "OFF" | "0" => *sealed = false,
                _ => self.fault("-224,\"Illegal parameter value\""),
            }
        } else {
            self.fault("-113,\"Undefined header\"");
        }
        None
    }

    fn fault(&mut self, fault: &str) {
        self.events |= COMMAND_ERROR;
        if self.faults.len() < FAULTS_MAX {
            self.faults.push_back(fault.to_owned());
        } else if let Some(last) = self.faults.back_mut() {
            "-350,\"Queue overflow\"".clone_into(last);
        }
    }

    /// Puts the reading of this moment on the display; without pacing, the next one.
    fn look(&mut self) {
        let began = *self.began.get_or_insert_with(Instant::now);
        let due = match self.pace {
            Pace::Fast => {
                self.shown = self.next.take();
                self.next = self.readings.next();
                return;
            }
            Pace::Times(times) => began.elapsed().as_secs_f64() * times * self.setup.sample_rate,
        };
        while let Some(next) = self.next.take_if(|next| next.number as f64 <= due) {
            self.shown = Some(next);
            self.next = self.readings.next();
        }
        // The last one stays for as long as it takes to the one after it.
        if self.next.is_none() && self.shown.as_ref().is_some_and(|last| due >= (last.number + 1) as f64) {
            self.shown = None;
        }
    }

    fn measures(&self) -> bool {
        self.began.is_some() && (self.shown.is_some() || self.next.is_some())
    }

    fn deflection(&self) -> String {
        let decimals = Display::of(self.setup.deflection_resolution.value()).decimals;
        match &self.shown {
            Some(reading) => format!("{:.decimals$}", reading.deflection),
            None => "9.91E37".to_owned(),
        }
    }

    fn load(&self) -> String {
        let decimals = Display::of(self.setup.resolution.value()).decimals;
        let row = self.setup.resolution.unit().row();
        let capacity = row.of_si(ForceUnit::Newton.row().to_si(self.setup.capacity));
        match &self.shown {
            Some(reading) if reading.load.abs() >= capacity => {
                if reading.load < 0.0 { "-9.9E37" } else { "9.9E37" }.to_owned()
            }
            // As NR3, which nobody writes for people: whoever reads it must be able to.
            Some(reading) => format!("{:.*E}", decimals + 4, reading.load),
            None => "9.91E37".to_owned(),
        }
    }
}

/// Whether a header is a command's, each of its words in the long or the short form (its capitals).
fn is(path: &[String], command: &str) -> bool {
    let words: Vec<&str> = command.split(':').collect();
    words.len() == path.len()
        && words.iter().zip(path).all(|(word, given)| {
            let short: String = word.chars().filter(|c| !c.is_ascii_lowercase()).collect();
            given.eq_ignore_ascii_case(word) || given.eq_ignore_ascii_case(&short)
        })
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::setup::Options;
    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        options: Options,
    }

    fn press(arguments: &[&str]) -> Press {
        let line = Line::try_parse_from(["tester"].iter().chain(arguments)).unwrap();
        Press::new(Setup::try_from(&line.options).unwrap(), line.options.pace())
    }

    fn said(press: &mut Press, message: &str) -> String {
        press.message(message, &mut false).unwrap_or_default()
    }

    #[test]
    fn messages_follow_the_syntax_of_the_standard() {
        let mut press = press(&["--fast"]);
        assert!(said(&mut press, "*idn?").starts_with("Springwright,"));
        assert_eq!(said(&mut press, "SYST:ERR?"), "0,\"No error\"");
        assert_eq!(said(&mut press, "bend it"), "");
        assert_eq!(said(&mut press, "system:error:next?"), "-108,\"Parameter not allowed\"");
        assert_eq!(said(&mut press, "MEAS:BEND?;*ESR?"), "32");
        assert_eq!(said(&mut press, ":SYST:ERR?;VERS?"), "-113,\"Undefined header\";1999.0");
        assert_eq!(said(&mut press, "MEASure:DEFL?;LOAD?").split(';').count(), 2);
        assert_eq!(said(&mut press, "*CLS;*OPC?;:SYST:ERR?"), "1;0,\"No error\"");
        assert_eq!(said(&mut press, "STAT:OPER:COND?"), "16");
        assert_eq!(said(&mut press, "ABOR;:STAT:OPER:COND?;:MEAS:LOAD?"), "0;9.91E37");
        assert_eq!(said(&mut press, "*RST;STAT:OPER:COND?"), "0");
    }

    #[test]
    fn one_message_shows_one_reading_and_each_reading_comes_once() {
        let mut press = press(&["--fast", "--noise", "0 N"]);
        let mut count = 0;
        let wanted: Vec<Reading> = Readings::of(&press.setup).collect();
        loop {
            let answer = said(&mut press, "MEAS:DEFL?;LOAD?;:STAT:OPER:COND?");
            let values: Vec<f64> = answer.split(';').map(|text| text.parse().unwrap()).collect();
            if values[2] == 0.0 {
                break;
            }
            assert_eq!((values[0], values[1]), (wanted[count].deflection, wanted[count].load));
            count += 1;
        }
        assert_eq!(count, wanted.len());
    }

    #[test]
    fn where_the_cell_ends_there_is_no_number() {
        let mut press = press(&["--fast", "--capacity", "200 N"]);
        let answers: Vec<String> = (0..500).map(|_| said(&mut press, "MEAS:LOAD?")).collect();
        assert!(answers.iter().any(|answer| answer == "9.9E37"));
    }
}
