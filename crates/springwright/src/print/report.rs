//! What a reduced run says: the verdict first, cautions last.

use std::fmt::Write as _;

use wire::v1::{self, ReduceRunResponse, SpringShape};

use super::figures::{self, Exactness, clean, per_cent};
use super::said::{assumptions, findings};
use super::springs::likely;
use super::table::Table;
use super::typed::{Estimated, estimated, shown, shown_as};

/// Lines of label and text, aligned when they are all known.
#[derive(Default)]
pub(super) struct Rows(Vec<(&'static str, String)>);

impl Rows {
    pub(super) fn add(&mut self, label: &'static str, text: Option<String>) {
        self.0.extend(text.map(|text| (label, text)));
    }

    pub(super) fn write(&self, report: &mut String) {
        let width = self.0.iter().map(|(label, _)| label.chars().count()).max().unwrap_or(0);
        for (label, text) in &self.0 {
            let _ = writeln!(report, "{label:width$}  {text}");
        }
    }
}

/// The report on a reduced run.
pub(crate) fn reduced(reply: &ReduceRunResponse) -> String {
    let mut report = verdict(reply);
    report.push('\n');
    let mut rows = Rows::default();
    rates(reply, &mut rows);
    spring(reply, &mut rows);
    rows.write(&mut report);
    knees(reply, &mut report);
    parts(reply, &mut report);
    local_rates(reply, &mut report);
    strokes(reply, &mut report);
    budget(reply, &mut report);
    if !reply.predicted_loads.is_empty() {
        let loads = reply.predicted_loads.iter().filter_map(|load| estimated(Some(load)));
        let _ = writeln!(
            report,
            "\nloads of the line where asked for\n  {}",
            loads.collect::<Vec<_>>().join("\n  ")
        );
    }
    for section in [assumptions(&reply.assumptions), used(reply), findings(&reply.findings)] {
        if !section.is_empty() {
            report.push('\n');
            report.push_str(&section);
        }
    }
    report
}

/// `marked 9.5 N/mm, measured 9.31 ± 0.06 N/mm: 2.0 % soft`, then what was decided.
fn verdict(reply: &ReduceRunResponse) -> String {
    let measured = reply.rate.as_ref().and_then(Estimated::estimate);
    let measured = measured.map_or_else(
        || "no rate".to_owned(),
        |estimate| format!("measured {}", estimate.short()),
    );
    let Some(verdict) = &reply.marking_verdict else {
        return format!("{measured}; no marking to compare with\n");
    };
    let marked = shown_as(verdict.marked_rate.as_ref(), Exactness::Entered);
    let marked = match (marked, verdict.marking_text.as_str()) {
        (Some(rate), "") => format!("marked {rate}"),
        (Some(rate), text) if rate.starts_with(text) || text.ends_with(|end: char| end.is_alphabetic()) => {
            format!("marked {rate}")
        }
        (Some(rate), text) => format!("marked \"{}\", read as {rate}", clean(text)),
        (None, "") => "no mark".to_owned(),
        (None, text) => format!("marked \"{}\", which fits no unit", clean(text)),
    };
    let mut line = format!("{marked}, {measured}");
    if verdict.marked_rate.is_some() {
        let _ = write!(line, ": {}", difference(verdict.difference_ratio));
    }
    line.push('\n');
    let _ = writeln!(line, "{}", decision(verdict));
    // The service's own sentence repeats the first line unless there is more to explain.
    let explains = !verdict.readings.is_empty() || verdict.decision() == v1::marking_verdict::Decision::CannotTell;
    if explains && !verdict.words.is_empty() {
        let _ = writeln!(line, "  {}", clean(&verdict.words));
    }
    let probability = verdict
        .conformance_probability
        .map(|probability| format!("; probability that it is within: {}", likely(probability)));
    if let (Some(low), Some(high)) = (shown(verdict.lower_limit.as_ref()), shown(verdict.upper_limit.as_ref())) {
        let tolerance = verdict
            .rate_tolerance_ratio
            .map(|ratio| format!(" (±{})", per_cent(ratio)))
            .unwrap_or_default();
        let _ = writeln!(
            line,
            "  limits {low} to {high}{tolerance}{}",
            probability.unwrap_or_default()
        );
    }
    if verdict.readings.len() > 1 {
        let readings = verdict.readings.iter().filter_map(|reading| {
            let chosen = if reading.chosen { ", chosen" } else { "" };
            Some(format!(
                "{} ({}{chosen})",
                shown_as(reading.rate.as_ref(), Exactness::Entered)?,
                difference(reading.difference_ratio)
            ))
        });
        let _ = writeln!(
            line,
            "  the mark has no unit; read as {}",
            readings.collect::<Vec<_>>().join(", ")
        );
    }
    line
}

/// A spring's words for above and below its mark.
fn difference(ratio: f64) -> String {
    let share = format!("{:.1}", ratio.abs() * 100.0);
    match share.as_str() {
        "0.0" => "as marked".to_owned(),
        share if ratio < 0.0 => format!("{share} % soft"),
        share => format!("{share} % stiff"),
    }
}

fn decision(verdict: &v1::MarkingVerdict) -> &'static str {
    use v1::marking_verdict::Decision;
    match verdict.decision() {
        Decision::Accepted => "ACCEPTED: within the tolerance, uncertainty taken off",
        Decision::Refused => "REFUSED: outside the tolerance by more than the uncertainty",
        Decision::CannotTell => "CANNOT TELL: the uncertainty reaches over a limit",
        Decision::Unspecified => "no tolerance was given, so nothing is decided",
    }
}

fn rates(reply: &ReduceRunResponse, rows: &mut Rows) {
    rows.add("rate", estimated(reply.rate.as_ref()));
    rows.add(
        "window",
        reply.window.as_ref().and_then(|window| {
            let ends = format!("{} to {}", shown(window.from.as_ref())?, shown(window.to.as_ref())?);
            Some(format!(
                "{ends}, {} points; {}",
                window.point_count,
                clean(&window.base)
            ))
        }),
    );
    rows.add("two-point rate", shown(reply.two_point_rate.as_ref()));
    rows.add(
        "robust rate",
        reply.robust_rate.as_ref().and_then(|robust| {
            let ends = shown(robust.lower.as_ref()).zip(shown(robust.upper.as_ref()));
            let ends = ends
                .map(|(low, high)| format!(" ({low} to {high})"))
                .unwrap_or_default();
            let repeated = shown(robust.repeated_median.as_ref()).map(|rate| format!(", repeated median {rate}"));
            Some(format!(
                "{}{ends}{}",
                shown(robust.value.as_ref())?,
                repeated.unwrap_or_default()
            ))
        }),
    );
    rows.add(
        "scatter",
        reply.fit.as_ref().and_then(|fit| {
            let points = figures::number(fit.effective_point_count, 0, Exactness::Computed);
            Some(format!(
                "{} about the line; {points} points count",
                shown(fit.residual_standard_deviation.as_ref())?
            ))
        }),
    );
    rows.add(
        "frame",
        reply.frame_bias_ratio.map(|bias| {
            format!(
                "its give was taken off; left in, the rate would read {} too {}",
                per_cent((bias.abs() * 1e5).round() / 1e5),
                if bias < 0.0 { "low" } else { "high" }
            )
        }),
    );
}

fn spring(reply: &ReduceRunResponse, rows: &mut Rows) {
    rows.add(
        "contact",
        reply.contact.as_ref().and_then(|contact| {
            let tare = shown(contact.tare.as_ref())
                .map(|tare| format!("; no-load level {tare}"))
                .unwrap_or_default();
            let drift = shown(contact.tare_drift.as_ref())
                .map(|drift| format!(", drifted {drift}"))
                .unwrap_or_default();
            Some(format!("at {}{tare}{drift}", estimated(contact.deflection.as_ref())?))
        }),
    );
    rows.add(
        "friction",
        reply.friction.as_ref().and_then(|friction| {
            let rates = shown(friction.press_rate.as_ref()).zip(shown(friction.return_rate.as_ref()));
            let rates = rates
                .map(|(press, back)| format!("; press {press}, return {back}"))
                .unwrap_or_default();
            Some(format!("{}{rates}", estimated(friction.force.as_ref())?))
        }),
    );
    rows.add("free length", estimated(reply.free_length.as_ref()));
    rows.add("solid length", estimated(reply.solid_length.as_ref()));
    rows.add(
        "shape",
        match reply.shape() {
            SpringShape::Straight => Some("straight as far as it was pressed".to_owned()),
            SpringShape::StraightToBind => Some("straight up to coil bind".to_owned()),
            SpringShape::DualRate => Some("two straight parts, the second the stiffer".to_owned()),
            SpringShape::Progressive => Some("progressive: one rate does not describe it".to_owned()),
            SpringShape::Undetermined => Some("cannot be told from these samples".to_owned()),
            SpringShape::Unspecified => None,
        }
        .map(|words| match reply.shape_probability_ratio {
            Some(probability) => format!("{words}; probability {}", likely(probability)),
            None => words,
        }),
    );
    rows.add(
        "errors in both",
        reply.both_errors.as_ref().and_then(|line| {
            let misfit = line.misfit_ratio.map(|ratio| {
                format!(
                    "; misfit {} (near 1 where the noises stated hold)",
                    figures::number(ratio, 0, Exactness::Computed)
                )
            });
            Some(format!(
                "slope {}, standard uncertainty {}{}",
                shown(line.slope.as_ref())?,
                shown(line.slope_standard_uncertainty.as_ref())?,
                misfit.unwrap_or_default()
            ))
        }),
    );
    rows.add(
        "pressed to",
        shown(reply.maximum_deflection.as_ref()).map(|deflection| {
            let load = shown(reply.maximum_load.as_ref())
                .map(|load| format!(", {load}"))
                .unwrap_or_default();
            format!("{deflection}{load}")
        }),
    );
    rows.add(
        "energy",
        shown(reply.stored_energy.as_ref()).map(|stored| {
            let lost = shown(reply.lost_energy.as_ref()).map(|lost| format!(", {lost} lost over press and return"));
            format!("{stored} stored at the largest deflection{}", lost.unwrap_or_default())
        }),
    );
    rows.add("curve", reply.curve.as_ref().map(figures::curve_words));
}

/// The straight parts the readings bear out, with their rates.
fn parts(reply: &ReduceRunResponse, report: &mut String) {
    let Some(line) = chosen_line(reply).filter(|line| line.rates.len() > 1) else {
        return;
    };
    report.push_str("\nstraight parts, from the seating of the coils on\n");
    for (index, rate) in line.rates.iter().enumerate() {
        let to = line.breaks.get(index).and_then(|at| estimated(Some(at)));
        let to = to.map_or_else(|| "to the end".to_owned(), |at| format!("up to {at}"));
        let _ = writeln!(report, "  {} {to}", estimated(Some(rate)).unwrap_or_default());
    }
}

fn chosen_line(reply: &ReduceRunResponse) -> Option<&v1::BrokenLine> {
    let fit = reply.curve_fit.as_ref()?;
    let index = usize::try_from(fit.chosen_segment_count).ok()?.checked_sub(1)?;
    fit.lines.get(index)
}

fn knees(reply: &ReduceRunResponse, report: &mut String) {
    for knee in &reply.knees {
        let what = match knee.kind() {
            v1::knee::Kind::Bind => "coil bind",
            v1::knee::Kind::RateChange => "the rate changes",
            v1::knee::Kind::Unspecified => "a knee",
        };
        let at = estimated(knee.deflection.as_ref()).unwrap_or_default();
        let load = shown(knee.load.as_ref())
            .map(|load| format!(", {load}"))
            .unwrap_or_default();
        let rates = shown(knee.rate_before.as_ref()).zip(shown(knee.rate_after.as_ref()));
        let rates = rates
            .map(|(before, after)| format!("; {before} before, {after} after"))
            .unwrap_or_default();
        let _ = writeln!(report, "{what} at {at}{load}{rates}");
    }
}

fn local_rates(reply: &ReduceRunResponse, report: &mut String) {
    for local in &reply.local_rates {
        let at = shown(local.deflection.as_ref()).unwrap_or_default();
        let rate = estimated(local.rate.as_ref()).unwrap_or_default();
        let _ = writeln!(report, "rate at {at}: {rate}, over {} readings", local.point_count);
    }
}

fn strokes(reply: &ReduceRunResponse, report: &mut String) {
    if reply.strokes.len() < 2 {
        return;
    }
    let mut table = Table::new(["stroke", "rate", "pressed to", "load", ""]);
    for stroke in &reply.strokes {
        table.row([
            stroke.number.to_string(),
            shown(stroke.rate.as_ref()).unwrap_or_default(),
            shown(stroke.maximum_deflection.as_ref()).unwrap_or_default(),
            shown(stroke.maximum_load.as_ref()).unwrap_or_default(),
            (if stroke.preset {
                "sets the spring, not counted"
            } else {
                ""
            })
            .to_owned(),
        ]);
    }
    report.push_str("\nstrokes\n");
    indented(&table, report);
}

/// Degrees of freedom from which Student's t is the normal distribution to every digit that is printed.
const MANY_DEGREES: f64 = 1e5;

fn budget(reply: &ReduceRunResponse, report: &mut String) {
    let Some(rate) = reply.rate.as_ref().filter(|rate| !rate.budget.is_empty()) else {
        return;
    };
    let total = rate
        .standard_uncertainty
        .as_ref()
        .and_then(|total| total.value)
        .unwrap_or(0.0);
    let mut table = Table::new(["source", "type", "standard uncertainty", "share of variance"]);
    for line in &rate.budget {
        let kind = match line.r#type() {
            v1::EvaluationType::A => "A",
            v1::EvaluationType::B => "B",
            v1::EvaluationType::Unspecified => "",
        };
        let part = line
            .standard_uncertainty
            .as_ref()
            .and_then(|part| part.value)
            .unwrap_or(0.0);
        let share = if total > 0.0 {
            format!("{:.0} %", (part / total).powi(2) * 100.0)
        } else {
            String::new()
        };
        table.row([
            clean(&line.source),
            kind.to_owned(),
            shown(line.standard_uncertainty.as_ref()).unwrap_or_default(),
            share,
        ]);
    }
    let freedom = rate
        .degrees_of_freedom
        .filter(|freedom| *freedom < MANY_DEGREES)
        .map_or_else(
            || "unlimited".to_owned(),
            |freedom| figures::number(freedom, 0, Exactness::Computed),
        );
    let sum = shown(rate.standard_uncertainty.as_ref()).unwrap_or_default();
    table.row([
        "all together".to_owned(),
        String::new(),
        sum,
        format!("degrees of freedom {freedom}"),
    ]);
    report.push_str("\nwhere the uncertainty of the rate comes from\n");
    indented(&table, report);
}

fn indented(table: &Table, report: &mut String) {
    for line in table.lines() {
        let _ = writeln!(report, "  {}", line.trim_end());
    }
}

fn used(reply: &ReduceRunResponse) -> String {
    let names: Vec<_> = reply.used.iter().map(|used| clean(&used.name)).collect();
    if names.is_empty() {
        String::new()
    } else {
        format!("read: {}\n", names.join(", "))
    }
}
