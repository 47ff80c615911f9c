//! A server of runs that keeps the protocol to the letter, loses what it had not acknowledged, and fails on purpose.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio_stream::Stream;
use tokio_stream::wrappers::{ReceiverStream, TcpListenerStream};
use tonic::{Code, Request, Response, Status, Streaming};
use tonic_types::{ErrorDetails, StatusExt};
use wire::v1;
use wire::v1::instruction::Action;
use wire::v1::record_run_request::Step as Asked;
use wire::v1::record_run_response::Step as Told;
use wire::v1::run_service_server::{RunService, RunServiceServer};

/// How the server behaves.
#[derive(Debug, Clone)]
pub(super) struct Manners {
    /// Streams that end early.
    pub(super) faults: u32,
    /// Rest after each block.
    pub(super) pause: Duration,
    /// Blocks after which a run is at its limit.
    pub(super) blocks_max: Option<i64>,
    /// Block at which another feed takes over.
    pub(super) superseded_at: Option<i64>,
    /// Block at which the bench asks to finish.
    pub(super) finish_at: Option<i64>,
    /// Instructions a run gets when it is opened.
    pub(super) tells: Vec<Action>,
    /// Block at which the bench asks for a tare.
    pub(super) tare_at: Option<i64>,
    /// Refuses every header.
    pub(super) refuses: bool,
}

impl Default for Manners {
    fn default() -> Self {
        Self {
            faults: 0,
            pause: Duration::ZERO,
            blocks_max: None,
            superseded_at: None,
            finish_at: None,
            tells: Vec::new(),
            tare_at: None,
            refuses: false,
        }
    }
}

/// A run as the server has it.
#[derive(Debug, Clone, Default)]
pub(super) struct Recording {
    pub(super) header: v1::RunHeader,
    pub(super) blocks: Vec<v1::Block>,
    pub(super) durable: i64,
    pub(super) attachments: i32,
    pub(super) finished: Option<v1::Run>,
}

impl Recording {
    /// Segment, time and values of every sample, in order.
    pub(super) fn samples(&self) -> Vec<(i32, i64, Vec<f64>)> {
        let of = |block: &v1::Block| {
            let values = |index: usize| block.columns.iter().map(|column| column.values[index]).collect();
            let count = block.columns[0].values.len();
            (0..count)
                .map(|index| {
                    (
                        block.segment,
                        block.elapsed_ns.get(index).copied().unwrap_or(-1),
                        values(index),
                    )
                })
                .collect::<Vec<_>>()
        };
        self.blocks.iter().flat_map(of).collect()
    }
}

#[derive(Debug)]
struct State {
    runs: HashMap<String, Recording>,
    violations: Vec<String>,
    faults: u32,
    chance: ChaCha8Rng,
}

/// The server. Clones share it.
#[derive(Debug, Clone)]
pub(super) struct Bench {
    state: Arc<Mutex<State>>,
    manners: Manners,
}

/// Blocks a feed may have outstanding here: few, so that the bound is met often.
const OUTSTANDING_MAX: i64 = 6;

impl Bench {
    pub(super) fn new(manners: Manners) -> Self {
        Self {
            state: Arc::new(Mutex::new(State {
                runs: HashMap::new(),
                violations: Vec::new(),
                faults: manners.faults,
                chance: ChaCha8Rng::seed_from_u64(11),
            })),
            manners,
        }
    }

    pub(super) async fn serve(&self, address: &str) -> SocketAddr {
        let listener = TcpListener::bind(address).await.unwrap();
        let address = listener.local_addr().unwrap();
        let server = tonic::transport::Server::builder()
            .add_service(RunServiceServer::new(self.clone()))
            .serve_with_incoming(TcpListenerStream::new(listener));
        tokio::spawn(server);
        address
    }

    fn locked<T>(&self, work: impl FnOnce(&mut State) -> T) -> T {
        work(&mut self.state.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// The only run there is, after checking that nobody broke the protocol.
    pub(super) fn only_run(&self) -> Recording {
        self.locked(|state| {
            assert_eq!(state.violations, Vec::<String>::new());
            assert_eq!(state.runs.len(), 1);
            state.runs.values().next().unwrap().clone()
        })
    }

    pub(super) fn runs(&self) -> usize {
        self.locked(|state| state.runs.len())
    }

    fn attach(&self, header: &v1::RunHeader) -> Result<v1::RecordRunResponse, Status> {
        if self.manners.refuses {
            return Err(status(Code::InvalidArgument, "INVALID_FIELDS"));
        }
        self.locked(|state| {
            let count = state.runs.len();
            let run = state
                .runs
                .entry(header.request_id.clone())
                .or_insert_with(|| Recording {
                    header: header.clone(),
                    ..Recording::default()
                });
            if run.header != *header {
                return Err(status(Code::FailedPrecondition, "REQUEST_ID_REUSED"));
            }
            if let Some(finished) = &run.finished {
                return Ok(told(Told::Finished(finished.clone())));
            }
            run.attachments += 1;
            // Whatever was not acknowledged did not survive.
            run.blocks.truncate(usize::try_from(run.durable).unwrap());
            Ok(told(Told::Accepted(v1::Accepted {
                run: format!("runs/test-{count}"),
                durable_through: run.durable,
                max_unacknowledged_blocks: i32::try_from(OUTSTANDING_MAX).unwrap(),
                attachment: run.attachments,
            })))
        })
    }

    fn block(&self, id: &str, attachment: i32, block: v1::Block) -> Result<Option<v1::RecordRunResponse>, Status> {
        let number = block.number;
        self.locked(|state| {
            let acknowledge = state.chance.random_bool(0.5);
            let run = state.runs.get_mut(id).unwrap();
            if attachment != run.attachments || Some(number) == self.manners.superseded_at {
                return Err(status(Code::Aborted, "SUPERSEDED"));
            }
            if number - run.durable > OUTSTANDING_MAX {
                state
                    .violations
                    .push(format!("block {number} with {} durable", run.durable));
            }
            if self.manners.blocks_max.is_some_and(|max| number > max) {
                return Err(status(Code::OutOfRange, "RUN_FULL"));
            }
            let last = i64::try_from(run.blocks.len()).unwrap();
            if number <= last {
                let same = run.blocks[usize::try_from(number - 1).unwrap()] == block;
                return if same {
                    Ok(None)
                } else {
                    Err(status(Code::FailedPrecondition, "BLOCK_DIFFERS"))
                };
            }
            if number != last + 1 {
                return Err(status(Code::OutOfRange, "BLOCK_OUT_OF_ORDER"));
            }
            run.blocks.push(block);
            if Some(number) == self.manners.finish_at {
                return Ok(Some(instruction(Action::Finish)));
            }
            if Some(number) == self.manners.tare_at {
                return Ok(Some(instruction(Action::TareMark)));
            }
            if acknowledge || number - run.durable >= OUTSTANDING_MAX {
                run.durable = number;
                let progress = v1::Progress {
                    durable_through: number,
                    reading: None,
                };
                return Ok(Some(told(Told::Progress(progress))));
            }
            Ok(None)
        })
    }

    fn finish(&self, id: &str, finish: v1::Finish) -> Result<v1::RecordRunResponse, Status> {
        self.locked(|state| {
            let run = state.runs.get_mut(id).unwrap();
            let samples = run.samples();
            let mut crc32c = 0;
            for block in &run.blocks {
                for elapsed in &block.elapsed_ns {
                    crc32c = crc32c::crc32c_append(crc32c, &elapsed.to_le_bytes());
                }
                for value in block.columns.iter().flat_map(|column| &column.values) {
                    crc32c = crc32c::crc32c_append(crc32c, &value.to_le_bytes());
                }
            }
            let expected = v1::Finish {
                block_count: run.blocks.len() as i64,
                sample_count: samples.len() as i64,
                crc32c: Some(crc32c),
            };
            if finish != expected {
                return Err(status(Code::FailedPrecondition, "FINISH_DIFFERS"));
            }
            let finished = v1::Run {
                name: "runs/test".to_owned(),
                state: v1::RunState::Finished.into(),
                block_count: expected.block_count,
                sample_count: expected.sample_count,
                ..Default::default()
            };
            run.durable = expected.block_count;
            run.finished = Some(finished.clone());
            Ok(told(Told::Finished(finished)))
        })
    }

    /// Blocks after which this stream fails, and how; none: it does not.
    fn fault(&self) -> Option<(u32, Option<Status>)> {
        self.locked(|state| {
            state.faults = state.faults.checked_sub(1)?;
            let ending = match state.chance.random_range(0..5) {
                0 => Some(status(Code::Unavailable, "SHUTTING_DOWN")),
                1 => Some(status(Code::Unavailable, "IN_DOUBT")),
                2 => Some(status(Code::ResourceExhausted, "OVERLOADED")),
                3 => Some(Status::unavailable("no reason given")),
                _ => None,
            };
            Some((state.chance.random_range(0..5), ending))
        })
    }

    async fn record(
        self,
        mut asked: Streaming<v1::RecordRunRequest>,
        tell: mpsc::Sender<Result<v1::RecordRunResponse, Status>>,
    ) -> Result<(), Status> {
        let Some(Asked::Header(header)) = asked.message().await?.and_then(|asked| asked.step) else {
            return Err(status(Code::InvalidArgument, "INVALID_FIELDS"));
        };
        let accepted = self.attach(&header)?;
        let attachment = match &accepted.step {
            Some(Told::Accepted(accepted)) => accepted.attachment,
            _ => 0,
        };
        let _ = tell.send(Ok(accepted)).await;
        if attachment == 1 {
            for action in &self.manners.tells {
                let _ = tell.send(Ok(instruction(*action))).await;
            }
        }
        let mut fault = self.fault();
        while let Some(Asked::Block(_) | Asked::Finish(_) | Asked::Notice(_)) = {
            let next = asked.message().await?.and_then(|asked| asked.step);
            match &mut fault {
                Some((0, ending)) => return ending.take().map_or(Ok(()), Err),
                Some((left, _)) => *left -= 1,
                None => {}
            }
            match &next {
                Some(Asked::Block(block)) => {
                    if let Some(reply) = self.block(&header.request_id, attachment, block.clone())? {
                        let _ = tell.send(Ok(reply)).await;
                    }
                    tokio::time::sleep(self.manners.pause).await;
                }
                Some(Asked::Finish(finish)) => {
                    let _ = tell.send(self.finish(&header.request_id, *finish)).await;
                    return Ok(());
                }
                Some(Asked::Header(_) | Asked::Notice(_)) | None => {}
            }
            next
        } {}
        Ok(())
    }
}

fn instruction(action: Action) -> v1::RecordRunResponse {
    let text = "the page asks".to_owned();
    let action = action.into();
    told(Told::Instruction(v1::Instruction { action, text }))
}

fn told(step: Told) -> v1::RecordRunResponse {
    v1::RecordRunResponse { step: Some(step) }
}

fn status(code: Code, reason: &str) -> Status {
    let details = ErrorDetails::with_error_info(reason, "springwright", HashMap::new());
    Status::with_error_details(code, reason, details)
}

type Replies<T> = Pin<Box<dyn Stream<Item = Result<T, Status>> + Send>>;

#[tonic::async_trait]
impl RunService for Bench {
    type RecordRunStream = ReceiverStream<Result<v1::RecordRunResponse, Status>>;
    type ReadRunSamplesStream = Replies<v1::ReadRunSamplesResponse>;
    type WatchBenchStream = Replies<v1::WatchBenchResponse>;

    async fn record_run(
        &self,
        request: Request<Streaming<v1::RecordRunRequest>>,
    ) -> Result<Response<Self::RecordRunStream>, Status> {
        let (tell, replies) = mpsc::channel(64);
        let bench = self.clone();
        tokio::spawn(async move {
            if let Err(status) = bench.record(request.into_inner(), tell.clone()).await {
                let _ = tell.send(Err(status)).await;
            }
        });
        Ok(Response::new(ReceiverStream::new(replies)))
    }

    async fn get_run(&self, _: Request<v1::GetRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn list_runs(&self, _: Request<v1::ListRunsRequest>) -> Result<Response<v1::ListRunsResponse>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn update_run(&self, _: Request<v1::UpdateRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn delete_run(&self, _: Request<v1::DeleteRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn undelete_run(&self, _: Request<v1::UndeleteRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn finish_run(&self, _: Request<v1::FinishRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn discard_run(&self, _: Request<v1::DiscardRunRequest>) -> Result<Response<v1::Run>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn instruct_run(
        &self,
        _: Request<v1::InstructRunRequest>,
    ) -> Result<Response<v1::InstructRunResponse>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn read_run_samples(
        &self,
        _: Request<v1::ReadRunSamplesRequest>,
    ) -> Result<Response<Self::ReadRunSamplesStream>, Status> {
        Err(Status::unimplemented(""))
    }

    async fn watch_bench(&self, _: Request<v1::WatchBenchRequest>) -> Result<Response<Self::WatchBenchStream>, Status> {
        Err(Status::unimplemented(""))
    }
}
