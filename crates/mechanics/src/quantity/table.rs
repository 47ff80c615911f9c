//! The one table of units: dimension, unit, number, symbol, factor.
//!
//! Factors to the coherent SI unit are exact by definition: inch 0.0254 m, pound 0.453 592 37 kg, standard gravity
//! 9.806 65 m/s2 (NIST SP 811, 2008, B.8 and B.9; the definitions are from memory). `uom`'s own imperial factors carry
//! seven digits and are not used. Numbers are wire and disk format at once: never reused, never changed.

use std::fmt::Debug;
use std::hash::Hash;

const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
const POUND_FORCE: f64 = 4.448_221_615_260_5;
const KILOGRAM_FORCE: f64 = 9.806_65;
const PSI: f64 = POUND_FORCE / (INCH * INCH);

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitRow {
    /// Number on the wire and on disk; 0 for a unit that only exists in text.
    pub number: i32,
    /// Name as in the API, upper snake case, without prefix.
    pub name: &'static str,
    /// How it is printed.
    pub symbol: &'static str,
    /// Other spellings that are understood.
    pub aliases: &'static [&'static str],
    /// Coherent SI value of one unit.
    pub factor: f64,
    /// Added to the value before the factor is applied (temperatures only).
    pub offset: f64,
    /// Decimals usually printed at least.
    pub decimals: usize,
}

impl UnitRow {
    /// Value in the coherent SI unit.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        (value + self.offset) * self.factor
    }

    /// Value in this unit of a value in the coherent SI unit.
    #[must_use]
    pub fn of_si(&self, si: f64) -> f64 {
        si / self.factor - self.offset
    }
}

/// What the computed values of a reply are given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// mm, N, N/mm, kg, MPa, m/s, N*s/m, degC, J.
    #[default]
    Metric,
    /// in, lbf, lbf/in, lb, psi, in/s, lbf*s/in, degF, in*lbf.
    Inch,
}

/// A unit of one dimension.
pub trait Unit: Copy + Eq + Hash + Debug + Send + Sync + 'static {
    /// The dimension's name as in the API.
    const DIMENSION: &'static str;
    /// Every unit that can stand on the wire.
    const ALL: &'static [Self];
    /// Units understood in text only.
    const TEXT_ONLY: &'static [UnitRow];
    /// This unit's row.
    fn row(self) -> &'static UnitRow;
    /// The unit computed values are given in.
    fn of_system(system: UnitSystem) -> Self;

    /// The unit with this wire number.
    fn from_number(number: i32) -> Option<Self> {
        Self::ALL.iter().copied().find(|unit| unit.row().number == number)
    }

    /// The unit spelled so, symbol or alias.
    fn from_symbol(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|unit| unit.row().spells(text))
    }
}

impl UnitRow {
    /// Whether the text is this unit's symbol or one of its other spellings.
    #[must_use]
    pub fn spells(&self, text: &str) -> bool {
        self.symbol == text || self.aliases.contains(&text)
    }
}

/// A dimension's name and all its rows, for tools that walk the table.
#[derive(Debug, Clone, Copy)]
pub struct Dimension {
    /// Name as in the API.
    pub name: &'static str,
    /// Rows on the wire, then rows in text only.
    pub rows: &'static [&'static [UnitRow]],
}

impl Dimension {
    /// The row spelled so.
    #[must_use]
    pub fn spelled(&self, symbol: &str) -> Option<&'static UnitRow> {
        self.rows.iter().copied().flatten().find(|row| row.spells(symbol))
    }
}

macro_rules! units {
    ($( $(#[$doc:meta])* $dimension:ident / $unit:ident, metric $metric:ident, inch $inch:ident {
        $( $variant:ident $name:literal = $number:literal, $symbol:literal, $factor:expr, $offset:expr, $decimals:literal, [$($alias:literal),*]; )*
    } text { $( $text_symbol:literal = $text_factor:expr; )* } )*) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
            #[repr(i32)]
            pub enum $unit {
                $( #[doc = $symbol] $variant = $number, )*
            }

            impl $unit {
                const ROWS: &'static [UnitRow] = &[$( UnitRow {
                    number: $number, name: $name, symbol: $symbol, aliases: &[$($alias),*], factor: $factor, offset: $offset, decimals: $decimals,
                } ),*];
            }

            impl Unit for $unit {
                const DIMENSION: &'static str = stringify!($dimension);
                const ALL: &'static [Self] = &[$( Self::$variant ),*];
                const TEXT_ONLY: &'static [UnitRow] = &[$( UnitRow {
                    number: 0, name: "", symbol: $text_symbol, aliases: &[], factor: $text_factor, offset: 0.0, decimals: 0,
                } ),*];

                fn row(self) -> &'static UnitRow {
                    match self { $( Self::$variant => const { &UnitRow {
                        number: $number, name: $name, symbol: $symbol, aliases: &[$($alias),*], factor: $factor, offset: $offset, decimals: $decimals,
                    } } ),* }
                }

                fn of_system(system: UnitSystem) -> Self {
                    match system { UnitSystem::Metric => Self::$metric, UnitSystem::Inch => Self::$inch }
                }
            }
        )*

        /// Every dimension of the table.
        #[must_use]
        pub fn dimensions() -> &'static [Dimension] {
            const { &[$( Dimension { name: stringify!($dimension), rows: &[$unit::ROWS, <$unit as Unit>::TEXT_ONLY] } ),*] }
        }
    };
}

units! {
    /// Units of length.
    Length / LengthUnit, metric Millimeter, inch Inch {
        Millimeter "MILLIMETER" = 1, "mm", 1e-3, 0.0, 2, ["millimeter", "millimetre"];
        Inch "INCH" = 2, "in", INCH, 0.0, 3, ["inch", "\""];
        Meter "METER" = 3, "m", 1.0, 0.0, 3, ["meter", "metre"];
        Kilometer "KILOMETER" = 4, "km", 1e3, 0.0, 0, ["kilometer", "kilometre"];
        Mile "MILE" = 5, "mi", INCH * 63_360.0, 0.0, 0, ["mile", "miles"];
    } text { "cm" = 1e-2; "um" = 1e-6; "ft" = INCH * 12.0; }
    /// Units of area.
    Area / AreaUnit, metric SquareMillimeter, inch SquareInch {
        SquareMillimeter "SQUARE_MILLIMETER" = 1, "mm2", 1e-6, 0.0, 1, ["mm^2", "mm²"];
        SquareInch "SQUARE_INCH" = 2, "in2", INCH * INCH, 0.0, 4, ["in^2", "in²"];
    } text { "cm2" = 1e-4; "m2" = 1.0; }
    /// Units of volume.
    Volume / VolumeUnit, metric Milliliter, inch CubicInch {
        Milliliter "MILLILITER" = 1, "mL", 1e-6, 0.0, 1, ["ml", "cm3", "cm^3", "cc"];
        CubicInch "CUBIC_INCH" = 2, "in3", INCH * INCH * INCH, 0.0, 2, ["in^3", "in³"];
        Liter "LITER" = 3, "L", 1e-3, 0.0, 3, ["l"];
    } text { "m3" = 1.0; "mm3" = 1e-9; }
    /// Units of mass.
    Mass / MassUnit, metric Kilogram, inch Pound {
        Kilogram "KILOGRAM" = 1, "kg", 1.0, 0.0, 1, [];
        Gram "GRAM" = 2, "g", 1e-3, 0.0, 0, [];
        Pound "POUND" = 3, "lb", POUND, 0.0, 1, ["lbs"];
    } text { }
    /// Units of force.
    Force / ForceUnit, metric Newton, inch PoundForce {
        Newton "NEWTON" = 1, "N", 1.0, 0.0, 1, [];
        KilogramForce "KILOGRAM_FORCE" = 2, "kgf", KILOGRAM_FORCE, 0.0, 2, ["kp"];
        PoundForce "POUND_FORCE" = 3, "lbf", POUND_FORCE, 0.0, 1, [];
    } text { "kN" = 1e3; "daN" = 10.0; }
    /// Units of stiffness. On springs "kg/mm" and "lb/in" mean the force.
    Stiffness / StiffnessUnit, metric NewtonPerMillimeter, inch PoundForcePerInch {
        NewtonPerMillimeter "NEWTON_PER_MILLIMETER" = 1, "N/mm", 1e3, 0.0, 2, ["kN/m"];
        KilogramForcePerMillimeter "KILOGRAM_FORCE_PER_MILLIMETER" = 2, "kgf/mm", KILOGRAM_FORCE * 1e3, 0.0, 3, ["kg/mm", "kp/mm"];
        PoundForcePerInch "POUND_FORCE_PER_INCH" = 3, "lbf/in", POUND_FORCE / INCH, 0.0, 1, ["lb/in", "lbs/in"];
        NewtonPerMeter "NEWTON_PER_METER" = 4, "N/m", 1.0, 0.0, 0, [];
    } text { "kgf/cm" = KILOGRAM_FORCE * 100.0; "N/cm" = 100.0; "lbf/ft" = POUND_FORCE / (INCH * 12.0); }
    /// Units of damping rate.
    DampingRate / DampingRateUnit, metric NewtonSecondPerMeter, inch PoundForceSecondPerInch {
        NewtonSecondPerMeter "NEWTON_SECOND_PER_METER" = 1, "N*s/m", 1.0, 0.0, 0, ["Ns/m", "N·s/m"];
        NewtonSecondPerMillimeter "NEWTON_SECOND_PER_MILLIMETER" = 2, "N*s/mm", 1e3, 0.0, 3, ["Ns/mm", "N·s/mm"];
        PoundForceSecondPerInch "POUND_FORCE_SECOND_PER_INCH" = 3, "lbf*s/in", POUND_FORCE / INCH, 0.0, 2, ["lbf·s/in"];
    } text { }
    /// Units of pressure; whether gauge or absolute is said by the field, never by the unit.
    Pressure / PressureUnit, metric Megapascal, inch Psi {
        Megapascal "MEGAPASCAL" = 1, "MPa", 1e6, 0.0, 3, [];
        Kilopascal "KILOPASCAL" = 2, "kPa", 1e3, 0.0, 1, [];
        Bar "BAR" = 3, "bar", 1e5, 0.0, 2, [];
        Psi "PSI" = 4, "psi", PSI, 0.0, 1, ["lbf/in2"];
        NewtonPerSquareMillimeter "NEWTON_PER_SQUARE_MILLIMETER" = 5, "N/mm2", 1e6, 0.0, 3, ["N/mm^2", "N/mm²"];
    } text { "Pa" = 1.0; "GPa" = 1e9; "atm" = 101_325.0; "kgf/cm2" = KILOGRAM_FORCE * 1e4; "kpsi" = PSI * 1e3; "Mpsi" = PSI * 1e6; }
    /// Units of velocity.
    Velocity / VelocityUnit, metric MeterPerSecond, inch InchPerSecond {
        MeterPerSecond "METER_PER_SECOND" = 1, "m/s", 1.0, 0.0, 3, [];
        MillimeterPerSecond "MILLIMETER_PER_SECOND" = 2, "mm/s", 1e-3, 0.0, 1, [];
        InchPerSecond "INCH_PER_SECOND" = 3, "in/s", INCH, 0.0, 2, [];
    } text { }
    /// Units of volume flow.
    FlowRate / FlowRateUnit, metric MilliliterPerSecond, inch MilliliterPerSecond {
        MilliliterPerSecond "MILLILITER_PER_SECOND" = 1, "mL/s", 1e-6, 0.0, 1, ["ml/s", "cm3/s"];
        LiterPerMinute "LITER_PER_MINUTE" = 2, "L/min", 1e-3 / 60.0, 0.0, 2, ["l/min"];
    } text { }
    /// Units of frequency.
    Frequency / FrequencyUnit, metric Hertz, inch Hertz {
        Hertz "HERTZ" = 1, "Hz", 1.0, 0.0, 2, [];
    } text { }
    /// Units of energy.
    Energy / EnergyUnit, metric Joule, inch InchPoundForce {
        Joule "JOULE" = 1, "J", 1.0, 0.0, 2, ["Nm", "N*m"];
        InchPoundForce "INCH_POUND_FORCE" = 2, "in*lbf", INCH * POUND_FORCE, 0.0, 1, ["in·lbf", "lbf*in"];
    } text { "ft*lbf" = INCH * 12.0 * POUND_FORCE; "N*mm" = 1e-3; }
    /// Units of plane angle.
    Angle / AngleUnit, metric Degree, inch Degree {
        Degree "DEGREE" = 1, "deg", std::f64::consts::PI / 180.0, 0.0, 1, ["°"];
        Radian "RADIAN" = 2, "rad", 1.0, 0.0, 4, [];
    } text { }
    /// Units of kinematic viscosity; square millimetres per second are centistokes.
    KinematicViscosity / KinematicViscosityUnit, metric SquareMillimeterPerSecond, inch SquareMillimeterPerSecond {
        SquareMillimeterPerSecond "SQUARE_MILLIMETER_PER_SECOND" = 1, "mm2/s", 1e-6, 0.0, 2, ["cSt", "mm²/s", "mm^2/s"];
    } text { }
    /// Units of density.
    Density / DensityUnit, metric KilogramPerCubicMeter, inch KilogramPerCubicMeter {
        KilogramPerCubicMeter "KILOGRAM_PER_CUBIC_METER" = 1, "kg/m3", 1.0, 0.0, 0, ["kg/m^3", "kg/m³"];
        GramPerMilliliter "GRAM_PER_MILLILITER" = 2, "g/mL", 1e3, 0.0, 3, ["g/ml", "g/cm3", "kg/dm3"];
    } text { "lb/in3" = POUND / (INCH * INCH * INCH); }
    /// Units of temperature, a point on a scale. A difference is another dimension.
    Temperature / TemperatureUnit, metric DegreeCelsius, inch DegreeFahrenheit {
        DegreeCelsius "DEGREE_CELSIUS" = 1, "degC", 1.0, 273.15, 1, ["°C", "C"];
        DegreeFahrenheit "DEGREE_FAHRENHEIT" = 2, "degF", 5.0 / 9.0, 459.67, 1, ["°F", "F"];
        Kelvin "KELVIN" = 3, "K", 1.0, 0.0, 2, [];
    } text { }
    /// Units of temperature difference.
    TemperatureDifference / TemperatureDifferenceUnit, metric Kelvin, inch DegreeFahrenheitStep {
        Kelvin "KELVIN" = 1, "K", 1.0, 0.0, 1, [];
        DegreeFahrenheitStep "DEGREE_FAHRENHEIT_STEP" = 2, "degF-step", 5.0 / 9.0, 0.0, 1, ["°F-step"];
    } text { }
}
