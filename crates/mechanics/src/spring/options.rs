//! Options in range: physics does not rely on anybody having checked them before.

use crate::quantity::{ForceUnit, LengthUnit, Quantity, StiffnessUnit, TemperatureUnit, Unit};

use super::{Frame, Grade, Request, SpringError, Tare, Window, WindowBase};

/// Checks every option of a request.
///
/// # Errors
/// [`SpringError::OutOfRange`], [`SpringError::NotFinite`], [`SpringError::Mismatched`].
pub(super) fn check(request: &Request) -> Result<(), SpringError> {
    errors(request)?;
    frame(&request.frame)?;
    window(&request.window)?;
    geometry(request)?;
    curve(request)?;
    match request.tare {
        Tare::Level(load) => finite("tare.load", load.si())?,
        Tare::LeadingSamples(0) => return out_of_range("tare.leading_sample_count", 0.0, "samples", "1 or more"),
        Tare::LeadingSamples(_) | Tare::Automatic | Tare::None => {}
    }
    if let Some(Grade::StatedRatio(ratio)) = request.grade
        && !(ratio > 0.0 && ratio < 1.0)
    {
        return out_of_range("grade.rate_tolerance_ratio", ratio, "", "above 0 and below 1");
    }
    for deflection in request.predict_at.iter().chain(&request.reference_deflection) {
        finite("predict_at or reference_deflection", deflection.si())?;
    }
    if let Some(discard) = request.strokes.reversal_discard {
        not_negative("strokes.reversal_discard", discard, LengthUnit::Millimeter)?;
    }
    request
        .platen_gap
        .map_or(Ok(()), |gap| positive("platen_gap", gap, LengthUnit::Millimeter))
}

fn curve(request: &Request) -> Result<(), SpringError> {
    let given = &request.curve;
    let counts = [
        ("curve.max_segment_count", given.max_segment_count, 1..=4, "1 to 4"),
        ("curve.segment_count", given.segment_count, 1..=4, "1 to 4"),
        ("curve.rate_place_count", given.rate_place_count, 0..=100, "0 to 100"),
        ("curve.rate_half_count", given.rate_half_count, 1..=1_000, "1 to 1000"),
    ];
    for (field, count, range, allowed) in counts {
        if let Some(count) = count.filter(|count| !range.contains(count)) {
            return out_of_range(field, count as f64, "", allowed);
        }
    }
    for place in &given.rate_at {
        finite("curve.rate_at", place.si())?;
    }
    given.load_noise.map_or(Ok(()), |noise| {
        not_negative("curve.load_noise", noise, ForceUnit::Newton)
    })
}

fn errors(request: &Request) -> Result<(), SpringError> {
    let given = &request.uncertainty;
    if let Some(p) = given.coverage_probability
        && !(0.5..=0.9999).contains(&p)
    {
        return out_of_range("uncertainty.coverage_probability", p, "", "0.5 to 0.9999");
    }
    let ratios = [
        ("uncertainty.load_scale_limit_ratio", given.load_scale_limit_ratio),
        (
            "uncertainty.deflection_scale_limit_ratio",
            given.deflection_scale_limit_ratio,
        ),
    ];
    for (field, ratio) in ratios {
        if let Some(ratio) = ratio
            && !(0.0..0.5).contains(&ratio)
        {
            return out_of_range(field, ratio, "", "0 or more and below 0.5");
        }
    }
    if let Some(noise) = given.deflection_noise {
        not_negative("uncertainty.deflection_noise", noise, LengthUnit::Millimeter)?;
    }
    if let Some(noise) = given.load_noise {
        not_negative("uncertainty.load_noise", noise, ForceUnit::Newton)?;
    }
    if let Some(digit) = given.load_resolution {
        not_negative("uncertainty.load_resolution", digit, ForceUnit::Newton)?;
    }
    if let Some(digit) = given.deflection_resolution {
        not_negative("uncertainty.deflection_resolution", digit, LengthUnit::Millimeter)?;
    }
    if let Some(temperature) = given.test_temperature
        && !(200.0..=500.0).contains(&temperature.si())
    {
        let value = temperature.get(TemperatureUnit::DegreeCelsius);
        return out_of_range("uncertainty.test_temperature", value, "degC", "-73.15 to 226.85 degC");
    }
    let capacity = request.load_cell.capacity;
    capacity.map_or(Ok(()), |capacity| {
        positive("load_cell.capacity", capacity, ForceUnit::Newton)
    })
}

fn frame(frame: &Frame) -> Result<(), SpringError> {
    match frame {
        Frame::Rigid => Ok(()),
        Frame::Rate {
            rate,
            standard_uncertainty,
        } => {
            positive("frame.stiffness.rate", *rate, StiffnessUnit::NewtonPerMillimeter)?;
            let field = "frame.stiffness.standard_uncertainty";
            not_negative(field, *standard_uncertainty, StiffnessUnit::NewtonPerMillimeter)
        }
        Frame::Curve { loads, gives } => {
            if loads.len() != gives.len() || loads.len() < 2 {
                return Err(SpringError::Mismatched {
                    what: "frame.curve",
                    count: gives.len(),
                    expected: loads.len().max(2),
                });
            }
            for (load, give) in loads.iter().zip(gives) {
                finite("frame.curve.loads", load.si())?;
                finite("frame.curve.gives", give.si())?;
            }
            let not_rising = loads.windows(2).find_map(|pair| match pair {
                [low, high] if high.si() <= low.si() => Some(*high),
                _ => None,
            });
            not_rising.map_or(Ok(()), |load| {
                out_of_range("frame.curve.loads", load.get(ForceUnit::Newton), "N", "strictly rising")
            })
        }
    }
}

fn window(window: &Window) -> Result<(), SpringError> {
    match window {
        Window::AllSamples => Ok(()),
        Window::Deflections { from, to } => {
            finite("window.deflections.from", from.si())?;
            finite("window.deflections.to", to.si())?;
            if to.si() > from.si() {
                Ok(())
            } else {
                out_of_range(
                    "window.deflections.to",
                    to.get(LengthUnit::Millimeter),
                    "mm",
                    "above from",
                )
            }
        }
        Window::Share(share) => {
            if share.from_ratio.is_nan() || share.from_ratio < 0.0 {
                return out_of_range("window.share.from_ratio", share.from_ratio, "", "0 or more");
            }
            if !(share.to_ratio > share.from_ratio && share.to_ratio <= 1.0) {
                return out_of_range(
                    "window.share.to_ratio",
                    share.to_ratio,
                    "",
                    "above from_ratio, at most 1",
                );
            }
            match share.base {
                WindowBase::Travel(travel) => positive("window.share.total_travel", travel, LengthUnit::Millimeter),
                WindowBase::Automatic | WindowBase::FreeToSolid | WindowBase::TestTravel => Ok(()),
            }
        }
    }
}

fn geometry(request: &Request) -> Result<(), SpringError> {
    let given = &request.geometry;
    let mm = LengthUnit::Millimeter;
    let lengths = [
        ("geometry.wire_diameter", given.wire_diameter),
        ("geometry.mean_coil_diameter", given.mean_coil_diameter),
        ("geometry.solid_length", given.solid_length),
    ];
    for (field, length) in lengths {
        length.map_or(Ok(()), |length| positive(field, length, mm))?;
    }
    for (field, length) in [
        ("geometry.free_length", given.free_length),
        ("marking.free_length", request.marking.free_length),
    ] {
        length.map_or(Ok(()), |length| positive(field, length, mm))?;
    }
    for (field, count) in [
        ("geometry.active_coil_count", given.active_coil_count),
        ("geometry.index_ratio", given.index_ratio),
    ] {
        if let Some(count) = count
            && !(count > 0.0 && count.is_finite())
        {
            return out_of_range(field, count, "", "above 0");
        }
    }
    if let (Some(free), Some(solid)) = (given.free_length, given.solid_length)
        && solid.si() >= free.si()
    {
        return out_of_range("geometry.solid_length", solid.get(mm), "mm", "below the free length");
    }
    let modulus = given.shear_modulus.map_or(1.0, Quantity::si);
    if modulus > 0.0 && modulus.is_finite() {
        Ok(())
    } else {
        out_of_range("geometry.shear_modulus", modulus, "Pa", "above 0")
    }
}

/// Refuses what is not above zero.
pub(super) fn positive<Q: Quantity>(field: &'static str, value: Q, unit: Q::Unit) -> Result<(), SpringError> {
    finite(field, value.si())?;
    if value.si() > 0.0 {
        Ok(())
    } else {
        out_of_range(field, value.get(unit), unit.row().symbol, "above 0")
    }
}

/// Refuses what is below zero.
pub(super) fn not_negative<Q: Quantity>(field: &'static str, value: Q, unit: Q::Unit) -> Result<(), SpringError> {
    finite(field, value.si())?;
    if value.si() >= 0.0 {
        Ok(())
    } else {
        out_of_range(field, value.get(unit), unit.row().symbol, "0 or more")
    }
}

fn finite(what: &'static str, value: f64) -> Result<(), SpringError> {
    if value.is_finite() {
        Ok(())
    } else {
        Err(SpringError::NotFinite { what, index: None })
    }
}

pub(super) fn out_of_range<T>(
    field: &'static str,
    value: f64,
    unit: &'static str,
    allowed: &'static str,
) -> Result<T, SpringError> {
    Err(SpringError::OutOfRange {
        field,
        value,
        unit,
        allowed,
    })
}
