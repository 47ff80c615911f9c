//! Presses and returns told apart, strokes counted.

use std::ops::Range;

use crate::quantity::{Deflection, Quantity};

use super::SpringError;
use super::samples::Point;

/// Which way the platen goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Course {
    Press,
    Return,
}

/// A press and the return after it, as ranges of readings. A segment that begins within one of them splits it into two
/// ranges, so that no fit bridges two segments.
#[derive(Debug, Clone, Default)]
pub(super) struct Stroke {
    pub(super) press: Vec<Range<usize>>,
    pub(super) back: Vec<Range<usize>>,
}

impl Stroke {
    pub(super) fn ranges(&self, course: Course) -> &[Range<usize>] {
        match course {
            Course::Press => &self.press,
            Course::Return => &self.back,
        }
    }
}

/// The strokes of a run.
#[derive(Debug, Clone)]
pub(super) struct Strokes {
    pub(super) strokes: Vec<Stroke>,
    /// Whether the readings follow one another along strokes; else they are one set of points per segment.
    pub(super) ordered: bool,
    /// Readings of movements too short to be a stroke.
    pub(super) left_out: usize,
}

/// A movement back by this share of the whole travel is a reversal: more than noise and jogging, less than a stroke.
const REVERSAL: f64 = 0.2;
/// A movement over this share of the whole travel is a press or a return.
const STROKE: f64 = 0.4;
/// Strokes are clear when they hold so many readings each on average; readings in random order hold about two.
const READINGS_PER_BRANCH: usize = 4;

/// Finds the strokes. Turning points are found with a dead band of a fifth of the travel, so noise and jogging make none.
///
/// # Errors
/// [`SpringError::WanderingStroke`] where the readings turn often and never go far.
pub(super) fn find(points: &[Point], segment_starts: &[usize], every_sample: bool) -> Result<Strokes, SpringError> {
    let (low, high) = reach(points);
    let travel = high - low;
    let segments = segments(points.len(), segment_starts);
    let branches: Vec<Branch> = segments
        .iter()
        .flat_map(|segment| branches(points, segment.clone(), REVERSAL * travel))
        .collect();
    let reversals = branches.len() - segments.len();
    if reversals > 0 && points.len() / branches.len() < READINGS_PER_BRANCH {
        return Ok(one_set_each(segments));
    }
    let strokes = pair_up(&branches, travel);
    let left_out = points.len() - strokes.iter().map(readings).sum::<usize>();
    if strokes.is_empty() {
        if every_sample {
            return Ok(one_set_each(segments));
        }
        let largest = branches.iter().map(|b| (b.to - b.from).abs()).fold(0.0, f64::max);
        return Err(SpringError::WanderingStroke {
            reversals,
            largest: Deflection::from_si(largest),
        });
    }
    Ok(Strokes {
        strokes,
        ordered: true,
        left_out,
    })
}

/// Smallest and largest deflection.
pub(super) fn reach(points: &[Point]) -> (f64, f64) {
    points
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(p.s), high.max(p.s))
        })
}

struct Branch {
    range: Range<usize>,
    course: Course,
    from: f64,
    to: f64,
}

fn readings(stroke: &Stroke) -> usize {
    stroke
        .press
        .iter()
        .chain(&stroke.back)
        .map(ExactSizeIterator::len)
        .sum()
}

fn one_set_each(segments: Vec<Range<usize>>) -> Strokes {
    let strokes = segments
        .into_iter()
        .map(|segment| Stroke {
            press: vec![segment],
            back: Vec::new(),
        })
        .collect();
    Strokes {
        strokes,
        ordered: false,
        left_out: 0,
    }
}

fn segments(count: usize, starts: &[usize]) -> Vec<Range<usize>> {
    let ends = starts.iter().copied().chain([count]);
    std::iter::once(0)
        .chain(starts.iter().copied())
        .zip(ends)
        .map(|(a, b)| a..b)
        .collect()
}

/// Splits a segment where it turns by more than the dead band.
fn branches(points: &[Point], segment: Range<usize>, dead_band: f64) -> Vec<Branch> {
    let mut found: Vec<Branch> = Vec::new();
    let inside = || points.iter().enumerate().skip(segment.start).take(segment.len());
    let Some(first) = points.get(segment.start) else {
        return found;
    };
    let (mut low, mut high) = ((segment.start, first.s), (segment.start, first.s));
    let mut course = None;
    let mut begin = (segment.start, first.s);
    for (index, point) in inside() {
        if point.s < low.1 {
            low = (index, point.s);
        }
        if point.s > high.1 {
            high = (index, point.s);
        }
        let (rose, fell) = (point.s - low.1 > dead_band, high.1 - point.s > dead_band);
        let turned = match course {
            Some(Course::Press) => fell.then_some((high, Course::Return)),
            Some(Course::Return) => rose.then_some((low, Course::Press)),
            None => {
                course = match (rose, fell) {
                    (true, _) => Some(Course::Press),
                    (false, true) => Some(Course::Return),
                    (false, false) => None,
                };
                None
            }
        };
        if let Some((turn, next)) = turned {
            found.push(Branch {
                range: begin.0..turn.0 + 1,
                course: if next == Course::Return {
                    Course::Press
                } else {
                    Course::Return
                },
                from: begin.1,
                to: turn.1,
            });
            begin = (turn.0 + 1, turn.1);
            course = Some(next);
            (low, high) = ((index, point.s), (index, point.s));
        }
    }
    let last = points.get(segment.end.saturating_sub(1)).map_or(first.s, |p| p.s);
    let net = if last >= begin.1 { Course::Press } else { Course::Return };
    let course = course.unwrap_or(net);
    let to = match course {
        Course::Press => high.1.max(last),
        Course::Return => low.1.min(last),
    };
    found.push(Branch {
        range: begin.0..segment.end,
        course,
        from: begin.1,
        to,
    });
    found
}

/// Pairs presses with the returns after them; leaves out what is too short to be either.
fn pair_up(branches: &[Branch], travel: f64) -> Vec<Stroke> {
    // A movement goes on through a segment's edge when the next one takes it up about where it was left.
    let mut runs: Vec<(Course, f64, f64, Vec<Range<usize>>)> = Vec::new();
    for branch in branches {
        match runs.last_mut() {
            Some((course, _, to, ranges)) if *course == branch.course && goes_on(branch, *to, travel) => {
                *to = branch.to;
                ranges.push(branch.range.clone());
            }
            _ => runs.push((branch.course, branch.from, branch.to, vec![branch.range.clone()])),
        }
    }
    let mut strokes: Vec<Stroke> = Vec::new();
    for (course, from, to, ranges) in runs {
        if (to - from).abs() < STROKE * travel {
            continue;
        }
        match (course, strokes.last_mut()) {
            (Course::Return, Some(stroke)) if stroke.back.is_empty() => stroke.back = ranges,
            (Course::Return, _) => strokes.push(Stroke {
                press: Vec::new(),
                back: ranges,
            }),
            (Course::Press, _) => strokes.push(Stroke {
                press: ranges,
                back: Vec::new(),
            }),
        }
    }
    strokes
}

fn goes_on(branch: &Branch, left_at: f64, travel: f64) -> bool {
    match branch.course {
        Course::Press => branch.from > left_at - REVERSAL * travel,
        Course::Return => branch.from < left_at + REVERSAL * travel,
    }
}
