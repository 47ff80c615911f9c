//! The instrument feed: reads a tester's lines and records them as a run, without loss and without repeating.
//!
//! Lines become samples (`decode`), samples drafts of blocks (`intake`), drafts numbered blocks on disk (`spool`), and only
//! what is on disk is sent (`record`). A feed that dies is started again with the same command: the spool knows run,
//! source and place. Where the source cannot say its lines again, what is missing is told as a gap.

mod beginning;
mod columns;
mod decode;
mod direct;
mod error;
mod instrument;
mod intake;
mod options;
mod outbox;
mod preamble;
mod reader;
mod record;
mod report;
mod scpi;
mod seal;
mod source;
mod spool;
mod stay;

use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tonic::transport::{Channel, Endpoint};
use wire::v1;
use wire::v1::instruction::Action;

#[allow(unused_imports, reason = "the demo records without a line in between")]
pub(crate) use decode::Sample;
#[allow(unused_imports, reason = "the demo records without a line in between")]
pub(crate) use direct::record;
pub(crate) use error::FeedError;
pub(crate) use options::Options;
pub(crate) use record::{Controls, RecordError, Recorded};
pub(crate) use report::FeedReport;
pub(crate) use stay::stay;

use beginning::{Begun, begin, known, put_aside, spool_path};
use decode::Format;
use instrument::Instrument;
use intake::{Clock, Intake, Place, Rules};
use outbox::{SupplyState, WhenFull};
use preamble::Declared;
use reader::{Opened, Orders, ReadReport, Reader, SharedTeller, tell};
use record::Recorder;

/// Drafts between reader and spool: bounded, so that a slow disk slows the reader and fills no memory.
const DRAFTS_WAITING: usize = 64;
/// How long a connection to the server may take.
const CONNECT_WAIT: Duration = Duration::from_secs(5);
/// Signs of life between feed and server, and how long one may be owed.
const KEEP_ALIVE: Duration = Duration::from_secs(10);
const MEGABYTE: u64 = 1_000_000;
/// Instructions of the bench on their way to the instrument.
const ORDERS_WAITING: usize = 8;
/// How long a feed that stays waits for a tester that went away: it may be switched off for the night.
const PATIENCE_OF_A_STAY: Duration = Duration::from_secs(30 * 86_400);

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

/// Runs the verb for one run after the other. The first interrupt ends the test at hand and the stay; the second, or a
/// request to terminate, leaves at once.
///
/// # Errors
/// [`FeedError`].
pub(crate) async fn run_on(options: Options, finished: impl FnMut(&FeedReport)) -> Result<(), FeedError> {
    let controls = Controls::default();
    let signals = tokio::spawn(heed_signals(controls.clone()));
    let outcome = stay(options, controls, finished).await;
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
        let (orders, instructed) = mpsc::channel(ORDERS_WAITING);
        let (at, status) = watch::channel(v1::InstrumentNotice::default());
        let teller = SharedTeller::default();
        let bench = record::Bench { orders, status };
        let reading = async {
            match source {
                Some(source) => self.read(source, instructed, at, &teller).await,
                None => Ok((None, 0)),
            }
        };
        let (read, sent) = self.both(reading, self.send(channel, bench), &teller).await?;
        let (mut read, lost_samples) = read?;
        let last = outbox.last().await?;
        if let Some(error) = read.as_mut().and_then(|read| read.error.take()) {
            if last.number == 0 {
                outbox.remove().await?;
            }
            return Err(error);
        }
        let recorded = match sent {
            Ok(recorded) => recorded,
            Err(FeedError::Record {
                error: RecordError::NothingRecorded,
                ..
            }) => None,
            Err(error) => return Err(error),
        };
        let Some(recorded) = recorded else {
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
        teller: &SharedTeller,
    ) -> Result<(Read, Sent), FeedError> {
        tokio::pin!(reading, sending);
        let mut read = None;
        loop {
            tokio::select! {
                biased;
                () = self.controls.leave.cancelled() => return Err(left(&self.path)),
                done = &mut reading, if read.is_none() => read = Some(done),
                sent = &mut sending => {
                    if read.is_none() && self.obeys(Action::Start) {
                        // Finished or given up elsewhere: no spring is pressed for nobody.
                        tell(teller, "stop\n").await;
                    }
                    return match (read, sent) {
                        (Some(read), sent) => Ok((read, sent)),
                        (None, Ok(sent)) => Ok((Ok((None, 0)), Ok(sent))),
                        (None, Err(error)) => Err(error),
                    };
                }
            }
        }
    }

    /// Whether the run was opened with an instrument that obeys an instruction.
    fn obeys(&self, action: Action) -> bool {
        let header = self.begun.head.header.as_ref();
        header.is_some_and(|header| header.obeys.contains(&(action as i32)))
    }

    /// Reads the source into the spool.
    async fn read(
        &self,
        (opened, format, place, clock): (Opened, Format, Place, Clock),
        orders: Orders,
        status: watch::Sender<v1::InstrumentNotice>,
        teller: &SharedTeller,
    ) -> Read {
        let outbox = self.begun.outbox.clone();
        let source = self.options.source();
        let when_full = if source.is_live() {
            WhenFull::LoseAndTell
        } else {
            WhenFull::Wait
        };
        let rules = Rules {
            block_samples: self.options.block_samples(&format.columns),
            skip_lines: self.begun.head.skip_lines,
            malformed_max: self.options.max_malformed,
            format: format.clone(),
        };
        let mut reader = Reader {
            declared: Declared {
                named: !self.begun.head.test.is_empty(),
                ..known(&format, &self.options)
            },
            // A file may hold a tester's words, but it is read on from a byte.
            resumes: self.begun.head.resumes && source.is_line(),
            test: self.begun.head.test.clone(),
            intake: Intake::new(rules, place, clock),
            block_time: self.options.block_time(),
            patience: match self.options.stay {
                true => PATIENCE_OF_A_STAY,
                false => Duration::from_secs(self.options.source_patience_s),
            },
            instrument: Instrument::new(opened.preamble.obeys.clone(), status),
            teller: SharedTeller::clone(teller),
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
        let (read, kept) = tokio::join!(reader.run(opened, drafts, orders), keeping);
        match kept {
            // A run without a sample is not sealed; whoever sends leaves no trace of it.
            Ok(_) if read.complete && outbox.last().await?.number > 0 => outbox.complete().await?,
            Ok(_) | Err(_) => outbox.broken(),
        }
        Ok((Some(read), kept?))
    }

    /// Sends the spool to the server.
    async fn send(&self, channel: Channel, bench: record::Bench) -> Sent {
        let outbox = self.begun.outbox.clone();
        let mut supply = outbox.supply();
        // A run is begun with its first block, so that a source that cannot be read leaves no empty run behind; one whose
        // instrument waits to be started waits where it can be.
        let waits = self.obeys(Action::Start);
        let first = supply
            .wait_for(|supply| waits || supply.kept_through > 0 || supply.state != SupplyState::Open)
            .await;
        if first.is_ok_and(|supply| supply.kept_through == 0 && (!waits || supply.state != SupplyState::Open)) {
            return Ok(None);
        }
        let header = self.begun.head.header.clone().unwrap_or_default();
        let give_up_after = Duration::from_secs(self.options.give_up_after_s);
        let recorder = Recorder::new(channel, header, outbox.clone(), self.controls.clone(), give_up_after);
        recorder
            .with(bench)
            .run()
            .await
            .map(Some)
            .map_err(|error| FeedError::Record {
                spool: self.path.clone(),
                error,
            })
    }
}

#[cfg(test)]
mod tests;
