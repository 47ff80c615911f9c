//! What must hold for any stack and any damper, and the elements against the exact influence functions.

#[cfg(test)]
mod laws {
    use mechanics::quantity::{
        AbsolutePressure, Area, Density, Force, KinematicViscosity, Length, LengthUnit, PressureDifference,
        PressureUnit, Quantity, Stress, Stroke, Velocity, Volume,
    };
    use mechanics::valving::damper::{
        Circuit, Damper, Gap, GasCharge, LiftLaw, Orifice, ROUND_TRANSITION, Restriction, SLIT_TRANSITION, ShortTube,
        StackValve,
    };
    use mechanics::valving::oil::OilAt;
    use mechanics::valving::stack::{Face, Layer, Method, RadialHold, Request, Seat, Solved, Stack, Stop, solve};
    use proptest::prelude::*;

    fn mm(value: f64) -> Length {
        Length::new(value, LengthUnit::Millimeter)
    }

    fn stack(shims: &[(f64, f64)]) -> Stack {
        let layer = |(d, t): &(f64, f64)| Layer {
            outer_diameter: mm(*d),
            inner_diameter: None,
            thickness: mm(*t),
            count: 1,
        };
        Stack {
            layers: shims.iter().map(layer).collect(),
            faces: vec![Face {
                port_inner_diameter: mm(18.0),
                port_outer_diameter: mm(26.0),
                land_outer_diameter: None,
                coverage_ratio: 1.0,
            }],
            clamp_diameter: mm(14.0),
            radial_hold: RadialHold::Held,
            seat: None,
            stop: None,
            modulus: None,
            poisson_ratio: None,
            stress_limit: None,
            friction_factor: None,
        }
    }

    fn solved(shims: &[(f64, f64)], pressures: &[f64], method: Method) -> Solved {
        let megapascals = |p: &f64| PressureDifference::new(*p, PressureUnit::Megapascal);
        solve(&Request {
            stack: stack(shims),
            pressures: pressures.iter().map(megapascals).collect(),
            method,
            ring_count: Some(16),
        })
        .unwrap()
    }

    /// Lift where the oil leaves, at a fixed radius.
    fn lift(shims: &[(f64, f64)], pressure: f64) -> f64 {
        solved(shims, &[pressure], Method::LargeDeflection).points[0]
            .seat_lift
            .si()
    }

    /// Face, then smaller or equal ones: no gap anywhere.
    fn taper() -> impl Strategy<Value = Vec<(f64, f64)>> {
        prop::collection::vec((16.0..30.0_f64, 0.1..0.3_f64), 0..5).prop_map(|mut upper| {
            upper.sort_by(|a, b| b.0.total_cmp(&a.0));
            let mut all = vec![(30.0, 0.15)];
            all.extend(upper.into_iter().map(|(d, t)| ((d * 2.0).round() / 2.0, t)));
            all
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

        /// A thicker shim, one more, or a larger one that is not the face never lifts more; a larger face neither, at a
        /// fixed radius. The mesh follows the edges, so that its own error, a thousandth, is let pass.
        #[test]
        fn a_stronger_stack_never_lifts_more(shims in taper(), pressure in 0.02..1.0_f64, which in 0_usize..5) {
            let before = lift(&shims, pressure) * 1.003;
            let which = which % shims.len();
            let mut thicker = shims.clone();
            thicker[which].1 *= 1.1;
            prop_assert!(lift(&thicker, pressure) <= before);
            let mut one_more = shims.clone();
            one_more.push((shims.last().unwrap().0, 0.15));
            prop_assert!(lift(&one_more, pressure) <= before);
            let mut larger = shims.clone();
            larger[which].0 = if which == 0 { 31.0 } else { shims[which - 1].0 };
            prop_assert!(lift(&larger, pressure) <= before);
        }

        /// Closing the bleed never lowers the force; hydraulic and friction part take energy at any velocity; the paths add
        /// up to the flow; the curve rises.
        #[test]
        fn a_damper_takes_energy_and_its_paths_add_up(
            bleed in 0.0..3.0_f64, clearance in 0.005..0.05_f64, crack in 0.0..1.0_f64, stiffness in 0.1..100.0_f64,
            speeds in prop::collection::vec(-3.0..3.0_f64, 8), nu in 1.0..100.0_f64,
        ) {
            let oil = OilAt {
                viscosity: KinematicViscosity::from_si(nu * 1e-6),
                density: Density::from_si(850.0),
                beyond_points: 0.0,
            };
            let damper = damper(bleed, clearance, crack, stiffness);
            let closed = self::damper(bleed * 0.5, clearance, crack, stiffness);
            let mut speeds = speeds;
            speeds.push(0.0);
            speeds.sort_by(f64::total_cmp);
            let mut last = f64::NEG_INFINITY;
            for v in speeds {
                let at = |damper: &Damper| damper.at(Velocity::from_si(v), Stroke::from_si(0.0), &oil).unwrap();
                let state = at(&damper);
                let force = state.hydraulic_force.si() + state.friction_force.si();
                prop_assert!(force * v >= 0.0);
                prop_assert!(force >= last);
                last = force;
                let flow = damper.annulus_area().si() * v.abs();
                prop_assert!((state.piston.flow().si() - flow).abs() <= 1e-9 * flow);
                let displaced = damper.shaft_area().si() * v.abs();
                let base = state.base.unwrap().flow().si();
                prop_assert!((base - displaced).abs() <= 1e-9 * displaced);
                // No jump anywhere, the kinks of the lift law included: a hair faster is a hair more force.
                let faster = damper.at(Velocity::from_si(v * (1.0 + 1e-7) + 1e-12), Stroke::from_si(0.0), &oil).unwrap();
                let more = faster.hydraulic_force.si() - state.hydraulic_force.si();
                prop_assert!(more.abs() <= 1e-4 * state.hydraulic_force.si().abs() + 1e-3, "{} N at {} m/s", more, v);
                prop_assert!(at(&closed).hydraulic_force.si().abs() >= state.hydraulic_force.si().abs() * (1.0 - 1e-9));
            }
        }
    }

    /// Over a closed cycle the gas gives back what it took, and the rest only takes: the damper never gives energy.
    #[test]
    fn a_closed_cycle_never_gives_energy() {
        let oil = OilAt {
            viscosity: KinematicViscosity::from_si(15e-6),
            density: Density::from_si(850.0),
            beyond_points: 0.0,
        };
        let damper = damper(1.0, 0.02, 0.3, 5.0);
        let (amplitude, omega, count) = (0.02, 12.0, 720_u32);
        let (mut all, mut gas) = (0.0, 0.0);
        for k in 0..count {
            let angle = std::f64::consts::TAU * f64::from(k) / f64::from(count);
            let (x, v) = (amplitude * (1.0 - angle.cos()), amplitude * omega * angle.sin());
            let state = damper.at(Velocity::from_si(v), Stroke::from_si(x), &oil).unwrap();
            // Even steps of a closed cycle: the sum is the integral, beyond any power of the step for what is smooth.
            let dt = std::f64::consts::TAU / omega / f64::from(count);
            all += state.force.si() * v * dt;
            gas += state.gas_force.si() * v * dt;
        }
        assert!(gas.abs() < 1e-9 * all.abs(), "the gas keeps {gas} J of {all} J");
        assert!(all > 0.0, "{all} J");
    }

    /// The cubes of the thicknesses, spacers left out.
    #[test]
    fn rule_of_thumb_sums_cubes() {
        let mut own = stack(&[(30.0, 0.2), (13.0, 0.5), (26.0, 0.1)]);
        own.layers[2].count = 3;
        // 0.2^3 + 3 * 0.1^3 mm3
        assert!((own.cube_sum().si() * 1e9 - 0.011).abs() < 1e-15);
    }

    fn damper(bleed: f64, clearance: f64, crack: f64, stiffness: f64) -> Damper {
        let circuit = Circuit {
            valve: Some(StackValve {
                port: Some(Restriction::ShortTube(ShortTube {
                    diameter: mm(4.5),
                    length: mm(10.0),
                    count: 4,
                })),
                perimeter: mm(100.0),
                lift: LiftLaw::straight(
                    Stress::new(stiffness, PressureUnit::Megapascal),
                    mm(1.0),
                    PressureDifference::new(crack, PressureUnit::Megapascal),
                    Some(mm(0.8)),
                ),
                discharge_factor: 0.65,
                transition_factor: SLIT_TRANSITION,
                largest_area: None,
            }),
            bleed: Some(Orifice {
                area: Area::from_si(bleed * 1e-6),
                discharge_factor: 0.7,
                transition_factor: ROUND_TRANSITION,
                hydraulic_diameter: None,
            }),
            leak: Some(Gap {
                diameter: mm(46.0),
                clearance: mm(clearance),
                length: mm(10.0),
                eccentricity_ratio: 0.0,
                loss_factor: 1.5,
            }),
        };
        Damper {
            bore: mm(46.0),
            shaft: mm(14.0),
            compression: circuit.clone(),
            rebound: circuit.clone(),
            base_compression: Some(circuit.clone()),
            base_rebound: Some(circuit.clone()),
            gas: GasCharge {
                pressure: AbsolutePressure::from_si(1.1e6),
                volume: Volume::from_si(1e-4),
                exponent: 1.3,
            },
            friction: Force::from_si(20.0),
            friction_velocity: Velocity::from_si(2e-3),
        }
    }

    /// At a lift that is tiny against the shims both theories are one: the elements meet the exact influence functions on
    /// the same rings within 1e-4.
    #[test]
    fn elements_meet_the_exact_influence_functions() {
        let stacks: [&[(f64, f64)]; 4] = [
            &[(30.0, 0.2)],
            &[(30.0, 0.15), (30.0, 0.2), (30.0, 0.1)],
            &[(30.0, 0.15), (26.0, 0.15), (22.0, 0.2), (18.0, 0.15)],
            &[(28.0, 0.2), (30.0, 0.15), (20.0, 0.1), (24.0, 0.15)],
        ];
        for shims in stacks {
            let exact = solved(shims, &[1e-6], Method::SmallDeflection);
            let elements = solved(shims, &[1e-6], Method::LargeDeflection);
            let (exact, elements) = (&exact.points[0], &elements.points[0]);
            for (a, b) in exact.shims.iter().zip(&elements.shims) {
                let off = b.edge_lift.si() / a.edge_lift.si() - 1.0;
                assert!(off.abs() < 1e-4, "{shims:?}: shim {} off by {off}", a.index);
                let off = b.bending_stress.si() / a.bending_stress.si() - 1.0;
                assert!(off.abs() < 1e-3, "{shims:?}: stress of shim {} off by {off}", a.index);
            }
        }
    }

    /// Timoshenko and Woinowsky-Krieger, annular plates, inner edge built in, outer free, nu = 0.3 (table from memory,
    /// recomputed): w = k1 q a^4/(E h^3).
    #[test]
    fn annular_plates_of_the_handbook_are_met() {
        for (ratio, k1) in [
            (1.25, 0.0023),
            (1.5, 0.0183),
            (2.0, 0.0938),
            (3.0, 0.2890),
            (4.0, 0.4482),
            (5.0, 0.5638),
        ] {
            let (outer, thickness, pressure) = (20.0, 0.3, 1e-6);
            let mut plate = stack(&[(2.0 * outer, thickness)]);
            plate.clamp_diameter = mm(2.0 * outer / ratio);
            plate.faces[0].port_inner_diameter = plate.clamp_diameter;
            plate.faces[0].port_outer_diameter = mm(2.0 * outer);
            plate.poisson_ratio = Some(0.3);
            for method in [Method::SmallDeflection, Method::LargeDeflection] {
                let found = solve(&Request {
                    stack: plate.clone(),
                    pressures: vec![PressureDifference::new(pressure, PressureUnit::Megapascal)],
                    method,
                    ring_count: None,
                })
                .unwrap();
                let w = found.points[0].edge_lift.get(LengthUnit::Millimeter);
                let k = w * 205e3 * f64::powi(thickness, 3) / (pressure * f64::powi(outer, 4));
                assert!((k - k1).abs() < 6e-5, "{ratio} {method:?}: {k} instead of {k1}");
            }
        }
    }

    /// What a pressure is answered with does not depend on the pressures asked beside it: a sweep and each one alone agree far
    /// beyond what anything shows. A taper that hardly lifts below a distant stop, a stage behind a gap, a preloaded seat.
    #[test]
    fn an_answer_does_not_depend_on_its_neighbours() {
        let mut taper = stack(&[(30.0, 0.15), (26.0, 0.15), (22.0, 0.2), (18.0, 0.15)]);
        let mut staged = stack(&[(30.0, 0.2), (30.0, 0.2), (13.0, 0.1), (28.0, 0.2), (24.0, 0.2)]);
        let mut preloaded = taper.clone();
        taper.stop = Some(Stop {
            inner_diameter: None,
            outer_diameter: mm(17.0),
            clearance: mm(20.0),
        });
        staged.radial_hold = RadialHold::Free;
        preloaded.seat = Some(Seat {
            inner_diameter: mm(27.0),
            outer_diameter: mm(28.0),
            height: mm(0.1),
            dish: mm(0.0),
        });
        let megapascals = |p: f64| PressureDifference::new(p, PressureUnit::Megapascal);
        for (stack, step) in [(taper, 1e-5), (staged, 0.02), (preloaded, 0.02)] {
            let at = |pressures: Vec<PressureDifference>| {
                solve(&Request {
                    stack: stack.clone(),
                    pressures,
                    method: Method::LargeDeflection,
                    ring_count: Some(16),
                })
                .unwrap()
            };
            let sweep: Vec<PressureDifference> = (1..=40).map(|k| megapascals(step * f64::from(k))).collect();
            for (pressure, beside) in sweep.iter().zip(&at(sweep.clone()).points).step_by(13) {
                let alone = &at(vec![*pressure]).points[0];
                for (a, b) in alone.shims.iter().zip(&beside.shims) {
                    let off = (a.edge_lift.si() - b.edge_lift.si()).abs() / alone.edge_lift.si();
                    assert!(off < 1e-9, "shim {} off by {off} of the lift", a.index);
                }
            }
        }
    }

    /// A spacer in the clamp is a gap: thicker, it changes nothing until the stage closes, and never lifts less after.
    #[test]
    fn thicker_spacer_only_puts_the_stage_off() {
        let at = |gap: f64| {
            let shims = [(30.0, 0.2), (30.0, 0.2), (13.0, gap), (28.0, 0.2), (24.0, 0.2)];
            solved(&shims, &[0.02, 0.1, 0.3, 0.8], Method::LargeDeflection)
        };
        let (thin, thick) = (at(0.05), at(0.10));
        let closes = thin.events[0].pressure.si();
        assert!(thick.events[0].pressure.si() > closes);
        for (a, b) in thin.points.iter().zip(&thick.points) {
            let (a_lift, b_lift) = (a.edge_lift.si(), b.edge_lift.si());
            if a.pressure.si() < closes {
                assert!((a_lift - b_lift).abs() < 1e-12, "{a_lift} {b_lift}");
            } else {
                assert!(b_lift >= a_lift - 1e-12, "{a_lift} {b_lift}");
            }
        }
    }
}
