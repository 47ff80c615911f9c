//! A stack as it is sent.

use mechanics::quantity::{Length, LengthUnit, PressureUnit, Quantity, Unit};
use mechanics::valving::stack::text;
use mechanics::valving::stack::{Face, Layer, MOST_FACES, MOST_SHIMS, RadialHold, Seat, Stack, Stop};

use crate::quantity::{Message, Range, number, optional, required};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

fn diameters() -> Range<LengthUnit> {
    Range::between(0.5, 200.0, LengthUnit::Millimeter)
}

fn heights() -> Range<LengthUnit> {
    Range::either_sign(2.0, LengthUnit::Millimeter)
}

/// Reads a stack; `None` with the faults noted.
pub fn stack(message: &v1::Stack, mut at: Scope<'_>) -> Option<Stack> {
    let faults = at.count();
    let layers = layers(&message.layers, at.at("layers"));
    let faces = faces(&message.faces, at.at("faces"));
    let clamp = clamp(message.clamp.as_ref(), at.at("clamp"));
    let seat = message.seat.as_ref().map(|given| seat(given, at.at("seat")));
    let stop = message.stop.as_ref().map(|given| stop(given, at.at("stop")));
    let megapascals = |high| Range::between(1.0, high, PressureUnit::Megapascal);
    let modulus = optional(
        message.modulus.as_ref(),
        Range::between(1e3, 1e6, PressureUnit::Megapascal),
        at.at("modulus"),
    );
    let poisson_ratio = number(message.poisson_ratio, 0.0, 0.499, at.at("poisson_ratio"));
    let stress_limit = optional(message.stress_limit.as_ref(), megapascals(1e4), at.at("stress_limit"));
    let friction_factor = number(message.friction_factor, 0.0, 1.0, at.at("friction_factor"));
    if at.count() > faults {
        return None;
    }
    let (clamp_diameter, radial_hold) = clamp?;
    Some(Stack {
        layers,
        faces,
        clamp_diameter,
        radial_hold,
        seat: seat.flatten(),
        stop: stop.flatten(),
        modulus,
        poisson_ratio,
        stress_limit,
        friction_factor,
    })
}

/// Layers of a stack from its text form, as typed.
///
/// # Errors
/// What is wrong with the text, in words.
pub fn layers_of_text(text: &str) -> Result<Vec<v1::ShimLayer>, String> {
    let typed = text::read(text)?;
    let layers = typed.iter().map(|typed| {
        let length = |value| v1::Length::from_parts(value, typed.unit.row().number);
        v1::ShimLayer {
            outer_diameter: Some(length(typed.outer_diameter)),
            inner_diameter: typed.inner_diameter.map(length),
            thickness: Some(length(typed.thickness)),
            count: i32::try_from(typed.count).unwrap_or(i32::MAX),
        }
    });
    Ok(layers.collect())
}

fn layers(given: &[v1::ShimLayer], mut at: Scope<'_>) -> Vec<Layer> {
    if given.is_empty() {
        at.push(
            Reason::ValueMissing,
            "a stack needs a shim that is larger than the clamp",
        );
    }
    if given.len() > MOST_SHIMS {
        at.push(
            Reason::OutOfRange,
            format_args!("{} layers; allowed at most {MOST_SHIMS} shims", given.len()),
        );
        return Vec::new();
    }
    let read = |(index, layer): (usize, &v1::ShimLayer)| {
        let mut at = at.index(index);
        let outer = required(layer.outer_diameter.as_ref(), diameters(), at.at("outer_diameter"));
        let inner = optional(
            layer.inner_diameter.as_ref(),
            Range::above_zero(200.0, LengthUnit::Millimeter),
            at.at("inner_diameter"),
        );
        let thicknesses = Range::between(0.001, 5.0, LengthUnit::Millimeter);
        let thickness = required(layer.thickness.as_ref(), thicknesses, at.at("thickness"));
        let count = usize::try_from(layer.count).ok().filter(|count| *count <= MOST_SHIMS);
        if count.is_none() {
            at.at("count").push(
                Reason::OutOfRange,
                format_args!("count is {}; allowed 1 to {MOST_SHIMS}", layer.count),
            );
        }
        Some(Layer {
            outer_diameter: outer?,
            inner_diameter: inner,
            thickness: thickness?,
            count: count?.max(1),
        })
    };
    given.iter().enumerate().filter_map(read).collect()
}

fn faces(given: &[v1::PortFace], mut at: Scope<'_>) -> Vec<Face> {
    if given.is_empty() || given.len() > MOST_FACES {
        at.push(
            if given.is_empty() {
                Reason::ValueMissing
            } else {
                Reason::OutOfRange
            },
            format_args!("{} faces; allowed 1 to {MOST_FACES}", given.len()),
        );
        return Vec::new();
    }
    let read = |(index, face): (usize, &v1::PortFace)| {
        let mut at = at.index(index);
        let inner = required(
            face.port_inner_diameter.as_ref(),
            diameters(),
            at.at("port_inner_diameter"),
        );
        let outer = required(
            face.port_outer_diameter.as_ref(),
            diameters(),
            at.at("port_outer_diameter"),
        );
        let land = optional(
            face.land_outer_diameter.as_ref(),
            diameters(),
            at.at("land_outer_diameter"),
        );
        let coverage = number(face.coverage_ratio, 0.01, 1.0, at.at("coverage_ratio"));
        Some(Face {
            port_inner_diameter: inner?,
            port_outer_diameter: outer?,
            land_outer_diameter: land,
            coverage_ratio: coverage.unwrap_or(1.0),
        })
    };
    given.iter().enumerate().filter_map(read).collect()
}

fn clamp(given: Option<&v1::Clamp>, mut at: Scope<'_>) -> Option<(Length, RadialHold)> {
    use v1::clamp::RadialHold as Sent;
    let Some(given) = given else {
        at.push(Reason::ValueMissing, "a clamp with its diameter is required");
        return None;
    };
    let diameter = required(given.diameter.as_ref(), diameters(), at.at("diameter"));
    let hold = match Sent::try_from(given.radial_hold) {
        Ok(Sent::Unspecified | Sent::Held) => RadialHold::Held,
        Ok(Sent::Free) => RadialHold::Free,
        Err(_) => {
            at.at("radial_hold").push(
                Reason::OutOfRange,
                format_args!("radial_hold is {}; allowed 0 to 2", given.radial_hold),
            );
            return None;
        }
    };
    Some((diameter?, hold))
}

fn seat(given: &v1::Seat, mut at: Scope<'_>) -> Option<Seat> {
    let inner = required(given.inner_diameter.as_ref(), diameters(), at.at("inner_diameter"));
    let outer = required(given.outer_diameter.as_ref(), diameters(), at.at("outer_diameter"));
    let height = optional(given.height.as_ref(), heights(), at.at("height"));
    let dish = optional(given.dish.as_ref(), heights(), at.at("dish"));
    Some(Seat {
        inner_diameter: inner?,
        outer_diameter: outer?,
        height: height.unwrap_or_else(|| Length::from_si(0.0)),
        dish: dish.unwrap_or_else(|| Length::from_si(0.0)),
    })
}

fn stop(given: &v1::UpperStop, mut at: Scope<'_>) -> Option<Stop> {
    let inner = optional(given.inner_diameter.as_ref(), diameters(), at.at("inner_diameter"));
    let outer = required(given.outer_diameter.as_ref(), diameters(), at.at("outer_diameter"));
    let room = Range::from_zero(20.0, LengthUnit::Millimeter);
    let clearance = required(given.clearance.as_ref(), room, at.at("clearance"));
    Some(Stop {
        inner_diameter: inner,
        outer_diameter: outer?,
        clearance: clearance?,
    })
}
