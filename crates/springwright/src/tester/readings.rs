//! What the displays show: truth, offset, drift, noise, the cell's end, the last digit.

use std::io::Write;

use mechanics::quantity::{ForceUnit, LengthUnit, Unit};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::setup::{Between, Setup};
use super::stroke::Strokes;
use super::truth::Bench;

/// One reading, as the line will say it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    /// Its number in the test, from 0; counts those that never reach the line.
    pub(crate) number: u64,
    /// By the tester's clock.
    pub(crate) elapsed_us: u64,
    /// In the unit of the deflection's resolution.
    pub(crate) deflection: f64,
    /// In the unit of the load's resolution.
    pub(crate) load: f64,
}

/// A display with a last digit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Display {
    resolution: f64,
    pub(super) decimals: usize,
}

impl Display {
    pub(super) fn of(resolution: f64) -> Self {
        // 0.25 needs two decimals, 0.5 one: the fewest in which the digit itself can be written.
        let whole = |decimals: &i32| {
            let scaled = resolution * 10f64.powi(*decimals);
            (scaled - scaled.round()).abs() < 1e-9 * scaled.max(1.0) && scaled.round() >= 1.0
        };
        let decimals = (0..=9).find(whole).unwrap_or(9);
        Self {
            resolution,
            decimals: usize::try_from(decimals).unwrap_or(9),
        }
    }

    /// The value as shown: text first, so that what is sent and what is said here cannot differ.
    fn show(self, value: f64) -> f64 {
        let shown = (value / self.resolution).round() * self.resolution;
        // Adding 0 makes a display's "-0.0" a plain zero.
        format!("{shown:.*}", self.decimals).parse().unwrap_or(shown) + 0.0
    }
}

/// The readings of a test, in order. The same set-up gives the same readings.
#[derive(Debug, Clone)]
pub(crate) struct Readings {
    setup: Setup,
    strokes: Strokes,
    bench: Bench,
    noise: ChaCha8Rng,
    load: Display,
    deflection: Display,
    number: u64,
    count: u64,
}

impl Readings {
    /// Starts the test.
    pub(crate) fn of(setup: &Setup) -> Self {
        let strokes = Strokes::of(setup);
        Self {
            strokes,
            bench: Bench::of(setup),
            noise: ChaCha8Rng::seed_from_u64(setup.seed),
            load: Display::of(setup.resolution.value()),
            deflection: Display::of(setup.deflection_resolution.value()),
            number: 0,
            count: (strokes.duration() * setup.sample_rate).floor() as u64 + 1,
            setup: setup.clone(),
        }
    }

    fn take(&mut self, number: u64) -> Reading {
        let setup = &self.setup;
        let time = number as f64 / setup.sample_rate;
        let position = self.strokes.position(time);
        let load = self.bench.press(position - setup.approach);
        let shown_load = load
            + setup.tare
            + setup.drift_per_second * time
            + self.noise.sample::<f64, _>(StandardNormal) * setup.noise;
        let shown_deflection = position + self.noise.sample::<f64, _>(StandardNormal) * setup.deflection_noise;
        let clock = number - setup.restart_clock_at.filter(|at| number >= *at).unwrap_or(0);
        let newton = ForceUnit::Newton.row();
        let millimeter = LengthUnit::Millimeter.row();
        let in_unit_of_load = |value: f64| setup.resolution.unit().row().of_si(newton.to_si(value));
        let in_unit_of_deflection =
            |value: f64| setup.deflection_resolution.unit().row().of_si(millimeter.to_si(value));
        Reading {
            number,
            elapsed_us: (clock as f64 * 1e6 / setup.sample_rate).round() as u64,
            deflection: self.deflection.show(in_unit_of_deflection(shown_deflection)),
            load: self
                .load
                .show(in_unit_of_load(shown_load.clamp(-setup.capacity, setup.capacity))),
        }
    }
}

impl Iterator for Readings {
    type Item = Reading;

    fn next(&mut self) -> Option<Reading> {
        while self.number < self.count {
            let number = self.number;
            self.number += 1;
            let reading = self.take(number);
            let lost = |lost: super::setup::Lost| number >= lost.first && number - lost.first < lost.count;
            if !self.setup.lose.is_some_and(lost) {
                return Some(reading);
            }
        }
        None
    }
}

/// Writes readings as lines.
#[derive(Debug, Clone)]
pub(super) struct Lines {
    load: Display,
    deflection: Display,
    setup: Setup,
}

impl Lines {
    pub(super) fn of(setup: &Setup) -> Self {
        Self {
            load: Display::of(setup.resolution.value()),
            deflection: Display::of(setup.deflection_resolution.value()),
            setup: setup.clone(),
        }
    }

    pub(super) fn opening(&self, from: u64) -> String {
        // The same set-up promises the same readings: its print is its name.
        let test = crc32c::crc32c(format!("{:?}", self.setup).as_bytes());
        self.opening_of(&format!("{test:08x}"), from)
    }

    pub(super) fn opening_of(&self, test: &str, from: u64) -> String {
        let separator = match self.setup.separator {
            Between::Space => "space",
            Between::Comma => "comma",
            Between::Semicolon => "semicolon",
            Between::Tab => "tab",
        };
        let mut words = vec!["springwright tester 1; simulated, invented data".to_owned()];
        if self.setup.checksum {
            words.push("checksum crc32c".to_owned());
        }
        words.extend([
            format!("test {test}"),
            format!(
                "columns elapsed:us,deflection:{},load:{}",
                self.setup.deflection_resolution.unit().row().symbol,
                self.setup.resolution.unit().row().symbol
            ),
            format!("separator {separator}"),
            "resume from-line".to_owned(),
            format!("from {from}"),
        ]);
        words.iter().map(|words| self.note(words, from)).collect()
    }

    /// Words about the test, after so many readings.
    pub(super) fn note(&self, words: &str, said: u64) -> String {
        self.ended(format!("# {words}"), said)
    }

    /// A line with its end; with `--checksum` its number and checksum stand before it.
    fn ended(&self, text: String, number: u64) -> String {
        if !self.setup.checksum {
            return text + "\n";
        }
        let covered = format!("{text}*{number}");
        format!("{covered}*{:08x}\n", crc32c::crc32c(covered.as_bytes()))
    }

    /// A reading's line; readings count from 1.
    pub(super) fn line(&self, reading: &Reading, tare: f64, number: u64) -> String {
        let between = match self.setup.separator {
            Between::Space => ' ',
            Between::Comma => ',',
            Between::Semicolon => ';',
            Between::Tab => '\t',
        };
        let text = format!(
            "{}{between}{:.*}{between}{:.*}",
            reading.elapsed_us,
            self.deflection.decimals,
            reading.deflection,
            self.load.decimals,
            reading.load - tare + 0.0,
        );
        self.ended(text, number)
    }
}

/// Writes a whole test.
pub(super) fn write_test(setup: &Setup, out: &mut impl Write) -> std::io::Result<()> {
    let lines = Lines::of(setup);
    out.write_all(lines.opening(0).as_bytes())?;
    let mut count = 0u64;
    for reading in Readings::of(setup) {
        count += 1;
        out.write_all(lines.line(&reading, 0.0, count).as_bytes())?;
    }
    out.write_all(lines.note(&format!("end {count}"), count).as_bytes())?;
    out.flush()
}

#[cfg(test)]
mod tests;
