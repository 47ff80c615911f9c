//! Figures and moments in words: each number with its unit, and a small word for where it comes from.

use maud::{Markup, html};
use mechanics::quantity::{
    Energy, Entered, Force, Length, LengthUnit, Quantity, SpringRate, Unit, UnitSystem, with_uncertainty,
};
use prost_types::Timestamp;
use wire::quantity::Message;
use wire::v1;

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Origin {
    /// Read off an instrument, with all that was taken off it.
    Measured,
    /// Written by a person.
    Entered,
    /// Worked out of others.
    Computed,
    /// Taken for true because nothing says otherwise.
    Assumed,
}

/// Its word, small, beside the number.
pub(super) fn origin(origin: Origin) -> Markup {
    let word = match origin {
        Origin::Measured => "measured",
        Origin::Entered => "entered",
        Origin::Computed => "computed",
        Origin::Assumed => "assumed",
    };
    html! { span.origin { (word) } }
}

/// A quantity as its value and unit.
pub(super) fn quantity<M: Message>(message: Option<&M>) -> Option<Entered<M::Unit>> {
    wire::quantity::stated(message)
}

/// As somebody entered it: `9.50 N/mm`.
pub(crate) fn entered<M: Message>(message: Option<&M>) -> Option<String> {
    quantity(message).map(|entered| entered.to_string())
}

/// As somebody entered it, and in the units chosen where those are others: `9.50 N/mm (54.2 lbf/in)`.
pub(crate) fn entered_in<M: Message>(message: Option<&M>, units: UnitSystem) -> Option<String> {
    let entered = quantity(message)?;
    let chosen = M::Unit::of_system(units);
    if chosen == entered.unit() {
        return Some(entered.to_string());
    }
    let converted = entered.in_unit(chosen);
    Some(format!("{entered} ({converted:.*})", chosen.row().decimals))
}

/// The unit distances are told in.
pub(crate) fn ridden_in(units: UnitSystem) -> LengthUnit {
    match units {
        UnitSystem::Metric => LengthUnit::Kilometer,
        UnitSystem::Inch => LengthUnit::Mile,
    }
}

/// A distance ridden as it was entered, and in the unit distances are told in where that is another.
pub(crate) fn distance(message: Option<&v1::Length>, units: UnitSystem) -> Option<String> {
    let entered: Entered<LengthUnit> = quantity(message)?;
    let wanted = ridden_in(units);
    let words = |entered: Entered<LengthUnit>| format!("{entered:.0}");
    Some(match entered.unit() == wanted {
        true => words(entered),
        false => format!("{entered} ({})", words(entered.in_unit(wanted))),
    })
}

/// A computed quantity, to its unit's usual place.
pub(crate) fn computed<M: Message>(message: Option<&M>) -> Option<String> {
    let computed = quantity(message)?;
    let row = computed.unit().row();
    let text = format!("{computed:.*}", row.decimals);
    // What rounds to nothing has no sign.
    let nothing = format!("{:.*}", row.decimals, 0.0);
    let unsigned = text.strip_prefix('-').filter(|rest| rest.starts_with(&nothing));
    Some(unsigned.map(str::to_owned).unwrap_or(text))
}

/// An estimate of the API.
pub(crate) trait Estimate {
    /// Its quantity in the API.
    type Message: Message<Unit = <Self::Quantity as Quantity>::Unit>;
    /// Its quantity in the physics.
    type Quantity: Quantity;
    /// The value.
    fn value(&self) -> Option<&Self::Message>;
    /// Its expanded uncertainty.
    fn expanded(&self) -> Option<&Self::Message>;
}

macro_rules! estimates {
    ($($estimate:ident, $message:ident, $quantity:ident;)*) => {$(
        impl Estimate for v1::$estimate {
            type Message = v1::$message;
            type Quantity = $quantity;

            fn value(&self) -> Option<&v1::$message> {
                self.value.as_ref()
            }

            fn expanded(&self) -> Option<&v1::$message> {
                self.expanded_uncertainty.as_ref()
            }
        }
    )*};
}

estimates! {
    StiffnessEstimate, Stiffness, SpringRate;
    LengthEstimate, Length, Length;
    ForceEstimate, Force, Force;
    EnergyEstimate, Energy, Energy;
}

/// An estimate with its uncertainty, rounded as far as that allows: `9.31 ± 0.06 N/mm`.
pub(crate) fn estimated<E: Estimate>(estimate: Option<&E>) -> Option<String> {
    let estimate = estimate?;
    let value = quantity(estimate.value())?;
    let expanded = quantity(estimate.expanded()).map_or(E::Quantity::from_si(0.0), E::Quantity::of);
    Some(with_uncertainty(E::Quantity::of(value), expanded, value.unit()))
}

/// A share in per cent, without its sign.
pub(crate) fn per_cent(ratio: f64) -> String {
    format!("{:.1} %", ratio.abs() * 100.0)
}

/// A probability: nothing measured is certain, so the ends are not shown as 0 and 100 %.
pub(super) fn likely(probability: f64) -> String {
    match (probability * 1000.0).round() {
        1000.0 => "over 99.9 %".to_owned(),
        0.0 => "under 0.1 %".to_owned(),
        _ => per_cent(probability),
    }
}

/// A spring's words for above and below: `2.0 % soft`.
pub(super) fn soft_or_stiff(ratio: f64) -> String {
    let share = per_cent(ratio);
    match ratio {
        _ if share == "0.0 %" => "as marked".to_owned(),
        ratio if ratio < 0.0 => format!("{share} soft"),
        _ => format!("{share} stiff"),
    }
}

/// A moment, in UTC; the script shows it by the reader's own clock.
pub(super) fn moment(moment: Option<&Timestamp>) -> Markup {
    let Some(moment) = moment else {
        return html! {};
    };
    let stated = moment.to_string();
    html! { time datetime=(stated) { (utc(&stated)) } }
}

/// `2026-11-25 20:09 UTC` of the form of RFC 3339.
fn utc(stated: &str) -> String {
    match (stated.get(..10), stated.get(11..16)) {
        (Some(day), Some(minute)) => format!("{day} {minute} UTC"),
        _ => stated.to_owned(),
    }
}

/// A row of a list of figures: what, how much, whence. Nothing where there is no figure.
pub(super) fn row(what: &str, figure: Option<String>, whence: Origin) -> Markup {
    html! {
        @if let Some(figure) = figure {
            div { dt { (what) } dd { (figure) " " (origin(whence)) } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entered_figures_stay_as_they_were_entered() {
        let marked = v1::Stiffness::from_parts(9.5, 1);
        assert_eq!(entered(Some(&marked)).unwrap(), "9.50 N/mm");
        assert_eq!(entered_in(Some(&marked), UnitSystem::Metric).unwrap(), "9.50 N/mm");
        // 9.5 N/mm over 4.448 221 615 260 5 N/lbf, times 25.4 mm/in.
        assert_eq!(
            entered_in(Some(&marked), UnitSystem::Inch).unwrap(),
            "9.50 N/mm (54.2 lbf/in)"
        );
        assert_eq!(entered(Some(&v1::Stiffness::from_parts(9.5, 99))), None);
    }

    #[test]
    fn nothing_has_no_sign() {
        let force = |value| computed(Some(&v1::Force::from_parts(value, 1))).unwrap();
        assert_eq!(force(-0.04), "0.0 N");
        assert_eq!(force(-0.06), "-0.1 N");
        assert_eq!(force(-10.04), "-10.0 N");
    }

    #[test]
    fn estimates_are_rounded_by_their_uncertainty() {
        let rate = |value, expanded| v1::StiffnessEstimate {
            value: Some(v1::Stiffness::from_parts(value, 1)),
            expanded_uncertainty: Some(v1::Stiffness::from_parts(expanded, 1)),
            ..Default::default()
        };
        assert_eq!(estimated(Some(&rate(9.3123, 0.0612))).unwrap(), "9.31 ± 0.06 N/mm");
        assert_eq!(estimated(Some(&rate(9.3123, 0.0))).unwrap(), "9.31 N/mm");
    }

    #[test]
    fn differences_have_a_direction() {
        assert_eq!(soft_or_stiff(-0.02), "2.0 % soft");
        assert_eq!(soft_or_stiff(0.013), "1.3 % stiff");
        assert_eq!(soft_or_stiff(-0.0004), "as marked");
    }

    #[test]
    fn a_moment_names_its_zone() {
        assert_eq!(utc("2026-11-25T20:09:52.5Z"), "2026-11-25 20:09 UTC");
    }
}
