//! EvaluateResponse.

use mechanics::chassis::{
    QuarterBike, ResponseRequest, Suspension, assumed_rates, respond as follow, usual_stop_rate, usual_tyre_rate,
};
use mechanics::quantity::{Length, Quantity};
use wire::names::Collection;
use wire::setup::{choose, respond, unit};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::evaluate_response_request::Source;
use wire::violation::Violations;

use super::{Machine, faults, refused};
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// Exponent of gas in a fast stroke.
const FAST: f64 = 1.4;

impl Bench {
    /// What one end does on the road.
    pub fn evaluate_response(
        &self,
        request: v1::EvaluateResponseRequest,
    ) -> Result<v1::EvaluateResponseResponse, ServiceError> {
        let mut violations = Violations::new();
        let options = respond::options(&request, &mut violations);
        let mut used = Vec::new();
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of machine, values is required"),
            Some(Source::Values(values)) => {
                choose::check_machine(values, violations.at("values"));
                if let Some(end) = options.end {
                    unit::needs_path(values, end, violations.at("values"));
                }
            }
            Some(Source::Machine(name)) => {
                Collection::Machines.revisable(name, violations.at("machine"));
            }
        }
        let read = options
            .end
            .zip(options.sprung)
            .zip(options.damping.clone())
            .zip(options.road);
        let (((end, sprung), damping), road) = checked(violations, read)?;
        let machine = match request.source {
            Some(Source::Machine(name)) => self.machine_kept(&name, &mut used)?,
            Some(Source::Values(values)) => Machine::sent(values),
            None => return Err(ServiceError::internal("a response without a machine")),
        };
        let mut model = self.end_model(&machine, end, FAST, &mut used)?;
        model.assume_air();
        let mut missing = Violations::new();
        unit::needs_path(&machine.values, end, missing.at(machine.place));
        let fitted = model.fitted_elements();
        if fitted.is_none() {
            let text = "the fitted springs with their preload are required";
            missing
                .at(machine.place)
                .at(end.word())
                .at("legs")
                .push(Reason::ValueMissing, text);
        }
        faults(missing, &machine)?;
        let mut elements = model.others.clone();
        elements.extend(fitted.unwrap_or_default());
        let path = model
            .path
            .clone()
            .ok_or_else(|| ServiceError::internal("a machine without a path was let in"))?;
        let travel = Length::from_si(path.travel().si());
        let refuse = |error| refused(error, machine.basis, |field| format!("{}.{field}", machine.place));
        let suspension = Suspension::new(path, elements).map_err(refuse)?;
        let unsprung = options.unsprung.unwrap_or_else(|| model.unsprung_or_usual());
        let mut assumptions = model.assumptions.clone();
        assumptions.extend(assumed_rates(options.tyre_rate, options.units));
        let asked = ResponseRequest {
            bike: QuarterBike {
                sprung,
                unsprung,
                suspension,
                damping,
                tyre_rate: options.tyre_rate.unwrap_or_else(usual_tyre_rate),
                tyre_damping: options.tyre_damping,
                stop_rate: usual_stop_rate(),
            },
            road,
            seconds: options.seconds,
            next_bump_seconds: options.next_bump,
            units: options.units,
        };
        let found = follow(&asked).map_err(|error| refused(error, Basis::Sent, respond::field))?;
        let mut reply = respond::response(&found, travel, &assumptions, options.units);
        reply.used = used;
        Ok(reply)
    }
}
