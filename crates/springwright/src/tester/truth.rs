//! The truth that is pressed: spring, friction, frame. Lengths in mm, loads in N.
//!
//! Elastic load over the spring's own deflection `s`: `k (s - c L (1 - exp(-s/L)))` with the rate `k`, seating travel
//! `L` and the share `c` of the rate that is missing at first touch, plus a softplus for each knee and for the closing
//! of the coils. A softplus `w ln(1 + exp((s - s0)/w))` is a corner at `s0` spread over the width `w`.
//!
//! Friction is Coulomb's with Dahl's turn-round after a reversal, `dz/ds = (sgn - z)/delta`, integrated exactly over each
//! step (P. R. Dahl, A solid friction model, 1968; from memory, exponent 1). The frame gives
//! `F/K + slack (1 - exp(-F/F0))`.

use super::setup::{Knee, Setup};

/// Share of the rate that is missing at first touch, while the end coils seat.
const SEATING_SHARE: f64 = 0.6;
/// Rate with all coils closed, in rates of the open spring.
const SOLID_FACTOR: f64 = 40.0;
/// Width over which the coils close, as a share of the deflection to solid: they never close all at once.
const SOLID_WIDTH_SHARE: f64 = 0.004;
/// Load at which most of the frame's slack is gone.
const SLACK_LOAD: f64 = 100.0;
/// Halvings of the search for the spring's deflection: enough for the last bit of a metre.
const HALVINGS: u32 = 70;

/// A spring in a tester, with what friction remembers.
#[derive(Debug, Clone)]
pub(super) struct Bench {
    rate: f64,
    seating: f64,
    knees: Vec<Knee>,
    friction: f64,
    hysteresis: f64,
    reversal: f64,
    frame_rate: Option<f64>,
    frame_slack: f64,
    state: State,
}

/// Where the spring is, and how much of its friction is mobilised: -1 lifting to 1 pressing.
#[derive(Debug, Clone, Copy, Default)]
struct State {
    deflection: f64,
    mobilised: f64,
}

impl Bench {
    pub(super) fn of(setup: &Setup) -> Self {
        let solid = Knee {
            rate: setup.rate * SOLID_FACTOR,
            at: setup.solid_deflection,
            width: setup.solid_deflection * SOLID_WIDTH_SHARE,
        };
        Self {
            rate: setup.rate,
            seating: setup.seating,
            knees: setup.knee.into_iter().chain([solid]).collect(),
            friction: setup.friction,
            hysteresis: setup.hysteresis,
            reversal: setup.reversal,
            frame_rate: setup.frame_rate,
            frame_slack: setup.frame_slack,
            state: State::default(),
        }
    }

    /// Moves the platen to `reach` beyond the place where it touches the unloaded spring, and returns the load.
    pub(super) fn press(&mut self, reach: f64) -> f64 {
        if reach <= 0.0 {
            self.state = State::default();
            return 0.0;
        }
        let deflection = self.deflection_at(reach);
        let load = self.load_at(deflection);
        self.state = State {
            deflection,
            mobilised: self.mobilised_at(deflection),
        };
        load
    }

    /// The deflection that with the frame's give makes up the reach. Load rises with deflection from wherever the spring
    /// is, friction included, so halving the bracket cannot miss.
    fn deflection_at(&self, reach: f64) -> f64 {
        if self.frame_rate.is_none() && self.frame_slack == 0.0 {
            return reach;
        }
        let (mut low, mut high) = (0.0, reach);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if middle + self.give(self.load_at(middle)) < reach {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    fn give(&self, load: f64) -> f64 {
        let joints = -self.frame_slack * (-load / SLACK_LOAD).exp_m1();
        self.frame_rate.map_or(0.0, |rate| load / rate) + joints
    }

    fn load_at(&self, deflection: f64) -> f64 {
        let elastic = self.elastic(deflection);
        // A spring cannot pull the platen: friction holds back at most the load that is there.
        let friction = (self.friction + self.hysteresis * elastic).min(elastic);
        elastic + friction * self.mobilised_at(deflection)
    }

    fn mobilised_at(&self, deflection: f64) -> f64 {
        let moved = deflection - self.state.deflection;
        let towards = if moved == 0.0 { 0.0 } else { moved.signum() };
        towards + (self.state.mobilised - towards) * (-moved.abs() / self.reversal).exp()
    }

    pub(super) fn elastic(&self, deflection: f64) -> f64 {
        if deflection <= 0.0 {
            return 0.0;
        }
        let seated = if self.seating > 0.0 {
            -SEATING_SHARE * self.seating * (-deflection / self.seating).exp_m1()
        } else {
            0.0
        };
        let below = |knee: &Knee| {
            let corner = softplus(deflection - knee.at, knee.width) - softplus(-knee.at, knee.width);
            (knee.rate - self.rate) * corner
        };
        self.rate * (deflection - seated) + self.knees.iter().map(below).sum::<f64>()
    }
}

fn softplus(past: f64, width: f64) -> f64 {
    let ratio = past / width;
    // Beyond this the two agree to the last bit, and exp would overflow further up.
    if ratio > 40.0 {
        past
    } else {
        width * ratio.exp().ln_1p()
    }
}
