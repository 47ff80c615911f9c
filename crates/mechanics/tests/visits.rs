//! The ten visits that were solved by hand before the judge existed: what it answers stands beneath each in `doc/visits.md`,
//! and the hand's verdict is held against it here.

#[cfg(test)]
mod visits {
    use std::time::Duration;

    use mechanics::judgement::{
        Action, Adjuster, Amount, Circuit, DamperType, Direction, End, EndVisit, Judgement, Oil, Riding, RuleTable,
        Sag, Serviceability, Subject, Verdict, Visit, Whole, judge,
    };
    use mechanics::quantity::{
        Angle, AngleUnit, LengthUnit, Mass, MassUnit, Preload, Quantity, SpringRate, StiffnessUnit, Travel,
    };

    fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Option<Q> {
        Some(Q::new(value, LengthUnit::Millimeter))
    }

    fn rate(value: f64) -> SpringRate {
        SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
    }

    fn kg(value: f64) -> Option<Mass> {
        Some(Mass::new(value, MassUnit::Kilogram))
    }

    fn rack(low: f64, step: f64, count: u32) -> Vec<SpringRate> {
        (0..count).map(|k| rate(low + step * f64::from(k))).collect()
    }

    fn months(count: f64) -> Option<Duration> {
        Some(Duration::from_secs_f64(count * 365.2425 * 86_400.0 / 12.0))
    }

    fn sag(still: f64, total: f64, spread: f64) -> Sag {
        Sag {
            static_sag: mm(still),
            total: mm(total),
            spread: mm(spread),
            ..Sag::default()
        }
    }

    fn adjuster(circuit: Circuit, position: f64, range: f64) -> Adjuster {
        Adjuster {
            circuit,
            position,
            range,
            model: None,
            factors_to_be_had: None,
        }
    }

    fn preload(now: f64, least: f64, most: f64) -> EndVisit {
        EndVisit {
            preload: mm::<Preload>(now),
            least_preload: mm(least),
            most_preload: mm(most),
            ..EndVisit::default()
        }
    }

    fn rear(riding: Riding, rear: EndVisit) -> Visit {
        Visit {
            riding: Some(riding),
            rear: Some(rear),
            ..Visit::default()
        }
    }

    fn front(riding: Riding, front: EndVisit) -> Visit {
        Visit {
            riding: Some(riding),
            front: Some(front),
            ..Visit::default()
        }
    }

    /// Each visit as data, in the order of the page.
    fn all() -> Vec<Visit> {
        let right_fork = || EndVisit {
            sag: sag(22.0, 36.0, 8.0),
            travel: mm::<Travel>(120.0),
            ..EndVisit::default()
        };
        let thrown = EndVisit {
            travel: mm(125.0),
            sag: sag(0.0, 38.0, 0.0),
            rates: vec![rate(60.0)],
            rack: rack(40.0, 5.0, 20),
            motion_ratio: Some(0.5),
            rider_mass: kg(60.0),
            ..preload(20.0, 0.0, 20.0)
        };
        let plank = EndVisit {
            travel: mm(130.0),
            sag: sag(24.0, 37.0, 3.0),
            rates: vec![rate(110.0)],
            rack: rack(40.0, 5.0, 20),
            motion_ratio: Some(0.5),
            ..EndVisit::default()
        };
        let adjusters = |position| {
            let both = [Circuit::COMPRESSION, Circuit::REBOUND];
            both.map(|circuit| adjuster(circuit, position, 24.0)).to_vec()
        };
        let fresh = Oil {
            age: months(6.0),
            ..Oil::default()
        };
        let nothing = Visit {
            front: Some(EndVisit {
                travel_used: mm(84.0),
                adjusters: adjusters(10.0),
                oil: fresh,
                ..right_fork()
            }),
            ..rear(
                Riding::HardRoad,
                EndVisit {
                    travel: mm(125.0),
                    sag: sag(10.0, 34.5, 4.0),
                    travel_used: mm(87.5),
                    adjusters: adjusters(12.0),
                    oil: fresh,
                    ..EndVisit::default()
                },
            )
        };
        let low = EndVisit {
            travel: mm(125.0),
            sag: sag(18.0, 44.0, 4.0),
            rates: vec![rate(95.0)],
            rack: rack(40.0, 5.0, 20),
            motion_ratio: Some(0.5),
            ..preload(8.0, 0.0, 20.0)
        };
        let tired = |position, age, serviceability| Visit {
            front: Some(right_fork()),
            ..rear(
                Riding::HardRoad,
                EndVisit {
                    sag: sag(10.0, 35.0, 3.0),
                    adjusters: vec![adjuster(Circuit::REBOUND, position, 24.0)],
                    oil: Oil {
                        age: months(age),
                        ..Oil::default()
                    },
                    serviceability,
                    ..EndVisit::default()
                },
            )
        };
        let nose = Visit {
            whole: Whole {
                wheelbase: mm(1420.0),
                gravity_ahead: mm(654.7),
                gravity_height: mm(670.8),
                mass: kg(265.0),
                front_unsprung_mass: kg(16.0),
                rake: Some(Angle::new(24.0, AngleUnit::Degree)),
                deceleration_ratio: Some(0.7),
            },
            ..front(
                Riding::Track,
                EndVisit {
                    travel: mm(120.0),
                    sag: sag(20.0, 35.0, 6.0),
                    travel_used: mm(117.6),
                    rates: vec![rate(9.0); 2],
                    rack: rack(8.5, 0.5, 4),
                    rider_mass: kg(29.0),
                    adjusters: vec![adjuster(Circuit::COMPRESSION, 2.0, 20.0)],
                    ..preload(18.0, 0.0, 18.0)
                },
            )
        };
        let sticky = Visit {
            front: Some(EndVisit {
                sag: sag(21.0, 38.0, 18.0),
                ..EndVisit::default()
            }),
            ..rear(
                Riding::HardRoad,
                EndVisit {
                    sag: sag(10.0, 35.0, 3.0),
                    ..EndVisit::default()
                },
            )
        };
        let short = EndVisit {
            travel: mm(125.0),
            sag: sag(10.0, 34.0, 3.0),
            travel_used: mm(62.5),
            adjusters: vec![adjuster(Circuit::COMPRESSION, 3.0, 20.0)],
            ..preload(1.0, 0.0, 20.0)
        };
        let light = Visit {
            front: Some(EndVisit {
                travel: mm(110.0),
                travel_used: mm(108.9),
                damper_type: Some(DamperType::DampingRod),
                oil: Oil {
                    age: months(40.0),
                    ..Oil::default()
                },
                ..EndVisit::default()
            }),
            ..rear(
                Riding::HardRoad,
                EndVisit {
                    travel: mm(115.0),
                    sag: sag(10.0, 35.0, 3.0),
                    adjusters: vec![adjuster(Circuit::REBOUND, 1.0, 8.0)],
                    serviceability: Some(Serviceability::Sealed),
                    ..EndVisit::default()
                },
            )
        };
        vec![
            rear(Riding::HardRoad, thrown),
            rear(Riding::GentleRoad, plank),
            nothing,
            rear(Riding::HardRoad, low),
            tired(5.0, 30.0, None),
            tired(4.0, 2.0, Some(Serviceability::Valving)),
            nose,
            sticky,
            rear(Riding::Track, short),
            light,
        ]
    }

    fn answers() -> Vec<Judgement> {
        let table = RuleTable::shipped();
        all().iter().map(|visit| judge(visit, &table)).collect()
    }

    fn lines(judged: &Judgement) -> Vec<String> {
        let line = |(index, verdict): (usize, &Verdict)| {
            let waits: Vec<String> = verdict.waits_for.iter().map(|k| (k + 1).to_string()).collect();
            let waits = if waits.is_empty() {
                String::new()
            } else {
                format!("; waits for {}", waits.join(", "))
            };
            let first = if judged.first == Some(index) { "; first" } else { "" };
            format!("    {}. {verdict}{waits}{first}", index + 1)
        };
        judged.verdicts.iter().enumerate().map(line).collect()
    }

    /// What the page says was answered is what is answered.
    #[test]
    fn the_page_gives_the_answers() {
        let page = concat!(env!("CARGO_MANIFEST_DIR"), "/doc/visits.md");
        let page = std::fs::read_to_string(page).unwrap();
        let answered: Vec<String> = answers().iter().map(|judged| lines(judged).join("\n")).collect();
        let missing: Vec<&String> = answered.iter().filter(|text| !page.contains(text.as_str())).collect();
        assert!(missing.is_empty(), "not on the page:\n{}", answered.join("\n\n"));
    }

    fn found(judged: &Judgement, action: Action, end: End, subject: Subject) -> &Verdict {
        let mut all = judged.verdicts.iter();
        let found = all.find(|one| (one.action, one.end, one.subject) == (action, end, subject));
        found.unwrap_or_else(|| panic!("{:?}", lines(judged)))
    }

    fn steps(verdict: &Verdict) -> (f64, f64) {
        match verdict.amount {
            Some(Amount::Steps(range)) => (range.least, range.most),
            other => panic!("{other:?}"),
        }
    }

    /// The hand's verdicts, as they stood before the code.
    #[test]
    fn the_hand_and_the_judge_agree() {
        let judged = answers();
        let thrown = found(&judged[0], Action::Respring, End::Rear, Subject::Spring);
        assert_eq!(
            (steps(thrown), thrown.direction),
            ((2.0, 7.0), Some(Direction::Stiffer))
        );
        let today = found(&judged[0], Action::Set, End::Rear, Subject::Preload);
        assert!(today.hazard && judged[0].first == Some(0) && today.direction == Some(Direction::Less));

        let plank = found(&judged[1], Action::Respring, End::Rear, Subject::Spring);
        assert_eq!((steps(plank), plank.direction), ((2.0, 10.0), Some(Direction::Softer)));
        assert!(plank.both.unwrap().disagree);

        let nothing: Vec<Action> = judged[2].verdicts.iter().map(|one| one.action).collect();
        assert_eq!(nothing, [Action::Leave, Action::Leave]);

        let low = found(&judged[3], Action::Set, End::Rear, Subject::Preload);
        let Some(Amount::Preload(preload)) = low.amount else {
            panic!("{low}")
        };
        assert!((preload.get(LengthUnit::Millimeter) - 12.5).abs() < 1e-9 && judged[3].verdicts.len() == 1);

        let oil = found(&judged[4], Action::Service, End::Rear, Subject::Oil);
        let waiting = found(&judged[4], Action::Revalve, End::Rear, Subject::Valving);
        assert!(oil.waits_for.is_empty() && !waiting.waits_for.is_empty());

        let out = found(&judged[5], Action::Revalve, End::Rear, Subject::Valving);
        let Some(Amount::DampingFactor { factor, least, most }) = out.amount else {
            panic!("{out}")
        };
        assert!((factor - 1.26).abs() < 5e-3 && (least - 1.09).abs() < 5e-3 && (most - 1.59).abs() < 5e-3);
        assert!(out.waits_for.is_empty() && out.direction == Some(Direction::Stronger));

        let nose = found(&judged[6], Action::Respring, End::Front, Subject::Spring);
        assert_eq!((steps(nose), nose.direction), ((2.0, 2.0), Some(Direction::Stiffer)));
        assert!((nose.both.unwrap().physics - 1.3).abs() < 0.03, "{:?}", nose.both);

        found(&judged[7], Action::Service, End::Front, Subject::Friction);
        found(&judged[7], Action::Leave, End::Rear, Subject::Whole);
        assert_eq!(judged[7].verdicts.len(), 2);

        let open = found(&judged[8], Action::Set, End::Rear, Subject::Adjuster);
        assert_eq!(
            open.amount,
            Some(Amount::Position {
                from_closed: 10.0,
                range: 20.0
            })
        );
        assert!(
            !found(&judged[8], Action::Respring, End::Rear, Subject::Spring)
                .waits_for
                .is_empty()
        );

        found(&judged[9], Action::Service, End::Front, Subject::Oil);
        found(&judged[9], Action::Replace, End::Rear, Subject::Unit);
        assert_eq!(judged[9].first, Some(0));
        assert_eq!(judged[9].verdicts[0].end, End::Front);
    }
}
