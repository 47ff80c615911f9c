//! ReadSag.

use mechanics::chassis::{
    AirOfFork, ChassisError, Compared, End, Fitted, Implied, ImpliedRequest, SagBeside, SagFound, compare,
    implied_rate, read_sag, riders_part,
};
use mechanics::estimate::Estimate;
use mechanics::quantity::{Length, Quantity, SpringRate, Travel, UnitSystem};
use wire::names::Collection;
use wire::setup::sag::{self, Found};
use wire::setup::unit::EndModel;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::read_sag_request::Source;
use wire::v1::setup_side::Moment;
use wire::violation::Violations;

use super::{Machine, refused};
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

impl Bench {
    /// Sag of one end, and what it says of the spring.
    pub fn read_sag(&self, request: v1::ReadSagRequest) -> Result<v1::ReadSagResponse, ServiceError> {
        let mut violations = Violations::new();
        let options = sag::options(&request, &mut violations);
        let mut used = Vec::new();
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of setup, values is required"),
            Some(Source::Values(values)) => sag::check_values(values, violations.at("values")),
            Some(Source::Setup(setup)) => {
                Collection::Setups.revisable(&setup.name, violations.at("setup").at("name"));
            }
        }
        let end = checked(violations, options.end)?;
        let (values, basis, place) = match request.source {
            Some(Source::Setup(setup)) => (self.sag_of_setup(&setup, end, &mut used)?, Basis::Stored, "setup"),
            Some(Source::Values(values)) => (values, Basis::Sent, "values.readings"),
            None => (v1::SagValues::default(), Basis::Sent, "values.readings"),
        };
        let machine = Machine {
            values: values.machine.clone().unwrap_or_default(),
            basis,
            place: "values.machine",
        };
        // Sag is read at rest: gas keeps its temperature.
        let mut model = self.end_model(&machine, end, 1.0, &mut used)?;
        let in_request = |field: &str| match basis {
            Basis::Sent => format!("{place}.{}", sag::field(field)),
            Basis::Stored => place.to_owned(),
        };
        let readings = sag::readings(&values, end, options.units).ok_or_else(|| ServiceError::NotReducible {
            basis,
            cause: format!("no extended length was read at the {} end", end.word()),
        })?;
        let found = read_sag(&readings).map_err(|error| refused(error, basis, in_request))?;
        let implied = match sag::rider(&values) {
            None => None,
            Some(rider) => self
                .implied(&Shares::from(&found), &values, &mut model, (&rider, options.units))
                .map_err(|error| refused(error, basis, in_request))?,
        };
        let compared = implied
            .as_ref()
            .and_then(|implied| against_fitted(implied, &SagBeside::from(&found), &model, options.step, options.units));
        let found = Found {
            sag: found,
            implied,
            compared,
        };
        let mut reply = sag::response(&found, &model, options.units);
        reply.used = used;
        Ok(reply)
    }

    /// The rate a rider's share implies; `None` without a share, or a way from spring to wheel.
    pub(super) fn implied(
        &self,
        found: &Shares,
        values: &v1::SagValues,
        model: &mut EndModel,
        (rider, units): (&mechanics::chassis::RiderMass, UnitSystem),
    ) -> Result<Option<Implied>, ChassisError> {
        let (Some(share), Some(path)) = (found.riders_share, model.path.clone()) else {
            return Ok(None);
        };
        let factor = found.wheel_factor;
        let at_wheel = |(value, u): (Length, Length)| {
            let (value, u) = (factor * value.si(), factor * u.si());
            (Travel::from_si(value), Length::from_si(u))
        };
        let sprung_load = sag::sprung_load(values, model);
        let air = if model.end == End::Front && !model.air_known {
            AirOfFork::Unknown { legs: model.springs }
        } else {
            AirOfFork::Known
        };
        let request = ImpliedRequest {
            end: model.end,
            path,
            static_sag: at_wheel(found.static_sag),
            riders_share: at_wheel(share),
            static_is_zero: found.static_is_zero,
            part: riders_part(model.end, rider)?,
            sprung_load,
            others: model.others.clone(),
            air,
            unknown_top_out: model.unknown_top_out,
            springs: model.springs,
            units,
        };
        // Without a share beyond its uncertainty there is sag, and no rate.
        match implied_rate(&request) {
            Err(ChassisError::NotDetermined { .. }) => Ok(None),
            other => other.map(Some),
        }
    }

    /// The readings of a setup, with its machine and its rider.
    fn sag_of_setup(
        &self,
        asked: &v1::SagOfSetup,
        end: End,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<v1::SagValues, ServiceError> {
        let mut setup = self.setup_named(&asked.name, used)?;
        let visit = setup.visit.take().unwrap_or_default();
        let of = |state: &v1::SetupState| match end {
            End::Front => state.front.clone(),
            End::Rear => state.rear.clone(),
        };
        let read = |state: &Option<v1::SetupState>| state.as_ref().and_then(of).and_then(|end| end.sag).is_some();
        let state = match Moment::try_from(asked.moment) {
            Ok(Moment::AsFound) => visit.as_found,
            Ok(Moment::AsLeft) => visit.as_left,
            _ if read(&visit.as_left) => visit.as_left,
            _ => visit.as_found,
        };
        let state = state.unwrap_or_default();
        let stand = of(&state).unwrap_or_default();
        let machine = self.machine_at(&setup, Some(&state), used)?;
        Ok(v1::SagValues {
            readings: stand.sag,
            machine: machine.map(|machine| with_preloads(machine, end, stand.preload, &stand.leg_preloads)),
            rider_mass_with_gear: self.riders_mass(&setup.rider)?,
        })
    }

    /// The mass of a rider with gear; none where the rider is not kept any more.
    pub(super) fn riders_mass(&self, name: &str) -> Result<Option<v1::Mass>, ServiceError> {
        if name.is_empty() {
            return Ok(None);
        }
        match self.read::<v1::Rider>(name) {
            Ok(rider) => Ok(rider.mass_with_gear),
            Err(ServiceError::NotFound { .. }) => Ok(None),
            Err(other) => Err(other),
        }
    }
}

/// Sag as a rate is implied from it: values with their standard uncertainties, as read.
pub(super) struct Shares {
    pub(super) static_sag: (Length, Length),
    pub(super) riders_share: Option<(Length, Length)>,
    /// Whether static sag is zero within its uncertainty.
    pub(super) static_is_zero: bool,
    /// Read lengths times this are vertical at the wheel.
    pub(super) wheel_factor: f64,
}

impl From<&SagFound> for Shares {
    fn from(sag: &SagFound) -> Self {
        let of = |of: &Estimate<Length>| (of.value, of.standard_uncertainty);
        let none = Length::from_si(0.0);
        Self {
            static_sag: sag.static_sag.as_ref().map_or((none, none), of),
            riders_share: sag.riders_share.as_ref().map(of),
            static_is_zero: sag.static_is_zero,
            wheel_factor: sag.wheel_factor,
        }
    }
}

/// The rate that sag implies against the spring that is said to be fitted; `None` where it is not known.
pub(super) fn against_fitted(
    implied: &Implied,
    beside: &SagBeside,
    model: &EndModel,
    step: Option<SpringRate>,
    units: UnitSystem,
) -> Option<(Fitted, Compared)> {
    let fitted = sag::fitted(model, step)?;
    let compared = compare(implied, &fitted, Some(beside), model.end, model.springs, units)?;
    Some((fitted, compared))
}

/// A machine with the preloads of a visit: they are set, not fitted.
pub(crate) fn with_preloads(
    mut machine: v1::MachineValues,
    end: End,
    preload: Option<v1::Length>,
    each: &[v1::Length],
) -> v1::MachineValues {
    let unit = match end {
        End::Front => machine.front.as_mut(),
        End::Rear => machine.rear.as_mut(),
    };
    for (index, leg) in unit.into_iter().flat_map(|unit| unit.legs.iter_mut()).enumerate() {
        leg.preload = each.get(index).copied().or(preload).or(leg.preload);
    }
    machine
}
