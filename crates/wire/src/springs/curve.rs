//! Curves: how they are judged, and as they are drawn.

use mechanics::quantity::{Deflection, ForceUnit, LengthUnit, Quantity, Unit, UnitSystem};
use mechanics::spring::{BrokenLine, Curve, CurveFit, CurveInputs, CurvePoint, LocalRate};

use super::estimates::{length_estimate, stiffness_estimate};
use super::reduce::{MAX_PREDICTIONS, deflection_range, wide};
use crate::quantity::{Message, Range, computed, entered, optional};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::valving::solve::whole;
use crate::violation::Scope;

/// Reads how the curve is judged.
pub fn inputs(message: Option<&v1::CurveInputs>, mut at: Scope<'_>) -> CurveInputs {
    let Some(message) = message else {
        return CurveInputs::default();
    };
    CurveInputs {
        max_segment_count: whole(message.max_segment_count, 1, 4, at.at("max_segment_count")),
        segment_count: whole(message.segment_count, 1, 4, at.at("segment_count")),
        rate_at: listed::<Deflection, _>(&message.rate_at, deflection_range(), MAX_PREDICTIONS, at.at("rate_at")),
        rate_place_count: whole(message.rate_place_count, 0, MAX_PREDICTIONS, at.at("rate_place_count")),
        rate_half_count: whole(message.rate_half_count, 1, 1_000, at.at("rate_half_count")),
        load_noise: optional(
            message.load_noise.as_ref(),
            Range::from_zero(1e5, ForceUnit::Newton),
            at.at("load_noise"),
        ),
    }
}

/// Reads a list of quantities, at most so many.
pub fn listed<Q, M>(messages: &[M], range: Range<Q::Unit>, most: usize, mut at: Scope<'_>) -> Vec<Q>
where
    Q: Quantity,
    M: Message<Unit = Q::Unit>,
{
    if messages.len() > most {
        at.push(
            Reason::WrongLength,
            format_args!("{} values; allowed 0 to {most}", messages.len()),
        );
        return Vec::new();
    }
    let read = |(index, message)| entered(message, range, at.index(index)).map(Q::of);
    messages.iter().enumerate().filter_map(read).collect()
}

/// A curve for drawing.
pub fn drawn(curve: &Curve, units: UnitSystem) -> v1::LoadCurve {
    let (length, force) = (LengthUnit::of_system(units), ForceUnit::of_system(units));
    let points = |branch: &[CurvePoint]| {
        branch
            .iter()
            .map(|point| v1::CurvePoint {
                deflection: point.deflection.get(length),
                load: point.load.get(force),
            })
            .collect()
    };
    v1::LoadCurve {
        deflection_unit: length.row().number,
        load_unit: force.row().number,
        press: points(&curve.press),
        returning: points(&curve.returning),
        smooth: points(&curve.smooth),
    }
}

/// The broken lines.
pub fn fit(fit: &CurveFit, units: UnitSystem) -> v1::CurveFit {
    v1::CurveFit {
        lines: fit.lines.iter().map(|line| broken_line(line, units)).collect(),
        chosen_segment_count: i32::try_from(fit.chosen_segment_count).unwrap_or(i32::MAX),
        break_f_ratio: fit.break_f_ratio,
        point_count: wide(fit.point_count),
        effective_point_count: fit.effective_point_count,
    }
}

fn broken_line(line: &BrokenLine, units: UnitSystem) -> v1::BrokenLine {
    v1::BrokenLine {
        breaks: line.breaks.iter().map(|at| length_estimate(at, units)).collect(),
        loads: line.loads.iter().map(|load| computed(*load, units)).collect(),
        rates: line.rates.iter().map(|rate| stiffness_estimate(rate, units)).collect(),
        residual_square_sum: line.residual_square_sum,
        residual_standard_deviation: Some(computed(line.residual_standard_deviation, units)),
        information: line.information,
        searched_information: line.searched_information,
    }
}

/// The rates at places.
pub fn local_rates(rates: &[LocalRate], units: UnitSystem) -> Vec<v1::LocalRate> {
    rates
        .iter()
        .map(|local| v1::LocalRate {
            deflection: Some(computed(local.deflection, units)),
            rate: Some(stiffness_estimate(&local.rate, units)),
            two_point_standard_uncertainty: Some(computed(local.two_point_standard_uncertainty, units)),
            point_count: wide(local.point_count),
        })
        .collect()
}
