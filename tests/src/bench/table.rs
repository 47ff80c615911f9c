//! The table.

use std::io::Write as _;
use std::time::Instant;

/// One line of it.
pub(crate) struct Line {
    pub(crate) row: &'static str,
    pub(crate) what: String,
    /// What was measured.
    pub(crate) measured: String,
    /// What it is measured against.
    pub(crate) against: String,
    pub(crate) ratio: String,
    pub(crate) target: &'static str,
}

impl Line {
    pub(crate) fn new(row: &'static str, what: impl Into<String>) -> Self {
        Self {
            row,
            what: what.into(),
            measured: String::new(),
            against: String::new(),
            ratio: String::new(),
            target: "",
        }
    }

    pub(crate) fn measured(mut self, text: impl Into<String>) -> Self {
        self.measured = text.into();
        self
    }

    pub(crate) fn against(mut self, text: impl Into<String>) -> Self {
        self.against = text.into();
        self
    }

    pub(crate) fn ratio(mut self, text: impl Into<String>, target: &'static str) -> Self {
        (self.ratio, self.target) = (text.into(), target);
        self
    }

    fn cells(&self) -> [&str; 6] {
        [
            self.row,
            &self.what,
            &self.measured,
            &self.against,
            &self.ratio,
            self.target,
        ]
    }
}

const HEADS: [&str; 6] = ["row", "what", "measured", "against", "ratio", "target"];

/// The lines under one another, each column as wide as its widest cell.
pub(crate) fn print(lines: &[Line]) {
    let rows: Vec<[&str; 6]> = std::iter::once(HEADS).chain(lines.iter().map(Line::cells)).collect();
    let mut widths = [0; 6];
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    for row in rows {
        let padded = row.iter().zip(widths).map(|(cell, width)| format!("{cell:<width$}"));
        say(padded.collect::<Vec<_>>().join("  ").trim_end());
    }
}

/// A line on standard output.
pub(crate) fn say(line: &str) {
    let mut out = std::io::stdout();
    // Nobody reads any more when it fails.
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

/// A line on standard error: what is being done.
pub(crate) fn note(line: &str) {
    let _ = writeln!(std::io::stderr(), "{line}");
}

pub(crate) fn percent(part: f64, of: f64) -> String {
    format!("{:.0} %", 100.0 * part / of)
}

/// What some work gave last, and its least time of so many rounds in ms: what else the machine does only ever adds.
pub(crate) fn least<T>(rounds: usize, work: impl Fn() -> Result<T, String>) -> Result<(T, f64), String> {
    let (mut found, mut best) = (work()?, f64::INFINITY);
    for _ in 0..rounds {
        let started = Instant::now();
        found = std::hint::black_box(work()?);
        best = best.min(started.elapsed().as_secs_f64() * 1e3);
    }
    Ok((found, best))
}
