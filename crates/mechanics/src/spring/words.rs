//! Figures in words, in the units asked for.

use crate::quantity::{
    Entered, ForceUnit, LengthUnit, Quantity, StiffnessUnit, Temperature, TemperatureUnit, Unit, UnitSystem,
};

/// Writes figures in one system of units.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Words {
    system: UnitSystem,
}

impl Words {
    pub(crate) fn new(system: UnitSystem) -> Self {
        Self { system }
    }

    /// A length given in metres.
    pub(crate) fn length(self, si: f64) -> String {
        self.figure::<LengthUnit>(si)
    }

    /// A load or force given in newtons.
    pub(crate) fn force(self, si: f64) -> String {
        self.figure::<ForceUnit>(si)
    }

    /// A rate given in N/m.
    pub(crate) fn rate(self, si: f64) -> String {
        self.figure::<StiffnessUnit>(si)
    }

    pub(super) fn temperature(self, value: Temperature) -> String {
        self.figure::<TemperatureUnit>(value.si())
    }

    fn figure<U: Unit>(self, si: f64) -> String {
        let row = U::of_system(self.system).row();
        let value = row.of_si(si);
        // What rounds to nothing has no sign.
        let unseen = value.abs() < 0.5 * 10.0_f64.powi(-i32::try_from(row.decimals).unwrap_or(0));
        format!("{:.*} {}", row.decimals, if unseen { 0.0 } else { value }, row.symbol)
    }
}

/// A value as it was entered, shortest digits.
pub(super) fn as_entered(rate: Entered<StiffnessUnit>) -> String {
    format!("{} {}", rate.value(), rate.unit().row().symbol)
}
