//! From a request to its answer.

mod events;
mod remarks;

use std::f64::consts::PI;

use super::block::{Node, at};
use super::check::{self, Checked};
use super::design::{Plan, pressures};
use super::influence::Oracle;
use super::load::Load;
use super::model::{Contact, Model};
use super::newton::{self, Newton, Stuck, Theory};
use super::plate::Plate;
use super::request::{Method, REPORT_RINGS, Request};
use super::solution::{Body, ContactRing, Point, Profile, ShimAt, Solved};
use super::state::State;
use crate::quantity::{Area, AreaUnit, Force, Length, LengthUnit, PressureDifference, PressureUnit, Quantity, Stress};
use crate::valving::ValvingError;
use crate::valving::error::within;

fn mm(value: f64) -> Length {
    Length::new(value, LengthUnit::Millimeter)
}

fn megapascals(value: f64) -> PressureDifference {
    PressureDifference::new(value, PressureUnit::Megapascal)
}

/// A model with the way it is solved. Every state it gives is checked.
pub(super) struct Solver<'a> {
    model: &'a Model,
    newton: Newton,
    oracle: Option<Oracle<'a>>,
}

impl<'a> Solver<'a> {
    pub(super) fn new(model: &'a Model, plan: &Plan, method: Method) -> Self {
        let exact = || {
            let load = Load {
                annuli: plan.annuli.clone(),
                edge: plan.face().map_or(plan.clamp, |face| face.edge),
            };
            Oracle::new(model, &load, plan.modulus, plan.poisson)
        };
        Self {
            model,
            newton: Newton::new(model),
            oracle: (method == Method::SmallDeflection).then(exact),
        }
    }

    fn theory(&self) -> Theory {
        if self.oracle.is_some() {
            Theory::Small
        } else {
            Theory::Large
        }
    }

    /// The state at a pressure in MPa, from those at lower ones, the nearest last.
    pub(super) fn at(&mut self, before: &[State], pressure: f64) -> Result<(State, Checked), ValvingError> {
        let solved = match (&mut self.oracle, before.last()) {
            (Some(oracle), Some(from)) => oracle.solve(from, pressure),
            _ => self.newton.solve(self.model, before, pressure),
        };
        let state = solved.map_err(|stuck| not_converged(stuck, pressure))?;
        let checked = check::check(self.model, self.theory(), &state, self.oracle.is_some())?;
        Ok((state, checked))
    }

    /// Stress at a disc's clamp, MPa: in all, and its bending part.
    fn stress(&self, state: &State, plate: usize) -> (f64, f64) {
        if let Some(oracle) = &self.oracle {
            let bending = oracle.clamp_stress(state, plate);
            return (bending.abs(), bending);
        }
        let (Some(disc), Some(x)) = (self.model.plates.get(plate), state.x.get(plate)) else {
            return (f64::NAN, f64::NAN);
        };
        let (bending, stretching) = disc.clamp_stress(x, state.pressure, self.model.clamp);
        (bending.abs() + stretching.max(0.0), bending)
    }
}

fn not_converged(stuck: Stuck, pressure: f64) -> ValvingError {
    let what = format!("the stack at {pressure} MPa");
    let (residual, steps) = match stuck {
        Stuck::NotStill { movement, steps } => (format!("a movement of {movement} mm"), steps),
        Stuck::NotDefinite { steps } => ("a stiffness that is not positive definite".to_owned(), steps),
        Stuck::Contact { steps } => ("a contact set that does not settle".to_owned(), steps),
    };
    ValvingError::NotConverged { what, residual, steps }
}

/// Forces on, and opening over, the rigid bodies.
fn sum_of(model: &Model, state: &State, which: impl Fn(&Contact) -> bool) -> f64 {
    // The sum of nothing is -0.0, which no reader should meet.
    let rings = model.contacts.iter().zip(&state.forces);
    rings
        .filter(|(contact, _)| which(contact))
        .map(|(_, force)| force)
        .sum::<f64>()
        + 0.0
}

fn smallest_gap(model: &Model, theory: Theory, state: &State, which: impl Fn(&Contact) -> bool) -> Option<(f64, f64)> {
    let rings = model.contacts.iter().enumerate().filter(|(_, contact)| which(contact));
    let gaps = rings.map(|(index, contact)| {
        let gap = newton::gap(model, theory, &state.x, index);
        (gap, at(&model.rings, contact.node))
    });
    gaps.min_by(|a, b| a.0.total_cmp(&b.0))
}

fn is_seat(contact: &Contact) -> bool {
    contact.lower.is_none()
}

fn is_stop(contact: &Contact) -> bool {
    contact.upper.is_none()
}

struct Answer<'a> {
    plan: &'a Plan,
    model: &'a Model,
    solver: Solver<'a>,
}

/// Solves a request.
pub(super) fn of(request: &Request) -> Result<Solved, ValvingError> {
    let plan = Plan::new(&request.stack)?;
    let pressures = pressures(&request.pressures)?;
    let count = request.ring_count.unwrap_or(REPORT_RINGS);
    within("ring_count", count as f64, 6.0, 64.0, "rings")?;
    let model = Model::new(&plan, count);
    if let Some((missing, radius)) = model.no_room() {
        let allowed = format!("what the stop leaves room for; {missing:.3} mm less at a radius of {radius:.2} mm");
        return Err(ValvingError::out_of_range(
            "stack.seat.height",
            plan.exit_height(),
            "mm",
            allowed,
        ));
    }
    let mut answer = Answer {
        plan: &plan,
        model: &model,
        solver: Solver::new(&model, &plan, request.method),
    };
    answer.solved(&pressures, request)
}

impl Answer<'_> {
    fn solved(&mut self, pressures: &[f64], request: &Request) -> Result<Solved, ValvingError> {
        let mut order: Vec<usize> = (0..pressures.len()).collect();
        order.sort_by(|a, b| at(pressures, *a).total_cmp(&at(pressures, *b)));
        let (unloaded, _) = self.solver.at(&[State::flat(self.model)], 0.0)?;
        let mut states = vec![unloaded];
        let mut points = Vec::with_capacity(pressures.len());
        let mut worst = Checked::default();
        let mut steps = 0;
        for index in order {
            let pressure = at(pressures, index);
            let (state, checked) = self.solver.at(&states, pressure)?;
            worst = worst.worst(checked);
            steps += state.steps;
            points.push((index, self.point(&state)));
            states.push(state);
        }
        points.sort_by_key(|(index, _)| *index);
        let points: Vec<Point> = points.into_iter().map(|(_, point)| point).collect();
        let events = self.events(&states)?;
        let (first, last) = match (states.first(), states.last()) {
            (Some(first), Some(last)) => (first, last),
            _ => {
                return Err(ValvingError::NotFinite {
                    field: "pressures".to_owned(),
                });
            }
        };
        let preload = sum_of(self.model, first, is_seat);
        Ok(Solved {
            profiles: self.profiles(last),
            contacts: self.contacts(last),
            preload_force: Force::from_si(preload),
            exit_radius: mm(self.plan.exit()),
            friction_band_ratio: self.friction_band(),
            largest_penetration: mm(worst.penetration),
            largest_unbalanced_ratio: worst.unbalanced,
            step_count: steps,
            ring_count: self.model.rings.len(),
            findings: self.findings(&points, &events, last, preload, request.method),
            assumptions: self.assumptions(request),
            points,
            events,
        })
    }

    fn edge_lift(&self, state: &State, plate: usize) -> f64 {
        let edge = self
            .model
            .plates
            .get(plate)
            .map_or(0, |disc| disc.nodes.saturating_sub(1));
        self.model.lift(&state.x, plate, edge)
    }

    fn point(&self, state: &State) -> Point {
        let exit = self.plan.exit();
        let seat_lift = self.model.lift_at(&state.x, 0, exit) - self.plan.exit_height();
        let (gap, radius) = smallest_gap(self.model, self.solver.theory(), state, is_seat).unwrap_or((seat_lift, exit));
        let seat_force = sum_of(self.model, state, is_seat);
        let opening = if seat_force > 0.0 { 0.0 } else { gap.max(0.0) };
        let shims = self.model.plates.iter().enumerate().map(|(plate, disc)| {
            let (stress, bending) = self.solver.stress(state, plate);
            ShimAt {
                index: disc.shim,
                edge_lift: mm(self.edge_lift(state, plate)),
                clamp_stress: Stress::new(stress, PressureUnit::Megapascal),
                bending_stress: Stress::new(bending, PressureUnit::Megapascal),
            }
        });
        Point {
            pressure: megapascals(state.pressure),
            edge_lift: mm(self.edge_lift(state, 0)),
            seat_lift: mm(seat_lift),
            opening: mm(opening),
            curtain_area: Area::new(2.0 * PI * radius * opening, AreaUnit::SquareMillimeter),
            seat_force: Force::from_si(seat_force),
            stop_force: Force::from_si(sum_of(self.model, state, is_stop)),
            shims: shims.collect(),
        }
    }

    fn body(&self, plate: Option<usize>, otherwise: Body) -> Body {
        let disc = plate.and_then(|plate| self.model.plates.get(plate));
        disc.map_or(otherwise, |disc| Body::Shim(disc.shim))
    }

    fn contacts(&self, state: &State) -> Vec<ContactRing> {
        let rings = self
            .model
            .contacts
            .iter()
            .zip(&state.forces)
            .filter(|(_, force)| **force > 0.0);
        rings
            .map(|(contact, force)| ContactRing {
                lower: self.body(contact.lower, Body::Seat),
                upper: self.body(contact.upper, Body::Stop),
                radius: mm(at(&self.model.rings, contact.node)),
                force: Force::from_si(*force),
            })
            .collect()
    }

    fn profiles(&self, state: &State) -> Vec<Profile> {
        let profile = |(disc, x): (&Plate, &Vec<Node>)| Profile {
            index: disc.shim,
            radii: self.model.rings.iter().take(disc.nodes).map(|r| mm(*r)).collect(),
            lifts: x.iter().map(|[lift, ..]| mm(*lift)).collect(),
        };
        self.model.plates.iter().zip(&state.x).map(profile).collect()
    }
}
