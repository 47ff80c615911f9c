//! RecordRun: samples from an instrument to durable blocks.
//!
//! One task a stream. It takes a step, hands blocks over without waiting for the disk, and answers as they become durable.
//! While [`OUTSTANDING`] blocks are on their way it reads nothing more, so a sender is held back by its own line. The
//! newest stream of a run wins: an older one ends as SUPERSEDED, in this process at once, and by the store's own
//! condition in every case.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use futures_util::Stream;
use prost::Message;
use store::{BlockPending, FinishClaim, Moment, Recording, RequestKey};
use tokio::sync::mpsc;
use tokio::time::{Instant, MissedTickBehavior, interval_at};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Status, Streaming};
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::record_run_request::Step;
use wire::v1::record_run_response::Step as Reply;
use wire::violation::Violations;

use super::board::{Board, Standing};
use super::instruct::Orders;
use super::watching::live_reading;
use super::{Bench, Live, checked, map, refusal};
use crate::error::ServiceError;

/// Blocks of one stream on their way to the disk.
pub const OUTSTANDING: usize = 64;
/// Samples a run may have.
pub const MAX_RUN_SAMPLES: u64 = 10_000_000;
/// How long a run may take, nanoseconds: 24 h.
const MAX_RUN_NANOS: i64 = 86_400_000_000_000;
/// Least time between two reports of progress.
const PACE: Duration = Duration::from_millis(100);
/// How long a stream may take to say what it records.
const HEADER_WITHIN: Duration = Duration::from_secs(10);
/// Samples of a run taken up again that are drawn from the start; a longer one is drawn from where it goes on.
const REDRAWN: u64 = 1_000_000;

/// Begins to record.
pub fn start(
    bench: Arc<Bench>,
    steps: Streaming<v1::RecordRunRequest>,
) -> Result<impl Stream<Item = Result<v1::RecordRunResponse, Status>> + Send + use<>, ServiceError> {
    let permit = bench.recorders.admit()?;
    let (replies, answers) = mpsc::channel(8);
    tokio::spawn(async move {
        let stream = Recorder {
            bench,
            steps,
            replies: replies.clone(),
        };
        if let Err(End::Refused(error)) = stream.record().await {
            let _ = replies.send(Err(error.into())).await;
        }
        drop(permit);
    });
    Ok(ReceiverStream::new(answers))
}

/// Why a stream ended before its finish.
enum End {
    /// It is told why.
    Refused(ServiceError),
    /// The sender is gone.
    Gone,
}

impl From<ServiceError> for End {
    fn from(error: ServiceError) -> Self {
        Self::Refused(error)
    }
}

/// What a step that could not be read means. Beyond the bound of one step it must not look like a line that was cut.
fn cut_off(status: Status) -> End {
    if status.code() != tonic::Code::ResourceExhausted {
        return End::Gone;
    }
    let limit = format!("{} bytes", crate::grpc::MAX_STEP_BYTES);
    End::Refused(ServiceError::TooLarge {
        what: "a step".to_owned(),
        limit,
    })
}

struct Recorder {
    bench: Arc<Bench>,
    steps: Streaming<v1::RecordRunRequest>,
    replies: mpsc::Sender<Result<v1::RecordRunResponse, Status>>,
}

impl Recorder {
    async fn record(mut self) -> Result<(), End> {
        let shutdown = self.bench.shutdown.clone();
        let first = tokio::select! {
            step = self.steps.message() => step,
            // A stream without a header records nothing and holds a place that another could use.
            () = tokio::time::sleep(HEADER_WITHIN) => return Err(ServiceError::Deadline.into()),
            () = shutdown.cancelled() => return Err(ServiceError::ShuttingDown.into()),
        };
        let Some(Step::Header(header)) = first.map_err(cut_off)?.and_then(|step| step.step) else {
            return Err(ServiceError::StepOutOfPlace {
                cause: "the first step must be a header".to_owned(),
            }
            .into());
        };
        let header = *header;
        let opened = self.open(header.clone()).await?;
        let name = Collection::Runs.name(opened.run.id.as_str());
        let Some(recording) = opened.recording else {
            let run = self.bench.told(&opened.run)?;
            return self.reply(Reply::Finished(run)).await;
        };
        let board = Arc::new(Board::new(
            opened.run.id.as_str().to_owned(),
            header.clone(),
            map::named(Collection::Springs, &opened.run.body.spring),
            map::signed(opened.durable_through),
        ));
        if opened.resumed && opened.sample_count <= REDRAWN {
            self.redraw(&board).await?;
        }
        let (orders, instructions) = Orders::new();
        let live = Live {
            attachment: opened.attachment,
            board: Arc::clone(&board),
            orders: Arc::new(orders),
            shut_out: CancellationToken::new(),
        };
        let run_id = board.run.clone();
        let attachment = opened.attachment;
        self.bench.attach(&run_id, live.clone());
        let accepted = Reply::Accepted(v1::Accepted {
            run: name.clone(),
            durable_through: map::signed(opened.durable_through),
            max_unacknowledged_blocks: i32::try_from(OUTSTANDING).unwrap_or(i32::MAX),
            attachment: i32::try_from(attachment).unwrap_or(i32::MAX),
        });
        let bench = Arc::clone(&self.bench);
        let ended = match self.reply(accepted).await {
            Ok(()) => {
                let taking = Taking {
                    recorder: &mut self,
                    name,
                    column_count: header.columns.len(),
                    started: (opened.sample_count > 0).then_some(opened.run.create_time),
                    board: &board,
                    instructions,
                    told: None,
                    on_the_way: VecDeque::new(),
                    durable_through: map::signed(opened.durable_through),
                };
                taking.take(recording, &live.shut_out).await
            }
            Err(end) => Err(end),
        };
        // Only then may the run be seen as finished or interrupted: until here it was recording.
        bench.detach(&run_id, attachment);
        match &ended {
            Ok(run) => {
                board.stand(Standing::Finished);
                self.reply(Reply::Finished(run.clone())).await?;
                bench.seal(run_id);
            }
            Err(_) if live.shut_out.is_cancelled() => {}
            Err(_) => board.stand(Standing::Interrupted),
        }
        ended.map(|_| ())
    }

    async fn open(&self, header: v1::RunHeader) -> Result<store::Opened, ServiceError> {
        let bench = Arc::clone(&self.bench);
        blocking(move || {
            let mut violations = Violations::new();
            let key = wire::records::request_id(&header.request_id, &mut violations);
            wire::records::header(&header, violations.root());
            bench.known_spring_if_named(&header.spring, &mut violations)?;
            let scoped = violations
                .finish()
                .map_err(|violations| violations.into_iter().map(within_header).collect::<Vec<_>>());
            scoped?;
            let id = key.ok_or_else(|| ServiceError::internal("a header without a request id passed its checks"))?;
            let key = RequestKey::new(id, "RecordRun", &header.encode_to_vec());
            let run_id = store::record::RecordId::parse(&header.run_id).filter(|_| !header.run_id.is_empty());
            let name = map::named(Collection::Runs, &header.run_id);
            bench
                .store()
                .open_run(bench.now(), &key, run_id.as_ref(), map::header(&header))
                .map_err(refusal(&name, &header.request_id))
        })
        .await
    }

    /// Draws what is there already.
    async fn redraw(&self, board: &Arc<Board>) -> Result<(), ServiceError> {
        let (bench, board) = (Arc::clone(&self.bench), Arc::clone(board));
        blocking(move || {
            let Some(id) = store::record::RecordId::parse(&board.run) else {
                return Ok(());
            };
            for block in bench.store().read_blocks(&id, 0).map_err(refusal(&board.run, ""))? {
                let block = block.map_err(refusal(&board.run, ""))?;
                board.take(
                    &block.elapsed_ns,
                    &block.columns,
                    block.tare_mark.as_ref().map(map::tare_mark_of),
                );
            }
            Ok(())
        })
        .await
    }

    async fn reply(&self, step: Reply) -> Result<(), End> {
        self.replies
            .send(Ok(v1::RecordRunResponse { step: Some(step) }))
            .await
            .map_err(|_| End::Gone)
    }
}

/// The part of a recording in which blocks come.
struct Taking<'a> {
    recorder: &'a mut Recorder,
    name: String,
    column_count: usize,
    /// When sampling began: a run that waits for its start grows no older.
    started: Option<Moment>,
    board: &'a Arc<Board>,
    instructions: mpsc::Receiver<v1::Instruction>,
    /// An instruction on its way to the sender.
    told: Option<v1::Instruction>,
    on_the_way: VecDeque<BlockPending>,
    durable_through: i64,
}

impl Taking<'_> {
    async fn take(mut self, mut recording: Recording, shut_out: &CancellationToken) -> Result<v1::Run, End> {
        let shutdown = self.recorder.bench.shutdown.clone();
        let replies = self.recorder.replies.clone();
        let mut pace = interval_at(Instant::now() + PACE, PACE);
        pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut told = self.durable_through;
        loop {
            let room = self.on_the_way.len() < OUTSTANDING;
            let untold = told != self.durable_through;
            tokio::select! {
                biased;
                () = shut_out.cancelled() => return Err(self.shut_out_by(recording).await),
                done = next_durable(&mut self.on_the_way) => self.durable(done)?,
                _ = pace.tick(), if untold => {
                    // The latest counts: when the client has not taken the one before, this one waits for the next tick.
                    let reading = live_reading(self.board, &self.board.reading());
                    let progress = Reply::Progress(v1::Progress { durable_through: self.durable_through, reading: Some(reading) });
                    match self.recorder.replies.try_send(Ok(v1::RecordRunResponse { step: Some(progress) })) {
                        Ok(()) => told = self.durable_through,
                        Err(mpsc::error::TrySendError::Full(_)) => {}
                        Err(mpsc::error::TrySendError::Closed(_)) => return Err(End::Gone),
                    }
                }
                Some(instruction) = self.instructions.recv(), if self.told.is_none() => self.told = Some(instruction),
                // The sender may be slow to take it; blocks are taken meanwhile.
                room = replies.reserve(), if self.told.is_some() => {
                    let room = room.map_err(|_| End::Gone)?;
                    if let Some(instruction) = self.told.take() {
                        room.send(Ok(v1::RecordRunResponse { step: Some(Reply::Instruction(instruction)) }));
                    }
                }
                () = shutdown.cancelled() => {
                    self.all_durable().await?;
                    return Err(ServiceError::ShuttingDown.into());
                }
                step = self.recorder.steps.message(), if room => match step {
                    Ok(Some(v1::RecordRunRequest { step: Some(Step::Block(block)) })) => self.block(&mut recording, block).await?,
                    Ok(Some(v1::RecordRunRequest { step: Some(Step::Finish(finish)) })) => return self.finish(recording, finish).await,
                    Ok(Some(v1::RecordRunRequest { step: Some(Step::Notice(notice)) })) => self.notice(notice).await?,
                    Ok(Some(v1::RecordRunRequest { step: Some(Step::Header(_)) })) => {
                        self.all_durable().await?;
                        return Err(ServiceError::StepOutOfPlace { cause: "a second header; a stream has one".to_owned() }.into());
                    }
                    Ok(Some(v1::RecordRunRequest { step: None })) => {
                        self.all_durable().await?;
                        return Err(ServiceError::StepOutOfPlace { cause: "a step without content".to_owned() }.into());
                    }
                    Ok(None) => {
                        self.all_durable().await?;
                        return Err(End::Gone);
                    }
                    Err(status) => {
                        self.all_durable().await?;
                        return Err(cut_off(status));
                    }
                },
            }
        }
    }

    /// Shows what the instrument says of itself.
    async fn notice(&mut self, notice: v1::InstrumentNotice) -> Result<(), End> {
        let mut violations = Violations::new();
        wire::records::notice(&notice, violations.at("notice"));
        if let Err(violations) = violations.finish() {
            self.all_durable().await?;
            return Err(ServiceError::InvalidFields(violations).into());
        }
        self.board.notice(notice);
        Ok(())
    }

    /// Hands a block over. A refused one ends the stream; what came before it becomes durable first.
    async fn block(&mut self, recording: &mut Recording, block: v1::Block) -> Result<(), End> {
        let mut violations = Violations::new();
        wire::records::block(&block, self.column_count, violations.at("block"));
        if let Err(violations) = violations.finish() {
            self.all_durable().await?;
            return Err(ServiceError::InvalidFields(violations).into());
        }
        let bench = &self.recorder.bench;
        let (now, number) = (bench.now(), block.number);
        let samples = block.columns.first().map_or(0, |column| column.values.len() as u64);
        let handed_over = recording.handed_over();
        let fresh = map::signed(handed_over.durable_through) < number;
        let started = *self.started.get_or_insert(now);
        if fresh && let Some(limit) = full(handed_over.sample_count.saturating_add(samples), started, now) {
            self.all_durable().await?;
            let instruction = v1::Instruction {
                action: v1::instruction::Action::Finish as i32,
                text: format!("the run is full: {limit}"),
            };
            self.recorder.reply(Reply::Instruction(instruction)).await?;
            return Err(ServiceError::RunFull {
                run: self.name.clone(),
                limit,
            }
            .into());
        }
        let tare_mark = block.tare_mark;
        let block = map::block(block);
        match recording.append(now, &block) {
            Ok(pending) => {
                if fresh {
                    self.board.take(&block.elapsed_ns, &block.columns, tare_mark);
                }
                self.on_the_way.push_back(pending);
                Ok(())
            }
            Err(error) => {
                self.all_durable().await?;
                let error = match refusal(&self.name, "")(error) {
                    ServiceError::BlockOutOfOrder { run, wanted, .. } => ServiceError::BlockOutOfOrder {
                        run,
                        wanted,
                        received: number,
                    },
                    other => other,
                };
                Err(error.into())
            }
        }
    }

    fn durable(&mut self, done: (u64, Result<(), store::StoreError>)) -> Result<(), End> {
        let (number, outcome) = done;
        outcome.map_err(refusal(&self.name, ""))?;
        // A repeat of an old block is durable too and moves nothing back.
        self.durable_through = self.durable_through.max(map::signed(number));
        self.board.durable(self.durable_through);
        Ok(())
    }

    /// Waits until everything handed over is durable, and says how far that is.
    async fn all_durable(&mut self) -> Result<(), End> {
        while !self.on_the_way.is_empty() {
            let done = next_durable(&mut self.on_the_way).await;
            self.durable(done)?;
        }
        let progress = v1::Progress {
            durable_through: self.durable_through,
            reading: None,
        };
        self.recorder.reply(Reply::Progress(progress)).await
    }

    async fn finish(mut self, recording: Recording, finish: v1::Finish) -> Result<v1::Run, End> {
        self.all_durable().await?;
        let mut violations = Violations::new();
        let count = |value: i64, field: &str, violations: &mut Violations| {
            let count = u64::try_from(value).ok();
            if count.is_none() {
                violations.at("finish").at(field).push(
                    Reason::OutOfRange,
                    format_args!("{field} is {value}; allowed 0 and more"),
                );
            }
            count
        };
        let blocks = count(finish.block_count, "block_count", &mut violations);
        let samples = count(finish.sample_count, "sample_count", &mut violations);
        let (block_count, sample_count) = checked(violations, blocks.zip(samples))?;
        let claim = FinishClaim {
            block_count,
            sample_count,
            crc32c: finish.crc32c,
        };
        let (bench, name) = (Arc::clone(&self.recorder.bench), self.name.clone());
        let run = blocking(move || {
            let saved = recording
                .finish(bench.now(), claim)
                .map_err(|error| differs(&claim, error).unwrap_or_else(|error| refusal(&name, "")(error)))?;
            bench.told(&saved)
        })
        .await?;
        Ok(run)
    }

    async fn shut_out_by(self, recording: Recording) -> End {
        let name = self.name;
        let reason = tokio::task::spawn_blocking(move || recording.shut_out_by()).await;
        match reason {
            Ok(error) => refusal(&name, "")(error).into(),
            Err(error) => ServiceError::internal(error).into(),
        }
    }
}

/// Which of the stated figures is not that of the blocks received.
fn differs(claim: &FinishClaim, error: store::StoreError) -> Result<ServiceError, store::StoreError> {
    let store::StoreError::FinishDiffers {
        block_count,
        sample_count,
        crc32c,
    } = error
    else {
        return Err(error);
    };
    let (field, stated, received) = if claim.block_count != block_count {
        ("block_count", claim.block_count.to_string(), block_count.to_string())
    } else if claim.sample_count != sample_count {
        ("sample_count", claim.sample_count.to_string(), sample_count.to_string())
    } else {
        (
            "crc32c",
            claim.crc32c.map(|crc| format!("{crc:08x}")).unwrap_or_default(),
            format!("{crc32c:08x}"),
        )
    };
    Ok(ServiceError::FinishDiffers {
        field,
        stated,
        received,
    })
}

/// The limit a run would pass.
fn full(samples: u64, started: Moment, now: Moment) -> Option<String> {
    if samples > MAX_RUN_SAMPLES {
        return Some(format!("{MAX_RUN_SAMPLES} samples"));
    }
    (now.as_nanos().saturating_sub(started.as_nanos()) > MAX_RUN_NANOS).then(|| "24 h".to_owned())
}

/// The next block to become durable; never, while none is on its way.
async fn next_durable(on_the_way: &mut VecDeque<BlockPending>) -> (u64, Result<(), store::StoreError>) {
    let Some(pending) = on_the_way.front_mut() else {
        return std::future::pending().await;
    };
    let number = pending.number();
    let outcome = pending.await;
    on_the_way.pop_front();
    (number, outcome)
}

/// The header is a field of the step.
fn within_header(mut violation: wire::violation::Violation) -> wire::violation::Violation {
    if violation.reason != Reason::More {
        violation.field = format!("header.{}", violation.field);
    }
    violation
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ServiceError> + Send + 'static,
) -> Result<T, ServiceError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(ServiceError::internal)?
}

impl Bench {
    fn known_spring_if_named(&self, spring: &str, violations: &mut Violations) -> Result<(), ServiceError> {
        if spring.is_empty() {
            Ok(())
        } else {
            self.known_spring(spring, "spring", violations)
        }
    }

    /// Re-packs a finished run in the background. Whatever is left undone is done by the housekeeping.
    fn seal(self: Arc<Self>, run: String) {
        tokio::task::spawn_blocking(move || {
            let Some(id) = store::record::RecordId::parse(&run) else {
                return;
            };
            while !self.shutdown.is_cancelled() {
                match self.store().seal_step(&id) {
                    Ok(true) => {}
                    Ok(false) => return,
                    Err(error) => {
                        tracing::warn!(run, %error, "sealing stopped; the housekeeping goes on with it");
                        return;
                    }
                }
            }
        });
    }
}
