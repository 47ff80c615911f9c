//! A fitted calibration as a person reads it: the curve, how well it fits, the readings that were turned back.

use std::fmt::Write as _;

use wire::v1;

use super::figures::{self, Exactness};
use super::{said, table};

/// The reply as text.
pub(crate) fn fitted(reply: &v1::FitCalibrationResponse) -> String {
    let number = |value: f64| figures::number(value, 0, Exactness::Computed);
    let mut text = String::new();
    let terms = reply.coefficients.iter().enumerate().map(|(place, term)| {
        let sign = match (place, term.value < 0.0) {
            (0, true) => "-",
            (0, false) => "",
            (_, true) => " - ",
            (_, false) => " + ",
        };
        let power = match term.power {
            0 => String::new(),
            1 => " applied".to_owned(),
            power => format!(" applied^{power}"),
        };
        format!("{sign}{}{power}", number(term.value.abs()))
    });
    let _ = writeln!(text, "shown = {}", terms.collect::<String>());
    let _ = writeln!(
        text,
        "scatter about the curve {} as shown, over {} points; {} % explained",
        number(reply.residual_standard_deviation),
        reply.residuals.len(),
        number(100.0 * reply.explained_ratio)
    );
    let _ = writeln!(
        text,
        "class AA from {}, class A from {} applied (lower limit factor {})",
        number(reply.class_aa_from),
        number(reply.class_a_from),
        number(reply.lower_limit_factor)
    );
    let mut coefficients = table::Table::new(["power", "coefficient", "standard uncertainty"].map(str::to_owned));
    for term in &reply.coefficients {
        coefficients.row([
            term.power.to_string(),
            number(term.value),
            number(term.standard_uncertainty),
        ]);
    }
    lines(&mut text, "coefficients", &coefficients);
    if !reply.readings.is_empty() {
        let mut readings = table::Table::new(["shown", "applied", "standard uncertainty"].map(str::to_owned));
        for reading in &reply.readings {
            readings.row([
                number(reading.shown),
                number(reading.applied),
                number(reading.standard_uncertainty),
            ]);
        }
        lines(&mut text, "readings turned back", &readings);
    }
    text.push_str(&said::assumptions(&reply.assumptions));
    if !reply.used.is_empty() {
        let names: Vec<_> = reply.used.iter().map(|used| used.name.as_str()).collect();
        let _ = writeln!(text, "read: {}", names.join(", "));
    }
    text.push_str(&said::findings(&reply.findings));
    text
}

fn lines(text: &mut String, heading: &str, table: &table::Table) {
    let _ = writeln!(text, "{heading}");
    for row in table.lines() {
        let _ = writeln!(text, "  {}", row.trim_end());
    }
}
