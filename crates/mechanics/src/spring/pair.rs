//! Whether two springs match, over the whole curve.

use crate::estimate::{Assumption, Contribution, Coverage, Estimate, coverage_factor, probability_below};
use crate::finding::{Code, Finding};
use crate::quantity::{Deflection, Load, Quantity, UnitSystem};

use super::reduced::{CurvePoint, Reduced};
use super::words::Words;

/// Two reduced springs, and how far they may differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair<'a> {
    /// The first.
    pub first: &'a Reduced,
    /// The second.
    pub second: &'a Reduced,
    /// Whether one tester measured both: its scale's error is then the same for both and cancels.
    pub same_tester: bool,
    /// Largest difference of a matched pair, over the mean; `None`: 2 %.
    pub limit_ratio: Option<f64>,
    /// Probability from which on a pair is called matched, or not; `None`: 0.95.
    pub decision_probability: Option<f64>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// Whether two springs match.
#[derive(Debug, Clone, PartialEq)]
pub struct PairJudged {
    /// Second rate less first, over their mean.
    pub difference: f64,
    /// Standard uncertainty of that.
    pub difference_standard_uncertainty: f64,
    /// Its expanded uncertainty.
    pub difference_expanded_uncertainty: f64,
    /// Where it comes from: what contributes, and how much of the difference it is.
    pub budget: Vec<(&'static str, f64)>,
    /// Where the curves were compared.
    pub curve: Vec<PairPlace>,
    /// The largest difference of those.
    pub largest_curve_difference: Option<PairPlace>,
    /// Probability that rates and curves differ by no more than the limit.
    pub match_probability: f64,
    /// The verdict.
    pub verdict: PairVerdict,
    /// Limit that was used.
    pub limit_ratio: f64,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Where two curves were compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairPlace {
    /// Deflection from contact.
    pub deflection: Deflection,
    /// Second load less first, over their mean.
    pub difference: f64,
    /// Standard uncertainty of that: of the rates, of the readings around, and of where contact is.
    pub difference_standard_uncertainty: f64,
    /// Its expanded uncertainty at 0.95.
    pub difference_expanded_uncertainty: f64,
}

/// What is said of a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PairVerdict {
    /// They match.
    Matched,
    /// They do not.
    NotMatched,
    /// The uncertainty does not tell.
    CannotTell,
}

/// Contributions that one tester lays on both springs alike.
fn is_of_the_tester(source: &str) -> bool {
    ["scale (relative)", "frame", "load calibration"]
        .iter()
        .any(|of_tester| source.contains(of_tester))
}

/// Places the curves are compared at.
const PLACES: usize = 41;
/// Share of the common travel below which loads are too small to compare.
const FROM: f64 = 0.15;

/// Judges a pair.
///
/// `d = (k2 - k1)/mean`; `u^2(d) = sum of what is each spring's own, over the mean squared`; a scale's relative error is common
/// to both and cancels in the ratio when one tester measured both. Over the travel both were pressed through, the loads at
/// equal deflection from contact are compared too, each with the uncertainty of the contacts beside it: the largest difference must
/// keep the limit. With `D` the larger of both
/// differences and `u` its uncertainty, `P = Phi((L - D)/u) - Phi((-L - D)/u)` (JCGM 106:2012, 7.2). Matched from the decision
/// probability on, not matched below its complement, else it cannot be told.
#[must_use]
pub fn judge_pair(pair: &Pair<'_>) -> PairJudged {
    let limit = pair.limit_ratio.unwrap_or(0.02);
    let decision = pair.decision_probability.unwrap_or(0.95);
    let (a, b) = (pair.first.rate.value.si(), pair.second.rate.value.si());
    let mean = f64::midpoint(a, b);
    let difference = (b - a) / mean;
    let own = |reduced: &Reduced| -> Vec<(&'static str, f64, Option<f64>)> {
        let rows = reduced.rate.budget.iter();
        let rows = rows.filter(|row| !(pair.same_tester && is_of_the_tester(row.source)));
        rows.map(|row| (row.source, row.standard_uncertainty.si() / mean, row.degrees_of_freedom))
            .collect()
    };
    let rows: Vec<_> = own(pair.first).into_iter().chain(own(pair.second)).collect();
    let contributions = rows.iter().map(|(source, u, dof)| match dof {
        Some(_) => Contribution::<Load>::type_a(source, *u, 1.0, *dof),
        None => Contribution::type_b(source, *u, 1.0),
    });
    let estimate = Estimate::of_budget(difference, contributions.collect(), Coverage::Stated(0.95));
    let u = estimate.standard_uncertainty.si();
    let (found, noise) = compared(pair.first, pair.second);
    let factor = coverage_factor(0.95, estimate.degrees_of_freedom);
    let contact = contact_u(pair.first).hypot(contact_u(pair.second));
    let curve: Vec<PairPlace> = found
        .into_iter()
        .map(|(at, difference)| {
            let own = u.hypot(noise).hypot(contact / at.si());
            PairPlace {
                deflection: at,
                difference,
                difference_standard_uncertainty: own,
                difference_expanded_uncertainty: factor * own,
            }
        })
        .collect();
    let largest = curve
        .iter()
        .copied()
        .max_by(|x, y| x.difference.abs().total_cmp(&y.difference.abs()));
    let within = |d: f64, u: f64| {
        if u > 0.0 {
            probability_below((limit - d) / u, estimate.degrees_of_freedom)
                - probability_below((-limit - d) / u, estimate.degrees_of_freedom)
        } else {
            f64::from(u8::from(d.abs() <= limit))
        }
    };
    let of_rates = within(difference, u);
    let of_curves = largest.map_or(1.0, |at| within(at.difference, at.difference_standard_uncertainty));
    let match_probability = of_rates.min(of_curves).clamp(0.0, 1.0);
    let verdict = if match_probability >= decision {
        PairVerdict::Matched
    } else if match_probability <= 1.0 - decision {
        PairVerdict::NotMatched
    } else {
        PairVerdict::CannotTell
    };
    let mut judged = PairJudged {
        difference,
        difference_standard_uncertainty: u,
        difference_expanded_uncertainty: estimate.expanded_uncertainty.si(),
        budget: rows.iter().map(|(source, u, _)| (*source, *u)).collect(),
        curve,
        largest_curve_difference: largest,
        match_probability,
        verdict,
        limit_ratio: limit,
        findings: Vec::new(),
        assumptions: Vec::new(),
    };
    say(pair, &mut judged);
    judged
}

fn contact_u(reduced: &Reduced) -> f64 {
    reduced
        .contact
        .as_ref()
        .map_or(0.0, |contact| contact.deflection.standard_uncertainty.si())
}

/// Loads of both presses at equal deflection from contact, second less first over the mean; and the noise of such a
/// difference, from how neighbouring ones scatter.
fn compared(first: &Reduced, second: &Reduced) -> (Vec<(Deflection, f64)>, f64) {
    let from = |reduced: &Reduced| {
        reduced
            .contact
            .as_ref()
            .map_or(0.0, |contact| contact.deflection.value.si())
    };
    let (a0, b0) = (from(first), from(second));
    let end = |reduced: &Reduced, from: f64| reduced.curve.press.last().map_or(0.0, |p| p.deflection.si() - from);
    let start = |reduced: &Reduced, from: f64| reduced.curve.press.first().map_or(0.0, |p| p.deflection.si() - from);
    let bind = |reduced: &Reduced, from: f64| {
        let knee = reduced.knees.iter().find(|knee| knee.kind == super::KneeKind::Bind);
        knee.map_or(f64::INFINITY, |knee| knee.deflection.value.si() - from)
    };
    let reach = end(first, a0)
        .min(end(second, b0))
        .min(bind(first, a0))
        .min(bind(second, b0));
    let low = start(first, a0).max(start(second, b0)).max(FROM * reach);
    if !(reach > low && reach.is_finite()) {
        return (Vec::new(), 0.0);
    }
    let half = (reach - low) / PLACES as f64;
    let places = (0..PLACES).map(|k| low + (k as f64 + 0.5) * half);
    let at = |s: f64| {
        let a = load_near(&first.curve.press, a0 + s, half)?;
        let b = load_near(&second.curve.press, b0 + s, half)?;
        let mean = f64::midpoint(a, b);
        (mean > 0.0).then(|| (Deflection::from_si(s), (b - a) / mean))
    };
    let found: Vec<(Deflection, f64)> = places.filter_map(at).collect();
    let bends: Vec<f64> = found
        .windows(3)
        .filter_map(|three| match three {
            [a, b, c] => Some(a.1 - 2.0 * b.1 + c.1),
            _ => None,
        })
        .collect();
    let square: f64 = bends.iter().map(|b| b * b).sum();
    (found, (square / (6.0 * bends.len().max(1) as f64)).sqrt())
}

/// Load at a place: a line through the points around it.
fn load_near(points: &[CurvePoint], at: f64, half: f64) -> Option<f64> {
    let around: Vec<(f64, f64)> = points
        .iter()
        .map(|p| (p.deflection.si() - at, p.load.si()))
        .filter(|(s, _)| s.abs() <= half)
        .collect();
    let n = around.len() as f64;
    if around.len() >= 3 {
        let (s, f) = around.iter().fold((0.0, 0.0), |(s, f), p| (s + p.0 / n, f + p.1 / n));
        let spread: f64 = around.iter().map(|p| (p.0 - s).powi(2)).sum();
        let slope = around.iter().map(|p| (p.0 - s) * (p.1 - f)).sum::<f64>() / spread;
        return Some(f - slope * s).filter(|load| load.is_finite());
    }
    let after = points.partition_point(|p| p.deflection.si() < at);
    let (a, b) = (points.get(after.checked_sub(1)?)?, points.get(after)?);
    let (s0, s1) = (a.deflection.si(), b.deflection.si());
    Some(a.load.si() + (at - s0) / (s1 - s0) * (b.load.si() - a.load.si())).filter(|load| load.is_finite())
}

fn say(pair: &Pair<'_>, judged: &mut PairJudged) {
    let words = Words::new(pair.units);
    let assume = |subject, text: String| Assumption {
        subject,
        text,
        source: "common practice, no source",
    };
    if pair.limit_ratio.is_none() {
        judged
            .assumptions
            .push(assume("limit_ratio", "a pair may differ by 2 %".to_owned()));
    }
    if pair.same_tester {
        let text = "one tester measured both: the error of its scales and its frame is the same for both and cancels";
        judged.assumptions.push(assume("same_tester", text.to_owned()));
    }
    let place = judged.largest_curve_difference.map(|at| {
        format!(
            "; loads differ by up to {:+.2} % at {} from contact",
            100.0 * at.difference,
            words.length(at.deflection.si())
        )
    });
    let text = format!(
        "the rates differ by {:+.2} ± {:.2} %, allowed are {:.2} %{}",
        100.0 * judged.difference,
        100.0 * judged.difference_expanded_uncertainty,
        100.0 * judged.limit_ratio,
        place.unwrap_or_default()
    );
    match judged.verdict {
        PairVerdict::Matched => {}
        PairVerdict::NotMatched => judged.findings.push(Finding::new(Code::PairDiffers, text)),
        PairVerdict::CannotTell => judged.findings.push(Finding::new(Code::PairCannotTell, text)),
    }
}
