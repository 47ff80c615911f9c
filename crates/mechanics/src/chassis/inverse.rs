//! From two positions of rest back to the spring.

use super::element::Element;
use super::error::ChassisError;
use super::path::Path;
use super::suspension::Suspension;
use crate::quantity::{Force, Preload, Quantity, SpringRate, Travel, UnitSystem, WheelRate};
use crate::spring::words::Words;

/// A position of rest and the vertical load at the wheel that goes with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// Wheel travel from full extension.
    pub travel: Travel,
    /// Sprung load at the wheel.
    pub load: Force,
}

/// The spring that rests where it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpringFound {
    /// Rate of the main spring; of legs, their sum.
    pub rate: SpringRate,
    /// How far it is pressed at full extension; negative: loose.
    pub preload: Preload,
    /// Mean wheel rate between the two positions: `(W2 - W1)/(z2 - z1)`.
    pub wheel_rate: WheelRate,
    /// What the whole end pushes with at the wheel at full extension.
    pub preload_force: Force,
}

/// The straight main spring of an end that rests at two positions, beside everything else the end has.
///
/// `f_i = W_i/MR(z_i) - G(s_i)`, `k = (f2 - f1)/(s2 - s1)`, `x0 = f1/k - s1`: closed form. `others` is the end without its main
/// spring: top-out spring, stop, air, gas. Sensitive: the relative error of the rate is that of `s2 - s1`.
///
/// # Errors
/// [`ChassisError::NotDetermined`] where either position is topped out, bottomed, beyond a kink of the others, or the spring
/// would be loose at the first.
pub fn spring_for_rests(others: &Suspension, first: Rest, second: Rest) -> Result<SpringFound, ChassisError> {
    let path = others.path();
    let words = Words::new(UnitSystem::Metric);
    let refuse = |field: &str, why: String| {
        Err(ChassisError::NotDetermined {
            field: field.to_owned(),
            why,
        })
    };
    let (z1, z2) = (first.travel.si(), second.travel.si());
    if !(z1 > 0.0) {
        return refuse("first", "the first position is at full extension, where any spring with enough preload rests: take preload off and read again".to_owned());
    }
    if !(z2 > z1) {
        let why = format!(
            "the second position, {}, does not lie beyond the first, {}",
            words.length(z2),
            words.length(z1)
        );
        return refuse("second", why);
    }
    if z2 >= path.travel().si() {
        return refuse(
            "second",
            "the second position is on the stop, where any softer spring rests as well".to_owned(),
        );
    }
    let kinks = others.kinks_si();
    let before = |z: f64| kinks.iter().filter(|kink| **kink < z).count();
    if before(z1) != before(z2) || bent(others, z1) {
        return refuse(
            "first",
            "the two positions do not lie in one part of the travel: a top-out spring or a stop works at one of them"
                .to_owned(),
        );
    }
    let (at1, at2) = (path.at(z1), path.at(z2));
    let f1 = first.load.si() / at1.ratio - others.axial(at1.stroke).0;
    let f2 = second.load.si() / at2.ratio - others.axial(at2.stroke).0;
    let rate = (f2 - f1) / (at2.stroke - at1.stroke);
    if !(rate > 0.0 && rate.is_finite()) {
        return refuse("second", format!("the loads make a rate of {}", words.rate(rate)));
    }
    let preload = f1 / rate - at1.stroke;
    if !(f1 > 0.0) {
        return refuse("first", "the spring would be loose at the first position".to_owned());
    }
    Ok(SpringFound {
        rate: SpringRate::from_si(rate),
        preload: Preload::from_si(preload),
        wheel_rate: WheelRate::from_si((second.load.si() - first.load.si()) / (z2 - z1)),
        preload_force: Force::from_si((rate * preload.max(0.0) + others.axial(0.0).0) * path.at(0.0).ratio),
    })
}

/// Whether a top-out spring works at a position: its own sag is not the main spring's.
fn bent(others: &Suspension, z: f64) -> bool {
    let stroke = others.path().at(z).stroke;
    others.elements().iter().any(|element| match element {
        Element::TopOut { length, .. } => stroke < length.si(),
        Element::BumpStop {
            length, axial_travel, ..
        } => stroke > axial_travel.si() - length.si(),
        _ => false,
    })
}

impl Path {
    /// An end on this path without a main spring.
    ///
    /// # Errors
    /// As [`Suspension::new`].
    pub fn with_others(&self, others: Vec<Element>) -> Result<Suspension, ChassisError> {
        Suspension::new(self.clone(), others)
    }
}
