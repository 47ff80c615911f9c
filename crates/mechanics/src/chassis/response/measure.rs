//! Following a response and measuring it on the way.

use super::System;
use super::integrate::step;
use crate::quantity::{Force, Length, Quantity, Travel};

/// Points kept for drawing.
const DRAWN: usize = 400;
/// Share of the largest distance from the end within which the body has settled.
const SETTLED: f64 = 0.05;

/// A point of a response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TracePoint {
    /// Seconds from the start.
    pub seconds: f64,
    /// Wheel travel.
    pub travel: Travel,
    /// Height of the sprung mass over where it stood.
    pub body: Length,
    /// Height of the wheel.
    pub wheel: Length,
    /// Load on the ground.
    pub ground_load: Force,
}

/// What was measured, SI.
#[derive(Debug, Clone, Default)]
pub(super) struct Run {
    pub(super) most: f64,
    pub(super) most_at: f64,
    pub(super) least: f64,
    /// Least after the most.
    least_after: f64,
    pub(super) body_peak: f64,
    pub(super) body_peak_at: f64,
    pub(super) acceleration: f64,
    pub(super) fastest_compression: f64,
    pub(super) fastest_rebound: f64,
    pub(super) stop_velocity: Option<f64>,
    pub(super) top_out_velocity: Option<f64>,
    pub(super) airborne: f64,
    pub(super) settled: Option<f64>,
    pub(super) trace: Vec<TracePoint>,
    pub(super) steps: usize,
}

impl Run {
    /// How far the extremes of two runs differ, m.
    pub(super) fn difference(&self, other: &Self) -> f64 {
        let pairs = [
            (self.most, other.most),
            (self.least, other.least),
            (self.body_peak, other.body_peak),
        ];
        let difference = pairs.iter().map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        if difference.is_finite() {
            difference
        } else {
            f64::INFINITY
        }
    }

    /// Extension beyond the end position after the most travel, over the compression before it.
    pub(super) fn kick_back(&self, end: f64) -> f64 {
        let compression = self.most - end;
        if compression > 1e-6 {
            ((end - self.least_after) / compression).max(0.0)
        } else {
            0.0
        }
    }

    fn see(&mut self, system: &System<'_>, t: f64, h: f64, y: &[f64; 4]) {
        let [zs, vs, zu, vu] = *y;
        let (z, v) = (system.start + zu - zs, vu - vs);
        if z > self.most {
            (self.most, self.most_at, self.least_after) = (z, t, z);
        }
        self.least = self.least.min(z);
        self.least_after = self.least_after.min(z);
        if zs.abs() > self.body_peak.abs() {
            (self.body_peak, self.body_peak_at) = (zs, t);
        }
        self.fastest_compression = self.fastest_compression.max(v);
        self.fastest_rebound = self.fastest_rebound.max(-v);
        if z >= system.travel && self.stop_velocity.is_none() {
            self.stop_velocity = Some(v.max(0.0));
        }
        if z <= 0.0 && system.start > 0.0 && self.top_out_velocity.is_none() {
            self.top_out_velocity = Some((-v).max(0.0));
        }
        if system.ground(t, y) <= 0.0 {
            self.airborne += h;
        }
        let [_, body, _, _] = system.slopes(t, y);
        self.acceleration = self.acceleration.max(body.abs());
    }
}

/// Follows the system with steps of about one size; a corner of the road falls on a step.
pub(super) fn run(system: &System<'_>, size: f64) -> Run {
    let first = system.corner().unwrap_or(system.seconds);
    let parts = [(0.0, first), (first, system.seconds)];
    let mut y = system.begin();
    let mut found = Run {
        most: system.start,
        least: system.start,
        least_after: system.start,
        ..Run::default()
    };
    let last_body = system.start - system.end + system.road(system.seconds).0;
    let mut heights: Vec<(f64, f64)> = Vec::new();
    let slopes = |t: f64, y: &[f64; 4]| system.slopes(t, y);
    let every = ((system.seconds / size / DRAWN as f64).ceil() as usize).max(1);
    for (from, to) in parts {
        let count = ((to - from) / size).ceil().max(0.0) as usize;
        let h = if count > 0 { (to - from) / count as f64 } else { 0.0 };
        for k in 0..count {
            let t = from + h * k as f64;
            if found.steps.is_multiple_of(every) {
                found.trace.push(point(system, t, &y));
            }
            y = step(&slopes, t, &y, h);
            found.steps += 1;
            found.see(system, t + h, h, &y);
            let [body, ..] = y;
            heights.push((t + h, body));
        }
    }
    found.trace.push(point(system, system.seconds, &y));
    found.settled = settled(&heights, last_body + tyre_give(system));
    found
}

/// How much further the tyre is pressed at the end: what a further load stands on.
fn tyre_give(system: &System<'_>) -> f64 {
    -system.further_load(system.seconds) / system.bike.tyre_rate.si()
}

/// When the body stays near its end; `None` where it has not by then.
fn settled(heights: &[(f64, f64)], end: f64) -> Option<f64> {
    let largest = heights.iter().map(|(_, zs)| (zs - end).abs()).fold(end.abs(), f64::max);
    let band = SETTLED * largest;
    if band < 1e-9 {
        return Some(0.0);
    }
    let outside = heights.iter().rposition(|(_, zs)| (zs - end).abs() > band);
    match outside {
        None => Some(0.0),
        Some(last) => heights.get(last + 1).map(|(t, _)| *t),
    }
}

fn point(system: &System<'_>, t: f64, y: &[f64; 4]) -> TracePoint {
    let [zs, _, zu, _] = *y;
    TracePoint {
        seconds: t,
        travel: Travel::from_si(system.start + zu - zs),
        body: Length::from_si(zs),
        wheel: Length::from_si(zu),
        ground_load: Force::from_si(system.ground(t, y)),
    }
}
