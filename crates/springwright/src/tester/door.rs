//! The tester's TCP side: every connection its own whole test.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{
    AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader, Lines as CommandLines,
};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::TesterError;
use super::readings::{Lines, Readings};
use super::setup::{Pace, Setup};
use super::turns::Turns;

/// How long a connection may take to say from where it wants the test.
pub(crate) const COMMAND_WAIT: Duration = Duration::from_millis(100);
/// Connections served at once: a bench has one feed, perhaps a second to compare.
const CONNECTIONS_MAX: usize = 16;
/// Bytes of commands a connection may send in its whole life.
const COMMAND_BYTES_MAX: u64 = 64 * 1024;
/// Lines are handed over together when they are due together, up to about this many bytes.
pub(super) const WRITE_BYTES: usize = 4096;

/// A simulated tester that listens.
#[derive(Debug)]
pub(crate) struct Tester {
    listener: TcpListener,
    address: SocketAddr,
    setup: Arc<Setup>,
    pace: Pace,
    manner: Manner,
}

/// How connections are served.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Manner {
    /// Each gets the whole test.
    Each,
    /// The first that had the whole test was the last.
    Once,
    /// There is one test for all; it waits for its start, and another one follows it.
    Waiting,
}

/// How a connection ended.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Ending {
    /// It had the whole test.
    Whole,
    /// It left earlier.
    Left,
}

impl Tester {
    /// Takes the address.
    ///
    /// # Errors
    /// [`TesterError::Listen`] where it is taken or not ours.
    pub(crate) async fn bind(
        address: SocketAddr,
        setup: Setup,
        pace: Pace,
        manner: Manner,
    ) -> Result<Self, TesterError> {
        let listen = |error| TesterError::Listen { address, error };
        let listener = TcpListener::bind(address).await.map_err(listen)?;
        Ok(Self {
            address: listener.local_addr().map_err(listen)?,
            listener,
            setup: Arc::new(setup),
            pace,
            manner,
        })
    }

    /// Where it listens.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves until told to end; with `once`, until a connection had a whole test.
    pub(crate) async fn serve(self, shutdown: CancellationToken) {
        let permits = Arc::new(Semaphore::new(CONNECTIONS_MAX));
        let done = shutdown.child_token();
        let turns = (self.manner == Manner::Waiting).then(|| Turns::new(&self.setup, self.pace));
        loop {
            let accepted = tokio::select! {
                () = done.cancelled() => return,
                accepted = accept(&self.listener, &permits) => accepted,
            };
            let Some((stream, permit)) = accepted else { continue };
            let (setup, pace, manner, done) = (Arc::clone(&self.setup), self.pace, self.manner, done.clone());
            let turns = turns.clone();
            tokio::spawn(async move {
                let ending = tokio::select! {
                    () = done.cancelled() => Ending::Left,
                    // A client that hangs up is its own affair.
                    ending = connection(stream, &setup, pace, turns) => ending.unwrap_or(Ending::Left),
                };
                if manner == Manner::Once && ending == Ending::Whole {
                    done.cancel();
                }
                drop(permit);
            });
        }
    }
}

async fn accept(
    listener: &TcpListener,
    permits: &Arc<Semaphore>,
) -> Option<(TcpStream, tokio::sync::OwnedSemaphorePermit)> {
    let permit = Arc::clone(permits).acquire_owned().await.ok()?;
    match listener.accept().await {
        Ok((stream, _)) => Some((stream, permit)),
        Err(_) => {
            // Out of file handles, most likely: trying again at once would only spin.
            tokio::time::sleep(COMMAND_WAIT).await;
            None
        }
    }
}

/// What a client says.
pub(super) type Input = Box<dyn AsyncRead + Send + Unpin>;
/// What it hears.
pub(super) type Output = Box<dyn AsyncWrite + Send + Unpin>;
pub(super) type Commands = CommandLines<BufReader<tokio::io::Take<Input>>>;

#[derive(Debug, PartialEq, Eq)]
pub(super) enum Command {
    From(u64),
    Start,
    Tare,
    Stop,
    Unknown,
}

pub(super) fn command(line: &str) -> Command {
    let mut words = line.split_ascii_whitespace();
    match (words.next(), words.next(), words.next()) {
        (Some("from"), Some(number), None) => number.parse().map_or(Command::Unknown, Command::From),
        (Some("start"), None, None) => Command::Start,
        (Some("tare"), None, None) => Command::Tare,
        (Some("stop"), None, None) => Command::Stop,
        _ => Command::Unknown,
    }
}

async fn connection(stream: TcpStream, setup: &Setup, pace: Pace, turns: Option<Turns>) -> std::io::Result<Ending> {
    stream.set_nodelay(true)?;
    let (input, output) = stream.into_split();
    line(Box::new(input), Box::new(output), setup, pace, turns).await
}

/// Serves one client, however it is connected.
pub(super) async fn line(
    input: Input,
    output: Output,
    setup: &Setup,
    pace: Pace,
    turns: Option<Turns>,
) -> std::io::Result<Ending> {
    let mut commands = BufReader::new(input.take(COMMAND_BYTES_MAX)).lines();
    let first = match tokio::time::timeout(COMMAND_WAIT, commands.next_line()).await {
        Ok(Ok(Some(line))) => Some(command(&line)),
        Ok(Ok(None)) | Err(_) => None,
        Ok(Err(error)) => return Err(error),
    };
    if let Some(turns) = turns {
        return turns.serve(first, commands, output).await;
    }
    let from = match first {
        Some(Command::From(number)) => number,
        Some(Command::Start | Command::Tare | Command::Stop | Command::Unknown) | None => 0,
    };
    Test::new(setup, output, pace, from).run(commands).await
}

/// A test on its way to one client.
struct Test {
    lines: Lines,
    readings: std::iter::Peekable<Readings>,
    output: Output,
    pace: Pace,
    began: Instant,
    /// Moment of the first reading sent, by the test's own time.
    offset: Option<f64>,
    sample_rate: f64,
    tare: f64,
    last_load: f64,
    sent: u64,
    from: u64,
}

impl Test {
    fn new(setup: &Setup, output: Output, pace: Pace, from: u64) -> Self {
        Self {
            lines: Lines::of(setup),
            readings: Readings::of(setup).peekable(),
            output,
            pace,
            began: Instant::now(),
            offset: None,
            sample_rate: setup.sample_rate,
            tare: 0.0,
            last_load: 0.0,
            sent: 0,
            from,
        }
    }

    async fn run(mut self, mut commands: Commands) -> std::io::Result<Ending> {
        let opening = self.lines.opening(self.from);
        self.output.write_all(opening.as_bytes()).await?;
        // The readings left out are still pressed: friction remembers them.
        while self.sent < self.from && self.readings.next().is_some() {
            self.sent += 1;
        }
        let mut listening = true;
        while let Some(due) = self.due() {
            tokio::select! {
                biased;
                line = commands.next_line(), if listening => match line? {
                    Some(line) => if self.obey(&command(&line)).await? { break },
                    // The client has nothing more to say, but may still listen.
                    None => listening = false,
                },
                () = tokio::time::sleep_until(due), if due > Instant::now() => {}
                () = std::future::ready(()), if due <= Instant::now() => self.send().await?,
            }
        }
        let closing = self.lines.note(&format!("end {}", self.sent), self.sent);
        self.output.write_all(closing.as_bytes()).await?;
        self.output.shutdown().await?;
        Ok(Ending::Whole)
    }

    /// When the next reading is due; none: the test is over.
    fn due(&mut self) -> Option<Instant> {
        let next = self.readings.peek()?;
        let Pace::Times(times) = self.pace else {
            return Some(self.began);
        };
        let time = next.number as f64 / self.sample_rate;
        let offset = *self.offset.get_or_insert(time);
        Some(self.began + Duration::from_secs_f64((time - offset) / times))
    }

    async fn send(&mut self) -> std::io::Result<()> {
        let mut text = String::with_capacity(WRITE_BYTES + 64);
        while text.len() < WRITE_BYTES && self.due().is_some_and(|due| due <= Instant::now()) {
            let Some(reading) = self.readings.next() else { break };
            self.sent += 1;
            text.push_str(&self.lines.line(&reading, self.tare, self.sent));
            self.last_load = reading.load;
        }
        self.output.write_all(text.as_bytes()).await
    }

    /// Obeys; true: the test ends here.
    async fn obey(&mut self, command: &Command) -> std::io::Result<bool> {
        match command {
            Command::Stop => Ok(true),
            Command::Tare => {
                self.tare = self.last_load;
                self.say(&format!("tare {}", self.tare)).await
            }
            Command::From(_) => self.say("refused: from comes first").await,
            Command::Start => Ok(false),
            Command::Unknown => self.say("refused: known are from N, start, tare, stop").await,
        }
    }

    async fn say(&mut self, words: &str) -> std::io::Result<bool> {
        let note = self.lines.note(words, self.sent);
        self.output.write_all(note.as_bytes()).await?;
        Ok(false)
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::setup::Options;
    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        options: Options,
    }

    /// What a client hears that says something first and something more after the first lines came.
    async fn heard(arguments: &str, first: &str, then: &str) -> String {
        let line = Line::try_parse_from(std::iter::once("tester").chain(arguments.split('|'))).unwrap();
        let setup = Setup::try_from(&line.options).unwrap();
        let tester = Tester::bind(line.options.listen, setup, line.options.pace(), Manner::Once)
            .await
            .unwrap();
        let mut stream = TcpStream::connect(tester.address()).await.unwrap();
        let serving = tokio::spawn(tester.serve(CancellationToken::new()));
        stream.write_all(first.as_bytes()).await.unwrap();
        let mut text = String::new();
        if !then.is_empty() {
            let mut bytes = vec![0; 1024];
            let count = stream.read(&mut bytes).await.unwrap();
            text.push_str(std::str::from_utf8(&bytes[..count]).unwrap());
            stream.write_all(then.as_bytes()).await.unwrap();
        }
        stream.read_to_string(&mut text).await.unwrap();
        // With --once a whole test ends the tester.
        serving.await.unwrap();
        text
    }

    fn data(text: &str) -> Vec<&str> {
        text.lines().filter(|line| !line.starts_with('#')).collect()
    }

    #[tokio::test]
    async fn a_client_that_asks_for_the_rest_gets_exactly_the_rest() {
        let whole = heard("--fast", "", "").await;
        let rest = heard("--fast", "from 1500\n", "").await;
        assert!(rest.contains("\n# from 1500\n"));
        assert_eq!(data(&whole)[1500..], data(&rest));
        assert_eq!(whole.lines().last(), rest.lines().last());
        assert!(data(&heard("--fast", "from 99999999\n", "").await).is_empty());
    }

    #[tokio::test]
    async fn pacing_follows_the_tests_own_time() {
        let began = Instant::now();
        let text = heard("--speed=100", "start\n", "").await;
        let seconds = data(&text).len() as f64 / 100.0 / 100.0;
        let took = began.elapsed().as_secs_f64();
        assert!(took > 0.9 * seconds, "{took} s for {seconds} s");
    }

    #[tokio::test]
    async fn stop_ends_the_test_and_tare_moves_the_zero() {
        let text = heard("--speed=10|--tare=50 N|--noise=0 N", "start\n", "tare\nbend it\nstop\n").await;
        assert!(
            text.contains("# tare 50\n") && text.contains("# refused: known are"),
            "{text}"
        );
        let count = data(&text).len();
        assert!(count < 1000 && text.ends_with(&format!("# end {count}\n")));
    }
}
