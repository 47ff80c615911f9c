//! A tester that waits: one test for all connections, begun by `start`, ended by itself or by `stop`, then the next.

use std::sync::Arc;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::sync::watch;
use tokio::time::Instant;

use super::door::{Command, Commands, Ending, Output, WRITE_BYTES, command};
use super::readings::{Lines, Readings};
use super::setup::{Pace, Setup};

/// Tares of one test: beyond so many somebody holds the button down.
const TARES_MAX: usize = 100;

/// The turns of a tester; clones share them.
#[derive(Debug, Clone)]
pub(super) struct Turns {
    setup: Arc<Setup>,
    pace: Pace,
    /// Tells this process's tests from those of another one of the same set-up.
    session: u32,
    turn: watch::Sender<Turn>,
}

/// One test, as all connections see it.
#[derive(Debug, Clone, Default)]
struct Turn {
    number: u32,
    /// When its first reading was taken.
    began: Option<Instant>,
    /// Readings after which it was stopped.
    stopped_at: Option<u64>,
    over: bool,
    /// From which reading on which load is taken off; the first may be an earlier test's.
    tares: Vec<(u64, f64)>,
}

impl Turns {
    pub(super) fn new(setup: &Arc<Setup>, pace: Pace) -> Self {
        Self {
            setup: Arc::clone(setup),
            pace,
            session: rand::random(),
            turn: watch::Sender::new(Turn::default()),
        }
    }

    /// Serves a connection until the test is over or the client is gone.
    pub(super) async fn serve(
        self,
        first: Option<Command>,
        commands: Commands,
        output: Output,
    ) -> std::io::Result<Ending> {
        let from = match first {
            Some(Command::From(number)) => Some(number),
            Some(_) | None => None,
        };
        if from.is_none() {
            self.next_turn();
        }
        let turn = self.turn.subscribe();
        let number = turn.borrow().number;
        // Other noise each time; the spring stays the same one.
        let setup = Setup {
            seed: self.setup.seed.wrapping_add(u64::from(number)),
            ..(*self.setup).clone()
        };
        let client = Client {
            number,
            lines: Lines::of(&setup),
            readings: Readings::of(&setup).peekable(),
            at_rest: at_rest(&setup),
            sample_rate: setup.sample_rate,
            turns: self,
            output,
            sent: 0,
            last_load: None,
            tare: 0.0,
            tares_said: 0,
            told_start: false,
        };
        client.run(turn, from.unwrap_or(0), first, commands).await
    }

    /// A test that is over makes room for the next one; its tare stays on the display.
    fn next_turn(&self) {
        self.turn.send_if_modified(|turn| {
            if turn.over {
                *turn = Turn {
                    number: turn.number.wrapping_add(1),
                    tares: turn.tares.last().map(|(_, load)| (0, *load)).into_iter().collect(),
                    ..Turn::default()
                };
            }
            turn.over
        });
    }
}

/// What the display settles at with nothing on the cell: the mean of the rest before the first press.
fn at_rest(setup: &Setup) -> f64 {
    let count = ((setup.dwell * setup.sample_rate) as usize).clamp(1, 1000);
    let loads: Vec<f64> = Readings::of(setup).take(count).map(|reading| reading.load).collect();
    // A display says no more digits than these.
    (loads.iter().sum::<f64>() / loads.len().max(1) as f64 * 1e3).round() / 1e3
}

/// A connection in one turn.
struct Client {
    turns: Turns,
    number: u32,
    lines: Lines,
    readings: std::iter::Peekable<Readings>,
    at_rest: f64,
    sample_rate: f64,
    output: Output,
    sent: u64,
    last_load: Option<f64>,
    tare: f64,
    tares_said: usize,
    told_start: bool,
}

impl Client {
    async fn run(
        mut self,
        mut turn: watch::Receiver<Turn>,
        from: u64,
        first: Option<Command>,
        mut commands: Commands,
    ) -> std::io::Result<Ending> {
        // A copy: the lock must not be held while the line is written.
        let now = turn.borrow().clone();
        self.open(&now, from).await?;
        if let Some(first) = first.filter(|first| !matches!(first, Command::From(_))) {
            self.obey(&first).await?;
        }
        let mut listening = true;
        loop {
            let now = turn.borrow_and_update().clone();
            if now.number != self.number {
                return Ok(Ending::Left);
            }
            self.tell(&now).await?;
            let due = match self.due(&now) {
                Due::Never => None,
                Due::At(due) => Some(due),
                Due::Over => return self.close().await,
            };
            tokio::select! {
                biased;
                line = commands.next_line(), if listening => match line? {
                    Some(line) => self.obey(&command(&line)).await?,
                    // Whoever waits with half a connection cannot begin.
                    None if now.began.is_none() => return Ok(Ending::Left),
                    None => listening = false,
                },
                changed = turn.changed() => if changed.is_err() {
                    return Ok(Ending::Left);
                },
                () = reached(due) => self.send(&now).await?,
            }
        }
    }

    async fn open(&mut self, turn: &Turn, from: u64) -> std::io::Result<()> {
        let name = format!("{:08x}-{}", self.turns.session, self.number);
        let mut text = self.lines.opening_of(&name, from);
        text.push_str(&self.lines.note("obeys start tare stop", from));
        // Those before the first reading wanted are known to whoever wants it, but for the one in force.
        while let Some((_, load)) = turn.tares.get(self.tares_said).filter(|(at, _)| *at < from) {
            (self.tare, self.tares_said) = (*load, self.tares_said + 1);
        }
        if turn.began.is_none() {
            text.push_str(&self.lines.note("waiting", from));
        } else {
            self.told_start = true;
        }
        self.output.write_all(text.as_bytes()).await?;
        while self.sent < from && self.readings.next().is_some() {
            self.sent += 1;
        }
        Ok(())
    }

    /// Says what changed at this place of the test.
    async fn tell(&mut self, turn: &Turn) -> std::io::Result<()> {
        let mut text = String::new();
        if turn.began.is_some() && !self.told_start {
            self.told_start = true;
            text.push_str(&self.lines.note("started", self.sent));
        }
        self.say_tares(turn, &mut text);
        self.output.write_all(text.as_bytes()).await
    }

    fn say_tares(&mut self, turn: &Turn, text: &mut String) {
        while let Some((_, load)) = turn.tares.get(self.tares_said).filter(|(at, _)| *at <= self.sent) {
            (self.tare, self.tares_said) = (*load, self.tares_said + 1);
            text.push_str(&self.lines.note(&format!("tare {}", self.tare), self.sent));
        }
    }

    fn due(&mut self, turn: &Turn) -> Due {
        let stopped = turn.stopped_at.is_some_and(|at| self.sent >= at);
        let Some(began) = turn.began else {
            return if turn.over { Due::Over } else { Due::Never };
        };
        match self.readings.peek() {
            Some(next) if !stopped => match self.turns.pace {
                Pace::Fast => Due::At(began),
                Pace::Times(times) => {
                    Due::At(began + Duration::from_secs_f64(next.number as f64 / self.sample_rate / times))
                }
            },
            Some(_) | None => Due::Over,
        }
    }

    async fn send(&mut self, turn: &Turn) -> std::io::Result<()> {
        let mut text = String::with_capacity(WRITE_BYTES + 64);
        while text.len() < WRITE_BYTES && matches!(self.due(turn), Due::At(due) if due <= Instant::now()) {
            self.say_tares(turn, &mut text);
            let Some(reading) = self.readings.next() else { break };
            self.sent += 1;
            text.push_str(&self.lines.line(&reading, self.tare, self.sent));
            self.last_load = Some(reading.load);
        }
        self.output.write_all(text.as_bytes()).await
    }

    async fn close(mut self) -> std::io::Result<Ending> {
        // Before the end is said: whoever hears it may come for the next test at once.
        self.turns
            .turn
            .send_modify(|turn| turn.over |= turn.number == self.number);
        let closing = self.lines.note(&format!("end {}", self.sent), self.sent);
        self.output.write_all(closing.as_bytes()).await?;
        self.output.shutdown().await?;
        Ok(Ending::Whole)
    }

    async fn obey(&mut self, command: &Command) -> std::io::Result<()> {
        let (sent, level) = (self.sent, self.last_load.unwrap_or(self.at_rest));
        let mut refused = None;
        self.turns.turn.send_modify(|turn| {
            refused = match command {
                Command::Start if turn.began.is_some() => Some("the test has begun already"),
                Command::Stop if turn.began.is_none() => Some("no test has begun"),
                Command::Tare if turn.tares.len() >= TARES_MAX => Some("too many tares in one test"),
                Command::From(_) => Some("from comes first"),
                Command::Unknown => Some("known are from N, start, tare, stop"),
                Command::Start => {
                    turn.began = Some(Instant::now());
                    None
                }
                Command::Stop => {
                    turn.stopped_at = turn.stopped_at.or(Some(sent));
                    // Even if whoever stopped it does not stay to hear the end.
                    turn.over = true;
                    None
                }
                Command::Tare => {
                    turn.tares.push((sent, level));
                    None
                }
            };
        });
        match refused {
            Some(why) => {
                let note = self.lines.note(&format!("refused: {why}"), self.sent);
                self.output.write_all(note.as_bytes()).await
            }
            None => Ok(()),
        }
    }
}

/// When there is something to send.
enum Due {
    /// Not before the test begins.
    Never,
    At(Instant),
    /// Nothing more comes.
    Over,
}

async fn reached(due: Option<Instant>) {
    match due {
        Some(due) => tokio::time::sleep_until(due).await,
        None => std::future::pending().await,
    }
}
