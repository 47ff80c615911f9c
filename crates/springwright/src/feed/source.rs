//! Where lines come from: a connection, a file, standard input. Bytes only; nothing here knows what they mean.

use std::fmt;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::PathBuf;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::net::tcp::OwnedWriteHalf;
use tokio::sync::mpsc;

use wire::v1::instruction::Action;

use super::columns::{Columns, ColumnsError};
use super::decode::{self, Complaint, Format, Line, Note, Separator, Splitter};
use crate::progress::reading;

/// Bytes of one arrival.
const CHUNK_BYTES: usize = 16 * 1024;
/// Arrivals waiting to be read; a file waits beyond this, a connection's own window then fills.
const CHUNKS_WAITING: usize = 4;
/// Bytes in which a source must have come to its first data.
const PREAMBLE_BYTES_MAX: usize = 64 * 1024;
/// How long a connection to a tester may take.
const CONNECT_WAIT: Duration = Duration::from_secs(5);

/// A source of lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Source {
    /// A tester that listens.
    Tcp(String),
    /// A file.
    File(PathBuf),
    /// Standard input.
    Stdin,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp(address) => write!(f, "tester {address}"),
            Self::File(path) => write!(f, "file {}", path.display()),
            Self::Stdin => write!(f, "standard input"),
        }
    }
}

/// From where a source is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Start {
    /// From its beginning, or from whatever it says now.
    Now,
    /// From a line, which the source was heard to offer.
    Line(u64),
    /// From a byte of a file.
    Byte(u64),
}

/// The way to a source that may be told something; dropped, the source hears the end of it.
pub(crate) type Teller = OwnedWriteHalf;

/// An open line to a source.
#[derive(Debug)]
pub(crate) struct Wire {
    /// What it says.
    pub(crate) arrivals: Arrivals,
    /// The way back; none: it is a file or a pipe.
    pub(crate) teller: Option<Teller>,
}

impl From<Arrivals> for Wire {
    fn from(arrivals: Arrivals) -> Self {
        Self { arrivals, teller: None }
    }
}

/// Arriving bytes. The end of the channel is the end of the source; an error is a broken line.
pub(crate) type Arrivals = mpsc::Receiver<io::Result<Vec<u8>>>;

impl Source {
    /// Opens it.
    ///
    /// # Errors
    /// What the system says; a file that is shorter than it was has changed.
    pub(crate) async fn open(&self, start: Start) -> io::Result<Wire> {
        match self {
            Self::Tcp(address) => connect(address, start).await,
            Self::File(path) => {
                let mut file = std::fs::File::open(path)?;
                let mut done = 0;
                if let Start::Byte(offset) = start {
                    done = offset;
                    if file.metadata()?.len() < offset {
                        return Err(io::Error::other("it is shorter than what was read of it before"));
                    }
                    file.seek(SeekFrom::Start(offset))?;
                }
                Ok(in_thread(reading(file, done)).into())
            }
            Self::Stdin => Ok(in_thread(io::stdin()).into()),
        }
    }
}

async fn connect(address: &str, start: Start) -> io::Result<Wire> {
    let connecting = tokio::time::timeout(CONNECT_WAIT, TcpStream::connect(address));
    let mut stream = connecting
        .await
        .map_err(|_| io::Error::from(io::ErrorKind::TimedOut))??;
    stream.set_nodelay(true)?;
    if let Start::Line(line) = start {
        stream.write_all(format!("from {line}\n").as_bytes()).await?;
    }
    let (mut stream, teller) = stream.into_split();
    let (sender, arrivals) = mpsc::channel(CHUNKS_WAITING);
    tokio::spawn(async move {
        loop {
            let mut bytes = vec![0; CHUNK_BYTES];
            let read = tokio::select! {
                read = stream.read(&mut bytes) => read,
                () = sender.closed() => return,
            };
            let (last, arrival) = arrival(read, bytes);
            let Some(arrival) = arrival else { return };
            if sender.send(arrival).await.is_err() || last {
                return;
            }
        }
    });
    Ok(Wire {
        arrivals,
        teller: Some(teller),
    })
}

/// Files and standard input block: they get a thread of their own, which does not keep the program from ending.
fn in_thread(mut reader: impl Read + Send + 'static) -> Arrivals {
    let (sender, arrivals) = mpsc::channel(CHUNKS_WAITING);
    std::thread::spawn(move || {
        loop {
            let mut bytes = vec![0; CHUNK_BYTES];
            let read = reader.read(&mut bytes);
            let (last, arrival) = arrival(read, bytes);
            let Some(arrival) = arrival else { return };
            if sender.blocking_send(arrival).is_err() || last {
                return;
            }
        }
    });
    arrivals
}

/// What a read means: whether it was the last, and what to pass on.
fn arrival(read: io::Result<usize>, mut bytes: Vec<u8>) -> (bool, Option<io::Result<Vec<u8>>>) {
    match read {
        Ok(0) => (true, None),
        Ok(count) => {
            bytes.truncate(count);
            (false, Some(Ok(bytes)))
        }
        Err(error) if error.kind() == io::ErrorKind::Interrupted => (false, Some(Ok(Vec::new()))),
        Err(error) => (true, Some(Err(error))),
    }
}

/// What the command line says about a source's lines.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Declared {
    /// Columns and units.
    pub(crate) columns: Option<Columns>,
    /// What stands between them.
    pub(crate) separator: Option<Separator>,
    /// What stands between them where nobody says.
    pub(crate) separator_default: Separator,
    /// Lines at the start that are passed over.
    pub(crate) skip_lines: u64,
}

/// What is known of a source before its first sample.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Preamble {
    /// How its lines are read.
    pub(crate) format: Format,
    /// Whether it can leave out lines on request.
    pub(crate) resumes: bool,
    /// Which test it says it is; empty: it does not say.
    pub(crate) test: String,
    /// Lines it says it left out.
    pub(crate) from: u64,
    /// What it does when it is told to.
    pub(crate) obeys: Vec<Action>,
}

/// Why a source cannot be read at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum PreambleError {
    /// Nobody says what the columns are.
    NoColumns,
    /// The source's own header cannot be used.
    Columns(ColumnsError),
    /// The source's own separator is none.
    Separator(String),
    /// Source and command line disagree.
    Contradiction {
        /// By the source.
        source: String,
        /// By the command line.
        declared: String,
    },
    /// Its numbers are written with commas.
    DecimalComma {
        /// The line.
        line: u64,
        /// What was found.
        complaint: Complaint,
    },
}

impl fmt::Display for PreambleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoColumns => write!(
                f,
                "nobody says what the columns are; add --columns \"elapsed:us,deflection:mm,load:N\" with the units as they are"
            ),
            Self::Columns(error) => write!(f, "the source's own header: {error}"),
            Self::Separator(name) => write!(
                f,
                "the source's own header: \"{name}\" is no separator; known: space, comma, semicolon, tab"
            ),
            Self::Contradiction { source, declared } => write!(
                f,
                "the source says its columns are {source}, the command line says {declared}; one of them is wrong"
            ),
            Self::DecimalComma { line, complaint } => write!(f, "line {line}: {complaint}"),
        }
    }
}

impl std::error::Error for PreambleError {}

/// What the bytes up to here say about the source; none: its first data is still to come.
///
/// # Errors
/// [`PreambleError`].
pub(crate) fn preamble(bytes: &[u8], ended: bool, declared: &Declared) -> Result<Option<Preamble>, PreambleError> {
    let mut said = Said::default();
    let mut first = None;
    let mut splitter = Splitter::default();
    let mut lines = splitter.take(bytes);
    if ended || bytes.len() >= PREAMBLE_BYTES_MAX {
        lines.extend(splitter.rest());
    }
    for (number, raw) in (1u64..).zip(&lines) {
        if number <= declared.skip_lines {
            continue;
        }
        match raw.bytes.as_deref().map(decode::line) {
            Some(Ok(Line::Blank)) => {}
            Some(Ok(Line::Note(Note::End | Note::Waiting | Note::Started))) => {
                first = Some((number, None));
                break;
            }
            Some(Ok(Line::Note(note))) => said.note(&note)?,
            Some(Ok(Line::Data(text))) => {
                first = Some((number, Some(text)));
                break;
            }
            // Damage is for the intake to count.
            Some(Err(_)) | None => {
                first = Some((number, None));
                break;
            }
        }
    }
    let enough = ended || bytes.len() >= PREAMBLE_BYTES_MAX;
    let Some((number, text)) = first.or(enough.then_some((0, None))) else {
        return Ok(None);
    };
    let preamble = said.decide(declared)?;
    match text.map(|text| decode::sample(text, &preamble.format)) {
        Some(Err(complaint)) if complaint.is_decimal_comma() => Err(PreambleError::DecimalComma {
            line: number,
            complaint,
        }),
        Some(_) | None => Ok(Some(preamble)),
    }
}

#[derive(Debug, Default)]
struct Said {
    columns: Option<Columns>,
    separator: Option<Separator>,
    resumes: bool,
    test: String,
    from: u64,
    obeys: Vec<Action>,
}

impl Said {
    fn note(&mut self, note: &Note<'_>) -> Result<(), PreambleError> {
        match note {
            Note::Columns(text) => self.columns = Some(text.parse().map_err(PreambleError::Columns)?),
            Note::Separator(name) => {
                let separator = Separator::named(name).ok_or_else(|| PreambleError::Separator((*name).to_owned()))?;
                self.separator = Some(separator);
            }
            Note::Test(test) => self.test = (*test).to_owned(),
            Note::ResumeFromLine => self.resumes = true,
            Note::From(from) => self.from = *from,
            Note::Obeys(words) => self.obeys = obeyed(words),
            Note::End | Note::Waiting | Note::Started | Note::Tare(_) | Note::Refused(_) | Note::Other => {}
        }
        Ok(())
    }

    fn decide(self, declared: &Declared) -> Result<Preamble, PreambleError> {
        let columns = match (self.columns, &declared.columns) {
            (Some(source), Some(declared)) if source.fields() != declared.fields() => {
                return Err(PreambleError::Contradiction {
                    source: source.to_string(),
                    declared: declared.to_string(),
                });
            }
            (Some(columns), _) => columns,
            (None, Some(columns)) => columns.clone(),
            (None, None) => return Err(PreambleError::NoColumns),
        };
        let separator = declared
            .separator
            .or(self.separator)
            .unwrap_or(declared.separator_default);
        Ok(Preamble {
            format: Format { columns, separator },
            resumes: self.resumes,
            test: self.test,
            from: self.from,
            obeys: self.obeys,
        })
    }
}

/// What a source's own words for its commands mean; others may follow one day.
fn obeyed(words: &str) -> Vec<Action> {
    let meant = |word| match word {
        "start" => Some(Action::Start),
        "tare" => Some(Action::TareMark),
        "stop" => Some(Action::Stop),
        _ => None,
    };
    words.split_ascii_whitespace().filter_map(meant).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn declared(columns: Option<&str>) -> Declared {
        Declared {
            columns: columns.map(|text| text.parse().unwrap()),
            separator: None,
            separator_default: Separator::Space,
            skip_lines: 0,
        }
    }

    #[test]
    fn a_source_that_says_its_columns_needs_nobody_else_to() {
        let text = b"# test ab12\n# columns deflection:mm,load:N\n# separator tab\n# resume from-line\n# from 7\n1\t";
        assert_eq!(preamble(text, false, &declared(None)), Ok(None));
        let read = preamble(&[text.as_slice(), b"2\n"].concat(), false, &declared(None))
            .unwrap()
            .unwrap();
        assert_eq!(
            (read.format.separator, read.resumes, read.test.as_str(), read.from),
            (Separator::Tab, true, "ab12", 7)
        );
    }

    #[test]
    fn nobody_saying_the_units_is_refused_and_so_is_a_contradiction() {
        assert_eq!(
            preamble(b"1 2\n", false, &declared(None)),
            Err(PreambleError::NoColumns)
        );
        let contradiction = preamble(b"# columns load:lbf\n1\n", false, &declared(Some("load:N"))).unwrap_err();
        assert!(matches!(contradiction, PreambleError::Contradiction { .. }));
        assert!(
            preamble(b"1 2\n", false, &declared(Some("deflection:mm,load:N")))
                .unwrap()
                .is_some()
        );
    }

    #[test]
    fn decimal_commas_are_refused_before_anything_is_recorded() {
        let csv = Declared {
            separator: Some(Separator::Semicolon),
            skip_lines: 1,
            ..declared(Some("deflection:mm,load:N"))
        };
        let fault = preamble(b"s;F\n1,5;3\n", false, &csv).unwrap_err().to_string();
        assert_eq!(
            fault,
            "line 2: deflection has a decimal comma; the decimal sign is a point: write 1.5"
        );
    }
}
