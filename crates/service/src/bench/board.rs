//! The board: what the people at the bench see of a run while it is recorded.
//!
//! A board never grows: at most [`MAX_POINTS`] points of the curve are kept, thinned by half whenever they are full.
//! Watchers look at it when it changes, at their own pace, so a slow one costs the recording nothing.

use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use mechanics::live::LiveRate;
use mechanics::quantity::{Deflection, ForceUnit, LengthUnit, Load, Quantity, SpringRate, StiffnessUnit, Unit};
use tokio::sync::watch;
use wire::v1;
use wire::v1::instruction::Action;

/// Points of the curve a snapshot carries.
pub const MAX_POINTS: usize = 512;
/// Least time between two looks at where the curve is.
const MARKING_PACE: Duration = Duration::from_millis(500);

/// Deflections and loads, in the run's own units.
pub type Points = Vec<(f64, f64)>;

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

impl Axes {
    /// Those of a run.
    #[must_use]
    pub fn of(header: &v1::RunHeader) -> Self {
        use v1::column::{Quantity, Unit as On};
        let first = |wanted: [Quantity; 2]| {
            let mut columns = header.columns.iter().enumerate();
            columns.find(|(_, column)| wanted.iter().any(|quantity| column.quantity == *quantity as i32))
        };
        let deflection =
            first([Quantity::Deflection, Quantity::Position]).and_then(|(index, column)| match column.unit {
                Some(On::Length(number)) => Some((index, LengthUnit::from_number(number)?)),
                _ => None,
            });
        let load = first([Quantity::Load, Quantity::Force]).and_then(|(index, column)| match column.unit {
            Some(On::Force(number)) => Some((index, ForceUnit::from_number(number)?)),
            _ => None,
        });
        // A header without a load was refused; the default keeps this total.
        Self {
            deflection,
            load: load.unwrap_or((0, ForceUnit::Newton)),
        }
    }
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

/// What is to be known of a run beside its samples.
#[derive(Debug, Clone, Default)]
pub struct Condition {
    /// What the instrument is at.
    pub instrument: v1::InstrumentState,
    /// The spring's name; empty: none yet.
    pub spring: String,
    /// The tare in force.
    pub tare: Option<v1::TareMark>,
    /// How the instrument took the last instruction.
    pub notice: Option<v1::InstrumentNotice>,
    /// Where the curve so far is.
    pub marks: Option<v1::BenchMarks>,
    /// Changes of springs and runs.
    pub record_changes: i64,
}

/// One run on the bench.
#[derive(Debug)]
pub struct Board {
    /// Id of the run.
    pub run: String,
    /// As sent.
    pub header: v1::RunHeader,
    /// What is drawn.
    pub axes: Axes,
    inner: Mutex<Inner>,
    changed: watch::Sender<u64>,
}

#[derive(Debug)]
struct Inner {
    standing: Standing,
    condition: Condition,
    durable_through: i64,
    reading: Reading,
    /// When the marks were looked for, and from how many samples.
    marking: Option<(Instant, i64)>,
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
    /// What else is known.
    pub condition: Condition,
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
    /// An empty board of a run. Without a sample, an instrument that obeys START waits for it.
    #[must_use]
    pub fn new(run: String, header: v1::RunHeader, spring: String, durable_through: i64) -> Self {
        let waits = durable_through == 0 && obeys(&header, Action::Start);
        let instrument = if waits {
            v1::InstrumentState::Waiting
        } else {
            v1::InstrumentState::Sampling
        };
        let inner = Inner {
            standing: Standing::Recording,
            condition: Condition {
                instrument,
                spring,
                ..Condition::default()
            },
            durable_through,
            reading: Reading::default(),
            marking: None,
            live: LiveRate::new(),
            points: Vec::with_capacity(MAX_POINTS),
            stride: 1,
            until_next: 0,
            thinned: 0,
        };
        Self {
            run,
            axes: Axes::of(&header),
            header,
            inner: Mutex::new(inner),
            changed: watch::Sender::new(0),
        }
    }

    /// Tells when something changed.
    pub fn subscribe(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Whether the instrument obeys an instruction.
    #[must_use]
    pub fn obeys(&self, action: Action) -> bool {
        obeys(&self.header, action)
    }

    /// Takes a block in.
    pub fn take(&self, elapsed_ns: &[i64], columns: &[Vec<f64>], tare: Option<v1::TareMark>) {
        let column = |index: usize| columns.get(index).map(Vec::as_slice).unwrap_or_default();
        let loads = column(self.axes.load.0);
        let mut inner = self.lock();
        if let Some(tare) = tare {
            inner.tare(tare);
        }
        if inner.condition.instrument == v1::InstrumentState::Waiting {
            inner.condition.instrument = v1::InstrumentState::Sampling;
        }
        // Without a deflection nothing can be drawn against it; the load is still shown.
        if let Some((index, unit)) = self.axes.deflection {
            for (deflection, load) in column(index).iter().zip(loads) {
                inner.sample(*deflection, unit, *load, self.axes.load.1);
            }
            inner.reading.deflection = column(index).last().copied().or(inner.reading.deflection);
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

    /// Notes what the instrument says of itself.
    pub fn notice(&self, notice: v1::InstrumentNotice) {
        let mut inner = self.lock();
        if notice.state() != v1::InstrumentState::Unspecified {
            inner.condition.instrument = notice.state();
        }
        if let Some(tare) = notice.tare_mark {
            inner.tare(tare);
        }
        inner.condition.notice = Some(notice);
        drop(inner);
        self.bump();
    }

    /// Notes which spring is on it.
    pub fn assign(&self, spring: String) {
        self.lock().condition.spring = spring;
        self.bump();
    }

    /// Notes that a spring or a run changed.
    pub fn record_changed(&self) {
        let mut inner = self.lock();
        inner.condition.record_changes = inner.condition.record_changes.wrapping_add(1);
        drop(inner);
        self.bump();
    }

    /// The points and the tare to look for marks in, when that is due: something was added since, and not just now.
    #[must_use]
    pub fn marks_due(&self) -> Option<(Points, Option<v1::TareMark>)> {
        let mut inner = self.lock();
        let samples = inner.reading.samples;
        let due = inner
            .marking
            .is_none_or(|(at, seen)| seen != samples && at.elapsed() >= MARKING_PACE);
        if !due || inner.points.is_empty() || inner.standing != Standing::Recording {
            return None;
        }
        inner.marking = Some((Instant::now(), samples));
        Some((inner.points.clone(), inner.condition.tare))
    }

    /// Notes where the curve is.
    pub fn mark(&self, marks: Option<v1::BenchMarks>) {
        self.lock().condition.marks = marks;
        self.bump();
    }

    /// Where the run stands and what else is known, without its points.
    #[must_use]
    pub fn condition(&self) -> (Standing, Condition) {
        let inner = self.lock();
        (inner.standing, inner.condition.clone())
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
            condition: inner.condition.clone(),
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

fn obeys(header: &v1::RunHeader, action: Action) -> bool {
    header.obeys.contains(&(action as i32))
}

impl Inner {
    /// Points of another zero are no part of the curve any more.
    fn tare(&mut self, tare: v1::TareMark) {
        if self.condition.tare.replace(tare) == Some(tare) {
            return;
        }
        self.live = LiveRate::new();
        self.points.clear();
        self.stride = 1;
        self.until_next = 0;
        self.thinned += 1;
        self.condition.marks = None;
    }

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
        use v1::column::{Quantity, Unit as On};
        let column = |quantity: Quantity, unit| v1::Column {
            quantity: quantity.into(),
            unit: Some(unit),
        };
        let header = v1::RunHeader {
            columns: vec![
                column(Quantity::Deflection, On::Length(v1::length::Unit::Millimeter.into())),
                column(Quantity::Load, On::Force(v1::force::Unit::Newton.into())),
            ],
            obeys: vec![Action::Start.into()],
            ..Default::default()
        };
        Board::new("r".to_owned(), header, String::new(), 0)
    }

    fn tare(value: f64) -> v1::TareMark {
        v1::TareMark {
            load: Some(v1::Force {
                value: Some(value),
                unit: v1::force::Unit::Newton.into(),
            }),
            zeroed_load: None,
        }
    }

    #[test]
    fn a_board_waits_for_its_first_sample_and_a_new_zero_begins_the_curve_again() {
        let board = board();
        let mut seen = Seen::default();
        assert_eq!(board.news(&mut seen).condition.instrument, v1::InstrumentState::Waiting);
        board.take(&[], &block(0, 10), None);
        assert_eq!(board.news(&mut seen).points.len(), 10);
        board.take(&[], &block(10, 10), Some(tare(2.0)));
        let news = board.news(&mut seen);
        assert!(news.reset && news.points.len() == 10);
        assert_eq!(news.condition.instrument, v1::InstrumentState::Sampling);
        assert_eq!(news.condition.tare, Some(tare(2.0)));
        // The same tare said again is no new zero.
        board.notice(v1::InstrumentNotice {
            tare_mark: Some(tare(2.0)),
            ..Default::default()
        });
        assert!(!board.news(&mut seen).reset);
    }

    #[test]
    fn marks_are_looked_for_once_for_the_same_samples() {
        let board = board();
        assert!(board.marks_due().is_none());
        board.take(&[], &block(0, 10), None);
        assert_eq!(board.marks_due().map(|(points, _)| points.len()), Some(10));
        assert!(board.marks_due().is_none());
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
            board.take(&[], &block(start, 100), None);
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
        board.take(&[], &block(0, 10), None);
        let mut seen = Seen::default();
        assert_eq!(board.news(&mut seen).points.len(), 10);
        let again = board.news(&mut seen);
        assert!(!again.reset && again.points.is_empty());
    }
}
