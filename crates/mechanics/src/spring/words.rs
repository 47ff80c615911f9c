//! Figures in words, in the units asked for.

use crate::quantity::{
    Entered, ForceUnit, LengthUnit, Quantity, StiffnessUnit, Temperature, TemperatureUnit, Unit, UnitSystem,
};

/// Writes figures in one system of units.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words {
    system: UnitSystem,
}

impl Words {
    pub(super) fn new(system: UnitSystem) -> Self {
        Self { system }
    }

    /// A length given in metres.
    pub(super) fn length(self, si: f64) -> String {
        self.figure::<LengthUnit>(si)
    }

    /// A load or force given in newtons.
    pub(super) fn force(self, si: f64) -> String {
        self.figure::<ForceUnit>(si)
    }

    /// A rate given in N/m.
    pub(super) fn rate(self, si: f64) -> String {
        self.figure::<StiffnessUnit>(si)
    }

    pub(super) fn temperature(self, value: Temperature) -> String {
        self.figure::<TemperatureUnit>(value.si())
    }

    fn figure<U: Unit>(self, si: f64) -> String {
        let row = U::of_system(self.system).row();
        format!("{:.*} {}", row.decimals, row.of_si(si), row.symbol)
    }
}

/// `9.31 ± 0.06 N/mm` in a unit: the uncertainty to one figure, to two where it begins with 1 or 2, and the value to the same
/// place.
pub(super) fn with_uncertainty(rate: f64, expanded: f64, unit: StiffnessUnit) -> String {
    let row = unit.row();
    let (value, expanded) = (row.of_si(rate), row.of_si(expanded));
    let decimals = if expanded > 0.0 {
        let place = expanded.log10().floor();
        let figures = if expanded < 3.0 * 10.0_f64.powf(place) {
            2.0
        } else {
            1.0
        };
        (figures - 1.0 - place).clamp(0.0, 6.0) as usize
    } else {
        row.decimals
    };
    // A bench rate is never read further than a hundredth past the unit's usual place.
    let decimals = decimals.min(row.decimals + 2);
    format!("{value:.decimals$} ± {expanded:.decimals$} {}", row.symbol)
}

/// A value as it was entered, shortest digits.
pub(super) fn as_entered(rate: Entered<StiffnessUnit>) -> String {
    format!("{} {}", rate.value(), rate.unit().row().symbol)
}
