//! A run read back through the calibration of its load cell: physical identities and the spread of repeated calibrations.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails where it stands")]

use mechanics::finding::Code;
use mechanics::quantity::{Load, Quantity};
use mechanics::spring::{CellClass, LoadCalibration, LoadCurve, Reduced, Request, Samples, Tare, Window, reduce};

/// N/m.
const RATE: f64 = 9_500.0;

fn calibration(shown_at: impl Fn(usize, f64) -> f64, degree: usize) -> LoadCalibration {
    let applied: Vec<f64> = (0..=10).map(|k| 100.0 * f64::from(k)).collect();
    LoadCalibration {
        shown: applied
            .iter()
            .enumerate()
            .map(|(k, load)| Load::from_si(shown_at(k, *load)))
            .collect(),
        applied: applied.into_iter().map(Load::from_si).collect(),
        degree,
        through_origin: false,
        reference_standard_uncertainty_ratio: 0.0,
    }
}

/// A spring pressed 90 mm from 5 mm on, shown by a cell.
fn request(show: impl Fn(f64) -> f64) -> Request {
    let deflections: Vec<f64> = (0..400).map(|k| 0.095 * f64::from(k) / 399.0).collect();
    let loads: Vec<f64> = deflections.iter().map(|s| show(RATE * (s - 0.005).max(0.0))).collect();
    Request::of_samples(Samples::from_si(&deflections, &loads))
}

fn reduced(request: &Request) -> Reduced {
    reduce(request).unwrap()
}

fn u_of(reduced: &Reduced, source: &str) -> f64 {
    let rows = reduced.rate.budget.iter().filter(|row| row.source.contains(source));
    rows.map(|row| row.standard_uncertainty.si()).sum()
}

#[test]
fn a_cell_that_errs_is_read_back_to_the_true_rate() {
    // 2 % too much, 6 N off, and bent.
    let show = |load: f64| 6.0 + 1.02 * load + 1.5e-5 * load * load;
    let mut asked = request(show);
    let raw = reduced(&asked).rate.value.si();
    asked.calibration = Some(LoadCurve::fit(&calibration(|_, load| show(load), 2)).unwrap());
    let found = reduced(&asked);
    assert!((raw / RATE - 1.0).abs() > 0.02, "{raw}");
    assert!(
        (found.rate.value.si() / RATE - 1.0).abs() < 1e-6,
        "{}",
        found.rate.value.si()
    );
    // A tare that is stated is what was shown: read back it is nothing.
    asked.tare = Tare::Level(Load::from_si(6.0));
    let tared = reduced(&asked);
    assert!(tared.contact.as_ref().unwrap().tare.si().abs() < 1e-6);
    assert!((tared.maximum_load.unwrap().si() - RATE * 0.09).abs() < 1e-3);
}

#[test]
fn a_calibration_of_exactly_what_is_shown_changes_nothing() {
    let show = |load: f64| load;
    let mut asked = request(show);
    let plain = reduced(&asked).rate.value.si();
    asked.calibration = Some(LoadCurve::fit(&calibration(|_, load| load, 1)).unwrap());
    assert!((reduced(&asked).rate.value.si() / plain - 1.0).abs() < 1e-12);
}

/// JCGM 100:2008, 5.2.2 against the plain spread of what repeated calibrations lead to.
#[test]
fn the_budget_holds_the_spread_of_repeated_calibrations() {
    let mut state = 42_u64;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31) * 4.0 - 2.0
    };
    let (mut rates, mut said) = (Vec::new(), 0.0);
    for _ in 0..200 {
        let errors: Vec<f64> = (0..11).map(|_| noise()).collect();
        let mut asked = request(|load| load);
        asked.window = Window::default();
        asked.calibration = Some(LoadCurve::fit(&calibration(|k, load| load + errors[k], 2)).unwrap());
        let found = reduced(&asked);
        rates.push(found.rate.value.si());
        said += u_of(&found, "curve of the load calibration").powi(2) / 200.0;
    }
    let mean = rates.iter().sum::<f64>() / 200.0;
    let spread = (rates.iter().map(|k| (k - mean).powi(2)).sum::<f64>() / 199.0).sqrt();
    assert!(
        (said.sqrt() / spread - 1.0).abs() < 0.15,
        "{} against {spread}",
        said.sqrt()
    );
}

#[test]
fn the_reference_counts_and_the_class_gives_way() {
    let mut asked = request(|load| load);
    asked.load_cell.class = Some(CellClass::One);
    assert!(u_of(&reduced(&asked), "load scale") > 0.0);
    let given = LoadCalibration {
        reference_standard_uncertainty_ratio: 0.002,
        ..calibration(|_, load| load, 1)
    };
    asked.calibration = Some(LoadCurve::fit(&given).unwrap());
    let found = reduced(&asked);
    assert_eq!(u_of(&found, "load scale"), 0.0);
    assert!((u_of(&found, "reference of the load calibration") / (0.002 * RATE) - 1.0).abs() < 1e-6);
}

#[test]
fn loads_beyond_the_calibrated_range_are_said() {
    let codes = |top: f64| {
        let mut asked = request(|load| load);
        let mut given = calibration(|_, load| load, 1);
        let scale = |loads: &mut Vec<Load>| {
            loads
                .iter_mut()
                .for_each(|load| *load = Load::from_si(load.si() * top / 1_000.0))
        };
        scale(&mut given.applied);
        scale(&mut given.shown);
        asked.calibration = Some(LoadCurve::fit(&given).unwrap());
        let found = reduced(&asked);
        assert!((found.rate.value.si() / RATE - 1.0).abs() < 1e-9);
        found
            .findings
            .iter()
            .any(|finding| finding.code == Code::BeyondCalibration)
    };
    assert!(codes(500.0));
    assert!(!codes(1_000.0));
}
