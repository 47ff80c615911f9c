//! Published and recomputed values for valving, case by case, each at the tolerance the case states.

#[cfg(test)]
mod stacks {
    use std::path::PathBuf;

    use mechanics::quantity::{ElasticModulus, Length, LengthUnit, PressureDifference, PressureUnit, Quantity};
    use mechanics::valving::stack::{Face, Layer, Method, RadialHold, Request, Seat, Solved, Stack, solve};
    use serde_json::Value;

    fn cases() -> Vec<Value> {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/stacks/fea_cases.json");
        let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        file["cases"].as_array().unwrap().clone()
    }

    fn mm(value: f64) -> Length {
        Length::new(value, LengthUnit::Millimeter)
    }

    fn number(value: &Value) -> f64 {
        value.as_f64().unwrap()
    }

    fn stack_of(case: &Value) -> Stack {
        let (geometry, load) = (&case["geometry"], &case["load"]);
        let diameter = |value: &Value| mm(2.0 * number(value));
        let seat = geometry["seat"].is_object().then(|| Seat {
            inner_diameter: diameter(&geometry["seat"]["r_in"]),
            outer_diameter: diameter(&geometry["seat"]["r_out"]),
            height: mm(number(&geometry["seat"]["height"])),
            dish: mm(0.0),
        });
        let shims = geometry["shims_face_first"].as_array().unwrap();
        Stack {
            layers: shims
                .iter()
                .map(|shim| Layer {
                    outer_diameter: mm(number(&shim["od_mm"])),
                    inner_diameter: None,
                    thickness: mm(number(&shim["t_mm"])),
                    count: 1,
                })
                .collect(),
            faces: vec![Face {
                port_inner_diameter: diameter(&load["r_in"]),
                port_outer_diameter: diameter(&load["r_out"]),
                land_outer_diameter: load["r_zero"].is_number().then(|| diameter(&load["r_zero"])),
                coverage_ratio: load["coverage"].as_f64().unwrap_or(1.0),
            }],
            clamp_diameter: diameter(&geometry["clamp_radius_mm"]),
            radial_hold: RadialHold::Held,
            seat,
            stop: None,
            modulus: Some(ElasticModulus::new(
                number(&case["material"]["E_MPa"]),
                PressureUnit::Megapascal,
            )),
            poisson_ratio: Some(number(&case["material"]["nu"])),
            stress_limit: None,
            friction_factor: None,
        }
    }

    fn solved(case: &Value, method: Method, ring_count: usize) -> Solved {
        let pressure =
            |point: &Value| PressureDifference::new(number(&point["pressure_MPa"]), PressureUnit::Megapascal);
        solve(&Request {
            stack: stack_of(case),
            pressures: case["results"].as_array().unwrap().iter().map(pressure).collect(),
            method,
            ring_count: Some(ring_count),
        })
        .unwrap()
    }

    /// Within the larger of 1 % and 1.5 times the case's own estimated error, edge of the face and lift at the seat.
    #[test]
    fn every_finite_element_case_is_met() {
        let mut wrong = Vec::new();
        let mut compared = 0;
        for case in cases() {
            let small = !case["nlgeom"].as_bool().unwrap();
            let methods: &[Method] = if small {
                &[Method::SmallDeflection, Method::LargeDeflection]
            } else {
                &[Method::LargeDeflection]
            };
            let allowed = (1.5 * number(&case["estimated_error_percent"])).max(1.0) / 100.0;
            for method in methods {
                let solved = solved(&case, *method, 24);
                for (point, truth) in solved.points.iter().zip(case["results"].as_array().unwrap()) {
                    let got = point.edge_lift.get(LengthUnit::Millimeter);
                    let wanted = number(&truth["edge_lift_mm"]);
                    compared += 1;
                    if !((got / wanted - 1.0).abs() <= allowed) {
                        wrong.push(format!("{} {method:?}: {got} instead of {wanted}", case["id"]));
                    }
                    if let Some(seat) = truth["w_at_seat_r_out_mm"].as_f64() {
                        let got = point.seat_lift.get(LengthUnit::Millimeter);
                        let height = number(&case["geometry"]["seat"]["height"]);
                        if !(((got + height) / seat - 1.0).abs() <= allowed) {
                            wrong.push(format!(
                                "{} {method:?} seat: {got} over {height} instead of {seat}",
                                case["id"]
                            ));
                        }
                    }
                }
            }
        }
        assert!(compared >= 47, "{compared}");
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
}

/// Oil, restrictions, circuits, dampers, damping at the wheel, adjuster.
#[cfg(test)]
mod hydraulics {
    use std::collections::BTreeSet;
    use std::path::PathBuf;

    use mechanics::quantity::{
        AbsolutePressure, Angle, AngleUnit, Area, DampingRate, Density, ElasticModulus, FlowRate, Force,
        KinematicViscosity, KinematicViscosityUnit, Length, Load, Mass, PressureDifference, Quantity, SpringRate,
        Stress, Stroke, Temperature, TemperatureUnit, Velocity, Volume, WheelRate,
    };
    use mechanics::valving::ValvingError;
    use mechanics::valving::damper::{
        Adjusted, Circuit, Damper, Gap, GasCharge, LiftLaw, Needle, Orifice, ROUND_TRANSITION, Restriction,
        SLIT_TRANSITION, ShortTube, StackValve, discharge_factor, short_tube_factor,
    };
    use mechanics::valving::oil::{Oil, OilAt, ViscosityPoint, effective_modulus};
    use mechanics::valving::ride::{self, Linkage, Oscillator};
    use serde_json::Value;

    type Run = fn(&Value) -> Vec<f64>;

    /// Calculations by the name the cases give them.
    const RUN: &[(&str, Run)] = &[
        ("oil_nu", oil_nu),
        ("oil_mu", oil_mu),
        ("oil_rho", oil_rho),
        ("oil_bulk", oil_bulk),
        ("elem_q", elem_q),
        ("elem_dp", elem_dp),
        ("elem_roundtrip", elem_roundtrip),
        ("cd_law", cd_law),
        ("short_tube_K", short_tube_k),
        ("leak_q", leak_q),
        ("circuit_dp", circuit_dp),
        ("circuit_monotone", circuit_monotone),
        ("circuit_lock", circuit_lock),
        ("knee", knee),
        ("damper_state", damper_state),
        ("gas_charge", gas_charge),
        ("fade", fade),
        ("overshoot_from_zeta", overshoot_from_zeta),
        ("zeta_from_logdec", zeta_from_logdec),
        ("mck", mck),
        ("settle", settle),
        ("zeta_at_wheel", zeta_at_wheel),
        ("fork_wheel_rate", fork_wheel_rate),
        ("damping_new_spring", damping_new_spring),
        ("ceq_power", ceq_power),
        ("ceq_energy_asym", ceq_energy_asym),
        ("needle_area", needle_area),
        ("adjuster", adjuster),
        ("click_sum", click_sum),
        ("recentre", recentre),
    ];

    const QUARTER: &str = "the quarter machine: runs in published_setup.rs";
    const INTEGRATOR: &str = "the integrator: a unit test of mechanics::chassis::response";
    const CHASSIS: &str = "sag and braking: run in published_setup.rs";
    const DYNO: &str = "reduction of dyno runs and identification: come with the dyno";

    /// Calculations that wait, and for what; or stand elsewhere.
    const WAITING: &[(&str, &str)] = &[
        ("quarter", QUARTER),
        ("quarter_step_peak", QUARTER),
        ("quarter_load_step", QUARTER),
        ("quarter_bump", QUARTER),
        ("rk4_decay", INTEGRATOR),
        ("rk4_order", INTEGRATOR),
        ("packing", QUARTER),
        ("loads", CHASSIS),
        ("fork_force", CHASSIS),
        ("brake_dive", CHASSIS),
        ("sag", CHASSIS),
        ("spring_for_sags", CHASSIS),
        ("combine", CHASSIS),
        ("lm_recover", DYNO),
        ("lm_degenerate", DYNO),
        ("dyno_linear", DYNO),
        ("dyno_lag", DYNO),
        ("crank", DYNO),
    ];

    fn cases() -> Vec<Value> {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/hydraulics/checks.json");
        let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        file["cases"].as_array().unwrap().clone()
    }

    #[test]
    fn every_case_is_met_or_waits_with_a_reason() {
        let mut wrong = Vec::new();
        let mut seen = BTreeSet::new();
        for case in cases() {
            let name = case["fn"].as_str().unwrap();
            seen.insert(name.to_owned());
            if WAITING.iter().any(|(waiting, _)| *waiting == name) {
                continue;
            }
            let (_, run) = RUN
                .iter()
                .find(|(known, _)| *known == name)
                .unwrap_or_else(|| panic!("no {name}"));
            let got = run(&case["inputs"]);
            let expected = numbers(&case["expected"]);
            let (rel, abs) = (
                case["tolerance"]["rel"].as_f64().unwrap(),
                case["tolerance"]["abs"].as_f64().unwrap(),
            );
            let fits = got.len() == expected.len()
                && got
                    .iter()
                    .zip(&expected)
                    .all(|(got, want)| (got - want).abs() <= (rel * want.abs()).max(abs));
            if !fits {
                wrong.push(format!("{}: {got:?} instead of {expected:?}", case["id"]));
            }
        }
        let known = RUN
            .iter()
            .map(|(name, _)| *name)
            .chain(WAITING.iter().map(|(name, _)| *name));
        assert_eq!(
            seen,
            known.map(str::to_owned).collect(),
            "every calculation in exactly one table"
        );
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    /// Numbers of a value; yes is 1, a word of success 1, any other 0.
    fn numbers(value: &Value) -> Vec<f64> {
        match value {
            Value::Array(all) => all.iter().flat_map(numbers).collect(),
            Value::Bool(yes) => vec![f64::from(u8::from(*yes))],
            Value::String(word) => vec![f64::from(u8::from(matches!(word.as_str(), "ok" | "solved")))],
            value => vec![value.as_f64().unwrap()],
        }
    }

    fn n(inputs: &Value, name: &str) -> f64 {
        inputs[name].as_f64().unwrap_or_else(|| panic!("no {name} in {inputs}"))
    }

    fn or(inputs: &Value, name: &str, otherwise: f64) -> f64 {
        inputs[name].as_f64().unwrap_or(otherwise)
    }

    fn celsius(value: f64) -> Temperature {
        Temperature::new(value, TemperatureUnit::DegreeCelsius)
    }

    fn point(nu: f64, at: f64) -> ViscosityPoint {
        ViscosityPoint {
            viscosity: KinematicViscosity::new(nu, KinematicViscosityUnit::SquareMillimeterPerSecond),
            temperature: celsius(at),
        }
    }

    fn two_points(nu1: f64, t1: f64, nu2: f64, t2: f64, rho15: f64) -> Oil {
        Oil {
            first: point(nu1, t1),
            second: point(nu2, t2),
            density_at_15: Density::from_si(rho15),
        }
    }

    fn cst(at: &OilAt) -> f64 {
        at.viscosity.get(KinematicViscosityUnit::SquareMillimeterPerSecond)
    }

    fn oil_nu(i: &Value) -> Vec<f64> {
        let oil = two_points(n(i, "nu1_cst"), n(i, "T1_C"), n(i, "nu2_cst"), n(i, "T2_C"), 870.0);
        vec![cst(&oil.at(celsius(n(i, "T_C"))).unwrap())]
    }

    fn oil_mu(i: &Value) -> Vec<f64> {
        let rho = |t: f64| {
            two_points(30.0, 40.0, 5.0, 100.0, n(i, "rho15"))
                .at(celsius(t))
                .unwrap()
                .density
                .si()
        };
        let nu = |mu: &str, t: &str| n(i, mu) / rho(n(i, t)) * 1e3;
        let oil = two_points(
            nu("mu1_mPas", "T1_C"),
            n(i, "T1_C"),
            nu("mu2_mPas", "T2_C"),
            n(i, "T2_C"),
            n(i, "rho15"),
        );
        let at = oil.at(celsius(n(i, "T_C"))).unwrap();
        vec![cst(&at) * at.density.si() * 1e-3]
    }

    fn oil_rho(i: &Value) -> Vec<f64> {
        let oil = two_points(30.0, 40.0, 5.0, 100.0, n(i, "rho15"));
        vec![oil.at(celsius(n(i, "T_C"))).unwrap().density.si()]
    }

    fn oil_bulk(i: &Value) -> Vec<f64> {
        let pressure = AbsolutePressure::from_si(n(i, "p_abs_Pa"));
        let oil = ElasticModulus::from_si(n(i, "B_oil_Pa"));
        vec![effective_modulus(oil, n(i, "air_frac_atm"), pressure, n(i, "n")).si()]
    }

    fn fluid(i: &Value) -> OilAt {
        OilAt {
            viscosity: KinematicViscosity::from_si(n(i, "nu_m2s")),
            density: Density::from_si(n(i, "rho")),
            beyond_points: 0.0,
        }
    }

    fn orifice(j: &Value) -> Orifice {
        Orifice {
            area: Area::from_si(n(j, "area_m2")),
            discharge_factor: or(j, "cd", 0.70),
            transition_factor: or(j, "re_t", ROUND_TRANSITION),
            hydraulic_diameter: j["dh_m"].as_f64().map(Length::from_si),
        }
    }

    fn restriction(j: &Value) -> Restriction {
        match j["type"].as_str().unwrap() {
            "orifice" => Restriction::Orifice(orifice(j)),
            "short_tube" => Restriction::ShortTube(ShortTube {
                diameter: Length::from_si(n(j, "d_m")),
                length: Length::from_si(n(j, "L_m")),
                count: j["n"].as_u64().unwrap_or(1) as u32,
            }),
            other => panic!("{other}"),
        }
    }

    fn gap(j: &Value) -> Gap {
        Gap {
            diameter: Length::from_si(n(j, "D_m")),
            clearance: Length::from_si(n(j, "h_m")),
            length: Length::from_si(n(j, "L_m")),
            eccentricity_ratio: or(j, "ecc", 0.0),
            loss_factor: or(j, "K", 1.5),
        }
    }

    fn circuit(j: &Value) -> Circuit {
        let valve = |sh: &Value| StackValve {
            port: Some(restriction(&sh["port"])),
            perimeter: Length::from_si(n(sh, "perim_m")),
            lift: LiftLaw::straight(
                Stress::from_si(n(sh, "stiff_Pa_per_m")),
                Length::from_si(1.0),
                PressureDifference::from_si(or(sh, "p_crack_Pa", 0.0)),
                sh["y_max_m"].as_f64().map(Length::from_si),
            ),
            discharge_factor: or(sh, "cd", 0.65),
            transition_factor: or(sh, "re_t", SLIT_TRANSITION),
            largest_area: None,
        };
        Circuit {
            valve: j["shim"].is_object().then(|| valve(&j["shim"])),
            bleed: j["bleed"].is_object().then(|| orifice(&j["bleed"])),
            leak: j["leak"].is_object().then(|| gap(&j["leak"])),
        }
    }

    fn elem_q(i: &Value) -> Vec<f64> {
        let drop = PressureDifference::from_si(n(i, "dp_Pa"));
        vec![restriction(&i["element"]).flow(drop, &fluid(i)).si()]
    }

    fn elem_dp(i: &Value) -> Vec<f64> {
        vec![
            restriction(&i["element"])
                .drop(FlowRate::from_si(n(i, "q_m3s")), &fluid(i))
                .si(),
        ]
    }

    fn elem_roundtrip(i: &Value) -> Vec<f64> {
        let (element, oil) = (restriction(&i["element"]), fluid(i));
        let there = |p: f64| element.flow(PressureDifference::from_si(p), &oil);
        numbers(&i["dp_Pa"])
            .into_iter()
            .map(|p| element.drop(there(p), &oil).si())
            .collect()
    }

    fn cd_law(i: &Value) -> Vec<f64> {
        let law = |re: f64| discharge_factor(re, n(i, "cd_inf"), n(i, "re_t"));
        numbers(&i["Re"]).into_iter().map(law).collect()
    }

    fn short_tube_k(i: &Value) -> Vec<f64> {
        numbers(&i["x"]).into_iter().map(short_tube_factor).collect()
    }

    fn leak_q(i: &Value) -> Vec<f64> {
        let drop = PressureDifference::from_si(n(i, "dp_Pa"));
        vec![Restriction::Gap(gap(&i["leak"])).flow(drop, &fluid(i)).si()]
    }

    fn drop(circuit: &Circuit, q: f64, oil: &OilAt) -> f64 {
        circuit.split(FlowRate::from_si(q), oil, "case").unwrap().drop.si()
    }

    fn circuit_dp(i: &Value) -> Vec<f64> {
        let (circuit, oil) = (circuit(&i["circuit"]), fluid(i));
        numbers(&i["q_m3s"])
            .into_iter()
            .map(|q| drop(&circuit, q, &oil))
            .collect()
    }

    fn circuit_monotone(i: &Value) -> Vec<f64> {
        let (circuit, oil) = (circuit(&i["circuit"]), fluid(i));
        let count = n(i, "n") as usize;
        let step = n(i, "q_max_m3s") / (count - 1) as f64;
        let drops: Vec<f64> = (0..count).map(|k| drop(&circuit, k as f64 * step, &oil)).collect();
        vec![f64::from(u8::from(drops.windows(2).all(|pair| pair[1] > pair[0])))]
    }

    fn circuit_lock(i: &Value) -> Vec<f64> {
        match circuit(&i["circuit"]).split(FlowRate::from_si(n(i, "q_m3s")), &fluid(i), "case") {
            Ok(_) => vec![1.0],
            Err(ValvingError::HydraulicLock { .. }) => vec![0.0],
            Err(other) => panic!("{other}"),
        }
    }

    fn knee(i: &Value) -> Vec<f64> {
        let split = circuit(&i["circuit"]).at_crack(&fluid(i)).unwrap();
        vec![(split.bleed.si() + split.leak.si() + split.valve.si()) / n(i, "area_m2")]
    }

    fn damper(j: &Value) -> (Damper, Oil) {
        let other = |name: &str| j[name].is_object().then(|| circuit(&j[name]));
        let damper = Damper {
            bore: Length::from_si(n(j, "bore_m")),
            shaft: Length::from_si(n(j, "rod_m")),
            compression: circuit(&j["comp"]),
            rebound: circuit(&j["reb"]),
            base_compression: other("base_comp"),
            base_rebound: other("base_reb"),
            gas: GasCharge {
                pressure: AbsolutePressure::from_si(or(j, "p_gas_Pa", 1.1e6)),
                volume: Volume::from_si(or(j, "V_gas_m3", 1e-4)),
                exponent: or(j, "n_gas", 1.3),
            },
            friction: Force::from_si(or(j, "friction_N", 0.0)),
            friction_velocity: Velocity::from_si(2e-3),
        };
        damper.check().unwrap();
        let o = &j["oil"];
        let oil = two_points(
            or(o, "nu40_cst", 15.0),
            40.0,
            or(o, "nu100_cst", 3.5),
            100.0,
            or(o, "rho15", 860.0),
        );
        (damper, oil)
    }

    fn damper_state(i: &Value) -> Vec<f64> {
        let (damper, oil) = damper(&i["damper"]);
        let oil = oil.at(celsius(n(i, "T_C"))).unwrap();
        let state = damper
            .at(
                Velocity::from_si(n(i, "v_mps")),
                Stroke::from_si(or(i, "x_m", 0.0)),
                &oil,
            )
            .unwrap();
        let by_key = |key: &Value| match key.as_str().unwrap() {
            "F" => state.force.si(),
            "p_comp" => state.compression_pressure.si(),
            "p_reb" => state.rebound_pressure.si(),
            "F_damp" => state.hydraulic_force.si(),
            "F_gas" => state.gas_force.si(),
            "F_fric" => state.friction_force.si(),
            "p_gas" => state.gas_pressure.si(),
            other => panic!("{other}"),
        };
        i["keys"].as_array().unwrap().iter().map(by_key).collect()
    }

    fn gas_charge(i: &Value) -> Vec<f64> {
        let (damper, oil) = damper(&i["damper"]);
        let oil = oil.at(celsius(n(i, "T_C"))).unwrap();
        let velocities = (
            Velocity::from_si(n(i, "v_comp_mps")),
            Velocity::from_si(n(i, "v_reb_mps")),
        );
        let lowest = AbsolutePressure::from_si(n(i, "p_min_Pa"));
        let stroke = Stroke::from_si(or(i, "x_m", 0.0));
        vec![damper.least_charge(velocities, stroke, lowest, &oil).unwrap().si()]
    }

    fn fade(i: &Value) -> Vec<f64> {
        let (damper, oil) = damper(&i["damper"]);
        let force = |v: f64, t: f64| {
            let oil = oil.at(celsius(t)).unwrap();
            damper
                .at(Velocity::from_si(v), Stroke::from_si(0.0), &oil)
                .unwrap()
                .hydraulic_force
                .si()
        };
        numbers(&i["v_mps"])
            .into_iter()
            .map(|v| force(v, n(i, "T_hot_C")) / force(v, n(i, "T_cold_C")))
            .collect()
    }

    fn overshoot_from_zeta(i: &Value) -> Vec<f64> {
        let share = ride::overshoot(n(i, "zeta"));
        assert!((ride::ratio_of_overshoot(share) - n(i, "zeta")).abs() < 1e-12);
        vec![share]
    }

    fn zeta_from_logdec(i: &Value) -> Vec<f64> {
        vec![ride::ratio_of_decrement(n(i, "delta"), or(i, "n", 1.0))]
    }

    fn mck(i: &Value) -> Vec<f64> {
        let oscillator = Oscillator {
            rate: WheelRate::from_si(n(i, "k_N_per_m")),
            mass: Mass::from_si(n(i, "m_kg")),
        };
        let (w, zeta) = (
            oscillator.angular_frequency(),
            oscillator.ratio(DampingRate::from_si(n(i, "c_Ns_per_m"))),
        );
        vec![w, zeta, w * (1.0 - zeta * zeta).sqrt()]
    }

    fn settle(i: &Value) -> Vec<f64> {
        vec![ride::settled_at(n(i, "zeta"), n(i, "band")).unwrap() / n(i, "wn_rad_s")]
    }

    fn zeta_at_wheel(i: &Value) -> Vec<f64> {
        let linkage = Linkage::Ratio {
            motion_ratio: n(i, "MR"),
            change_per_meter: or(i, "dMR_per_m", 0.0),
        };
        let load = Load::from_si(or(i, "F_spring_N", 0.0));
        let rate = linkage
            .wheel_rate(SpringRate::from_si(n(i, "k_N_per_m")), load)
            .unwrap();
        let mass = Mass::from_si(n(i, "m_kg"));
        let at_wheel = n(i, "c_Ns_per_m") * linkage.motion_ratio().unwrap().powi(2);
        vec![
            rate.si(),
            Oscillator { rate, mass }.ratio(DampingRate::from_si(at_wheel)),
        ]
    }

    fn fork_wheel_rate(i: &Value) -> Vec<f64> {
        let fork = Linkage::Fork {
            rake: Angle::new(n(i, "rake_deg"), AngleUnit::Degree),
        };
        let both = SpringRate::from_si(n(i, "n") * n(i, "k_N_per_m"));
        vec![fork.wheel_rate(both, Load::from_si(0.0)).unwrap().si()]
    }

    fn damping_new_spring(i: &Value) -> Vec<f64> {
        let rates = (WheelRate::from_si(n(i, "k_old")), WheelRate::from_si(n(i, "k_new")));
        let old = or(i, "m_old", 1.0);
        let masses = (Mass::from_si(old), Mass::from_si(or(i, "m_new", old)));
        vec![n(i, "c_old") * ride::factor_for_spring(rates, masses)]
    }

    fn ceq_power(i: &Value) -> Vec<f64> {
        // The closed form stands in the case; the law is integrated here, with a corner at zero for the exponent 0.
        let (c, power) = (n(i, "cn"), n(i, "n"));
        let law = |v: Velocity| Ok(Force::from_si(c * v.si().abs().powf(power) * v.si().signum()));
        let rate = ride::equivalent(Velocity::from_si(n(i, "v_peak_mps")), law)
            .unwrap()
            .si();
        vec![rate]
    }

    fn ceq_energy_asym(i: &Value) -> Vec<f64> {
        let law = |v: Velocity| {
            let v = v.si();
            Ok(Force::from_si(if v >= 0.0 {
                n(i, "c_comp") * v.powf(n(i, "n_comp"))
            } else {
                -n(i, "c_reb") * (-v).powf(n(i, "n_reb"))
            }))
        };
        vec![
            ride::equivalent(Velocity::from_si(n(i, "v_peak_mps")), law)
                .unwrap()
                .si(),
        ]
    }

    fn needle(j: &Value) -> Needle {
        Needle {
            seat_diameter: Length::from_si(n(j, "seat_m")),
            half_angle: Angle::new(n(j, "half_angle_deg"), AngleUnit::Degree),
            pitch: Length::from_si(or(j, "pitch_m", 0.5e-3)),
            clicks_per_turn: or(j, "clicks_per_turn", 12.0),
            click_range: or(j, "clicks_total", 24.0),
            closed_area: Area::from_si(or(j, "a_closed_m2", 0.0)),
            discharge_factor: 0.70,
        }
    }

    fn needle_area(i: &Value) -> Vec<f64> {
        let needle = needle(i);
        numbers(&i["h_m"])
            .into_iter()
            .map(|h| needle.area_at(Length::from_si(h)).si())
            .collect()
    }

    /// Runs something on an adjusted circuit of a case.
    fn adjusted<R>(i: &Value, run: impl Fn(&Adjusted<'_>) -> R) -> R {
        let (circuit, needle, oil) = (circuit(&i["circuit"]), needle(&i["needle"]), fluid(i));
        let area = Area::from_si(n(i, "area_m2"));
        run(&Adjusted {
            circuit: &circuit,
            needle: &needle,
            area,
            oil: &oil,
            flow: FlowRate::from_si(n(i, "v_mps") * area.si()),
        })
    }

    fn adjuster(i: &Value) -> Vec<f64> {
        adjusted(i, |at| {
            numbers(&i["clicks"])
                .into_iter()
                .map(|k| at.force(k).unwrap().si())
                .collect()
        })
    }

    fn click_sum(i: &Value) -> Vec<f64> {
        adjusted(i, |at| {
            let (from, to) = (n(i, "from") as i32, n(i, "to") as i32);
            let each = |k: i32| at.force_per_click(f64::from(k)).unwrap().si();
            let sum: f64 = (from + 1..=to).map(each).sum();
            vec![sum / (at.force(f64::from(from)).unwrap().si() - at.force(f64::from(to)).unwrap().si())]
        })
    }

    /// A force is made with a stack of known strength at mid range; the strength must come back.
    fn recentre(i: &Value) -> Vec<f64> {
        adjusted(i, |at| {
            let middle = at.needle.click_range / 2.0;
            let Some(factor) = i["s_true"].as_f64() else {
                let found = at.recentre(n(i, "clicks_now"), middle).unwrap();
                return vec![f64::from(u8::from(found.stack_factor.is_some()))];
            };
            let mut stronger = at.circuit.clone();
            let valve = stronger.valve.as_mut().unwrap();
            valve.lift = valve.lift.scaled(factor);
            let wanted = Adjusted {
                circuit: &stronger,
                ..*at
            }
            .force(middle)
            .unwrap()
            .si();
            let (mut low, mut high) = (0.5, at.needle.click_range);
            for _ in 0..100 {
                let k = f64::midpoint(low, high);
                if at.force(k).unwrap().si() > wanted {
                    low = k
                } else {
                    high = k
                }
            }
            let found = at.recentre(low, middle).unwrap();
            vec![found.stack_factor.unwrap(), 1.0]
        })
    }
}
