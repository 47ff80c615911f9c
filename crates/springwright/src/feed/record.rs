//! Sends a run's blocks and sees them acknowledged, over as many connections as it takes.

use std::time::Duration;

use rand::Rng;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep, sleep_until, timeout};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Status, Streaming};
use tonic_types::StatusExt;
use wire::v1;
use wire::v1::instruction::Action;
use wire::v1::record_run_request::Step as Request;
use wire::v1::record_run_response::Step as Reply;
use wire::v1::run_service_client::RunServiceClient;

use super::outbox::{Outbox, Supply, SupplyState};
pub(crate) use failure::RecordError;
use failure::{passes, reason};
use stream::{Step, Stream};

mod failure;
mod stream;

/// How long the server may take to answer a header or a finish, or to acknowledge anything while blocks are outstanding.
const ANSWER_WAIT: Duration = Duration::from_secs(20);
/// First wait before connecting again; doubles up to the longest.
const BACKOFF_FIRST: Duration = Duration::from_millis(50);
/// Longest wait before connecting again: someone who restarts the server does not wait longer than this for the feed.
const BACKOFF_LONGEST: Duration = Duration::from_secs(5);
/// Requests on their way to the connection: flow control beyond this is the connection's own.
const OUTGOING: usize = 8;
/// What a server that states no bound is held to.
const OUTSTANDING_DEFAULT: i64 = 64;

/// What others may ask of a recording, and it of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Controls {
    /// The test is over: read no more, send what is there, finish.
    pub(crate) finish: CancellationToken,
    /// Leave at once; the run stays open and can be taken up again.
    pub(crate) leave: CancellationToken,
}

impl Controls {
    /// Those of one run of several: what ends them all ends it, not the other way round.
    pub(crate) fn child(&self) -> Self {
        Self {
            finish: self.finish.child_token(),
            leave: self.leave.child_token(),
        }
    }
}

/// The way between the bench and the instrument of a recording.
#[derive(Debug)]
pub(crate) struct Bench {
    /// What the bench asks for.
    pub(crate) orders: mpsc::Sender<v1::Instruction>,
    /// What the instrument is at; the newest counts.
    pub(crate) status: watch::Receiver<v1::InstrumentNotice>,
}

/// A finished recording.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Recorded {
    /// The run as the server has it.
    pub(crate) run: v1::Run,
    /// How many times the connection had to be made again.
    pub(crate) reconnects: u64,
}

/// Sends what an outbox supplies.
#[derive(Debug)]
pub(crate) struct Recorder {
    client: RunServiceClient<Channel>,
    header: v1::RunHeader,
    outbox: Outbox,
    controls: Controls,
    give_up_after: Duration,
    /// Whether the run is at the server's limit: seal what it holds.
    full: bool,
    accepted: u64,
    /// None: nobody is there to be told.
    bench: Option<Bench>,
    /// The run's name, once the server said it.
    run: String,
}

/// How one connection ended.
enum Ending {
    Finished(Box<v1::Run>),
    /// To be tried again, not before a while if the server says so.
    Lost {
        why: String,
        after: Option<Duration>,
    },
}

impl Recorder {
    /// Ready to connect.
    pub(crate) fn new(
        channel: Channel,
        header: v1::RunHeader,
        outbox: Outbox,
        controls: Controls,
        give_up_after: Duration,
    ) -> Self {
        Self {
            client: RunServiceClient::new(channel),
            header,
            outbox,
            controls,
            give_up_after,
            full: false,
            accepted: 0,
            bench: None,
            run: String::new(),
        }
    }

    /// With an instrument that may be told something.
    pub(crate) fn with(self, bench: Bench) -> Self {
        Self {
            bench: Some(bench),
            ..self
        }
    }

    /// Sends until the run is sealed. As long as blocks may still come, it never gives the server up.
    ///
    /// # Errors
    /// [`RecordError`].
    pub(crate) async fn run(mut self) -> Result<Recorded, RecordError> {
        let mut supply = self.outbox.supply();
        let mut backoff = BACKOFF_FIRST;
        let mut alone_since = None;
        loop {
            let accepted = self.accepted;
            let ending = self.connection(&mut supply).await?;
            let (why, after) = match ending {
                Ending::Finished(run) => {
                    return Ok(Recorded {
                        run: *run,
                        reconnects: self.accepted.saturating_sub(1),
                    });
                }
                Ending::Lost { why, after } => (why, after),
            };
            if self.accepted > accepted {
                backoff = BACKOFF_FIRST;
                alone_since = None;
            }
            let since = *alone_since.get_or_insert_with(Instant::now);
            if supply.borrow().state != SupplyState::Open && since.elapsed() > self.give_up_after {
                return Err(RecordError::Unreachable {
                    waited: since.elapsed(),
                    last: why,
                });
            }
            tracing::warn!("{why}; connecting again");
            // Spread out, so that several feeds do not come back in step.
            let wait = after
                .unwrap_or(Duration::ZERO)
                .max(backoff.mul_f64(rand::rng().random_range(0.5..1.0)));
            tokio::select! {
                () = sleep(wait) => {}
                () = self.controls.leave.cancelled() => return Err(RecordError::LeftOpen),
            }
            backoff = (backoff * 2).min(BACKOFF_LONGEST);
        }
    }

    async fn connection(&mut self, supply: &mut watch::Receiver<Supply>) -> Result<Ending, RecordError> {
        let leave = self.controls.leave.clone();
        tokio::select! {
            () = leave.cancelled() => Err(RecordError::LeftOpen),
            ending = self.attempt(supply) => ending,
        }
    }

    async fn attempt(&mut self, supply: &mut watch::Receiver<Supply>) -> Result<Ending, RecordError> {
        let (sender, requests) = mpsc::channel(OUTGOING);
        let header = Request::Header(Box::new(self.header.clone()));
        // The channel is empty and its other end is right here.
        let _ = sender.try_send(request(header));
        let opened = timeout(ANSWER_WAIT, async {
            let mut replies = self
                .client
                .record_run(ReceiverStream::new(requests))
                .await?
                .into_inner();
            let first = replies.message().await?;
            Ok::<_, Status>((replies, first))
        });
        let (replies, first) = match opened.await {
            Ok(Ok(opened)) => opened,
            Ok(Err(status)) => return self.failed(status),
            Err(_) => return Ok(lost("the server does not answer")),
        };
        match first.and_then(|reply| reply.step) {
            Some(Reply::Accepted(accepted)) => self.accepted(accepted, sender, replies, supply).await,
            Some(Reply::Finished(run)) => Ok(Ending::Finished(Box::new(run))),
            Some(Reply::Progress(_) | Reply::Instruction(_)) | None => Ok(lost("the server did not accept the header")),
        }
    }

    async fn accepted(
        &mut self,
        accepted: v1::Accepted,
        sender: mpsc::Sender<v1::RecordRunRequest>,
        replies: Streaming<v1::RecordRunResponse>,
        supply: &mut watch::Receiver<Supply>,
    ) -> Result<Ending, RecordError> {
        self.accepted += 1;
        let durable = accepted.durable_through;
        tracing::info!(run = accepted.run, durable, "recording");
        self.run = accepted.run;
        let last = self.outbox.last().await?;
        if durable > last.number {
            return Err(RecordError::SpoolBehind {
                server: durable,
                spool: last.number,
            });
        }
        if self.outbox.mark(durable).await?.is_none() {
            return Err(RecordError::ServerBehind { server: durable });
        }
        self.outbox.acknowledge(durable);
        let stated = i64::from(accepted.max_unacknowledged_blocks);
        let mut stream = Stream {
            sender: Some(sender),
            next: durable + 1,
            durable,
            outstanding_max: if stated > 0 { stated } else { OUTSTANDING_DEFAULT },
            sealed: false,
            heard: Instant::now(),
        };
        self.exchange(&mut stream, replies, supply).await
    }

    async fn exchange(
        &mut self,
        stream: &mut Stream,
        mut replies: Streaming<v1::RecordRunResponse>,
        supply: &mut watch::Receiver<Supply>,
    ) -> Result<Ending, RecordError> {
        let mut status = self.bench.as_ref().map(|bench| bench.status.clone());
        // A server that was restarted knows nothing of it.
        let mut untold = status
            .as_ref()
            .is_some_and(|status| *status.borrow() != v1::InstrumentNotice::default());
        loop {
            let now = *supply.borrow_and_update();
            let step = if untold && stream.takes() {
                Step::Notice
            } else {
                stream.step(now, self.full)
            };
            if step == Step::Part {
                return Err(self.part(stream).await);
            }
            tokio::select! {
                biased;
                reply = replies.message() => match reply {
                    Ok(Some(reply)) => {
                        stream.heard = Instant::now();
                        if let Some(run) = self.heard(stream, reply) {
                            return Ok(Ending::Finished(Box::new(run)));
                        }
                    }
                    Ok(None) => return Ok(lost("the server ended the stream")),
                    Err(status) => return self.failed(status),
                },
                permitted = stream.ready(), if step.sends() => match permitted {
                    Some(permit) => {
                        let notice = status.as_mut().filter(|_| step == Step::Notice);
                        let next = match notice {
                            Some(status) => {
                                untold = false;
                                Request::Notice(status.borrow_and_update().clone())
                            }
                            None => self.next(stream, step).await?,
                        };
                        permit.send(request(next));
                    }
                    // The server takes nothing more; its reason is among the replies.
                    None => stream.sender = None,
                },
                () = news(&mut status), if !untold => untold = true,
                changed = supply.changed(), if !step.sends() && !stream.sealed => if changed.is_err() {
                    return Err(RecordError::LeftOpen);
                },
                () = sleep_until(stream.heard + ANSWER_WAIT), if stream.waits() => {
                    return Ok(lost("the server acknowledges nothing"));
                }
            }
        }
    }

    /// Leaves the run as it is; one that never had a sample is no run.
    async fn part(&mut self, stream: &Stream) -> RecordError {
        if stream.durable > 0 {
            return RecordError::LeftOpen;
        }
        let request = v1::DiscardRunRequest {
            name: self.run.clone(),
            request_id: uuid::Uuid::new_v4().to_string(),
            ..Default::default()
        };
        // What cannot be discarded now shows on the bench as interrupted and empty.
        let _ = timeout(ANSWER_WAIT, self.client.discard_run(request)).await;
        RecordError::NothingRecorded
    }

    async fn next(&mut self, stream: &mut Stream, step: Step) -> Result<Request, RecordError> {
        if stream.next == stream.durable + 1 {
            // Nothing was outstanding: the wait for an answer begins now.
            stream.heard = Instant::now();
        }
        if step == Step::Block {
            let block = self.outbox.read(stream.next).await?;
            stream.next += 1;
            return Ok(Request::Block(block));
        }
        let last = self.outbox.last().await?;
        let sealed = if self.full {
            self.outbox.mark(stream.durable).await?.unwrap_or(last)
        } else {
            last
        };
        stream.sealed = true;
        stream.heard = Instant::now();
        Ok(Request::Finish(v1::Finish {
            block_count: sealed.number,
            sample_count: sealed.samples,
            crc32c: Some(sealed.crc32c),
        }))
    }

    /// Takes a reply; gives the run once it is sealed.
    fn heard(&self, stream: &mut Stream, reply: v1::RecordRunResponse) -> Option<v1::Run> {
        match reply.step {
            Some(Reply::Progress(progress)) => {
                stream.durable = stream.durable.max(progress.durable_through);
                self.outbox.acknowledge(stream.durable);
                None
            }
            Some(Reply::Finished(run)) => Some(run),
            Some(Reply::Instruction(instruction)) => {
                self.instructed(&instruction);
                None
            }
            Some(Reply::Accepted(_)) | None => None,
        }
    }

    fn instructed(&self, instruction: &v1::Instruction) {
        let name = instruction.action().as_str_name();
        tracing::info!("the bench says {name}: {}", instruction.text);
        let told = self
            .bench
            .as_ref()
            .is_some_and(|bench| bench.orders.try_send(instruction.clone()).is_ok());
        // Nobody there, or a source that was read to its end: what is kept is finished.
        if !told && instruction.action() == Action::Finish {
            self.controls.finish.cancel();
        }
    }

    /// Sorts a status into what passes and what does not.
    fn failed(&mut self, status: Status) -> Result<Ending, RecordError> {
        let reason = reason(&status);
        match reason.as_deref() {
            Some("SUPERSEDED") => return Err(RecordError::Superseded(status.message().to_owned())),
            Some("RUN_FULL") if !self.full => {
                self.full = true;
                self.controls.finish.cancel();
                return Ok(lost("the run is at the server's limit"));
            }
            Some("OVERLOADED" | "DISK_LOW" | "IN_DOUBT" | "SHUTTING_DOWN" | "DEADLINE") => {}
            Some(_) => return Err(RecordError::Refused(Box::new(status))),
            None if !passes(status.code()) => return Err(RecordError::Refused(Box::new(status))),
            None => {}
        }
        let after = status
            .get_error_details()
            .retry_info()
            .and_then(|retry| retry.retry_delay);
        Ok(Ending::Lost {
            why: reason.unwrap_or_else(|| format!("connection lost ({})", status.message())),
            after,
        })
    }
}

/// Waits until the instrument is at something else.
async fn news(status: &mut Option<watch::Receiver<v1::InstrumentNotice>>) {
    if let Some(status) = status
        && status.changed().await.is_ok()
    {
        return;
    }
    // Nobody is there, or the reading is over: no more of it.
    std::future::pending().await
}

fn lost(why: &str) -> Ending {
    Ending::Lost {
        why: why.to_owned(),
        after: None,
    }
}

fn request(step: Request) -> v1::RecordRunRequest {
    v1::RecordRunRequest { step: Some(step) }
}
