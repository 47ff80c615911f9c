//! Drawings to scale, each an SVG picture that stands alone: the page shows them, the terminal writes them to a file.
//!
//! Pure: what is drawn depends on the values alone. Everything is said in text too; colours stand as attributes, are those
//! of print, and the page's style overrides them.

mod coil;
mod labels;
mod paper;
mod parts;
mod position;
mod section;
mod shape;

use maud::Markup;
use mechanics::quantity::UnitSystem;
use wire::v1;
use wire::violation::{Violation, Violations};

pub(crate) use coil::Coil;
pub(crate) use paper::round_step;
pub(crate) use position::{OnRange, OnTravel, sag, shares};
pub use section::{Section, section};
pub(crate) use shape::size;

/// A stack as it was sent, and how it was solved, as the text of an SVG file.
///
/// # Errors
/// What is wrong with the stack, each fault at its field below `values`.
pub fn section_file(
    stack: &v1::Stack,
    solved: Option<&v1::SolveStackResponse>,
    units: UnitSystem,
) -> Result<String, Vec<Violation>> {
    let mut violations = Violations::new();
    let read = wire::valving::stack::stack(stack, violations.at("values"));
    violations.finish()?;
    let Some(stack) = read else { return Ok(String::new()) };
    Ok(file(&section(&Section {
        stack: &stack,
        solved,
        units,
        id: "section",
        brief: false,
    })))
}

/// A picture as a file that stands alone.
pub(crate) fn file(picture: &Markup) -> String {
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", picture.0)
}
