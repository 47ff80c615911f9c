//! The reduction of a long test, against the same rules in vectorised NumPy.

use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use acceptance::{repository, tool};
use mechanics::quantity::{Deflection, Load, Quantity};
use mechanics::spring::{self, Frame, Reduced, Request, Samples};
use serde_json::{Value, json};

use crate::process::{itself, json_of, memory_kib, number, reset_peak};
use crate::samples::test;
use crate::table::{Line, note, say};

const READINGS: usize = 100_000;
/// Turns that both take, one after the other, and rounds of each.
const TURNS: usize = 4;
const ROUNDS: usize = 9;
/// Bytes of a reading: deflection and load.
const READING: f64 = 16.0;
/// The same as in the script.
const FRAME: [(f64, f64); 4] = [(0.0, 0.0), (200.0, 4e-5), (1_000.0, 1.6e-4), (3_000.0, 4.2e-4)];

/// The rows of reducing.
pub(crate) fn rows(dir: &Path) -> Result<Vec<Line>, String> {
    let test = test(READINGS, 1)?;
    let count = test.loads.len();
    let file = dir.join("readings");
    let metres = test.deflections.iter().map(|mm| mm / 1e3);
    let bytes: Vec<u8> = metres.chain(test.loads).flat_map(f64::to_le_bytes).collect();
    std::fs::write(&file, bytes).map_err(|error| error.to_string())?;
    note("reduce: ours, then NumPy");
    let named = file.display().to_string();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..TURNS {
        ours.push(json_of(&mut itself(&[
            "--reduce".to_owned(),
            named.clone(),
            ROUNDS.to_string(),
        ]))?);
        let mut script = Command::new(tool("python/bin/python")?);
        script
            .arg(repository().join("tests/bench/reduce.py"))
            .args([&named, &ROUNDS.to_string()])
            // One thread each: on few processors those of the linear algebra would only get in each other's way.
            .env("OPENBLAS_NUM_THREADS", "1");
        theirs.push(json_of(&mut script)?);
    }
    let (ours, theirs) = (fastest(ours)?, fastest(theirs)?);
    let (mine, numpy) = (number(&ours, "ms", "total")?, number(&theirs, "ms", "total")?);
    let mut lines = vec![
        Line::new(
            "reduce",
            format!("{count} readings, press and return, friction, tare, frame curve"),
        )
        .measured(format!("{mine:.1} ms"))
        .against(format!("NumPy {numpy:.1} ms"))
        .ratio(format!("{:.1} times", numpy / mine), ">= 5 times"),
    ];
    let steps = theirs.get("ms").and_then(Value::as_object).into_iter().flatten();
    let steps: Vec<String> = steps
        .filter(|(name, _)| *name != "total")
        .filter_map(|(name, ms)| Some(format!("{name} {:.1}", ms.as_f64()?)))
        .collect();
    lines.push(Line::new("reduce", "NumPy's steps, ms").against(steps.join(", ")));
    let peak = number(&ours, "memory", "peak_kib")? * 1_024.0;
    lines.push(
        Line::new("reduce", "memory above the samples at the peak")
            .measured(format!("{:.1} MB", peak / 1e6))
            .against(format!("samples {:.1} MB", count as f64 * READING / 1e6))
            .ratio(format!("{:.1} times", peak / (count as f64 * READING)), "<= 4 times"),
    );
    let mut agreed = Vec::new();
    for name in ["rate", "robust", "contact", "tare", "friction"] {
        let (a, b) = (number(&ours, "found", name)?, number(&theirs, "found", name)?);
        agreed.push(format!("{name} {:.0e}", ((a - b) / b).abs()));
    }
    lines.push(Line::new("reduce", "how far both answers are apart").measured(agreed.join(", ")));
    Ok(lines)
}

/// The turn with the least total: what else the machine does only ever adds.
fn fastest(turns: Vec<Value>) -> Result<Value, String> {
    let total = |turn: &Value| number(turn, "ms", "total").unwrap_or(f64::INFINITY);
    let least = turns.into_iter().min_by(|a, b| total(a).total_cmp(&total(b)));
    least.ok_or_else(|| "no turn was taken".to_owned())
}

/// This program's part as a process of its own: reduces the readings of a file and says what came out and what it took.
pub(crate) fn part(file: &str, rounds: &str) -> Result<(), String> {
    let rounds: usize = rounds
        .parse()
        .map_err(|_| format!("{rounds:?} is no number of rounds"))?;
    let request = request(&std::fs::read(file).map_err(|error| error.to_string())?);
    reset_peak()?;
    let before = memory_kib("VmRSS")?;
    let reduced = spring::reduce(&request).map_err(|error| error.to_string())?;
    let peak = memory_kib("VmHWM")?.saturating_sub(before);
    let mut times = Vec::new();
    for _ in 0..rounds {
        let started = Instant::now();
        std::hint::black_box(spring::reduce(&request)).map_err(|error| error.to_string())?;
        times.push(started.elapsed().as_secs_f64() * 1e3);
    }
    let total = times.into_iter().fold(f64::INFINITY, f64::min);
    let said = json!({"found": found(&reduced), "ms": {"total": total}, "memory": {"peak_kib": peak}});
    say(&said.to_string());
    std::io::stdout().flush().map_err(|error| error.to_string())
}

fn request(bytes: &[u8]) -> Request {
    let (values, _) = bytes.as_chunks::<8>();
    let (deflections, loads) = values.split_at(values.len() / 2);
    let samples = Samples::new(
        deflections
            .iter()
            .map(|value| Deflection::from_si(f64::from_le_bytes(*value)))
            .collect(),
        loads
            .iter()
            .map(|value| Load::from_si(f64::from_le_bytes(*value)))
            .collect(),
    );
    Request {
        frame: Frame::Curve {
            loads: FRAME.iter().map(|(load, _)| Load::from_si(*load)).collect(),
            gives: FRAME.iter().map(|(_, give)| Deflection::from_si(*give)).collect(),
        },
        ..Request::of_samples(samples)
    }
}

fn found(reduced: &Reduced) -> Value {
    json!({
        "rate": reduced.fit.as_ref().map(|fit| fit.slope.si()),
        "robust": reduced.robust_rate.as_ref().map(|robust| robust.value.si()),
        "contact": reduced.contact.as_ref().map(|contact| contact.deflection.value.si()),
        "tare": reduced.contact.as_ref().map(|contact| contact.tare.si()),
        "friction": reduced.friction.as_ref().map(|friction| friction.force.value.si()),
    })
}
