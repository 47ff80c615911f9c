//! Published and recomputed values for sag, rest, braking, choosing a spring and response, each at the tolerance it states.
//!
//! Two data files: `data/setup` case by case, `data/hydraulics` by the calculation it names; the calculations of the latter
//! that are not here stand in `published_valving.rs`.

#[cfg(test)]
mod cases {
    use std::path::PathBuf;

    use serde_json::Value;

    pub(super) fn read(file: &str) -> Value {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(file);
        serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
    }

    pub(super) fn n(inputs: &Value, name: &str) -> f64 {
        inputs[name].as_f64().unwrap_or_else(|| panic!("no {name} in {inputs}"))
    }

    pub(super) fn or(inputs: &Value, name: &str, otherwise: f64) -> f64 {
        inputs[name].as_f64().unwrap_or(otherwise)
    }
}

/// Sag, implied rate, rest, choice: `data/setup/checks.json`.
#[cfg(test)]
mod setup {
    use std::collections::BTreeSet;

    use mechanics::chassis::{
        AirOfFork, Balance, Candidate, CandidateSpring, CenterOfGravity, ChassisError, Choice, Element, End, Handling,
        ImpliedRequest, Path, Rest, RestState, RidersPart, SagRequest, SagTargets, SpringSource, SprungLoad,
        StateReading, Suspension, braking, choose, cornering_factor, damping_factor_after_respring, implied_rate,
        read_sag, rear_lift, spring_for_rests,
    };
    use mechanics::finding::Code;
    use mechanics::follow::{ShareAt, TrendRules, TrendState, share_trend};
    use mechanics::forecast::{damping_factor, deceleration_at, lateral_at, road_factor};
    use mechanics::judgement::{
        Action, Adjuster, Circuit, Direction, EndVisit, Judgement, Oil, RuleTable, Verdict, Visit, factor_to_middle,
        judge,
    };
    use mechanics::quantity::{
        Angle, AngleUnit, Force, Length, LengthUnit, Mass, MassUnit, Preload, Quantity, STANDARD_GRAVITY, SpringRate,
        StiffnessUnit, Stroke, Travel, UnitSystem, WheelRate,
    };
    use mechanics::spring::Linkage;
    use serde_json::Value;
    use wire::book::follow::{Followed, Place, points};
    use wire::v1;

    use super::cases::read;

    /// What a case's name yields: figures by the names of its `expected`.
    type Run = fn(&Value) -> Vec<(&'static str, Vec<f64>)>;

    const RUN: &[(&str, Run)] = &[
        ("SET-01", sag_pairs),
        ("SET-03", single_reading),
        ("SET-04", noise_or_error),
        ("SET-05", implied_fork),
        ("SET-07", implied_shock),
        ("SET-08", implied_linkage),
        ("SET-10", topped_out_bound),
        ("SET-11", equilibrium_rear),
        ("SET-13", inverse_rear),
        ("SET-16", multi),
        ("SET-17", choose_rear),
        ("SET-19", forecast),
        ("SET-22", brake),
        ("SET-24", adjuster),
        ("SET-25", trend),
    ];

    fn numbers(value: &Value) -> Vec<f64> {
        match value {
            Value::Array(all) => all.iter().flat_map(numbers).collect(),
            Value::Bool(yes) => vec![f64::from(u8::from(*yes))],
            // Words: 1 where the calculation says so as well.
            Value::String(_) => vec![1.0],
            value => vec![value.as_f64().unwrap()],
        }
    }

    #[test]
    fn every_figure_of_every_case_is_met() {
        let mut wrong = Vec::new();
        let mut seen = BTreeSet::new();
        for case in read("data/setup/checks.json").as_array().unwrap() {
            let id = case["id"].as_str().unwrap();
            seen.insert(id.to_owned());
            let (_, run) = RUN
                .iter()
                .find(|(known, _)| *known == id)
                .unwrap_or_else(|| panic!("no {id}"));
            let got = run(&case["inputs"]);
            for (name, expected) in case["expected"].as_object().unwrap() {
                let figure = format!("{id} {name}");
                let found = got.iter().find(|(known, _)| known == name);
                let want = numbers(&expected["value"]);
                let found = &found.unwrap_or_else(|| panic!("no {figure}")).1;
                let (rel, abs) = (
                    expected["rel_tol"].as_f64().unwrap_or(0.0),
                    expected["abs_tol"].as_f64().unwrap_or(0.0),
                );
                let met = found.len() == want.len()
                    && found
                        .iter()
                        .zip(&want)
                        .all(|(got, want)| (got - want).abs() <= (rel * want.abs()).max(abs));
                if !met {
                    wrong.push(format!("{figure}: {found:?} instead of {want:?}"));
                }
            }
        }
        assert_eq!(seen, RUN.iter().map(|(id, _)| (*id).to_owned()).collect());
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    fn v(inputs: &Value, name: &str) -> f64 {
        inputs[name]["value"]
            .as_f64()
            .unwrap_or_else(|| panic!("no {name} in {inputs}"))
    }

    fn list(inputs: &Value, name: &str) -> Vec<f64> {
        numbers(&inputs[name]["value"])
    }

    fn mm(value: f64) -> Length {
        Length::new(value, LengthUnit::Millimeter)
    }

    fn wheel(value: f64) -> Travel {
        Travel::new(value, LengthUnit::Millimeter)
    }

    fn kg(value: f64) -> Mass {
        Mass::new(value, MassUnit::Kilogram)
    }

    fn per_mm(value: f64) -> SpringRate {
        SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
    }

    fn as_mm<Q: Quantity<Unit = LengthUnit>>(value: Q) -> f64 {
        value.get(LengthUnit::Millimeter)
    }

    fn as_rate<Q: Quantity<Unit = StiffnessUnit>>(value: Q) -> f64 {
        value.get(StiffnessUnit::NewtonPerMillimeter)
    }

    fn preload(value: f64) -> Preload {
        Preload::new(value, LengthUnit::Millimeter)
    }

    fn weight(mass: f64) -> Force {
        Force::from_si(mass * STANDARD_GRAVITY)
    }

    fn readings(end: End, extended: &[f64], resolution: f64) -> SagRequest {
        SagRequest {
            end,
            extended: extended.iter().map(|value| mm(*value)).collect(),
            alone: None,
            rider: None,
            resolution: Some(mm(resolution)),
            handling: Handling::Within(mm(0.0)),
            half_band: None,
            tape_slant: None,
            travel: None,
            rake: None,
            rider_loads_it: true,
            units: UnitSystem::Metric,
        }
    }

    fn sag_pairs(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let pair = |pressed: &str, lifted: &str| {
            Some(StateReading::Paired {
                pressed: vec![mm(v(i, pressed))],
                lifted: vec![mm(v(i, lifted))],
            })
        };
        let found = read_sag(&SagRequest {
            alone: pair("L_alone_pressed", "L_alone_lifted"),
            rider: pair("L_rider_pressed", "L_rider_lifted"),
            ..readings(End::Rear, &list(i, "L_ext"), v(i, "resolution_full_width"))
        })
        .unwrap();
        let (stat, total, share) = (
            found.static_sag.unwrap(),
            found.total_sag.unwrap(),
            found.riders_share.unwrap(),
        );
        vec![
            ("static", vec![as_mm(stat.value)]),
            ("total", vec![as_mm(total.value)]),
            ("riders_share", vec![as_mm(share.value)]),
            ("friction_half_band_alone", vec![as_mm(found.half_bands.0.unwrap())]),
            ("friction_half_band_rider", vec![as_mm(found.half_bands.1.unwrap())]),
            ("u_static", vec![as_mm(stat.standard_uncertainty)]),
            ("u_total", vec![as_mm(total.standard_uncertainty)]),
            ("u_riders_share", vec![as_mm(share.standard_uncertainty)]),
        ]
    }

    fn single_reading(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let found = read_sag(&SagRequest {
            alone: Some(StateReading::Single(vec![mm(v(i, "L_read"))])),
            half_band: Some(mm(v(i, "friction_half_band"))),
            ..readings(End::Rear, &[600.0], v(i, "resolution_full_width"))
        })
        .unwrap();
        let alone = found.alone.unwrap().length;
        vec![
            ("L", vec![as_mm(alone.value)]),
            ("u_L", vec![as_mm(alone.standard_uncertainty)]),
        ]
    }

    fn noise_or_error(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let extended = v(i, "L_ext_mean");
        let read = |alone: f64| {
            read_sag(&SagRequest {
                alone: Some(StateReading::Paired {
                    pressed: vec![mm(alone)],
                    lifted: vec![mm(alone)],
                }),
                ..readings(End::Rear, &[extended, extended], v(i, "resolution_full_width"))
            })
        };
        let means = list(i, "L_alone_mean");
        let noise = read(means[0]).unwrap();
        let said = noise.findings.iter().any(|finding| finding.code == Code::NoStaticSag);
        let refused = matches!(read(means[1]), Err(ChassisError::Contradiction { field, .. }) if field == "alone");
        let sag = noise.static_sag.unwrap();
        vec![
            ("static_raw", vec![as_mm(sag.value), extended - means[1]]),
            ("U_static", vec![as_mm(sag.expanded_uncertainty)]),
            ("verdict", vec![f64::from(u8::from(said)), f64::from(u8::from(refused))]),
        ]
    }

    fn part(i: &Value, u: &str) -> RidersPart {
        RidersPart {
            part: kg(v(i, "dm")),
            standard_uncertainty: kg(i[u]["value"].as_f64().unwrap_or(0.0)),
            assumed: None,
        }
    }

    fn implied(end: End, path: Path, i: &Value, share: f64, u_share: f64) -> ImpliedRequest {
        ImpliedRequest {
            end,
            path,
            static_sag: (wheel(10.0), mm(0.0)),
            riders_share: (wheel(share), mm(u_share)),
            static_is_zero: false,
            part: part(i, "u_dm"),
            sprung_load: None,
            others: Vec::new(),
            air: AirOfFork::Known,
            unknown_top_out: None,
            springs: 1,
            units: UnitSystem::Metric,
        }
    }

    fn implied_fork(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let rake = Angle::new(v(i, "rake"), AngleUnit::Degree);
        let path = Path::fork(rake, Stroke::new(120.0, LengthUnit::Millimeter)).unwrap();
        let cos = rake.si().cos();
        let found = implied_rate(&ImpliedRequest {
            springs: 2,
            ..implied(
                End::Front,
                path,
                i,
                v(i, "riders_share_axial") * cos,
                v(i, "u_share") * cos,
            )
        })
        .unwrap();
        let legs = found.rate.unwrap();
        vec![
            ("k_legs_total", vec![as_rate(legs.value)]),
            ("k_per_leg", vec![as_rate(found.rate_each.unwrap().value)]),
            ("k_wheel", vec![as_rate(found.wheel_rate.value)]),
            ("u_rel", vec![legs.standard_uncertainty.si() / legs.value.si()]),
        ]
    }

    fn linkage(linkage: &Linkage, travel: f64, u: f64) -> Path {
        Path::of_linkage(linkage, wheel(travel), None, u).unwrap()
    }

    /// `MR = MR0 + c z`, with `c` in 1/mm: compression as a polynomial.
    fn rising(i: &Value, travel: f64) -> Path {
        let terms = vec![0.0, v(i, "MR0"), v(i, "dMR_dz") / 2.0];
        linkage(&Linkage::Polynomial(terms), travel, 0.0)
    }

    fn implied_shock(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let path = linkage(&Linkage::ConstantRatio(v(i, "MR")), 130.0, v(i, "u_MR"));
        let found = implied_rate(&implied(
            End::Rear,
            path,
            i,
            v(i, "riders_share_wheel"),
            v(i, "u_share"),
        ))
        .unwrap();
        let rate = found.rate.unwrap();
        vec![
            ("k_wheel", vec![as_rate(found.wheel_rate.value)]),
            ("k_spring", vec![as_rate(rate.value)]),
            ("u_rel_spring", vec![rate.standard_uncertainty.si() / rate.value.si()]),
        ]
    }

    fn implied_linkage(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let (first, second) = (v(i, "z_static"), v(i, "z_total"));
        let found = implied_rate(&ImpliedRequest {
            static_sag: (wheel(first), mm(0.0)),
            sprung_load: Some(SprungLoad {
                load: Force::from_si(v(i, "W1_sprung")),
                standard_uncertainty: Force::from_si(0.0),
            }),
            others: vec![Element::Steady(Force::from_si(v(i, "rod_gas_force")))],
            ..implied(End::Rear, rising(i, 130.0), i, second - first, 0.0)
        })
        .unwrap();
        vec![
            ("k_spring", vec![as_rate(found.rate.unwrap().value)]),
            ("preload", vec![as_mm(found.preload.unwrap())]),
            ("k_naive_secant_over_MR2", vec![as_rate(found.with_one_ratio.unwrap())]),
        ]
    }

    fn topped_out_bound(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let path = linkage(&Linkage::ConstantRatio(1.0), 130.0, 0.0);
        let rate = v(i, "k_wheel_true");
        let spring = Element::Straight {
            rate: per_mm(rate),
            preload: preload(v(i, "preload_force_wheel") / rate),
        };
        let end = Suspension::new(path.clone(), vec![spring]).unwrap();
        let alone = end.equilibrium(Force::from_si(v(i, "W1_sprung")));
        let rider = end.equilibrium(Force::from_si(v(i, "W1_sprung") + v(i, "dW")));
        let mass = v(i, "dW") / STANDARD_GRAVITY;
        let found = implied_rate(&ImpliedRequest {
            static_sag: (alone.travel, mm(0.1)),
            riders_share: (rider.travel, mm(0.1)),
            static_is_zero: true,
            part: RidersPart {
                part: kg(mass),
                standard_uncertainty: kg(0.0),
                assumed: None,
            },
            ..implied(End::Rear, path, &serde_json::json!({"dm": {"value": mass}}), 20.0, 0.1)
        })
        .unwrap();
        let refused = spring_for_rests(
            &Suspension::new(end.path().clone(), Vec::new()).unwrap(),
            Rest {
                travel: alone.travel,
                load: Force::from_si(v(i, "W1_sprung")),
            },
            Rest {
                travel: rider.travel,
                load: Force::from_si(v(i, "W1_sprung") + v(i, "dW")),
            },
        );
        let bound = found.upper_bound
            && alone.state == RestState::ToppedOut
            && matches!(refused, Err(ChassisError::NotDetermined { .. }));
        vec![
            ("z_static", vec![as_mm(alone.travel)]),
            ("z_total", vec![as_mm(rider.travel)]),
            ("k_apparent", vec![as_rate(found.wheel_rate.value)]),
            ("verdict", vec![f64::from(u8::from(bound))]),
        ]
    }

    fn equilibrium_rear(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let path = linkage(&Linkage::ConstantRatio(v(i, "MR")), v(i, "travel"), 0.0);
        let elements = vec![
            Element::Straight {
                rate: per_mm(v(i, "k")),
                preload: preload(v(i, "preload")),
            },
            Element::Steady(Force::from_si(v(i, "rod_gas_force"))),
        ];
        let end = Suspension::new(path, elements).unwrap();
        let alone = as_mm(end.equilibrium(weight(v(i, "m_sprung_end"))).travel);
        let rider = as_mm(end.equilibrium(weight(v(i, "m_sprung_end") + v(i, "dm"))).travel);
        vec![
            ("static", vec![alone]),
            ("total", vec![rider]),
            ("riders_share", vec![rider - alone]),
        ]
    }

    fn inverse_rear(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let path = linkage(&Linkage::ConstantRatio(v(i, "MR")), 130.0, 0.0);
        let gas = Element::Steady(Force::from_si(v(i, "rod_gas_force")));
        let others = Suspension::new(path, vec![gas]).unwrap();
        let rest = |travel: &str, mass: f64| Rest {
            travel: wheel(v(i, travel)),
            load: weight(mass),
        };
        let alone = v(i, "m_sprung_end");
        let found = spring_for_rests(&others, rest("static", alone), rest("total", alone + v(i, "dm"))).unwrap();
        vec![
            ("k_wheel", vec![as_rate(found.wheel_rate)]),
            ("preload_force_wheel", vec![found.preload_force.si()]),
            ("k_spring", vec![as_rate(found.rate)]),
            ("preload", vec![as_mm(found.preload)]),
        ]
    }

    fn multi(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let spring = Element::Straight {
            rate: per_mm(v(i, "k")),
            preload: preload(v(i, "preload")),
        };
        let end = Suspension::new(rising(i, v(i, "travel")), vec![spring]).unwrap();
        let rest = end.equilibrium(Force::from_si(v(i, "W")));
        let [stable, unstable] = rest.roots.as_slice() else {
            panic!("{rest:?}")
        };
        assert_eq!(rest.travel, stable.travel);
        let findings = rest.findings("alone", UnitSystem::Metric);
        let said = findings.iter().any(|finding| finding.code == Code::SeveralPositions);
        vec![
            ("z_stable", vec![as_mm(rest.travel)]),
            ("z_unstable", vec![as_mm(unstable.travel)]),
            ("k_wheel_stable", vec![as_rate(rest.wheel_rate)]),
            ("k_wheel_unstable", vec![as_rate(unstable.wheel_rate)]),
            ("load_at_full_travel", vec![rest.force_at_full_travel.si()]),
            (
                "status",
                vec![f64::from(u8::from(rest.state == RestState::Rests && said))],
            ),
        ]
    }

    fn choose_rear(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let rates = list(i, "rates");
        let limits = list(i, "preload_allowed");
        let candidate = |rate: &f64| Candidate {
            springs: vec![CandidateSpring {
                label: format!("{rate}"),
                rate: per_mm(*rate),
                standard_uncertainty: per_mm(0.0),
                source: SpringSource::Measured,
                curve: None,
                deflection_to_solid: None,
            }],
        };
        let mut chosen = choose(&Choice {
            end: End::Rear,
            path: linkage(&Linkage::ConstantRatio(v(i, "MR")), 130.0, 0.0),
            others: vec![Element::Steady(Force::from_si(v(i, "rod_gas_force")))],
            load_alone: weight(v(i, "m_sprung_end")),
            load_with_rider: weight(v(i, "m_sprung_end") + v(i, "dm")),
            unsprung_mass: None,
            targets: SagTargets {
                total: wheel(v(i, "target_total")),
                total_tolerance: mm(5.0),
                static_sag: None,
            },
            preload_limits: Some((preload(limits[0]), preload(limits[1]))),
            travel_case: None,
            present: None,
            candidates: rates.iter().map(candidate).collect(),
            units: UnitSystem::Metric,
        })
        .unwrap();
        chosen.ranked.sort_by_key(|ranked| ranked.index);
        let each = |of: fn(&mechanics::chassis::Ranked) -> f64| chosen.ranked.iter().map(of).collect::<Vec<f64>>();
        vec![
            ("preload", each(|ranked| as_mm(ranked.preload))),
            ("static", each(|ranked| as_mm(ranked.static_sag.0))),
            ("allowed", each(|ranked| f64::from(u8::from(ranked.fits())))),
        ]
    }

    fn balance(i: &Value, mass: f64, unsprung: f64) -> Balance {
        Balance {
            gravity: CenterOfGravity {
                mass: kg(mass),
                ahead: Length::from_si(v(i, "b")),
                height: Length::from_si(v(i, "h")),
            },
            wheelbase: Length::from_si(v(i, "L")),
            front_unsprung: kg(unsprung),
            rear_unsprung: kg(0.0),
        }
    }

    fn forecast(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let pace = v(i, "p");
        let lift = rear_lift(&balance(i, 265.0, 16.0)).unwrap();
        let grip = v(i, "grip");
        let lateral = lateral_at(pace, v(i, "a_lateral"), grip);
        // The bound of a bump: the shaft as much faster as the machine.
        let bump = pace;
        vec![
            ("rms_velocity_ratio", vec![road_factor(pace, v(i, "waviness"))]),
            ("bump_input_velocity_ratio", vec![bump]),
            (
                "damping_multiplier_bump",
                vec![damping_factor(bump, v(i, "damper_exponent"), 1.0)],
            ),
            ("decel", vec![deceleration_at(pace, v(i, "a_brake"), grip, lift)]),
            ("decel_lift_limit", vec![lift]),
            ("a_lateral_at_pace", vec![lateral]),
            ("spring_load_factor", vec![cornering_factor(lateral)]),
        ]
    }

    fn brake(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let balance = balance(i, v(i, "m"), v(i, "m_unsprung_front"));
        let rake = Angle::new(v(i, "rake"), AngleUnit::Degree);
        let path = Path::fork(rake, Stroke::new(v(i, "travel_axial"), LengthUnit::Millimeter)).unwrap();
        let spring = Element::Straight {
            rate: per_mm(v(i, "k_legs_total")),
            preload: preload(v(i, "preload")),
        };
        let fork = Suspension::new(path, vec![spring]).unwrap();
        let at =
            |deceleration: f64| braking(&balance, rake, deceleration, v(i, "front_share_of_braking"), None).unwrap();
        let (still, stopping) = (at(0.0), at(v(i, "decel")));
        let (rest, dive) = (
            fork.equilibrium(still.wheel_load),
            fork.equilibrium(stopping.wheel_load),
        );
        vec![
            ("F_axial_rest", vec![still.axial_force.si()]),
            ("F_axial_braking", vec![stopping.axial_force.si()]),
            ("s_rest", vec![as_mm(rest.stroke)]),
            ("s_braking", vec![as_mm(dive.stroke)]),
            ("dive_axial", vec![as_mm(dive.stroke) - as_mm(rest.stroke)]),
            ("dive_vertical", vec![as_mm(dive.travel) - as_mm(rest.travel)]),
            ("travel_left_axial", vec![v(i, "travel_axial") - as_mm(dive.stroke)]),
        ]
    }

    fn adjuster(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let rate = |name: &str| WheelRate::new(v(i, name), StiffnessUnit::NewtonPerMillimeter);
        let mass = (kg(110.0), kg(110.0));
        let factor = damping_factor_after_respring((rate("k_old"), rate("k_new")), mass).unwrap();
        let (range, ratio) = (v(i, "range"), v(i, "closed_to_open_force_ratio"));
        let positions = list(i, "position_from_closed");
        let each = |figure: &dyn Fn(f64) -> f64| positions.iter().map(|position| figure(*position)).collect();
        let near = |position: f64| f64::from(u8::from(is_near_its_limit(position, range)));
        vec![
            ("share", each(&|position| share_of(position, range))),
            ("quarter_or_less", each(&near)),
            (
                "multiplier_to_mid",
                each(&|position| factor_to_middle(position / range, ratio)),
            ),
            ("multiplier_respring", vec![factor]),
            (
                "multiplier_both_at_6_clicks",
                vec![factor * factor_to_middle(6.0 / range, ratio)],
            ),
        ]
    }

    /// A rear with one rebound adjuster, judged.
    fn judged(position: f64, range: f64) -> Judgement {
        let rear = EndVisit {
            adjusters: vec![Adjuster {
                circuit: Circuit::REBOUND,
                position,
                range,
                model: None,
                factors_to_be_had: None,
            }],
            oil: Oil {
                age: Some(std::time::Duration::from_secs(86_400)),
                ..Oil::default()
            },
            ..EndVisit::default()
        };
        let visit = Visit {
            rear: Some(rear),
            ..Visit::default()
        };
        judge(&visit, &RuleTable::shipped())
    }

    fn is_near_its_limit(position: f64, range: f64) -> bool {
        let stronger = |one: &Verdict| one.action == Action::Revalve && one.direction == Some(Direction::Stronger);
        judged(position, range).verdicts.iter().any(stronger)
    }

    /// The share that a followed machine shows.
    fn share_of(position: f64, range: f64) -> f64 {
        let (circuit, unit) = (v1::DampingCircuit::Rebound as i32, v1::AdjusterUnit::Clicks as i32);
        let ranges = [v1::AdjusterRange {
            circuit,
            unit,
            range_count: Some(range),
            ..Default::default()
        }];
        let rear = v1::EndState {
            adjusters: vec![v1::AdjusterSetting {
                circuit,
                unit,
                position_from_closed: Some(position),
                ..Default::default()
            }],
            ..Default::default()
        };
        let visit = v1::VisitValues {
            as_found: Some(v1::SetupState {
                rear: Some(rear),
                ..Default::default()
            }),
            ..Default::default()
        };
        let followed = Followed {
            label: "visit".to_owned(),
            visit: &visit,
            found: [&[], &ranges],
            left: [&[], &[]],
        };
        let place = Place {
            end: v1::MachineEnd::Rear,
            circuit,
            leg: None,
        };
        points(&[followed], place).0[0].share_ratio
    }

    fn trend(i: &Value) -> Vec<(&'static str, Vec<f64>)> {
        let visits: Vec<ShareAt> = list(i, "distance")
            .into_iter()
            .zip(list(i, "share_left"))
            .map(|(distance, share)| ShareAt {
                distance: Length::new(distance, LengthUnit::Kilometer),
                share,
            })
            .collect();
        let rules = TrendRules {
            limit: v(i, "threshold"),
            coverage: 0.95,
        };
        let of = |count: f64| share_trend(&visits[..count as usize], rules);
        let counts = list(i, "n");
        let whole = share_trend(&visits, rules);
        vec![
            (
                "p_two_sided_perfect_order",
                counts.iter().map(|n| of(*n).order_probability.unwrap()).collect(),
            ),
            (
                "may_show_a_trend_at_95",
                counts
                    .iter()
                    .map(|n| f64::from(u8::from(of(*n).state == TrendState::Closing)))
                    .collect(),
            ),
            ("slope", vec![whole.slope_per_kilometer.unwrap()]),
            ("intercept", vec![whole.intercept.unwrap()]),
            (
                "reaches_quarter_at",
                vec![whole.limit_distance.unwrap().get(LengthUnit::Kilometer)],
            ),
        ]
    }
}

/// Sag and braking of `data/hydraulics/checks.json`.
#[cfg(test)]
mod hydraulics {
    use std::collections::BTreeSet;

    use mechanics::chassis::{
        Air, Balance, CenterOfGravity, DampingLaw, Element, MassPart, Path, QuarterBike, Responded, ResponseRequest,
        Rest, RestState, Road, Suspension, braking, combine, natural_frequencies, packing, respond, spring_for_rests,
        wheel_loads,
    };
    use mechanics::quantity::{
        AbsolutePressure, Angle, AngleUnit, Area, DampingRate, Force, Length, Mass, Preload, Quantity, SpringRate,
        Stroke, Travel, UnitSystem, Velocity, Volume, WheelRate,
    };
    use mechanics::spring::Linkage;
    use serde_json::Value;

    use super::cases::{n, or, read};

    type Run = fn(&Value) -> Vec<f64>;

    const RUN: &[(&str, Run)] = &[
        ("loads", loads),
        ("fork_force", fork_force),
        ("brake_dive", brake_dive),
        ("sag", sag),
        ("spring_for_sags", spring_for_sags),
        ("combine", combined),
        ("quarter", quarter),
        ("quarter_step_peak", quarter_step_peak),
        ("quarter_load_step", quarter_load_step),
        ("quarter_bump", quarter_bump),
        ("packing", packed),
    ];

    #[test]
    fn every_case_is_met() {
        let mut wrong = Vec::new();
        let mut seen = BTreeSet::new();
        for case in read("data/hydraulics/checks.json")["cases"].as_array().unwrap() {
            let name = case["fn"].as_str().unwrap();
            let Some((known, run)) = RUN.iter().find(|(known, _)| *known == name) else {
                continue;
            };
            seen.insert(*known);
            let got = run(&case["inputs"]);
            let expected = numbers(&case["expected"]);
            let (rel, abs) = (
                case["tolerance"]["rel"].as_f64().unwrap(),
                case["tolerance"]["abs"].as_f64().unwrap(),
            );
            let met = got.len() == expected.len()
                && got
                    .iter()
                    .zip(&expected)
                    .all(|(got, want)| (got - want).abs() <= (rel * want.abs()).max(abs));
            if !met {
                wrong.push(format!("{}: {got:?} instead of {expected:?}", case["id"]));
            }
        }
        assert_eq!(seen, RUN.iter().map(|(name, _)| *name).collect());
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    /// Numbers of a value; states of rest by their number.
    fn numbers(value: &Value) -> Vec<f64> {
        match value {
            Value::Array(all) => all.iter().flat_map(numbers).collect(),
            Value::String(word) => vec![match word.as_str() {
                "ok" => 0.0,
                "topped out" => 1.0,
                "bottomed" => 2.0,
                other => panic!("{other}"),
            }],
            value => vec![value.as_f64().unwrap()],
        }
    }

    fn balance(i: &Value) -> Balance {
        Balance {
            gravity: CenterOfGravity {
                mass: Mass::from_si(n(i, "m_kg")),
                ahead: Length::from_si(n(i, "b_m")),
                height: Length::from_si(n(i, "h_m")),
            },
            wheelbase: Length::from_si(n(i, "L_m")),
            front_unsprung: Mass::from_si(or(i, "mu_f_kg", 0.0)),
            rear_unsprung: Mass::from_si(0.0),
        }
    }

    fn loads(i: &Value) -> Vec<f64> {
        let loads = wheel_loads(&balance(i), n(i, "ax_mps2")).unwrap();
        vec![loads.front.si(), loads.rear.si()]
    }

    /// The case gives the ground's force itself: a machine on its front wheel alone has it.
    fn fork_force(i: &Value) -> Vec<f64> {
        let (load, along, stop) = (n(i, "Nf_N"), n(i, "Xf_N"), -n(i, "ax_mps2"));
        let mass = along / stop;
        let gravity = CenterOfGravity {
            mass: Mass::from_si(mass),
            ahead: Length::from_si((load / mass - stop * 0.5) / 9.806_65),
            height: Length::from_si(0.5),
        };
        let balance = Balance {
            gravity,
            wheelbase: Length::from_si(1.0),
            front_unsprung: Mass::from_si(n(i, "mu_f_kg")),
            rear_unsprung: Mass::from_si(0.0),
        };
        let rake = Angle::new(n(i, "rake_deg"), AngleUnit::Degree);
        vec![braking(&balance, rake, stop, 1.0, None).unwrap().axial_force.si()]
    }

    fn legs(leg: &Value) -> Vec<Element> {
        let count = or(leg, "n", 1.0);
        let mut elements = vec![Element::Straight {
            rate: SpringRate::from_si(count * n(leg, "k_N_per_m")),
            preload: Preload::from_si(or(leg, "preload_m", 0.0)),
        }];
        elements.extend(air(leg));
        elements
    }

    fn air(of: &Value) -> Option<Element> {
        let area = of["A_air_m2"].as_f64()?;
        Some(Element::Air(Air {
            area: Area::from_si(area),
            extended_pressure: AbsolutePressure::from_si(n(of, "p0_Pa")),
            extended_volume: Volume::from_si(n(of, "V0_m3")),
            exponent: n(of, "n_air"),
            ambient: AbsolutePressure::standard_atmosphere(),
        }))
    }

    fn brake_dive(i: &Value) -> Vec<f64> {
        let rake = Angle::new(n(i, "rake_deg"), AngleUnit::Degree);
        let path = Path::fork(rake, Stroke::from_si(n(i, "travel_m"))).unwrap();
        let fork = Suspension::new(path, legs(&i["leg"])).unwrap();
        let at = |stop: f64| fork.equilibrium(braking(&balance(i), rake, stop, 1.0, None).unwrap().wheel_load);
        vec![at(0.0).stroke.si(), at(n(i, "decel_mps2")).stroke.si()]
    }

    /// `s = mr0 z + mr1 z^2/2`, in millimetres.
    fn path(geometry: &Value, travel: f64) -> Path {
        let terms = vec![0.0, n(geometry, "mr0"), or(geometry, "mr1_per_m", 0.0) / 2.0 * 1e-3];
        Path::of_linkage(&Linkage::Polynomial(terms), Travel::from_si(travel), None, 0.0).unwrap()
    }

    fn sag(i: &Value) -> Vec<f64> {
        let end = Suspension::new(path(&i["geometry"], n(i, "travel_m")), legs(&i["leg"])).unwrap();
        let rest = end.equilibrium(Force::from_si(n(i, "W_N")));
        let state = match rest.state {
            RestState::Rests => 0.0,
            RestState::ToppedOut => 1.0,
            RestState::Bottomed => 2.0,
        };
        vec![rest.travel.si(), state]
    }

    fn spring_for_sags(i: &Value) -> Vec<f64> {
        let others = air(&i["air"]).into_iter().collect();
        let others = Suspension::new(path(&i["geometry"], 0.13), others).unwrap();
        let rest = |z: &str, load: &str| Rest {
            travel: Travel::from_si(n(i, z)),
            load: Force::from_si(n(i, load)),
        };
        let found = spring_for_rests(&others, rest("z1_m", "W1_N"), rest("z2_m", "W2_N")).unwrap();
        vec![found.rate.si() / or(i, "n", 1.0), found.preload.si()]
    }

    fn combined(i: &Value) -> Vec<f64> {
        let parts = i["parts"].as_array().unwrap().iter().map(|part| {
            let at = |k: usize| part[k].as_f64().unwrap();
            MassPart {
                mass: Mass::from_si(at(0)),
                ahead: Length::from_si(at(1)),
                height: Length::from_si(at(2)),
            }
        });
        let whole = combine(&parts.collect::<Vec<_>>());
        vec![whole.mass.si(), whole.ahead.si(), whole.height.si()]
    }

    fn quarter(i: &Value) -> Vec<f64> {
        let (body, wheel) = natural_frequencies(
            Mass::from_si(n(i, "ms_kg")),
            Mass::from_si(n(i, "mu_kg")),
            WheelRate::from_si(n(i, "ks_N_per_m")),
            WheelRate::from_si(n(i, "kt_N_per_m")),
        );
        [body, wheel]
            .map(|frequency| frequency.si() * 2.0 * std::f64::consts::PI)
            .to_vec()
    }

    /// A straight spring over so much travel that no stop is met.
    fn responded(i: &Value, (compression, rebound): (f64, f64), road: Road) -> Responded {
        let path = Path::of_linkage(&Linkage::ConstantRatio(1.0), Travel::from_si(0.8), None, 0.0).unwrap();
        let spring = Element::Straight {
            rate: SpringRate::from_si(n(i, "ks_N_per_m")),
            preload: Preload::from_si(0.0),
        };
        respond(&ResponseRequest {
            bike: QuarterBike {
                sprung: Mass::from_si(n(i, "ms_kg")),
                unsprung: Mass::from_si(n(i, "mu_kg")),
                suspension: Suspension::new(path, vec![spring]).unwrap(),
                damping: DampingLaw::AtWheel {
                    compression: DampingRate::from_si(compression),
                    rebound: DampingRate::from_si(rebound),
                },
                tyre_rate: WheelRate::from_si(n(i, "kt_N_per_m")),
                tyre_damping: DampingRate::from_si(0.0),
                stop_rate: WheelRate::from_si(5e5),
            },
            road,
            seconds: n(i, "t_end_s"),
            next_bump_seconds: None,
            units: UnitSystem::Metric,
        })
        .unwrap()
    }

    fn quarter_step_peak(i: &Value) -> Vec<f64> {
        let (height, c) = (n(i, "step_m"), n(i, "c_Ns_per_m"));
        let road = Road::Step {
            height: Length::from_si(height),
        };
        let found = responded(i, (c, c), road);
        vec![found.body_peak.si() / height, found.body_peak_seconds]
    }

    fn quarter_load_step(i: &Value) -> Vec<f64> {
        let c = n(i, "c_Ns_per_m");
        let road = Road::Load {
            load: Force::from_si(n(i, "dF_N")),
            rise_seconds: 0.0,
        };
        let found = responded(i, (c, c), road);
        let start = found.start.si();
        let last = found.trace.last().unwrap().travel.si();
        assert!(
            (last - found.end.si()).abs() < 1e-6,
            "it comes to rest where the springs say"
        );
        vec![last - start, found.most_travel.si() - start]
    }

    fn quarter_bump(i: &Value) -> Vec<f64> {
        let road = Road::Bump {
            height: Length::from_si(n(i, "h_m")),
            length: Length::from_si(n(i, "L_m")),
            speed: Velocity::from_si(n(i, "speed_mps")),
        };
        let found = responded(i, (n(i, "c_comp"), n(i, "c_reb")), road);
        assert!(found.airborne_seconds > 0.0);
        let start = found.start.si();
        vec![found.most_travel.si() - start, found.least_travel.si() - start]
    }

    fn packed(i: &Value) -> Vec<f64> {
        let damping = DampingRate::from_si(n(i, "c_w_Ns_per_m"));
        vec![packing(damping, WheelRate::from_si(n(i, "k_w_N_per_m")), n(i, "T_s"))]
    }
}
