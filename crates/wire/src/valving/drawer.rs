//! Checks of what is kept in the drawer: lots of shims, stacks, dampers.

use mechanics::quantity::{Length, LengthUnit, Quantity};
use mechanics::valving::ValvingError;

use super::{damper as design, oil, stack as shims};
use crate::names::Collection;
use crate::quantity::{Range, optional, required};
use crate::records::{LONG_TEXT, SHORT_TEXT, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Shims of a lot, at most.
pub const MOST_IN_LOT: i32 = 1_000_000;
/// Lots a build may name, at most.
const MOST_LOTS: usize = 48;

/// Outer diameters a shim can have.
pub fn outer_diameters() -> Range<LengthUnit> {
    Range::between(0.5, 200.0, LengthUnit::Millimeter)
}

/// Thicknesses a shim can have.
pub fn thicknesses() -> Range<LengthUnit> {
    Range::between(0.001, 5.0, LengthUnit::Millimeter)
}

/// Checks a lot as entered.
pub fn shim_lot(lot: &v1::ShimLot, mut at: Scope<'_>) {
    text(&lot.label, SHORT_TEXT, at.at("label"));
    let outer: Option<Length> = required(lot.outer_diameter.as_ref(), outer_diameters(), at.at("outer_diameter"));
    let bores = Range::above_zero(200.0, LengthUnit::Millimeter);
    let inner: Option<Length> = optional(lot.inner_diameter.as_ref(), bores, at.at("inner_diameter"));
    required::<Length, _>(lot.thickness.as_ref(), thicknesses(), at.at("thickness"));
    if let (Some(outer), Some(inner)) = (outer, inner)
        && inner.si() >= outer.si()
    {
        let (inner, outer) = (inner.get(LengthUnit::Millimeter), outer.get(LengthUnit::Millimeter));
        at.at("inner_diameter").push(
            Reason::Conflict,
            format_args!("bore is {inner} mm; allowed below the outer diameter, {outer} mm"),
        );
    }
    if let Some(count) = lot.count.filter(|count| !(0..=MOST_IN_LOT).contains(count)) {
        at.at("count").push(
            Reason::OutOfRange,
            format_args!("count is {count}; allowed 0 to {MOST_IN_LOT}"),
        );
    }
    text(&lot.material, SHORT_TEXT, at.at("material"));
    text(&lot.drawer_place, SHORT_TEXT, at.at("drawer_place"));
    text(&lot.notes, LONG_TEXT, at.at("notes"));
}

/// Checks a stack as entered: it can be solved as it stands.
pub fn stack(stack: &v1::Stack, mut at: Scope<'_>) {
    text(&stack.label, SHORT_TEXT, at.at("label"));
    text(&stack.notes, LONG_TEXT, at.at("notes"));
    if let Some(Err(error)) = shims::stack(stack, at.here()).map(|read| read.check()) {
        unfit(&error, at);
    }
}

/// A fault of the whole that only the physics sees.
fn unfit(error: &ValvingError, mut at: Scope<'_>) {
    match error {
        ValvingError::OutOfRange { field, .. } | ValvingError::NotFinite { field } => {
            let field = field.strip_prefix("stack.").unwrap_or(field);
            at.at(field).push(Reason::OutOfRange, error);
        }
        _ => at.push(Reason::OutOfRange, error),
    }
}

/// Checks a damper as entered. Stacks it names are checked for the form of their names only.
pub fn damper(damper: &v1::Damper, mut at: Scope<'_>) {
    use v1::stack_valve::Source;
    text(&damper.label, SHORT_TEXT, at.at("label"));
    text(&damper.notes, LONG_TEXT, at.at("notes"));
    if let Some(given) = &damper.oil {
        oil::oil(given, at.at("oil"));
    }
    design::check(damper, at.here());
    for (name, circuit) in circuits(damper) {
        let valve = circuit.and_then(|circuit| circuit.valve.as_ref());
        let Some(Source::Values(values)) = valve.and_then(|valve| valve.source.as_ref()) else {
            continue;
        };
        let mut at = at.at(name);
        let mut at = at.at("valve");
        let mut at = at.at("values");
        text(&values.label, SHORT_TEXT, at.at("label"));
        text(&values.notes, LONG_TEXT, at.at("notes"));
        // Faults of its fields are noted already.
        let read = shims::stack(values, Violations::new().root());
        if let Some(Err(error)) = read.map(|read| read.check()) {
            unfit(&error, at);
        }
    }
}

/// The circuits of a damper by the names of their fields.
pub fn circuits(damper: &v1::Damper) -> [(&'static str, Option<&v1::DamperCircuit>); 4] {
    [
        ("compression", damper.compression.as_ref()),
        ("rebound", damper.rebound.as_ref()),
        ("base_compression", damper.base_compression.as_ref()),
        ("base_rebound", damper.base_rebound.as_ref()),
    ]
}

/// Checks the names of the lots a stack is to be built of.
pub fn lots(lots: &[String], mut at: Scope<'_>) {
    if lots.len() > MOST_LOTS {
        at.push(
            Reason::WrongLength,
            format_args!("{} lots; allowed at most {MOST_LOTS}", lots.len()),
        );
        return;
    }
    for (index, lot) in lots.iter().enumerate() {
        Collection::ShimLots.id(lot, at.index(index));
        if lots.iter().take(index).any(|other| other == lot) {
            at.index(index)
                .push(Reason::Conflict, format_args!("\"{lot}\" stands here twice"));
        }
    }
}

/// Checks what a count is changed by.
pub fn count_change(change: i32, mut at: Scope<'_>) {
    if change == 0 || !(-MOST_IN_LOT..=MOST_IN_LOT).contains(&change) {
        at.push(
            Reason::OutOfRange,
            format_args!("change is {change}; allowed -{MOST_IN_LOT} to {MOST_IN_LOT}, but not 0"),
        );
    }
}
