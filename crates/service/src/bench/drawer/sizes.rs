//! Dimensions of shims, and when they are the same.

use mechanics::quantity::{Length, LengthUnit, Quantity as _, Unit};
use mechanics::valving::stack::{Layer, text};
use store::ShimLotBody;
use store::record::{Quantity, StackLayer};
use wire::quantity::optional;
use wire::v1;
use wire::valving::drawer as checks;
use wire::violation::Violations;

/// Diameters that differ by less are the same, m: a few roundings of what is typed, far below a step of the trade.
const SAME_DIAMETER: f64 = 5e-6;
/// Thicknesses that differ by less are the same, m. A shim of 0.006 in is none of 0.15 mm: 2.4 um more.
const SAME_THICKNESS: f64 = 0.5e-6;

/// Dimensions of a shim.
#[derive(Clone, Copy)]
pub(super) struct Size {
    outer: Length,
    pub(super) bore: Option<Length>,
    thickness: Length,
    /// As it was entered, for words.
    unit: LengthUnit,
}

fn length(kept: &Option<Quantity>) -> Option<(Length, LengthUnit)> {
    let kept = kept.as_ref()?;
    let unit = LengthUnit::from_number(kept.unit)?;
    Some((Length::new(kept.value, unit), unit))
}

/// Whether two diameters are the same.
pub(super) fn same_diameter(one: Length, other: Length) -> bool {
    close(one, other, SAME_DIAMETER)
}

fn close(one: Length, other: Length, within: f64) -> bool {
    (one.si() - other.si()).abs() <= within
}

impl Size {
    fn of(outer: &Option<Quantity>, inner: &Option<Quantity>, thickness: &Option<Quantity>) -> Option<Self> {
        let (outer, _) = length(outer)?;
        let (thickness, unit) = length(thickness)?;
        let bore = length(inner).map(|(bore, _)| bore);
        Some(Self {
            outer,
            bore,
            thickness,
            unit,
        })
    }

    pub(super) fn of_lot(lot: &ShimLotBody) -> Option<Self> {
        Self::of(&lot.outer_diameter, &lot.inner_diameter, &lot.thickness)
    }

    pub(super) fn of_layer(layer: &StackLayer) -> Option<Self> {
        Self::of(&layer.outer_diameter, &layer.inner_diameter, &layer.thickness)
    }

    /// With this bore, where none is known.
    pub(super) fn or_bore(self, bore: Option<Length>) -> Self {
        Self {
            bore: self.bore.or(bore),
            ..self
        }
    }

    /// Whether a shim of the other size can stand for one of this. A bore that is not known fits any.
    pub(super) fn fits(&self, other: &Self) -> bool {
        let bores = self.bore.zip(other.bore);
        close(self.outer, other.outer, SAME_DIAMETER)
            && close(self.thickness, other.thickness, SAME_THICKNESS)
            && bores.is_none_or(|(one, other)| close(one, other, SAME_DIAMETER))
    }

    pub(super) fn words(&self) -> String {
        let layer = Layer {
            outer_diameter: self.outer,
            inner_diameter: self.bore,
            thickness: self.thickness,
            count: 1,
        };
        text::write(&[layer], self.unit)
    }
}

/// Lots of which dimensions are looked for.
pub(super) struct Sought {
    outer: Option<Length>,
    thickness: Option<Length>,
}

impl Sought {
    pub(super) fn of(request: &v1::ListShimLotsRequest, violations: &mut Violations) -> Self {
        let (outer, thickness) = (request.outer_diameter.as_ref(), request.thickness.as_ref());
        Self {
            outer: optional(outer, checks::outer_diameters(), violations.at("outer_diameter")),
            thickness: optional(thickness, checks::thicknesses(), violations.at("thickness")),
        }
    }

    pub(super) fn holds(&self, lot: &ShimLotBody) -> bool {
        let fits = |sought: Option<Length>, kept: &Option<Quantity>, within: f64| {
            sought.is_none_or(|sought| length(kept).is_some_and(|(kept, _)| close(sought, kept, within)))
        };
        fits(self.outer, &lot.outer_diameter, SAME_DIAMETER) && fits(self.thickness, &lot.thickness, SAME_THICKNESS)
    }

    /// The filter as text, for page tokens.
    pub(super) fn text(&self) -> String {
        format!("{:?}|{:?}", self.outer.map(|d| d.si()), self.thickness.map(|d| d.si()))
    }
}
