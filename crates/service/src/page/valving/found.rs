//! What the bench answers to what was asked: the same operations as the API's.

use mechanics::quantity::{Quantity as _, UnitSystem, Velocity};
use wire::quantity::{Message, computed};
use wire::v1;
use wire::v1::compared_valving::Source as Compared;
use wire::valving::evaluate::through_rest;

use super::asked::{Around, Asked, is_named};
use crate::bench::Bench;
use crate::error::ServiceError;

/// Points of a stroke's curve.
const EACH_STROKE: u32 = 40;
/// Points of the lift's curve where there is nothing to compare with.
const LIFTS: i32 = 40;
/// Low, middle and high, over the highest.
pub(super) const SHARES: [f64; 3] = [0.05, 0.25, 1.0];
const PRESSURES: [f64; 3] = [0.2, 0.5, 1.0];

/// What the bench says.
pub(super) struct Found {
    /// The stack; its highest pressure is the one it is drawn at.
    pub(super) solved: v1::SolveStackResponse,
    /// Against the stack that is there, which is the first.
    pub(super) compared: Option<v1::CompareStacksResponse>,
    /// In its damper.
    pub(super) damped: Option<Result<Damped, ServiceError>>,
}

/// What the damper does.
pub(super) struct Damped {
    /// With the stack that is planned: at low, middle and high velocity in rebound, then in compression, then the curve.
    pub(super) evaluated: v1::EvaluateDamperResponse,
    /// Against the stack that is there.
    pub(super) compared: Option<v1::CompareStacksResponse>,
}

impl Damped {
    /// Points at low, middle and high velocity of one stroke.
    pub(super) fn named(&self, rebound: bool) -> &[v1::DamperPoint] {
        let from = if rebound { 0 } else { SHARES.len() };
        self.evaluated.points.get(from..from + SHARES.len()).unwrap_or_default()
    }

    /// The curve of one stroke, from rest on.
    pub(super) fn curve(&self, rebound: bool) -> Vec<&v1::DamperPoint> {
        let points = self.evaluated.points.get(2 * SHARES.len()..).unwrap_or_default();
        of_stroke(points.iter(), rebound, |point| point.shaft_velocity.as_ref())
    }
}

/// Those of a stroke, rest included, by speed.
pub(super) fn of_stroke<'a, T>(
    points: impl Iterator<Item = &'a T>,
    rebound: bool,
    velocity: impl Fn(&T) -> Option<&v1::Velocity>,
) -> Vec<&'a T> {
    let speed = |point: &T| velocity(point).and_then(|v| v.value).unwrap_or(f64::NAN);
    let own = |point: &&T| {
        if rebound {
            speed(point) <= 0.0
        } else {
            speed(point) >= 0.0
        }
    };
    let mut points: Vec<&T> = points.filter(own).collect();
    points.sort_by(|a, b| speed(a).abs().total_cmp(&speed(b).abs()));
    points
}

/// Stacks and dampers of the drawer that are offered.
const OFFERED: i32 = 40;

/// What the drawer has for the form.
pub(super) struct Drawer {
    /// Stacks to choose from, and those that are named.
    pub(super) stacks: Vec<v1::Stack>,
    /// Dampers to choose from.
    pub(super) dampers: Vec<v1::Damper>,
    /// The damper that is named, if it is there.
    pub(super) fitted: Option<Fitted>,
}

/// A damper of the drawer and what is in it.
pub(super) struct Fitted {
    /// The damper.
    pub(super) damper: v1::Damper,
    /// The piston's stack in compression.
    compression: Option<v1::Stack>,
    /// The piston's stack in rebound.
    rebound: Option<v1::Stack>,
}

impl Fitted {
    fn of(bench: &Bench, name: &str) -> Result<Self, ServiceError> {
        let damper = bench.get_damper(v1::GetDamperRequest { name: name.to_owned() })?;
        let stack = |circuit: Option<&v1::DamperCircuit>| {
            let valve = circuit.and_then(|circuit| circuit.valve.as_ref());
            match valve.and_then(|valve| valve.source.as_ref()) {
                Some(v1::stack_valve::Source::Stack(name)) => {
                    bench.get_stack(v1::GetStackRequest { name: name.clone() }).ok()
                }
                Some(v1::stack_valve::Source::Values(values)) => Some(values.clone()),
                _ => None,
            }
        };
        let (compression, rebound) = (stack(damper.compression.as_ref()), stack(damper.rebound.as_ref()));
        Ok(Self {
            damper,
            compression,
            rebound,
        })
    }

    /// The piston's stack of a stroke; a straight law is none.
    pub(super) fn stack(&self, rebound: bool) -> Option<&v1::Stack> {
        if rebound {
            self.rebound.as_ref()
        } else {
            self.compression.as_ref()
        }
    }

    /// The damper with another stack in that stroke of the piston.
    pub(super) fn with(&self, stack: &v1::Stack, rebound: bool) -> v1::Damper {
        let mut damper = self.damper.clone();
        let circuit = if rebound {
            &mut damper.rebound
        } else {
            &mut damper.compression
        };
        let valve = circuit.get_or_insert_default().valve.get_or_insert_default();
        valve.source = Some(v1::stack_valve::Source::Values(stack.clone()));
        damper
    }
}

/// The first stacks and dampers of the drawer, and those that are named; a name that is not found is left to the
/// reader of the form.
pub(super) fn drawer(bench: &Bench, stacks: &[String], damper: &str) -> Result<Drawer, ServiceError> {
    let named = stacks;
    let mut stacks = bench
        .list_stacks(v1::ListStacksRequest {
            page_size: OFFERED,
            ..Default::default()
        })?
        .stacks;
    for name in named.iter().filter(|name| is_named(name)) {
        if stacks.iter().all(|stack| stack.name != **name) {
            stacks.extend(bench.get_stack(v1::GetStackRequest { name: name.clone() }));
        }
    }
    let dampers = bench
        .list_dampers(v1::ListDampersRequest {
            page_size: OFFERED,
            ..Default::default()
        })?
        .dampers;
    let fitted = if damper.is_empty() {
        None
    } else {
        Fitted::of(bench, damper).ok()
    };
    Ok(Drawer {
        stacks,
        dampers,
        fitted,
    })
}

/// Asks the bench.
pub(super) fn of(bench: &Bench, asked: Asked, units: UnitSystem) -> Result<Found, ServiceError> {
    let reply_units = match units {
        UnitSystem::Metric => v1::UnitSystem::Metric,
        UnitSystem::Inch => v1::UnitSystem::Inch,
    } as i32;
    let Asked {
        stack,
        present,
        pressure,
        around,
    } = asked;
    let alone = present.is_none();
    let solved = bench.solve_stack(v1::SolveStackRequest {
        source: Some(v1::solve_stack_request::Source::Values(stack.clone())),
        // Beside a comparison, which has the curve, the state at the pressure is enough.
        pressures: if alone { Vec::new() } else { vec![pressure] },
        max_pressure: alone.then_some(pressure),
        point_count: alone.then_some(LIFTS),
        reply_units,
        ..Default::default()
    })?;
    let compared = present.map(|present| {
        bench.compare_stacks(v1::CompareStacksRequest {
            first: Some(side(Compared::StackValues(present))),
            second: Some(side(Compared::StackValues(stack))),
            pressures: PRESSURES.map(|share| scaled(&pressure, share)).to_vec(),
            reply_units,
            ..Default::default()
        })
    });
    Ok(Found {
        solved,
        compared: compared.transpose()?,
        damped: around.map(|around| damped(bench, around, reply_units)),
    })
}

fn side(source: Compared) -> v1::ComparedValving {
    v1::ComparedValving { source: Some(source) }
}

fn scaled<M: Message>(quantity: &M, share: f64) -> M {
    let (value, unit) = quantity.parts();
    M::from_parts(value.unwrap_or_default() * share, unit)
}

fn damped(bench: &Bench, around: Around, reply_units: i32) -> Result<Damped, ServiceError> {
    let Around {
        damper,
        present,
        speed,
        temperature,
    } = around;
    let named = SHARES.map(|share| scaled(&speed, share));
    let backward = named.iter().map(|v| scaled(v, -1.0));
    let largest = wire::quantity::stated(Some(&speed)).map_or(Velocity::from_si(1.0), Velocity::of);
    let curve = through_rest(largest, EACH_STROKE).into_iter();
    let curve = curve.map(|v| computed(v, UnitSystem::Metric));
    let evaluated = bench.evaluate_damper(v1::EvaluateDamperRequest {
        source: Some(v1::evaluate_damper_request::Source::Values(damper.clone())),
        temperature,
        shaft_velocities: backward.chain(named).chain(curve).collect(),
        reply_units,
        ..Default::default()
    })?;
    let compared = present.map(|present| {
        bench.compare_stacks(v1::CompareStacksRequest {
            first: Some(side(Compared::DamperValues(present))),
            second: Some(side(Compared::DamperValues(damper))),
            shaft_velocities: named.to_vec(),
            temperature,
            point_count: Some(EACH_STROKE as i32),
            reply_units,
            ..Default::default()
        })
    });
    Ok(Damped {
        evaluated,
        compared: compared.transpose()?,
    })
}
