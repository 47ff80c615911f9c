//! Every rule from both sides of its threshold, the conflicts, and what never waits.

use mechanics::judgement::{
    Action, Adjuster, Circuit, Confidence, DamperType, Direction, EndVisit, Ends, ForceModel, Judgement, Oil, OwnRule,
    Riding, RuleTable, Sag, Serviceability, Subject, Threshold, Visit, Wear, Whole, judge,
};
use mechanics::quantity::{Angle, AngleUnit, KinematicViscosity, KinematicViscosityUnit, Mass, MassUnit, Quantity};
use proptest::prelude::*;

use crate::ends::{about, asks, clicks, fork, mm, months, of_front, of_rear, rate, right, sag, says};

#[test]
fn what_is_right_is_left() {
    for judged in [of_rear(Riding::HardRoad, right()), of_front(fork())] {
        let actions: Vec<Action> = judged.verdicts.iter().map(|one| one.action).collect();
        assert_eq!(actions, [Action::Leave], "{:?}", judged.verdicts);
        assert_eq!((judged.first, judged.verdicts[0].confidence), (None, Confidence::High));
    }
}

#[test]
fn spread_binds_above_its_limit_and_hides_the_sag() {
    let spread = |end: EndVisit, spread: f64| EndVisit {
        sag: Sag {
            spread: mm(spread),
            total: mm(60.0),
            ..end.sag
        },
        ..end
    };
    for (above, below, judged) in [
        (
            8.1,
            8.0,
            &(|end| of_rear(Riding::HardRoad, spread(right(), end))) as &dyn Fn(f64) -> Judgement,
        ),
        (15.1, 15.0, &|end| of_front(spread(fork(), end))),
    ] {
        let (above, below) = (judged(above), judged(below));
        assert!(asks(&above, Subject::Friction) && !asks(&above, Subject::Preload));
        assert!(!asks(&below, Subject::Friction) && asks(&below, Subject::Preload));
    }
}

#[test]
fn valving_waits_where_friction_hides_the_spring() {
    let at = |spread: f64| {
        let end = EndVisit {
            sag: Sag {
                spread: mm(spread),
                ..right().sag
            },
            adjusters: vec![clicks(Circuit::COMPRESSION, 4.0, 24.0)],
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    let waits = |judged: &Judgement| about(judged, Subject::Valving).unwrap().waits_for.clone();
    assert_eq!((waits(&at(8.1)), waits(&at(8.0))), (vec![0], Vec::new()));
}

#[test]
fn total_sag_is_held_against_its_range_of_millimetres_or_of_travel() {
    let at = |total: f64, travel: f64, riding| {
        let end = EndVisit {
            sag: sag(0.29 * total, total),
            travel: mm(travel),
            travel_used: mm(0.7 * travel),
            ..right()
        };
        of_rear(riding, end)
    };
    for (total, travel, riding, asked) in [
        (30.0, 125.0, Riding::HardRoad, false),
        (29.9, 125.0, Riding::HardRoad, true),
        (40.0, 125.0, Riding::HardRoad, false),
        (40.1, 125.0, Riding::HardRoad, true),
        // Other travel, and off the road, by share.
        (50.1, 200.0, Riding::HardRoad, false),
        (49.9, 200.0, Riding::HardRoad, true),
        (65.9, 200.0, Riding::HardRoad, false),
        (66.1, 200.0, Riding::HardRoad, true),
        (40.5, 125.0, Riding::OffRoad, false),
        (30.5, 125.0, Riding::OffRoad, true),
    ] {
        assert_eq!(
            asks(&at(total, travel, riding), Subject::Preload),
            asked,
            "{total} of {travel}"
        );
    }
}

#[test]
fn rear_spring_follows_the_static_share_there_would_be() {
    let at = |still: f64| {
        of_rear(
            Riding::HardRoad,
            EndVisit {
                sag: sag(still, 35.0),
                ..right()
            },
        )
    };
    // 0.20 and 0.40 of 35 mm.
    assert!(!asks(&at(7.1), Subject::Spring) && says(&at(6.9), Action::Respring, Some(Direction::Stiffer)));
    assert!(!asks(&at(13.9), Subject::Spring) && says(&at(14.1), Action::Respring, Some(Direction::Softer)));
}

#[test]
fn thumb_gives_way_where_preload_makes_the_reading() {
    // Static is 1.86 times the share, and only because the whole end sits low.
    let judged = of_rear(
        Riding::HardRoad,
        EndVisit {
            sag: sag(41.0, 63.0),
            most_preload: mm(60.0),
            ..right()
        },
    );
    assert!(asks(&judged, Subject::Preload) && !asks(&judged, Subject::Spring));
}

#[test]
fn steps_by_thumb_follow_the_use_and_disagreement_is_said() {
    let at = |riding, still: f64| {
        let end = EndVisit {
            sag: sag(still, 36.0),
            ..right()
        };
        of_rear(riding, end)
    };
    for (riding, still, thumb) in [
        (Riding::GentleRoad, 0.0, 1.0),
        (Riding::Track, 0.0, 2.0),
        (Riding::GentleRoad, 24.0, 2.0),
        (Riding::Track, 24.0, 1.0),
    ] {
        let judged = at(riding, still);
        let both = about(&judged, Subject::Spring).unwrap().both.unwrap();
        assert!((both.thumb - thumb).abs() < 1e-12 && both.disagree, "{both:?}");
    }
    // 95 to 99.4 N/mm is a step less than a tenth: too little to change, whatever the thumb.
    let near = EndVisit {
        sag: sag(8.9, 35.0),
        ..right()
    };
    assert!(!asks(&of_rear(Riding::Track, near), Subject::Spring));
}

#[test]
fn amount_is_a_range_beyond_three_steps_or_a_fifth() {
    let at = |share: f64| {
        let end = EndVisit {
            sag: sag(35.0 - share, 35.0),
            ..right()
        };
        let judged = of_rear(Riding::HardRoad, end);
        let verdict = about(&judged, Subject::Spring).unwrap().clone();
        (verdict.amount.unwrap().to_string(), verdict.check_first.len())
    };
    // 28.6/24.85 of 95 N/mm are 2.9 steps of 5; 30/24.85 are 3.9.
    assert_eq!(at(28.6), ("3 steps".to_owned(), 0));
    assert_eq!(at(30.0), ("2 to 4 steps".to_owned(), 1));
}

#[test]
fn travel_counts_in_hard_use_only() {
    let at = |used: f64, riding, preload: f64, compression: f64| {
        let end = EndVisit {
            travel_used: mm(used * 125.0),
            preload: mm(preload),
            adjusters: vec![clicks(Circuit::COMPRESSION, compression, 20.0)],
            // Half a step stiff enough to be asked for, not enough for the sag rule.
            sag: sag(7.2, 35.0),
            ..right()
        };
        of_rear(riding, end)
    };
    assert!(says(
        &at(0.98, Riding::Track, 18.0, 2.0),
        Action::Respring,
        Some(Direction::Stiffer)
    ));
    assert!(!asks(&at(0.96, Riding::Track, 18.0, 2.0), Subject::Spring));
    assert!(!asks(&at(0.98, Riding::GentleRoad, 18.0, 2.0), Subject::Spring));
    assert!(!asks(&at(0.98, Riding::Track, 17.9, 2.0), Subject::Spring));
    assert!(!asks(&at(0.98, Riding::Track, 18.0, 2.1), Subject::Spring));
    assert!(says(
        &at(0.98, Riding::Track, 17.0, 8.0),
        Action::Set,
        Some(Direction::More)
    ));
    assert!(says(
        &at(0.55, Riding::Track, 10.0, 8.0),
        Action::Set,
        Some(Direction::Less)
    ));
    assert!(!asks(&at(0.56, Riding::Track, 10.0, 8.0), Subject::Adjuster));
    assert!(!asks(&at(0.50, Riding::GentleRoad, 10.0, 8.0), Subject::Adjuster));
}

#[test]
fn quarter_is_inclusive_and_oil_comes_before_valving() {
    let at = |position: f64, age: f64| {
        let end = EndVisit {
            adjusters: vec![clicks(Circuit::REBOUND, position, 24.0)],
            oil: months(age),
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    assert!(asks(&at(6.0, 2.0), Subject::Valving) && !asks(&at(6.5, 2.0), Subject::Valving));
    assert!(!asks(&at(6.0, 24.0), Subject::Oil) && asks(&at(6.0, 24.1), Subject::Oil));
    let old = at(6.0, 30.0);
    assert!(!about(&old, Subject::Valving).unwrap().waits_for.is_empty());
    assert!(about(&at(6.0, 2.0), Subject::Valving).unwrap().waits_for.is_empty());
}

#[test]
fn oil_of_another_grade_or_level_is_changed_and_age_never_explains_sag() {
    let grade = |value: f64| {
        let nu = |value| {
            Some(KinematicViscosity::new(
                value,
                KinematicViscosityUnit::SquareMillimeterPerSecond,
            ))
        };
        let oil = Oil {
            viscosity: nu(value),
            wanted_viscosity: nu(15.0),
            ..months(2.0)
        };
        of_rear(Riding::HardRoad, EndVisit { oil, ..right() })
    };
    assert!(!asks(&grade(12.1), Subject::Oil) && asks(&grade(11.9), Subject::Oil) && asks(&grade(18.1), Subject::Oil));
    let level = |gap: f64| {
        let oil = Oil {
            air_gap: mm(gap),
            wanted_air_gap: mm(130.0),
            ..months(2.0)
        };
        of_front(EndVisit {
            oil,
            sag: sag(28.0, 44.0),
            ..fork()
        })
    };
    assert!(!asks(&level(135.0), Subject::Oil) && asks(&level(135.5), Subject::Oil));
    assert!(!about(&level(150.0), Subject::Preload).unwrap().waits_for.is_empty());
    let old = of_front(EndVisit {
        oil: Oil {
            air_gap: mm(130.0),
            wanted_air_gap: mm(130.0),
            ..months(60.0)
        },
        sag: sag(28.0, 44.0),
        ..fork()
    });
    assert!(asks(&old, Subject::Oil) && about(&old, Subject::Preload).unwrap().waits_for.is_empty());
}

#[test]
fn of_the_oil_only_what_is_not_known_is_asked_for() {
    // All the travel used: thin oil makes that, and so does a low level.
    let at = |oil: Oil| {
        of_front(EndVisit {
            travel_used: mm(123.0),
            oil,
            ..fork()
        })
    };
    let level = |oil: Oil| Oil {
        air_gap: mm(130.0),
        wanted_air_gap: mm(130.0),
        ..oil
    };
    for (oil, words, age_is_missing) in [
        (months(6.0), Some("the oil's level is not known"), false),
        (level(Oil::default()), Some("the oil's age is not known"), true),
        (Oil::default(), Some("the oil's age and level are not known"), true),
        (level(months(6.0)), None, false),
    ] {
        let judged = at(oil);
        let found = about(&judged, Subject::Oil).map(|verdict| format!("{:?}", verdict.evidence));
        match (words, &found) {
            (Some(words), Some(found)) => assert!(found.contains(words), "{found}"),
            (None, None) => {}
            other => panic!("{other:?}"),
        }
        assert_eq!(
            judged.missing.iter().any(|one| one.what == "oil.age"),
            age_is_missing,
            "{words:?}"
        );
    }
}

#[test]
fn open_adjuster_says_something_with_harshness_only() {
    let at = |position: f64, harsh| {
        let end = EndVisit {
            adjusters: vec![clicks(Circuit::REBOUND, position, 20.0)],
            harsh,
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    assert!(says(&at(18.0, Some(true)), Action::Revalve, Some(Direction::Weaker)));
    assert!(!asks(&at(17.9, Some(true)), Subject::Valving) && !asks(&at(18.0, Some(false)), Subject::Valving));
    assert!(at(18.0, None).missing.iter().any(|one| one.what == "harsh"));
}

#[test]
fn force_of_a_model_rules_over_clicks() {
    let at = |position: f64, closed_over_now: f64| {
        let model = Some(ForceModel {
            closed_over_now,
            now_over_middle: 1.4,
        });
        let one = Adjuster {
            model,
            ..clicks(Circuit::REBOUND, position, 20.0)
        };
        of_rear(
            Riding::HardRoad,
            EndVisit {
                adjusters: vec![one],
                ..right()
            },
        )
    };
    // Four clicks of twenty, and still half as much force again; ten, and none.
    assert!(!asks(&at(4.0, 1.5), Subject::Valving) && asks(&at(10.0, 1.05), Subject::Valving));
}

#[test]
fn units_without_valving_are_replaced_and_damping_rods_have_none() {
    let at = |serviceability, damper_type| {
        let end = EndVisit {
            adjusters: vec![clicks(Circuit::REBOUND, 2.0, 20.0)],
            serviceability: Some(serviceability),
            damper_type,
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    assert!(says(
        &at(Serviceability::Valving, None),
        Action::Revalve,
        Some(Direction::Stronger)
    ));
    assert!(says(
        &at(Serviceability::OilOnly, None),
        Action::Replace,
        Some(Direction::Stronger)
    ));
    assert!(!asks(
        &at(Serviceability::Valving, Some(DamperType::DampingRod)),
        Subject::Valving
    ));
    let out_of_reach = Adjuster {
        factors_to_be_had: Some((0.8, 1.1)),
        ..clicks(Circuit::REBOUND, 2.0, 20.0)
    };
    let judged = of_rear(
        Riding::HardRoad,
        EndVisit {
            adjusters: vec![out_of_reach],
            ..right()
        },
    );
    assert!(says(&judged, Action::Replace, Some(Direction::Stronger)));
}

#[test]
fn travel_is_too_short_only_where_spring_oil_and_damping_do_what_they_can() {
    let at = |used: f64, share: f64, harsh, end: EndVisit| {
        let end = EndVisit {
            travel_used: mm(used * 125.0),
            adjusters: vec![clicks(Circuit::COMPRESSION, share * 20.0, 20.0)],
            harsh: Some(harsh),
            ..end
        };
        of_rear(Riding::Track, end)
    };
    let replaced = |judged: &Judgement| says(judged, Action::Replace, None) && !asks(judged, Subject::Adjuster);
    assert!(replaced(&at(0.98, 0.50, true, right())) && !replaced(&at(0.98, 0.55, true, right())));
    // Nearly closed it is not valved stronger, either: it is harsh already.
    let closed = at(0.98, 0.20, true, right());
    assert!(replaced(&closed) && !asks(&closed, Subject::Valving));
    assert!(!replaced(&at(0.96, 0.50, true, right())) && !replaced(&at(0.98, 0.50, false, right())));
    // A spring that is not right, a total that is not, oil that is old: each comes first.
    for end in [
        EndVisit {
            sag: sag(6.0, 35.0),
            ..right()
        },
        EndVisit {
            sag: sag(18.0, 43.0),
            ..right()
        },
        EndVisit {
            oil: months(40.0),
            ..right()
        },
    ] {
        assert!(!replaced(&at(0.98, 0.50, true, end)));
    }
    // A fork's spring is judged by hardest braking.
    let fork_at = |deceleration: f64| {
        let visit = Visit {
            riding: Some(Riding::Track),
            front: Some(EndVisit {
                travel_used: mm(123.0),
                adjusters: vec![clicks(Circuit::COMPRESSION, 10.0, 20.0)],
                harsh: Some(true),
                rates: vec![rate(9.0); 2],
                preload: mm(18.0),
                ..fork()
            }),
            whole: braked(deceleration),
            ..Visit::default()
        };
        judge(&visit, &RuleTable::shipped())
    };
    assert!(replaced(&fork_at(0.6)) && !replaced(&fork_at(0.8)));
}

fn braked(deceleration: f64) -> Whole {
    let kg = |value| Some(Mass::new(value, MassUnit::Kilogram));
    Whole {
        wheelbase: mm(1_420.0),
        gravity_ahead: mm(654.7),
        gravity_height: mm(670.8),
        mass: kg(265.0),
        front_unsprung_mass: kg(16.0),
        rake: Some(Angle::new(24.0, AngleUnit::Degree)),
        deceleration_ratio: Some(deceleration),
    }
}

#[test]
fn share_that_friction_cuts_off_at_full_extension_asks_for_no_softer_spring() {
    let at = |still: f64| {
        let end = EndVisit {
            sag: Sag {
                spread: mm(5.0),
                ..sag(still, still + 19.0)
            },
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    let cut = at(3.0);
    assert!(!asks(&cut, Subject::Spring) && says(&cut, Action::Set, Some(Direction::Less)));
    assert!(cut.missing.iter().any(|one| one.what == "sag"));
    assert!(says(&at(3.5), Action::Respring, Some(Direction::Softer)));
}

#[test]
fn hazards_come_first_and_never_wait() {
    let end = EndVisit {
        wear: vec![Wear::LeakingSeal, Wear::LoosePart],
        sag: Sag {
            spread: mm(7.0),
            ..sag(0.0, 38.0)
        },
        oil: months(60.0),
        bind_margin: mm(-2.0),
        ..right()
    };
    let judged = of_rear(Riding::HardRoad, end);
    let hazards = judged.verdicts.iter().filter(|one| one.hazard).count();
    assert_eq!(hazards, 4, "{:?}", judged.verdicts);
    assert!(
        judged
            .verdicts
            .iter()
            .take(hazards)
            .all(|one| one.hazard && one.waits_for.is_empty())
    );
    assert!(
        judged
            .verdicts
            .iter()
            .take(hazards)
            .all(|one| one.check_first.iter().any(|words| words.starts_with("today")))
    );
}

#[test]
fn shop_thresholds_move_the_rule_and_stand_in_the_version() {
    let own = [OwnRule {
        id: "adjuster-near-limit".to_owned(),
        ends: Some(Ends::Rear),
        threshold: Threshold::Ratio(0.3),
    }];
    let table = RuleTable::with(&own, 7).unwrap();
    let visit = Visit {
        rear: Some(EndVisit {
            adjusters: vec![clicks(Circuit::REBOUND, 7.0, 24.0)],
            ..right()
        }),
        ..Visit::default()
    };
    assert!(!asks(&judge(&visit, &RuleTable::shipped()), Subject::Valving));
    let judged = judge(&visit, &table);
    assert!(asks(&judged, Subject::Valving) && judged.table_version == "1.1+7");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is read, a first change waits for nothing, waiting points to what stands before, and a longer rider's share
    /// never asks for a softer spring where a shorter one did not.
    #[test]
    fn any_reading_is_judged_in_an_order_that_can_be_worked_off(
        still in -5.0..80.0_f64, share in -10.0..80.0_f64, used in 0.0..130.0_f64, position in 0.0..24.0_f64,
    ) {
        let end = |share: f64| EndVisit {
            sag: sag(still, still + share),
            travel_used: mm(used),
            adjusters: vec![clicks(Circuit::COMPRESSION, position, 24.0), clicks(Circuit::REBOUND, position, 24.0)],
            ..right()
        };
        let judged = of_rear(Riding::Track, end(share));
        for (index, one) in judged.verdicts.iter().enumerate() {
            prop_assert!(one.waits_for.iter().all(|cause| *cause < index));
        }
        if let Some(first) = judged.first {
            prop_assert!(judged.verdicts[first].waits_for.is_empty());
        }
        let softer = |share| says(&of_rear(Riding::GentleRoad, end(share)), Action::Respring, Some(Direction::Softer));
        prop_assert!(!softer(share + 1.0) || softer(share));
    }
}

#[test]
fn damping_rods_are_changed_as_long_as_the_fork_opens() {
    use mechanics::judgement::DamperType;
    let barred = |opens: Serviceability, damper| opens.bars_other_damping(damper).is_some();
    for damper in [None, Some(DamperType::DampingRod), Some(DamperType::Cartridge)] {
        assert!(barred(Serviceability::Sealed, damper) && !barred(Serviceability::Valving, damper));
    }
    assert!(!barred(Serviceability::OilOnly, Some(DamperType::DampingRod)));
    assert!(barred(Serviceability::OilOnly, Some(DamperType::Cartridge)) && barred(Serviceability::OilOnly, None));
}
