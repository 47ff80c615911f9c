//! The board: what the people at the bench see of a run while it is recorded.
//!
//! A board never grows: at most [`MAX_POINTS`] points of the curve are kept, thinned by half whenever they are full.
//! Watchers look at it when it changes, at their own pace, so a slow one costs the recording nothing.

use std::sync::{Mutex, MutexGuard, PoisonError};

use mechanics::live::LiveRate;
use mechanics::quantity::{Deflection, ForceUnit, LengthUnit, Load, Quantity, SpringRate, StiffnessUnit};
use tokio::sync::watch;

/// Points of the curve a snapshot carries.
pub const MAX_POINTS: usize = 512;

/// Where a run stands as the bench shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// A stream is attached.
    Recording,
    /// It ended without a finish.
    Interrupted,
    /// Sealed.
    Finished,
    /// Given up.
    Discarded,
}

/// Which columns are drawn, and in what.
#[derive(Debug, Clone, Copy)]
pub struct Axes {
    /// Index of the deflection's column, and its unit.
    pub deflection: Option<(usize, LengthUnit)>,
    /// Index of the load's column, and its unit.
    pub load: (usize, ForceUnit),
}

/// The newest of everything.
#[derive(Debug, Clone, Default)]
pub struct Reading {
    /// From the segment's start.
    pub elapsed_ns: Option<i64>,
    /// In the run's own unit.
    pub deflection: Option<f64>,
    /// In the run's own unit.
    pub load: Option<f64>,
    /// Over the latest movement.
    pub rate: Option<SpringRate>,
    /// Samples received.
    pub samples: i64,
}

/// One run on the bench.
#[derive(Debug)]
pub struct Board {
    /// Id of the run.
    pub run: String,
    /// What is drawn.
    pub axes: Axes,
    inner: Mutex<Inner>,
    changed: watch::Sender<u64>,
}

#[derive(Debug)]
struct Inner {
    standing: Standing,
    durable_through: i64,
    reading: Reading,
    live: LiveRate,
    points: Vec<(f64, f64)>,
    stride: usize,
    until_next: usize,
    thinned: u64,
}

/// How far a watcher has seen a board.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Seen {
    thinned: u64,
    points: usize,
    started: bool,
}

/// What a watcher has not seen yet.
#[derive(Debug, Clone)]
pub struct News {
    /// Where the run stands.
    pub standing: Standing,
    /// The points replace what was drawn.
    pub reset: bool,
    /// Points, deflection and load.
    pub points: Vec<(f64, f64)>,
    /// The last durable block.
    pub durable_through: i64,
    /// The newest reading.
    pub reading: Reading,
}

impl Board {
    /// An empty board of a run.
    #[must_use]
    pub fn new(run: String, axes: Axes, durable_through: i64) -> Self {
        let inner = Inner {
            standing: Standing::Recording,
            durable_through,
            reading: Reading::default(),
            live: LiveRate::new(),
            points: Vec::with_capacity(MAX_POINTS),
            stride: 1,
            until_next: 0,
            thinned: 0,
        };
        Self {
            run,
            axes,
            inner: Mutex::new(inner),
            changed: watch::Sender::new(0),
        }
    }

    /// Tells when something changed.
    pub fn subscribe(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Takes a block in.
    pub fn take(&self, elapsed_ns: &[i64], columns: &[Vec<f64>]) {
        let column = |index: usize| columns.get(index).map(Vec::as_slice).unwrap_or_default();
        let loads = column(self.axes.load.0);
        let mut inner = self.lock();
        match self.axes.deflection {
            Some((index, unit)) => {
                for (deflection, load) in column(index).iter().zip(loads) {
                    inner.sample(*deflection, unit, *load, self.axes.load.1);
                }
                inner.reading.deflection = column(index).last().copied().or(inner.reading.deflection);
            }
            // Without a deflection nothing can be drawn against it; the load is still shown.
            None => {}
        }
        inner.reading.samples += i64::try_from(loads.len()).unwrap_or(i64::MAX);
        inner.reading.load = loads.last().copied().or(inner.reading.load);
        inner.reading.elapsed_ns = elapsed_ns.last().copied().or(inner.reading.elapsed_ns);
        inner.reading.rate = inner.live.rate();
        drop(inner);
        self.bump();
    }

    /// Notes how far the run is durable.
    pub fn durable(&self, through: i64) {
        self.lock().durable_through = through;
        self.bump();
    }

    /// Notes where the run stands.
    pub fn stand(&self, standing: Standing) {
        self.lock().standing = standing;
        self.bump();
    }

    /// The newest reading.
    #[must_use]
    pub fn reading(&self) -> Reading {
        self.lock().reading.clone()
    }

    /// What a watcher has not seen.
    #[must_use]
    pub fn news(&self, seen: &mut Seen) -> News {
        let inner = self.lock();
        let reset = !seen.started || seen.thinned != inner.thinned;
        let from = if reset { 0 } else { seen.points };
        let points = inner.points.get(from..).unwrap_or_default().to_vec();
        *seen = Seen {
            thinned: inner.thinned,
            points: inner.points.len(),
            started: true,
        };
        News {
            standing: inner.standing,
            reset,
            points,
            durable_through: inner.durable_through,
            reading: inner.reading.clone(),
        }
    }

    fn bump(&self) {
        self.changed.send_modify(|version| *version = version.wrapping_add(1));
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A board only shows: after a panic elsewhere its numbers are still numbers.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    fn sample(&mut self, deflection: f64, deflection_unit: LengthUnit, load: f64, load_unit: ForceUnit) {
        self.live
            .push(Deflection::new(deflection, deflection_unit), Load::new(load, load_unit));
        if self.until_next > 0 {
            self.until_next -= 1;
            return;
        }
        if self.points.len() == MAX_POINTS {
            let mut keep = false;
            self.points.retain(|_| {
                keep = !keep;
                keep
            });
            self.stride *= 2;
            self.thinned += 1;
        }
        self.points.push((deflection, load));
        self.until_next = self.stride - 1;
    }
}

/// The unit a live rate is shown in: the run's own units decide.
#[must_use]
pub fn rate_unit(axes: &Axes) -> StiffnessUnit {
    match axes.load.1 {
        ForceUnit::PoundForce => StiffnessUnit::PoundForcePerInch,
        ForceUnit::KilogramForce => StiffnessUnit::KilogramForcePerMillimeter,
        ForceUnit::Newton => StiffnessUnit::NewtonPerMillimeter,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn board() -> Board {
        Board::new(
            "r".to_owned(),
            Axes {
                deflection: Some((0, LengthUnit::Millimeter)),
                load: (1, ForceUnit::Newton),
            },
            0,
        )
    }

    fn block(from: usize, count: usize) -> Vec<Vec<f64>> {
        let s: Vec<f64> = (from..from + count).map(|i| i as f64 * 0.01).collect();
        let f = s.iter().map(|s| s * 9.5).collect();
        vec![s, f]
    }

    #[test]
    fn a_watcher_sees_every_kept_point_once_and_a_reset_after_thinning() {
        let board = board();
        let mut seen = Seen::default();
        let mut drawn: Vec<(f64, f64)> = Vec::new();
        for start in (0..20_000).step_by(100) {
            board.take(&[], &block(start, 100));
            let news = board.news(&mut seen);
            if news.reset {
                drawn.clear();
            }
            drawn.extend(news.points);
            assert!(drawn.len() <= MAX_POINTS);
        }
        let mut fresh = Seen::default();
        assert_eq!(board.news(&mut fresh).points, drawn);
        assert!(drawn.len() > MAX_POINTS / 4);
        assert_eq!(board.reading().samples, 20_000);
    }

    #[test]
    fn nothing_new_is_no_points() {
        let board = board();
        board.take(&[], &block(0, 10));
        let mut seen = Seen::default();
        assert_eq!(board.news(&mut seen).points.len(), 10);
        let again = board.news(&mut seen);
        assert!(!again.reset && again.points.is_empty());
    }
}
