//! The instrument feed: reads a tester's lines and records them as a run, without loss and without repeating.
//!
//! Lines become samples (`decode`), samples drafts of blocks (`intake`), drafts numbered blocks on disk (`spool`), and only
//! what is on disk is sent (`record`). A feed that dies is started again with the same command: the spool knows run,
//! source and place. Where the source cannot say its lines again, what is missing is told as a gap.

mod columns;
mod decode;
mod intake;
mod options;
mod outbox;
mod reader;
mod record;
mod report;
mod source;
mod spool;

use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio_stream::{Stream, StreamExt};
use tonic::transport::{Channel, Endpoint};
use wire::v1;

#[allow(unused_imports, reason = "the demo records without a line in between")]
pub(crate) use decode::Sample;
pub(crate) use options::Options;
pub(crate) use record::{Controls, RecordError, Recorded};
pub(crate) use report::FeedReport;

use columns::Columns;
use decode::{Format, Separator};
use intake::{Clock, Draft, Intake, Place, Rules, Unreadable};
use outbox::{Outbox, SupplyState, WhenFull};
use reader::{Opened, ReadReport, Reader};
use record::Recorder;
use source::{Declared, PreambleError, Source, Start};
use spool::{Head, Spool, SpoolError};

/// Drafts between reader and spool: bounded, so that a slow disk slows the reader and fills no memory.
const DRAFTS_WAITING: usize = 64;
/// How long a connection to the server may take.
const CONNECT_WAIT: Duration = Duration::from_secs(5);
/// Signs of life between feed and server, and how long one may be owed.
const KEEP_ALIVE: Duration = Duration::from_secs(10);
const MEGABYTE: u64 = 1_000_000;

/// Why a feed ended without a finished run.
#[derive(Debug)]
pub(crate) enum FeedError {
    /// The server's address is none.
    Server(String),
    /// The source cannot be opened or broke off for good.
    Source {
        /// Which.
        source: Source,
        /// What the system said.
        error: std::io::Error,
    },
    /// The source does not say what it holds.
    Preamble(PreambleError),
    /// The source holds nothing that can be read.
    Unreadable(Unreadable),
    /// The source ended without one sample.
    NoSamples,
    /// A tester came back with another test.
    OtherTest {
        /// What was asked for.
        expected: String,
        /// What it says it has.
        found: String,
    },
    /// The spool belongs to another source.
    OtherSource {
        /// The spool.
        spool: PathBuf,
        /// What it was begun with.
        begun_with: String,
    },
    /// There is no folder for the spool.
    NoStateFolder,
    /// The spool failed.
    Spool(SpoolError),
    /// The recording ended early; what was kept is in the spool.
    Record {
        /// The spool.
        spool: PathBuf,
        /// Why.
        error: RecordError,
    },
}

impl fmt::Display for FeedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Server(text) => write!(f, "\"{text}\" is no server's address; write http://HOST:PORT"),
            Self::Source { source, error } => write!(f, "{source}: {error}"),
            Self::Preamble(error) => error.fmt(f),
            Self::Unreadable(Unreadable::DecimalComma { line, complaint }) => write!(f, "line {line}: {complaint}"),
            Self::Unreadable(Unreadable::NothingReadable { line, complaint }) => {
                write!(
                    f,
                    "not one sample so far; line {line}: {complaint}; see --columns, --separator, --skip-lines"
                )
            }
            Self::Unreadable(Unreadable::TooManyMalformed { limit }) => write!(f, "more than {limit} malformed lines"),
            Self::NoSamples => write!(f, "the source ended without one sample; nothing was recorded"),
            Self::OtherTest { expected, found } => {
                write!(
                    f,
                    "the tester came back with {found} instead of {expected}; begin a new run with --new-run"
                )
            }
            Self::OtherSource { spool, begun_with } => write!(
                f,
                "spool {} holds an unfinished run of {begun_with}; name another --spool, or put it aside with --new-run",
                spool.display()
            ),
            Self::NoStateFolder => write!(f, "neither XDG_STATE_HOME nor HOME is set; name a file with --spool"),
            Self::Spool(error) => error.fmt(f),
            Self::Record { spool, error } => write!(
                f,
                "{error}; the run's blocks are kept in {}: the same command goes on, --new-run begins another",
                spool.display()
            ),
        }
    }
}

impl std::error::Error for FeedError {}

impl From<SpoolError> for FeedError {
    fn from(error: SpoolError) -> Self {
        Self::Spool(error)
    }
}

/// Runs the verb. The first interrupt ends the test and finishes the run; the second, or a request to terminate, leaves at
/// once, and the same command goes on later.
///
/// # Errors
/// [`FeedError`].
pub(crate) async fn run(options: Options) -> Result<FeedReport, FeedError> {
    let controls = Controls::default();
    let signals = tokio::spawn(heed_signals(controls.clone()));
    let outcome = run_with(options, controls).await;
    signals.abort();
    outcome
}

async fn heed_signals(controls: Controls) {
    let terminate = terminated();
    tokio::pin!(terminate);
    loop {
        tokio::select! {
            interrupted = tokio::signal::ctrl_c() => {
                if interrupted.is_err() {
                    return;
                }
                let token = if controls.finish.is_cancelled() { &controls.leave } else { &controls.finish };
                token.cancel();
            }
            () = &mut terminate => {
                controls.leave.cancel();
                return;
            }
        }
    }
}

#[cfg(unix)]
async fn terminated() {
    match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(mut signal) => {
            signal.recv().await;
        }
        Err(_) => std::future::pending().await,
    }
}

#[cfg(not(unix))]
async fn terminated() {
    std::future::pending().await
}

/// Feeds under somebody's control.
///
/// # Errors
/// [`FeedError`].
pub(crate) async fn run_with(options: Options, controls: Controls) -> Result<FeedReport, FeedError> {
    let channel = channel(&options.server)?;
    let path = spool_path(&options)?;
    if options.new_run {
        put_aside(&path)?;
    }
    let begun = tokio::select! {
        begun = begin(&options, &path) => begun?,
        () = controls.leave.cancelled() => return Err(left(&path)),
        () = controls.finish.cancelled() => return Err(FeedError::NoSamples),
    };
    Feed {
        options,
        controls,
        path,
        begun,
    }
    .run(channel)
    .await
}

fn left(path: &Path) -> FeedError {
    FeedError::Record {
        spool: path.to_owned(),
        error: RecordError::LeftOpen,
    }
}

fn channel(server: &str) -> Result<Channel, FeedError> {
    let address = if server.contains("://") {
        server.to_owned()
    } else {
        format!("http://{server}")
    };
    let endpoint = Endpoint::from_shared(address).map_err(|_| FeedError::Server(server.to_owned()))?;
    Ok(endpoint
        .connect_timeout(CONNECT_WAIT)
        .tcp_nodelay(true)
        .http2_keep_alive_interval(KEEP_ALIVE)
        .keep_alive_timeout(KEEP_ALIVE)
        .keep_alive_while_idle(true)
        .connect_lazy())
}

/// One spool for one source: the same command finds it again.
fn spool_path(options: &Options) -> Result<PathBuf, FeedError> {
    if let Some(path) = &options.spool {
        return Ok(path.clone());
    }
    let folder = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let state = folder("XDG_STATE_HOME").or_else(|| Some(folder("HOME")?.join(".local/state")));
    let print = crc32c::crc32c(options.source().to_string().as_bytes());
    let state = state.ok_or(FeedError::NoStateFolder)?;
    Ok(state.join("springwright").join(format!("feed-{print:08x}.spool")))
}

/// Nothing unfinished is ever deleted: it gets another name.
fn put_aside(path: &Path) -> Result<(), FeedError> {
    if !path.exists() {
        return Ok(());
    }
    let aside = |number: u32| {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".aside-{number}"));
        PathBuf::from(name)
    };
    let free = (1..u32::MAX).map(aside).find(|path| !path.exists());
    let to = free.unwrap_or_else(|| aside(0));
    std::fs::rename(path, &to).map_err(|error| SpoolError::Io {
        path: path.to_owned(),
        error,
    })?;
    tracing::warn!("the unfinished run's spool is now {}", to.display());
    Ok(())
}

/// A recording ready to go: spool and, unless it was read to its end before, source.
struct Begun {
    outbox: Outbox,
    head: Head,
    source: Option<(Opened, Format, Place, Clock)>,
    resumed: bool,
    restarted: bool,
}

async fn begin(options: &Options, path: &Path) -> Result<Begun, FeedError> {
    let limit = options.spool_limit * MEGABYTE;
    let source = options.source();
    if path.exists() {
        let (spool, dropped) = Spool::open(path, limit)?;
        if let Some(dropped) = dropped {
            tracing::warn!("{dropped}");
        }
        return take_up(options, source, spool, path).await;
    }
    let opened = reader::open(&source, Start::Now, &options.declared()).await?;
    let format = opened.preamble.format.clone();
    let head = Head {
        source: source.to_string(),
        columns: format.columns.to_string(),
        separator: format.separator.name().to_owned(),
        skip_lines: options.skip_lines,
        resumes: opened.preamble.resumes,
        test: opened.preamble.test.clone(),
        header: Some(options.run.header(&format.columns)),
    };
    let spool = Spool::create(path, head.clone(), limit)?;
    Ok(Begun {
        outbox: Outbox::new(spool),
        head,
        source: Some((opened, format, Place::default(), Clock::default())),
        resumed: false,
        restarted: false,
    })
}

async fn take_up(options: &Options, source: Source, spool: Spool, path: &Path) -> Result<Begun, FeedError> {
    let head = spool.head().clone();
    if head.source != source.to_string() {
        return Err(FeedError::OtherSource {
            spool: path.to_owned(),
            begun_with: head.source,
        });
    }
    tracing::info!("taking up an unfinished run; what it is of stands in its spool, not in this command");
    let unknown = || FeedError::Spool(SpoolError::NoHead(path.to_owned()));
    let format = Format {
        columns: head.columns.parse::<Columns>().map_err(|_| unknown())?,
        separator: Separator::named(&head.separator).ok_or_else(unknown)?,
    };
    let (place, clock) = (spool.last().place(), spool.last().clock());
    let opened = if spool.ended() {
        None
    } else {
        let start = match source {
            Source::File(_) => Start::Byte(place.offset),
            Source::Tcp(_) if head.resumes => Start::Line(place.data_lines),
            Source::Tcp(_) | Source::Stdin => Start::Now,
        };
        let declared = Declared {
            skip_lines: head.skip_lines.saturating_sub(place.line),
            ..known(&format, options)
        };
        let opened = reader::open(&source, start, &declared).await?;
        Some((opened, format, place, clock))
    };
    let restarted = !matches!(source, Source::File(_)) && !head.resumes;
    Ok(Begun {
        outbox: Outbox::new(spool),
        head,
        source: opened,
        resumed: true,
        restarted,
    })
}

fn known(format: &Format, options: &Options) -> Declared {
    Declared {
        columns: Some(format.columns.clone()),
        separator: Some(format.separator),
        ..options.declared()
    }
}

/// What reading came to: its report, unless there was nothing to read, and the samples that found no room.
type Read = Result<(Option<ReadReport>, u64), FeedError>;
/// What sending came to; none: there was nothing to send.
type Sent = Result<Option<Recorded>, FeedError>;

struct Feed {
    options: Options,
    controls: Controls,
    path: PathBuf,
    begun: Begun,
}

impl Feed {
    async fn run(mut self, channel: Channel) -> Result<FeedReport, FeedError> {
        let outbox = self.begun.outbox.clone();
        let source = self.begun.source.take();
        let reading = async {
            match source {
                Some(source) => self.read(source).await,
                None => Ok((None, 0)),
            }
        };
        let (read, sent) = self.both(reading, self.send(channel)).await?;
        let (mut read, lost_samples) = read?;
        let last = outbox.last().await?;
        if let Some(error) = read.as_mut().and_then(|read| read.error.take()) {
            if last.number == 0 {
                outbox.remove().await?;
            }
            return Err(error);
        }
        let Some(recorded) = sent? else {
            outbox.remove().await?;
            return Err(FeedError::NoSamples);
        };
        outbox.remove().await?;
        let segments = if last.number == 0 {
            0
        } else {
            i64::from(last.clock().segment) + 1
        };
        let (complaints, source_reconnects) = read.map_or((Vec::new(), 0), |read| (read.complaints, read.reconnects));
        Ok(FeedReport {
            run: recorded.run.name,
            samples: recorded.run.sample_count,
            blocks: recorded.run.block_count,
            segments,
            gaps: last.gaps,
            malformed: last.place().malformed,
            complaints,
            lost_samples,
            beyond_limit: last.samples - recorded.run.sample_count,
            reconnects: recorded.reconnects,
            source_reconnects,
            resumed: self.begun.resumed,
        })
    }

    /// Reads and sends side by side, until the sending ends: it outlasts the reading, unless the run was finished by
    /// somebody else or refused, and then reading on would only fill the spool.
    async fn both(
        &self,
        reading: impl Future<Output = Read>,
        sending: impl Future<Output = Sent>,
    ) -> Result<(Read, Sent), FeedError> {
        tokio::pin!(reading, sending);
        let mut read = None;
        loop {
            tokio::select! {
                biased;
                () = self.controls.leave.cancelled() => return Err(left(&self.path)),
                done = &mut reading, if read.is_none() => read = Some(done),
                sent = &mut sending => return match (read, sent) {
                    (Some(read), sent) => Ok((read, sent)),
                    (None, Ok(sent)) => Ok((Ok((None, 0)), Ok(sent))),
                    (None, Err(error)) => Err(error),
                },
            }
        }
    }

    /// Reads the source into the spool.
    async fn read(&self, (opened, format, place, clock): (Opened, Format, Place, Clock)) -> Read {
        let outbox = self.begun.outbox.clone();
        let source = self.options.source();
        let when_full = match source {
            Source::File(_) => WhenFull::Wait,
            Source::Tcp(_) | Source::Stdin => WhenFull::LoseAndTell,
        };
        let rules = Rules {
            block_samples: self.options.block_samples(&format.columns),
            skip_lines: self.begun.head.skip_lines,
            malformed_max: self.options.max_malformed,
            format: format.clone(),
        };
        let mut reader = Reader {
            declared: known(&format, &self.options),
            resumes: self.begun.head.resumes,
            test: self.begun.head.test.clone(),
            intake: Intake::new(rules, place, clock),
            block_time: self.options.block_time(),
            patience: Duration::from_secs(self.options.source_patience_s),
            limited: self.options.max_malformed.is_some(),
            controls: self.controls.clone(),
            source,
        };
        if self.begun.restarted {
            // Nothing was read yet: there is no draft to cut, only the gap to tell.
            let _ = reader.intake.line_restarted("the feed was restarted");
        }
        let opened = match reader.check(opened) {
            Ok(opened) => opened,
            Err(error) => {
                outbox.broken();
                return Err(error);
            }
        };
        let (drafts, keep) = mpsc::channel(DRAFTS_WAITING);
        let keeping = outbox::keep_all(keep, outbox.clone(), when_full);
        let (read, kept) = tokio::join!(reader.run(opened, drafts), keeping);
        match kept {
            Ok(_) if read.complete => outbox.complete().await?,
            Ok(_) | Err(_) => outbox.broken(),
        }
        Ok((Some(read), kept?))
    }

    /// Sends the spool to the server.
    async fn send(&self, channel: Channel) -> Sent {
        let outbox = self.begun.outbox.clone();
        let mut supply = outbox.supply();
        // A run is begun with its first block, so that a source that cannot be read leaves no empty run behind.
        let first = supply
            .wait_for(|supply| supply.kept_through > 0 || supply.state != SupplyState::Open)
            .await;
        if first.is_ok_and(|supply| supply.kept_through == 0) {
            return Ok(None);
        }
        let header = self.begun.head.header.clone().unwrap_or_default();
        let give_up_after = Duration::from_secs(self.options.give_up_after_s);
        let recorder = Recorder::new(channel, header, outbox.clone(), self.controls.clone(), give_up_after);
        recorder.run().await.map(Some).map_err(|error| FeedError::Record {
            spool: self.path.clone(),
            error,
        })
    }
}

/// Records samples that are at hand in the program itself, without a spool on disk: after its own end there is nothing to
/// go on with. A clock that goes back is not noticed here.
///
/// # Errors
/// [`RecordError`].
#[allow(dead_code, reason = "the demo records without a line in between")]
pub(crate) async fn record(
    channel: Channel,
    header: v1::RunHeader,
    samples: impl Stream<Item = Sample>,
) -> Result<Recorded, RecordError> {
    const MEMORY: u64 = 16 * MEGABYTE;
    const BLOCK_SAMPLES: usize = 256;
    let columns = header.columns.len();
    let head = Head {
        header: Some(header.clone()),
        ..Head::default()
    };
    let outbox = Outbox::new(Spool::in_memory(head, MEMORY)?);
    let recorder = Recorder::new(channel, header, outbox.clone(), Controls::default(), CONNECT_WAIT);
    let (drafts, keep) = mpsc::channel(DRAFTS_WAITING);
    let supplying = async {
        let blocks = samples.chunks_timeout(BLOCK_SAMPLES, Duration::from_millis(100));
        tokio::pin!(blocks);
        while let Some(samples) = blocks.next().await {
            if drafts.send(draft(&samples, columns)).await.is_err() {
                break;
            }
        }
        drop(drafts);
    };
    let keeping = async {
        outbox::keep_all(keep, outbox.clone(), WhenFull::Wait).await?;
        outbox.complete().await
    };
    let supplied = async {
        let ((), kept) = tokio::join!(supplying, keeping);
        match kept {
            Ok(()) => std::future::pending().await,
            Err(error) => RecordError::Spool(error),
        }
    };
    tokio::select! {
        recorded = recorder.run() => recorded,
        error = supplied => Err(error),
    }
}

fn draft(samples: &[Sample], columns: usize) -> Draft {
    let column = |index: usize| {
        samples
            .iter()
            .filter_map(|sample| sample.values.get(index).copied())
            .collect()
    };
    Draft {
        elapsed_ns: samples.iter().filter_map(|sample| sample.clock_ns).collect(),
        columns: (0..columns).map(column).collect(),
        ..Draft::default()
    }
}

#[cfg(test)]
mod tests;
