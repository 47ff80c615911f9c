//! The order of candidates.

use super::{Candidate, Ranked};
use crate::finding::{Code, Finding};

/// Sorts candidates: those that do first, by distance; ties with the best are marked and said.
pub(super) fn sort(ranked: &mut [Ranked], candidates: &[Candidate], findings: &mut Vec<Finding>) {
    ranked.sort_by(|a, b| {
        let order = b.fits().cmp(&a.fits());
        order
            .then(a.distance.total_cmp(&b.distance))
            .then(a.index.cmp(&b.index))
    });
    let Some((best, rest)) = ranked.split_first_mut() else {
        return;
    };
    if !best.fits() {
        return;
    }
    let label = |one: &Ranked| {
        let springs = candidates
            .get(one.index)
            .map(|candidate| candidate.springs.as_slice())
            .unwrap_or_default();
        let labels: Vec<&str> = springs.iter().map(|spring| spring.label.as_str()).collect();
        labels.join(" with ")
    };
    let mut tied = Vec::new();
    for other in rest.iter_mut().filter(|other| other.fits()) {
        if other.ties_with(best) {
            other.ties_with_best = true;
            tied.push(label(other));
        }
    }
    if !tied.is_empty() {
        let text = format!(
            "the uncertainty of the rates cannot part {} from {}",
            label(best),
            tied.join(", ")
        );
        findings.push(Finding::about(Code::NearTie, "candidates", text));
    }
}
