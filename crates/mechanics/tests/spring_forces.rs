//! Laws that springs together, of gas, from geometry, at the wheel and in pairs must keep.

#[cfg(test)]
mod laws {
    use mechanics::quantity::{
        AbsolutePressure, Deflection, ElasticModulus, GaugePressure, Length, Load, Preload, Quantity, SpringRate,
        Stroke, Temperature, Travel, UnitSystem, Volume,
    };
    use mechanics::spring::{
        Assembly, AssemblyFound, ChangeKind, Gas, GasChange, GasModel, GasRequest, GasSpring, GeometryUncertainty,
        Helical, Linkage, MeasuredRate, Pair, PairVerdict, Part, PartKind, Reduced, Request, Source, UncertainPoint,
        WheelSpring, compute_wheel_rate, evaluate_assembly, evaluate_gas_change, evaluate_gas_spring, evaluate_helical,
        fit_uncertain_points, judge_pair, reduce,
    };
    use proptest::prelude::*;

    fn straight(rate: f64, stop: Option<f64>) -> Part {
        Part {
            label: String::new(),
            kind: PartKind::Straight {
                rate: SpringRate::from_si(rate),
                stop: stop.map(Length::from_si),
            },
            gap: None,
        }
    }

    fn group(kind: PartKind) -> Part {
        Part {
            label: String::new(),
            kind,
            gap: None,
        }
    }

    fn asked(part: Part, preload: f64, deflections: &[f64]) -> Assembly {
        Assembly {
            part,
            preload: Some(Preload::from_si(preload)),
            deflections: deflections.iter().copied().map(Deflection::from_si).collect(),
            loads: Vec::new(),
            maximum_deflection: None,
            units: UnitSystem::Metric,
        }
    }

    fn found(part: Part, preload: f64, deflections: &[f64]) -> AssemblyFound {
        evaluate_assembly(&asked(part, preload, deflections)).unwrap()
    }

    fn close(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * a.abs().max(b.abs()).max(1e-9)
    }

    fn parts() -> impl Strategy<Value = Vec<(f64, Option<f64>)>> {
        prop::collection::vec((1e3..2e5_f64, prop::option::of(2e-3..40e-3_f64)), 1..6).prop_map(|mut parts| {
            // One part never closes, so that there is always something left to press.
            if let Some(last) = parts.last_mut() {
                last.1 = None;
            }
            parts
        })
    }

    fn wound(d: f64, coil: f64, n: f64, scale: f64) -> Helical {
        Helical {
            wire_diameter: Length::from_si(d * scale),
            mean_coil_diameter: Length::from_si(coil * scale),
            large_end_diameter: None,
            active_coil_count: Some(n),
            total_coil_count: None,
            ends: None,
            free_length: None,
            pitch: None,
            coil_gaps: Vec::new(),
            shear_modulus: Some(ElasticModulus::from_si(79.5e9)),
            elastic_modulus: Some(ElasticModulus::from_si(206e9)),
            material: None,
            density: None,
            seating_factor: None,
            temperature: None,
            strength: None,
            design: None,
            deflections: vec![Deflection::from_si(0.01 * scale)],
            loads: Vec::new(),
            uncertainty: GeometryUncertainty::default(),
            coverage_probability: None,
            units: UnitSystem::Metric,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn in_line_is_softer_than_the_softest_and_beside_adds(parts in parts()) {
            let springs: Vec<Part> = parts.iter().map(|(k, stop)| straight(*k, *stop)).collect();
            let series = found(group(PartKind::Series(springs)), 0.0, &[]);
            let softest = parts.iter().map(|part| part.0).fold(f64::INFINITY, f64::min);
            prop_assert!(series.initial_rate.si() <= softest * (1.0 + 1e-12));
            let open: Vec<Part> = parts.iter().map(|(k, _)| straight(*k, None)).collect();
            let parallel = found(group(PartKind::Parallel(open)), 0.0, &[]);
            prop_assert!(close(parallel.initial_rate.si(), parts.iter().map(|part| part.0).sum(), 1e-12));
        }

        #[test]
        fn order_of_the_parts_changes_nothing_and_stops_come_by_load(parts in parts(), s in 1e-3..60e-3_f64) {
            let springs: Vec<Part> = parts.iter().map(|(k, stop)| straight(*k, *stop)).collect();
            let turned: Vec<Part> = springs.iter().rev().cloned().collect();
            let a = found(group(PartKind::Series(springs)), 0.0, &[s]);
            let b = found(group(PartKind::Series(turned)), 0.0, &[s]);
            prop_assert!(close(a.points[0].load.si(), b.points[0].load.si(), 1e-9));
            prop_assert!(a.stops.windows(2).all(|pair| pair[0].load <= pair[1].load));
            // Every spring's own travel adds up to the whole.
            let travel: f64 = a.points[0].shares.iter().map(|share| share.deflection.si()).sum();
            prop_assert!(close(travel, s, 1e-9), "{travel} {s}");
        }

        #[test]
        fn preload_shifts_and_energy_is_the_integral(parts in parts(), p in 0.0..20e-3_f64, s in 1e-3..40e-3_f64) {
            let springs = || parts.iter().map(|(k, stop)| straight(*k, *stop)).collect::<Vec<_>>();
            let free = found(group(PartKind::Series(springs())), 0.0, &[p + s]);
            let fitted = found(group(PartKind::Series(springs())), p, &[s]);
            prop_assert!(close(free.points[0].load.si(), fitted.points[0].load.si(), 1e-9));
            prop_assert!(close(free.points[0].rate_before.si(), fitted.points[0].rate_before.si(), 1e-9));
            // Trapezoids between close neighbours, knots among them, against the curve's own integral.
            let count = 4_000;
            let curve = &fitted.curve;
            // The last of the steps may round to just beyond the curve's end.
            let end = curve.reach().1.si();
            let at = |k: usize| {
                let step = (s * k as f64 / count as f64).min(end);
                curve.at(Deflection::from_si(step)).unwrap().load.si()
            };
            let sum: f64 = (0..count).map(|k| f64::midpoint(at(k), at(k + 1)) * s / count as f64).sum();
            prop_assert!(close(sum, fitted.points[0].energy.si(), 1e-4), "{sum} {}", fitted.points[0].energy.si());
        }

        #[test]
        fn a_spring_twice_as_large_is_twice_as_stiff(d in 2e-3..15e-3_f64, c in 4.5..12.0_f64, n in 2.0..20.0_f64) {
            let one = evaluate_helical(&wound(d, c * d, n, 1.0)).unwrap();
            let two = evaluate_helical(&wound(d, c * d, n, 2.0)).unwrap();
            prop_assert!(close(two.rate.value.si(), 2.0 * one.rate.value.si(), 1e-12));
            // Equal stress at equal strain, eight times the mass, half the frequency.
            prop_assert!(close(two.points[0].stress.si(), one.points[0].stress.si(), 1e-12));
            prop_assert!(close(two.active_mass.si(), 8.0 * one.active_mass.si(), 1e-12));
            prop_assert!(close(two.surge_frequency.si(), 0.5 * one.surge_frequency.si(), 1e-12));
        }

        #[test]
        fn the_rate_goes_with_the_fourth_power_of_the_wire_and_the_third_of_the_coil(
            d in 2e-3..8e-3_f64, c in 5.0..10.0_f64, n in 2.0..20.0_f64, scale in 1.0..1.2_f64,
        ) {
            let rate = |d: f64, coil: f64, n: f64| evaluate_helical(&wound(d, coil, n, 1.0)).unwrap().rate.value.si();
            let one = rate(d, c * d, n);
            prop_assert!(close(rate(scale * d, c * d, n), scale.powi(4) * one, 1e-12));
            prop_assert!(close(rate(d, scale * c * d, n), one / scale.powi(3), 1e-12));
            prop_assert!(close(rate(d, c * d, scale * n), one / scale, 1e-12));
        }

        /// Which variable lies on which axis is nobody's choice where both err.
        #[test]
        fn a_line_with_errors_in_both_is_the_same_from_either_axis(
            slope in 0.2..5.0_f64, x_u in 0.05..0.5_f64, y_u in 0.05..0.5_f64, seed in 0..1_000_u32,
        ) {
            let tremble = |k: u32| f64::from((seed + 7 * k).wrapping_mul(2_654_435_761) >> 20) / 4096.0 - 0.5;
            let points: Vec<UncertainPoint> = (0..30)
                .map(|k| UncertainPoint {
                    x: f64::from(k) + x_u * tremble(2 * k),
                    y: slope * f64::from(k) + y_u * tremble(2 * k + 1),
                    x_u,
                    y_u: y_u * (1.0 + 0.02 * f64::from(k)),
                })
                .collect();
            let turned: Vec<UncertainPoint> = points
                .iter()
                .map(|p| UncertainPoint { x: p.y, y: p.x, x_u: p.y_u, y_u: p.x_u })
                .collect();
            let (line, other) = (fit_uncertain_points(&points).unwrap(), fit_uncertain_points(&turned).unwrap());
            prop_assert!(close(line.slope, 1.0 / other.slope, 1e-9), "{} {}", line.slope, 1.0 / other.slope);
            prop_assert!(close(line.misfit_ratio, other.misfit_ratio, 1e-9));
            let sure: Vec<UncertainPoint> = points.iter().map(|p| UncertainPoint { x_u: 0.0, y_u: 1.0, ..*p }).collect();
            let mean = |of: fn(&UncertainPoint) -> f64| points.iter().map(of).sum::<f64>() / 30.0;
            let (x, y) = (mean(|p| p.x), mean(|p| p.y));
            let ordinary = points.iter().map(|p| (p.x - x) * (p.y - y)).sum::<f64>()
                / points.iter().map(|p| (p.x - x).powi(2)).sum::<f64>();
            prop_assert!(close(fit_uncertain_points(&sure).unwrap().slope, ordinary, 1e-12));
        }

        #[test]
        fn the_rate_of_a_gas_is_the_slope_of_its_force(
            x in 5e-3..0.2_f64, charge in 0.0..12e5_f64, n in 1.0..1.6_f64, real in 0..3,
        ) {
            let model = match real {
                0 => GasModel::Polytropic(n),
                1 => GasModel::RealSlow(Gas::Nitrogen, Temperature::from_si(293.15)),
                _ => GasModel::RealFast(Gas::Air, Temperature::from_si(293.15)),
            };
            let h = 1e-5;
            let request = GasRequest {
                spring: GasSpring::OilLevel {
                    seal_diameter: Length::from_si(48e-3),
                    bore_diameter: Length::from_si(44e-3),
                    air_gap: Length::from_si(140e-3),
                    travel: Length::from_si(300e-3),
                    spring_volume: Volume::from_si(1e-4),
                },
                charge: GaugePressure::from_si(charge),
                ambient: None,
                model: Some(model),
                strokes: [x - h, x, x + h].into_iter().map(Stroke::from_si).collect(),
                maximum_stroke: None,
                units: UnitSystem::Metric,
            };
            let found = evaluate_gas_spring(&request).unwrap();
            let slope = (found.points[2].force.si() - found.points[0].force.si()) / (2.0 * h);
            prop_assert!(close(slope, found.points[1].rate.si(), 1e-5), "{slope} {}", found.points[1].rate.si());
        }

        #[test]
        fn a_thin_gas_is_ideal(t in 250.0..400.0_f64, ratio in 1.0..4.0_f64) {
            let change = |kind| GasChange {
                gas: Gas::Nitrogen,
                temperature: Temperature::from_si(t),
                pressure: AbsolutePressure::from_si(1e3),
                kind,
                virial: None,
            };
            let slow = evaluate_gas_change(&change(ChangeKind::Slow(ratio))).unwrap();
            prop_assert!(slow.ideal_error_ratio.abs() < 1e-4);
            let back = evaluate_gas_change(&GasChange {
                pressure: slow.pressure,
                ..change(ChangeKind::Slow(1.0 / ratio))
            }).unwrap();
            prop_assert!(close(back.pressure.si(), 1e3, 1e-9));
        }

        #[test]
        fn the_wheel_rate_is_the_slope_of_the_wheel_force(
            a in 0.2..0.8_f64, b in -1e-3..1e-3_f64, c in -3e-6..3e-6_f64, z in 5.0..100.0_f64, p in 0.0..20.0_f64,
        ) {
            let h = 1e-3;
            let spring = WheelSpring {
                linkage: Linkage::Polynomial(vec![0.0, a, b, c]),
                rates: vec![(SpringRate::from_si(9e4), SpringRate::from_si(0.0))],
                preload: Preload::from_si(p * 1e-3),
                further: None,
                travels: [z - h, z, z + h].into_iter().map(|z| Travel::from_si(z * 1e-3)).collect(),
                angles: Vec::new(),
                strokes: Vec::new(),
                axial_force: None,
                compression_uncertainty: None,
                coverage_probability: None,
                units: UnitSystem::Metric,
            };
            let at = compute_wheel_rate(&spring).unwrap().points;
            prop_assume!(at.iter().all(|p| p.spring_force.si() > 0.0));
            let slope = (at[2].wheel_force.si() - at[0].wheel_force.si()) / (2.0 * h * 1e-3);
            prop_assert!((slope - at[1].wheel_rate.value.si()).abs() < 1e-5 * 9e4);
        }

        #[test]
        fn a_pair_is_the_same_from_either_side(a in 8.0..12.0_f64, b in 8.0..12.0_f64, u in 0.01..0.3_f64) {
            let of = |rate: f64| -> Reduced {
                reduce(&Request::new(Source::MeasuredRate(MeasuredRate {
                    rate: SpringRate::from_si(rate * 1e3),
                    standard_uncertainty: SpringRate::from_si(u * 1e3),
                    degrees_of_freedom: None,
                }))).unwrap()
            };
            let (one, two) = (of(a), of(b));
            let judged = |first, second| judge_pair(&Pair {
                first,
                second,
                same_tester: true,
                limit_ratio: None,
                decision_probability: None,
                units: UnitSystem::Metric,
            });
            let (there, back) = (judged(&one, &two), judged(&two, &one));
            prop_assert!(close(there.difference, -back.difference, 1e-12));
            prop_assert!((there.match_probability - back.match_probability).abs() < 1e-9);
            prop_assert_eq!(there.verdict, back.verdict);
            // Far apart and sure is no match; the same with a wide uncertainty cannot be told.
            if there.difference.abs() > 0.02 + 3.0 * there.difference_standard_uncertainty {
                prop_assert_eq!(there.verdict, PairVerdict::NotMatched);
            }
        }
    }

    #[test]
    fn a_load_is_found_again_on_the_curve() {
        let parts = vec![straight(4e4, Some(25e-3)), straight(12e4, None)];
        let mut assembly = asked(group(PartKind::Series(parts)), 5e-3, &[]);
        assembly.loads = [10.0, 700.0, 2_000.0].into_iter().map(Load::from_si).collect();
        let found = evaluate_assembly(&assembly).unwrap();
        // Below the preload nothing moves.
        assert_eq!(found.points[0].deflection.si(), 0.0);
        assert!((found.points[0].load.si() - found.preload_force.si()).abs() < 1e-9);
        assert!((found.points[1].load.si() - 700.0).abs() < 1e-6);
        assert!((found.points[2].load.si() - 2_000.0).abs() < 1e-6);
    }
}
