//! ComputeWheelRate: request in, reply out.

use mechanics::quantity::{
    Angle, AngleUnit, Deflection, ForceUnit, Length, LengthUnit, Load, Preload, Quantity, SpringRate, Travel,
    UnitSystem,
};
use mechanics::spring::{Linkage, WheelFound, WheelSpring};

use super::curve::listed;
use super::estimates::{assumptions, findings, stiffness_estimate};
use super::helical::{MOST_PLACES, places, rates};
use super::length_range;
use crate::quantity::{Range, computed, number, optional, required, unit, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::v1::compute_wheel_rate_request::Linkage as Given;
use crate::valving::solve::whole;
use crate::violation::{Scope, Violations};

/// Pairs of a linkage's table.
const MOST_PAIRS: usize = 512;

fn either() -> Range<LengthUnit> {
    Range::either_sign(2_000.0, LengthUnit::Millimeter)
}

/// Reads a request.
pub fn request(message: &v1::ComputeWheelRateRequest, violations: &mut Violations) -> Option<WheelSpring> {
    let mut read = WheelSpring {
        linkage: Linkage::ConstantRatio(1.0),
        rates: springs(&message.springs, violations.at("springs")),
        preload: optional(message.preload.as_ref(), places(), violations.at("preload"))
            .unwrap_or_else(|| Preload::from_si(0.0)),
        further: None,
        travels: listed(
            &message.wheel_travels,
            either(),
            MOST_PLACES,
            violations.at("wheel_travels"),
        ),
        angles: Vec::new(),
        strokes: Vec::new(),
        axial_force: None,
        compression_uncertainty: optional(
            message.compression_standard_uncertainty.as_ref(),
            places(),
            violations.at("compression_standard_uncertainty"),
        ),
        coverage_probability: number(
            message.coverage_probability,
            0.5,
            0.9999,
            violations.at("coverage_probability"),
        ),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    };
    let forces = Range::either_sign(1e6, ForceUnit::Newton);
    let further = optional::<Load, _>(message.further_force.as_ref(), forces, violations.at("further_force"));
    let further_rate = optional::<SpringRate, _>(message.further_rate.as_ref(), rates(), violations.at("further_rate"));
    if further.is_some() || further_rate.is_some() {
        read.further = Some((
            further.unwrap_or_else(|| Load::from_si(0.0)),
            further_rate.unwrap_or_else(|| SpringRate::from_si(0.0)),
        ));
    }
    read.linkage = match &message.linkage {
        None => {
            violations.push(
                "linkage",
                Reason::ValueMissing,
                "one of motion_ratio, arms, polynomial, table, swingarm, fork is required",
            );
            None
        }
        Some(Given::MotionRatio(ratio)) => {
            number(Some(*ratio), 0.01, 10.0, violations.at("motion_ratio")).map(Linkage::ConstantRatio)
        }
        Some(Given::Arms(given)) => arms(given, violations.at("arms")),
        Some(Given::Polynomial(given)) => polynomial(given, violations.at("polynomial")),
        Some(Given::Table(given)) => table(given, violations.at("table")),
        Some(Given::Swingarm(given)) => {
            let mut at = violations.at("swingarm");
            let steep = Range::either_sign(80.0, AngleUnit::Degree);
            read.angles = listed(&given.angles, steep, MOST_PLACES, at.at("angles"));
            swingarm(given, at)
        }
        Some(Given::Fork(given)) => {
            let mut at = violations.at("fork");
            read.strokes = listed(&given.axial_strokes, places(), MOST_PLACES, at.at("axial_strokes"));
            read.axial_force = optional(given.axial_force.as_ref(), forces, at.at("axial_force"));
            let rake = Range::between(0.0, 68.0, AngleUnit::Degree);
            required::<Angle, _>(given.rake.as_ref(), rake, at.at("rake")).map(|rake| Linkage::Fork { rake })
        }
    }?;
    Some(read)
}

fn springs(messages: &[v1::WheelSpring], mut at: Scope<'_>) -> Vec<(SpringRate, SpringRate)> {
    if !(1..=4).contains(&messages.len()) {
        at.push(
            Reason::WrongLength,
            format_args!("{} springs; allowed 1 to 4", messages.len()),
        );
        return Vec::new();
    }
    let read = |(index, given): (usize, &v1::WheelSpring)| {
        let mut at = at.index(index);
        let rate = required(given.rate.as_ref(), rates(), at.at("rate"));
        let u = optional(
            given.rate_standard_uncertainty.as_ref(),
            rates(),
            at.at("rate_standard_uncertainty"),
        );
        Some((rate?, u.unwrap_or_else(|| SpringRate::from_si(0.0))))
    };
    messages.iter().enumerate().filter_map(read).collect()
}

fn arms(message: &v1::ArmLinkage, mut at: Scope<'_>) -> Option<Linkage> {
    let wheel = required(message.wheel_arm.as_ref(), length_range(), at.at("wheel_arm"));
    let spring = required(message.spring_arm.as_ref(), length_range(), at.at("spring_arm"));
    Some(Linkage::Arms {
        wheel_arm: wheel?,
        spring_arm: spring?,
    })
}

fn polynomial(message: &v1::PolynomialLinkage, mut at: Scope<'_>) -> Option<Linkage> {
    let count = message.coefficients.len();
    let mut at = at.at("coefficients");
    if !(1..=10).contains(&count) {
        at.push(
            Reason::WrongLength,
            format_args!("{count} coefficients; allowed 1 to 10"),
        );
        return None;
    }
    if let Some(index) = message.coefficients.iter().position(|c| !c.is_finite()) {
        at.index(index).push(Reason::NotFinite, "value is not finite");
        return None;
    }
    Some(Linkage::Polynomial(message.coefficients.clone()))
}

pub(crate) fn table(message: &v1::LinkageTable, mut at: Scope<'_>) -> Option<Linkage> {
    let unit = unit(message.unit, at.at("unit"));
    let degree = whole(message.degree, 1, 7, at.at("degree"));
    for (name, values) in [("travels", &message.travels), ("compressions", &message.compressions)] {
        if let Some(index) = values.iter().position(|value| !value.is_finite()) {
            at.at(name).index(index).push(Reason::NotFinite, "value is not finite");
            return None;
        }
    }
    let count = message.travels.len();
    if !(3..=MOST_PAIRS).contains(&count) {
        at.at("travels").push(
            Reason::WrongLength,
            format_args!("{count} travels; allowed 3 to {MOST_PAIRS}"),
        );
        return None;
    }
    if message.compressions.len() != count {
        at.at("compressions").push(
            Reason::WrongLength,
            format_args!("{} compressions; expected {count}", message.compressions.len()),
        );
        return None;
    }
    let unit = unit?;
    Some(Linkage::Table {
        travels: message.travels.iter().map(|z| Travel::new(*z, unit)).collect(),
        compressions: message.compressions.iter().map(|s| Deflection::new(*s, unit)).collect(),
        degree,
    })
}

fn swingarm(message: &v1::SwingarmLinkage, mut at: Scope<'_>) -> Option<Linkage> {
    let radius = required(message.axle_radius.as_ref(), length_range(), at.at("axle_radius"));
    let mut place = |given: Option<&v1::Length>, name: &str| required::<Length, _>(given, either(), at.at(name));
    let lower_x = place(message.lower_mount_x.as_ref(), "lower_mount_x");
    let lower_y = place(message.lower_mount_y.as_ref(), "lower_mount_y");
    let upper_x = place(message.upper_mount_x.as_ref(), "upper_mount_x");
    let upper_y = place(message.upper_mount_y.as_ref(), "upper_mount_y");
    Some(Linkage::Swingarm {
        axle_radius: radius?,
        lower_mount: (lower_x?, lower_y?),
        upper_mount: (upper_x?, upper_y?),
    })
}

/// The reply.
pub fn response(found: &WheelFound, units: UnitSystem) -> v1::ComputeWheelRateResponse {
    v1::ComputeWheelRateResponse {
        points: found
            .points
            .iter()
            .map(|at| v1::WheelPoint {
                wheel_travel: Some(computed(at.travel, units)),
                compression: Some(computed(at.compression, units)),
                shock_length: at.shock_length.map(|value| computed(value, units)),
                motion_ratio: at.motion_ratio,
                motion_ratio_change_factor: at.motion_ratio_change,
                spring_force: Some(computed(at.spring_force, units)),
                wheel_force: Some(computed(at.wheel_force, units)),
                wheel_rate: Some(stiffness_estimate(&at.wheel_rate, units)),
                rate_without_geometry: Some(computed(at.rate_without_geometry, units)),
            })
            .collect(),
        linkage_coefficients: found.coefficients.clone(),
        residual_standard_deviation: found.residual_standard_deviation.map(|value| computed(value, units)),
        vertical_force: found.vertical_force.map(|value| computed(value, units)),
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}
