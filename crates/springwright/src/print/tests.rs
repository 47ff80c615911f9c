//! Replies as they come out on the screen.

use prost_reflect::DynamicMessage;

use super::{refuses, reply};
use crate::api;

fn of(call: &str, json: &str) -> DynamicMessage {
    let kind = api::method(call).unwrap().output();
    DynamicMessage::deserialize(kind, &mut serde_json::Deserializer::from_str(json)).unwrap()
}

const SOFT: &str = r#"{
  "rate": {"value": {"value": 9.31234, "unit": "UNIT_NEWTON_PER_MILLIMETER"},
    "standardUncertainty": {"value": 0.0291, "unit": "UNIT_NEWTON_PER_MILLIMETER"},
    "expandedUncertainty": {"value": 0.0603, "unit": "UNIT_NEWTON_PER_MILLIMETER"},
    "coverageFactor": 2.07, "coverageProbability": 0.95, "degreesOfFreedom": 23.4,
    "budget": [
      {"source": "scatter about the line", "type": "EVALUATION_TYPE_A", "standardUncertainty": {"value": 0.01, "unit": "UNIT_NEWTON_PER_MILLIMETER"}, "sensitivity": 1.0},
      {"source": "load scale, class 1", "type": "EVALUATION_TYPE_B", "standardUncertainty": {"value": 0.0273, "unit": "UNIT_NEWTON_PER_MILLIMETER"}, "sensitivity": 1.0}]},
  "twoPointRate": {"value": 9.3000001, "unit": "UNIT_NEWTON_PER_MILLIMETER"},
  "knees": [{"kind": "KIND_BIND", "deflection": {"value": {"value": 92.4, "unit": "UNIT_MILLIMETER"}, "expandedUncertainty": {"value": 0.31, "unit": "UNIT_MILLIMETER"}, "coverageFactor": 2.0, "coverageProbability": 0.95}}],
  "shape": "SPRING_SHAPE_STRAIGHT_TO_BIND",
  "curve": {"deflectionUnit": "UNIT_MILLIMETER", "loadUnit": "UNIT_NEWTON", "press": [{"deflection": 0.0, "load": 1.0}, {"deflection": 60.0, "load": 560.0}]},
  "markingVerdict": {"decision": "DECISION_REFUSED", "markedRate": {"value": 9.5, "unit": "UNIT_NEWTON_PER_MILLIMETER"}, "differenceRatio": -0.01975},
  "window": {"from": {"value": 18.0, "unit": "UNIT_MILLIMETER"}, "to": {"value": 42.0, "unit": "UNIT_MILLIMETER"}, "base": "30 to 70 % of the test travel", "pointCount": "241"},
  "findings": [
    {"code": "COIL_BIND", "severity": "SEVERITY_HAZARD", "message": "it binds at 92.4 mm", "caution": "never press on"},
    {"code": "FEW_STROKES", "severity": "SEVERITY_NOTE", "message": "one stroke only"}],
  "assumptions": [{"subject": "frame", "text": "rigid", "source": "common practice, no source"}]
}"#;

#[test]
fn a_reduced_run_gives_the_verdict_first_and_the_caution_last() {
    let message = of("SpringService/ReduceRun", SOFT);
    let text = reply(&message);
    let lines: Vec<_> = text.lines().collect();
    assert_eq!(lines[0], "marked 9.50 N/mm, measured 9.312 ± 0.060 N/mm: 2.0 % soft");
    assert!(lines[1].starts_with("REFUSED"), "{text}");
    assert_eq!(lines.last().unwrap(), &"CAUTION: never press on");
    assert!(
        text.find("note: one stroke").unwrap() < text.find("HAZARD: it binds").unwrap(),
        "{text}"
    );
    for part in [
        "9.312 ± 0.060 N/mm (95 %, k = 2.07)",
        "18.00 mm to 42.00 mm, 241 points; 30 to 70 % of the test travel",
        "coil bind at 92.40 ± 0.31 mm",
        "load scale, class 1     B",
        "88 %",
        "press 2 points, 0 to 60 mm, 1 to 560 N",
        "frame: rigid (common practice, no source)",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    assert!(refuses(&message));
}

#[test]
fn a_calibration_gives_its_curve_first() {
    let json = r#"{"coefficients": [{"power": 0, "value": -0.04}, {"power": 1, "value": 1.0147}, {"power": 2, "value": 2e-6}],
      "residuals": [1, 2, 3], "readings": [{"shown": 310.5, "applied": 305.96, "standardUncertainty": 0.2}],
      "used": [{"name": "testers/press@3"}]}"#;
    let text = reply(&of("SpringService/FitCalibration", json));
    assert!(
        text.starts_with("shown = -0.04 + 1.0147 applied + 0.000002 applied^2\n"),
        "{text}"
    );
    for part in ["over 3 points", "310.5", "305.96", "read: testers/press@3"] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
}

#[test]
fn a_record_shows_what_was_entered_to_the_last_digit() {
    let json = r#"{"name": "springs/a7", "revision": "3", "createTime": "2026-03-01T08:30:00Z", "label": "fork,\tleft",
        "markedRate": {"value": 0.123456789, "unit": "UNIT_KILOGRAM_FORCE_PER_MILLIMETER"},
        "grade": {"system": "SYSTEM_JIS_B_2704", "grade": 2}}"#;
    let text = reply(&of("RackService/GetSpring", json));
    assert_eq!(
        text,
        "name         springs/a7\nrevision     3\ncreate time  2026-03-01T08:30:00Z\nlabel        fork,\u{fffd}left\n\
         marked rate  0.123456789 kgf/mm\ngrade\n  system  jis b 2704\n  grade   2\n"
    );
}

#[test]
fn a_list_of_records_is_a_table_without_bookkeeping() {
    let json = r#"{"springs": [
        {"name": "springs/a", "uid": "u", "etag": "e", "revision": "1", "label": "left", "markedRate": {"value": 9.5, "unit": "UNIT_NEWTON_PER_MILLIMETER"}},
        {"name": "springs/bcd", "uid": "v", "etag": "f", "revision": "12", "grade": {"grade": 2}}], "nextPageToken": "t"}"#;
    let text = reply(&of("RackService/ListSprings", json));
    assert_eq!(
        text,
        "next page token  t\nsprings (2)\n  name         revision  label  marked rate\n  springs/a           1  left     9.50 N/mm\n  springs/bcd        12\n"
    );
}

#[test]
fn long_columns_are_counted_and_ranged() {
    let values: Vec<_> = (0..20).map(|value| format!("{value}.5")).collect();
    let json = format!(
        r#"{{"block": {{"number": "1", "columns": [{{"values": [{}]}}]}}}}"#,
        values.join(",")
    );
    let text = reply(&of("RunService/ReadRunSamples", &json));
    assert!(text.contains("20 values, 0.5 to 19.5"), "{text}");
}
