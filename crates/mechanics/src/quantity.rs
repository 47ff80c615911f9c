//! Physical quantities of the trade, and their units, from one table.
//!
//! Three things live here and nowhere else: the unit table ([`table`]), values exactly as somebody entered them
//! ([`Entered`]) with their text form, and the typed quantities physics computes with ([`SpringRate`], [`Deflection`], ...).
//! Typed quantities wrap `uom`, which keeps dimensions apart; the wrappers keep apart what has one dimension and
//! two meanings (a spring rate is no wheel rate, a preload no travel).

mod entered;
mod table;
mod text;
mod typed;

pub use entered::{Entered, Faulty};
pub use table::{
    AngleUnit, AreaUnit, DampingRateUnit, DensityUnit, Dimension, EnergyUnit, FlowRateUnit, ForceUnit, FrequencyUnit,
    KinematicViscosityUnit, LengthUnit, MassUnit, PressureUnit, StiffnessUnit, TemperatureDifferenceUnit,
    TemperatureUnit, Unit, UnitRow, UnitSystem, VelocityUnit, VolumeUnit, dimensions,
};
pub use text::{TextError, convert, read, with_uncertainty};
pub use typed::{
    AbsolutePressure, Angle, Area, Compliance, DampingRate, Deflection, Density, ElasticModulus, Energy, FlowRate,
    Force, FrameRate, FreeLength, Frequency, GaugePressure, KinematicViscosity, Length, Load, Mass, Preload,
    PressureDifference, Quantity, SpringRate, Stress, Stroke, Temperature, TemperatureDifference, Travel, Velocity,
    Volume, WheelRate,
};

/// Standard acceleration of free fall, m/s2, exact by definition (3rd CGPM, 1901; NIST SP 811, 2008, B.8).
pub const STANDARD_GRAVITY: f64 = 9.806_65;
/// Standard atmosphere, Pa, exact by definition (10th CGPM, 1954; NIST SP 811, 2008, B.8).
pub const STANDARD_ATMOSPHERE: f64 = 101_325.0;
