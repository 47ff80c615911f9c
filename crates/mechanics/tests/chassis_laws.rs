//! Laws of rest and sag that hold for every spring, as properties.

#[cfg(test)]
mod laws {
    use mechanics::chassis::{
        Candidate, CandidateSpring, ChassisError, Choice, Element, End, Path, Rest, RestState, SagTargets,
        SpringSource, Suspension, choose, spring_for_rests,
    };
    use mechanics::quantity::{
        Angle, AngleUnit, Deflection, Force, ForceUnit, Length, LengthUnit, Load, Preload, Quantity, SpringRate,
        StiffnessUnit, Stroke, Travel, UnitSystem,
    };
    use mechanics::spring::{ForceCurve, Linkage};
    use proptest::prelude::*;

    fn mm(value: f64) -> Length {
        Length::new(value, LengthUnit::Millimeter)
    }

    fn preload(value: f64) -> Preload {
        Preload::new(value, LengthUnit::Millimeter)
    }

    fn rate(value: f64) -> SpringRate {
        SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
    }

    fn straight(k: f64, pressed: f64) -> Element {
        Element::Straight {
            rate: rate(k),
            preload: preload(pressed),
        }
    }

    /// `MR = a + c z` over 130 mm.
    fn linkage(a: f64, c: f64) -> Path {
        let terms = vec![0.0, a, c / 2.0];
        Path::of_linkage(
            &Linkage::Polynomial(terms),
            Travel::new(130.0, LengthUnit::Millimeter),
            None,
            0.0,
        )
        .unwrap()
    }

    fn end(path: &Path, elements: Vec<Element>) -> Suspension {
        Suspension::new(path.clone(), elements).unwrap()
    }

    fn newtons(value: f64) -> Force {
        Force::from_si(value)
    }

    /// A progressive spring: its rate grows from `k` by `more` over 80 mm, then stays; all of it times `factor`.
    fn progressive(k: f64, more: f64, factor: f64) -> ForceCurve {
        let table: Vec<(Deflection, Load)> = (0..=60)
            .map(|step| {
                let s = f64::from(step) * 3.0;
                let bent = s.min(80.0);
                let load = k * s + more * bent * bent / 160.0 + more * (s - bent);
                (
                    Deflection::new(s, LengthUnit::Millimeter),
                    Load::new(factor * load, ForceUnit::Newton),
                )
            })
            .collect();
        ForceCurve::of_table(&table).unwrap()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn stiffer_curve_at_equal_preload_never_sags_more(
            (k, more, factor) in (5.0..40.0f64, 0.0..20.0f64, 1.0..1.5f64),
            (pressed, load, ratio, change) in (0.0..30.0f64, 300.0..3000.0f64, 0.4..1.2f64, -0.001..0.003f64),
        ) {
            let path = linkage(ratio, change);
            let sag = |factor: f64| {
                let spring = Element::Curve { curve: progressive(k, more, factor), preload: preload(pressed) };
                end(&path, vec![spring]).equilibrium(newtons(load)).travel.si()
            };
            prop_assert!(sag(factor) <= sag(1.0) + 1e-12);
        }

        #[test]
        fn more_preload_never_lowers_an_end(
            (k, pressed, further) in (10.0..120.0f64, -10.0..30.0f64, 0.0..20.0f64),
            (load, ratio, change, stop) in (200.0..3000.0f64, 0.4..1.1f64, -0.002..0.003f64, 0.0..20.0f64),
        ) {
            let path = linkage(ratio, change);
            let rest = |pressed: f64| {
                let others = Element::BumpStop { length: mm(stop), rate: rate(60.0), axial_travel: path.axial_travel() };
                end(&path, vec![straight(k, pressed), others]).equilibrium(newtons(load)).travel.si()
            };
            prop_assert!(rest(pressed + further) <= rest(pressed) + 1e-12);
        }

        #[test]
        fn stiffer_spring_at_equal_total_never_has_less_static_sag(
            (k, stiffer) in (60.0..110.0f64, 1.0..1.4f64),
            (alone, dm, total) in (700.0..1100.0f64, 300.0..700.0f64, 25.0..45.0f64),
            (ratio, change) in (0.42..0.6f64, 0.0..0.001f64),
        ) {
            let spring = |k: f64| CandidateSpring {
                label: "spring".to_owned(), rate: rate(k), standard_uncertainty: rate(0.0), source: SpringSource::Measured,
                curve: None, deflection_to_solid: None,
            };
            let chosen = choose(&Choice {
                end: End::Rear, path: linkage(ratio, change), others: vec![Element::Steady(newtons(185.0))],
                load_alone: newtons(alone), load_with_rider: newtons(alone + dm), unsprung_mass: None,
                targets: SagTargets { total: Travel::new(total, LengthUnit::Millimeter), total_tolerance: mm(5.0), static_sag: None },
                preload_limits: None, travel_case: None, present: None,
                candidates: vec![Candidate { springs: vec![spring(k)] }, Candidate { springs: vec![spring(k * stiffer)] }],
                units: UnitSystem::Metric,
            }).unwrap();
            let of = |index: usize| chosen.ranked.iter().find(|ranked| ranked.index == index).unwrap().static_sag.0.si();
            prop_assert!(of(1) >= of(0) - 1e-12);
        }

        #[test]
        fn inverse_of_a_rest_is_the_spring_or_not_determined(
            (k, pressed, alone, dm) in (40.0..140.0f64, -5.0..40.0f64, 300.0..1500.0f64, 50.0..900.0f64),
            (ratio, change, top_out, stop) in (0.4..1.0f64, -0.001..0.002f64, 0.0..15.0f64, 0.0..40.0f64),
        ) {
            let path = linkage(ratio, change);
            let others = vec![
                Element::TopOut { length: mm(top_out), rate: rate(25.0) },
                Element::BumpStop { length: mm(stop), rate: rate(60.0), axial_travel: path.axial_travel() },
                Element::Steady(newtons(120.0)),
            ];
            let without = end(&path, others);
            let whole = without.with(straight(k, pressed)).unwrap();
            let (first, second) = (whole.equilibrium(newtons(alone)), whole.equilibrium(newtons(alone + dm)));
            let rest = |travel: Travel, load: f64| Rest { travel, load: newtons(load) };
            let found = spring_for_rests(&without, rest(first.travel, alone), rest(second.travel, alone + dm));
            let axial = path.axial_travel().get(LengthUnit::Millimeter);
            let inside = |rest: &mechanics::chassis::Equilibrium| {
                let s = rest.stroke.get(LengthUnit::Millimeter);
                rest.state == RestState::Rests && s > top_out && s < axial - stop && s + pressed > 0.0
            };
            match found {
                Ok(found) => {
                    // Where one solution is told, it is the right one.
                    if inside(&first) && inside(&second) {
                        let close = |got: f64, want: f64| (got - want).abs() <= 1e-9 * want.abs().max(1.0);
                        prop_assert!(close(found.rate.get(StiffnessUnit::NewtonPerMillimeter), k), "{found:?}");
                        prop_assert!(close(found.preload.get(LengthUnit::Millimeter), pressed), "{found:?}");
                    } else {
                        prop_assert!(first.stroke.get(LengthUnit::Millimeter) + pressed <= 1e-9, "{first:?} {second:?} {found:?}");
                    }
                }
                Err(ChassisError::NotDetermined { .. }) => prop_assert!(!(inside(&first) && inside(&second))),
                Err(other) => prop_assert!(false, "{other}"),
            }
        }

        #[test]
        fn every_root_balances_and_they_take_turns(
            (k, pressed, load) in (20.0..120.0f64, 0.0..80.0f64, 200.0..4000.0f64),
            (ratio, change) in (0.5..0.9f64, -0.003..0.002f64),
        ) {
            let path = linkage(ratio, change);
            let whole = end(&path, vec![straight(k, pressed)]);
            let rest = whole.equilibrium(newtons(load));
            for root in &rest.roots {
                prop_assert!((whole.at(root.travel).wheel_force.si() - load).abs() < 1e-6 * load);
            }
            let signs: Vec<bool> = rest.roots.iter().map(|root| root.wheel_rate.si() > 0.0).collect();
            prop_assert!(signs.windows(2).all(|pair| pair[0] != pair[1]), "{rest:?}");
            // No load between two neighbouring roots of a fine grid is missed.
            let crossings = (0..2000).filter(|step| {
                let at = |step: i32| whole.at(Travel::from_si(0.13 * f64::from(step) / 2000.0)).wheel_force.si() - load;
                (at(*step) < 0.0) != (at(*step + 1) < 0.0)
            });
            prop_assert!(crossings.count() <= rest.roots.len());
        }
    }

    /// A fork's wheel rate is the legs' over `cos^2`; the path's travel is axial times `cos`.
    #[test]
    fn fork_is_a_linkage_of_one_over_cosine() {
        let rake = Angle::new(24.0, AngleUnit::Degree);
        let path = Path::fork(rake, Stroke::new(120.0, LengthUnit::Millimeter)).unwrap();
        let cos = rake.si().cos();
        let at = end(&path, vec![straight(18.0, 10.0)]).at(Travel::new(30.0, LengthUnit::Millimeter));
        let wheel_rate = at.wheel_rate.get(StiffnessUnit::NewtonPerMillimeter);
        assert!((wheel_rate - 18.0 / cos / cos).abs() < 1e-9);
        assert!((path.travel().get(LengthUnit::Millimeter) - 120.0 * cos).abs() < 1e-9);
    }

    /// Readings of a linkage make the path they came from; too few, too short or beyond are refused.
    #[test]
    fn linkage_of_readings_is_fitted_within_bounds() {
        let readings = |count: u32, reach: f64| {
            let z = |k: u32| reach * f64::from(k) / f64::from(count - 1);
            Linkage::Table {
                travels: (0..count).map(|k| Travel::new(z(k), LengthUnit::Millimeter)).collect(),
                compressions: (0..count)
                    .map(|k| Deflection::new(0.45 * z(k) + 0.0004 * z(k) * z(k), LengthUnit::Millimeter))
                    .collect(),
                degree: None,
            }
        };
        let travel = Travel::new(130.0, LengthUnit::Millimeter);
        let path = |linkage: &Linkage| Path::of_linkage(linkage, travel, None, 0.0);
        let fitted = path(&readings(7, 128.0)).unwrap();
        assert!((fitted.motion_ratio(Travel::new(50.0, LengthUnit::Millimeter)) - 0.49).abs() < 1e-6);
        assert_eq!(fitted.findings().len(), 1, "carried on by 2 mm");
        for (count, reach) in [(5, 130.0), (7, 110.0)] {
            assert!(matches!(
                path(&readings(count, reach)),
                Err(ChassisError::OutOfRange { .. })
            ));
        }
        assert!(
            path(&Linkage::Polynomial(vec![0.0, 0.4, -0.002])).is_err(),
            "the ratio falls to 0"
        );
    }

    /// A direct shock on a swingarm: the path is the geometry's, by finite differences of the length.
    #[test]
    fn swingarm_is_followed_over_its_travel() {
        let linkage = Linkage::Swingarm {
            axle_radius: mm(560.0),
            lower_mount: (mm(330.0), mm(-30.0)),
            upper_mount: (mm(150.0), mm(260.0)),
        };
        let travel = Travel::new(130.0, LengthUnit::Millimeter);
        let path = Path::of_linkage(&linkage, travel, Some(Angle::new(-12.0, AngleUnit::Degree)), 0.0).unwrap();
        let length = |z: f64| {
            let angle = ((-12.0_f64).to_radians().sin() + z / 560.0).asin();
            let (sin, cos) = angle.sin_cos();
            let (x, y) = (330.0 * cos + 30.0 * sin, 330.0 * sin - 30.0 * cos);
            (x - 150.0).hypot(y - 260.0)
        };
        for z in [0.0, 17.3, 64.0, 130.0] {
            let at = Travel::new(z, LengthUnit::Millimeter);
            let stroke = path.stroke_at(at).get(LengthUnit::Millimeter);
            assert!((stroke - (length(0.0) - length(z))).abs() < 1e-6, "{z}: {stroke}");
            assert!((path.travel_at(path.stroke_at(at)).si() - at.si()).abs() < 1e-9);
        }
    }
}
