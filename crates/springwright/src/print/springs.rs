//! Springs in pairs, together, as gas and at the wheel, as a person reads them.

use std::fmt::Write as _;

use wire::v1::{self, PairVerdict};

use super::figures::{clean, per_cent};
use super::report::Rows;
use super::said::{assumptions, findings};
use super::table::Table;
use super::typed::{estimated, shown};

/// What ends every report: what was assumed, what was read, what is unwelcome.
fn ended(mut report: String, assumed: &[v1::Assumption], read: &[v1::UsedRevision], found: &[v1::Finding]) -> String {
    let read: Vec<_> = read.iter().map(|used| clean(&used.name)).collect();
    let read = if read.is_empty() {
        String::new()
    } else {
        format!("read: {}\n", read.join(", "))
    };
    for section in [assumptions(assumed), read, findings(found)] {
        if !section.is_empty() {
            report.push('\n');
            report.push_str(&section);
        }
    }
    report
}

fn section(report: &mut String, heading: &str, table: &Table) {
    let _ = writeln!(report, "\n{heading}");
    for line in table.lines() {
        let _ = writeln!(report, "  {}", line.trim_end());
    }
}

/// A share of a difference: `-4.1 %`.
fn signed(ratio: f64) -> String {
    format!("{:+.2} %", 100.0 * ratio)
}

/// `-4.10 ± 0.25 %`.
fn with_band(ratio: f64, expanded: f64) -> String {
    format!("{:+.2} ± {:.2} %", 100.0 * ratio, 100.0 * expanded)
}

/// Nothing measured is certain: the ends are not printed as 0 and 100 %.
pub(super) fn likely(probability: f64) -> String {
    match (probability * 1000.0).round() {
        1000.0 => "over 99.9 %".to_owned(),
        0.0 => "under 0.1 %".to_owned(),
        thousandths => per_cent(thousandths / 1000.0),
    }
}

/// Whether two springs match.
pub(crate) fn pair(reply: &v1::JudgePairResponse) -> String {
    let verdict = match reply.verdict() {
        PairVerdict::Matched => "MATCHED: rates and curves keep the limit",
        PairVerdict::NotMatched => "NOT MATCHED: rates or curves differ by more than the limit",
        PairVerdict::CannotTell => "CANNOT TELL: the uncertainty reaches over the limit",
        PairVerdict::Unspecified => "nothing is decided",
    };
    let mut report = format!(
        "{verdict}\n  limit {}; probability that they match: {}\n\n",
        per_cent(reply.limit_ratio),
        likely(reply.match_probability_ratio)
    );
    let mut rows = Rows::default();
    rows.add("first", estimated(reply.first_rate.as_ref()));
    rows.add("second", estimated(reply.second_rate.as_ref()));
    if let Some(difference) = &reply.difference {
        let expanded = difference.rate_expanded_uncertainty_ratio;
        rows.add(
            "rates",
            Some(format!(
                "{}, second less first, over their mean",
                with_band(difference.rate_ratio, expanded)
            )),
        );
        let largest = difference.largest.as_ref().and_then(|at| {
            let band = with_band(at.difference_ratio, at.expanded_uncertainty_ratio);
            Some(format!(
                "{band} at {} from contact, where they differ most",
                shown(at.deflection.as_ref())?
            ))
        });
        rows.add("loads", largest);
    }
    rows.write(&mut report);
    if let Some(difference) = reply
        .difference
        .as_ref()
        .filter(|difference| !difference.places.is_empty())
    {
        let mut table = Table::new(["from contact", "difference of the loads"]);
        // Every eighth says what the others do.
        for at in difference.places.iter().step_by(8) {
            table.row([
                shown(at.deflection.as_ref()).unwrap_or_default(),
                with_band(at.difference_ratio, at.expanded_uncertainty_ratio),
            ]);
        }
        section(&mut report, "over the travel both were pressed through", &table);
        let mut table = Table::new(["source", "standard uncertainty"]);
        for line in &difference.budget {
            table.row([
                clean(&line.source),
                signed(line.standard_uncertainty_ratio).replace('+', ""),
            ]);
        }
        section(
            &mut report,
            "where the uncertainty of the rates' difference comes from",
            &table,
        );
    }
    ended(report, &reply.assumptions, &reply.used, &reply.findings)
}

/// What springs together do.
pub(super) fn assembly(reply: &v1::EvaluateAssemblyResponse) -> String {
    let mut report = String::new();
    let mut rows = Rows::default();
    rows.add("rate at first", shown(reply.initial_rate.as_ref()));
    rows.add("preload force", shown(reply.preload_force.as_ref()));
    let closed = shown(reply.travel_to_solid.as_ref());
    rows.add("closed after", Some(closed.unwrap_or_else(|| "never".to_owned())));
    rows.write(&mut report);
    let mut table = Table::new(["deflection", "load", "rate before", "rate after"]);
    for knot in &reply.knots {
        table.row([
            shown(knot.deflection.as_ref()).unwrap_or_default(),
            shown(knot.load.as_ref()).unwrap_or_default(),
            shown(knot.rate_before.as_ref()).unwrap_or_default(),
            shown(knot.rate_after.as_ref()).unwrap_or_default(),
        ]);
    }
    section(&mut report, "load against deflection, where the rate changes", &table);
    if !reply.stops.is_empty() {
        let mut table = Table::new(["part", "load", "deflection"]);
        for stop in &reply.stops {
            let (load, at) = (shown(stop.load.as_ref()), shown(stop.deflection.as_ref()));
            table.row([clean(&stop.part), load.unwrap_or_default(), at.unwrap_or_default()]);
        }
        section(&mut report, "parts that close, in that order", &table);
    }
    if !reply.points.is_empty() {
        section(&mut report, "where it was wanted", &assembly_points(&reply.points));
    }
    ended(report, &reply.assumptions, &reply.used, &reply.findings)
}

fn assembly_points(points: &[v1::AssemblyPoint]) -> Table {
    let mut table = Table::new(["deflection", "load", "rate", "energy", "of which each bears"]);
    for point in points {
        let (before, after) = (shown(point.rate_before.as_ref()), shown(point.rate_after.as_ref()));
        let rate = match (before, after) {
            (Some(before), Some(after)) if before != after => format!("{before}, then {after}"),
            (before, after) => after.or(before).unwrap_or_default(),
        };
        let shares = point
            .shares
            .iter()
            .filter_map(|share| Some(format!("{} {}", clean(&share.part), shown(share.load.as_ref())?)));
        table.row([
            shown(point.deflection.as_ref()).unwrap_or_default(),
            shown(point.load.as_ref()).unwrap_or_default(),
            rate,
            shown(point.energy.as_ref()).unwrap_or_default(),
            shares.collect::<Vec<_>>().join(", "),
        ]);
    }
    table
}

/// A gas spring at strokes; the state of a gas reads well as it is.
pub(super) fn gas(reply: &v1::EvaluateGasSpringResponse) -> Option<String> {
    if reply.state.is_some() {
        return None;
    }
    let mut report = String::new();
    let mut rows = Rows::default();
    rows.add("gas extended", shown(reply.extended_volume.as_ref()));
    rows.write(&mut report);
    let mut table = Table::new([
        "stroke",
        "force",
        "rate",
        "absolute pressure",
        "slow (n = 1.0)",
        "fast (n = 1.4)",
    ]);
    for point in &reply.points {
        table.row([
            shown(point.stroke.as_ref()).unwrap_or_default(),
            shown(point.force.as_ref()).unwrap_or_default(),
            shown(point.rate.as_ref()).unwrap_or_default(),
            shown(point.absolute_pressure.as_ref()).unwrap_or_default(),
            shown(point.slow_force.as_ref()).unwrap_or_default(),
            shown(point.fast_force.as_ref()).unwrap_or_default(),
        ]);
    }
    if !reply.points.is_empty() {
        section(&mut report, "where it was wanted", &table);
    }
    Some(ended(report, &reply.assumptions, &reply.used, &reply.findings))
}

/// What springs are at the wheel.
pub(super) fn wheel(reply: &v1::ComputeWheelRateResponse) -> String {
    let mut report = String::new();
    let mut rows = Rows::default();
    rows.add("vertical force", shown(reply.vertical_force.as_ref()));
    rows.add(
        "scatter of the table",
        shown(reply.residual_standard_deviation.as_ref()),
    );
    rows.write(&mut report);
    let mut table = Table::new([
        "wheel travel",
        "motion ratio",
        "spring force",
        "wheel force",
        "wheel rate",
        "by the ratio alone",
    ]);
    for point in &reply.points {
        table.row([
            shown(point.wheel_travel.as_ref()).unwrap_or_default(),
            format!("{:.4}", point.motion_ratio),
            shown(point.spring_force.as_ref()).unwrap_or_default(),
            shown(point.wheel_force.as_ref()).unwrap_or_default(),
            estimated(point.wheel_rate.as_ref()).unwrap_or_default(),
            shown(point.rate_without_geometry.as_ref()).unwrap_or_default(),
        ]);
    }
    section(
        &mut report,
        "at the wheel (spring over wheel; the rate holds what the changing ratio does to the force)",
        &table,
    );
    ended(
        report.trim_start().to_owned(),
        &reply.assumptions,
        &reply.used,
        &reply.findings,
    )
}
