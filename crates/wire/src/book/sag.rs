//! Readings of sag as the chassis takes them.

use mechanics::chassis::SagRequest;
use mechanics::chassis::{End, Handling, StateReading};
use mechanics::quantity::{Angle, AngleUnit, Length, LengthUnit, UnitSystem};

use crate::quantity::{Range, optional};
use crate::v1;
use crate::violation::Violations;

/// Readings that were checked before, of one end; `None` where no extended length was read.
pub fn request(sag: &v1::SagReadings, end: End) -> Option<SagRequest> {
    let extended = every(sag.extended.as_ref()?);
    if extended.is_empty() {
        return None;
    }
    let mut ignored = Violations::new();
    let slant = Range::between(0.0, 60.0, AngleUnit::Degree);
    Some(SagRequest {
        end,
        extended,
        alone: sag.alone.as_ref().and_then(state),
        rider: sag.with_rider.as_ref().and_then(state),
        resolution: length(sag.resolution.as_ref()),
        handling: length(sag.handling.as_ref()).map_or(Handling::Usual, Handling::Within),
        half_band: None,
        tape_slant: optional::<Angle, _>(sag.tape_slant.as_ref(), slant, ignored.root()),
        travel: None,
        rake: None,
        rider_loads_it: sag.mass_with_rider.is_some(),
        units: UnitSystem::Metric,
    })
}

fn state(read: &v1::SettledLength) -> Option<StateReading> {
    if let (Some(pressed), Some(lifted)) = (length(read.pressed.as_ref()), length(read.lifted.as_ref())) {
        return Some(StateReading::Paired {
            pressed: vec![pressed],
            lifted: vec![lifted],
        });
    }
    let single = every(read);
    (!single.is_empty()).then_some(StateReading::Single(single))
}

fn every(read: &v1::SettledLength) -> Vec<Length> {
    [&read.pressed, &read.lifted, &read.unpaired]
        .into_iter()
        .filter_map(|given| length(given.as_ref()))
        .collect()
}

/// A length of a record, which is checked when it is entered.
pub fn length(given: Option<&v1::Length>) -> Option<Length> {
    let mut ignored = Violations::new();
    let any = Range::either_sign(1e13, LengthUnit::Millimeter);
    optional(given, any, ignored.root())
}
