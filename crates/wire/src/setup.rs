//! Checks of requests on a setup, and the conversions between the calculations of the chassis and their messages.

pub mod choose;
pub mod forecast;
pub mod judge;
pub mod respond;
pub mod sag;
pub mod unit;
pub mod words;

use mechanics::chassis::End;
use mechanics::quantity::{Length, LengthUnit, Mass, MassUnit, Quantity};

use crate::quantity::{Range, optional};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Reads which end is meant: front or rear.
pub fn end(number: i32, mut at: Scope<'_>) -> Option<End> {
    match v1::MachineEnd::try_from(number) {
        Ok(v1::MachineEnd::Front) => Some(End::Front),
        Ok(v1::MachineEnd::Rear) => Some(End::Rear),
        Ok(v1::MachineEnd::Unspecified) => {
            at.push(Reason::ValueMissing, "an end is required: front or rear");
            None
        }
        Ok(v1::MachineEnd::Either) | Err(_) => {
            at.push(
                Reason::OutOfRange,
                format_args!("end is {number}; allowed 1 (front), 2 (rear)"),
            );
            None
        }
    }
}

/// An end as it is sent.
pub fn end_number(end: End) -> i32 {
    match end {
        End::Front => v1::MachineEnd::Front as i32,
        End::Rear => v1::MachineEnd::Rear as i32,
    }
}

/// Masses of riders with their gear.
pub(crate) fn riders() -> Range<MassUnit> {
    Range::above_zero(500.0, MassUnit::Kilogram)
}

/// What was checked before, read again.
pub(crate) fn mass(given: Option<&v1::Mass>) -> Option<Mass> {
    let mut ignored = Violations::new();
    optional(given, Range::either_sign(1e9, MassUnit::Kilogram), ignored.root())
}

pub(crate) fn length<Q: Quantity<Unit = LengthUnit>>(given: Option<&v1::Length>) -> Option<Q> {
    crate::book::sag::length(given).map(|length: Length| Q::from_si(length.si()))
}
