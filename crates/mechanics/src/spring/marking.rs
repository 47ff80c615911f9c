//! Whether a spring is what it is marked as.

use std::str::FromStr;

use crate::estimate::{Estimate, probability_below};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Entered, Force, FreeLength, Length, Load, Quantity, SpringRate, StiffnessUnit, TextError, with_uncertainty,
};

use super::grade::{DinSpring, din_2095, jis_b_2704};
use super::words::{Words, as_entered};
use super::{Decision, Geometry, Grade, MarkReading, MarkingVerdict, Request};

/// Rates a suspension spring may have, N/m: 2 to 400 N/mm (common practice, no source).
const SENSIBLE: std::ops::RangeInclusive<f64> = 2e3..=4e5;
/// Beyond this share from its mark a spring is far from it (common practice, no source).
const FAR: f64 = 0.05;

/// What is compared with the marking.
pub(super) struct Bench<'a> {
    pub(super) rate: &'a Estimate<SpringRate>,
    pub(super) free_length: Option<&'a Estimate<FreeLength>>,
    pub(super) maximum_load: Option<Load>,
}

/// The verdict; without a mark that can be read the permitted deviations alone, `None` without a tolerance either.
pub(super) fn verdict(request: &Request, bench: &Bench<'_>, findings: &mut Vec<Finding>) -> Option<MarkingVerdict> {
    let measured = bench.rate.value.si();
    let Some((marked, readings)) = marked_rate(request, measured, findings) else {
        return tolerances_alone(request, bench, findings);
    };
    let mark = SpringRate::of(marked).si();
    if mark <= 0.0 {
        findings.push(Finding::about(
            Code::MarkNotRead,
            "marking.rate",
            format!("a mark of {} is no rate", as_entered(marked)),
        ));
        return None;
    }
    let permitted = tolerance(request, bench, findings);
    let difference = measured / mark - 1.0;
    let expanded = bench.rate.expanded_uncertainty.si() / mark;
    let limits = permitted
        .rate_ratio
        .map(|ratio| ((1.0 - ratio) * mark, (1.0 + ratio) * mark));
    let decision = limits.map(|limits| decide(limits, bench.rate));
    let mut words = format!(
        "{} marked, measured {}: {}",
        as_entered(marked),
        with_uncertainty(
            SpringRate::from_si(measured),
            bench.rate.expanded_uncertainty,
            marked.unit()
        ),
        in_words(difference, expanded)
    );
    if let (Some(decision), Some(ratio)) = (decision, permitted.rate_ratio) {
        words.push_str(&decision_in_words(decision, ratio));
        warn(decision, &words, findings);
    } else if difference.abs() > FAR {
        findings.push(Finding::about(Code::FarFromMark, "marking", words.clone()));
    }
    free_length_check(request, bench, permitted.free_length, findings);
    Some(MarkingVerdict {
        decision,
        marked_rate: Some(marked),
        marking_text: request.marking.text.clone(),
        readings,
        difference_ratio: difference,
        difference_expanded_uncertainty_ratio: expanded,
        rate_tolerance_ratio: permitted.rate_ratio,
        lower_limit: limits.map(|(low, _)| SpringRate::from_si(low)),
        upper_limit: limits.map(|(_, high)| SpringRate::from_si(high)),
        conformance_probability: limits.map(|limits| conformance(limits, bench.rate)),
        load_tolerance_ratio: permitted.load_ratio,
        free_length_tolerance: permitted.free_length,
        load_tolerance: permitted.load,
        rule: if limits.is_some() {
            format!(
                "accepted within the limits drawn in by the expanded uncertainty at {:.4} coverage, refused outside the \
                 limits widened by it, between the two nothing is decided (JCGM 106:2012, guard band w = U)",
                bench.rate.coverage_probability
            )
        } else {
            "no tolerance of the rate: the difference only".to_owned()
        },
        words,
        din_load_factor: permitted.din_load_factor,
        din_coil_factor: permitted.din_coil_factor,
    })
}

/// What the grade permits, where there is no marked rate to compare with.
fn tolerances_alone(request: &Request, bench: &Bench<'_>, findings: &mut Vec<Finding>) -> Option<MarkingVerdict> {
    request.grade?;
    let permitted = tolerance(request, bench, findings);
    free_length_check(request, bench, permitted.free_length, findings);
    Some(MarkingVerdict {
        decision: None,
        marked_rate: None,
        marking_text: request.marking.text.clone(),
        readings: Vec::new(),
        difference_ratio: 0.0,
        difference_expanded_uncertainty_ratio: 0.0,
        rate_tolerance_ratio: permitted.rate_ratio,
        lower_limit: None,
        upper_limit: None,
        conformance_probability: None,
        load_tolerance_ratio: permitted.load_ratio,
        free_length_tolerance: permitted.free_length,
        load_tolerance: permitted.load,
        rule: "no marked rate: what the grade permits, no verdict".to_owned(),
        words: "no marked rate to judge by".to_owned(),
        din_load_factor: permitted.din_load_factor,
        din_coil_factor: permitted.din_coil_factor,
    })
}

/// Guarded acceptance and guarded refusal, guard band equal to the expanded uncertainty (JCGM 106:2012, 8.3).
fn decide((low, high): (f64, f64), rate: &Estimate<SpringRate>) -> Decision {
    let (value, guard) = (rate.value.si(), rate.expanded_uncertainty.si());
    if value >= low + guard && value <= high - guard {
        Decision::Accepted
    } else if value < low - guard || value > high + guard {
        Decision::Refused
    } else {
        Decision::CannotTell
    }
}

/// Probability that the rate lies within the limits, given the measurement and no more (JCGM 106:2012, 7).
fn conformance((low, high): (f64, f64), rate: &Estimate<SpringRate>) -> f64 {
    let (value, u) = (rate.value.si(), rate.standard_uncertainty.si());
    if u > 0.0 {
        let below = |limit: f64| probability_below((limit - value) / u, rate.degrees_of_freedom);
        (below(high) - below(low)).clamp(0.0, 1.0)
    } else {
        f64::from(u8::from((low..=high).contains(&value)))
    }
}

fn in_words(difference: f64, expanded: f64) -> String {
    let percent = 100.0 * difference.abs();
    if percent < 0.05 {
        return "as marked".to_owned();
    }
    let side = if difference < 0.0 { "soft" } else { "stiff" };
    let within = if difference.abs() <= expanded {
        ", no more than its uncertainty"
    } else {
        ""
    };
    format!("{percent:.1} % {side}{within}")
}

fn decision_in_words(decision: Decision, ratio: f64) -> String {
    let percent = 100.0 * ratio;
    match decision {
        Decision::Accepted => format!("; within the {percent:.1} % permitted"),
        Decision::Refused => format!("; outside the {percent:.1} % permitted"),
        Decision::CannotTell => format!("; the uncertainty reaches over the {percent:.1} % permitted: cannot tell"),
    }
}

fn warn(decision: Decision, words: &str, findings: &mut Vec<Finding>) {
    let code = match decision {
        Decision::Accepted => return,
        Decision::Refused => Code::OutOfTolerance,
        Decision::CannotTell => Code::ToleranceCannotTell,
    };
    findings.push(Finding::about(code, "grade", words.to_owned()));
}

/// The marked rate as entered, else read from the text.
fn marked_rate(
    request: &Request,
    measured: f64,
    findings: &mut Vec<Finding>,
) -> Option<(Entered<StiffnessUnit>, Vec<MarkReading>)> {
    let text = request.marking.text.trim();
    let read = if text.is_empty() { None } else { read(text, measured) };
    let Some(entered) = request.marking.rate else {
        return match read {
            Some((marked, readings)) => {
                if !readings.is_empty() {
                    findings.push(Finding::about(
                        Code::MarkUnitChosen,
                        "marking.text",
                        format!(
                            "the mark \"{text}\" has no unit; the bench value is nearest to {}",
                            as_entered(marked)
                        ),
                    ));
                }
                Some((marked, readings))
            }
            None if text.is_empty() => None,
            None => {
                findings.push(Finding::about(
                    Code::MarkNotRead,
                    "marking.text",
                    format!(
                        "the mark \"{text}\" cannot be read as a rate; write a number, with its unit where it has one"
                    ),
                ));
                None
            }
        };
    };
    if let Some((marked, readings)) = read {
        let said = SpringRate::of(entered).si();
        let agrees = |rate: Entered<StiffnessUnit>| (SpringRate::of(rate).si() / said - 1.0).abs() < 0.005;
        if !agrees(marked) && !readings.iter().any(|reading| agrees(reading.rate)) {
            findings.push(Finding::about(
                Code::MarkContradicts,
                "marking",
                format!(
                    "the mark \"{text}\" and the marked rate {} are not the same; the marked rate is used",
                    as_entered(entered)
                ),
            ));
        }
    }
    Some((entered, Vec::new()))
}

/// What a mark on a spring can mean: with a unit what it says, without one every reading between 2 and 400 N/mm (common
/// practice, no source), else every reading there is. Empty: it is no rate. Example: "0.95" is 0.95 kgf/mm and nothing else.
#[must_use]
pub fn mark_rates(text: &str) -> Vec<Entered<StiffnessUnit>> {
    // A decimal comma stands on springs; a mark is kept as it is, so it is read, not refused.
    let text = text.replace(',', ".");
    match Entered::<StiffnessUnit>::from_str(&text) {
        Ok(entered) => return vec![entered],
        Err(TextError::UnitMissing { .. }) => {}
        Err(_) => return Vec::new(),
    }
    let value: f64 = text.trim().parse().unwrap_or(f64::NAN);
    if value.is_nan() || value <= 0.0 {
        return Vec::new();
    }
    let units = [
        StiffnessUnit::NewtonPerMillimeter,
        StiffnessUnit::KilogramForcePerMillimeter,
        StiffnessUnit::PoundForcePerInch,
    ];
    let all: Vec<Entered<StiffnessUnit>> = units
        .iter()
        .filter_map(|unit| Entered::new(value, *unit).ok())
        .collect();
    let sensible = |rate: &&Entered<StiffnessUnit>| SENSIBLE.contains(&SpringRate::of(**rate).si());
    let kept: Vec<Entered<StiffnessUnit>> = all.iter().filter(sensible).copied().collect();
    if kept.is_empty() { all } else { kept }
}

fn has_unit(text: &str) -> bool {
    Entered::<StiffnessUnit>::from_str(&text.replace(',', ".")).is_ok()
}

/// Reads a mark: with a unit as it says, without one in every sensible unit, the one nearest to the bench value chosen.
fn read(text: &str, measured: f64) -> Option<(Entered<StiffnessUnit>, Vec<MarkReading>)> {
    let kept = mark_rates(text);
    if let ([only], true) = (kept.as_slice(), has_unit(text)) {
        return Some((*only, Vec::new()));
    }
    let away = |rate: &Entered<StiffnessUnit>| (measured / SpringRate::of(*rate).si()).ln().abs();
    let chosen = kept.iter().copied().min_by(|a, b| away(a).total_cmp(&away(b)))?;
    let readings = kept
        .iter()
        .map(|rate| MarkReading {
            rate: *rate,
            difference_ratio: measured / SpringRate::of(*rate).si() - 1.0,
            chosen: *rate == chosen,
        })
        .collect();
    Some((chosen, readings))
}

#[derive(Default)]
struct Permitted {
    rate_ratio: Option<f64>,
    load_ratio: Option<f64>,
    free_length: Option<Length>,
    load: Option<Force>,
    din_load_factor: Option<f64>,
    din_coil_factor: Option<f64>,
}

fn tolerance(request: &Request, bench: &Bench<'_>, findings: &mut Vec<Finding>) -> Permitted {
    let geometry = &request.geometry;
    match request.grade {
        None => Permitted::default(),
        Some(Grade::StatedRatio(ratio)) => Permitted {
            rate_ratio: Some(ratio),
            ..Permitted::default()
        },
        Some(Grade::JisB2704(grade)) => {
            let nominal = nominal_free_length(request);
            let found = geometry
                .active_coil_count
                .and_then(|n| jis_b_2704(grade, n, index(geometry), nominal));
            let Some(found) = found else {
                not_applicable("JIS B 2704 needs the active coils, 3 or more", findings);
                return Permitted::default();
            };
            Permitted {
                rate_ratio: Some(found.rate_ratio),
                load_ratio: Some(found.load_ratio),
                free_length: found.free_length,
                ..Permitted::default()
            }
        }
        Some(Grade::Din2095(grade)) => {
            let spring = din_spring(geometry);
            let load = request
                .marking
                .load
                .or(bench.maximum_load)
                .unwrap_or(Load::from_si(0.0));
            let found = spring.and_then(|s| din_2095(grade, &s, load));
            let Some(found) = found else {
                not_applicable(
                    "DIN 2095 needs wire and mean coil diameter, active coils and shear modulus within its scope",
                    findings,
                );
                return Permitted::default();
            };
            findings.push(Finding::about(
                Code::Unconfirmed,
                "grade",
                "the DIN 2095 / EN 15800 formula is from memory and no readable source confirms it; it limits loads and \
                 the free length, not the rate, so no verdict on the rate is given"
                    .to_owned(),
            ));
            Permitted {
                free_length: Some(found.free_length),
                load: request.marking.load.or(bench.maximum_load).map(|_| found.load),
                din_load_factor: Some(found.load_factor),
                din_coil_factor: Some(found.coil_factor),
                ..Permitted::default()
            }
        }
    }
}

fn not_applicable(why: &str, findings: &mut Vec<Finding>) {
    findings.push(Finding::about(Code::GradeNotApplicable, "geometry", why.to_owned()));
}

fn index(geometry: &Geometry) -> Option<f64> {
    geometry
        .index_ratio
        .or_else(|| Some(geometry.mean_coil_diameter?.si() / geometry.wire_diameter?.si()))
}

fn din_spring(geometry: &Geometry) -> Option<DinSpring> {
    Some(DinSpring {
        wire_diameter: geometry.wire_diameter?,
        mean_coil_diameter: geometry.mean_coil_diameter?,
        active_coil_count: geometry.active_coil_count?,
        shear_modulus: geometry.shear_modulus?,
    })
}

fn nominal_free_length(request: &Request) -> Option<FreeLength> {
    request.marking.free_length.or(request.geometry.free_length)
}

fn free_length_check(request: &Request, bench: &Bench<'_>, permitted: Option<Length>, findings: &mut Vec<Finding>) {
    let (Some(measured), Some(nominal), Some(permitted)) = (bench.free_length, nominal_free_length(request), permitted)
    else {
        return;
    };
    let off = measured.value.si() - nominal.si();
    if off.abs() > permitted.si() {
        let words = Words::new(request.units);
        findings.push(Finding::about(
            Code::FreeLengthOff,
            "marking.free_length",
            format!(
                "free length {} measured, {} marked, {} permitted",
                words.length(measured.value.si()),
                words.length(nominal.si()),
                words.length(permitted.si())
            ),
        ));
    }
}
