//! Typed quantities: `uom` keeps dimensions apart, these wrappers keep meanings apart.
//!
//! `uom` has no stiffness: force over length is its `RadiantExposure`, and newton seconds per metre are its `MassRate`.
//! Those names stay inside this file.

use std::fmt::Debug;
use std::marker::PhantomData;

use uom::si::f64 as si;

use super::STANDARD_ATMOSPHERE;
use super::entered::{Entered, Faulty};
use super::table::{
    AngleUnit, AreaUnit, DampingRateUnit, DensityUnit, EnergyUnit, FlowRateUnit, ForceUnit, FrequencyUnit,
    KinematicViscosityUnit, LengthUnit, MassUnit, PressureUnit, StiffnessUnit, TemperatureDifferenceUnit,
    TemperatureUnit, Unit, VelocityUnit, VolumeUnit,
};

/// A typed quantity with the units of its dimension.
pub trait Quantity: Copy + PartialEq + PartialOrd + Debug + Send + Sync + 'static {
    /// The units it can be given in.
    type Unit: Unit;

    /// From the coherent SI unit. Physics enters here; the unit is in the caller's cited equation.
    fn from_si(value: f64) -> Self;

    /// In the coherent SI unit.
    fn si(self) -> f64;

    /// From a number and its unit.
    #[must_use]
    fn new(value: f64, unit: Self::Unit) -> Self {
        Self::from_si(unit.row().to_si(value))
    }

    /// The number in a unit.
    #[must_use]
    fn get(self, unit: Self::Unit) -> f64 {
        unit.row().of_si(self.si())
    }

    /// From what somebody entered.
    #[must_use]
    fn of(entered: Entered<Self::Unit>) -> Self {
        Self::from_si(entered.si())
    }

    /// As it would be entered in a unit.
    ///
    /// # Errors
    /// [`Faulty`] where the quantity is not finite.
    fn entered(self, unit: Self::Unit) -> Result<Entered<Self::Unit>, Faulty> {
        Entered::new(self.get(unit), unit)
    }
}

macro_rules! quantities {
    ($( $(#[$doc:meta])* $name:ident($inner:ident) in $unit:ident; )*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(si::$inner);

        impl Quantity for $name {
            type Unit = $unit;

            fn from_si(value: f64) -> Self {
                Self(si::$inner { dimension: PhantomData, units: PhantomData, value })
            }

            fn si(self) -> f64 {
                self.0.value
            }
        }

        impl $name {
            /// The dimension-checked value, for arithmetic across quantities.
            #[must_use]
            pub fn quantity(self) -> si::$inner {
                self.0
            }

            /// Gives a dimension-checked value its meaning.
            #[must_use]
            pub fn from_quantity(value: si::$inner) -> Self {
                Self(value)
            }
        }
    )*};
}

quantities! {
    /// A length that is none of the special ones below: a coil diameter, an installed length.
    Length(Length) in LengthUnit;
    /// Length of the unloaded spring.
    FreeLength(Length) in LengthUnit;
    /// How far a spring is pressed from its free length or from a stated datum; pressing is positive.
    Deflection(Length) in LengthUnit;
    /// How far a spring is pressed when fitted, before any load.
    Preload(Length) in LengthUnit;
    /// Movement of the wheel from full extension; bump is positive.
    Travel(Length) in LengthUnit;
    /// Movement along a shaft or fork leg; pressing is positive.
    Stroke(Length) in LengthUnit;
    /// A force that is no spring load: friction, gas force.
    Force(Force) in ForceUnit;
    /// Load on a spring; pressing is positive.
    Load(Force) in ForceUnit;
    /// Load against deflection of a spring, along its axis.
    SpringRate(RadiantExposure) in StiffnessUnit;
    /// Vertical load against travel at the wheel.
    WheelRate(RadiantExposure) in StiffnessUnit;
    /// Load against the give of a rate tester's own frame.
    FrameRate(RadiantExposure) in StiffnessUnit;
    /// Force against velocity of a damper.
    DampingRate(MassRate) in DampingRateUnit;
    /// An area.
    Area(Area) in AreaUnit;
    /// Stored or lost energy.
    Energy(Energy) in EnergyUnit;
    /// Pressure above the surrounding air.
    GaugePressure(Pressure) in PressureUnit;
    /// Pressure above vacuum.
    AbsolutePressure(Pressure) in PressureUnit;
    /// Pressure on one side of a part above that on the other.
    PressureDifference(Pressure) in PressureUnit;
    /// Stress in a part; tension is positive.
    Stress(Pressure) in PressureUnit;
    /// Young's modulus.
    ElasticModulus(Pressure) in PressureUnit;
    /// A velocity along a shaft, a leg or at the wheel, as the field says; compression is positive.
    Velocity(Velocity) in VelocityUnit;
    /// Volume per time.
    FlowRate(VolumeRate) in FlowRateUnit;
    /// Kinematic viscosity.
    KinematicViscosity(DiffusionCoefficient) in KinematicViscosityUnit;
    /// Mass per volume.
    Density(MassDensity) in DensityUnit;
    /// A volume.
    Volume(Volume) in VolumeUnit;
    /// A mass.
    Mass(Mass) in MassUnit;
    /// A plane angle.
    Angle(Angle) in AngleUnit;
    /// Cycles per time.
    Frequency(Frequency) in FrequencyUnit;
    /// A temperature on a scale.
    Temperature(ThermodynamicTemperature) in TemperatureUnit;
    /// A difference of two temperatures.
    TemperatureDifference(TemperatureInterval) in TemperatureDifferenceUnit;
}

/// Give per load, the reciprocal of a rate [m/N]; a rigid part has none.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Compliance(f64);

impl Compliance {
    /// Of a rate: `1/k`.
    #[must_use]
    pub fn of(rate: FrameRate) -> Self {
        Self(1.0 / rate.si())
    }

    /// Give under a load.
    #[must_use]
    pub fn give(self, load: Load) -> Deflection {
        Deflection::from_si(self.0 * load.si())
    }
}

impl GaugePressure {
    /// Absolute pressure `p = p_gauge + p_ambient`. A gas law fed with the gauge pressure is wrong by about 9 % at
    /// 150 psi over the standard atmosphere.
    #[must_use]
    pub fn absolute(self, ambient: AbsolutePressure) -> AbsolutePressure {
        AbsolutePressure::from_si(self.si() + ambient.si())
    }
}

impl AbsolutePressure {
    /// The standard atmosphere.
    #[must_use]
    pub fn standard_atmosphere() -> Self {
        Self::from_si(STANDARD_ATMOSPHERE)
    }
}
