//! WatchBench: pictures of the bench, never faster than a person can follow.
//!
//! A watcher holds no queue of pictures: at most one is pending, and the next is made from the board when that one has
//! gone. What nobody took for [`PATIENCE`] ends the stream; the recording never waits for a watcher.

use std::sync::Arc;
use std::time::Duration;

use futures_util::Stream;
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until, timeout, timeout_at};
use tokio_stream::wrappers::ReceiverStream;
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::board::{Board, Seen, Standing, rate_unit};
use super::{Bench, OnBench, map};
use crate::error::ServiceError;

/// Least time between two pictures.
const PACE: Duration = Duration::from_millis(100);
/// A sign of life at least this often.
const HEARTBEAT: Duration = Duration::from_secs(5);
/// A watcher that takes nothing for so long is dropped.
const PATIENCE: Duration = Duration::from_secs(10);

/// Begins to watch.
pub fn start(
    bench: Arc<Bench>,
    request: v1::WatchBenchRequest,
) -> Result<impl Stream<Item = Result<v1::WatchBenchResponse, ServiceError>> + Send + use<>, ServiceError> {
    let mut violations = Violations::new();
    let wanted = wanted(request, &mut violations);
    violations.finish().map_err(ServiceError::InvalidFields)?;
    let permit = bench.watchers.admit()?;
    let (pictures, replies) = mpsc::channel(1);
    let shutdown = bench.shutdown.clone();
    tokio::spawn(async move {
        let watching = Watcher {
            bench,
            wanted,
            pictures: pictures.clone(),
        }
        .watch();
        let ended = tokio::select! {
            ended = watching => ended,
            () = shutdown.cancelled() => Err(ServiceError::ShuttingDown),
            // Whoever looked once and left keeps no place until the next sign of life.
            () = pictures.closed() => Ok(()),
        };
        if let Err(error) = ended {
            // The place in the channel may be taken by a picture nobody wants any more; then the end is the message.
            let _ = timeout(PACE, pictures.send(Err(error))).await;
        }
        drop(permit);
    });
    Ok(ReceiverStream::new(replies))
}

/// What is watched.
enum Wanted {
    /// Whichever run is newest.
    Any,
    /// Whichever is newest on one tester.
    Tester(String),
    /// One run.
    Run(String),
}

impl Wanted {
    fn is_one_run(&self) -> bool {
        matches!(self, Self::Run(_))
    }

    fn of(&self, shown: &OnBench) -> Option<Arc<Board>> {
        let fits = |board: &&Arc<Board>| match self {
            Self::Any => true,
            Self::Tester(tester) => board.header.tester == *tester,
            Self::Run(run) => board.run == *run,
        };
        shown.iter().find(fits).cloned()
    }
}

fn wanted(request: v1::WatchBenchRequest, violations: &mut Violations) -> Wanted {
    if request.run.is_empty() {
        return match request.tester.is_empty() {
            true => Wanted::Any,
            false => Wanted::Tester(request.tester),
        };
    }
    if !request.tester.is_empty() {
        violations.push("tester", Reason::Conflict, "a run is watched or a tester, not both");
    }
    let id = Collection::Runs.id(&request.run, violations.at("run"));
    id.map_or(Wanted::Any, Wanted::Run)
}

struct Watcher {
    bench: Arc<Bench>,
    wanted: Wanted,
    pictures: mpsc::Sender<Result<v1::WatchBenchResponse, ServiceError>>,
}

/// Nobody watches any more.
struct Gone;

impl Watcher {
    async fn watch(self) -> Result<(), ServiceError> {
        let mut current = self.bench.on_bench.subscribe();
        if let Wanted::Run(id) = &self.wanted {
            let shown = self.bench.board_of(id);
            if shown.is_none() {
                return self.stored(id.clone()).await;
            }
        }
        loop {
            let board = match &self.wanted {
                Wanted::Run(id) => self.bench.board_of(id),
                Wanted::Any | Wanted::Tester(_) => self.wanted.of(&current.borrow_and_update()),
            };
            let ended = match board {
                Some(board) => self.board(&board, &mut current).await?,
                None => self.idle(&mut current).await?,
            };
            if ended.is_some() {
                return Ok(());
            }
        }
    }

    /// A run that is not on the bench: its record once, then signs of life would mean nothing.
    async fn stored(&self, id: String) -> Result<(), ServiceError> {
        let bench = Arc::clone(&self.bench);
        let run = tokio::task::spawn_blocking(move || bench.run_by_id(&id))
            .await
            .map_err(ServiceError::internal)??;
        let picture = v1::WatchBenchResponse {
            run: run.name,
            state: run.state,
            reset: true,
            durable_through: run.block_count,
            ..Default::default()
        };
        let _ = self.send(picture).await?;
        Ok(())
    }

    /// Nothing is recording: says so, then waits for the next run.
    async fn idle(&self, current: &mut tokio::sync::watch::Receiver<OnBench>) -> Result<Option<Gone>, ServiceError> {
        if self
            .send(v1::WatchBenchResponse {
                reset: true,
                ..Default::default()
            })
            .await?
            .is_some()
        {
            return Ok(Some(Gone));
        }
        loop {
            match timeout(HEARTBEAT, current.changed()).await {
                Ok(Ok(())) => return Ok(None),
                Ok(Err(_)) => return Ok(Some(Gone)),
                Err(_) => {
                    if self
                        .send(v1::WatchBenchResponse {
                            heartbeat: true,
                            ..Default::default()
                        })
                        .await?
                        .is_some()
                    {
                        return Ok(Some(Gone));
                    }
                }
            }
        }
    }

    /// One run, until it ends for this watcher or, when any run will do, another takes the bench.
    async fn board(
        &self,
        board: &Arc<Board>,
        current: &mut tokio::sync::watch::Receiver<OnBench>,
    ) -> Result<Option<Gone>, ServiceError> {
        let mut changes = board.subscribe();
        let mut seen = Seen::default();
        loop {
            changes.mark_unchanged();
            self.look_for_marks(board);
            let started = Instant::now();
            let picture = picture(board, &mut seen);
            let over = picture.state != v1::RunState::Recording as i32;
            if self.send(picture).await?.is_some() {
                return Ok(Some(Gone));
            }
            if over && self.wanted.is_one_run() {
                return Ok(Some(Gone));
            }
            sleep_until(started + PACE).await;
            loop {
                let quiet_until = Instant::now() + HEARTBEAT;
                tokio::select! {
                    changed = timeout_at(quiet_until, changes.changed()) => match changed {
                        Ok(_) => break,
                        Err(_) => {
                            let sign = v1::WatchBenchResponse { run: Collection::Runs.name(&board.run), state: map::state(board.condition().0) as i32, heartbeat: true, ..Default::default() };
                            if self.send(sign).await?.is_some() {
                                return Ok(Some(Gone));
                            }
                        }
                    },
                    next = current.changed(), if !self.wanted.is_one_run() => {
                        if next.is_err() {
                            return Ok(Some(Gone));
                        }
                        let shown = self.wanted.of(&current.borrow_and_update());
                        // Another tester's run may have come; this one's goes on.
                        if !shown.is_some_and(|shown| Arc::ptr_eq(&shown, board)) {
                            return Ok(None);
                        }
                    }
                }
            }
        }
    }

    /// Has the curve looked at beside the watching: once for all watchers of a run, and only while somebody watches.
    fn look_for_marks(&self, board: &Arc<Board>) {
        let Some((points, tare)) = board.marks_due() else {
            return;
        };
        let (bench, board) = (Arc::clone(&self.bench), Arc::clone(board));
        tokio::task::spawn_blocking(move || board.mark(bench.marks(&board, &points, tare)));
    }

    async fn send(&self, picture: v1::WatchBenchResponse) -> Result<Option<Gone>, ServiceError> {
        match timeout(PATIENCE, self.pictures.send(Ok(picture))).await {
            Ok(Ok(())) => Ok(None),
            Ok(Err(_)) => Ok(Some(Gone)),
            Err(_) => Err(ServiceError::WatcherTooSlow),
        }
    }
}

fn picture(board: &Board, seen: &mut Seen) -> v1::WatchBenchResponse {
    let news = board.news(seen);
    let (deflections, loads) = news.points.iter().copied().unzip();
    let points = board.axes.deflection.map(|(_, unit)| v1::BenchPoints {
        deflection_unit: map::unit_number(unit),
        load_unit: map::unit_number(board.axes.load.1),
        deflections,
        loads,
    });
    v1::WatchBenchResponse {
        run: Collection::Runs.name(&board.run),
        state: map::state(news.standing) as i32,
        reset: news.reset,
        points,
        durable_through: news.durable_through,
        reading: Some(live_reading(board, &news.reading)),
        heartbeat: false,
        instrument: if news.standing.is_recording() {
            news.condition.instrument as i32
        } else {
            0
        },
        obeys: board.header.obeys.clone(),
        spring: news.condition.spring,
        tester: board.header.tester.clone(),
        tare_mark: news.condition.tare,
        notice: news.condition.notice,
        marks: news.condition.marks,
        record_change_count: news.condition.record_changes,
    }
}

/// The newest reading in the run's own units.
pub fn live_reading(board: &Board, reading: &super::board::Reading) -> v1::LiveReading {
    let rate_unit = rate_unit(&board.axes);
    v1::LiveReading {
        elapsed: reading.elapsed_ns.map(map::duration),
        deflection: reading
            .deflection
            .zip(board.axes.deflection)
            .map(|(value, (_, unit))| v1::Length {
                value: Some(value),
                unit: map::unit_number(unit),
            }),
        load: reading.load.map(|value| v1::Force {
            value: Some(value),
            unit: map::unit_number(board.axes.load.1),
        }),
        rate: reading.rate.map(|rate| v1::Stiffness {
            value: Some(mechanics::quantity::Quantity::get(rate, rate_unit)),
            unit: map::unit_number(rate_unit),
        }),
        sample_count: reading.samples,
    }
}

impl Standing {
    /// Whether a stream is attached.
    #[must_use]
    pub fn is_recording(self) -> bool {
        self == Self::Recording
    }
}

#[cfg(test)]
mod tests {
    use futures_util::StreamExt as _;
    use store::Store;
    use store::engine::memory::MemoryEngine;
    use tokio_util::sync::CancellationToken;

    use super::super::instruct::Orders;
    use super::super::{Live, WallClock};
    use super::*;

    fn bench() -> Arc<Bench> {
        let store = Store::over(Arc::new(MemoryEngine::new())).unwrap();
        Arc::new(Bench::new(store, Arc::new(WallClock), CancellationToken::new()))
    }

    /// A run on the bench; what its instrument would hear is dropped.
    fn on_bench(bench: &Bench, run: &str, tester: &str) -> Arc<Board> {
        let header = v1::RunHeader {
            tester: tester.to_owned(),
            ..Default::default()
        };
        let board = Arc::new(Board::new(run.to_owned(), header, String::new(), 0));
        let live = Live {
            attachment: 1,
            board: Arc::clone(&board),
            orders: Arc::new(Orders::new().0),
            shut_out: CancellationToken::new(),
        };
        bench.attach(run, live);
        board
    }

    // The clock stands still but for those who wait for it: nothing here takes real time.
    #[tokio::test(start_paused = true)]
    async fn a_watcher_that_takes_nothing_is_dropped_and_the_others_go_on() {
        let bench = bench();
        let board = on_bench(&bench, "a", "");
        let slow = start(Arc::clone(&bench), v1::WatchBenchRequest::default()).unwrap();
        let quick = start(Arc::clone(&bench), v1::WatchBenchRequest::default()).unwrap();
        tokio::pin!(quick);
        let began = Instant::now();
        let mut seen = 0;
        for number in 1.. {
            board.durable(number);
            let picture = quick.next().await.unwrap().unwrap();
            assert!(picture.durable_through >= seen);
            seen = picture.durable_through;
            if began.elapsed() > 3 * PATIENCE {
                break;
            }
        }
        assert!(seen > 200, "{seen}");
        assert_eq!(bench.watchers.free(), super::super::WATCHERS - 1);
        // What was on its way, and the end: no picture was kept for it.
        let left: Vec<_> = slow.collect().await;
        assert!(left.len() <= 2, "{}", left.len());
    }

    #[tokio::test(start_paused = true)]
    async fn whoever_looks_once_leaves_no_watcher_behind() {
        let bench = bench();
        on_bench(&bench, "a", "");
        for _ in 0..3 {
            let shown = start(Arc::clone(&bench), v1::WatchBenchRequest::default()).unwrap();
            let mut shown = Box::pin(shown);
            shown.next().await.unwrap().unwrap();
        }
        // Less than a sign of life away.
        tokio::time::sleep(PACE).await;
        assert_eq!(bench.watchers.free(), super::super::WATCHERS);
    }

    #[tokio::test(start_paused = true)]
    async fn a_tester_is_followed_from_run_to_run_and_no_other_one() {
        let bench = bench();
        let watch = v1::WatchBenchRequest {
            tester: "left".to_owned(),
            ..Default::default()
        };
        let shown = start(Arc::clone(&bench), watch).unwrap();
        tokio::pin!(shown);
        assert_eq!(shown.next().await.unwrap().unwrap().run, "");
        on_bench(&bench, "a", "left");
        assert_eq!(shown.next().await.unwrap().unwrap().run, "runs/a");
        on_bench(&bench, "b", "right");
        assert!(shown.next().await.unwrap().unwrap().heartbeat);
        on_bench(&bench, "c", "left");
        let next = shown.next().await.unwrap().unwrap();
        assert!(next.run == "runs/c" && next.reset);
    }
}
