//! A machine's trend: against orders counted by hand, and against what must hold of any line.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test all through")]

use mechanics::follow::{ShareAt, Trend, TrendRules, TrendState, prediction_met, share_trend};
use mechanics::quantity::{Length, LengthUnit, Quantity};
use proptest::prelude::*;

const RULES: TrendRules = TrendRules {
    limit: 0.25,
    coverage: 0.95,
};

fn points(given: &[(f64, f64)]) -> Vec<ShareAt> {
    given
        .iter()
        .map(|(distance, share)| ShareAt {
            distance: Length::new(*distance, LengthUnit::Kilometer),
            share: *share,
        })
        .collect()
}

fn trend(given: &[(f64, f64)]) -> Trend {
    share_trend(&points(given), RULES)
}

/// Check SET-25: Theil (1950) and Sen (1968) for the line; a perfectly ordered series of n has two-sided probability 2/n!.
#[test]
fn published_case_of_a_closing_adjuster() {
    let visits = [
        (0.0, 0.58),
        (1_500.0, 0.54),
        (3_200.0, 0.50),
        (5_200.0, 0.46),
        (7_000.0, 0.41),
        (9_100.0, 0.37),
    ];
    let found = trend(&visits);
    let near = |value: f64, wanted: f64| assert!((value / wanted - 1.0).abs() < 1e-6, "{value} {wanted}");
    assert_eq!(found.state, TrendState::Closing);
    near(found.slope_per_kilometer.unwrap(), -2.307_692_307_692_308_2e-5);
    near(found.intercept.unwrap(), 0.576_923_076_923_076_9);
    near(
        found.limit_distance.unwrap().get(LengthUnit::Kilometer),
        14_166.666_666_666_66,
    );
    for (count, probability, may_show) in [
        (3, 1.0 / 3.0, false),
        (4, 1.0 / 12.0, false),
        (5, 1.0 / 60.0, true),
        (6, 1.0 / 360.0, true),
    ] {
        let some = trend(&visits[..count]);
        near(some.order_probability.unwrap(), probability);
        assert_eq!(some.state == TrendState::Closing, may_show, "{count}");
    }
}

#[test]
fn one_wild_visit_moves_neither_line_nor_verdict() {
    let mut visits: Vec<(f64, f64)> = (0..9)
        .map(|n| (f64::from(n) * 1_000.0, 0.8 - 0.04 * f64::from(n)))
        .collect();
    let straight = trend(&visits);
    visits[4].1 = 1.0;
    let wild = trend(&visits);
    assert_eq!((straight.state, wild.state), (TrendState::Closing, TrendState::Closing));
    assert!((wild.slope_per_kilometer.unwrap() + 4e-5).abs() < 5e-7, "{wild:?}");
}

#[test]
fn clicks_that_stand_still_are_no_trend_and_ties_never_make_one() {
    let level = trend(&[(0.0, 0.5), (1e3, 0.5), (2e3, 0.5), (3e3, 0.5), (4e3, 0.5)]);
    assert_eq!((level.state, level.order_probability), (TrendState::None, Some(1.0)));
    let tied = trend(&[(0.0, 0.6), (1e3, 0.55), (2e3, 0.55), (3e3, 0.5), (4e3, 0.45)]);
    assert_eq!(tied.state, TrendState::None, "{tied:?}");
}

#[test]
fn a_limit_that_is_passed_or_lies_behind_is_not_foretold() {
    let below = trend(&[(0.0, 0.4), (1e3, 0.35), (2e3, 0.3), (3e3, 0.25), (4e3, 0.2)]);
    assert_eq!((below.state, below.limit_distance), (TrendState::Closing, None));
    let opening = trend(&[(0.0, 0.3), (1e3, 0.35), (2e3, 0.4), (3e3, 0.45), (4e3, 0.5)]);
    assert_eq!((opening.state, opening.limit_distance), (TrendState::Opening, None));
}

#[test]
fn of_visits_at_one_distance_the_last_counts() {
    let once = trend(&[(0.0, 0.6), (1e3, 0.5)]);
    let twice = trend(&[(0.0, 0.6), (1e3, 0.9), (1e3, 0.5)]);
    assert_eq!(once, twice);
    assert_eq!(trend(&[(1e3, 0.5)]).slope_per_kilometer, None);
}

#[test]
fn a_prediction_is_missed_beyond_two_standard_uncertainties_only() {
    let mm = |value: f64| Length::new(value, LengthUnit::Millimeter);
    let met = prediction_met((mm(34.0), mm(3.0)), (mm(43.9), mm(4.0)));
    assert!(!met.differs, "{met:?}");
    let missed = prediction_met((mm(34.0), mm(3.0)), (mm(44.1), mm(4.0)));
    assert!(missed.differs, "{missed:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..Default::default() })]

    /// Another unit of distance, another order of the visits, the mirror image.
    #[test]
    fn a_trend_follows_its_data(shares in prop::collection::vec(0.0..1.0_f64, 2..30), stretch in 0.01..100.0_f64, rotate in 0..30_usize) {
        let visits: Vec<_> = shares.iter().enumerate().map(|(n, share)| (n as f64 * 700.0 + 3.0, *share)).collect();
        let found = trend(&visits);
        let mut moved = visits.clone();
        moved.rotate_left(rotate % visits.len());
        prop_assert_eq!(trend(&moved), found);
        let stretched: Vec<_> = visits.iter().map(|(x, y)| (x * stretch, *y)).collect();
        let other = trend(&stretched);
        prop_assert_eq!(other.state, found.state);
        let (a, b) = (found.slope_per_kilometer.unwrap(), other.slope_per_kilometer.unwrap() * stretch);
        prop_assert!((a - b).abs() <= 1e-9 * a.abs().max(1e-12), "{} {}", a, b);
        let mirrored: Vec<_> = visits.iter().map(|(x, y)| (*x, 1.0 - y)).collect();
        let turned = trend(&mirrored);
        prop_assert!((turned.slope_per_kilometer.unwrap() + a).abs() < 1e-12);
        prop_assert_eq!(turned.order_probability, found.order_probability);
        if let Some((low, high)) = found.interval_per_kilometer {
            prop_assert!(low <= a && a <= high);
        }
    }
}
