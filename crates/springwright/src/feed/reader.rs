//! Reads a source to its end, over as many connections as it takes, and hands its samples on as drafts.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Mutex, mpsc};
use tokio::time::{Instant, MissedTickBehavior, interval, sleep};
use wire::v1;
use wire::v1::instruction::Action;

use super::FeedError;
use super::instrument::{Instrument, Next};
use super::intake::{Damaged, Draft, Intake, Unreadable};
use super::preamble::{Declared, Preamble, preamble};
use super::record::Controls;
use super::source::{Arrivals, Source, Start, Teller, Wire};

/// What the bench asks for.
pub(crate) type Orders = mpsc::Receiver<v1::Instruction>;

/// First wait before a tester is connected to again; doubles up to the longest.
const BACKOFF_FIRST: Duration = Duration::from_millis(50);
/// How long a line of words may take to leave.
const TELL_WAIT: Duration = Duration::from_secs(1);
/// How often an opening that was damaged is asked for again.
const FIRST_TRIES: usize = 20;
/// Longest wait before a tester is connected to again: its clock runs meanwhile.
const BACKOFF_LONGEST: Duration = Duration::from_secs(1);

/// A source that was opened and heard up to its first data.
#[derive(Debug)]
pub(crate) struct Opened {
    /// What it said about itself.
    pub(crate) preamble: Preamble,
    /// Everything it said so far.
    pub(crate) heard: Vec<u8>,
    /// What it will say.
    pub(crate) arrivals: Arrivals,
    /// The way back to it.
    pub(crate) teller: Option<Teller>,
}

/// Opens a source and listens until its columns are known.
///
/// # Errors
/// [`FeedError`]: it cannot be opened, broke off, or cannot be understood.
pub(crate) async fn open(source: &Source, start: Start, declared: &Declared) -> Result<Opened, FeedError> {
    let unopened = |error: io::Error| FeedError::Source {
        source: source.clone(),
        error,
    };
    let Wire { mut arrivals, teller } = source.open(start).await.map_err(unopened)?;
    let mut heard = Vec::new();
    loop {
        let arrival = arrivals.recv().await.transpose().map_err(unopened)?;
        let ended = arrival.is_none();
        heard.extend(arrival.unwrap_or_default());
        if let Some(preamble) = preamble(&heard, ended, declared).map_err(FeedError::Preamble)? {
            return Ok(Opened {
                preamble,
                heard,
                arrivals,
                teller,
            });
        }
    }
}

/// Opens a source for the first time. Where checksums tell damage from a fault, a damaged opening is heard again.
///
/// # Errors
/// As [`open`].
pub(crate) async fn first(source: &Source, declared: &Declared) -> Result<Opened, FeedError> {
    for _ in 0..FIRST_TRIES {
        match open(source, Start::Now, declared).await {
            Err(FeedError::Preamble(_)) if declared.sealed => {}
            Ok(opened) if declared.sealed && opened.preamble.is_damaged() => {}
            outcome => return outcome,
        }
        sleep(BACKOFF_FIRST).await;
    }
    open(source, Start::Now, declared).await
}

/// What a reader needs to know.
#[derive(Debug)]
pub(crate) struct Reader {
    /// The source.
    pub(crate) source: Source,
    /// How its lines are declared: by now completely.
    pub(crate) declared: Declared,
    /// Whether it can leave out lines on request.
    pub(crate) resumes: bool,
    /// Which test it said it was.
    pub(crate) test: String,
    /// What it makes of bytes.
    pub(crate) intake: Intake,
    /// How often a block is cut at least.
    pub(crate) block_time: Duration,
    /// How long a broken line is tried again.
    pub(crate) patience: Duration,
    /// Whether damaged lines have a limit.
    pub(crate) limited: bool,
    /// Who may end it.
    pub(crate) controls: Controls,
    /// The instrument as the bench sees it.
    pub(crate) instrument: Instrument,
    /// The way to it, for whoever ends the reading early.
    pub(crate) teller: SharedTeller,
}

/// The way to an instrument, while there is one.
pub(crate) type SharedTeller = Arc<Mutex<Option<Teller>>>;

/// Tells an instrument something; one that cannot hear any more will be noticed by its reader.
pub(crate) async fn tell(teller: &SharedTeller, words: &str) {
    if let Some(teller) = teller.lock().await.as_mut() {
        let told = tokio::time::timeout(TELL_WAIT, teller.say(words)).await;
        if !matches!(told, Ok(Ok(()))) {
            tracing::warn!("the instrument could not be told to {}", words.trim());
        }
    }
}

/// How reading ended.
#[derive(Debug)]
pub(crate) struct ReadReport {
    /// Whether the run can be sealed.
    pub(crate) complete: bool,
    /// The first damaged lines.
    pub(crate) complaints: Vec<Damaged>,
    /// How many times the source was connected to again.
    pub(crate) reconnects: u64,
    /// Why it is not complete, unless somebody asked for it.
    pub(crate) error: Option<FeedError>,
}

/// How one connection to a source ended.
enum Part {
    /// The test is over.
    Over,
    /// The bench wants no more samples; what becomes of the run is still to be said.
    Stopped,
    /// The line broke.
    Broken(io::Error),
}

impl Reader {
    /// Reads to the end. Drafts go where they are kept; that the keeper is gone means that it failed, and is its to tell.
    pub(crate) async fn run(mut self, opened: Opened, drafts: mpsc::Sender<Draft>, mut orders: Orders) -> ReadReport {
        let mut reconnects = 0;
        let outcome = self.read(opened, &drafts, &mut orders, &mut reconnects).await;
        let (complete, error) = match outcome {
            Ok(complete) => (complete, None),
            Err(error) => (false, Some(error)),
        };
        // What was read before an error is as good as any.
        if let Some(draft) = self.intake.cut() {
            let _ = drafts.send(draft).await;
        }
        ReadReport {
            complete,
            complaints: self.intake.complaints().to_vec(),
            reconnects,
            error,
        }
    }

    async fn read(
        &mut self,
        mut opened: Opened,
        drafts: &mpsc::Sender<Draft>,
        orders: &mut Orders,
        reconnects: &mut u64,
    ) -> Result<bool, FeedError> {
        loop {
            *self.teller.lock().await = opened.teller.take();
            let heard = std::mem::take(&mut opened.heard);
            let ready = self.take(&heard)?;
            send(drafts, ready).await;
            match self.listen(&mut opened.arrivals, drafts, orders).await? {
                Part::Over => return Ok(true),
                Part::Stopped => {
                    send(drafts, self.intake.cut()).await;
                    return Ok(self.stopped(orders).await);
                }
                Part::Broken(error) => tracing::warn!("the connection to the {} broke: {error}", self.source),
            }
            if self.resumes {
                self.intake.line_will_be_repeated();
            } else {
                send(
                    drafts,
                    self.intake.line_restarted("the connection to the tester was lost"),
                )
                .await;
            }
            *self.teller.lock().await = None;
            match self.again_or_told(orders).await? {
                Some(again) => opened = again,
                None => return Ok(true),
            }
            *reconnects += 1;
        }
    }

    /// Connects again; none: the run is to be finished with what there is.
    async fn again_or_told(&mut self, orders: &mut Orders) -> Result<Option<Opened>, FeedError> {
        let controls = self.controls.clone();
        let again = self.again();
        tokio::pin!(again);
        loop {
            tokio::select! {
                again = &mut again => return again.map(Some),
                () = controls.finish.cancelled() => return Ok(None),
                Some(order) = orders.recv() => match order.action() {
                    Action::Finish if self.any_sample() => return Ok(None),
                    action => self.instrument.answer(action, true, "the instrument cannot be reached"),
                },
            }
        }
    }

    /// Waits for what becomes of a run that was stopped; true: it is to be finished.
    async fn stopped(&mut self, orders: &mut Orders) -> bool {
        self.instrument.stopped();
        let finish = self.controls.finish.clone();
        loop {
            let order = tokio::select! {
                order = orders.recv() => order,
                () = finish.cancelled() => return true,
            };
            // Nobody sends any more: the run was given up, and whoever waits for this ends.
            let Some(order) = order else { return false };
            if self.instrument.instructed(order.action(), self.any_sample()) == Next::Finish {
                return true;
            }
        }
    }

    fn any_sample(&self) -> bool {
        self.intake.any_sample()
    }

    async fn listen(
        &mut self,
        arrivals: &mut Arrivals,
        drafts: &mpsc::Sender<Draft>,
        orders: &mut Orders,
    ) -> Result<Part, FeedError> {
        let controls = self.controls.clone();
        let mut tick = interval(self.block_time);
        tick.set_missed_tick_behavior(MissedTickBehavior::Delay);
        while !self.intake.ended() {
            tokio::select! {
                biased;
                () = controls.finish.cancelled() => {
                    tell(&self.teller, "stop\n").await;
                    return Ok(Part::Over);
                }
                () = Instrument::overdue(self.instrument.ends_by()) => break,
                Some(order) = orders.recv() => match self.instrument.instructed(order.action(), self.any_sample()) {
                    Next::Tell(words) => tell(&self.teller, words).await,
                    Next::GoOn => {}
                    Next::Finish => return Ok(Part::Over),
                    Next::Stop => return Ok(Part::Stopped),
                },
                _ = tick.tick() => send(drafts, self.intake.cut()).await,
                arrival = arrivals.recv() => match arrival {
                    Some(Ok(bytes)) => {
                        let ready = self.take(&bytes)?;
                        send(drafts, ready).await;
                        if self.intake.ended_short() {
                            if self.resumes {
                                let short = "the end was said before every reading had come";
                                return Ok(Part::Broken(io::Error::other(short)));
                            }
                            self.intake.end();
                        }
                    }
                    Some(Err(error)) => return Ok(Part::Broken(error)),
                    // A source that announces its end has not said it yet.
                    None if self.resumes => return Ok(Part::Broken(io::ErrorKind::UnexpectedEof.into())),
                    None => {
                        let last_line_counts = !self.source.is_line();
                        send(drafts, self.intake.source_ended(last_line_counts)?).await;
                        break;
                    }
                },
            }
        }
        Ok(if self.instrument.end_finishes() {
            Part::Over
        } else {
            Part::Stopped
        })
    }

    /// Takes bytes, and tells the first damaged lines while somebody can still do something about them.
    fn take(&mut self, bytes: &[u8]) -> Result<Vec<Draft>, FeedError> {
        let told = self.intake.complaints().len();
        let taken = self.intake.take(bytes);
        for event in self.intake.events() {
            self.instrument.said(event);
        }
        for damaged in self.intake.complaints().iter().skip(told) {
            tracing::warn!("line {}: {}", damaged.line, damaged.complaint);
        }
        if told == 0 && !self.intake.complaints().is_empty() && !self.limited {
            tracing::warn!("malformed lines are counted and told as gaps; no --max-malformed is set");
        }
        Ok(taken?)
    }

    async fn again(&self) -> Result<Opened, FeedError> {
        let began = Instant::now();
        let mut backoff = BACKOFF_FIRST;
        loop {
            let start = if self.resumes {
                Start::Line(self.intake.place().data_lines)
            } else {
                Start::Now
            };
            let opened = open(&self.source, start, &self.declared).await;
            match opened.and_then(|opened| self.check(opened)) {
                Ok(opened) => return Ok(opened),
                Err(error) if !self.may_pass(&error) || began.elapsed() > self.patience => return Err(error),
                Err(_) => {}
            }
            sleep(backoff).await;
            backoff = (backoff * 2).min(BACKOFF_LONGEST);
        }
    }

    /// Whether the next try may do better: the line is down, or what came over it was damaged.
    fn may_pass(&self, error: &FeedError) -> bool {
        match error {
            FeedError::Source { .. } => true,
            FeedError::Preamble(_) => self.declared.sealed,
            // An answer to *IDN? has a checksum only where all have.
            FeedError::OtherTest { .. } => matches!(&self.source, Source::Scpi(scpi) if !scpi.sealed),
            _ => false,
        }
    }

    /// A tester that goes on must go on with the same test at the same line; where lines have numbers, these say at which.
    pub(crate) fn check(&self, opened: Opened) -> Result<Opened, FeedError> {
        let Preamble { test, from, .. } = &opened.preamble;
        if self.declared.sealed && opened.preamble.is_damaged() {
            return Err(FeedError::Source {
                source: self.source.clone(),
                error: io::Error::other("its opening was damaged"),
            });
        }
        let place = self.intake.place().data_lines;
        let other_place = !self.declared.sealed && *from != place;
        if self.resumes && (*test != self.test || other_place) {
            return Err(FeedError::OtherTest {
                expected: format!("test {} from line {place}", self.test),
                found: format!("test {test} from line {from}"),
            });
        }
        if matches!(self.source, Source::Scpi(_)) && *test != self.test {
            return Err(FeedError::OtherTest {
                expected: self.test.clone(),
                found: test.clone(),
            });
        }
        Ok(opened)
    }
}

async fn send(to: &mpsc::Sender<Draft>, drafts: impl IntoIterator<Item = Draft>) {
    for draft in drafts {
        if to.send(draft).await.is_err() {
            return;
        }
    }
}

impl From<Unreadable> for FeedError {
    fn from(error: Unreadable) -> Self {
        Self::Unreadable(error)
    }
}
