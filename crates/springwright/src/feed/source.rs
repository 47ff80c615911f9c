//! Where lines come from: a connection, a serial line, an instrument that is asked, a file, standard input. Bytes only; nothing
//! here knows what they mean.

use std::fmt;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::PathBuf;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::sync::mpsc;
use tokio::time::Instant;

use super::scpi::{self, Scpi};
use crate::progress::reading;
use crate::tty::{SerialSettings, Tty};

/// Bytes of one arrival.
const CHUNK_BYTES: usize = 16 * 1024;
/// Arrivals waiting to be read; a file waits beyond this, a connection's own window then fills.
const CHUNKS_WAITING: usize = 4;
/// What comes after so much silence on a line just opened begins a line: 50 ms are 48 characters at 9,600 baud.
const SILENCE: Duration = Duration::from_millis(50);
/// How long a connection to a tester may take.
const CONNECT_WAIT: Duration = Duration::from_secs(5);

/// A source of lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Source {
    /// A tester that listens.
    Tcp(String),
    /// A tester on a serial line.
    Serial(PathBuf, SerialSettings),
    /// An instrument that answers when it is asked.
    Scpi(Box<Scpi>),
    /// A file.
    File(PathBuf),
    /// Standard input.
    Stdin,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp(address) => write!(f, "tester {address}"),
            Self::Serial(device, _) => write!(f, "serial line {}", device.display()),
            Self::Scpi(scpi) => write!(f, "instrument {}", scpi.address),
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
pub(crate) struct Teller(Box<dyn AsyncWrite + Send + Sync + Unpin>);

impl Teller {
    /// Says words.
    ///
    /// # Errors
    /// What the system says.
    pub(crate) async fn say(&mut self, words: &str) -> io::Result<()> {
        self.0.write_all(words.as_bytes()).await
    }
}

impl fmt::Debug for Teller {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Teller")
    }
}

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
    /// Whether what it says while nobody listens is lost.
    pub(crate) fn is_live(&self) -> bool {
        !matches!(self, Self::File(_))
    }

    /// Whether its line can break in the midst of a line, and be made again.
    pub(crate) fn is_line(&self) -> bool {
        !matches!(self, Self::File(_) | Self::Stdin)
    }

    /// Opens it.
    ///
    /// # Errors
    /// What the system says; a file that is shorter than it was has changed.
    pub(crate) async fn open(&self, start: Start) -> io::Result<Wire> {
        match self {
            Self::Tcp(address) => {
                let stream = dial(address).await?;
                let (from, to) = stream.into_split();
                listen(from, to, start, None).await
            }
            Self::Serial(device, settings) => {
                let line = Tty::open(device, *settings)?;
                let (from, to) = tokio::io::split(line);
                listen(from, to, start, Some(Instant::now())).await
            }
            Self::Scpi(scpi) => Ok(scpi::open(scpi).await?.into()),
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

/// Connects to an instrument.
///
/// # Errors
/// What the system says.
pub(crate) async fn dial(address: &str) -> io::Result<TcpStream> {
    let connecting = tokio::time::timeout(CONNECT_WAIT, TcpStream::connect(address));
    let stream = connecting
        .await
        .map_err(|_| io::Error::from(io::ErrorKind::TimedOut))??;
    stream.set_nodelay(true)?;
    Ok(stream)
}

/// Reads a live line until it breaks. On one that was opened in the midst of what is said (`opened`), what comes at once may
/// be the rest of a line whose beginning nobody heard, and could pass for a reading: it is passed over.
async fn listen(
    mut from: impl AsyncRead + Send + Unpin + 'static,
    mut to: impl AsyncWrite + Send + Sync + Unpin + 'static,
    start: Start,
    opened: Option<Instant>,
) -> io::Result<Wire> {
    if let Start::Line(line) = start {
        to.write_all(format!("from {line}\n").as_bytes()).await?;
    }
    let (sender, arrivals) = mpsc::channel(CHUNKS_WAITING);
    tokio::spawn(async move {
        let mut in_midst = opened;
        loop {
            let mut bytes = vec![0; CHUNK_BYTES];
            let read = tokio::select! {
                read = from.read(&mut bytes) => read,
                () = sender.closed() => return,
            };
            let (last, arrival) = arrival(read, bytes);
            let Some(mut arrival) = arrival else { return };
            if let (Some(opened), Ok(bytes)) = (in_midst, &mut arrival) {
                if opened.elapsed() >= SILENCE {
                    in_midst = None;
                } else if let Some(end) = bytes.iter().position(|byte| *byte == b'\n') {
                    bytes.drain(..=end);
                    in_midst = None;
                } else {
                    continue;
                }
            }
            if sender.send(arrival).await.is_err() || last {
                return;
            }
        }
    });
    Ok(Wire {
        arrivals,
        teller: Some(Teller(Box::new(to))),
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
