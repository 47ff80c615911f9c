//! Tests of a spring side by side: its measured rate, and how it drifts from one to the next.

use maud::{Markup, html};
use wire::v1;

use super::measured::Measured;
use super::said;
use super::words::{Origin, estimated, origin, per_cent, quantity, soft_or_stiff};
use crate::bench::Bench;

/// A run's rate in words, and the numbers two tests are compared by.
#[derive(Debug, Clone)]
pub(super) struct Rated {
    /// `9.31 ± 0.06 N/mm`.
    pub(super) rate: String,
    /// Measured less marked, over marked; where there is a marking.
    pub(super) difference: Option<f64>,
    /// The decision in a word, where there is one.
    pub(super) word: Option<&'static str>,
    /// The rate, in the units of the view.
    pub(super) value: f64,
    /// Its expanded uncertainty.
    pub(super) expanded: f64,
}

/// The rate a reduced run says.
pub(super) fn rate_of(reply: &v1::ReduceRunResponse) -> Option<Rated> {
    let estimate = reply.rate.as_ref()?;
    let verdict = reply.marking_verdict.as_ref();
    Some(Rated {
        rate: estimated(Some(estimate))?,
        difference: verdict
            .filter(|verdict| verdict.marked_rate.is_some())
            .map(|verdict| verdict.difference_ratio),
        word: verdict.and_then(said::decision),
        value: quantity(estimate.value.as_ref())?.value(),
        expanded: quantity(estimate.expanded_uncertainty.as_ref()).map_or(0.0, |expanded| expanded.value()),
    })
}

/// The rate of a run in a list; nothing where it has none or takes long to find.
pub(super) fn rated(bench: &Bench, measured: &Measured, run: &v1::Run, units: i32) -> Option<Rated> {
    let outcome = measured.listed(bench, run, units)?;
    rate_of(outcome.as_ref().as_ref().ok()?)
}

/// The measured rate of a spring: that of its tested run, else of its last test.
pub(super) fn measured(
    bench: &Bench,
    measured: &Measured,
    spring: &v1::Spring,
    last: Option<&v1::Run>,
    units: i32,
) -> Option<Rated> {
    if spring.tested_run.is_empty() {
        return rated(bench, measured, last?, units);
    }
    let name = spring.tested_run.clone();
    let run = bench.get_run(v1::GetRunRequest { name }).ok()?;
    rated(bench, measured, &run, units)
}

/// How far the last test is from the one before. The uncertainties are taken as independent, which overstates that of
/// the difference where both tests share one instrument.
pub(super) fn drift(last: Option<&Rated>, before: Option<&Rated>) -> Option<String> {
    let (last, before) = (last?, before?);
    if before.value <= 0.0 {
        return None;
    }
    let change = last.value / before.value - 1.0;
    let expanded = last.expanded.hypot(before.expanded) / before.value;
    let within = per_cent(expanded);
    if change.abs() <= expanded {
        return Some(format!("no change beyond ± {within}"));
    }
    let change = match soft_or_stiff(change) {
        share if share.ends_with("soft") => share + "er",
        share => share.replace("stiff", "stiffer"),
    };
    Some(format!("{change}, ± {within}"))
}

/// The cells of a run in a table: its rate, and how it stands to its mark.
pub(super) fn cells(rated: Option<&Rated>) -> Markup {
    html! {
        td data-label="Rate" { @if let Some(rated) = rated { (rated.rate) " " (origin(Origin::Measured)) } }
        td data-label="Against its mark" { @if let Some(rated) = rated { (against_mark(rated)) } }
    }
}

/// `2.0 % soft, refused`.
pub(super) fn against_mark(rated: &Rated) -> Markup {
    html! {
        @if let Some(difference) = rated.difference {
            (soft_or_stiff(difference))
            @if let Some(word) = rated.word { ", " (word) }
            " " (origin(Origin::Computed))
        }
    }
}

/// The cell in which a finished run is chosen to be compared.
pub(super) fn choice(run: &v1::Run) -> Markup {
    let id = run.name.strip_prefix("runs/").unwrap_or(&run.name);
    html! {
        td data-label="Compare" {
            @if run.state() == v1::RunState::Finished {
                input type="checkbox" name="run" value=(id) aria-label={ "Compare " (run.name) };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rated(value: f64, expanded: f64) -> Rated {
        Rated {
            rate: String::new(),
            difference: None,
            word: None,
            value,
            expanded,
        }
    }

    #[test]
    fn drift_is_told_only_beyond_its_uncertainty() {
        let before = rated(10.0, 0.03);
        // hypot(0.03, 0.04) = 0.05, a half per cent of 10.
        assert_eq!(
            drift(Some(&rated(9.8, 0.04)), Some(&before)).unwrap(),
            "2.0 % softer, ± 0.5 %"
        );
        assert_eq!(
            drift(Some(&rated(10.3, 0.04)), Some(&before)).unwrap(),
            "3.0 % stiffer, ± 0.5 %"
        );
        assert_eq!(
            drift(Some(&rated(10.04, 0.04)), Some(&before)).unwrap(),
            "no change beyond ± 0.5 %"
        );
        assert!(drift(Some(&before), None).is_none());
    }
}
