//! From a request to its answer.

use std::f64::consts::PI;

use super::block::{Node, at};
use super::check::{self, Checked};
use super::design::{Plan, pressures};
use super::event;
use super::influence::Oracle;
use super::load::Load;
use super::model::{Contact, Model};
use super::newton::{self, Newton, State, Stuck, Theory};
use super::plate::Plate;
use super::request::{Method, REPORT_RINGS, Request};
use super::solution::{Body, ContactRing, Event, EventKind, Point, Profile, ShimAt, Solved};
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{Area, AreaUnit, Force, Length, LengthUnit, PressureDifference, PressureUnit, Quantity, Stress};
use crate::valving::ValvingError;
use crate::valving::error::within;

/// Events answered, at most.
const MOST_EVENTS: usize = 24;

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

    /// Cracking, then every pair with a gap, then the stop.
    fn events(&mut self, states: &[State]) -> Result<Vec<Event>, ValvingError> {
        let mut events = Vec::new();
        let theory = self.solver.theory();
        let seat = |state: &State| sum_of(self.model, state, is_seat);
        if let Some((before, after)) = crossing(states, seat) {
            let state = event::find(&mut self.solver, before, after, seat)?;
            let radius = smallest_gap(self.model, theory, &state, is_seat).map_or(f64::NAN, |(_, radius)| radius);
            events.push(self.event(EventKind::Cracks, &state, (Body::Seat, Body::Shim(self.face())), radius));
        }
        for pair in self.gapped() {
            let of_pair = |contact: &Contact| (contact.lower, contact.upper) == pair && contact.gap > 0.0;
            // Before it closes the gap is above zero, after it the ring force takes over.
            let open = |state: &State| {
                if sum_of(self.model, state, of_pair) > 0.0 {
                    return -1.0;
                }
                smallest_gap(self.model, theory, state, of_pair).map_or(-1.0, |(gap, _)| gap)
            };
            let Some((before, after)) = crossing(states, open) else {
                continue;
            };
            let state = event::find(&mut self.solver, before, after, open)?;
            let radius = smallest_gap(self.model, theory, &state, of_pair).map_or(f64::NAN, |(_, radius)| radius);
            let bodies = (self.body(pair.0, Body::Seat), self.body(pair.1, Body::Stop));
            let kind = if pair.1.is_none() {
                EventKind::StopReached
            } else {
                EventKind::StageCloses
            };
            events.push(self.event(kind, &state, bodies, radius));
            if events.len() >= MOST_EVENTS {
                break;
            }
        }
        events.sort_by(|a, b| a.pressure.si().total_cmp(&b.pressure.si()));
        Ok(events)
    }

    fn face(&self) -> usize {
        self.model.plates.first().map_or(0, |disc| disc.shim)
    }

    /// Pairs that are apart in the flat stack.
    fn gapped(&self) -> Vec<(Option<usize>, Option<usize>)> {
        let mut pairs = Vec::new();
        let apart = self
            .model
            .contacts
            .iter()
            .filter(|contact| contact.lower.is_some() && contact.gap > 0.0);
        for contact in apart {
            let pair = (contact.lower, contact.upper);
            if !pairs.contains(&pair) {
                pairs.push(pair);
            }
        }
        pairs
    }

    fn event(&self, kind: EventKind, state: &State, (lower, upper): (Body, Body), radius: f64) -> Event {
        Event {
            kind,
            pressure: megapascals(state.pressure),
            edge_lift: mm(self.edge_lift(state, 0)),
            lower,
            upper,
            radius: mm(radius),
        }
    }

    /// Friction of each interface adds a moment of `mu l t/2` on both faces: over the pressure's moment about `mu t/L` for
    /// a pack of thickness `t` and span `L`. An estimate, not computed.
    fn friction_band(&self) -> f64 {
        let pack: f64 = self.model.plates.iter().map(|disc| disc.thickness).sum();
        let span = self.plan.face().map_or(f64::NAN, |face| face.edge) - self.plan.clamp;
        if self.model.plates.len() < 2 {
            0.0
        } else {
            self.plan.friction * pack / span
        }
    }

    fn findings(&self, points: &[Point], events: &[Event], last: &State, preload: f64, method: Method) -> Vec<Finding> {
        let mut findings = Vec::new();
        self.stressed(points, &mut findings);
        let face = self.plan.face().map_or(f64::NAN, |face| face.edge);
        let port = self.plan.annuli.iter().map(|a| a.outer).fold(0.0, f64::max);
        if face < port {
            let text = format!(
                "the face shim is {:.2} mm, the port reaches {:.2} mm",
                2.0 * face,
                2.0 * port
            );
            findings.push(Finding::about(Code::PortUncovered, "stack.faces", text));
        }
        if preload > 0.0 && !events.iter().any(|event| event.kind == EventKind::Cracks) {
            let text = format!("the stack is still on its seat at {:.4} MPa", last.pressure);
            findings.push(Finding::about(Code::StaysClosed, "pressures", text));
        }
        let lift = self.edge_lift(last, 0);
        let mut outside = Vec::new();
        let discs = &self.model.plates;
        if discs.len() > 16 {
            outside.push(format!("{} shims, checked to 16", discs.len()));
        }
        if lift > 1.5 {
            outside.push(format!("lift {lift:.2} mm, checked to 1.50 mm"));
        }
        let beyond = |shim: &&super::design::Shim| shim.edge > self.plan.clamp;
        let odd = |shim: &super::design::Shim| {
            !(4.0..=30.0).contains(&shim.edge)
                || !(0.05 - 1e-9..=0.60 + 1e-9).contains(&shim.thickness)
                || self.plan.clamp < 0.25 * shim.edge
        };
        if let Some(shim) = self.plan.shims.iter().filter(beyond).find(|shim| odd(shim)) {
            outside.push(format!(
                "a shim of {:.2} x {:.3} mm on a clamp of {:.2} mm, checked from 8 to 60 mm, 0.05 to 0.60 mm, clamp at least a quarter",
                2.0 * shim.edge,
                shim.thickness,
                2.0 * self.plan.clamp
            ));
        }
        if !outside.is_empty() {
            findings.push(Finding::about(Code::OutsideChecked, "stack", outside.join("; ")));
        }
        // The pyramid of the published cases with an overhang of 4 thicknesses is off by half a percent.
        if let Some(disc) = self
            .plan
            .shims
            .iter()
            .filter(beyond)
            .find(|s| s.edge - self.plan.clamp < 6.0 * s.thickness)
        {
            let text = format!(
                "a shim of {:.2} mm reaches {:.2} mm beyond the clamp, under 6 thicknesses: it gives more than computed",
                2.0 * disc.edge,
                disc.edge - self.plan.clamp
            );
            findings.push(Finding::about(Code::ShortOverhang, "stack.layers", text));
        }
        let thinnest = discs.iter().map(|disc| disc.thickness).fold(f64::INFINITY, f64::min);
        if method == Method::SmallDeflection && lift > 0.4 * thinnest {
            let text = format!("lift {lift:.3} mm with shims from {thinnest:.3} mm on: the real lift is smaller");
            findings.push(Finding::about(Code::StretchLeftOut, "method", text));
        }
        findings
    }

    /// The worst point of each shim above the limit would repeat itself: the worst shim is named.
    fn stressed(&self, points: &[Point], findings: &mut Vec<Finding>) {
        let Some(limit) = self.plan.stress_limit else { return };
        let each = points
            .iter()
            .flat_map(|point| point.shims.iter().map(move |shim| (shim, point.pressure)));
        let worst = each.max_by(|a, b| a.0.clamp_stress.si().total_cmp(&b.0.clamp_stress.si()));
        if let Some((shim, pressure)) = worst
            && shim.clamp_stress.get(PressureUnit::Megapascal) > limit
        {
            let text = format!(
                "shim {} (the piston's is 0) is at {:.0} MPa at the clamp, limit {limit:.0} MPa, at a pressure of {:.3} MPa",
                shim.index,
                shim.clamp_stress.get(PressureUnit::Megapascal),
                pressure.get(PressureUnit::Megapascal)
            );
            findings.push(Finding::about(Code::ShimOverstressed, "stack.stress_limit", text));
        }
    }

    fn assumptions(&self, request: &Request) -> Vec<Assumption> {
        let stack = &request.stack;
        let mut assumptions = vec![Assumption {
            subject: "model",
            text: "flat discs, rigid clamp and piston, pressure even around the annulus, no friction between the discs"
                .to_owned(),
            source: "thin plates in unilateral contact; Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells",
        }];
        if stack.modulus.is_none() || stack.poisson_ratio.is_none() {
            assumptions.push(Assumption {
                subject: "stack.modulus",
                text: format!(
                    "spring steel, {:.0} GPa and {}",
                    self.plan.modulus / 1e3,
                    self.plan.poisson
                ),
                source: "common practice, no source",
            });
        }
        if stack.radial_hold == super::RadialHold::Held && request.method == Method::LargeDeflection {
            assumptions.push(Assumption {
                subject: "stack.radial_hold",
                text: "the clamp holds the discs radially; slipping, they lift 3 to 18 % more".to_owned(),
                source: "computed with this model",
            });
        }
        assumptions.push(Assumption {
            subject: "stack.friction_factor",
            text: format!(
                "friction {} between the shims would shift opening and closing by about {:.1} %",
                self.plan.friction,
                100.0 * self.friction_band()
            ),
            source: "estimate of mu t/L, not computed",
        });
        assumptions
    }
}

/// Neighbouring states between which a measure goes from above zero to not above it.
fn crossing(states: &[State], measure: impl Fn(&State) -> f64) -> Option<(&State, &State)> {
    let first = states.first()?;
    if !(measure(first) > 0.0) {
        return None;
    }
    let pairs = states.iter().zip(states.iter().skip(1));
    pairs.into_iter().find(|(_, after)| !(measure(after) > 0.0))
}
