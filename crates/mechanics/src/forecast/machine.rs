//! The machine at a pace, for one choice of its uncertain inputs. Bare SI numbers inside.

use super::bump::BumpTable;
use super::carry::Carry;
use super::request::{Damping, ForecastCircuit, ForecastEnd, ForecastRequest};
use super::scaling;
use crate::chassis::{ChassisError, End};
use crate::quantity::{Force, Quantity, STANDARD_GRAVITY, Velocity};
use crate::valving::ride;

/// Closed over open force where it is not known, and its limits (common practice, no source).
pub(super) const REACH: (f64, f64, f64) = (2.0, 1.3, 4.0);
/// Shaft velocity of hard riding where it is not known, m/s (common practice, no source).
pub(super) const VELOCITY: f64 = 0.3;
/// Rate wanted over rate fitted, at most: beyond, the travel is too short rather than the spring too soft.
const STIFFEST: f64 = 4.0;
/// Places at which a curve's equivalent damping is worked out, over so many decades to either side of its reading.
const PLACES: u32 = 48;

/// What does not depend on the uncertain inputs.
pub(super) struct Bench<'a> {
    pub(super) request: &'a ForecastRequest,
    pub(super) ends: Vec<EndBench<'a>>,
}

/// One end of it.
pub(super) struct EndBench<'a> {
    pub(super) end: End,
    pub(super) given: &'a ForecastEnd,
    pub(super) carry: Carry,
    pub(super) travel: f64,
    /// Wheel travel at bind, where the spring binds before the stop.
    pub(super) bind: Option<f64>,
    pub(super) bump: Option<BumpTable>,
    /// Equivalent damping of each circuit's curve, by the logarithm of the velocity.
    curves: Vec<Vec<(f64, f64)>>,
}

/// One choice of the uncertain inputs.
#[derive(Debug, Clone)]
pub(super) struct World {
    pub(super) deceleration: f64,
    pub(super) lateral: f64,
    pub(super) together: Option<(f64, f64)>,
    pub(super) grip: f64,
    pub(super) waviness: f64,
    pub(super) height: f64,
    pub(super) ahead: f64,
    /// As many as the bench has ends.
    pub(super) ends: Vec<EndWorld>,
}

#[derive(Debug, Clone)]
pub(super) struct EndWorld {
    /// Travel used now; `None`: not known.
    pub(super) used: Option<f64>,
    /// What the force that carries the end is multiplied by.
    pub(super) stiffness: f64,
    pub(super) circuits: Vec<CircuitWorld>,
}

#[derive(Debug, Clone)]
pub(super) struct CircuitWorld {
    /// Share of the range left now.
    pub(super) share: f64,
    /// What the logarithm of the adjuster's reach is multiplied by.
    pub(super) reach: f64,
    /// Added to the exponent.
    pub(super) exponent: f64,
}

/// An end at a pace.
#[derive(Debug, Clone, Copy)]
pub(super) struct EndAt {
    /// Vertical load its spring carries in the hardest steady case.
    pub(super) load: f64,
    /// Steady position in it.
    pub(super) steady: f64,
    /// Travel used; not cut off at the stop.
    pub(super) used: Option<f64>,
    /// Rate wanted over the rate fitted, so that the travel suffices.
    pub(super) rate: f64,
}

/// A circuit at a pace.
#[derive(Debug, Clone, Copy)]
pub(super) struct CircuitAt {
    pub(super) velocity_ratio: f64,
    pub(super) damping_factor: f64,
    pub(super) share: f64,
}

impl<'a> Bench<'a> {
    pub(super) fn of(request: &'a ForecastRequest) -> Result<Self, ChassisError> {
        let mut ends = Vec::new();
        for end in [End::Front, End::Rear] {
            if let Some(given) = request.end(end) {
                ends.push(EndBench::of(request, end, given)?);
            }
        }
        Ok(Self { request, ends })
    }

    /// Deceleration at which the rear lifts: `g (L - b)/h`.
    pub(super) fn rear_lift(&self, world: &World, gravity: f64) -> f64 {
        let behind = self.request.balance.wheelbase.si() - world.ahead;
        gravity * behind / world.height.max(1e-3)
    }

    /// Deceleration at a pace.
    pub(super) fn deceleration(&self, world: &World, pace: f64) -> f64 {
        let lift = self.rear_lift(world, STANDARD_GRAVITY);
        scaling::deceleration_at(pace, world.deceleration, world.grip, lift)
    }

    /// Vertical load on an end's spring with an acceleration of gravity along the machine and a deceleration.
    fn load(&self, world: &World, end: End, gravity: f64, deceleration: f64) -> f64 {
        let balance = &self.request.balance;
        let (m, l) = (balance.gravity.mass.si(), balance.wheelbase.si());
        let transfer = m * deceleration * world.height / l;
        let unsprung = balance.unsprung(end).si();
        match end {
            End::Front => {
                let rake = self
                    .request
                    .front
                    .as_ref()
                    .and_then(|front| front.suspension.path().rake());
                let slope = rake.map_or(0.0, |rake| rake.si().tan());
                let braking = self.request.riding.front_share * m * deceleration;
                let ground = m * gravity * world.ahead / l + transfer;
                ground - unsprung * gravity + (braking - unsprung * deceleration) * slope
            }
            End::Rear => m * gravity * (l - world.ahead) / l - transfer - unsprung * gravity,
        }
    }

    /// The load on the rear spring under the hardest braking at a pace: what top-out is judged by.
    pub(super) fn unloaded(&self, world: &World, pace: f64) -> f64 {
        let straight = self.load(world, End::Rear, STANDARD_GRAVITY, self.deceleration(world, pace));
        match self.together(world, pace) {
            Some((braking, gravity)) => straight.min(self.load(world, End::Rear, gravity, braking)),
            None => straight,
        }
    }

    /// Braking in a corner at a pace, with what stands for gravity in the machine's plane.
    fn together(&self, world: &World, pace: f64) -> Option<(f64, f64)> {
        let (braking, lateral) = scaling::together_at(pace, world.together?, world.grip);
        let gravity = STANDARD_GRAVITY.hypot(lateral);
        Some((braking.min(self.rear_lift(world, gravity)), gravity))
    }

    /// Load at rest with the rider.
    pub(super) fn at_rest(&self, world: &World, end: End) -> f64 {
        self.load(world, end, STANDARD_GRAVITY, 0.0)
    }

    /// The largest steady load on an end at a pace.
    fn hardest(&self, world: &World, end: End, pace: f64) -> f64 {
        let lateral = scaling::lateral_at(pace, world.lateral, world.grip);
        let cornering = self.load(world, end, STANDARD_GRAVITY.hypot(lateral), 0.0);
        if end == End::Rear {
            return cornering;
        }
        let braking = self.load(world, end, STANDARD_GRAVITY, self.deceleration(world, pace));
        let both = self.together(world, pace);
        let both = both.map_or(cornering, |(braking, gravity)| self.load(world, end, gravity, braking));
        cornering.max(braking).max(both)
    }

    /// An end at a pace.
    pub(super) fn end_at(&self, world: &World, index: usize, pace: f64) -> Option<EndAt> {
        let (bench, own) = (self.ends.get(index)?, world.ends.get(index)?);
        let rest = |load: f64| bench.carry.rest(load / own.stiffness);
        let load = self.hardest(world, bench.end, pace);
        let steady = rest(load);
        let Some(used) = own.used else {
            return Some(EndAt {
                load,
                steady,
                used: None,
                rate: 1.0,
            });
        };
        let moving = (used - rest(self.hardest(world, bench.end, 1.0))).max(0.0);
        let moving = moving * self.travel_factor(world, index, pace);
        let still = self.at_rest(world, bench.end);
        let room = bench.carry.at((bench.travel - moving).max(0.0)) * own.stiffness - still;
        let wanted = if load <= still {
            1.0
        } else {
            (load - still) / room.max(1e-9)
        };
        Some(EndAt {
            load,
            steady,
            used: Some(steady + moving),
            rate: wanted.clamp(1.0, STIFFEST),
        })
    }

    /// What the moving part of the travel is multiplied by: the road's factor, or the bump's where it grows more.
    fn travel_factor(&self, world: &World, index: usize, pace: f64) -> f64 {
        let road = scaling::road_factor(pace, world.waviness);
        let bump = self.ends.get(index).and_then(|end| end.bump.as_ref());
        bump.map_or(road, |bump| road.max(bump.at(pace).1))
    }

    /// A circuit at a pace.
    pub(super) fn circuit_at(&self, world: &World, (end, circuit): (usize, usize), pace: f64) -> Option<CircuitAt> {
        let bench = self.ends.get(end)?;
        let given = bench.given.circuits.get(circuit)?;
        let own = world.ends.get(end)?.circuits.get(circuit)?;
        let velocity_ratio = self.velocity_ratio(world, bench, given, pace);
        let now = given.velocity.map_or(VELOCITY, Quantity::si);
        let then = now * velocity_ratio;
        let rate = self.end_at(world, end, pace)?.rate;
        let damping = match (&given.damping, bench.curves.get(circuit)) {
            (Damping::Curve(_), Some(curve)) => (of_table(curve, now.ln()) - of_table(curve, then.ln())).exp(),
            (Damping::Power { exponent, .. }, _) => velocity_ratio.powf(1.0 - exponent - own.exponent),
            (Damping::Curve(_), None) => 1.0,
        };
        let damping_factor = damping * rate.sqrt();
        let reach = reach_at(given, then).powf(own.reach).max(1.001);
        Some(CircuitAt {
            velocity_ratio,
            damping_factor,
            share: scaling::share_left(own.share, damping_factor, reach),
        })
    }

    fn velocity_ratio(&self, world: &World, bench: &EndBench<'_>, circuit: &ForecastCircuit, pace: f64) -> f64 {
        match (circuit.bump_rules, &bench.bump) {
            (true, Some(bump)) => bump.at(pace).0,
            // Without a model of the bump its velocity at the tyre is an upper bound.
            (true, None) => pace,
            (false, _) => scaling::road_factor(pace, world.waviness),
        }
    }
}

impl<'a> EndBench<'a> {
    fn of(request: &'a ForecastRequest, end: End, given: &'a ForecastEnd) -> Result<Self, ChassisError> {
        let path = given.suspension.path();
        let travel = path.travel().si();
        let bind = given
            .bind
            .map(|bind| path.travel_at(bind).si())
            .filter(|bind| *bind < travel);
        let curves = given.circuits.iter().map(|circuit| curve(circuit).unwrap_or_default());
        Ok(Self {
            end,
            given,
            carry: Carry::of(&given.suspension),
            travel,
            bind,
            bump: BumpTable::of(request, end, given)?,
            curves: curves.collect(),
        })
    }
}

/// The logarithm of a curve's equivalent damping by that of the peak velocity.
fn curve(circuit: &ForecastCircuit) -> Option<Vec<(f64, f64)>> {
    let Damping::Curve(points) = &circuit.damping else {
        return None;
    };
    let logs: Vec<(f64, f64)> = points.iter().map(|(v, f)| (v.si().ln(), f.si().ln())).collect();
    let now = circuit.velocity.map_or(VELOCITY, Quantity::si);
    let force = |v: Velocity| {
        let size = of_table(&logs, v.si().abs().max(1e-9).ln()).exp();
        Ok(Force::from_si(size.copysign(v.si())))
    };
    let place = |index: u32| {
        // From a quarter to four times the present velocity: pace stays within a third and three.
        let v = now * 4.0_f64.powf(2.0 * f64::from(index) / f64::from(PLACES) - 1.0);
        let c = ride::equivalent(Velocity::from_si(v), force).ok()?;
        Some((v.ln(), c.si().ln()))
    };
    (0..=PLACES).map(place).collect()
}

/// Straight between entries, and on at both ends as before.
fn of_table(table: &[(f64, f64)], x: f64) -> f64 {
    let last = table.len().saturating_sub(1);
    let after = table.partition_point(|(at, _)| *at < x).clamp(1.min(last), last);
    let (Some((x1, y1)), Some((x0, y0))) = (table.get(after), table.get(after.saturating_sub(1))) else {
        return 0.0;
    };
    if x1 > x0 {
        y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    } else {
        *y1
    }
}

/// Closed over open force at a velocity; the first and the last entry stand for what lies beyond them.
fn reach_at(circuit: &ForecastCircuit, velocity: f64) -> f64 {
    let ends = (circuit.reach.first(), circuit.reach.last());
    match ends {
        (Some((low, first)), _) if velocity <= low.si() => *first,
        (_, Some((high, last))) if velocity >= high.si() => *last,
        (None, None) => REACH.0,
        _ => {
            let logs: Vec<(f64, f64)> = circuit.reach.iter().map(|(v, r)| (v.si().ln(), r.ln())).collect();
            of_table(&logs, velocity.ln()).exp()
        }
    }
}
