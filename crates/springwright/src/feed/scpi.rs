//! An instrument that answers when it is asked: messages by IEEE 488.2 and SCPI-99 over TCP.
//!
//! It is asked who it is (`*IDN?`), set up, and then asked for its readings again and again, all of them in one message
//! (`MEAS:DEFL?;:MEAS:LOAD?`), so that they belong together; the answer is `12.30;45.6`. Numbers are those of IEEE 488.2: NR1
//! (`12`), NR2 (`12.30`), NR3 (`1.23E+1`). 9.9E37 and beyond, either sign, is no number by SCPI-99, 7.2.1.4 and 7.2.1.5 (infinity,
//! not a number): such a reading is told as a gap. The clock is this side's own, read when the answer is there.
//!
//! Message and answer go in turns. An answer that is late, incomplete or no answer may leave the two out of step, and the
//! next answer would be taken for another question's; the connection is then made anew, which is a gap and a new segment.
//! An answer has no checksum: what TCP carries is whole, but what stands behind a gateway to a serial line may be garbled
//! there, and a changed digit is taken for a reading. `--checksum` asks the instrument to end each answer with its number
//! and a checksum (see `seal`); the simulated tester can, by a command of its own.

use std::io;
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::sync::mpsc;
use tokio::time::{Instant, MissedTickBehavior, interval, timeout};

use super::seal;
use super::source::{Arrivals, dial};

/// Longest answer taken.
const ANSWER_BYTES_MAX: u64 = 4096;
/// Answers waiting to be read: no more than a moment's, or the clock would be that of the waiting.
const ANSWERS_WAITING: usize = 64;
/// Numbers from here on are no numbers (SCPI-99, 7.2.1.4: infinity is 9.9E37, not a number 9.91E37).
const NO_NUMBER: f64 = 9.9e37;
/// Faults of the set-up that are asked for, at most.
const FAULTS_MAX: usize = 20;
/// What makes the simulated tester end its answers with number and checksum.
const CHECKSUM_ON: &str = "SYST:COMM:CHEC ON";

/// How an instrument is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Scpi {
    /// Where it listens.
    pub(crate) address: String,
    /// What it is told once.
    pub(crate) setup: Vec<String>,
    /// What it is asked for each reading, in the order of the columns.
    pub(crate) queries: Vec<String>,
    /// What it answers with 0 once the test is over.
    pub(crate) busy: Option<String>,
    /// The columns, without the clock.
    pub(crate) columns: String,
    /// How many they are.
    pub(crate) column_count: usize,
    /// Time from one reading to the next; zero: as fast as it answers.
    pub(crate) period: Duration,
    /// How long an answer may take.
    pub(crate) patience: Duration,
    /// Whether its answers end with number and checksum.
    pub(crate) sealed: bool,
}

impl Scpi {
    /// Everything that is asked for a reading, as one message.
    fn message(&self) -> String {
        let mut message = String::new();
        for query in self.queries.iter().chain(&self.busy) {
            let query = query.trim();
            if !message.is_empty() {
                message.push(';');
                // From the root of the command tree, wherever the one before ended (SCPI-99, 6.2.4).
                if !query.starts_with([':', '*']) {
                    message.push(':');
                }
            }
            message.push_str(query);
        }
        message.push('\n');
        message
    }
}

/// What an answer to the whole message is.
#[derive(Debug, PartialEq)]
enum Answer {
    /// Readings, as the instrument wrote them; a word for one that is no number.
    Readings(Vec<String>),
    /// The test is over.
    Over,
}

/// Connects, asks who it is, sets it up, and begins to ask for readings, which come as lines.
///
/// # Errors
/// What the system says; that it does not answer, or refuses its set-up.
pub(crate) async fn open(scpi: &Scpi) -> io::Result<Arrivals> {
    let (from, to) = dial(&scpi.address).await?.into_split();
    let mut dialogue = Dialogue {
        from: BufReader::new(from),
        to,
        patience: scpi.patience,
        sealed: scpi.sealed,
        answers: 0,
    };
    if scpi.sealed {
        dialogue.tell(&format!("{CHECKSUM_ON}\n")).await?;
    }
    let identity = dialogue.ask("*IDN?\n").await?;
    let sane = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_graphic() || c == ' ');
    if !sane(&identity) {
        return Err(io::Error::other("it does not say who it is when asked by *IDN?"));
    }
    for command in &scpi.setup {
        dialogue.tell(&format!("{}\n", command.trim())).await?;
    }
    if !scpi.setup.is_empty() {
        dialogue.faults().await?;
    }
    let (sender, arrivals) = mpsc::channel(ANSWERS_WAITING);
    let scpi = scpi.clone();
    let opening = format!(
        "# test {identity}\n# columns elapsed:ns,{}\n# separator space\n",
        scpi.columns
    );
    tokio::spawn(async move {
        if sender.send(Ok(opening.into_bytes())).await.is_ok() {
            poll(dialogue, &scpi, &sender).await;
        }
    });
    Ok(arrivals)
}

/// Asks for readings until the test is over, the line breaks, or nobody wants them any more.
async fn poll(mut dialogue: Dialogue, scpi: &Scpi, lines: &mpsc::Sender<io::Result<Vec<u8>>>) {
    let message = scpi.message();
    let count = scpi.column_count;
    let began = Instant::now();
    let mut pace = interval(scpi.period.max(Duration::from_micros(1)));
    pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        if !scpi.period.is_zero() {
            pace.tick().await;
        }
        let answer = tokio::select! {
            answer = dialogue.ask(&message) => answer,
            () = lines.closed() => return,
        };
        let elapsed = began.elapsed().as_nanos();
        let (line, broken) = match answer {
            Ok(answer) => match read(&answer, count, scpi.busy.is_some()) {
                Ok(Answer::Readings(values)) => (format!("{elapsed} {}\n", values.join(" ")), None),
                Ok(Answer::Over) => ("# end\n".to_owned(), None),
                // One word is no line of columns: it is counted and told as damage.
                Err(why) => ("garbled\n".to_owned(), Some(io::Error::other(why))),
            },
            Err(error) if error.kind() == io::ErrorKind::InvalidData => ("garbled\n".to_owned(), Some(error)),
            Err(error) => (String::new(), Some(error)),
        };
        let over = line.starts_with('#');
        if !line.is_empty() && lines.send(Ok(line.into_bytes())).await.is_err() {
            return;
        }
        if let Some(error) = broken {
            let _ = lines.send(Err(error)).await;
            return;
        }
        if over {
            return;
        }
    }
}

/// Reads an answer of so many numbers, and of the one that says whether the test goes on.
fn read(answer: &str, count: usize, asks_busy: bool) -> Result<Answer, String> {
    let mut texts: Vec<&str> = answer.split([';', ',']).map(str::trim).collect();
    let wanted = count + usize::from(asks_busy);
    if texts.len() != wanted {
        return Err(format!("an answer of {} values instead of {wanted}", texts.len()));
    }
    let value = |text: &str| number(text).ok_or_else(|| "an answer that is no number".to_owned());
    if asks_busy && let Some(busy) = texts.pop() {
        // Whether it is over is a whole number, and nothing that looks like one.
        let busy: i64 = busy
            .parse()
            .map_err(|_| "an answer that is no whole number".to_owned())?;
        if busy == 0 {
            return Ok(Answer::Over);
        }
    }
    let readings: Result<Vec<String>, String> = texts
        .into_iter()
        .map(|text| {
            Ok(match value(text)? {
                number if number.abs() < NO_NUMBER => text.to_owned(),
                number if number.abs() > NO_NUMBER => "not-a-number".to_owned(),
                _ => "overflow".to_owned(),
            })
        })
        .collect();
    readings.map(Answer::Readings)
}

/// A number by IEEE 488.2, 8.7.2 to 8.7.4 (NR1, NR2, NR3): digits, a point, an exponent; nothing else that a machine may read
/// as one.
fn number(text: &str) -> Option<f64> {
    let unsigned = |text: &str| text.strip_prefix(['+', '-']).unwrap_or(text).to_owned();
    let (mantissa, exponent) = match text.split_once(['E', 'e']) {
        Some((mantissa, exponent)) => (mantissa, Some(unsigned(exponent))),
        None => (text, None),
    };
    let mantissa = unsigned(mantissa);
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((&mantissa, "0"));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || exponent.is_some_and(|exponent| !digits(&exponent)) {
        return None;
    }
    text.parse::<f64>().ok()
}

/// Messages and answers in turns.
struct Dialogue {
    from: BufReader<OwnedReadHalf>,
    to: OwnedWriteHalf,
    patience: Duration,
    sealed: bool,
    /// Answers so far.
    answers: u64,
}

impl Dialogue {
    async fn tell(&mut self, message: &str) -> io::Result<()> {
        timeout(self.patience, self.to.write_all(message.as_bytes()))
            .await
            .map_err(|_| io::Error::from(io::ErrorKind::TimedOut))?
    }

    async fn ask(&mut self, message: &str) -> io::Result<String> {
        self.tell(message).await?;
        let mut line = Vec::new();
        let mut from = (&mut self.from).take(ANSWER_BYTES_MAX);
        let count = timeout(self.patience, from.read_until(b'\n', &mut line))
            .await
            .map_err(|_| io::Error::new(io::ErrorKind::TimedOut, "it does not answer"))??;
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        let garbled = |why: &str| io::Error::new(io::ErrorKind::InvalidData, why.to_owned());
        let line = line
            .strip_suffix(b"\n")
            .ok_or_else(|| garbled("an answer without its end"))?;
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        self.answers += 1;
        let text = if self.sealed {
            let opened = seal::open(line).ok_or_else(|| garbled("an answer whose checksum is not right"))?;
            if opened.number != self.answers {
                return Err(garbled("an answer to another question"));
            }
            opened.text
        } else {
            line
        };
        String::from_utf8(text.to_vec()).map_err(|_| garbled("an answer that is not text"))
    }

    /// Asks for the faults of the set-up (SCPI-99, 21.8.11).
    async fn faults(&mut self) -> io::Result<()> {
        let mut faults = Vec::new();
        while faults.len() < FAULTS_MAX {
            let said = self.ask("SYST:ERR?\n").await?;
            let code = said.split(',').next().unwrap_or_default().trim();
            if code.trim_start_matches(['+', '-']) == "0" {
                break;
            }
            faults.push(said);
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(io::Error::other(format!(
                "it refuses its set-up: {}",
                faults.join("; ")
            )))
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn everything_is_asked_in_one_message_from_the_root() {
        let scpi = Scpi {
            address: String::new(),
            setup: Vec::new(),
            queries: vec!["MEAS:DEFL?".to_owned(), " :MEAS:LOAD? ".to_owned()],
            busy: Some("STAT:OPER:COND?".to_owned()),
            columns: String::new(),
            column_count: 2,
            period: Duration::ZERO,
            patience: Duration::ZERO,
            sealed: false,
        };
        assert_eq!(scpi.message(), "MEAS:DEFL?;:MEAS:LOAD?;:STAT:OPER:COND?\n");
    }

    #[test]
    fn answers_are_numbers_gaps_or_no_answers() {
        let readings = |texts: &[&str]| Ok(Answer::Readings(texts.iter().map(|text| (*text).to_owned()).collect()));
        assert_eq!(read("12.30;-4.56E+1", 2, false), readings(&["12.30", "-4.56E+1"]));
        assert_eq!(read("+12, 7", 2, false), readings(&["+12", "7"]));
        assert_eq!(read("1;9.9E37;16", 2, true), readings(&["1", "overflow"]));
        assert_eq!(read("1;9.91E37;16", 2, true), readings(&["1", "not-a-number"]));
        assert_eq!(read("9.91E37;9.91E37;0", 2, true), Ok(Answer::Over));
        for garbled in [
            "1", "1;2;3;4", "1;x", "1;", "1;inf", "1;NaN", "1;0x7", "1;1.2.3", "1;.", "1;E5", "1;--2", "1;1_0",
        ] {
            assert!(read(garbled, 2, false).is_err(), "{garbled}");
        }
        assert!(read("1;2;1.6E1", 2, true).is_err());
    }

    proptest! {
        #[test]
        fn what_is_taken_is_what_was_written(value in -1e9f64..1e9) {
            for text in [format!("{value}"), format!("{value:E}"), format!("{value:+.3}")] {
                prop_assert_eq!(number(&text), text.parse().ok());
            }
        }

        #[test]
        fn no_answer_upsets_it(answer in "\\PC{0,60}") {
            if let Ok(Answer::Readings(values)) = read(&answer, 2, false) {
                prop_assert_eq!(values.len(), 2);
            }
        }
    }
}
