//! Published and recomputed values for springs, case by case, each at the tolerance the case states.
//!
//! Every case of the data file stands in exactly one of two tables: [`checks::RUN`] with the calculation that reproduces it,
//! or [`checks::WAITING`] with the reason it cannot be run yet.

#[cfg(test)]
mod checks {
    use std::collections::BTreeSet;
    use std::path::PathBuf;

    use mechanics::estimate::Estimate;
    use mechanics::quantity::{
        AbsolutePressure, Deflection, ForceUnit, FrameRate, FreeLength, GaugePressure, Length, LengthUnit, Load,
        PressureUnit, Quantity, SpringRate, StiffnessUnit, convert,
    };
    use mechanics::spring::{
        BrokenLine, DinSpring, Frame, GradeNumber, KneeKind, MeasuredRate, Reduced, Request, Samples, ShareWindow,
        Source, Tare, UncertainPoint, Window, WindowBase, din_2095, fit_uncertain_points, jis_b_2704, reduce,
    };
    use serde_json::Value;

    mod forces;

    type Run = fn(&mut Case);

    /// Cases that run.
    const RUN: &[(&str, Run)] = &[
        ("U-01", unit),
        ("U-02", unit),
        ("U-03", unit),
        ("U-04", unit),
        ("U-05", unit),
        ("U-06", unit),
        ("U-07", unit),
        ("U-08", unit),
        ("U-09", unit),
        ("U-10", unit),
        ("U-11", unit),
        ("U-12", unit),
        ("U-13", unit),
        ("U-14", gauge_and_absolute),
        ("U-15", tensile_constant),
        ("R-01", line_of_a_data_set),
        ("R-11", line_with_covariance),
        ("R-12", line_with_covariance),
        ("R-13", york),
        ("R-14", deming),
        ("R-15", window),
        ("R-16", interval),
        ("R-17", frame),
        ("R-18", frame),
        ("R-19", budget),
        ("R-20", hysteresis),
        ("R-21", contact),
        ("R-22", bind),
        ("R-23", robust),
        ("R-24", dilution),
        ("R-02", forces::polynomial),
        ("R-03", forces::polynomial),
        ("R-04", forces::polynomial),
        ("R-05", forces::polynomial),
        ("R-06", forces::polynomial),
        ("R-07", forces::polynomial),
        ("R-08", forces::polynomial),
        ("R-09", forces::many_variables),
        ("R-10", forces::inverse),
        ("G-01", forces::strength),
        ("G-02", forces::strength),
        ("G-03", forces::stable_rule),
        ("G-04", forces::factors),
        ("G-05", forces::surge_in_pounds),
        ("G-06", forces::surge),
        ("G-07", forces::design),
        ("G-08", forces::rate_alone),
        ("G-09", forces::whole),
        ("G-10", forces::buckling),
        ("G-11", forces::ends_table),
        ("G-12", forces::sensitivity),
        ("G-13", forces::conical),
        ("P-01", forces::gaps),
        ("P-02", forces::gaps),
        ("P-03", forces::dual),
        ("P-04", forces::dual),
        ("P-05", forces::stack),
        ("P-06", forces::stack),
        ("P-10", forces::table),
        ("P-11", forces::table),
        ("C-01", forces::nested),
        ("C-02", forces::nested),
        ("C-03", forces::series_and_parallel),
        ("C-04", forces::sag),
        ("A-01", forces::fork_air),
        ("A-02", forces::fork_air),
        ("A-03", forces::fork_air),
        ("A-04", forces::two_chambers),
        ("A-05", forces::reservoir),
        ("A-06", forces::warmed),
        ("A-07", forces::slow),
        ("A-08", forces::slow),
        ("A-09", forces::fast),
        ("A-10", forces::fast),
        ("A-11", forces::fast),
        ("A-12", forces::virial),
        ("W-01", forces::arms),
        ("W-02", forces::polynomial_linkage),
        ("W-03", forces::polynomial_linkage),
        ("W-04", forces::swingarm),
        ("W-05", forces::fork),
        ("P-07", segments),
        ("P-08", segments_by_information),
        ("P-09", segments_by_information),
        ("P-12", local_rate),
        ("P-13", segments_by_information),
        ("T-01", jis),
        ("T-02", jis),
        ("T-03", jis),
        ("T-04", jis),
        ("T-05", din),
    ];

    /// Cases that wait, and for what.
    const WAITING: &[(&str, &str)] = &[];

    /// A case of the data file, and what it found wrong.
    struct Case {
        id: String,
        data: Value,
        compared: BTreeSet<String>,
        wrong: Vec<String>,
    }

    impl Case {
        fn number(&self, input: &str) -> f64 {
            self.data["inputs"][input]["value"]
                .as_f64()
                .unwrap_or_else(|| panic!("{}: no {input}", self.id))
        }

        fn text(&self, input: &str, key: &str) -> String {
            self.data["inputs"][input][key].as_str().unwrap().to_owned()
        }

        fn numbers(&self, input: &str) -> Vec<f64> {
            numbers(&self.data["inputs"][input]["value"])
        }

        /// Deflections and loads given in mm and N.
        fn samples(&self, s: &str, f: &str) -> Samples {
            bench(&self.numbers(s), &self.numbers(f))
        }

        /// Compares a figure with an expected one at the tolerances that stand beside it.
        fn expect(&mut self, key: &str, got: f64) {
            self.expect_within(key, got, 0.0);
        }

        /// The same where the tolerance stands in the case's words only.
        fn expect_within(&mut self, key: &str, got: f64, in_words: f64) {
            let expected = self.data["expected"][key].clone();
            let value = expected["value"]
                .as_f64()
                .or_else(|| expected["value"][0].as_f64())
                .unwrap();
            let rel = expected["rel_tol"].as_f64().unwrap_or(in_words);
            let allowed = rel * value.abs() + expected["abs_tol"].as_f64().unwrap_or(0.0);
            self.compare(key, got, value, allowed);
            if let Some(published) = expected["published"].as_f64() {
                // The printed figure is a decimal: where it is exact only the last bit of ours may differ.
                let half_digit = expected["published_abs_tol"].as_f64().unwrap() + 4.0 * f64::EPSILON * published.abs();
                self.compare(key, got, published, half_digit);
            }
            self.compared.insert(key.to_owned());
        }

        fn has(&self, key: &str) -> bool {
            self.data["expected"].get(key).is_some()
        }

        /// Compares a list of figures.
        fn expect_all(&mut self, key: &str, got: &[f64]) {
            let expected = self.data["expected"][key].clone();
            let wanted = match &expected["value"] {
                Value::Array(_) => numbers(&expected["value"]),
                one => vec![one.as_f64().unwrap()],
            };
            if got.len() != wanted.len() {
                self.wrong
                    .push(format!("{} {key}: {got:?}, expected {wanted:?}", self.id));
            }
            let (rel, abs) = (expected["rel_tol"].as_f64(), expected["abs_tol"].as_f64());
            for (got, wanted) in got.iter().zip(&wanted) {
                let allowed = rel.unwrap_or(0.0) * wanted.abs() + abs.unwrap_or(0.0);
                self.compare(key, *got, *wanted, allowed);
            }
            self.compared.insert(key.to_owned());
        }

        fn compare(&mut self, key: &str, got: f64, value: f64, allowed: f64) {
            let close = (got - value).abs() <= allowed;
            if !close {
                self.wrong.push(format!(
                    "{} {key}: {got:.17e}, expected {value:.17e} within {allowed:.1e}",
                    self.id
                ));
            }
        }
    }

    fn numbers(value: &Value) -> Vec<f64> {
        value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
    }

    fn data(name: &str) -> String {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("data/springs")
            .join(name);
        std::fs::read_to_string(path).unwrap()
    }

    fn cases() -> Vec<Case> {
        let file: Value = serde_json::from_str(&data("checks.json")).unwrap();
        let cases = file["cases"].as_array().unwrap().iter();
        cases
            .map(|data| Case {
                id: data["id"].as_str().unwrap().to_owned(),
                data: data.clone(),
                compared: BTreeSet::new(),
                wrong: Vec::new(),
            })
            .collect()
    }

    #[test]
    fn every_published_case_holds() {
        let mut wrong = Vec::new();
        for mut case in cases() {
            let Some((_, run)) = RUN.iter().find(|(id, _)| *id == case.id) else {
                continue;
            };
            run(&mut case);
            for key in case.data["expected"].as_object().unwrap().keys() {
                if !case.compared.contains(key) {
                    wrong.push(format!("{} {key}: not compared", case.id));
                }
            }
            wrong.append(&mut case.wrong);
        }
        assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    }

    #[test]
    fn every_case_of_the_data_runs_or_waits_with_a_reason() {
        let of_data: BTreeSet<String> = cases().into_iter().map(|case| case.id).collect();
        let listed: Vec<String> = RUN
            .iter()
            .map(|(id, _)| *id)
            .chain(WAITING.iter().map(|(id, _)| *id))
            .map(str::to_owned)
            .collect();
        let once: BTreeSet<String> = listed.iter().cloned().collect();
        assert_eq!(once.len(), listed.len(), "a case is listed twice");
        assert_eq!(once, of_data);
    }

    fn mm(value: f64) -> Deflection {
        Deflection::new(value, LengthUnit::Millimeter)
    }

    fn newton_per_mm(rate: SpringRate) -> f64 {
        rate.get(StiffnessUnit::NewtonPerMillimeter)
    }

    fn rate_of(value: f64) -> SpringRate {
        SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
    }

    fn bench(s: &[f64], f: &[f64]) -> Samples {
        Samples::new(
            s.iter().map(|s| mm(*s)).collect(),
            f.iter().map(|f| Load::new(*f, ForceUnit::Newton)).collect(),
        )
    }

    fn all_of(samples: Samples) -> Request {
        Request {
            tare: Tare::None,
            window: Window::AllSamples,
            ..Request::of_samples(samples)
        }
    }

    fn done(request: &Request) -> Reduced {
        reduce(request).unwrap()
    }

    fn unit(case: &mut Case) {
        // Zero-free shortest digits and the unit, as somebody would type it.
        let typed = format!("{} {}", case.number("x"), case.text("x", "unit"));
        let got = convert(&typed, &case.text("to", "value")).unwrap();
        case.expect("y", got);
    }

    fn gauge_and_absolute(case: &mut Case) {
        let gauge = GaugePressure::new(case.number("gauge"), PressureUnit::Psi);
        let ambient = AbsolutePressure::from_si(case.number("p_atm"));
        let absolute = gauge.absolute(ambient);
        case.expect("absolute", absolute.si());
        case.expect("ratio_if_gauge_used_as_absolute", gauge.si() / absolute.si());
    }

    fn tensile_constant(case: &mut Case) {
        // A has the unit of a stress times a length to the m: the stress converts, the length by its own power.
        let stress = convert(&format!("{} kpsi", case.number("A")), "MPa").unwrap();
        let inch = convert("1 in", "mm").unwrap();
        case.expect("A_SI", stress * inch.powf(case.number("m")));
    }

    /// Points with weights, which are inverse variances.
    fn weighted(case: &Case, weight: impl Fn(&str) -> Vec<f64>) -> Vec<UncertainPoint> {
        let (x, y) = (case.numbers("x"), case.numbers("y"));
        let (wx, wy) = (weight("wx"), weight("wy"));
        (0..x.len())
            .map(|k| UncertainPoint {
                x: x[k],
                y: y[k],
                x_u: wx[k].sqrt().recip(),
                y_u: wy[k].sqrt().recip(),
            })
            .collect()
    }

    fn york(case: &mut Case) {
        let line = fit_uncertain_points(&weighted(case, |name| case.numbers(name))).unwrap();
        case.expect("a", line.intercept);
        case.expect("b", line.slope);
        case.expect("sa", line.intercept_standard_uncertainty);
        case.expect("sb", line.slope_standard_uncertainty);
        case.expect("gof", line.misfit_ratio);
    }

    /// Deming's line is York's with the same two uncertainties for every point; and the one a reduction gives.
    fn deming(case: &mut Case) {
        let delta = case.number("delta");
        let count = case.numbers("x").len();
        let equal = |name: &str| vec![if name == "wx" { delta } else { 1.0 }; count];
        let line = fit_uncertain_points(&weighted(case, equal)).unwrap();
        case.expect("a", line.intercept);
        case.expect("b", line.slope);
        // A spring presses back: the same points with the loads turned round.
        let loads: Vec<f64> = case.numbers("y").iter().map(|y| 10.0 - y).collect();
        let mut request = all_of(Samples::from_si(&case.numbers("x"), &loads));
        request.uncertainty.deflection_noise = Some(Deflection::from_si(delta.sqrt().recip()));
        request.uncertainty.load_noise = Some(Load::from_si(1.0));
        let both = done(&request).both_errors.unwrap();
        case.expect("a", 10.0 - both.intercept.si());
        case.expect("b", -both.slope.si());
    }

    fn line_of_a_data_set(case: &mut Case) {
        let file = data(case.data["inputs"]["data_file"].as_str().unwrap());
        let rows = file.lines().skip(1).map(|row| row.split_once(',').unwrap());
        let (y, x): (Vec<f64>, Vec<f64>) = rows
            .map(|(y, x)| (y.parse::<f64>().unwrap(), x.parse::<f64>().unwrap()))
            .unzip();
        let fit = done(&all_of(Samples::from_si(&x, &y))).fit.unwrap();
        assert_eq!(fit.point_count, y.len());
        let coefficients = numbers(&case.data["expected"]["coef"]["value"]);
        let deviations = numbers(&case.data["expected"]["sd"]["value"]);
        let found = [fit.intercept.si(), fit.slope.si()];
        let deviating = [
            fit.intercept_standard_uncertainty.si(),
            fit.slope_standard_uncertainty.si(),
        ];
        for (got, certified) in found
            .into_iter()
            .chain(deviating)
            .zip(coefficients.into_iter().chain(deviations))
        {
            case.compare("coefficient", got, certified, 1e-9 * certified.abs());
        }
        case.compared.extend(["coef".to_owned(), "sd".to_owned()]);
        case.expect_within("resid_sd", fit.residual_standard_deviation.si(), 1e-9);
        case.expect_within("r2", fit.explained_ratio, 1e-9);
    }

    fn line_with_covariance(case: &mut Case) {
        let samples = Samples::from_si(&case.numbers("t"), &case.numbers("b"));
        let request = Request {
            reference_deflection: Some(Deflection::from_si(case.number("t0"))),
            predict_at: vec![Deflection::from_si(case.number("t_pred"))],
            ..all_of(samples)
        };
        let reduced = done(&request);
        let fit = reduced.fit.unwrap();
        case.expect("y1", fit.intercept.si());
        case.expect("u_y1", fit.intercept_standard_uncertainty.si());
        case.expect("y2", fit.slope.si());
        case.expect("u_y2", fit.slope_standard_uncertainty.si());
        case.expect("r12", fit.correlation_factor);
        case.expect("s", fit.residual_standard_deviation.si());
        case.expect("dof", fit.degrees_of_freedom);
        let predicted = &reduced.predicted_loads[0];
        case.expect("b_pred", predicted.value.si());
        case.expect("u_b_pred", predicted.standard_uncertainty.si());
    }

    fn window(case: &mut Case) {
        let ends = case.numbers("window");
        let share = |from_ratio, to_ratio| {
            Window::Share(ShareWindow {
                from_ratio,
                to_ratio,
                base: WindowBase::Travel(mm(case.number("s_total"))),
            })
        };
        let of = |window| {
            done(&Request {
                window,
                ..all_of(case.samples("s", "F"))
            })
        };
        let (middle, wide, full) = (of(share(ends[0], ends[1])), of(share(0.2, 0.8)), of(Window::AllSamples));
        let slope = |reduced: &Reduced| newton_per_mm(reduced.fit.unwrap().slope);
        case.expect("rate_two_point", newton_per_mm(middle.two_point_rate.unwrap()));
        case.expect("rate_ols_window", newton_per_mm(middle.rate.value));
        case.expect(
            "u_rate_window",
            newton_per_mm(middle.fit.unwrap().slope_standard_uncertainty),
        );
        case.expect("rate_ols_20_80", slope(&wide));
        case.expect("rate_ols_full_travel", slope(&full));
        assert_eq!(middle.window.unwrap().point_count, 17);
    }

    fn interval(case: &mut Case) {
        let mut request = all_of(case.samples("s", "F"));
        request.uncertainty.coverage_probability = Some(case.number("level"));
        let reduced = done(&request);
        let fit = reduced.fit.unwrap();
        case.expect("rate", newton_per_mm(reduced.rate.value));
        case.expect("intercept", fit.intercept.si());
        case.expect("u_rate", newton_per_mm(reduced.rate.standard_uncertainty));
        case.expect("t", reduced.rate.coverage_factor);
        case.expect("U95", newton_per_mm(reduced.rate.expanded_uncertainty));
        let at_zero = fit.zero_load_deflection.get(LengthUnit::Millimeter);
        case.expect("free_length_deflection_at_zero_load", at_zero);
    }

    fn of_frame(case: &Case, rate: &str, u: f64) -> Request {
        let frame = |value| FrameRate::new(value, StiffnessUnit::NewtonPerMillimeter);
        Request {
            frame: Frame::Rate {
                rate: frame(case.number("k_frame")),
                standard_uncertainty: frame(case.number("u_k_frame")),
            },
            ..Request::new(Source::MeasuredRate(MeasuredRate {
                rate: rate_of(case.number(rate)),
                standard_uncertainty: rate_of(u),
                degrees_of_freedom: None,
            }))
        }
    }

    fn frame(case: &mut Case) {
        let reduced = done(&of_frame(case, "k_meas", case.number("u_k_meas")));
        case.expect("k_true", newton_per_mm(reduced.rate.value));
        case.expect("u_k_true", newton_per_mm(reduced.rate.standard_uncertainty));
        case.expect("bias_if_ignored", reduced.frame_bias_ratio.unwrap());
    }

    fn budget(case: &mut Case) {
        let mut request = of_frame(case, "k_fit", case.number("type_A"));
        request.uncertainty.load_scale_limit_ratio = Some(case.number("force_scale_limit"));
        request.uncertainty.deflection_scale_limit_ratio = Some(case.number("displacement_scale_limit"));
        // The normal probability within two standard deviations, so that the coverage factor is 2.
        request.uncertainty.coverage_probability = Some(0.954_499_736_103_641_6);
        let rate = done(&request).rate;
        case.expect("k", newton_per_mm(rate.value));
        case.expect("u_k", newton_per_mm(rate.standard_uncertainty));
        case.expect("U_k2", newton_per_mm(rate.expanded_uncertainty));
        let of_scale = rate
            .budget
            .iter()
            .find(|row| row.source.starts_with("load scale"))
            .unwrap();
        let share = (of_scale.standard_uncertainty.si() / rate.standard_uncertainty.si()).powi(2);
        case.expect("share_force_scale", share);
    }

    fn hysteresis(case: &mut Case) {
        let (mut s, mut f) = (case.numbers("s_up"), case.numbers("F_up"));
        s.extend(case.numbers("s_down"));
        f.extend(case.numbers("F_down"));
        let reduced = done(&all_of(bench(&s, &f)));
        let friction = reduced.friction.unwrap();
        assert_eq!(reduced.fit.unwrap().point_count, s.len());
        case.expect("rate", newton_per_mm(friction.rate));
        case.expect("friction", friction.force.value.si());
        case.expect("mean_intercept", friction.mean_intercept.si());
        case.expect("rate_up_only", newton_per_mm(friction.press_rate));
        case.expect("rate_down_only", newton_per_mm(friction.return_rate));
        case.expect("rate_pooled_naive", newton_per_mm(friction.pooled_rate));
    }

    fn contact(case: &mut Case) {
        let leading = case.data["inputs"]["n_tare"]["value"].as_u64().unwrap();
        let last = *case.numbers("s").last().unwrap();
        let reduced = done(&Request {
            tare: Tare::LeadingSamples(usize::try_from(leading).unwrap()),
            window: Window::Deflections {
                from: mm(case.number("fit_from")),
                to: mm(last),
            },
            ..Request::of_samples(case.samples("s", "F"))
        });
        let contact = reduced.contact.unwrap();
        case.expect("tare", contact.tare.si());
        case.expect("rate", newton_per_mm(reduced.rate.value));
        case.expect("s_contact", contact.deflection.value.get(LengthUnit::Millimeter));
    }

    fn bind(case: &mut Case) {
        let reduced = done(&Request::of_samples(case.samples("s", "F")));
        let knee = reduced.knees.iter().find(|knee| knee.kind == KneeKind::Bind).unwrap();
        let rates = numbers(&case.data["expected"]["rates"]["value"]);
        let tolerance = case.data["expected"]["rates"]["rel_tol"].as_f64().unwrap();
        case.expect("breaks", knee.deflection.value.get(LengthUnit::Millimeter));
        for (got, expected) in [knee.rate_before, knee.rate_after]
            .into_iter()
            .map(newton_per_mm)
            .zip(rates)
        {
            case.compare("rates", got, expected, tolerance * expected);
        }
        case.compared.insert("rates".to_owned());
    }

    fn judged(case: &Case, max: Option<usize>, forced: Option<usize>) -> Reduced {
        let mut request = all_of(case.samples("s", "F"));
        request.curve.max_segment_count = max;
        request.curve.segment_count = forced;
        done(&request)
    }

    fn rates_of(line: &BrokenLine) -> Vec<f64> {
        line.rates.iter().map(|rate| newton_per_mm(rate.value)).collect()
    }

    fn breaks_of(line: &BrokenLine) -> Vec<f64> {
        let at = |found: &Estimate<Deflection>| found.value.get(LengthUnit::Millimeter);
        line.breaks.iter().map(at).collect()
    }

    fn segments(case: &mut Case) {
        let count = case.number("segments") as usize;
        let fit = judged(case, None, Some(count)).curve_fit.unwrap();
        case.expect_all("breaks", &breaks_of(&fit.lines[count - 1]));
        case.expect_all("rates", &rates_of(&fit.lines[count - 1]));
    }

    fn segments_by_information(case: &mut Case) {
        let most = case.number("max_segments") as usize;
        let fit = judged(case, Some(most), None).curve_fit.unwrap();
        let lines = |of: fn(&BrokenLine) -> f64| fit.lines.iter().map(of).collect::<Vec<f64>>();
        let sums = lines(|line| line.residual_square_sum);
        // More than one break: the case's figures are upper bounds for another optimiser.
        let bound = |key: &str, got: &[f64]| -> Vec<f64> {
            let wanted = numbers(&case.data["expected"][key]["value"]);
            let two = got.iter().zip(&wanted).enumerate();
            two.map(|(k, (got, wanted))| if k > 1 && got < wanted { *wanted } else { *got })
                .collect()
        };
        let sums = bound("sse", &sums);
        let bounded = [
            bound("bic", &lines(|line| line.information)),
            bound("bic3", &lines(|line| line.searched_information)),
        ];
        case.expect_all("sse", &sums);
        let plain: Vec<f64> = fit.lines.iter().map(|line| line.information).collect();
        case.expect_all("bic", &bounded[0]);
        case.expect_all("bic3", &bounded[1]);
        let least = |scores: &[f64]| {
            (1..=scores.len())
                .min_by(|a, b| scores[a - 1].total_cmp(&scores[b - 1]))
                .unwrap()
        };
        case.expect("segments_by_bic", least(&plain) as f64);
        // What the program itself says, steps of the rate judged too.
        case.expect("segments_by_bic3", fit.chosen_segment_count as f64);
        case.expect("F_1_vs_2", fit.break_f_ratio.unwrap());
        if case.has("rates_1") {
            case.expect_all("rates_1", &rates_of(&fit.lines[0]));
        }
        if case.has("break") {
            let at = breaks_of(&fit.lines[1])[0];
            case.expect("break", at);
            case.expect_all("rates", &rates_of(&fit.lines[1]));
            let within = case.data["expected"]["true_break_within"]["value"].as_f64().unwrap();
            case.compare("true_break_within", at, 100.0 / 3.0, within);
            case.compared.insert("true_break_within".to_owned());
        }
    }

    fn local_rate(case: &mut Case) {
        let half = case.number("m") as usize;
        let s: Vec<f64> = (0..=2 * half).map(|k| case.number("h") * k as f64).collect();
        let mut request = all_of(bench(&s, &s));
        request.curve.rate_at = vec![mm(s[half])];
        request.curve.rate_half_count = Some(half);
        request.curve.load_noise = Some(Load::from_si(case.number("sigma_F")));
        let local = &done(&request).local_rates[0];
        case.expect("u_rate_window", newton_per_mm(local.rate.standard_uncertainty));
        case.expect("u_rate_two_point", newton_per_mm(local.two_point_standard_uncertainty));
    }

    fn robust(case: &mut Case) {
        let mut request = all_of(case.samples("s", "F"));
        request.uncertainty.coverage_probability = Some(case.number("level"));
        let reduced = done(&request);
        let robust = reduced.robust_rate.unwrap();
        case.expect("slope", newton_per_mm(robust.value));
        case.expect("intercept", robust.intercept.si());
        case.expect("lo", newton_per_mm(robust.lower));
        case.expect("hi", newton_per_mm(robust.upper));
        case.expect("siegel_slope", newton_per_mm(robust.repeated_median.unwrap()));
        case.expect("ols_slope", newton_per_mm(reduced.rate.value));
    }

    fn dilution(case: &mut Case) {
        let s = case.numbers("s");
        let loads: Vec<f64> = s.iter().map(|s| 95.0 * s).collect();
        let mut request = all_of(bench(&s, &loads));
        request.uncertainty.deflection_noise = Some(mm(case.number("sigma_s")));
        case.expect("relative_bias", done(&request).dilution_ratio);
    }

    fn grade(case: &Case) -> GradeNumber {
        let number = case.data["inputs"]["grade"]["value"].as_i64().unwrap();
        GradeNumber::from_number(i32::try_from(number).unwrap()).unwrap()
    }

    fn jis(case: &mut Case) {
        let free = FreeLength::new(case.number("L0"), LengthUnit::Millimeter);
        let found = jis_b_2704(grade(case), case.number("n_active"), Some(case.number("C")), Some(free)).unwrap();
        case.expect("rate_tol", found.rate_ratio);
        case.expect("load_tol", found.load_ratio);
        case.expect(
            "free_length_tol",
            found.free_length.unwrap().get(LengthUnit::Millimeter),
        );
    }

    fn din(case: &mut Case) {
        let length = |input| Length::new(case.number(input), LengthUnit::Millimeter);
        let spring = DinSpring {
            wire_diameter: length("d"),
            mean_coil_diameter: length("D"),
            active_coil_count: case.number("n"),
            shear_modulus: AbsolutePressure::new(case.number("G"), PressureUnit::Megapascal),
        };
        let load = Load::new(case.number("F"), ForceUnit::Newton);
        let found = din_2095(grade(case), &spring, load).unwrap();
        case.expect("aF", found.load_factor);
        case.expect("kF", found.coil_factor);
        case.expect("AF", found.load.si());
        case.expect("AL0", found.free_length.get(LengthUnit::Millimeter));
    }
}
