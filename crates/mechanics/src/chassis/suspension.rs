//! One end as it carries load: its elements at the wheel.

use super::element::Element;
use super::error::ChassisError;
use super::path::Path;
use crate::quantity::{Force, Load, Quantity, SpringRate, Stroke, Travel, WheelRate};

/// Elements an end may have.
pub const MOST_ELEMENTS: usize = 32;

/// One end: everything that carries load along its axis, and how that axis follows the wheel.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspension {
    path: Path,
    elements: Vec<Element>,
}

/// An end at a wheel travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtTravel {
    /// Wheel travel from full extension.
    pub travel: Travel,
    /// Axial travel.
    pub stroke: Stroke,
    /// `ds/dz`.
    pub motion_ratio: f64,
    /// `dMR/dz`, 1/m.
    pub motion_ratio_change: f64,
    /// Force along the axis.
    pub axial_force: Load,
    /// Its rate just after.
    pub axial_rate: SpringRate,
    /// Vertical force at the wheel: `F MR`.
    pub wheel_force: Force,
    /// `k MR^2 + F dMR/dz`, just after.
    pub wheel_rate: WheelRate,
}

impl Suspension {
    /// An end of these elements; an empty one carries nothing.
    ///
    /// # Errors
    /// [`ChassisError::OutOfRange`] for elements that make no spring.
    pub fn new(path: Path, elements: Vec<Element>) -> Result<Self, ChassisError> {
        if elements.len() > MOST_ELEMENTS {
            let allowed = format!("at most {MOST_ELEMENTS}");
            return Err(ChassisError::out_of_range(
                "elements",
                elements.len() as f64,
                "elements",
                allowed,
            ));
        }
        elements
            .iter()
            .enumerate()
            .try_for_each(|(index, element)| element.check(index))?;
        Ok(Self { path, elements })
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Its elements.
    #[must_use]
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// The same end with one more element.
    ///
    /// # Errors
    /// As [`Suspension::new`].
    pub fn with(&self, element: Element) -> Result<Self, ChassisError> {
        let mut elements = self.elements.clone();
        elements.push(element);
        Self::new(self.path.clone(), elements)
    }

    /// Forces and rates at a wheel travel: `F_w = F MR`, `k_w = k MR^2 + F dMR/dz` (virtual work).
    #[must_use]
    pub fn at(&self, travel: Travel) -> AtTravel {
        let place = self.path.at(travel.si());
        let (force, rate) = self.axial(place.stroke);
        AtTravel {
            travel,
            stroke: Stroke::from_si(place.stroke),
            motion_ratio: place.ratio,
            motion_ratio_change: place.change,
            axial_force: Load::from_si(force),
            axial_rate: SpringRate::from_si(rate),
            wheel_force: Force::from_si(force * place.ratio),
            wheel_rate: WheelRate::from_si(rate * place.ratio * place.ratio + force * place.change),
        }
    }

    /// Axial force and rate of all elements at a stroke, SI.
    pub(super) fn axial(&self, s: f64) -> (f64, f64) {
        self.elements.iter().fold((0.0, 0.0), |(force, rate), element| {
            let (f, k) = element.at(s);
            (force + f, rate + k)
        })
    }

    /// Force and rate at the wheel, SI.
    pub(super) fn at_wheel(&self, z: f64) -> (f64, f64) {
        let place = self.path.at(z);
        let (force, rate) = self.axial(place.stroke);
        (
            force * place.ratio,
            rate * place.ratio * place.ratio + force * place.change,
        )
    }

    /// Wheel travels at which the rate changes, within the travel and without its ends, rising.
    #[must_use]
    pub fn kinks(&self) -> Vec<Travel> {
        self.kinks_si().into_iter().map(Travel::from_si).collect()
    }

    pub(super) fn kinks_si(&self) -> Vec<f64> {
        let end = self.path.axial_travel().si();
        let strokes = self.elements.iter().flat_map(Element::kinks);
        let within = strokes.filter(|s| *s > 0.0 && *s < end);
        let mut kinks: Vec<f64> = within.map(|s| self.path.wheel_travel(s)).collect();
        kinks.sort_by(f64::total_cmp);
        kinks.dedup_by(|b, a| (*b - *a).abs() <= 1e-12);
        kinks
    }
}
