//! ForecastLimits.

use mechanics::chassis::{End, RiderMass, Suspension, riders_part};
use mechanics::estimate::Assumption;
use mechanics::forecast::{ForecastEnd, ForecastRequest, Price, forecast};
use mechanics::quantity::{Mass, Quantity};
use wire::names::Collection;
use wire::setup::forecast::{self as asked, EndOptions, Options, reply};
use wire::setup::{choose, unit};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::forecast_limits_request::Source;
use wire::violation::Violations;

use super::{Machine, faults, refused};
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};
use crate::staircase;

/// Exponent of gas: the steady positions count, and the moving part is scaled, not computed.
const SLOW: f64 = 1.0;

/// The machine as the forecast takes it.
struct Modelled {
    ends: Vec<(End, ForecastEnd)>,
    unsprung: (Mass, Mass),
    assumptions: Vec<Assumption>,
}

impl Bench {
    /// Which limit comes first as the pace rises.
    pub fn forecast_limits(
        &self,
        request: v1::ForecastLimitsRequest,
    ) -> Result<v1::ForecastLimitsResponse, ServiceError> {
        let mut violations = Violations::new();
        let options = read(&request, &mut violations);
        checked(violations, Some(()))?;
        let mut used = Vec::new();
        let machine = match &request.source {
            Some(Source::Machine(name)) => self.machine_kept(name, &mut used)?,
            Some(Source::Values(values)) => Machine::sent(values.clone()),
            None => return Err(ServiceError::internal("a forecast without a machine")),
        };
        let (prices, currency) = self.prices_of(&request)?;
        let modelled = self.modelled(&machine, &options, &mut used)?;
        let mut reply = answered(&options, &machine, modelled, prices)?;
        if request.drawn {
            reply.staircase_svg = staircase::drawn(&reply, &currency).unwrap_or_default();
        }
        reply.currency_code = currency;
        reply.used = used;
        Ok(reply)
    }

    fn prices_of(&self, request: &v1::ForecastLimitsRequest) -> Result<(Vec<Price>, String), ServiceError> {
        let list = match &request.prices {
            Some(list) => list.clone(),
            None if request.shop_prices => self.get_price_list(v1::GetPriceListRequest {
                name: "priceList".to_owned(),
            })?,
            None => return Ok((Vec::new(), String::new())),
        };
        Ok((asked::prices(&list), list.currency_code))
    }

    fn modelled(
        &self,
        machine: &Machine,
        options: &Options,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Modelled, ServiceError> {
        let mut missing = Violations::new();
        needs(&machine.values, options, &mut missing, machine.place);
        faults(missing, machine)?;
        let mut modelled = Modelled {
            ends: Vec::new(),
            unsprung: (Mass::from_si(0.0), Mass::from_si(0.0)),
            assumptions: options.assumptions.clone(),
        };
        for end in [End::Front, End::Rear] {
            let mut model = self.end_model(machine, end, SLOW, used)?;
            let unsprung = model.unsprung_or_usual();
            match end {
                End::Front => modelled.unsprung.0 = unsprung,
                End::Rear => modelled.unsprung.1 = unsprung,
            }
            let given = options.ends.iter().find(|(asked, _)| *asked == end);
            if let Some((_, given)) = given {
                model.assume_air();
                modelled.ends.push((end, end_of(machine, &model, given)?));
            }
            modelled.assumptions.extend(model.assumptions);
        }
        Ok(modelled)
    }
}

/// Reads and checks everything a request holds.
pub(super) fn read(request: &v1::ForecastLimitsRequest, violations: &mut Violations) -> Options {
    let options = asked::options(request, violations);
    match &request.source {
        None => violations.push("source", Reason::ValueMissing, "one of machine, values is required"),
        Some(Source::Values(values)) => {
            choose::check_machine(values, violations.at("values"));
            needs(values, &options, violations, "values");
        }
        Some(Source::Machine(name)) => {
            Collection::Machines.revisable(name, violations.at("machine"));
        }
    }
    options
}

/// What a forecast needs of a machine.
fn needs(values: &v1::MachineValues, options: &Options, violations: &mut Violations, place: &str) {
    // The rider is a field of the request and is required there.
    choose::needs_balance(values, Some(Mass::from_si(1.0)), violations, place);
    if options.front_mass.is_none() && values.gravity_ahead.is_none() {
        let text = "it is required, or front_mass_with_rider";
        violations
            .at(place)
            .at("gravity_ahead")
            .push(Reason::ValueMissing, text);
    }
    for (end, _) in &options.ends {
        unit::needs_path(values, *end, violations.at(place));
    }
}

fn end_of(machine: &Machine, model: &unit::EndModel, given: &EndOptions) -> Result<ForecastEnd, ServiceError> {
    let mut missing = Violations::new();
    let Some(fitted) = model.fitted_elements() else {
        let mut at = missing.at(machine.place);
        let text = "the fitted springs with their preload are required";
        at.at(model.end.word()).at("legs").push(Reason::ValueMissing, text);
        faults(missing, machine)?;
        return Err(ServiceError::internal("a machine without springs was let in"));
    };
    let mut elements = model.others.clone();
    elements.extend(fitted);
    let path = model.path.clone();
    let path = path.ok_or_else(|| ServiceError::internal("a machine without a path was let in"))?;
    let suspension = Suspension::new(path, elements)
        .map_err(|error| refused(error, machine.basis, |field| format!("{}.{field}", machine.place)))?;
    let unit = unit::of(&machine.values, model.end).cloned().unwrap_or_default();
    let mut violations = Violations::new();
    let end = given.on(suspension, &unit, violations.at(model.end.word()));
    checked(violations, end)
}

fn answered(
    options: &Options,
    machine: &Machine,
    modelled: Modelled,
    prices: Vec<Price>,
) -> Result<v1::ForecastLimitsResponse, ServiceError> {
    let internal = || ServiceError::internal("a forecast without its inputs was let in");
    let (rider, riding) = options.rider.zip(options.riding).ok_or_else(internal)?;
    let mut assumptions = modelled.assumptions;
    let front = match options.front_mass {
        Some(mass) => mass,
        None => {
            let own = unit::ground_mass(&machine.values, End::Front).ok_or_else(internal)?;
            let part = riders_part(End::Front, &RiderMass::Usual { rider })
                .map_err(|error| refused(error, Basis::Sent, |_| "rider_mass_with_gear".to_owned()))?;
            assumptions.extend(part.assumed);
            Mass::from_si(own.si() + part.part.si())
        }
    };
    let (balance, assumed) = unit::balance(&machine.values, front, rider, modelled.unsprung).ok_or_else(internal)?;
    assumptions.push(assumed);
    let mut ends = modelled.ends;
    let mut take = |wanted: End| {
        let index = ends.iter().position(|(end, _)| *end == wanted)?;
        Some(ends.swap_remove(index).1)
    };
    let request = ForecastRequest {
        balance,
        front: take(End::Front),
        rear: take(End::Rear),
        riding,
        road: options.road,
        sureness: options.sureness,
        prices,
        highest_pace: options.highest_pace,
        paces: options.paces.clone(),
        units: options.units,
    };
    let mut found = forecast(&request).map_err(|error| refused(error, machine.basis, field))?;
    assumptions.append(&mut found.assumptions);
    found.assumptions = assumptions;
    Ok(reply::response(&found, options.highest_pace, options.units))
}

/// Where a field of the physics stands in the request.
fn field(physics: &str) -> String {
    let moved = [
        ("mass", "front_mass_with_rider"),
        ("cg_ahead_of_rear_contact", "front_mass_with_rider"),
        ("cg_height", "values.gravity_height"),
        ("wheelbase", "values.wheelbase"),
        ("front_unsprung_mass", "values.front_unsprung_mass"),
        ("rear_unsprung_mass", "values.rear_unsprung_mass"),
    ];
    let found = moved.iter().find(|(from, _)| *from == physics);
    let physics = physics.strip_prefix("road.").unwrap_or(physics);
    found.map_or_else(|| physics.to_owned(), |(_, to)| (*to).to_owned())
}
