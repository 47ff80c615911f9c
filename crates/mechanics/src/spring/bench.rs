//! A run on the rate tester: strokes, no-load level, clipping, contact, window and line, in the order they depend on one
//! another.

use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{Deflection, Load, Quantity, SpringRate};

use super::bind::Broken;
use super::contact::{Beginning, NoLoad, no_load};
use super::line::{Group, Line, fit, fit_in_sequence};
use super::samples::{Point, checked, take_off_frame};
use super::shape::{Judged, judge};
use super::strokes::{Course, Stroke, Strokes, find, reach};
use super::window::{Cut, Travel, cut};
use super::words::Words;
use super::{Curve, LocalRate, Request, Samples, SpringError, Tare, Window, clipping, curve, hysteresis, knees, local};

/// A run made ready.
pub(super) struct Bench<'a> {
    pub(super) request: &'a Request,
    pub(super) points: Vec<Point>,
    pub(super) strokes: Strokes,
    /// Strokes before this one only set the spring.
    pub(super) first_counted: usize,
    pub(super) no_load: Option<NoLoad>,
    /// Loads from here on are clipped.
    pub(super) clip: Option<f64>,
}

/// What the window says.
pub(super) struct Settled {
    pub(super) contact: Option<f64>,
    /// How a curve of more than one rate begins.
    pub(super) beginning: Option<Beginning>,
    pub(super) cut: Cut,
    pub(super) groups: Vec<Group>,
    pub(super) line: Line,
    pub(super) bind: Option<Broken>,
    /// What the curve below coil bind is.
    pub(super) judged: Option<Judged>,
    /// Rates where they were asked for.
    pub(super) local_rates: Vec<LocalRate>,
    pub(super) curve: Curve,
    pub(super) travel: Travel,
}

/// What was said on the way.
#[derive(Default)]
pub(super) struct Said {
    pub(super) findings: Vec<Finding>,
    pub(super) assumptions: Vec<Assumption>,
}

impl Said {
    pub(super) fn find(&mut self, code: Code, field: &'static str, message: String) {
        self.findings.push(Finding::about(code, field, message));
    }

    pub(super) fn assume(&mut self, subject: &'static str, text: String, source: &'static str) {
        self.assumptions.push(Assumption { subject, text, source });
    }
}

/// Common practice of the trade.
pub(super) const PRACTICE: &str = "common practice, no source";

/// A stated tare is what the instrument shows: it is read back like the loads.
fn tare_rule(request: &Request) -> Tare {
    match (request.tare, &request.calibration) {
        (Tare::Level(shown), Some(curve)) => Tare::Level(curve.applied(shown)),
        (rule, _) => rule,
    }
}

impl<'a> Bench<'a> {
    /// Lays a run out.
    pub(super) fn new(request: &'a Request, samples: &Samples, said: &mut Said) -> Result<Self, SpringError> {
        let mut points = checked(samples)?;
        if points.len() < 2 {
            return Err(SpringError::TooFewPoints {
                count: points.len(),
                needed: 2,
            });
        }
        if let Some(curve) = &request.calibration {
            curve.correct(&mut points);
        }
        let (low, high) = reach(&points);
        if high - low <= 4.0 * f64::EPSILON * high.abs().max(low.abs()) {
            return Err(SpringError::OneDeflection(Deflection::from_si(low)));
        }
        let strokes = find(&points, &samples.segment_starts, request.window == Window::AllSamples)?;
        let no_load = no_load(tare_rule(request), &points, &strokes)?;
        let tare = no_load.as_ref().map_or(0.0, |found| found.level);
        let beyond = take_off_frame(&mut points, &request.frame, tare);
        let mut bench = Self {
            request,
            points,
            strokes,
            first_counted: 0,
            no_load,
            clip: None,
        };
        bench.say_tare(said);
        bench.leave_out_presets(said);
        bench.clip = clipping::level(request, &bench.points, said);
        if beyond > 0 {
            let text = format!("{beyond} loads lie above the measured frame curve; its last slope was carried on");
            said.find(Code::FrameCurveExceeded, "frame.curve", text);
        }
        Ok(bench)
    }

    /// The no-load level, 0 where none is taken off.
    pub(super) fn tare(&self) -> f64 {
        self.no_load.as_ref().map_or(0.0, |found| found.level)
    }

    fn say_tare(&self, said: &mut Said) {
        if self.request.tare != Tare::Automatic {
            return;
        }
        let words = Words::new(self.request.units);
        match &self.no_load {
            Some(found) => said.assume(
                "tare",
                format!(
                    "the no-load level is {}, read from {} readings of the approach",
                    words.force(found.level),
                    found.count
                ),
                PRACTICE,
            ),
            None => {
                said.assume(
                    "tare",
                    "no tare is taken off: the run shows no approach without load".to_owned(),
                    PRACTICE,
                );
                said.find(
                    Code::NoApproach,
                    "tare",
                    "no part of the run is without load: tare and contact are not known, deflections count from the \
                     tester's own 0"
                        .to_owned(),
                );
            }
        }
    }

    fn leave_out_presets(&mut self, said: &mut Said) {
        let count = self.strokes.strokes.len();
        match self.request.strokes.preset_stroke_count {
            None => said.assume(
                "strokes.preset_stroke_count",
                "every stroke counts, none was only to set the spring".to_owned(),
                PRACTICE,
            ),
            Some(presets) if presets < count => self.first_counted = presets,
            Some(presets) => {
                self.first_counted = count.saturating_sub(1);
                let text =
                    format!("{presets} strokes were to be left out, the run holds {count}: the last one is used");
                said.find(Code::PresetKept, "strokes.preset_stroke_count", text);
            }
        }
        if self.strokes.left_out > 0 {
            let text = format!(
                "{} readings of movements too short for a stroke are left out",
                self.strokes.left_out
            );
            said.assume("samples", text, PRACTICE);
        }
    }

    /// Strokes that count, with their numbers from 0.
    pub(super) fn counted(&self) -> impl Iterator<Item = (usize, &Stroke)> {
        self.strokes.strokes.iter().enumerate().skip(self.first_counted)
    }

    /// The deepest of the strokes that count, the last of equals.
    pub(super) fn deepest(&self) -> Option<&Stroke> {
        self.counted()
            .max_by(|(_, a), (_, b)| self.depth(a).total_cmp(&self.depth(b)))
            .map(|(_, stroke)| stroke)
    }

    fn depth(&self, stroke: &Stroke) -> f64 {
        self.readings(stroke).map(|p| p.s).fold(f64::NEG_INFINITY, f64::max)
    }

    /// Readings of a stroke, in the order taken.
    pub(super) fn readings<'b>(&'b self, stroke: &'b Stroke) -> impl Iterator<Item = &'b Point> {
        stroke
            .press
            .iter()
            .chain(&stroke.back)
            .flat_map(|range| self.points.get(range.clone()).unwrap_or_default())
    }

    /// Readings of one branch of a stroke.
    pub(super) fn branch<'b>(&'b self, stroke: &'b Stroke, course: Course) -> impl Iterator<Item = &'b Point> {
        let ranges = stroke.ranges(course).iter();
        ranges.flat_map(|range| self.points.get(range.clone()).unwrap_or_default())
    }

    pub(super) fn clipped(&self, point: &Point) -> bool {
        self.clip.is_some_and(|level| point.f >= level)
    }

    /// The readings of some strokes within the window, clipped ones left out, one group a range.
    pub(super) fn groups<'b>(&self, cut: &Cut, strokes: impl Iterator<Item = (usize, &'b Stroke)>) -> Vec<Group> {
        let reach = 1e-9 * (cut.to - cut.from);
        let within = |p: &&Point| p.s >= cut.from - reach && p.s <= cut.to + reach && !self.clipped(p);
        let mut groups = Vec::new();
        for (number, stroke) in strokes {
            for course in [Course::Press, Course::Return] {
                for (index, range) in stroke.ranges(course).iter().enumerate() {
                    let readings = self.points.get(range.clone()).unwrap_or_default();
                    let turns = index == 0 && (course == Course::Return || number > 0);
                    let clear = self.clear_of_reversal(readings, turns);
                    let kept = || readings.iter().filter(within).filter(|p| clear(p)).copied();
                    // Counted first: growing by doubling would cost twice the memory.
                    let mut points = Vec::with_capacity(kept().count());
                    points.extend(kept());
                    if !points.is_empty() {
                        groups.push(Group { course, points });
                    }
                }
            }
        }
        if self.request.strokes.reversal_discard.is_none() && self.strokes.ordered {
            hysteresis::leave_out_transitions(&mut groups);
            groups.retain(|group| !group.points.is_empty());
        }
        let returns: usize = groups
            .iter()
            .filter(|g| g.course == Course::Return)
            .map(|g| g.points.len())
            .sum();
        let presses: usize = groups
            .iter()
            .filter(|g| g.course == Course::Press)
            .map(|g| g.points.len())
            .sum();
        // Two readings of a return would only pretend to a friction.
        if presses > 0 && returns < 3 {
            groups.retain(|group| group.course == Course::Press);
        }
        groups
    }

    fn clear_of_reversal(&self, readings: &[Point], turns: bool) -> impl Fn(&&Point) -> bool + use<> {
        let discard = self
            .request
            .strokes
            .reversal_discard
            .map(Quantity::si)
            .filter(|_| turns);
        let turn = readings.first().map(|p| p.s);
        move |p| match (discard, turn) {
            (Some(discard), Some(turn)) => (p.s - turn).abs() >= discard,
            _ => true,
        }
    }

    /// Contact, window and line settle one another: a window counts from contact, and contact is where the window's line
    /// meets the no-load level.
    pub(super) fn settle(&self) -> Result<Settled, SpringError> {
        let counted = || self.counted().flat_map(|(_, stroke)| self.readings(stroke));
        let (smallest, largest) = counted().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(p.s), high.max(p.s))
        });
        let rough = |found: &NoLoad| self.rough_contact(found.level, smallest, largest);
        let mut contact = self
            .no_load
            .as_ref()
            .map(|found| found.approach_end.unwrap_or_else(|| rough(found)));
        let from = contact.unwrap_or(smallest);
        let sorted = self.sorted(Course::Press);
        let bind = knees::bind(&sorted, from);
        let every = self.request.window == Window::AllSamples;
        let working = knees::working(&sorted, from, bind.as_ref().map(|broken| broken.at), every);
        let asked = &self.request.curve;
        let judged = judge(working, asked.max_segment_count, asked.segment_count);
        let beginning = judged
            .as_ref()
            .filter(|_| self.strokes.ordered && !every)
            .zip(self.no_load.as_ref())
            .and_then(|(judged, level)| Beginning::of(judged, working.first()?.s, level, &sorted));
        let end = bind.as_ref().map_or(f64::INFINITY, |broken| broken.at);
        let end = sorted.last().map_or(from, |p| p.s).min(end);
        let local_rates = local::rates(self.request, &sorted, judged.as_ref(), (from, end));
        let curve = Curve {
            press: curve::thinned(&sorted, self.tare()),
            smooth: curve::smooth(&sorted, self.tare()),
            returning: {
                drop(sorted);
                curve::thinned(&self.sorted(Course::Return), self.tare())
            },
        };
        let mut rounds = 0;
        loop {
            let travel = Travel {
                contact,
                bind: bind.as_ref().map(|broken| broken.at),
                largest,
                smallest,
            };
            let cut = cut(self.request, &travel)?;
            let groups = self.groups(&cut, self.counted());
            let line = self.line(&cut, &groups)?;
            let found = self.no_load.as_ref().map(|level| match &beginning {
                Some(beginning) => beginning.meets(level.level, line.half_gap.map_or(0.0, |(gap, _)| gap)),
                None => line.center + (level.level - line.level) / line.slope,
            });
            let moved = found.zip(contact).map_or(0.0, |(now, before)| (now - before).abs());
            let share = matches!(self.request.window, Window::Share(_));
            rounds += 1;
            if !share || moved <= 1e-9 * (largest - smallest) || rounds == ROUNDS {
                return Ok(Settled {
                    contact: found,
                    beginning,
                    cut,
                    groups,
                    line,
                    bind,
                    judged: judged.clone(),
                    local_rates: local_rates.clone(),
                    curve,
                    travel: Travel {
                        contact: found,
                        ..travel
                    },
                });
            }
            contact = found;
        }
    }

    fn rough_contact(&self, level: f64, smallest: f64, largest: f64) -> f64 {
        let middle = Cut {
            from: smallest + 0.3 * (largest - smallest),
            to: smallest + 0.7 * (largest - smallest),
            base: String::new(),
        };
        let line = fit(&self.groups(&middle, self.counted()));
        line.filter(|line| line.slope > 0.0)
            .map_or(smallest, |line| line.center + (level - line.level) / line.slope)
    }

    fn line(&self, cut: &Cut, groups: &[Group]) -> Result<Line, SpringError> {
        let count: usize = groups.iter().map(|g| g.points.len()).sum();
        clipping::refuse(self, cut, count)?;
        // Readings in no order of movement have neighbours by chance only.
        let line = if self.strokes.ordered {
            fit_in_sequence(groups)
        } else {
            fit(groups)
        };
        let Some(line) = line else {
            let first = groups.first().and_then(|g| g.points.first());
            if count >= 2
                && let Some(first) = first
            {
                return Err(SpringError::OneDeflection(Deflection::from_si(first.s)));
            }
            let (smallest, largest) = reach(&self.points);
            return Err(SpringError::EmptyWindow {
                from: Deflection::from_si(cut.from),
                to: Deflection::from_si(cut.to),
                smallest: Deflection::from_si(smallest),
                largest: Deflection::from_si(largest),
                count,
            });
        };
        if line.slope_u > 0.0 && line.count >= 5 && line.slope.abs() < SIGNIFICANT * line.slope_u {
            let largest = self.points.iter().map(|p| p.f).fold(f64::NEG_INFINITY, f64::max);
            return Err(SpringError::NoContact {
                tare: Load::from_si(self.no_load.as_ref().map_or(line.level, |found| found.level)),
                noise: Load::from_si(line.scatter),
                largest: Load::from_si(largest),
            });
        }
        if line.slope > 0.0 {
            Ok(line)
        } else {
            Err(SpringError::NotPressing(SpringRate::from_si(line.slope)))
        }
    }

    /// A branch of the deepest stroke in order of deflection, clipped readings left out.
    fn sorted(&self, course: Course) -> Vec<Point> {
        let Some(stroke) = self.deepest() else {
            return Vec::new();
        };
        let kept = || self.branch(stroke, course).filter(|p| !self.clipped(p)).copied();
        let mut sorted = Vec::with_capacity(kept().count());
        sorted.extend(kept());
        sorted.sort_unstable_by(|a, b| a.s.total_cmp(&b.s));
        sorted
    }
}

/// Contact and window settle within two or three rounds; more would only chase a reading to and fro over an end.
const ROUNDS: usize = 6;
/// A slope below so many of its own standard uncertainties is no spring.
const SIGNIFICANT: f64 = 2.0;
