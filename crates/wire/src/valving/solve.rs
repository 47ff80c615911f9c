//! SolveStack: request in, reply out.

use mechanics::quantity::{Length, LengthUnit, PressureDifference, PressureUnit, Quantity, Unit, UnitSystem};
use mechanics::valving::stack::{
    Body, ContactRing, Event, EventKind, MOST_PRESSURES, Method, Point, Profile, ShimAt, Solved,
};

use crate::quantity::{Range, computed, entered, optional, unit_system};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Steps up to the highest pressure where none are asked for.
const USUAL_POINTS: u32 = 24;

/// What is asked beside the stack.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Pressures.
    pub pressures: Vec<PressureDifference>,
    /// How deflections are computed.
    pub method: Method,
    /// Rings over the widest span.
    pub ring_count: Option<usize>,
    /// Units of computed values.
    pub units: UnitSystem,
}

fn pressures_allowed() -> Range<PressureUnit> {
    Range::from_zero(200.0, PressureUnit::Megapascal)
}

/// Reads everything of a request but its stack.
pub fn options(message: &v1::SolveStackRequest, violations: &mut Violations) -> Asked {
    Asked {
        pressures: pressures(message, violations),
        method: method(message.method, violations.at("method")),
        ring_count: whole(message.ring_count, 6, 64, violations.at("ring_count")),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// Reads how deflections are computed.
pub fn method(number: i32, mut at: Scope<'_>) -> Method {
    match v1::StackMethod::try_from(number) {
        Ok(v1::StackMethod::Unspecified | v1::StackMethod::LargeDeflection) => Method::LargeDeflection,
        Ok(v1::StackMethod::SmallDeflection) => Method::SmallDeflection,
        Err(_) => {
            at.push(Reason::OutOfRange, format_args!("method is {number}; allowed 0 to 2"));
            Method::LargeDeflection
        }
    }
}

/// Reads an optional count.
pub fn whole(value: Option<i32>, low: usize, high: usize, mut at: Scope<'_>) -> Option<usize> {
    let value = value?;
    let read = usize::try_from(value).ok().filter(|count| (low..=high).contains(count));
    if read.is_none() {
        at.push(
            Reason::OutOfRange,
            format_args!("value is {value}; allowed {low} to {high}"),
        );
    }
    read
}

fn pressures(message: &v1::SolveStackRequest, violations: &mut Violations) -> Vec<PressureDifference> {
    let highest: Option<PressureDifference> = optional(
        message.max_pressure.as_ref(),
        pressures_allowed(),
        violations.at("max_pressure"),
    );
    let count = whole(message.point_count, 1, MOST_PRESSURES, violations.at("point_count"));
    match (message.pressures.is_empty(), &message.max_pressure) {
        (true, None) => {
            violations.push(
                "pressures",
                Reason::ValueMissing,
                "one of pressures, max_pressure is required",
            );
            Vec::new()
        }
        (false, Some(_)) => {
            violations.push(
                "max_pressure",
                Reason::Conflict,
                "give pressures or max_pressure, not both",
            );
            Vec::new()
        }
        (true, Some(_)) => {
            let count = count
                .and_then(|count| u32::try_from(count).ok())
                .unwrap_or(USUAL_POINTS);
            let step = |highest: PressureDifference| {
                let share = move |k| PressureDifference::from_si(highest.si() * f64::from(k) / f64::from(count));
                (1..=count).map(share)
            };
            highest.into_iter().flat_map(step).collect()
        }
        (false, None) => single(message, violations),
    }
}

fn single(message: &v1::SolveStackRequest, violations: &mut Violations) -> Vec<PressureDifference> {
    let count = message.pressures.len();
    if count > MOST_PRESSURES {
        violations.push(
            "pressures",
            Reason::OutOfRange,
            format_args!("{count} pressures; allowed at most {MOST_PRESSURES}"),
        );
        return Vec::new();
    }
    let mut at = violations.at("pressures");
    let read = |(index, pressure)| entered(pressure, pressures_allowed(), at.index(index)).map(PressureDifference::of);
    message.pressures.iter().enumerate().filter_map(read).collect()
}

/// The reply.
pub fn response(solved: &Solved, units: UnitSystem) -> v1::SolveStackResponse {
    v1::SolveStackResponse {
        points: solved.points.iter().map(|at| point(at, units)).collect(),
        events: events(&solved.events, units),
        profiles: solved.profiles.iter().map(|at| profile(at, units)).collect(),
        contacts: solved.contacts.iter().map(|at| contact(at, units)).collect(),
        preload_force: Some(computed(solved.preload_force, units)),
        exit_radius: Some(computed(solved.exit_radius, units)),
        friction_band_ratio: solved.friction_band_ratio,
        largest_penetration: Some(computed(solved.largest_penetration, units)),
        largest_unbalanced_ratio: solved.largest_unbalanced_ratio,
        step_count: count(solved.step_count),
        ring_count: count(solved.ring_count),
        text: String::new(),
        findings: findings(&solved.findings),
        assumptions: assumptions(&solved.assumptions),
        used: Vec::new(),
    }
}

fn count(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn point(point: &Point, units: UnitSystem) -> v1::StackPoint {
    v1::StackPoint {
        pressure: Some(computed(point.pressure, units)),
        edge_lift: Some(computed(point.edge_lift, units)),
        seat_lift: Some(computed(point.seat_lift, units)),
        opening: Some(computed(point.opening, units)),
        curtain_area: Some(computed(point.curtain_area, units)),
        seat_force: Some(computed(point.seat_force, units)),
        stop_force: Some(computed(point.stop_force, units)),
        shims: point.shims.iter().map(|at| shim(at, units)).collect(),
    }
}

fn shim(shim: &ShimAt, units: UnitSystem) -> v1::ShimState {
    v1::ShimState {
        shim_index: count(shim.index),
        edge_lift: Some(computed(shim.edge_lift, units)),
        clamp_stress: Some(computed(shim.clamp_stress, units)),
        bending_stress: Some(computed(shim.bending_stress, units)),
    }
}

fn body(body: Body) -> v1::ContactBody {
    use v1::contact_body::Body as Sent;
    v1::ContactBody {
        body: Some(match body {
            Body::Seat => Sent::Seat(true),
            Body::Shim(index) => Sent::ShimIndex(count(index)),
            Body::Stop => Sent::Stop(true),
        }),
    }
}

/// What happens, in the API's form.
pub fn events(events: &[Event], units: UnitSystem) -> Vec<v1::StackEvent> {
    events.iter().map(|at| event(at, units)).collect()
}

fn event(event: &Event, units: UnitSystem) -> v1::StackEvent {
    use v1::stack_event::Kind;
    v1::StackEvent {
        kind: match event.kind {
            EventKind::Cracks => Kind::Cracks,
            EventKind::StageCloses => Kind::StageCloses,
            EventKind::StopReached => Kind::StopReached,
        } as i32,
        pressure: Some(computed(event.pressure, units)),
        edge_lift: Some(computed(event.edge_lift, units)),
        lower: Some(body(event.lower)),
        upper: Some(body(event.upper)),
        radius: Some(computed(event.radius, units)),
    }
}

fn contact(contact: &ContactRing, units: UnitSystem) -> v1::StackContact {
    v1::StackContact {
        lower: Some(body(contact.lower)),
        upper: Some(body(contact.upper)),
        radius: Some(computed(contact.radius, units)),
        force: Some(computed(contact.force, units)),
    }
}

fn profile(profile: &Profile, units: UnitSystem) -> v1::ShimProfile {
    let unit = LengthUnit::of_system(units);
    let numbers = |lengths: &[Length]| lengths.iter().map(|length| length.get(unit)).collect();
    v1::ShimProfile {
        shim_index: count(profile.index),
        unit: unit.row().number,
        radii: numbers(&profile.radii),
        lifts: numbers(&profile.lifts),
    }
}
