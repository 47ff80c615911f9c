//! Where an end rests under a load: every position, and which of them it takes.

use super::suspension::Suspension;
use crate::finding::{Code, Finding};
use crate::quantity::{Force, Load, Quantity, Stroke, Travel, UnitSystem, WheelRate};
use crate::spring::words::Words;

/// How an end rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RestState {
    /// On its spring.
    Rests,
    /// At full extension: the spring pushes at least as hard there. There is no sag.
    ToppedOut,
    /// On its stop: the load is above what it carries anywhere in the travel.
    Bottomed,
}

/// A position at which spring and load balance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Root {
    /// Wheel travel.
    pub travel: Travel,
    /// Wheel rate there; below 0 the position does not hold.
    pub wheel_rate: WheelRate,
}

/// Where an end rests.
#[derive(Debug, Clone, PartialEq)]
pub struct Equilibrium {
    /// How.
    pub state: RestState,
    /// Wheel travel from full extension.
    pub travel: Travel,
    /// Axial travel.
    pub stroke: Stroke,
    /// Wheel rate there.
    pub wheel_rate: WheelRate,
    /// Axial force there.
    pub axial_force: Load,
    /// Every balance in the travel, from extension on; of a rest on the spring the first is where it rests.
    pub roots: Vec<Root>,
    /// What it carries at full travel.
    pub force_at_full_travel: Force,
}

impl Equilibrium {
    /// What is unwelcome about it, with the name of the load: no static sag, resting on the stop, several positions.
    #[must_use]
    pub fn findings(&self, load: &str, units: UnitSystem) -> Vec<Finding> {
        let words = Words::new(units);
        let mut findings = Vec::new();
        match self.state {
            RestState::ToppedOut => {
                let text = format!("{load}: the spring pushes harder at full extension than the load; there is no sag");
                findings.push(Finding::new(Code::NoStaticSag, text));
            }
            RestState::Bottomed => {
                let text = format!(
                    "{load}: it rests on its stop; full travel carries {}",
                    words.force(self.force_at_full_travel.si())
                );
                findings.push(Finding::new(Code::Bottomed, text));
            }
            RestState::Rests if self.roots.len() > 1 => {
                let others = self.roots.iter().filter(|root| root.travel != self.travel);
                let places: Vec<String> = others.map(|root| words.length(root.travel.si())).collect();
                let text = format!(
                    "{load}: it rests at {}, and balances at {} too; pressed beyond that it falls through",
                    words.length(self.travel.si()),
                    places.join(", ")
                );
                findings.push(Finding::new(Code::SeveralPositions, text));
            }
            RestState::Rests => {}
        }
        findings
    }
}

/// Edges of parts of the travel, rising.
pub(super) struct Parts(Vec<f64>);

/// Pieces each smooth part is cut into before extrema are looked for.
const FINEST: usize = 64;
const COARSEST: usize = 4;

impl Suspension {
    /// Where it rests under a vertical load at the wheel.
    ///
    /// All roots of `F_w(z) - W` in the travel, the travel split at kinks and at extrema (roots of `k_w`) so that every part
    /// is monotone. It rests at the first root from extension with `k_w > 0`; it is topped out where `F_w(0) >= W`, bottomed
    /// only where `F_w < W` everywhere. Comparing the two ends alone calls a falling-rate linkage bottomed that rests after
    /// a few millimetres.
    #[must_use]
    pub fn equilibrium(&self, load: Force) -> Equilibrium {
        self.equilibrium_in(&self.parts(), load)
    }

    /// The travel in parts over each of which the force at the wheel rises or falls throughout: the same for every load.
    pub(super) fn parts(&self) -> Parts {
        Parts(self.monotone_edges())
    }

    pub(super) fn equilibrium_in(&self, parts: &Parts, load: Force) -> Equilibrium {
        let travel = self.path().travel().si();
        let wanted = load.si();
        let roots: Vec<Root> = self.roots(parts, wanted);
        let first = self.at_wheel(0.0).0;
        let (state, z) = if first >= wanted {
            (RestState::ToppedOut, 0.0)
        } else {
            let held = roots.iter().find(|root| root.wheel_rate.si() > 0.0).or(roots.first());
            held.map_or((RestState::Bottomed, travel), |root| {
                (RestState::Rests, root.travel.si())
            })
        };
        let at = self.at(Travel::from_si(z));
        Equilibrium {
            state,
            travel: at.travel,
            stroke: at.stroke,
            wheel_rate: at.wheel_rate,
            axial_force: at.axial_force,
            roots,
            force_at_full_travel: self.at(Travel::from_si(travel)).wheel_force,
        }
    }

    /// Travel at which it hangs under its own unsprung weight: 0 unless a top-out spring pulls it in.
    #[must_use]
    pub fn hanging(&self, unsprung_weight: Force) -> Travel {
        self.hanging_in(&self.parts(), unsprung_weight)
    }

    pub(super) fn hanging_in(&self, parts: &Parts, unsprung_weight: Force) -> Travel {
        self.equilibrium_in(parts, Force::from_si(-unsprung_weight.si())).travel
    }

    fn roots(&self, Parts(edges): &Parts, wanted: f64) -> Vec<Root> {
        let balance = |z: f64| self.at_wheel(z).0 - wanted;
        let mut roots: Vec<f64> = Vec::new();
        for pair in edges.windows(2) {
            let [low, high] = *pair else { continue };
            let (at_low, at_high) = (balance(low), balance(high));
            if at_low == 0.0 {
                roots.push(low);
            } else if at_high != 0.0 && (at_low < 0.0) != (at_high < 0.0) {
                roots.push(crossing(balance, low, high, at_low < 0.0));
            }
        }
        if let Some(last) = edges.last()
            && balance(*last) == 0.0
        {
            roots.push(*last);
        }
        roots.dedup_by(|b, a| (*b - *a).abs() <= 1e-12);
        let root = |z: f64| Root {
            travel: Travel::from_si(z),
            wheel_rate: WheelRate::from_si(self.at_wheel(z).1),
        };
        roots.into_iter().map(root).collect()
    }

    /// Edges of parts over which the force at the wheel rises or falls throughout.
    fn monotone_edges(&self) -> Vec<f64> {
        let mut edges = vec![0.0];
        edges.extend(self.kinks_si());
        edges.push(self.path().travel().si());
        let pieces = (256 / edges.len()).clamp(COARSEST, FINEST);
        let mut all: Vec<f64> = Vec::new();
        for pair in edges.windows(2) {
            let [low, high] = *pair else { continue };
            all.push(low);
            // The rate just inside the part, not that of the neighbour at its edge.
            let inside = |k: usize| {
                let share = k as f64 / pieces as f64;
                low + (high - low) * share.clamp(1e-9, 1.0 - 1e-9)
            };
            let rate = |z: f64| self.at_wheel(z).1;
            let (mut a, mut at_a) = (inside(0), rate(inside(0)));
            for k in 1..=pieces {
                let b = inside(k);
                let at_b = rate(b);
                if (at_a < 0.0) != (at_b < 0.0) {
                    all.push(crossing(rate, a, b, at_a < 0.0));
                }
                (a, at_a) = (b, at_b);
            }
        }
        all.extend(edges.last());
        all
    }
}

/// Where a continuous function changes its sign within a bracket, by bisection to the last bits.
pub(super) fn crossing(f: impl Fn(f64) -> f64, low: f64, high: f64, rises: bool) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if (f(middle) < 0.0) == rises {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}
