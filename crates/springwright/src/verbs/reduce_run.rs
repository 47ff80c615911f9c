//! The short flags of `spring reduce-run`.

use clap::{Arg, ArgMatches};
use mechanics::quantity::{self, TextError};
use prost_reflect::DynamicMessage;

use super::bench::Flag;
use super::csv_samples;
use crate::args::flag;
use crate::entry::{enter, share};
use crate::fail::Fail;

/// Flags that set one field each.
pub(super) fn flags() -> Vec<Flag> {
    let mut flags: Vec<_> = [
        ("run", "run", "A recorded run, such as runs/r1; needs --server"),
        (
            "tester",
            "tester",
            "A tester whose calibration and frame hold, such as testers/press; left out: the run's",
        ),
        (
            "uncalibrated",
            "uncalibrated",
            "Takes the loads as shown, whatever calibration is kept: true or false",
        ),
        (
            "measured-rate",
            "measured_rate.rate",
            "A rate measured elsewhere, instead of samples",
        ),
        ("u", "measured_rate.standard_uncertainty", "Its standard uncertainty"),
        (
            "dof",
            "measured_rate.degrees_of_freedom",
            "Degrees of freedom of that; left out: unlimited",
        ),
        (
            "total-travel",
            "window.share.total_travel",
            "Travel the window's shares are of, from contact",
        ),
        (
            "frame",
            "frame.stiffness.rate",
            "Rate of the tester's own frame, such as \"2500 N/mm\"",
        ),
        (
            "frame-uncertainty",
            "frame.stiffness.standard_uncertainty",
            "Its standard uncertainty",
        ),
        (
            "grade",
            "grade",
            "Tolerance for the verdict: jis:1-3, din:1-3, or a permitted share such as 5%",
        ),
        ("wire-diameter", "geometry.wire_diameter", "Wire diameter"),
        ("mean-diameter", "geometry.mean_coil_diameter", "Mean coil diameter"),
        (
            "active-coils",
            "geometry.active_coil_count",
            "Active coils, such as 12.5",
        ),
        ("index", "geometry.index_ratio", "Mean coil diameter over wire diameter"),
        ("free-length", "geometry.free_length", "Free length"),
        ("solid-length", "geometry.solid_length", "Solid length"),
        (
            "shear-modulus",
            "geometry.shear_modulus",
            "Shear modulus of the wire, such as \"78500 MPa\"",
        ),
        (
            "load-cell-capacity",
            "load_cell.capacity",
            "Load at which the cell ends",
        ),
        (
            "platen-gap",
            "platen_gap",
            "Gap between the platens at deflection 0; gives lengths",
        ),
        (
            "preset-strokes",
            "strokes.preset_stroke_count",
            "Strokes at the start that only set the spring",
        ),
        (
            "coverage",
            "uncertainty.coverage_probability",
            "Probability the expanded uncertainty covers, such as 95%",
        ),
        (
            "load-scale-limit",
            "uncertainty.load_scale_limit_ratio",
            "Limit of the load scale's error, such as 0.5%",
        ),
        (
            "deflection-scale-limit",
            "uncertainty.deflection_scale_limit_ratio",
            "Limit of the deflection scale's error",
        ),
        (
            "load-resolution",
            "uncertainty.load_resolution",
            "Width of the last digit of a load",
        ),
        (
            "deflection-resolution",
            "uncertainty.deflection_resolution",
            "Width of the last digit of a deflection",
        ),
        (
            "temperature",
            "uncertainty.test_temperature",
            "Temperature of the spring in the test, such as 24degC",
        ),
        (
            "reference-deflection",
            "reference_deflection",
            "Deflection the intercept is given at",
        ),
    ]
    .map(|(name, path, help)| Flag::new(name, path, help))
    .into();
    let mut predict = Flag::new(
        "predict-at",
        "predict_at",
        "Deflection the line's load is wanted at (may be repeated)",
    );
    predict.many = true;
    flags.push(predict);
    flags.extend([
        Flag::many(
            "rate-at",
            "curve.rate_at",
            "Deflection the rate is wanted at (may be repeated)",
        ),
        Flag::new(
            "rate-half-count",
            "curve.rate_half_count",
            "Readings to either side it is taken over",
        ),
        Flag::new(
            "segments",
            "curve.segment_count",
            "Takes the curve as so many straight parts, instead of judging",
        ),
        Flag::new(
            "max-segments",
            "curve.max_segment_count",
            "Most straight parts that are tried, 1 to 4",
        ),
        Flag::new(
            "rates",
            "curve.rate_place_count",
            "So many places over the travel at which the rate is wanted",
        ),
        Flag::new(
            "load-noise",
            "uncertainty.load_noise",
            "Standard deviation of a load reading; with that of the deflections the line with errors in both is given",
        ),
        Flag::new(
            "deflection-noise",
            "uncertainty.deflection_noise",
            "Standard deviation of a deflection reading",
        ),
    ]);
    flags
}

/// Flags that need a form of their own.
pub(super) fn args() -> Vec<Arg> {
    [
        ("csv", "Samples from a CSV file, or from stdin with \"-\""),
        (
            "columns",
            "What its columns hold, such as deflection:mm,load:N; \"skip\" for others, NAME=load:N to pick by heading",
        ),
        (
            "tare",
            "No-load level: a load such as \"2 N\", leading:50 samples, or none",
        ),
        ("window", "Where the rate is taken: 30..70%, 10mm..60mm, or all"),
        (
            "marking",
            "What stands on the spring, such as \"9.5 N/mm\", or \"0.95\" without a unit",
        ),
        ("load-cell-class", "Accuracy class of the load cell: 0.5, 1, 2 or 3"),
    ]
    .map(|(name, help)| flag(name.to_owned(), help.to_owned(), false))
    .into()
}

/// Enters a text of a form of its own.
type Form = fn(&mut DynamicMessage, &str) -> Result<(), String>;

/// Lays those over the request.
pub(super) fn enter_flags(message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    let given = |name: &str| matches.get_one::<String>(name).map(|text| text.trim());
    match (given("csv"), given("columns")) {
        (Some(file), columns) => csv_samples::enter_samples(message, file, columns)?,
        (None, Some(_)) => {
            return Err(Fail::error(
                "--columns says what the columns of --csv FILE hold; no file was given",
            ));
        }
        (None, None) => {}
    }
    let forms: [(&str, Form); 4] = [
        ("tare", tare),
        ("window", window),
        ("marking", marking),
        ("load-cell-class", load_cell_class),
    ];
    for (name, form) in forms {
        if let Some(text) = given(name) {
            form(message, text).map_err(|words| Fail::at(format!("--{name}"), words))?;
        }
    }
    Ok(())
}

fn tare(message: &mut DynamicMessage, text: &str) -> Result<(), String> {
    match text.split_once(':') {
        _ if text == "none" => enter(message, "tare.none", "true"),
        Some(("leading", count)) => enter(message, "tare.leading_sample_count", count),
        _ => enter(message, "tare.load", text).map_err(|words| format!("{words}; or leading:50, or none")),
    }
}

fn window(message: &mut DynamicMessage, text: &str) -> Result<(), String> {
    if text == "all" {
        return enter(message, "window.all_samples", "true");
    }
    let form = || format!("\"{text}\" is no window; write 30..70%, 10mm..60mm, or all");
    let (from, to) = text.split_once("..").ok_or_else(form)?;
    let Some(to) = to.trim().strip_suffix('%') else {
        enter(message, "window.deflections.from", from)?;
        return enter(message, "window.deflections.to", to);
    };
    let per_cent = |text: &str| share(&format!("{}%", text.trim().trim_end_matches('%'))).map_err(|_| form());
    // Each end is entered as the share it is; 30 of a hundred has one nearest double and this division finds it.
    enter(message, "window.share.from_ratio", &per_cent(from)?.to_string())?;
    enter(message, "window.share.to_ratio", &per_cent(to)?.to_string())
}

fn marking(message: &mut DynamicMessage, text: &str) -> Result<(), String> {
    match quantity::read("Stiffness", text) {
        Ok(_) => enter(message, "marking.rate", text),
        // A bare mark is kept as it stands: the reply reads it in every sensible unit.
        Err(TextError::UnitMissing { .. } | TextError::NoNumber(_)) => enter(message, "marking.text", text),
        Err(fault) => Err(fault.to_string()),
    }
}

fn load_cell_class(message: &mut DynamicMessage, text: &str) -> Result<(), String> {
    let class = match text {
        "0.5" | "half" => "CLASS_HALF",
        "1" | "2" | "3" => &format!("CLASS_{text}"),
        _ => return Err(format!("\"{text}\" is no class; known: 0.5, 1, 2, 3")),
    };
    enter(message, "load_cell.class", class)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::api;

    fn json(form: Form, text: &str) -> Result<String, String> {
        let mut message = DynamicMessage::new(api::method("SpringService/ReduceRun").unwrap().input());
        form(&mut message, text).map(|()| serde_json::to_string(&message).unwrap())
    }

    #[test]
    fn a_window_is_by_shares_by_deflections_or_everything() {
        assert_eq!(
            json(window, "30..70%").unwrap(),
            r#"{"window":{"share":{"fromRatio":0.3,"toRatio":0.7}}}"#
        );
        assert_eq!(json(window, "30% .. 70 %").unwrap(), json(window, "30..70%").unwrap());
        assert!(
            json(window, "10mm..60mm")
                .unwrap()
                .contains(r#""to":{"value":60.0,"unit":"UNIT_MILLIMETER"}"#)
        );
        assert_eq!(json(window, "all").unwrap(), r#"{"window":{"allSamples":true}}"#);
        assert!(json(window, "10..60").unwrap_err().contains("no unit"));
    }

    #[test]
    fn a_mark_without_a_unit_is_kept_as_text_and_one_with_an_unknown_unit_is_refused() {
        assert_eq!(json(marking, "0.95").unwrap(), r#"{"marking":{"text":"0.95"}}"#);
        assert!(
            json(marking, "9.5 N/mm")
                .unwrap()
                .contains("UNIT_NEWTON_PER_MILLIMETER")
        );
        assert!(json(marking, "9.5 parsec").unwrap_err().contains("known: N/mm"));
    }
}
