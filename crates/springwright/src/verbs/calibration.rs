//! The short flags of the verbs on calibrations.

use clap::{Arg, ArgMatches};
use csv::StringRecord;
use prost_reflect::DynamicMessage;

use super::bench::Flag;
use super::csv_samples::read;
use crate::args::flag;
use crate::entry::enter;
use crate::fail::Fail;

/// Flags of a tester's calibration, frame and cell, beside those of its own fields.
pub(super) fn of_tester() -> Vec<Flag> {
    [
        (
            "degree",
            "calibration.degree",
            "Degree of the calibration's curve, 1 to 5",
        ),
        (
            "through-origin",
            "calibration.through_origin",
            "Whether the curve must go through the origin: true or false",
        ),
        (
            "applied-unit",
            "calibration.applied_unit",
            "Unit of the applied loads: N, kgf, lbf",
        ),
        ("shown-unit", "calibration.shown_unit", "Unit of the loads shown"),
        (
            "calibrated",
            "calibration.calibrate_time",
            "When it was calibrated, such as 2026-03-01",
        ),
        ("due", "calibration.due_time", "When it is due again"),
        (
            "certificate",
            "calibration.certificate",
            "Number of the certificate, in words",
        ),
        (
            "reference-uncertainty",
            "calibration.reference_standard_uncertainty_ratio",
            "Standard uncertainty of the reference, such as 0.05%",
        ),
        ("frame-rate", "frame.stiffness.rate", "Rate of the tester's own frame"),
        (
            "frame-uncertainty",
            "frame.stiffness.standard_uncertainty",
            "Its standard uncertainty",
        ),
        (
            "load-cell-class",
            "load_cell.class",
            "Accuracy class of the load cell: half, 1, 2 or 3",
        ),
        (
            "load-cell-capacity",
            "load_cell.capacity",
            "Load at which the cell ends",
        ),
    ]
    .map(|(name, path, help)| Flag::new(name, &format!("tester.{path}"), help))
    .into_iter()
    .chain([Flag::many(
        "points",
        "tester.calibration.points",
        "Points of the calibration as APPLIED:SHOWN, such as \"0:0.2, 500:507.4, 1000:1014.8\"",
    )])
    .collect()
}

/// Flags that need a form of their own.
pub(super) fn args() -> Vec<Arg> {
    let help = "Points from a CSV file with two columns, applied and shown; a line of headings is passed over";
    vec![flag("points-csv".to_owned(), help.to_owned(), false)]
}

/// Lays those over the request.
pub(super) fn enter_flags(message: &mut DynamicMessage, matches: &ArgMatches, path: &str) -> Result<(), Fail> {
    let Some(file) = matches.get_one::<String>("points-csv") else {
        return Ok(());
    };
    let text = read(file).map_err(|fault| Fail::at(format!("--points-csv {file}"), fault))?;
    let points = points(&text).map_err(|words| Fail::at(format!("--points-csv {file}"), words))?;
    enter(message, path, &points).map_err(|words| Fail::at(format!("--points-csv {file}"), words))
}

/// The points of a file in the form in which they are typed.
fn points(text: &str) -> Result<String, String> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut typed = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record: StringRecord = record.map_err(|fault| fault.to_string())?;
        let number = |text: &str| text.parse::<f64>().is_ok();
        match record.iter().collect::<Vec<_>>().as_slice() {
            [applied, shown] if number(applied) && number(shown) => typed.push(format!("{applied}:{shown}")),
            [_, _] if index == 0 => {}
            fields => {
                let line = record.position().map_or(0, csv::Position::line);
                return Err(format!(
                    "line {line}: \"{}\" is no point; two numbers are wanted, applied and shown",
                    fields.join(",")
                ));
            }
        }
    }
    Ok(typed.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_of_points_may_have_headings_and_nothing_else() {
        assert_eq!(
            points("applied,shown\n0,0.2\n# again\n500, 507.4\n").unwrap(),
            "0:0.2, 500:507.4"
        );
        assert!(points("0,0.2\nx,1\n").unwrap_err().starts_with("line 2"));
        assert!(points("0,0.2,3\n").unwrap_err().starts_with("line 1"));
    }
}
