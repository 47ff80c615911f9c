//! Quantities in and out of protobuf: the only place where a number on the wire gains or loses its unit.

use std::fmt;

use mechanics::quantity::{Entered, Quantity, Unit, UnitSystem};

use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// A quantity message of the API: an optional number and a unit's number.
pub trait Message: Sized + Clone {
    /// Its units, from the table.
    type Unit: Unit;
    /// Value and unit number as they stand.
    fn parts(&self) -> (Option<f64>, i32);
    /// From both.
    fn from_parts(value: f64, unit: i32) -> Self;
}

macro_rules! messages {
    ($($message:ident: $unit:ident),* $(,)?) => {$(
        impl Message for v1::$message {
            type Unit = mechanics::quantity::$unit;

            fn parts(&self) -> (Option<f64>, i32) {
                (self.value, self.unit)
            }

            fn from_parts(value: f64, unit: i32) -> Self {
                Self { value: Some(value), unit }
            }
        }
    )*};
}

messages! {
    Length: LengthUnit, Area: AreaUnit, Volume: VolumeUnit, Mass: MassUnit, Force: ForceUnit, Stiffness: StiffnessUnit,
    DampingRate: DampingRateUnit, Pressure: PressureUnit, Velocity: VelocityUnit, FlowRate: FlowRateUnit,
    Frequency: FrequencyUnit, Energy: EnergyUnit, Angle: AngleUnit, KinematicViscosity: KinematicViscosityUnit,
    Density: DensityUnit, Temperature: TemperatureUnit, TemperatureDifference: TemperatureDifferenceUnit,
}

/// A quantity as its value and unit, whatever its size; `None` where either is missing.
pub fn stated<M: Message>(message: Option<&M>) -> Option<Entered<M::Unit>> {
    let (value, unit) = message?.parts();
    Entered::new(value?, M::Unit::from_number(unit)?).ok()
}

/// The values a field may take, stated in one unit.
#[derive(Debug, Clone, Copy)]
pub struct Range<U: Unit> {
    low: f64,
    low_open: bool,
    high: f64,
    unit: U,
}

impl<U: Unit> Range<U> {
    /// Above 0, up to the limit.
    pub fn above_zero(high: f64, unit: U) -> Self {
        Self {
            low: 0.0,
            low_open: true,
            high,
            unit,
        }
    }

    /// From 0 up to the limit.
    pub fn from_zero(high: f64, unit: U) -> Self {
        Self {
            low: 0.0,
            low_open: false,
            high,
            unit,
        }
    }

    /// As far below 0 as above.
    pub fn either_sign(high: f64, unit: U) -> Self {
        Self {
            low: -high,
            low_open: false,
            high,
            unit,
        }
    }

    /// Between two values, both allowed.
    pub fn between(low: f64, high: f64, unit: U) -> Self {
        Self {
            low,
            low_open: false,
            high,
            unit,
        }
    }

    /// Whether it holds a value given in any unit. The limits are compared in the range's own unit.
    pub fn holds(&self, entered: Entered<U>) -> bool {
        let value = entered.in_unit(self.unit).value();
        let low = if self.low_open {
            value > self.low
        } else {
            value >= self.low
        };
        low && value <= self.high
    }
}

impl<U: Unit> fmt::Display for Range<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let symbol = self.unit.row().symbol;
        let low = if self.low_open { "above " } else { "" };
        write!(f, "{low}{} {symbol} to {} {symbol}", self.low, self.high)
    }
}

/// Reads a quantity as it was entered; `None` with the faults noted.
pub fn entered<M: Message>(message: &M, range: Range<M::Unit>, mut at: Scope<'_>) -> Option<Entered<M::Unit>> {
    let (value, number) = message.parts();
    let unit = M::Unit::from_number(number);
    if value.is_none() {
        at.at("value").push(
            Reason::ValueMissing,
            format_args!("a {} needs a value", M::Unit::DIMENSION),
        );
    }
    if unit.is_none() && number == 0 {
        at.at("unit").push(
            Reason::UnitMissing,
            format_args!(
                "a {} needs a unit; known: {}",
                M::Unit::DIMENSION,
                Known::<M::Unit>::new()
            ),
        );
    } else if unit.is_none() {
        at.at("unit").push(
            Reason::OutOfRange,
            format_args!(
                "unit is {number}; known units of {}: {}",
                M::Unit::DIMENSION,
                Known::<M::Unit>::new()
            ),
        );
    }
    if let Some(value) = value
        && !value.is_finite()
    {
        at.at("value")
            .push(Reason::NotFinite, format_args!("value is {value}; allowed {range}"));
        return None;
    }
    let entered = Entered::new(value?, unit?).ok()?;
    if range.holds(entered) {
        return Some(entered);
    }
    let symbol = entered.unit().row().symbol;
    at.at("value").push(
        Reason::OutOfRange,
        format_args!("value is {} {symbol}; allowed {range}", entered.value()),
    );
    None
}

/// Reads an optional quantity into its type.
pub fn optional<Q: Quantity, M: Message<Unit = Q::Unit>>(
    message: Option<&M>,
    range: Range<M::Unit>,
    at: Scope<'_>,
) -> Option<Q> {
    entered(message?, range, at).map(Q::of)
}

/// Reads a required quantity into its type.
pub fn required<Q: Quantity, M: Message<Unit = Q::Unit>>(
    message: Option<&M>,
    range: Range<M::Unit>,
    mut at: Scope<'_>,
) -> Option<Q> {
    match message {
        Some(message) => entered(message, range, at).map(Q::of),
        None => {
            at.push(
                Reason::ValueMissing,
                format_args!("a {} is required; allowed {range}", M::Unit::DIMENSION),
            );
            None
        }
    }
}

/// Reads a required unit of bare columns.
pub fn unit<U: Unit>(number: i32, mut at: Scope<'_>) -> Option<U> {
    let unit = U::from_number(number);
    if unit.is_none() {
        let (reason, said) = if number == 0 {
            (Reason::UnitMissing, "is missing".to_owned())
        } else {
            (Reason::OutOfRange, format!("is {number}"))
        };
        at.push(
            reason,
            format_args!("unit {said}; known units of {}: {}", U::DIMENSION, Known::<U>::new()),
        );
    }
    unit
}

/// A computed value in the units asked for.
pub fn computed<Q: Quantity, M: Message<Unit = Q::Unit>>(value: Q, system: UnitSystem) -> M {
    let unit = Q::Unit::of_system(system);
    M::from_parts(value.get(unit), unit.row().number)
}

/// The reply's units.
pub fn unit_system(number: i32, mut at: Scope<'_>) -> UnitSystem {
    match v1::UnitSystem::try_from(number) {
        Ok(v1::UnitSystem::Unspecified | v1::UnitSystem::Metric) => UnitSystem::Metric,
        Ok(v1::UnitSystem::Inch) => UnitSystem::Inch,
        Err(_) => {
            at.push(
                Reason::OutOfRange,
                format_args!("reply_units is {number}; allowed 0 (metric), 1 (metric), 2 (inch)"),
            );
            UnitSystem::Metric
        }
    }
}

/// The same as it is sent.
pub fn unit_system_number(units: UnitSystem) -> i32 {
    let named = match units {
        UnitSystem::Metric => v1::UnitSystem::Metric,
        UnitSystem::Inch => v1::UnitSystem::Inch,
    };
    named as i32
}

/// Reads an optional plain ratio or factor.
pub fn number(value: Option<f64>, low: f64, high: f64, mut at: Scope<'_>) -> Option<f64> {
    let value = value?;
    if !value.is_finite() {
        at.push(
            Reason::NotFinite,
            format_args!("value is {value}; allowed {low} to {high}"),
        );
        return None;
    }
    if !(low..=high).contains(&value) {
        at.push(
            Reason::OutOfRange,
            format_args!("value is {value}; allowed {low} to {high}"),
        );
        return None;
    }
    Some(value)
}

/// The symbols of a dimension's units, joined.
struct Known<U: Unit>(std::marker::PhantomData<U>);

impl<U: Unit> Known<U> {
    fn new() -> Self {
        Self(std::marker::PhantomData)
    }
}

impl<U: Unit> fmt::Display for Known<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, unit) in U::ALL.iter().enumerate() {
            let row = unit.row();
            write!(
                f,
                "{}UNIT_{} ({})",
                if index == 0 { "" } else { ", " },
                row.name,
                row.symbol
            )?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use mechanics::quantity::dimensions;
    use prost_reflect::DescriptorPool;

    /// The table and the protos are written twice; this is what keeps them one.
    #[test]
    fn every_unit_of_the_table_is_the_protos_unit_of_that_number() {
        let pool = DescriptorPool::decode(crate::DESCRIPTORS).unwrap();
        for dimension in dimensions() {
            let unit = pool
                .get_enum_by_name(&format!("springwright.v1.{}.Unit", dimension.name))
                .unwrap();
            let on_wire: Vec<_> = dimension
                .rows
                .iter()
                .copied()
                .flatten()
                .filter(|row| row.number != 0)
                .collect();
            assert_eq!(unit.values().count(), on_wire.len() + 1, "{}", dimension.name);
            for row in on_wire {
                assert_eq!(
                    unit.get_value(row.number).unwrap().name(),
                    format!("UNIT_{}", row.name),
                    "{}",
                    dimension.name
                );
            }
        }
    }
}
