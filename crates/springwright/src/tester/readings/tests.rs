//! The truth seen through the displays. Expected values follow from the options alone.

use clap::Parser;

use super::super::setup::{Options, Setup};
use super::super::truth::Bench;
use super::*;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    options: Options,
}

fn setup(arguments: &str) -> Setup {
    let arguments = std::iter::once("tester").chain(arguments.split('|').filter(|part| !part.is_empty()));
    Setup::try_from(&Line::try_parse_from(arguments).unwrap().options).unwrap()
}

fn text(setup: &Setup) -> String {
    let mut out = Vec::new();
    write_test(setup, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// No noise, fine digits: what is left is the truth.
const BARE: &str = "--noise=0 N|--deflection-noise=0 mm|--resolution=0.0001 N|--deflection-resolution=0.0001 mm|--strokes=1|--approach=0 mm";

fn slope(readings: &[Reading], window: std::ops::Range<f64>) -> f64 {
    let inside: Vec<_> = readings.iter().filter(|r| window.contains(&r.deflection)).collect();
    let (first, last) = (inside.first().unwrap(), inside.last().unwrap());
    (last.load - first.load) / (last.deflection - first.deflection)
}

fn pressing(readings: &[Reading]) -> &[Reading] {
    let top = readings.iter().map(|r| r.deflection).fold(0.0, f64::max);
    let end = readings.iter().position(|r| r.deflection == top).unwrap();
    &readings[..end]
}

#[test]
fn the_same_seed_says_the_same_lines_and_another_seed_others() {
    let first = text(&setup("--seed=4"));
    assert_eq!(first, text(&setup("--seed=4")));
    assert_ne!(first, text(&setup("--seed=5")));
    assert!(first.lines().count() > 1000 && first.ends_with(&format!("# end {}\n", first.lines().count() - 7)));
}

#[test]
fn mid_stroke_slope_is_the_rate_in_series_with_the_frame() {
    let stiff: Vec<_> = Readings::of(&setup(&format!("{BARE}|--hysteresis=0"))).collect();
    assert!((slope(pressing(&stiff), 30.0..70.0) - 9.5).abs() < 1e-4);
    let soft: Vec<_> = Readings::of(&setup(&format!("{BARE}|--hysteresis=0|--frame-rate=1000 N/mm"))).collect();
    let series = 1.0 / (1.0 / 9.5 + 1.0 / 1000.0);
    assert!((slope(pressing(&soft), 30.0..70.0) - series).abs() < 1e-4);
}

#[test]
fn lifting_reads_lower_by_twice_the_friction() {
    let readings: Vec<_> = Readings::of(&setup(&format!("{BARE}|--friction=6 N|--hysteresis=0.01"))).collect();
    let at = |r: &&Reading| (r.deflection - 50.0).abs() < 1e-3;
    let pressed = pressing(&readings).iter().find(at).unwrap();
    let lifted = readings.iter().rev().find(at).unwrap();
    let elastic = 0.5 * (pressed.load + lifted.load);
    assert!((0.5 * (pressed.load - lifted.load) - (6.0 + 0.01 * elastic)).abs() < 1e-3);
}

#[test]
fn friction_turns_round_over_a_distance_not_at_once() {
    let readings: Vec<_> = Readings::of(&setup(&format!(
        "{BARE}|--friction=6 N|--hysteresis=0|--sample-rate-hz=1000"
    )))
    .collect();
    let top = readings.iter().map(|r| r.deflection).fold(0.0, f64::max);
    let after: Vec<_> = readings
        .iter()
        .skip_while(|r| r.deflection < top)
        .skip_while(|r| r.deflection == top)
        .collect();
    let gap = |r: &Reading| {
        readings
            .iter()
            .find(|p| (p.deflection - r.deflection).abs() < 1e-6)
            .unwrap()
            .load
            - r.load
    };
    let gaps: Vec<_> = [0, 30, 300].iter().map(|n| gap(after[*n])).collect();
    assert!(
        gaps[0] < 1.0 && gaps[1] > 6.0 && gaps[1] < 10.0 && (gaps[2] - 12.0).abs() < 0.01,
        "{gaps:?}"
    );
}

#[test]
fn seating_is_soft_and_closed_coils_are_hard() {
    let readings: Vec<_> =
        Readings::of(&setup(&format!("{BARE}|--friction=0 N|--hysteresis=0|--travel=114 mm"))).collect();
    let press = pressing(&readings);
    assert!(slope(press, 0.0..0.3) < 0.55 * 9.5);
    assert!(slope(press, 112.5..114.0) > 30.0 * 9.5);
    let bench = Bench::of(&setup("--seating=0 mm"));
    assert!((bench.elastic(40.0) - 380.0).abs() < 1e-6);
}

#[test]
fn a_second_rate_takes_over_past_the_knee() {
    let readings: Vec<_> = Readings::of(&setup(&format!(
        "{BARE}|--hysteresis=0|--second-rate=14 N/mm|--knee=40 mm"
    )))
    .collect();
    let press = pressing(&readings);
    assert!((slope(press, 20.0..30.0) - 9.5).abs() < 1e-2 && (slope(press, 55.0..75.0) - 14.0).abs() < 1e-3);
}

#[test]
fn the_cell_clips_drifts_and_shows_its_tare() {
    let readings: Vec<_> = Readings::of(&setup(&format!(
        "{BARE}|--tare=2 N|--drift-per-minute=6 N|--capacity=300 N|--dwell-s=10"
    )))
    .collect();
    assert_eq!(readings[0].load, 2.0);
    let last = readings.last().unwrap();
    assert!((last.load - (2.0 + 0.1 * last.elapsed_us as f64 * 1e-6)).abs() < 1e-3);
    assert_eq!(readings.iter().map(|r| r.load).fold(0.0, f64::max), 300.0);
}

#[test]
fn displays_show_whole_digits_in_their_own_unit() {
    let setup = setup("--resolution=0.25 lbf|--deflection-resolution=0.0005 in|--rate=54 lbf/in");
    let readings: Vec<_> = Readings::of(&setup).collect();
    assert!(readings.iter().all(|r| (r.load / 0.25).fract().abs() < 1e-9));
    let lines = text(&setup);
    assert!(lines.contains("# columns elapsed:us,deflection:in,load:lbf"));
    let said: Vec<Vec<f64>> = lines
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split(' ').map(|field| field.parse().unwrap()).collect())
        .collect();
    assert_eq!(said.len(), readings.len());
    assert!(
        said.iter()
            .zip(&readings)
            .all(|(s, r)| s[1] == r.deflection && s[2] == r.load)
    );
    assert!((slope(pressing(&readings), 1.0..3.0) - 54.0).abs() < 1.0);
}

#[test]
fn lost_readings_are_missing_and_the_clock_can_start_again() {
    let readings: Vec<_> = Readings::of(&setup("--lose=100:50|--restart-clock-at=500")).collect();
    assert_eq!((readings[99].number, readings[100].number), (99, 150));
    let restart = readings.iter().position(|r| r.number == 500).unwrap();
    assert_eq!(
        (readings[restart - 1].elapsed_us, readings[restart].elapsed_us),
        (4_990_000, 0)
    );
}

#[test]
fn a_set_up_that_contradicts_itself_names_the_option() {
    let fault = |arguments: &str| {
        let options = Line::try_parse_from(std::iter::once("tester").chain(arguments.split('|')))
            .unwrap()
            .options;
        Setup::try_from(&options).unwrap_err().to_string()
    };
    assert_eq!(
        fault("--free-length=100 mm"),
        "--free-length is 100.00 mm; allowed: above the solid length"
    );
    assert!(fault("--sample-rate-hz=100000|--dwell-s=3600").contains("10000000"));
}
