//! Why no rate can be given.

use std::fmt;

use crate::quantity::{Deflection, ForceUnit, FrameRate, LengthUnit, Load, Quantity, SpringRate, StiffnessUnit};

/// Why no rate can be given. Where an honest rate can be given with a reservation it is given, with a finding.
#[derive(Debug, Clone, PartialEq)]
pub enum SpringError {
    /// Deflections and loads do not pair up, or times, or segments.
    Mismatched {
        /// Which.
        what: &'static str,
        /// How many there are.
        count: usize,
        /// How many there should be, at most for indices.
        expected: usize,
    },
    /// A value that is not a number.
    NotFinite {
        /// Which column or field.
        what: &'static str,
        /// Index of the sample, where it is one.
        index: Option<usize>,
    },
    /// A value outside what makes sense.
    OutOfRange {
        /// Which field.
        field: &'static str,
        /// The value, in the unit named.
        value: f64,
        /// Unit of value and limits.
        unit: &'static str,
        /// What is allowed, in words.
        allowed: &'static str,
    },
    /// Time went backwards within a segment.
    TimeBackwards {
        /// Index of the sample before which it did.
        index: usize,
        /// By how much, nanoseconds.
        step_ns: i64,
    },
    /// Fewer points than a line needs.
    TooFewPoints {
        /// How many there are.
        count: usize,
        /// How many are needed.
        needed: usize,
    },
    /// Points there are, none or one of them in the window.
    EmptyWindow {
        /// Lower end as read on the tester.
        from: Deflection,
        /// Upper end.
        to: Deflection,
        /// Smallest deflection pressed.
        smallest: Deflection,
        /// Largest.
        largest: Deflection,
        /// Points in the window.
        count: usize,
    },
    /// Every deflection is the same.
    OneDeflection(Deflection),
    /// The load never left the no-load level.
    NoContact {
        /// The no-load level.
        tare: Load,
        /// Its noise.
        noise: Load,
        /// The largest load.
        largest: Load,
    },
    /// The deflection moves to and fro without a stroke to take a rate from.
    WanderingStroke {
        /// Reversals seen.
        reversals: usize,
        /// Largest single movement.
        largest: Deflection,
    },
    /// The load stands at its end over most of the window.
    Clipped {
        /// The level it stands at.
        level: Load,
        /// Points at it in the window.
        count: usize,
        /// Points in the window.
        of: usize,
    },
    /// The no-load level moved by more than the cell's class permits.
    TareDrift {
        /// How far it moved.
        moved: Load,
        /// How far it may.
        permitted: Load,
    },
    /// The slope is not above zero: nothing that presses back was measured.
    NotPressing(SpringRate),
    /// The spring measures as stiff as the frame or stiffer: nothing of it can be told apart.
    FrameTooSoft {
        /// The rate measured.
        measured: SpringRate,
        /// The frame's rate.
        frame: FrameRate,
    },
    /// Free to solid was asked for as the window's base and is not known.
    SolidUnknown,
}

impl fmt::Display for SpringError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mm = |d: &Deflection| format!("{:.3} mm", d.get(LengthUnit::Millimeter));
        let n = |l: &Load| format!("{:.2} N", l.get(ForceUnit::Newton));
        match self {
            Self::Mismatched { what, count, expected } => write!(f, "{what}: {count}; expected {expected}"),
            Self::NotFinite {
                what,
                index: Some(index),
            } => write!(f, "{what}[{index}] is not a finite number"),
            Self::NotFinite { what, index: None } => write!(f, "{what} is not a finite number"),
            Self::OutOfRange {
                field,
                value,
                unit,
                allowed,
            } => write!(f, "{field} is {value} {unit}; allowed: {allowed}"),
            Self::TimeBackwards { index, step_ns } => {
                write!(
                    f,
                    "time goes back by {step_ns} ns before sample {index} within one segment"
                )
            }
            Self::TooFewPoints { count, needed } => write!(f, "{count} points; a rate needs {needed}"),
            Self::EmptyWindow {
                from,
                to,
                smallest,
                largest,
                count,
            } => write!(
                f,
                "{count} points between {} and {}; the readings reach from {} to {}",
                mm(from),
                mm(to),
                mm(smallest),
                mm(largest)
            ),
            Self::OneDeflection(at) => write!(f, "every deflection is {}", mm(at)),
            Self::NoContact { tare, noise, largest } => write!(
                f,
                "no contact: the largest load {} does not stand out of the no-load level {} with noise {}",
                n(largest),
                n(tare),
                n(noise)
            ),
            Self::WanderingStroke { reversals, largest } => write!(
                f,
                "the stroke wanders: {reversals} reversals, none longer than {}",
                mm(largest)
            ),
            Self::Clipped { level, count, of } => {
                write!(f, "{count} of {of} loads of the window stand at {}: clipped", n(level))
            }
            Self::TareDrift { moved, permitted } => write!(
                f,
                "the no-load level moved by {}; the cell's class permits {}",
                n(moved),
                n(permitted)
            ),
            Self::NotPressing(rate) => write!(
                f,
                "the slope is {:.4} N/mm, not above 0: pressing must be positive in deflection and load",
                rate.get(StiffnessUnit::NewtonPerMillimeter)
            ),
            Self::FrameTooSoft { measured, frame } => write!(
                f,
                "measured {:.3} N/mm on a frame of {:.3} N/mm: the frame must be stiffer than what is measured on it",
                measured.get(StiffnessUnit::NewtonPerMillimeter),
                frame.get(StiffnessUnit::NewtonPerMillimeter)
            ),
            Self::SolidUnknown => write!(
                f,
                "the window counts from free to solid, and neither the lengths nor a coil bind say where solid is"
            ),
        }
    }
}

impl std::error::Error for SpringError {}
