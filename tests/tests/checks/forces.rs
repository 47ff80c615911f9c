//! Cases of springs from their geometry, together, of gas, at the wheel, and of calibrations.

use mechanics::quantity::{
    Angle, AngleUnit, Area, AreaUnit, Density, DensityUnit, ElasticModulus, EnergyUnit, FrequencyUnit, MassUnit,
    Preload, Stress, Stroke, Temperature, Travel, UnitSystem, Volume, VolumeUnit,
};
use mechanics::spring::{
    Assembly, AssemblyFound, Calibration, ChangeKind, Design, Ends, Gas, GasChange, GasChanged, GasFound, GasModel,
    GasRequest, GasSpring, GeometryUncertainty, Helical, HelicalSpring, Linkage, Part, PartKind, Strength, WheelFound,
    WheelSpring, compute_wheel_rate, evaluate_assembly, evaluate_gas_change, evaluate_gas_spring, evaluate_helical,
    fit_calibration, fit_columns,
};

use super::*;

const MM: LengthUnit = LengthUnit::Millimeter;

fn typed(case: &Case, key: &str) -> f64 {
    let unit = case.text(key, "unit");
    // Through the program's own table of units, into the coherent SI unit.
    match unit.as_str() {
        "1" | "" => case.number(key),
        "mm" | "in" => convert(&format!("{} {unit}", case.number(key)), "m").unwrap(),
        "MPa" | "psi" | "Pa" | "kpsi*in^m" | "MPa*mm^m" => {
            let unit = unit.split('*').next().unwrap();
            convert(&format!("{} {unit}", case.number(key)), "Pa").unwrap()
        }
        "kg/m3" => case.number(key),
        other => panic!("{other}"),
    }
}

fn length(case: &Case, key: &str) -> Length {
    Length::from_si(typed(case, key))
}

/// A spring of steel; the moduli as in the case.
fn wound(case: &Case) -> Helical {
    let has = |key: &str| case.data["inputs"].get(key).is_some();
    let number = |key: &str| has(key).then(|| case.number(key));
    Helical {
        wire_diameter: if has("d") {
            length(case, "d")
        } else {
            Length::new(4.0, MM)
        },
        mean_coil_diameter: if has("D") {
            length(case, "D")
        } else {
            Length::new(30.0, MM)
        },
        large_end_diameter: None,
        active_coil_count: number("Na").or(number("n")).or(Some(8.0)),
        total_coil_count: number("Nt"),
        ends: has("ends").then(|| ends(case.data["inputs"]["ends"].as_str().unwrap())),
        free_length: has("L0").then(|| FreeLength::from_si(typed(case, "L0"))),
        pitch: None,
        coil_gaps: Vec::new(),
        shear_modulus: has("G").then(|| ElasticModulus::from_si(typed(case, "G"))),
        elastic_modulus: has("E").then(|| ElasticModulus::from_si(typed(case, "E"))),
        material: None,
        density: None,
        seating_factor: number("alpha").or(number("nu")).or(number("nu_fixity")),
        temperature: None,
        strength: None,
        design: None,
        deflections: Vec::new(),
        loads: Vec::new(),
        uncertainty: GeometryUncertainty::default(),
        coverage_probability: None,
        units: UnitSystem::Metric,
    }
}

fn ends(name: &str) -> Ends {
    match name {
        "plain" => Ends::Plain,
        "plain_ground" => Ends::PlainGround,
        "squared" => Ends::Squared,
        "squared_ground" => Ends::SquaredGround,
        other => panic!("{other}"),
    }
}

fn evaluated(spring: &Helical) -> HelicalSpring {
    evaluate_helical(spring).unwrap()
}

/// In the unit of the expected figure.
fn in_unit(case: &Case, key: &str, si: f64) -> f64 {
    let unit = case.data["expected"][key]["unit"].as_str().unwrap().to_owned();
    let from = match unit.as_str() {
        "mm" | "in" => "m",
        "MPa" | "kpsi" | "Pa" => "Pa",
        "lbf" | "N" => "N",
        "N/mm" | "lbf/in" => "N/m",
        "cm3" => "m3",
        _ => return si,
    };
    convert(&format!("{si} {from}"), &unit).unwrap()
}

fn expect(case: &mut Case, key: &str, si: f64) {
    let got = in_unit(case, key, si);
    case.expect(key, got);
}

pub(super) fn strength(case: &mut Case) {
    let mut spring = wound(case);
    let reference = if case.text("A", "unit").contains("in") {
        "1 in"
    } else {
        "1 mm"
    };
    spring.strength = Some(Strength {
        tensile_constant: Stress::from_si(typed(case, "A")),
        reference_diameter: Length::from_si(convert(reference, "m").unwrap()),
        exponent: case.number("m"),
        shear_yield_ratio: case.number("Ssy_over_Sut"),
    });
    let found = evaluated(&spring);
    let strength = found.strength.unwrap();
    case.expect("C", found.index_ratio);
    case.expect("KB", found.bergstraesser_factor);
    expect(case, "Sut", strength.tensile_strength.si());
    expect(case, "Ssy", strength.shear_yield_strength.si());
    expect(case, "F_yield", strength.yield_load.si());
    expect(case, "k", found.rate.value.si());
    expect(case, "Ls", found.solid_length.unwrap().si());
    expect(case, "L0", strength.longest_free_length.unwrap().si());
    expect(case, "pitch", strength.longest_pitch.unwrap().si());
}

pub(super) fn stable_rule(case: &mut Case) {
    let found = evaluated(&wound(case));
    case.expect("L0_cr", found.stable_length_rule.get(MM));
}

pub(super) fn factors(case: &mut Case) {
    let of = |c: f64| {
        let mut spring = wound(case);
        spring.wire_diameter = Length::new(1.0, MM);
        spring.mean_coil_diameter = Length::new(c, MM);
        let found = evaluated(&spring);
        (found.wahl_factor, found.bergstraesser_factor)
    };
    let (wahl, other): (Vec<f64>, Vec<f64>) = case.numbers("C").into_iter().map(of).unzip();
    let apart: Vec<f64> = wahl.iter().zip(&other).map(|(w, b)| 100.0 * (w - b) / w).collect();
    case.expect_all("KW", &wahl);
    case.expect_all("KB", &other);
    case.expect_all("diff_percent", &apart);
    case.expect("diff_at_4", apart[0]);
    case.expect("diff_at_12", apart[4]);
}

pub(super) fn surge_in_pounds(case: &mut Case) {
    let mut spring = wound(case);
    // A weight density over the case's own rounded fall.
    let inch = convert("1 in", "m").unwrap();
    let weight = convert(&format!("{} lbf", case.number("gamma")), "N").unwrap() / inch.powi(3);
    let fall = case.number("g") * inch;
    spring.density = Some(Density::from_si(weight / fall));
    let found = evaluated(&spring);
    expect(case, "k", found.rate.value.si());
    expect(case, "W", found.active_mass.si() * fall);
    case.expect("f", found.surge_frequency.get(FrequencyUnit::Hertz));
}

pub(super) fn surge(case: &mut Case) {
    let mut spring = wound(case);
    spring.density = Some(Density::new(case.number("rho"), DensityUnit::KilogramPerCubicMeter));
    let found = evaluated(&spring);
    case.expect("f_exact", found.surge_frequency.si());
    case.expect("f_3560", found.surge_frequency_rounded.si());
}

pub(super) fn design(case: &mut Case) {
    let mut spring = wound(case);
    let d = case.number("d_chosen");
    spring.wire_diameter = Length::new(d, MM);
    spring.mean_coil_diameter = Length::new(d * case.number("C"), MM);
    spring.active_coil_count = Some(case.number("N_chosen"));
    spring.ends = Some(Ends::SquaredGround);
    spring.design = Some(Design {
        load: Load::from_si(case.number("F")),
        deflection: mm(case.number("deflection")),
        permitted_stress: Stress::from_si(1e6 * case.number("Sut") * case.number("tau_allow_ratio")),
        coil_gap: length(case, "gap"),
    });
    let found = evaluated(&spring);
    let design = found.design.unwrap();
    case.expect("d_min", design.least_wire_diameter.get(MM));
    case.expect("N_exact", design.wanted_active_coil_count);
    case.expect("Ls", found.solid_length.unwrap().get(MM));
    case.expect("L0", design.free_length.unwrap().get(MM));
    case.expect("k", newton_per_mm(found.rate.value));
    case.expect("pitch", design.pitch.unwrap().get(MM));
}

pub(super) fn rate_alone(case: &mut Case) {
    case.expect("k", newton_per_mm(evaluated(&wound(case)).rate.value));
}

pub(super) fn whole(case: &mut Case) {
    let mut spring = wound(case);
    spring.density = Some(Density::from_si(case.number("rho")));
    spring.deflections = vec![mm(case.number("s"))];
    let found = evaluated(&spring);
    let point = found.points[0];
    case.expect("k", newton_per_mm(found.rate.value));
    case.expect("C", found.index_ratio);
    case.expect("Ls", found.solid_length.unwrap().get(MM));
    case.expect("s_to_solid", found.travel_to_solid.unwrap().get(MM));
    case.expect("F", point.load.si());
    case.expect("energy", point.energy.get(EnergyUnit::Joule));
    expect(case, "tau_uncorrected", point.stress.si());
    expect(case, "tau_wahl", point.wahl_stress.si());
    expect(case, "tau_berg", point.bergstraesser_stress.si());
    expect(case, "tau_solid_uncorrected", found.solid_stress.unwrap().si());
    case.expect("mass_active", found.active_mass.get(MassUnit::Kilogram));
    case.expect("f_surge", found.surge_frequency.si());
    case.expect("L0_always_stable", found.stable_length.get(MM));
}

pub(super) fn buckling(case: &mut Case) {
    let found = evaluated(&wound(case));
    case.expect("s_cr", found.buckling_deflection.unwrap().get(MM));
    case.expect("L0_always_stable", found.stable_length.get(MM));
}

pub(super) fn ends_table(case: &mut Case) {
    for name in ["plain", "plain_ground", "squared", "squared_ground"] {
        let mut spring = wound(case);
        spring.ends = Some(ends(name));
        spring.pitch = Some(length(case, "pitch"));
        let found = evaluated(&spring);
        case.expect(&format!("{name}_Nt"), found.total_coil_count.unwrap());
        case.expect(&format!("{name}_L0"), found.free_length.unwrap().get(MM));
        case.expect(&format!("{name}_Ls"), found.solid_length.unwrap().get(MM));
    }
}

pub(super) fn sensitivity(case: &mut Case) {
    let mut spring = wound(case);
    spring.uncertainty = GeometryUncertainty {
        wire_diameter: Some(length(case, "u_d")),
        mean_coil_diameter: Some(length(case, "u_D")),
        active_coil_count: Some(case.number("u_n")),
        shear_modulus_ratio: Some(case.number("u_G_rel")),
    };
    let found = evaluated(&spring);
    case.expect("k", newton_per_mm(found.rate.value));
    case.expect("u_k_rel", found.rate.standard_uncertainty.si() / found.rate.value.si());
    spring.mean_coil_diameter = Length::new(case.number("D") + case.number("d"), MM);
    case.expect("k_if_OD_used_for_D", newton_per_mm(evaluated(&spring).rate.value));
}

pub(super) fn conical(case: &mut Case) {
    let mut spring = wound(case);
    spring.mean_coil_diameter = length(case, "D1");
    spring.large_end_diameter = Some(length(case, "D2"));
    case.expect("k", newton_per_mm(evaluated(&spring).rate.value));
}

pub(super) fn gaps(case: &mut Case) {
    let mut spring = wound(case);
    spring.coil_gaps = case
        .numbers("gaps")
        .into_iter()
        .map(|gap| Length::new(gap, MM))
        .collect();
    spring.deflections = case.numbers("probe").into_iter().map(mm).collect();
    let found = evaluated(&spring);
    let curve = found.curve.unwrap();
    let at = |of: &dyn Fn(&mechanics::spring::ForcePoint) -> f64| curve.points().iter().map(of).collect::<Vec<f64>>();
    case.expect("k_coil", newton_per_mm(found.coil_rate));
    case.expect_all("knot_s", &at(&|p| p.deflection.get(MM)));
    case.expect_all("knot_F", &at(&|p| p.load.si()));
    let mut rates = at(&|p| newton_per_mm(p.rate_after));
    rates.pop();
    case.expect_all("rate", &rates);
    let loads: Vec<f64> = found.points.iter().map(|p| p.load.si()).collect();
    let rates: Vec<f64> = found.points.iter().map(|p| newton_per_mm(p.rate_after)).collect();
    case.expect_all("F_probe", &loads);
    case.expect_all("rate_probe", &rates);
}

fn part(kind: PartKind) -> Part {
    Part {
        label: String::new(),
        kind,
        gap: None,
    }
}

fn straight(rate: f64, stop: Option<f64>) -> Part {
    part(PartKind::Straight {
        rate: rate_of(rate),
        stop: stop.map(|stop| Length::new(stop, MM)),
    })
}

fn together(part: Part) -> Assembly {
    Assembly {
        part,
        preload: None,
        deflections: Vec::new(),
        loads: Vec::new(),
        maximum_deflection: None,
        units: UnitSystem::Metric,
    }
}

fn assembled(assembly: &Assembly) -> AssemblyFound {
    evaluate_assembly(assembly).unwrap()
}

fn loads(found: &AssemblyFound) -> Vec<f64> {
    found.points.iter().map(|p| p.load.si()).collect()
}

pub(super) fn dual(case: &mut Case) {
    let parts = vec![
        straight(case.number("k1"), Some(case.number("stop_travel_of_1"))),
        straight(case.number("k2"), None),
    ];
    let mut assembly = together(part(PartKind::Series(parts)));
    assembly.deflections = case.numbers("probe").into_iter().map(mm).collect();
    let found = assembled(&assembly);
    case.expect("rate_before", newton_per_mm(found.initial_rate));
    case.expect("rate_after", newton_per_mm(found.points[2].rate_after));
    case.expect("F_cross", found.stops[0].load.si());
    case.expect("s_cross", found.stops[0].deflection.get(MM));
    case.expect_all("F_probe", &loads(&found));
}

pub(super) fn stack(case: &mut Case) {
    let stops = case.data["inputs"]["stop"]["value"].as_array().unwrap().clone();
    let parts = case.numbers("k").into_iter().zip(stops);
    let parts = parts.map(|(k, stop)| straight(k, stop.as_f64())).collect();
    let mut assembly = together(part(PartKind::Series(parts)));
    if case.data["inputs"].get("preload_compression").is_some() {
        assembly.preload = Some(Preload::new(case.number("preload_compression"), MM));
    }
    assembly.deflections = case.numbers("probe").into_iter().map(mm).collect();
    let found = assembled(&assembly);
    let rates: Vec<f64> = found.points.iter().map(|p| newton_per_mm(p.rate_after)).collect();
    case.expect_all("F_probe", &loads(&found));
    case.expect_all("rate_probe", &rates);
    if case.has("s_cross") {
        case.expect("s_cross", found.stops[0].deflection.get(MM));
        case.expect("preload_force", found.preload_force.si());
    }
}

pub(super) fn table(case: &mut Case) {
    let mut assembly = together(part(PartKind::Table {
        deflections: case.numbers("x").into_iter().map(mm).collect(),
        loads: case.numbers("y").into_iter().map(Load::from_si).collect(),
    }));
    assembly.deflections = case.numbers("probe").into_iter().map(mm).collect();
    let whole = case.numbers("x").into_iter().fold(0.0, f64::max);
    assembly.deflections.push(mm(whole));
    let found = assembled(&assembly);
    let asked = &found.points[..found.points.len() - 1];
    let loads: Vec<f64> = asked.iter().map(|p| p.load.si()).collect();
    let rates: Vec<f64> = asked.iter().map(|p| newton_per_mm(p.rate_after)).collect();
    let knots: Vec<f64> = found
        .curve
        .points()
        .iter()
        .map(|p| newton_per_mm(p.rate_after))
        .collect();
    case.expect_all("knot_slopes", &knots);
    case.expect_all("y_probe", &loads);
    case.expect_all("dy_probe", &rates);
    if case.has("energy_0_70") {
        case.expect("energy_0_70", found.points.last().unwrap().energy.si());
    }
    if case.has("max_of_not_a_knot_cubic") {
        // The overshoot of an ordinary spline must not be there.
        let highest = (0..=1_000).map(|k| 7.99 + (20.0 - 7.99) * f64::from(k) / 1_000.0);
        let highest = highest
            .filter_map(|x| found.curve.at(mm(x)))
            .map(|p| p.load.si())
            .fold(0.0, f64::max);
        case.compare("max_of_not_a_knot_cubic", highest, 0.999_994, 1e-9);
        case.compared.insert("max_of_not_a_knot_cubic".to_owned());
    }
}

pub(super) fn nested(case: &mut Case) {
    let modulus = case.number("G");
    let sizes = ["outer", "inner"].map(|key| (key, case.numbers(key)));
    let of = |key: &str, gap: Option<f64>| {
        let given = sizes.iter().find(|(name, _)| *name == key).unwrap().1.clone();
        let [d, coil, n] = given.try_into().unwrap();
        Part {
            label: key.to_owned(),
            gap: gap.map(|gap| Length::new(gap, MM)),
            kind: PartKind::Wound {
                wire_diameter: Length::new(d, MM),
                mean_coil_diameter: Length::new(coil, MM),
                active_coil_count: n,
                shear_modulus: ElasticModulus::new(modulus, PressureUnit::Megapascal),
                stop: None,
            },
        }
    };
    let gap = case.number("free_length_difference");
    let mut assembly = together(part(PartKind::Parallel(vec![
        of("outer", None),
        of("inner", Some(gap)),
    ])));
    assembly.loads = vec![Load::from_si(case.number("F"))];
    let found = assembled(&assembly);
    for (key, share) in ["outer", "inner"].iter().zip(&found.points[0].shares) {
        assert_eq!(*key, share.part);
        let alone = assembled(&{
            let mut alone = together(of(key, None));
            alone.deflections = vec![mm(1.0)];
            alone
        });
        case.expect(&format!("k_{key}"), newton_per_mm(alone.initial_rate));
        case.expect(&format!("F_{key}"), share.load.si());
        case.expect(&format!("s_{key}"), share.deflection.get(MM));
        case.expect(&format!("tau_{key}"), share.wahl_stress.unwrap().si() * 1e-6);
    }
}

pub(super) fn series_and_parallel(case: &mut Case) {
    let parts: Vec<Part> = case.numbers("k").into_iter().map(|k| straight(k, None)).collect();
    let series = assembled(&together(part(PartKind::Series(parts.clone()))));
    let parallel = assembled(&together(part(PartKind::Parallel(parts))));
    case.expect("series", newton_per_mm(series.initial_rate));
    case.expect("parallel", newton_per_mm(parallel.initial_rate));
}

pub(super) fn sag(case: &mut Case) {
    let of = |preload: f64| {
        let mut assembly = together(straight(case.number("k"), None));
        assembly.preload = Some(Preload::new(preload, MM));
        assembly.loads = vec![Load::from_si(case.number("load"))];
        let found = assembled(&assembly);
        (found.points[0].deflection.get(MM), found.preload_force.si())
    };
    let (s, force): (Vec<f64>, Vec<f64>) = case.numbers("preloads").into_iter().map(of).unzip();
    case.expect_all("s", &s);
    case.expect_all("load_to_move", &force);
}

fn gas(case: &Case, spring: GasSpring) -> GasFound {
    let request = GasRequest {
        spring,
        charge: GaugePressure::from_si(case.number("p0_gauge")),
        ambient: Some(AbsolutePressure::from_si(case.number("p_atm"))),
        model: Some(GasModel::Polytropic(case.number("n"))),
        strokes: case.numbers("x").into_iter().map(|x| Stroke::new(x, MM)).collect(),
        maximum_stroke: None,
        units: UnitSystem::Metric,
    };
    evaluate_gas_spring(&request).unwrap()
}

fn forces(case: &mut Case, found: &GasFound) {
    let forces: Vec<f64> = found.points.iter().map(|p| p.force.si()).collect();
    let rates: Vec<f64> = found.points.iter().map(|p| newton_per_mm(p.rate)).collect();
    case.expect_all("F", &forces);
    case.expect_all("k", &rates);
}

fn millilitres(case: &Case, key: &str) -> Volume {
    Volume::new(case.number(key), VolumeUnit::Milliliter)
}

pub(super) fn fork_air(case: &mut Case) {
    let spring = GasSpring::OilLevel {
        seal_diameter: length(case, "d_seal"),
        bore_diameter: length(case, "d_bore"),
        air_gap: length(case, "air_gap"),
        travel: length(case, "travel"),
        spring_volume: millilitres(case, "spring_volume"),
    };
    let found = gas(case, spring);
    case.expect("V0", found.extended_volume.get(VolumeUnit::Milliliter));
    forces(case, &found);
}

pub(super) fn two_chambers(case: &mut Case) {
    let area = |key: &str| Area::new(case.number(key), AreaUnit::SquareMillimeter);
    let spring = GasSpring::TwoChamber {
        positive_area: area("A_pos"),
        negative_area: area("A_neg"),
        positive_volume: millilitres(case, "V_pos"),
        negative_volume: millilitres(case, "V_neg"),
    };
    let found = gas(case, spring);
    forces(case, &found);
}

pub(super) fn reservoir(case: &mut Case) {
    let spring = GasSpring::Charged {
        rod_diameter: length(case, "d_rod"),
        gas_volume: millilitres(case, "V0"),
    };
    let found = gas(case, spring);
    forces(case, &found);
}

fn changed(case: &Case, temperature: &str, kind: ChangeKind) -> GasChanged {
    let air = case.data["inputs"]
        .get("fluid")
        .is_some_and(|fluid| fluid.as_str() == Some("Air"));
    evaluate_gas_change(&GasChange {
        gas: if air { Gas::Air } else { Gas::Nitrogen },
        temperature: Temperature::from_si(case.number(temperature)),
        pressure: AbsolutePressure::from_si(case.number("p1_abs")),
        kind,
        virial: None,
    })
    .unwrap()
}

pub(super) fn warmed(case: &mut Case) {
    let found = changed(case, "T1", ChangeKind::Warmed(Temperature::from_si(case.number("T2"))));
    case.expect("p2_real", found.pressure.si());
    case.expect("p2_ideal", found.ideal_pressure.si());
    case.expect("Z1", found.compressibility_ratio);
}

pub(super) fn slow(case: &mut Case) {
    let found = changed(case, "T", ChangeKind::Slow(case.number("ratio")));
    case.expect("p2_real", found.pressure.si());
    case.expect("p2_ideal", found.ideal_pressure.si());
    case.expect("ideal_error", found.ideal_error_ratio);
}

pub(super) fn fast(case: &mut Case) {
    let found = changed(case, "T1", ChangeKind::Fast(case.number("ratio")));
    case.expect("p2_real", found.pressure.si());
    case.expect("T2_real", found.temperature.si());
    case.expect("p2_ideal_1p4", found.ideal_pressure.si());
    case.expect("n_effective", found.effective_exponent.unwrap());
    case.expect("n_local_start", found.local_exponent);
}

pub(super) fn virial(case: &mut Case) {
    // The case's own coefficients: its third was differentiated numerically.
    let (b, c) = (case.number("B"), case.number("C"));
    let at = |pressure: f64| {
        evaluate_gas_change(&GasChange {
            gas: Gas::Nitrogen,
            temperature: Temperature::from_si(case.number("T")),
            pressure: AbsolutePressure::from_si(pressure),
            kind: ChangeKind::Nothing,
            virial: Some((b, c)),
        })
        .unwrap()
    };
    let states: Vec<GasChanged> = case.numbers("p").into_iter().map(at).collect();
    let virial: Vec<f64> = states.iter().map(|state| state.virial_compressibility_ratio).collect();
    let exact: Vec<f64> = states.iter().map(|state| state.compressibility_ratio).collect();
    case.expect_all("Z_virial", &virial);
    case.expect_all("Z_reference", &exact);
}

fn wheel(case: &Case, linkage: Linkage) -> WheelSpring {
    let k = if case.data["inputs"].get("k").is_some() {
        case.number("k")
    } else {
        0.0
    };
    WheelSpring {
        linkage,
        rates: vec![(rate_of(k), rate_of(0.0))],
        preload: Preload::from_si(0.0),
        further: None,
        travels: Vec::new(),
        angles: Vec::new(),
        strokes: Vec::new(),
        axial_force: None,
        compression_uncertainty: None,
        coverage_probability: None,
        units: UnitSystem::Metric,
    }
}

fn wheel_rates(found: &WheelFound) -> Vec<f64> {
    let rate = |p: &mechanics::spring::WheelPoint| p.wheel_rate.value.get(StiffnessUnit::NewtonPerMillimeter);
    found.points.iter().map(rate).collect()
}

pub(super) fn arms(case: &mut Case) {
    let mut spring = wheel(
        case,
        Linkage::Arms {
            wheel_arm: length(case, "b"),
            spring_arm: length(case, "c"),
        },
    );
    spring.travels = vec![Travel::from_si(0.0)];
    let found = compute_wheel_rate(&spring).unwrap();
    case.expect("MR", found.points[0].motion_ratio);
    case.expect("k_w", wheel_rates(&found)[0]);
}

pub(super) fn polynomial_linkage(case: &mut Case) {
    let mut spring = wheel(case, Linkage::Polynomial(case.numbers("s_of_z")));
    spring.preload = Preload::new(case.number("preload"), MM);
    spring.travels = case.numbers("z").into_iter().map(|z| Travel::new(z, MM)).collect();
    let found = compute_wheel_rate(&spring).unwrap();
    let of = |of: fn(&mechanics::spring::WheelPoint) -> f64| found.points.iter().map(of).collect::<Vec<f64>>();
    case.expect_all("MR", &of(|p| p.motion_ratio));
    case.expect_all("F_spring", &of(|p| p.spring_force.si()));
    case.expect_all("F_wheel", &of(|p| p.wheel_force.si()));
    case.expect_all("k_wheel", &wheel_rates(&found));
    let straight = of(|p| p.rate_without_geometry.get(StiffnessUnit::NewtonPerMillimeter));
    case.expect_all("k_wheel_without_geometry_term", &straight);
    // The same linkage measured as a table is fitted and differentiated to the same rates.
    let c = case.numbers("s_of_z");
    let z: Vec<f64> = (0..=12).map(|k| 10.0 * f64::from(k)).collect();
    spring.linkage = Linkage::Table {
        travels: z.iter().map(|z| Travel::new(*z, MM)).collect(),
        compressions: z.iter().map(|z| mm(c[0] + c[1] * z + c[2] * z * z)).collect(),
        degree: None,
    };
    let fitted = compute_wheel_rate(&spring).unwrap();
    case.expect_all("k_wheel", &wheel_rates(&fitted));
}

pub(super) fn swingarm(case: &mut Case) {
    let point = |key: &str| {
        let [x, y] = case.numbers(key).try_into().unwrap();
        (Length::new(x, MM), Length::new(y, MM))
    };
    let mut spring = wheel(
        case,
        Linkage::Swingarm {
            axle_radius: length(case, "R_axle"),
            lower_mount: point("lower_mount_arm_frame"),
            upper_mount: point("upper_mount"),
        },
    );
    spring.preload = Preload::new(case.number("preload_at_first_theta"), MM);
    spring.angles = case
        .numbers("theta")
        .into_iter()
        .map(|a| Angle::new(a, AngleUnit::Degree))
        .collect();
    let found = compute_wheel_rate(&spring).unwrap();
    let of = |of: fn(&mechanics::spring::WheelPoint) -> f64| found.points.iter().map(of).collect::<Vec<f64>>();
    case.expect_all("z", &of(|p| p.travel.get(MM)));
    case.expect_all("L", &of(|p| p.shock_length.unwrap().get(MM)));
    case.expect_all("MR", &of(|p| p.motion_ratio));
    case.expect_all("dMR_dz", &of(|p| p.motion_ratio_change * 1e-3));
    case.expect_all("F_wheel", &of(|p| p.wheel_force.si()));
    case.expect_all("k_wheel", &wheel_rates(&found));
}

pub(super) fn fork(case: &mut Case) {
    let rake = Angle::new(case.number("rake"), AngleUnit::Degree);
    let mut spring = wheel(case, Linkage::Fork { rake });
    let legs = case.number("legs") as usize;
    spring.rates = vec![(rate_of(case.number("k_leg")), rate_of(0.0)); legs];
    spring.strokes = vec![Stroke::new(case.number("stroke"), MM)];
    spring.axial_force = Some(Load::from_si(case.number("F_axial_total")));
    let found = compute_wheel_rate(&spring).unwrap();
    case.expect("k_vertical", wheel_rates(&found)[0]);
    case.expect("z", found.points[0].travel.get(MM));
    case.expect("F_vertical", found.vertical_force.unwrap().si());
    // What multiplying instead of dividing would give; not the program's answer.
    let wrong = wheel_rates(&found)[0] * rake.si().cos().powi(4);
    case.expect("wrong_if_multiplied", wrong);
}

/// Response, then predictors.
fn rows(case: &Case) -> (Vec<f64>, Vec<Vec<f64>>) {
    let file = data(case.data["inputs"]["data_file"].as_str().unwrap());
    let mut y = Vec::new();
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for line in file.lines().skip(1) {
        let mut fields = line.split(',').map(|field| field.trim().parse::<f64>().unwrap());
        y.push(fields.next().unwrap());
        for (k, value) in fields.enumerate() {
            if columns.len() <= k {
                columns.push(Vec::new());
            }
            columns[k].push(value);
        }
    }
    (y, columns)
}

/// Certified figures at the tolerance the case's words give.
fn certified(case: &mut Case, key: &str, got: &[f64], relative: f64, absolute: f64) {
    let value = case.data["expected"][key]["value"].clone();
    let wanted = if value.is_array() {
        numbers(&value)
    } else {
        vec![value.as_f64().unwrap()]
    };
    assert_eq!(got.len(), wanted.len(), "{} {key}", case.id);
    for (got, wanted) in got.iter().zip(&wanted) {
        case.compare(key, *got, *wanted, relative * wanted.abs() + absolute);
    }
    case.compared.insert(key.to_owned());
}

pub(super) fn polynomial(case: &mut Case) {
    let (y, columns) = rows(case);
    let found = fit_calibration(&Calibration {
        applied: columns[0].clone(),
        shown: y,
        degree: case.number("degree") as usize,
        through_origin: !case.data["inputs"]["intercept"].as_bool().unwrap(),
        readings: Vec::new(),
        capacity: None,
    })
    .unwrap();
    let wampler = case.data["inputs"]["data_file"].as_str().unwrap().contains("wampler");
    let relative = if wampler { 1e-7 } else { 1e-9 };
    certified(case, "coef", &found.coefficients, relative, 0.0);
    certified(
        case,
        "sd",
        &found.coefficient_uncertainties,
        relative,
        1e-6 * f64::from(u8::from(wampler)),
    );
    certified(
        case,
        "resid_sd",
        &[found.residual_standard_deviation],
        relative,
        1e-6 * f64::from(u8::from(wampler)),
    );
    certified(case, "r2", &[found.explained_ratio], relative, 0.0);
}

pub(super) fn many_variables(case: &mut Case) {
    let (y, columns) = rows(case);
    let found = fit_columns(&columns, &y, true).unwrap();
    certified(case, "coef", &found.coefficients, 1e-8, 0.0);
    certified(case, "sd", &found.standard_uncertainties, 1e-8, 0.0);
    certified(case, "resid_sd", &[found.residual_standard_deviation], 1e-8, 0.0);
    certified(case, "r2", &[found.explained_ratio], 1e-8, 0.0);
}

pub(super) fn inverse(case: &mut Case) {
    // The case gives the curve, the program fits it from points: ten points on the curve give it back.
    let c = case.numbers("coef");
    let applied: Vec<f64> = (1..=20).map(|k| 150_000.0 * f64::from(k)).collect();
    let found = fit_calibration(&Calibration {
        shown: applied.iter().map(|x| c[0] + x * (c[1] + x * c[2])).collect(),
        applied,
        degree: 2,
        through_origin: false,
        readings: vec![case.number("y")],
        capacity: None,
    })
    .unwrap();
    case.expect("x", found.applied[0].0);
}
