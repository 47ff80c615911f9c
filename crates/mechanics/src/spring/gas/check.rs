//! Gas springs that make sense.

use crate::quantity::{LengthUnit, PressureUnit, Quantity};

use super::super::SpringError;
use super::super::options::out_of_range;
use super::acting::Shape;
use super::{GasModel, GasRequest};

pub(super) fn check(request: &GasRequest, shape: &Shape) -> Result<(), SpringError> {
    if !(shape.area > 0.0 && shape.area.is_finite()) {
        return out_of_range("source", shape.area * 1e6, "mm2", "an area above 0");
    }
    if !(shape.volume > 0.0 && shape.volume.is_finite()) {
        return out_of_range("source", shape.volume * 1e6, "mL", "a gas volume above 0");
    }
    if let Some((area, volume)) = shape.other
        && !(area >= 0.0 && volume > 0.0 && area.is_finite() && volume.is_finite())
    {
        return out_of_range("two_chamber", volume * 1e6, "mL", "areas of 0 or more, volumes above 0");
    }
    let ambient = request.ambient.map_or(101_325.0, Quantity::si);
    if !(request.charge.si() + ambient > 0.0 && request.charge.si().is_finite()) {
        return out_of_range(
            "charge_gauge_pressure",
            request.charge.get(PressureUnit::Bar),
            "bar",
            "above a vacuum",
        );
    }
    if let Some(GasModel::Polytropic(n)) = request.model
        && !(1.0..=2.0).contains(&n)
    {
        return out_of_range("polytropic_exponent", n, "", "1 to 2");
    }
    let room = shape.volume / shape.area;
    for x in request.strokes.iter().chain(&request.maximum_stroke) {
        if !(x.si() >= 0.0 && x.si() < room) {
            return out_of_range(
                "strokes",
                x.get(LengthUnit::Millimeter),
                "mm",
                "0 to below the stroke at which the gas has no room left",
            );
        }
    }
    Ok(())
}
