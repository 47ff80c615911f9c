//! What is asked beside machine and state.

use mechanics::chassis::CandidateSpring;
use mechanics::quantity::{KinematicViscosityUnit, LengthUnit, Quantity, SpringRate, StiffnessUnit, UnitSystem};

use crate::book::{at_most, required};
use crate::quantity::{Range, number, optional, unit_system};
use crate::records::check;
use crate::setup::{choose, riders, sag};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Rates of a rack that are taken.
const MOST_RATES: usize = 500;
/// Circuits of an end, on both legs.
const MOST_CIRCUITS: usize = 12;

/// Everything that is asked beside the source.
#[derive(Debug, Clone)]
pub struct Options {
    /// Units of computed values.
    pub units: UnitSystem,
    /// Candidates of the fork and of the rear; springs by name are left open.
    pub candidates: [Vec<Vec<Option<CandidateSpring>>>; 2],
}

/// Reads everything but the source.
pub fn options(request: &v1::JudgeSetupRequest, violations: &mut Violations) -> Options {
    let candidates = [("front", &request.front), ("rear", &request.rear)].map(|(name, detail)| {
        let Some(detail) = detail else { return Vec::new() };
        let mut at = violations.at(name);
        check_detail(detail, at.here());
        choose::candidates(&detail.candidates, 0, at.at("candidates"))
    });
    if request.deceleration_ratio.is_some() {
        number(
            request.deceleration_ratio,
            0.0,
            3.0,
            violations.at("deceleration_ratio"),
        );
    }
    Options {
        units: unit_system(request.reply_units, violations.at("reply_units")),
        candidates,
    }
}

fn check_detail(detail: &v1::EndDetail, mut at: Scope<'_>) {
    let mm = LengthUnit::Millimeter;
    let viscosity = Range::above_zero(10_000.0, KinematicViscosityUnit::SquareMillimeterPerSecond);
    check(detail.wanted_viscosity.as_ref(), viscosity, at.at("wanted_viscosity"));
    check(
        detail.wanted_level.as_ref(),
        Range::from_zero(1_000.0, mm),
        at.at("wanted_level"),
    );
    let sags = sag::sags();
    check(detail.static_sag.as_ref(), sags, at.at("static_sag"));
    check(detail.total_sag.as_ref(), sags, at.at("total_sag"));
    check(detail.spread.as_ref(), Range::from_zero(1_000.0, mm), at.at("spread"));
    check(
        detail.rider_mass_carried.as_ref(),
        riders(),
        at.at("rider_mass_carried"),
    );
    check(
        detail.bind_margin.as_ref(),
        Range::either_sign(500.0, mm),
        at.at("bind_margin"),
    );
    if at_most(detail.rack_rates.len(), MOST_RATES, at.at("rack_rates")) {
        for (index, rate) in detail.rack_rates.iter().enumerate() {
            check(Some(rate), rates(), at.at("rack_rates").index(index));
        }
    }
    available_rates(detail, at.here());
    available_dampings(detail, at.at("available_dampings"));
    if !at_most(detail.adjuster_forces.len(), MOST_CIRCUITS, at.at("adjuster_forces")) {
        return;
    }
    for (index, force) in detail.adjuster_forces.iter().enumerate() {
        let mut at = at.at("adjuster_forces");
        let mut at = at.index(index);
        required::<v1::DampingCircuit>(force.circuit, "a circuit", at.at("circuit"));
        let factors = [
            ("closed_over_present_factor", force.closed_over_present_factor, 1.0),
            ("present_over_middle_factor", force.present_over_middle_factor, 0.01),
        ];
        for (name, factor, least) in factors {
            if factor.is_none() {
                at.at(name).push(Reason::ValueMissing, "a factor is required");
            }
            number(factor, least, 100.0, at.at(name));
        }
        once(
            detail.adjuster_forces.iter().map(|one| one.circuit),
            (index, force.circuit),
            at.at("circuit"),
        );
    }
}

/// A circuit stands once.
fn once(mut all: impl Iterator<Item = i32>, (index, circuit): (usize, i32), mut at: Scope<'_>) {
    let again = all.by_ref().take(index).any(|one| one == circuit);
    if again && circuit != 0 {
        at.push(Reason::Conflict, "the circuit stands here more than once");
    }
}

/// The rates that can be had: both ends of the range, or none.
fn available_rates(detail: &v1::EndDetail, mut at: Scope<'_>) {
    let sent = [
        ("least_available_rate", &detail.least_available_rate),
        ("most_available_rate", &detail.most_available_rate),
    ];
    let read: [Option<SpringRate>; 2] = sent.map(|(name, given)| optional(given.as_ref(), rates(), at.at(name)));
    let missing = sent.iter().find(|(_, given)| given.is_none());
    if let (Some((name, _)), true) = (missing, sent.iter().any(|(_, given)| given.is_some())) {
        at.at(name).push(
            Reason::ValueMissing,
            "the least and the most rate that can be had come together",
        );
    }
    if let [Some(least), Some(most)] = read
        && most.si() < least.si()
    {
        let unit = StiffnessUnit::NewtonPerMillimeter;
        let text = format_args!(
            "it is {} N/mm; allowed from {} N/mm, the least",
            most.get(unit),
            least.get(unit)
        );
        at.at("most_available_rate").push(Reason::Conflict, text);
    }
}

fn available_dampings(detail: &v1::EndDetail, mut at: Scope<'_>) {
    let all = &detail.available_dampings;
    if !at_most(all.len(), MOST_CIRCUITS, at.here()) {
        return;
    }
    for (index, one) in all.iter().enumerate() {
        let mut at = at.index(index);
        required::<v1::DampingCircuit>(one.circuit, "a circuit", at.at("circuit"));
        once(
            all.iter().map(|one| one.circuit),
            (index, one.circuit),
            at.at("circuit"),
        );
        let read = [("least_factor", one.least_factor), ("most_factor", one.most_factor)].map(|(name, factor)| {
            if factor.is_none() {
                at.at(name).push(Reason::ValueMissing, "a factor is required");
            }
            number(factor, 0.01, 100.0, at.at(name))
        });
        if let [Some(least), Some(most)] = read
            && most < least
        {
            let text = format_args!("it is {most}; allowed from {least}, the least");
            at.at("most_factor").push(Reason::Conflict, text);
        }
    }
}

pub(super) fn rates() -> Range<StiffnessUnit> {
    Range::above_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter)
}
