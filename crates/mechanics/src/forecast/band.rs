//! How sure a pace is: the same search over many choices of the uncertain inputs.

use statrs::distribution::{ContinuousCDF, Normal};

use super::machine::{Bench, CircuitWorld, EndWorld, REACH, World};
use super::request::{Damping, ForecastCircuit, ForecastEnd, ForecastRequest};
use super::search::{Watched, watched};
use crate::quantity::Quantity;

/// Choices of the inputs: enough for the ends of a 95 % band, few enough for a tenth of a second.
const CHOICES: u32 = 256;
/// Share of the choices outside the band, at either end.
const TAIL: f64 = 0.025;
/// A rectangular half-click as a standard uncertainty: 0.5/sqrt(3) of a click (JCGM 100, 4.3.7).
const HALF_CLICK: f64 = 0.288_675_134_594_812_9;

/// A limit with the pace at which it is met and its 95 % band; `None`: beyond the highest pace.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub(super) watched: Watched,
    pub(super) pace: Option<f64>,
    pub(super) low: Option<f64>,
    pub(super) high: Option<f64>,
}

pub(super) fn limits(request: &ForecastRequest, bench: &Bench<'_>) -> Vec<Found> {
    let all = watched(bench);
    let best = chosen(request, bench, &mut |_| 0.0);
    let mut paces: Vec<Vec<Option<f64>>> = vec![Vec::new(); all.len()];
    for choice in 1..=CHOICES {
        let mut dimensions = Dimensions::new(choice);
        let world = chosen(request, bench, &mut |_| dimensions.next());
        for (found, watched) in paces.iter_mut().zip(&all) {
            found.push(watched.met(bench, &world));
        }
    }
    let found = |(watched, paces): (&Watched, Vec<Option<f64>>)| {
        let pace = watched.met(bench, &best);
        let (low, high) = band(paces, pace);
        Found {
            watched: *watched,
            pace,
            low,
            high,
        }
    };
    all.iter().zip(paces).map(found).collect()
}

/// The ends of the band; it holds the best estimate even where the inputs' spread lies to one side of it.
fn band(mut paces: Vec<Option<f64>>, best: Option<f64>) -> (Option<f64>, Option<f64>) {
    paces.sort_by(|a, b| later(*a).total_cmp(&later(*b)));
    let tail = (f64::from(CHOICES) * TAIL) as usize;
    let low = paces.get(tail).copied().flatten();
    let high = paces.iter().rev().nth(tail).copied().flatten();
    let finite = |pace: f64| pace.is_finite().then_some(pace);
    (
        finite(later(low).min(later(best))),
        finite(later(high).max(later(best))),
    )
}

fn later(pace: Option<f64>) -> f64 {
    pace.unwrap_or(f64::INFINITY)
}

/// The best estimate of the inputs.
pub(super) fn best(request: &ForecastRequest, bench: &Bench<'_>) -> World {
    chosen(request, bench, &mut |_| 0.0)
}

/// The inputs, each moved by its standard uncertainty times what `next` gives.
fn chosen(request: &ForecastRequest, bench: &Bench<'_>, next: &mut dyn FnMut(&str) -> f64) -> World {
    let (riding, sure) = (&request.riding, &request.sureness);
    let accelerations = (1.0 + sure.accelerations * next("accelerations")).max(0.0);
    let gravity = &request.balance.gravity;
    World {
        deceleration: riding.deceleration * accelerations,
        lateral: riding.lateral * accelerations,
        together: riding.together.map(|(a, b)| (a * accelerations, b * accelerations)),
        grip: (riding.grip + sure.grip * next("grip")).max(0.01),
        waviness: (request.road.waviness + sure.waviness * next("waviness")).max(1.0),
        height: (gravity.height.si() + sure.height.si() * next("height")).max(0.01),
        ahead: (gravity.ahead.si() + sure.ahead.si() * next("ahead")).clamp(0.0, request.balance.wheelbase.si()),
        ends: bench.ends.iter().map(|end| end_world(end.given, next)).collect(),
    }
}

fn end_world(given: &ForecastEnd, next: &mut dyn FnMut(&str) -> f64) -> EndWorld {
    let moved = given.travel_used_uncertainty.si() * next("used");
    EndWorld {
        used: given.travel_used.map(|used| (used.si() + moved).max(0.0)),
        stiffness: (1.0 + given.rate_uncertainty * next("rate")).max(0.05),
        circuits: given
            .circuits
            .iter()
            .map(|circuit| circuit_world(circuit, next))
            .collect(),
    }
}

fn circuit_world(given: &ForecastCircuit, next: &mut dyn FnMut(&str) -> f64) -> CircuitWorld {
    let u = given.position_uncertainty.unwrap_or(HALF_CLICK.min(given.range / 4.0));
    let exponent = match &given.damping {
        Damping::Power {
            standard_uncertainty, ..
        } => *standard_uncertainty,
        Damping::Curve(_) => 0.0,
    };
    CircuitWorld {
        share: ((given.position + u * next("position")) / given.range).clamp(0.0, 1.0),
        exponent: exponent * next("exponent"),
        reach: assumed_reach(given, next("reach")),
    }
}

/// A reach that was assumed lies within its limits with 95 %, further above than below.
fn assumed_reach(given: &ForecastCircuit, moved: f64) -> f64 {
    if !given.reach.is_empty() {
        return 1.0;
    }
    let (best, low, high) = REACH;
    let side = if moved < 0.0 { low } else { high };
    let spread = (side.ln() - best.ln()).abs() / 1.96;
    ((best.ln() + spread * moved) / best.ln()).max(0.05)
}

/// Standard normal numbers of one choice, one for each input: fractions of multiples of square roots of primes
/// (Richtmyer's sequence, textbook form from memory) through the normal distribution's inverse.
struct Dimensions {
    choice: f64,
    prime: u32,
}

impl Dimensions {
    fn new(choice: u32) -> Self {
        Self {
            choice: f64::from(choice),
            prime: 1,
        }
    }

    fn next(&mut self) -> f64 {
        self.prime += 1;
        while (2..self.prime).any(|divisor| divisor * divisor <= self.prime && self.prime.is_multiple_of(divisor)) {
            self.prime += 1;
        }
        let share = (self.choice * f64::from(self.prime).sqrt()).fract();
        Normal::standard().inverse_cdf(share.clamp(1e-6, 1.0 - 1e-6))
    }
}
