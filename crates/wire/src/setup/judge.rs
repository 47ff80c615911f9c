//! JudgeSetup: the visit of a request. What is asked beside it stands in [`detail`], the reply in [`reply`].

pub mod detail;
pub mod reply;

use std::time::Duration;

use mechanics::chassis::{Compared, End, RiderMass, SagBeside, SagFound};
use mechanics::judgement::{
    Adjuster, Circuit, DamperType, EndVisit, ForceModel, Oil, Riding, Sag, Serviceability, ShaftSpeed, SpringsAtHand,
    StrokeDirection, Visit, Wear, Whole,
};
use mechanics::quantity::{
    KinematicViscosityUnit, Length, Mass, MassUnit, Preload, Quantity, SpringRate, Travel, UnitSystem,
};

use self::detail::rates;
use super::sag::SCALE;
use super::unit::{self, EndModel};
use super::{length, mass, riders};
use crate::book::{known, machine, visit};
use crate::quantity::{Range, optional};
use crate::records::check;
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// What the fork carries of a rider, where it was not weighed (common practice, no source).
const FRONT_SHARE: f64 = 0.37;
/// Unsprung mass of a front end where none is known, kg (common practice, no source).
const UNSPRUNG: f64 = 16.0;

/// Checks values that were sent.
pub fn check_values(values: &v1::SetupValues, mut at: Scope<'_>) {
    if let Some(values) = &values.machine {
        machine::machine_values(values, at.at("machine"));
    }
    match &values.state {
        None => at
            .at("state")
            .push(Reason::ValueMissing, "how the machine stands is required"),
        Some(state) => visit::setup_state(state, at.at("state")),
    }
    known::<v1::Riding>(values.riding, at.at("riding"));
    check(
        values.rider_mass_with_gear.as_ref(),
        riders(),
        at.at("rider_mass_with_gear"),
    );
}

/// An end with what was read of it.
pub struct EndRead<'a> {
    /// The end of the machine.
    pub model: &'a EndModel,
    /// Its sag, where lengths were read.
    pub sag: Option<&'a SagFound>,
    /// What is known besides.
    pub detail: Option<&'a v1::EndDetail>,
    /// Springs at hand.
    pub at_hand: Option<&'a SpringsAtHand>,
    /// The rate sag implies against the fitted spring.
    pub compared: Option<&'a Compared>,
}

/// A visit of values that were checked. `now` is when, in seconds, for oil that has its date.
pub fn visit(
    values: &v1::SetupValues,
    deceleration: Option<f64>,
    ends: [EndRead<'_>; 2],
    (now, units): (i64, UnitSystem),
) -> Visit {
    let machine = values.machine.clone().unwrap_or_default();
    let rider = mass(values.rider_mass_with_gear.as_ref());
    let [front, rear] = ends.map(|read| end(values, &machine, &read, now));
    Visit {
        riding: riding(values.riding),
        front,
        rear,
        whole: whole(values, &machine, rider, deceleration),
        units: Some(units),
    }
}

/// Sag as it was stated without lengths; `None` unless both states are.
pub fn stated_sag(detail: &v1::EndDetail) -> Option<SagBeside> {
    let (still, total): (Length, Length) = length(detail.static_sag.as_ref()).zip(length(detail.total_sag.as_ref()))?;
    let half = length::<Length>(detail.spread.as_ref()).map(|spread| Length::from_si(0.5 * spread.si()));
    Some(SagBeside {
        static_sag: Some(still),
        total_sag: Some(total),
        riders_share: Some(Length::from_si(total.si() - still.si())),
        half_bands: (half, half),
        unpaired: false,
    })
}

/// The part of the rider's mass an end carries as it was stated, from two weighings.
pub fn stated_rider(detail: &v1::EndDetail) -> Option<RiderMass> {
    Some(RiderMass::Stated {
        part: mass(detail.rider_mass_carried.as_ref())?,
        standard_uncertainty: Mass::from_si(SCALE * std::f64::consts::SQRT_2),
    })
}

fn riding(number: i32) -> Option<Riding> {
    match v1::Riding::try_from(number).ok()? {
        v1::Riding::Unspecified => None,
        v1::Riding::GentleRoad => Some(Riding::GentleRoad),
        v1::Riding::HardRoad => Some(Riding::HardRoad),
        v1::Riding::Track => Some(Riding::Track),
        v1::Riding::OffRoad => Some(Riding::OffRoad),
    }
}

fn whole(
    values: &v1::SetupValues,
    machine: &v1::MachineValues,
    rider: Option<Mass>,
    deceleration: Option<f64>,
) -> Whole {
    let readings = |end: &v1::EndState| end.sag;
    let front = values
        .state
        .as_ref()
        .and_then(|state| state.front.as_ref())
        .and_then(readings);
    let weighed = front.and_then(|front| mass(front.mass_with_rider.as_ref()));
    let computed = || {
        let own = unit::ground_mass(machine, End::Front)?;
        Some(Mass::from_si(own.si() + FRONT_SHARE * rider?.si()))
    };
    let unsprung = mass(machine.front_unsprung_mass.as_ref()).unwrap_or(Mass::new(UNSPRUNG, MassUnit::Kilogram));
    let balance = weighed
        .or_else(computed)
        .zip(rider)
        .and_then(|(front, rider)| unit::balance(machine, front, rider, (unsprung, unsprung)))
        .map(|(balance, _)| balance);
    Whole {
        wheelbase: length(machine.wheelbase.as_ref()),
        gravity_ahead: balance.map(|one| one.gravity.ahead),
        gravity_height: balance.map(|one| one.gravity.height),
        mass: balance.map(|one| one.gravity.mass),
        front_unsprung_mass: Some(unsprung),
        rake: unit::rake(machine),
        deceleration_ratio: deceleration,
    }
}

/// One end; `None` where nothing is known of it.
fn end(values: &v1::SetupValues, machine: &v1::MachineValues, read: &EndRead<'_>, now: i64) -> Option<EndVisit> {
    let which = read.model.end;
    let fitted = unit::of(machine, which);
    let state = values.state.as_ref().and_then(|state| match which {
        End::Front => state.front.as_ref(),
        End::Rear => state.rear.as_ref(),
    });
    if state.is_none() && read.detail.is_none() {
        return None;
    }
    let none = v1::EndDetail::default();
    let (detail, unit) = (read.detail.unwrap_or(&none), fitted.cloned().unwrap_or_default());
    let state = state.cloned().unwrap_or_default();
    let sag = sag(read.sag, detail);
    let readings = state.sag.unwrap_or_default();
    let weighed = mass(readings.mass_alone.as_ref()).zip(mass(readings.mass_with_rider.as_ref()));
    let carried = weighed.map(|(alone, aboard)| Mass::from_si(aboard.si() - alone.si()));
    let preloads = || read.model.fitted.first().and_then(|(_, preload)| *preload);
    let each = state.leg_preloads.first();
    let limits = read.model.preload_limits;
    Some(EndVisit {
        travel: length::<Travel>(unit.travel.as_ref()),
        motion_ratio: motion_ratio(read, &sag),
        sag,
        travel_used: length(state.travel_used.as_ref()),
        travel_riding: riding(state.travel_riding),
        preload: length::<Preload>(state.preload.as_ref().or(each)).or_else(preloads),
        least_preload: limits.map(|limits| limits.0),
        most_preload: limits.map(|limits| limits.1),
        adjusters: adjusters(&unit, &state, detail),
        harsh: detail.harsh,
        oil: oil(&unit, &state, detail, now),
        damper_type: damper_type(unit.damper_type),
        serviceability: serviceability(unit.serviceability),
        wear: unit.wear.iter().filter_map(|one| wear(*one)).collect(),
        rates: read.model.fitted.iter().map(|(spring, _)| spring.rate).collect(),
        rider_mass: mass(detail.rider_mass_carried.as_ref())
            .or(carried)
            .filter(|m| m.si() > 0.0),
        rack: detail
            .rack_rates
            .iter()
            .filter_map(|one| available(Some(one)))
            .collect(),
        rates_to_be_had: available(detail.least_available_rate.as_ref())
            .zip(available(detail.most_available_rate.as_ref())),
        at_hand: read.at_hand.cloned(),
        compared: read.compared.cloned(),
        bind_margin: length(detail.bind_margin.as_ref()),
    })
}

fn available(given: Option<&v1::Stiffness>) -> Option<SpringRate> {
    optional(given, rates(), Violations::new().root())
}

/// Spring over wheel at ride height, of the rear.
fn motion_ratio(read: &EndRead<'_>, sag: &Sag) -> Option<f64> {
    let path = read.model.path.as_ref().filter(|_| read.model.end == End::Rear)?;
    let at = sag.total.map_or(0.3 * path.travel().si(), Quantity::si);
    Some(path.motion_ratio(Travel::from_si(at.max(0.0))))
}

fn sag(read: Option<&SagFound>, detail: &v1::EndDetail) -> Sag {
    let Some(found) = read else {
        return Sag {
            static_sag: length(detail.static_sag.as_ref()),
            total: length(detail.total_sag.as_ref()),
            static_uncertainty: None,
            share_uncertainty: None,
            spread: length(detail.spread.as_ref()),
        };
    };
    let (alone, aboard) = found.half_bands;
    let bands = [alone, aboard].into_iter().flatten().map(|band| 2.0 * band.si());
    let spread = bands.fold(None, |most: Option<f64>, band| {
        Some(most.map_or(band, |most| most.max(band)))
    });
    Sag {
        static_sag: found.static_sag.as_ref().map(|one| one.value),
        total: found.total_sag.as_ref().map(|one| one.value),
        static_uncertainty: found.static_sag.as_ref().map(|one| one.standard_uncertainty),
        share_uncertainty: found.riders_share.as_ref().map(|one| one.standard_uncertainty),
        spread: spread.map(Length::from_si),
    }
}

fn circuit(number: i32) -> Option<Circuit> {
    let (stroke, speed) = match v1::DampingCircuit::try_from(number).ok()? {
        v1::DampingCircuit::Unspecified => return None,
        v1::DampingCircuit::Compression => (StrokeDirection::Compression, None),
        v1::DampingCircuit::LowSpeedCompression => (StrokeDirection::Compression, Some(ShaftSpeed::Low)),
        v1::DampingCircuit::HighSpeedCompression => (StrokeDirection::Compression, Some(ShaftSpeed::High)),
        v1::DampingCircuit::Rebound => (StrokeDirection::Rebound, None),
        v1::DampingCircuit::LowSpeedRebound => (StrokeDirection::Rebound, Some(ShaftSpeed::Low)),
        v1::DampingCircuit::HighSpeedRebound => (StrokeDirection::Rebound, Some(ShaftSpeed::High)),
    };
    Some(Circuit { stroke, speed })
}

/// Positions with their ranges: what has no range says nothing. Of legs that differ each stands for itself.
fn adjusters(unit: &v1::UnitValues, state: &v1::EndState, detail: &v1::EndDetail) -> Vec<Adjuster> {
    let one = |setting: &v1::AdjusterSetting| {
        let same = |range: &&v1::AdjusterRange| {
            range.circuit == setting.circuit
                && (range.leg.is_none() || setting.leg.is_none() || range.leg == setting.leg)
        };
        let range = unit.adjusters.iter().find(same)?.range_count?;
        let mut forces = detail.adjuster_forces.iter();
        let force = forces.find(|force| force.circuit == setting.circuit);
        let mut available = detail.available_dampings.iter();
        let available = available.find(|one| one.circuit == setting.circuit);
        Some(Adjuster {
            circuit: circuit(setting.circuit)?,
            position: setting.position_from_closed?.min(range),
            range,
            model: force.and_then(|force| {
                Some(ForceModel {
                    closed_over_now: force.closed_over_present_factor?,
                    now_over_middle: force.present_over_middle_factor?,
                })
            }),
            factors_to_be_had: available.and_then(|one| one.least_factor.zip(one.most_factor)),
        })
    };
    state.adjusters.iter().filter_map(one).collect()
}

fn oil(unit: &v1::UnitValues, state: &v1::EndState, detail: &v1::EndDetail, now: i64) -> Oil {
    let fitted = unit.legs.iter().filter_map(|leg| leg.oil.as_ref());
    let fills: Vec<&v1::OilFill> = if state.oils.is_empty() {
        fitted.collect()
    } else {
        state.oils.iter().collect()
    };
    let age = |fill: &&v1::OilFill| {
        let stated = fill.age.as_ref().map(|age| age.seconds);
        let seconds = stated.or_else(|| Some(now - fill.fill_time.as_ref()?.seconds))?;
        u64::try_from(seconds).ok()
    };
    let wanted: Option<Length> = length(detail.wanted_level.as_ref());
    let off = |gap: &Length| wanted.map_or(0.0, |wanted| (gap.si() - wanted.si()).abs());
    let gaps = fills.iter().filter_map(|fill| length::<Length>(fill.level.as_ref()));
    let any = Range::above_zero(1e6, KinematicViscosityUnit::SquareMillimeterPerSecond);
    let viscosity = |given: Option<&v1::KinematicViscosity>| optional(given, any, Violations::new().root());
    Oil {
        age: fills.iter().filter_map(age).max().map(Duration::from_secs),
        viscosity: fills.iter().find_map(|fill| viscosity(fill.viscosity.as_ref())),
        wanted_viscosity: viscosity(detail.wanted_viscosity.as_ref()),
        // The worse leg.
        air_gap: gaps.max_by(|a, b| off(a).total_cmp(&off(b))),
        wanted_air_gap: wanted,
    }
}

fn damper_type(number: i32) -> Option<DamperType> {
    match v1::DamperType::try_from(number).ok()? {
        v1::DamperType::Unspecified => None,
        v1::DamperType::DampingRod => Some(DamperType::DampingRod),
        v1::DamperType::Cartridge => Some(DamperType::Cartridge),
        v1::DamperType::SingleTube => Some(DamperType::SingleTube),
        v1::DamperType::TwinTube => Some(DamperType::TwinTube),
        v1::DamperType::Air => Some(DamperType::Air),
    }
}

fn serviceability(number: i32) -> Option<Serviceability> {
    match v1::Serviceability::try_from(number).ok()? {
        v1::Serviceability::Unspecified => None,
        v1::Serviceability::Valving => Some(Serviceability::Valving),
        v1::Serviceability::OilOnly => Some(Serviceability::OilOnly),
        v1::Serviceability::Sealed => Some(Serviceability::Sealed),
    }
}

/// Whether a unit's damping can be changed inside; where nothing is said of it, it can.
pub(super) fn can_be_revalved(unit: &v1::UnitValues) -> bool {
    let barred = |one: Serviceability| one.bars_other_damping(damper_type(unit.damper_type)).is_some();
    !serviceability(unit.serviceability).is_some_and(barred)
}

fn wear(number: i32) -> Option<Wear> {
    match v1::Wear::try_from(number).ok()? {
        v1::Wear::Unspecified | v1::Wear::NoneSeen => None,
        v1::Wear::LeakingSeal => Some(Wear::LeakingSeal),
        v1::Wear::LoosePart => Some(Wear::LoosePart),
        v1::Wear::WornBushes => Some(Wear::WornBushes),
        v1::Wear::DamagedShaft => Some(Wear::DamagedShaft),
        v1::Wear::LostCharge => Some(Wear::LostCharge),
        v1::Wear::LinkageBearings => Some(Wear::LinkageBearings),
    }
}
