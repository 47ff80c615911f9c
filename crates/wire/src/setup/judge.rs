//! JudgeSetup: request in, reply out.

use std::time::Duration;

use mechanics::chassis::{End, SagFound};
use mechanics::judgement::{
    Adjuster, Amount, Circuit, Confidence, DamperType, Direction, EndVisit, ForceModel, Judgement, Missing, Oil,
    Riding, Sag, Serviceability, ShaftSpeed, StrokeDirection, Verdict, Visit, Wear, Whole,
};
use mechanics::quantity::{
    KinematicViscosityUnit, Length, LengthUnit, Mass, MassUnit, Preload, Quantity, SpringRate, StiffnessUnit, Travel,
    UnitSystem,
};

use super::unit::{self, EndModel};
use super::{end_number, length, mass, riders};
use crate::book::{at_most, known, machine, required, visit};
use crate::quantity::{Range, computed, number, optional, unit_system};
use crate::records::check;
use crate::setup::words::remedy_of;
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Rates of a rack that are taken.
const MOST_RATES: usize = 500;
/// Circuits of an end, on both legs.
const MOST_CIRCUITS: usize = 12;
/// What the fork carries of a rider, where it was not weighed (common practice, no source).
const FRONT_SHARE: f64 = 0.37;
/// Unsprung mass of a front end where none is known, kg (common practice, no source).
const UNSPRUNG: f64 = 16.0;

/// Checks everything but the source; the units asked for.
pub fn options(request: &v1::JudgeSetupRequest, violations: &mut Violations) -> UnitSystem {
    for (name, detail) in [("front", &request.front), ("rear", &request.rear)] {
        if let Some(detail) = detail {
            check_detail(detail, violations.at(name));
        }
    }
    if request.deceleration_ratio.is_some() {
        number(
            request.deceleration_ratio,
            0.0,
            3.0,
            violations.at("deceleration_ratio"),
        );
    }
    unit_system(request.reply_units, violations.at("reply_units"))
}

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

fn check_detail(detail: &v1::EndDetail, mut at: Scope<'_>) {
    let mm = LengthUnit::Millimeter;
    let viscosity = Range::above_zero(10_000.0, KinematicViscosityUnit::SquareMillimeterPerSecond);
    check(detail.wanted_viscosity.as_ref(), viscosity, at.at("wanted_viscosity"));
    check(
        detail.wanted_level.as_ref(),
        Range::from_zero(1_000.0, mm),
        at.at("wanted_level"),
    );
    let sags = super::sag::sags();
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
        let again = detail
            .adjuster_forces
            .iter()
            .take(index)
            .any(|one| one.circuit == force.circuit);
        if again && force.circuit != 0 {
            at.at("circuit")
                .push(Reason::Conflict, "the circuit stands here more than once");
        }
    }
}

fn rates() -> Range<StiffnessUnit> {
    Range::above_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter)
}

/// An end with what was read of it.
pub struct EndRead<'a> {
    /// The end of the machine.
    pub model: &'a EndModel,
    /// Its sag, where lengths were read.
    pub sag: Option<&'a SagFound>,
    /// What is known besides.
    pub detail: Option<&'a v1::EndDetail>,
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
        rack: detail.rack_rates.iter().filter_map(rate).collect(),
        rates_to_be_had: None,
        bind_margin: length(detail.bind_margin.as_ref()),
    })
}

fn rate(given: &v1::Stiffness) -> Option<SpringRate> {
    optional(Some(given), rates(), Violations::new().root())
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

fn circuit_number(circuit: Circuit) -> i32 {
    let number = match (circuit.stroke, circuit.speed) {
        (StrokeDirection::Compression, None) => v1::DampingCircuit::Compression,
        (StrokeDirection::Compression, Some(ShaftSpeed::Low)) => v1::DampingCircuit::LowSpeedCompression,
        (StrokeDirection::Compression, Some(ShaftSpeed::High)) => v1::DampingCircuit::HighSpeedCompression,
        (StrokeDirection::Rebound, None) => v1::DampingCircuit::Rebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::Low)) => v1::DampingCircuit::LowSpeedRebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::High)) => v1::DampingCircuit::HighSpeedRebound,
    };
    number as i32
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
            factors_to_be_had: None,
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

/// The reply.
pub fn response(judged: &Judgement, units: UnitSystem) -> v1::JudgeSetupResponse {
    v1::JudgeSetupResponse {
        verdicts: judged
            .verdicts
            .iter()
            .map(|one| verdict(one, &judged.table_version, units))
            .collect(),
        first_change: judged.first.and_then(|index| i32::try_from(index).ok()),
        missing: judged.missing.iter().map(missing).collect(),
        rule_table_version: judged.table_version.clone(),
        findings: findings(&judged.findings),
        assumptions: assumptions(&judged.assumptions),
        ..Default::default()
    }
}

fn missing(one: &Missing) -> v1::MissingValue {
    v1::MissingValue {
        end: one.end.map_or(0, end_number),
        subject: one.what.to_owned(),
        settles: one.settles.to_owned(),
    }
}

fn verdict(one: &Verdict, version: &str, units: UnitSystem) -> v1::Verdict {
    let waits = one.waits_for.iter().filter_map(|index| i32::try_from(*index).ok());
    v1::Verdict {
        action: remedy_of(one.action) as i32,
        end: end_number(one.end),
        circuit: one.circuit.map_or(0, circuit_number),
        direction: one.direction.map_or(0, |way| direction(way) as i32),
        amount: one.amount.map(|amount| sent_amount(one, amount, units)),
        confidence: match one.confidence {
            Confidence::Low => v1::VerdictConfidence::Low,
            Confidence::Medium => v1::VerdictConfidence::Medium,
            Confidence::High => v1::VerdictConfidence::High,
        } as i32,
        evidence: one
            .evidence
            .iter()
            .map(|evidence| v1::VerdictEvidence {
                rules: evidence.rules.iter().map(|id| id.text().to_owned()).collect(),
                computation: evidence.computation.to_owned(),
                text: evidence.text.clone(),
            })
            .collect(),
        check_first: one.check_first.clone(),
        overturned_by: one.overturned_by.clone(),
        rule_table_version: version.to_owned(),
        subject: one.subject.word().to_owned(),
        hazard: one.hazard,
        waits_for: waits.collect(),
        after_spring: one.after.map(|after| v1::AfterSpring {
            rate_factor: after.rate_factor,
            rebound_factor: after.rebound_factor,
            rebound_position_from_closed: after.rebound_position,
            preload: after.preload.map(|preload| computed(preload, units)),
        }),
        cautions: one.cautions.iter().map(|text| (*text).to_owned()).collect(),
        text: one.to_string(),
    }
}

fn direction(direction: Direction) -> v1::VerdictDirection {
    match direction {
        Direction::Stiffer => v1::VerdictDirection::Stiffer,
        Direction::Softer => v1::VerdictDirection::Softer,
        Direction::More => v1::VerdictDirection::More,
        Direction::Less => v1::VerdictDirection::Less,
        Direction::Stronger => v1::VerdictDirection::Stronger,
        Direction::Weaker => v1::VerdictDirection::Weaker,
    }
}

fn sent_amount(verdict: &Verdict, amount: Amount, units: UnitSystem) -> v1::verdict::Amount {
    match amount {
        Amount::Steps(range) => v1::verdict::Amount::Steps(v1::RateSteps {
            least_count: range.least,
            most_count: range.most,
            thumb_count: verdict.both.map(|both| both.thumb),
            physics_count: verdict.both.map(|both| both.physics),
            disagree: verdict.both.is_some_and(|both| both.disagree),
        }),
        Amount::DampingFactor { factor, least, most } => v1::verdict::Amount::DampingFactor(v1::DampingFactor {
            factor,
            least_factor: least,
            most_factor: most,
        }),
        Amount::Preload(preload) => v1::verdict::Amount::Position(v1::SettingPosition {
            preload: Some(computed(preload, units)),
            ..Default::default()
        }),
        Amount::Position { from_closed, range } => v1::verdict::Amount::Position(v1::SettingPosition {
            position_from_closed: Some(from_closed),
            range_count: Some(range),
            preload: None,
        }),
    }
}
