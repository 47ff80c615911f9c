//! Readings of the simulated tester, last digits and all: invented data.

use std::process::{Command, Stdio};

/// A whole test.
pub(crate) struct Test {
    pub(crate) elapsed_us: Vec<i64>,
    /// Millimetres.
    pub(crate) deflections: Vec<f64>,
    /// Newtons.
    pub(crate) loads: Vec<f64>,
}

/// Seconds of a stroke: 3 mm of approach and 93.5 mm of travel at 10 mm/s, there and back, with rests of half a second.
const STROKE: f64 = 20.3;

/// Strokes of about so many readings in all, as the program's own tester prints them.
pub(crate) fn test(count: usize, strokes: usize) -> Result<Test, String> {
    let rate = format!("{}", count as f64 / STROKE / strokes as f64);
    let strokes = strokes.to_string();
    let output = Command::new(acceptance::program()?)
        .args([
            "tester",
            "--print",
            "--tare",
            "2.5 N",
            "--strokes",
            &strokes,
            "--sample-rate-hz",
            &rate,
        ])
        .stdin(Stdio::null())
        .output()
        .map_err(|error| format!("the tester does not start: {error}"))?;
    if !output.status.success() {
        return Err(acceptance::both(&output));
    }
    let mut test = Test {
        elapsed_us: Vec::new(),
        deflections: Vec::new(),
        loads: Vec::new(),
    };
    let text = String::from_utf8_lossy(&output.stdout);
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let mut fields = line.split_whitespace();
        let mut next = || fields.next().ok_or_else(|| format!("the tester said {line:?}"));
        test.elapsed_us.push(number(next()?)?);
        test.deflections.push(number(next()?)?);
        test.loads.push(number(next()?)?);
    }
    if test.loads.is_empty() {
        return Err("the tester said nothing".to_owned());
    }
    Ok(test)
}

fn number<T: std::str::FromStr>(text: &str) -> Result<T, String> {
    text.parse().map_err(|_| format!("{text:?} is no number"))
}
