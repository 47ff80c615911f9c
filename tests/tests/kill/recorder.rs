//! An instrument that records one run after another and remembers what it was told of each.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use prost::Message as _;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::transport::Channel;
use tonic::{Code, Status};
use wire::v1;
use wire::v1::record_run_request::Step;
use wire::v1::record_run_response::Step as Answer;
use wire::v1::run_service_client::RunServiceClient;

use crate::chance::{Chance, mix};
use crate::line::Line;
use crate::shop::{Depth, Size};

/// Bits of a double that are its sign and its fraction, and those of 1.0.
const SIGN_AND_FRACTION: u64 = 0x800F_FFFF_FFFF_FFFF;
const ONE: u64 = 0x3FF0_0000_0000_0000;

#[derive(Clone)]
pub(crate) struct Recorder {
    number: u64,
    size: Size,
    chance: Chance,
    open: Option<Run>,
    pub(crate) finished: Vec<Run>,
}

impl Recorder {
    pub(crate) fn new(number: u64, size: Size) -> Self {
        Self {
            number,
            size,
            chance: Chance::of(mix(number)),
            open: None,
            finished: Vec::new(),
        }
    }

    /// The open run; a new one where there is none.
    fn run(&mut self) -> &mut Run {
        let (number, size, made) = (self.number, self.size, self.finished.len());
        let chance = &mut self.chance;
        self.open
            .get_or_insert_with(|| Run::new(format!("r{number}-{made}"), size, chance))
    }

    fn told_finished(&mut self, told: v1::Run) {
        let mut run = self.open.take().unwrap();
        assert!(run.finish_sent, "finished without having been told to");
        run.check_finished(&told, run.totals());
        run.told = Some(told);
        self.finished.push(run);
    }

    /// Looks for everything that was acknowledged.
    pub(crate) async fn check(&self, channel: &Channel, depth: Depth) {
        let known = match depth {
            Depth::Everything => 0,
            Depth::Latest => self.finished.len().saturating_sub(2),
        };
        for run in self.finished[known..].iter().chain(&self.open) {
            run.check(channel.clone()).await;
        }
    }
}

/// Records until the line is cut; with `last`, until the open run is finished.
pub(crate) async fn record(recorder: Arc<Mutex<Recorder>>, line: Line, last: bool) {
    let done = || last && recorder.lock().unwrap().open.is_none();
    while !line.is_ending() && !done() {
        if let Err(status) = attach(&recorder, &line).await
            && line.is_cut(&status).await
        {
            return;
        }
    }
}

/// One stream: takes the run up where the server has it, and goes on to its finish.
async fn attach(recorder: &Mutex<Recorder>, line: &Line) -> Result<(), Status> {
    let (header, planned, pace) = {
        let mut recorder = recorder.lock().unwrap();
        let run = recorder.run();
        (run.header.clone(), run.planned, run.size.pace())
    };
    let (steps, outgoing) = mpsc::channel(1);
    let first = Step::Header(Box::new(header));
    steps.try_send(v1::RecordRunRequest { step: Some(first) }).unwrap();
    let mut runs = RunServiceClient::new(line.channel.clone());
    let mut answers = runs.record_run(ReceiverStream::new(outgoing)).await?.into_inner();
    let mut next = None;
    let mut ticks = tokio::time::interval(pace);
    loop {
        tokio::select! {
            answer = answers.message() => {
                let answer = answer?.and_then(|answer| answer.step);
                let mut recorder = recorder.lock().unwrap();
                match answer {
                    Some(Answer::Accepted(accepted)) => {
                        next = Some(recorder.run().taken_up(accepted.durable_through));
                    }
                    Some(Answer::Progress(progress)) => recorder.run().told_durable(progress.durable_through),
                    Some(Answer::Finished(told)) => {
                        recorder.told_finished(told);
                        line.heard();
                        return Ok(());
                    }
                    other => return lost(line, &format!("{other:?}")),
                }
                line.heard();
            }
            _ = ticks.tick(), if next.is_some_and(|next| next <= planned + 1) => {
                // Where the sender is held back, a tick is passed over.
                if !line.is_resting()
                    && let (Some(number), Ok(place)) = (next, steps.try_reserve())
                {
                    place.send(recorder.lock().unwrap().run().step(number));
                    next = Some(number + 1);
                }
            }
        }
    }
}

fn lost(line: &Line, what: &str) -> Result<(), Status> {
    assert!(line.is_ending(), "a stream ended with {what}");
    Err(Status::unavailable("the stream ended"))
}

/// A run as its instrument knows it.
#[derive(Clone)]
pub(crate) struct Run {
    header: v1::RunHeader,
    size: Size,
    seed: u64,
    /// How many blocks it shall have.
    planned: i64,
    accepted: bool,
    sent: i64,
    durable: i64,
    finish_sent: bool,
    /// As the server told it at its finish.
    told: Option<v1::Run>,
}

impl Run {
    fn new(id: String, size: Size, chance: &mut Chance) -> Self {
        use v1::column::{Quantity, Unit};
        let header = v1::RunHeader {
            tester: "the tester at the window".to_owned(),
            columns: vec![
                v1::Column {
                    quantity: Quantity::Deflection as i32,
                    unit: Some(Unit::Length(v1::length::Unit::Millimeter as i32)),
                },
                v1::Column {
                    quantity: Quantity::Load as i32,
                    unit: Some(Unit::Force(v1::force::Unit::Newton as i32)),
                },
            ],
            run_id: id,
            request_id: uuid::Uuid::new_v4().to_string(),
            ..Default::default()
        };
        let planned = match size {
            Size::Small => 30 + chance.below(300),
            Size::Large => 5 + chance.below(60),
        };
        Self {
            header,
            size,
            seed: chance.next(),
            planned: planned as i64,
            accepted: false,
            sent: 0,
            durable: 0,
            finish_sent: false,
            told: None,
        }
    }

    fn name(&self) -> String {
        format!("runs/{}", self.header.run_id)
    }

    /// A block, all of it known from its number: a few samples, or as many as one stored value holds, as they are and
    /// packed.
    fn block(&self, number: i64) -> v1::Block {
        let mut chance = Chance::of(mix(self.seed ^ number as u64));
        let samples = match self.size {
            Size::Small => 1 + chance.below(8),
            Size::Large => 2_600 + chance.below(4_096 - 2_600 + 1),
        };
        let start = number * 10_000_000_000;
        let elapsed_ns = (0..samples as i64).map(|sample| start + sample * 1_000_000 + (chance.next() % 1_000) as i64);
        let elapsed_ns = elapsed_ns.collect();
        let mut column = || v1::ValueColumn {
            values: (0..samples).map(|_| value(chance.next())).collect(),
        };
        let columns = vec![column(), column()];
        let gap = v1::Gap {
            block: number,
            lost_sample_count: Some(number),
            duration: None,
            cause: "the line was pulled".to_owned(),
        };
        v1::Block {
            number,
            segment: i32::try_from(number / 20).unwrap(),
            elapsed_ns,
            columns,
            gap_before: (number % 20 == 0).then_some(gap),
            ..Default::default()
        }
    }

    /// The block of that number; after the last one the finish.
    fn step(&mut self, number: i64) -> v1::RecordRunRequest {
        let step = if number <= self.planned {
            self.sent = self.sent.max(number);
            Step::Block(self.block(number))
        } else {
            self.finish_sent = true;
            let Totals {
                blocks,
                samples,
                crc32c,
            } = self.totals();
            Step::Finish(v1::Finish {
                block_count: blocks,
                sample_count: samples,
                crc32c: Some(crc32c),
            })
        };
        v1::RecordRunRequest { step: Some(step) }
    }

    fn totals(&self) -> Totals {
        let mut totals = Totals::default();
        (1..=self.planned).for_each(|number| totals.add(&self.block(number)));
        totals
    }

    /// The block to go on with.
    fn taken_up(&mut self, durable_through: i64) -> i64 {
        self.accepted = true;
        self.told_durable(durable_through);
        durable_through + 1
    }

    fn told_durable(&mut self, durable_through: i64) {
        let (name, durable, sent) = (self.name(), self.durable, self.sent);
        assert!(
            (durable..=sent).contains(&durable_through),
            "{name} is durable through {durable_through}; {durable} were acknowledged, {sent} sent"
        );
        self.durable = durable_through;
    }

    fn check_finished(&self, run: &v1::Run, totals: Totals) {
        let found = (
            run.state(),
            run.block_count,
            run.sample_count,
            run.content_digest.to_vec(),
        );
        let digest = totals.crc32c.to_be_bytes().to_vec();
        let wanted = (v1::RunState::Finished, self.planned, totals.samples, digest);
        assert_eq!(found, wanted, "{}", self.name());
    }

    async fn check(&self, channel: Channel) {
        let mut runs = RunServiceClient::new(channel);
        let name = self.name();
        let run = match runs.get_run(v1::GetRunRequest { name: name.clone() }).await {
            Ok(run) => run.into_inner(),
            Err(status) if status.code() == Code::NotFound && !self.accepted => return,
            Err(status) => panic!("{name}: {status:?}"),
        };
        let totals = self.check_blocks(&mut runs).await;
        let counted = (run.block_count, run.sample_count);
        assert_eq!(counted, (totals.blocks, totals.samples), "{name}");
        if let Some(told) = &self.told {
            assert_eq!(&run, told);
        } else if run.state() == v1::RunState::Finished {
            assert!(self.finish_sent, "{name} is finished without having been told to");
            self.check_finished(&run, totals);
        } else {
            assert_eq!(run.state(), v1::RunState::Interrupted, "{name}");
        }
    }

    /// Every block up to the last acknowledged one, each once and to the bit, and none that was never sent.
    async fn check_blocks(&self, runs: &mut RunServiceClient<Channel>) -> Totals {
        let name = self.name();
        let request = v1::ReadRunSamplesRequest {
            name: name.clone(),
            from_block: 0,
        };
        let mut answers = runs.read_run_samples(request).await.unwrap().into_inner();
        let mut totals = Totals::default();
        while let Some(answer) = answers.message().await.unwrap() {
            let Some(block) = answer.block else {
                assert_eq!((totals.blocks, &answer.columns), (0, &self.header.columns), "{name}");
                continue;
            };
            totals.add(&block);
            let count = totals.blocks;
            assert_eq!(block.number, count, "{name}");
            // As bytes, because 0 and -0 are equal as numbers.
            assert!(
                block.encode_to_vec() == self.block(count).encode_to_vec(),
                "{name}: block {count} is not the one that was sent"
            );
        }
        let count = totals.blocks;
        let (durable, sent) = (self.durable, self.sent);
        assert!(
            (durable..=sent).contains(&count),
            "{name} has {count} blocks; {durable} were acknowledged, {sent} sent"
        );
        totals
    }
}

/// What a finish states of blocks: their number, that of their samples, and the checksum as the API describes it.
#[derive(Clone, Copy, Default)]
struct Totals {
    blocks: i64,
    samples: i64,
    crc32c: u32,
}

impl Totals {
    fn add(&mut self, block: &v1::Block) {
        self.blocks += 1;
        self.samples += block.elapsed_ns.len() as i64;
        let times = block.elapsed_ns.iter().map(|time| time.to_le_bytes());
        let values = block.columns.iter().flat_map(|column| &column.values);
        let bytes: Vec<u8> = times.chain(values.map(|value| value.to_le_bytes())).flatten().collect();
        self.crc32c = crc32c::crc32c_append(self.crc32c, &bytes);
    }
}

/// Any finite number: mostly of a size a tester shows, with all its digits, but also -0 and the smallest there are.
fn value(bits: u64) -> f64 {
    match bits % 97 {
        0 => -0.0,
        1 => f64::from_bits(bits & SIGN_AND_FRACTION),
        _ => f64::from_bits(bits & SIGN_AND_FRACTION | ONE) * 64.0,
    }
}

impl Size {
    /// Time between two blocks.
    fn pace(self) -> Duration {
        match self {
            Size::Small => Duration::from_millis(2),
            Size::Large => Duration::from_millis(8),
        }
    }
}
