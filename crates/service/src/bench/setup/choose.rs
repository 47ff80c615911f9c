//! ChooseSpring.

use mechanics::chassis::{
    Braking, CandidateSpring, Choice, End, RiderMass, Suspension, braking, choose as choose_spring, riders_part,
};
use mechanics::estimate::Assumption;
use mechanics::quantity::{Force, Mass, Quantity, STANDARD_GRAVITY, WheelRate};
use wire::setup::choose::{self, Case, Options};
use wire::setup::unit::{self, EndModel};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::choose_spring_request::Source;
use wire::violation::Violations;

use super::{Machine, faults, refused};
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// What the springs carry.
pub(super) struct Loads {
    pub(super) alone: Force,
    pub(super) rider: Force,
    /// Mass on the ground with the rider.
    ground: Mass,
}

impl Bench {
    /// Every candidate with what it would do, the best first.
    pub fn choose_spring(&self, request: v1::ChooseSpringRequest) -> Result<v1::ChooseSpringResponse, ServiceError> {
        let mut violations = Violations::new();
        let options = choose::options(&request, &mut violations);
        let candidates = choose::candidates(&request.candidates, 1, violations.at("candidates"));
        let mut used = Vec::new();
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of machine, values is required"),
            Some(Source::Values(values)) => {
                choose::check_machine(values, violations.at("values"));
                if let Some(end) = options.end {
                    needs(values, end, &options, &mut violations, "values");
                }
            }
            Some(Source::Machine(name)) => {
                wire::names::Collection::Machines.revisable(name, violations.at("machine"));
            }
        }
        let end = checked(violations, options.end)?;
        let machine = match &request.source {
            Some(Source::Machine(name)) => self.machine_kept(name, &mut used)?,
            Some(Source::Values(values)) => Machine::sent(values.clone()),
            None => return Err(ServiceError::internal("a choice without a machine")),
        };
        if machine.basis == Basis::Stored {
            let mut missing = Violations::new();
            needs(&machine.values, end, &options, &mut missing, "machine");
            faults(missing, &machine)?;
        }
        let candidates = self.springs_found(&request.candidates, candidates, &mut used)?;
        let mut model = self.end_model(&machine, end, 1.0, &mut used)?;
        model.assume_air();
        let mut reply = self.chosen(&options, &machine, model, candidates)?;
        reply.used = used;
        Ok(reply)
    }

    /// The candidates with those of the rack found.
    pub(super) fn springs_found(
        &self,
        sent: &[v1::SpringCandidate],
        read: Vec<Vec<Option<CandidateSpring>>>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Vec<Vec<CandidateSpring>>, ServiceError> {
        use v1::candidate_spring::Source;
        let mut found = Vec::with_capacity(read.len());
        for (candidate, read) in sent.iter().zip(read) {
            let mut springs = Vec::with_capacity(read.len());
            for (sent, read) in candidate.springs.iter().zip(read) {
                springs.push(match (read, &sent.source) {
                    (Some(read), _) => read,
                    (None, Some(Source::Spring(name))) => self.rack_spring(name, used)?,
                    (None, _) => return Err(ServiceError::internal("a candidate without a spring")),
                });
            }
            found.push(springs);
        }
        Ok(found)
    }

    fn chosen(
        &self,
        options: &Options,
        machine: &Machine,
        mut model: EndModel,
        candidates: Vec<Vec<CandidateSpring>>,
    ) -> Result<v1::ChooseSpringResponse, ServiceError> {
        let end = model.end;
        let path = model
            .path
            .clone()
            .ok_or_else(|| ServiceError::internal("a machine without a path was let in"))?;
        let refuse = |error| refused(error, machine.basis, |field| format!("{}.{}", machine.place, field));
        let mut assumptions = Vec::new();
        let loads = loads(options, machine, &mut model, &mut assumptions).map_err(refuse)?;
        let asked = choose::targets(options, end, &path);
        assumptions.extend(asked.assumptions);
        let braked = braked(options, machine, &model, &loads, &mut assumptions).map_err(refuse)?;
        let case = match options.case {
            None => None,
            Some(Case::Load(factor)) => Some(Force::from_si(factor * loads.rider.si())),
            Some(Case::Braking(..)) => braked.as_ref().map(|braking: &Braking| braking.wheel_load),
        };
        let wheel_rate = present_rate(&model, loads.rider);
        let (filled, places) = choose::filled(candidates, model.springs, options.mixed && end == End::Front);
        let choice = Choice {
            end,
            path,
            others: model.others.clone(),
            load_alone: loads.alone,
            load_with_rider: loads.rider,
            unsprung_mass: model.unsprung,
            targets: asked.targets,
            preload_limits: model.preload_limits,
            travel_case: case.map(|load| choose::travel_case(options, load)),
            present: choose::present(options, &machine.values, asked.factor, wheel_rate),
            candidates: filled,
            units: options.units,
        };
        let chosen = choose_spring(&choice).map_err(|error| refused(error, Basis::Sent, sent))?;
        let beside = choose::Beside {
            choice: &choice,
            places: &places,
            factor: asked.factor,
            braking: braked.as_ref(),
            model: &model,
            assumptions,
        };
        Ok(choose::response(&chosen, &beside, options.units))
    }
}

/// Where a field of the physics stands in the request.
fn sent(field: &str) -> String {
    match field {
        "targets.total_sag" => "target_total_sag".to_owned(),
        "targets.total_tolerance" => "total_sag_tolerance".to_owned(),
        "targets.static_sag" => "target_static_sag".to_owned(),
        "targets.static_tolerance" => "static_sag_tolerance".to_owned(),
        "load_alone" => "mass_alone".to_owned(),
        "load_with_rider" => "mass_with_rider".to_owned(),
        other => other.to_owned(),
    }
}

/// Notes everything the machine lacks.
fn needs(values: &v1::MachineValues, end: End, options: &Options, violations: &mut Violations, place: &str) {
    unit::needs_path(values, end, violations.at(place));
    let alone = options.mass_alone.or_else(|| unit::ground_mass(values, end));
    choose::check_loads(alone, violations.at("mass_alone"));
    if matches!(options.case, Some(Case::Braking(..))) && end == End::Front {
        choose::needs_balance(values, options.rider, violations, place);
    }
}

/// Sprung loads alone and with the rider, from what the machine says where the scale does not.
fn loads(
    options: &Options,
    machine: &Machine,
    model: &mut EndModel,
    assumptions: &mut Vec<Assumption>,
) -> Result<Loads, mechanics::chassis::ChassisError> {
    let alone = options
        .mass_alone
        .or_else(|| unit::ground_mass(&machine.values, model.end))
        .unwrap_or(Mass::from_si(0.0));
    sprung_loads(alone, (options.mass_with_rider, options.rider), model, assumptions)
}

/// Sprung loads of a mass on the ground alone; with the rider from the scale, else by a usual part of the rider.
pub(super) fn sprung_loads(
    alone: Mass,
    (aboard, rider): (Option<Mass>, Option<Mass>),
    model: &mut EndModel,
    assumptions: &mut Vec<Assumption>,
) -> Result<Loads, mechanics::chassis::ChassisError> {
    let aboard = match (aboard, rider) {
        (Some(aboard), _) => aboard,
        (None, Some(rider)) => {
            let part = riders_part(model.end, &RiderMass::Usual { rider })?;
            assumptions.extend(part.assumed);
            Mass::from_si(alone.si() + part.part.si())
        }
        (None, None) => alone,
    };
    let unsprung = model.unsprung_or_usual();
    Ok(Loads {
        alone: unit::sprung(alone, unsprung),
        rider: unit::sprung(aboard, unsprung),
        ground: aboard,
    })
}

/// The braking that was asked for.
fn braked(
    options: &Options,
    machine: &Machine,
    model: &EndModel,
    loads: &Loads,
    assumptions: &mut Vec<Assumption>,
) -> Result<Option<Braking>, mechanics::chassis::ChassisError> {
    let (Some(Case::Braking(deceleration, share, grip)), Some(rider)) = (options.case, options.rider) else {
        return Ok(None);
    };
    let unsprung = model.unsprung.unwrap_or_else(|| {
        // Said to be assumed with the loads.
        Mass::from_si(loads.ground.si() - loads.rider.si() / STANDARD_GRAVITY)
    });
    let both = (unsprung, unsprung);
    let Some((balance, assumed)) = unit::balance(&machine.values, loads.ground, rider, both) else {
        return Ok(None);
    };
    assumptions.push(assumed);
    let Some(rake) = unit::rake(&machine.values) else {
        return Ok(None);
    };
    braking(&balance, rake, deceleration * STANDARD_GRAVITY, share, grip).map(Some)
}

/// Wheel rate of the fitted springs with the rider; `None` where they are not known.
fn present_rate(model: &EndModel, rider: Force) -> Option<WheelRate> {
    let mut elements = model.others.clone();
    elements.extend(model.fitted_elements()?);
    let end = Suspension::new(model.path.clone()?, elements).ok()?;
    let rest = end.equilibrium(rider);
    Some(rest.wheel_rate).filter(|rate| rate.si() > 0.0)
}
