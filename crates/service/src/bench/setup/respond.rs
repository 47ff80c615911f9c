//! EvaluateResponse.

use mechanics::chassis::{QuarterBike, ResponseRequest, Suspension, respond as follow};
use mechanics::estimate::Assumption;
use mechanics::quantity::{Length, Quantity, WheelRate};
use wire::names::Collection;
use wire::setup::{choose, respond, unit};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::evaluate_response_request::Source;
use wire::violation::Violations;

use super::{Machine, faults, refused};
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// Vertical rate of a tyre where none is given, N/m (common practice, no source).
const TYRE: f64 = 170_000.0;
/// What an end gives at its stops, at the wheel, N/m (common practice, no source).
const STOP: f64 = 500_000.0;
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
        let tyre_rate = options.tyre_rate.unwrap_or_else(|| {
            assumptions.push(assumed("tyre_rate", format!("the tyre gives at {} N/mm", TYRE * 1e-3)));
            WheelRate::from_si(TYRE)
        });
        assumptions.push(assumed(
            "stops",
            format!("the ends of the travel give at {} N/mm", STOP * 1e-3),
        ));
        let asked = ResponseRequest {
            bike: QuarterBike {
                sprung,
                unsprung,
                suspension,
                damping,
                tyre_rate,
                tyre_damping: options.tyre_damping,
                stop_rate: WheelRate::from_si(STOP),
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

fn assumed(subject: &'static str, text: String) -> Assumption {
    Assumption {
        subject,
        text,
        source: "common practice, no source",
    }
}
