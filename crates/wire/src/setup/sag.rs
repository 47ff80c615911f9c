//! ReadSag: request in, reply out.

use mechanics::chassis::{
    Agreement, CauseKind, Compared, End, Fitted, Implied, RiderMass, SagFound, SagRequest, SprungLoad,
};
use mechanics::quantity::{
    Force, Length, LengthUnit, Mass, Quantity, STANDARD_GRAVITY, SpringRate, StiffnessUnit, Stroke, UnitSystem,
};

use super::unit::{self, EndModel};
use super::{end_number, length, mass, riders};
use crate::book::{machine, visit};
use crate::quantity::{Range, computed, optional, unit_system};
use crate::records::check;
use crate::springs::estimates::{assumptions, findings, length_estimate, stiffness_estimate};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Standard uncertainty of a machine's load from its mass and balance, of the load (common practice, no source).
const FROM_BALANCE: f64 = 0.03;
/// Standard uncertainty of a weighing, kg (common practice, no source).
pub(super) const SCALE: f64 = 0.5;

/// What is asked beside the readings.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Which end.
    pub end: Option<End>,
    /// One step of the rack.
    pub step: Option<SpringRate>,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// Reads everything but the source.
pub fn options(message: &v1::ReadSagRequest, violations: &mut Violations) -> Options {
    let steps = Range::above_zero(1_000.0, StiffnessUnit::NewtonPerMillimeter);
    Options {
        end: super::end(message.end, violations.at("end")),
        step: optional(message.rate_step.as_ref(), steps, violations.at("rate_step")),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// Checks values that were sent.
pub fn check_values(values: &v1::SagValues, mut at: Scope<'_>) {
    match &values.readings {
        None => at.at("readings").push(Reason::ValueMissing, "readings are required"),
        Some(readings) => {
            visit::sag_readings(readings, at.at("readings"));
            let empty = |length: &v1::SettledLength| *length == v1::SettledLength::default();
            if readings.extended.as_ref().is_none_or(empty) {
                let text = "the extended length is required: wheel clear of the ground, present preload";
                at.at("readings").at("extended").push(Reason::ValueMissing, text);
            }
        }
    }
    if let Some(values) = &values.machine {
        machine::machine_values(values, at.at("machine"));
    }
    check(
        values.rider_mass_with_gear.as_ref(),
        riders(),
        at.at("rider_mass_with_gear"),
    );
}

/// The readings of values that were checked; `None` without an extended length.
pub fn readings(values: &v1::SagValues, end: End, units: UnitSystem) -> Option<SagRequest> {
    let machine = values.machine.clone().unwrap_or_default();
    let read = crate::book::sag::request(values.readings.as_ref()?, end)?;
    Some(SagRequest {
        travel: unit::of(&machine, end).and_then(|unit| length(unit.travel.as_ref())),
        rake: unit::rake(&machine),
        // Whoever sits on a machine loads this end unless the scale says otherwise.
        rider_loads_it: values.rider_mass_with_gear.is_some() || read.rider_loads_it,
        units,
        ..read
    })
}

/// What is known of the rider's mass on this end.
pub fn rider(values: &v1::SagValues) -> Option<RiderMass> {
    let readings = values.readings.as_ref()?;
    let weighed = mass(readings.mass_alone.as_ref()).zip(mass(readings.mass_with_rider.as_ref()));
    match weighed {
        Some((alone, aboard)) => Some(RiderMass::Weighed {
            alone,
            aboard,
            standard_uncertainty: mass(readings.mass_standard_uncertainty.as_ref()),
        }),
        None => mass(values.rider_mass_with_gear.as_ref()).map(|rider| RiderMass::Usual { rider }),
    }
}

/// What the end's spring carries alone, where that is known: from the scale, else from mass and balance.
pub fn sprung_load(values: &v1::SagValues, model: &mut EndModel) -> Option<SprungLoad> {
    let readings = values.readings.as_ref()?;
    let scale = mass(readings.mass_alone.as_ref()).map(|alone| {
        let u = mass(readings.mass_standard_uncertainty.as_ref()).map_or(SCALE, Quantity::si);
        (alone, u)
    });
    let balanced = || {
        let alone = unit::ground_mass(values.machine.as_ref()?, model.end)?;
        Some((alone, FROM_BALANCE * alone.si()))
    };
    let (alone, u) = scale.or_else(balanced)?;
    let unsprung = model.unsprung_or_usual();
    Some(SprungLoad {
        load: unit::sprung(alone, unsprung),
        standard_uncertainty: Force::from_si(u * STANDARD_GRAVITY),
    })
}

/// The fitted springs as the comparison takes them.
pub fn fitted(model: &EndModel, step: Option<SpringRate>) -> Option<Fitted> {
    let (rate, standard_uncertainty, measured) = model.fitted_rate()?;
    Some(Fitted {
        rate,
        standard_uncertainty,
        measured,
        step,
    })
}

/// Where a field of the physics stands in the readings.
pub fn field(physics: &str) -> String {
    let (first, rest) = physics.split_once('.').map_or((physics, None), |(a, b)| (a, Some(b)));
    let first = match first {
        "rider" | "riders_share" => "with_rider",
        "static_sag" => "alone",
        "friction_half_band" => "unpaired_allowed",
        other => other,
    };
    match rest {
        Some(rest) => format!("{first}.{rest}"),
        None => first.to_owned(),
    }
}

/// Everything that was found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Sag.
    pub sag: SagFound,
    /// The rate it implies.
    pub implied: Option<Implied>,
    /// Against the fitted spring.
    pub compared: Option<(Fitted, Compared)>,
}

/// The reply.
pub fn response(found: &Found, model: &EndModel, units: UnitSystem) -> v1::ReadSagResponse {
    let sag = &found.sag;
    let estimate = |of: &Option<_>| of.as_ref().map(|of| length_estimate(of, units));
    let state = |of: &Option<mechanics::chassis::Lengths>| of.as_ref().map(|of| length_estimate(&of.length, units));
    let (wheel_static, wheel_total) = sag.at_wheel();
    let shown = |of: Option<Length>| of.map(|of| computed(of, units));
    let friction = |band: Option<Length>| {
        let rate = found.implied.as_ref()?.wheel_rate.value.si();
        let force = Force::from_si(band?.si() * sag.wheel_factor * rate);
        Some(computed(force, units))
    };
    let mut all = sag.findings.clone();
    let mut assumed = sag.assumptions.clone();
    assumed.extend(model.assumptions.iter().cloned());
    all.extend(model.path.iter().flat_map(|path| path.findings().to_vec()));
    if let Some(implied) = &found.implied {
        all.extend(implied.findings.iter().cloned());
        assumed.extend(implied.assumptions.iter().cloned());
    }
    if let Some((_, compared)) = &found.compared {
        all.extend(compared.findings.iter().cloned());
        assumed.extend(compared.assumptions.iter().cloned());
    }
    v1::ReadSagResponse {
        end: end_number(sag.end),
        extended_length: Some(length_estimate(&sag.extended.length, units)),
        alone_length: state(&sag.alone),
        rider_length: state(&sag.rider),
        static_sag: estimate(&sag.static_sag),
        total_sag: estimate(&sag.total_sag),
        riders_share: estimate(&sag.riders_share),
        wheel_static_sag: shown(wheel_static),
        wheel_total_sag: shown(wheel_total),
        static_ratio: sag.static_ratio,
        total_travel_ratio: sag.total_ratio,
        static_is_zero: sag.static_is_zero,
        alone_half_band: shown(sag.half_bands.0),
        rider_half_band: shown(sag.half_bands.1),
        alone_friction_force: friction(sag.half_bands.0),
        rider_friction_force: friction(sag.half_bands.1),
        implied: found.implied.as_ref().map(|implied| of_implied(implied, units)),
        comparison: found
            .compared
            .as_ref()
            .map(|(fitted, compared)| comparison(fitted, compared, units)),
        findings: findings(&all),
        assumptions: assumptions(&assumed),
        used: Vec::new(),
    }
}

fn of_implied(implied: &Implied, units: UnitSystem) -> v1::ImpliedRate {
    let part = |mass: Mass| Some(computed(mass, units));
    v1::ImpliedRate {
        wheel_rate: Some(stiffness_estimate(&implied.wheel_rate, units)),
        spring_rate: implied.rate.as_ref().map(|rate| stiffness_estimate(rate, units)),
        spring_rate_each: implied.rate_each.as_ref().map(|rate| stiffness_estimate(rate, units)),
        preload: implied.preload.map(|preload| computed(preload, units)),
        upper_bound: implied.upper_bound,
        one_ratio_spring_rate: implied.with_one_ratio.map(|rate| computed(rate, units)),
        would_settle: implied.would_settle.iter().map(|text| (*text).to_owned()).collect(),
        riders_part: part(implied.part.part),
        riders_part_standard_uncertainty: part(implied.part.standard_uncertainty),
    }
}

fn comparison(fitted: &Fitted, compared: &Compared, units: UnitSystem) -> v1::FittedComparison {
    use v1::fitted_comparison::Agreement as Sent;
    use v1::sag_cause::Kind;
    v1::FittedComparison {
        fitted_rate: Some(computed(fitted.rate, units)),
        measured: fitted.measured,
        difference: Some(computed(compared.difference, units)),
        standard_uncertainty: Some(computed(compared.standard_uncertainty, units)),
        agreement: match compared.agreement {
            Agreement::Agrees => Sent::Agrees,
            Agreement::CannotTell => Sent::CannotTell,
            Agreement::Disagrees => Sent::Disagrees,
        } as i32,
        rate_step: Some(computed(compared.step, units)),
        untold_step_count: compared.steps_untold,
        causes: compared
            .causes
            .iter()
            .map(|cause| v1::SagCause {
                kind: match cause.kind {
                    CauseKind::MassShare => Kind::MassShare,
                    CauseKind::Friction => Kind::Friction,
                    CauseKind::LateStart => Kind::LateStart,
                    CauseKind::Air => Kind::Air,
                    CauseKind::Linkage => Kind::Linkage,
                    CauseKind::Spring => Kind::Spring,
                } as i32,
                check: cause.check.to_owned(),
                reach: cause.reach.map(|reach| computed(reach, units)),
            })
            .collect(),
    }
}

/// A length as it is read, of a vertical one at the wheel.
pub fn as_read(wheel: f64, end: End, cos: f64) -> Stroke {
    Stroke::from_si(match end {
        End::Front => wheel / cos,
        End::Rear => wheel,
    })
}

/// Lengths of sag as they may be aimed at.
pub(crate) fn sags() -> Range<LengthUnit> {
    Range::from_zero(500.0, LengthUnit::Millimeter)
}
