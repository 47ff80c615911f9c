//! Typed quantities and estimates of the API as text.

use wire::v1;

use super::figures::{self, Estimate, Exactness};

/// A typed quantity of the API with its dimension's name.
pub(super) trait Shown {
    const DIMENSION: &'static str;
    fn parts(&self) -> (Option<f64>, i32);
}

/// A typed estimate of the API.
pub(super) trait Estimated {
    fn estimate(&self) -> Option<Estimate<'static>>;
}

macro_rules! shown {
    ($($quantity:ident)*) => {$(
        impl Shown for v1::$quantity {
            const DIMENSION: &'static str = stringify!($quantity);
            fn parts(&self) -> (Option<f64>, i32) {
                (self.value, self.unit)
            }
        }
    )*};
}

shown! { Length Force Stiffness Energy Pressure Volume Velocity FlowRate KinematicViscosity Density Temperature }

macro_rules! estimated {
    ($($quantity:ident, $estimate:ident;)*) => {$(
        impl Estimated for v1::$estimate {
            fn estimate(&self) -> Option<Estimate<'static>> {
                let (value, unit) = self.value.as_ref()?.parts();
                let expanded = self.expanded_uncertainty.as_ref().filter(|expanded| expanded.unit == unit);
                Some(Estimate {
                    dimension: stringify!($quantity),
                    unit,
                    value: value?,
                    expanded: expanded.and_then(|expanded| expanded.value).unwrap_or(0.0),
                    factor: self.coverage_factor,
                    probability: self.coverage_probability,
                })
            }
        }
    )*};
}

estimated! {
    Length, LengthEstimate;
    Force, ForceEstimate;
    Stiffness, StiffnessEstimate;
    Energy, EnergyEstimate;
}

pub(super) fn shown<Q: Shown>(quantity: Option<&Q>) -> Option<String> {
    shown_as(quantity, Exactness::Computed)
}

pub(super) fn shown_as<Q: Shown>(quantity: Option<&Q>, exactness: Exactness) -> Option<String> {
    let (value, unit) = quantity?.parts();
    Some(figures::quantity(Q::DIMENSION, value, unit, exactness))
}

pub(super) fn estimated<E: Estimated>(estimate: Option<&E>) -> Option<String> {
    Some(estimate?.estimate()?.full())
}
