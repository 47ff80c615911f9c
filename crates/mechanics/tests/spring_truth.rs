//! Runs made from a known spring on a known tester: what was put in must come out.

#[cfg(test)]
mod truth {
    use mechanics::finding::Code;
    use mechanics::quantity::{
        Deflection, Entered, ForceUnit, FrameRate, FreeLength, Length, LengthUnit, Load, Quantity, SpringRate,
        StiffnessUnit, Temperature, TemperatureUnit,
    };
    use mechanics::spring::{
        CellClass, Decision, Frame, Grade, KneeKind, Marking, MeasuredRate, Reduced, Request, Samples, Shape,
        ShareWindow, Source, SpringError, SpringValues, Tare, Window, WindowBase, load_at_length, reduce,
    };

    /// A fixed sequence of numbers; seeds give runs.
    struct Dice(u64);

    impl Dice {
        fn even(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = self.0;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        }

        fn normal(&mut self) -> f64 {
            let (u, v) = (self.even().max(1e-300), self.even());
            (-2.0 * u.ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
        }
    }

    /// A spring on a tester, mm and N.
    #[derive(Clone)]
    struct Bench {
        rate: f64,
        tare: f64,
        contact: f64,
        seating: f64,
        friction: f64,
        bind: f64,
        frame: f64,
        noise: f64,
        digit: f64,
        deepest: f64,
        strokes: usize,
        returns: bool,
        readings: usize,
    }

    impl Default for Bench {
        fn default() -> Self {
            Self {
                rate: 9.5,
                tare: 3.0,
                contact: 8.0,
                seating: 6.0,
                friction: 0.0,
                bind: f64::INFINITY,
                frame: f64::INFINITY,
                noise: 0.5,
                digit: 0.1,
                deepest: 100.0,
                strokes: 1,
                returns: false,
                readings: 400,
            }
        }
    }

    impl Bench {
        /// Load of the spring alone at a deflection of its own.
        fn spring(&self, x: f64) -> f64 {
            let x = x.max(0.0);
            // The end coils lie down over the seating: half the rate at first, all of it after.
            let seated = if x < self.seating {
                0.5 * x + 0.25 * x * x / self.seating
            } else {
                x - 0.25 * self.seating
            };
            self.rate * seated + 60.0 * self.rate * (x - self.bind).max(0.0)
        }

        fn run(&self, seed: u64) -> Samples {
            let mut dice = Dice(seed);
            let (mut s, mut f) = (Vec::new(), Vec::new());
            let mut drag = self.friction;
            let mut before = 0.0;
            let mut read = |x: f64, dice: &mut Dice| {
                // Friction turns over within a short travel after a reversal.
                let way: f64 = x - before;
                before = x;
                drag = (drag + way * 20.0 * self.rate).clamp(-self.friction, self.friction);
                let load = self.spring(x);
                let felt = if load > 0.0 { (load + drag).max(0.0) } else { 0.0 };
                s.push(self.contact + x + felt / self.frame);
                let shown = self.tare + felt + self.noise * dice.normal();
                f.push(if self.digit > 0.0 {
                    (shown / self.digit).round() * self.digit
                } else {
                    shown
                });
            };
            for _ in 0..self.strokes {
                let way =
                    |i: usize| (self.deepest + self.contact) * i as f64 / (self.readings - 1) as f64 - self.contact;
                (0..self.readings).for_each(|i| read(way(i), &mut dice));
                if self.returns {
                    (0..self.readings).rev().for_each(|i| read(way(i), &mut dice));
                }
            }
            samples(&s, &f)
        }
    }

    fn samples(s: &[f64], f: &[f64]) -> Samples {
        Samples::new(
            s.iter().map(|s| mm(*s)).collect(),
            f.iter().map(|f| Load::new(*f, ForceUnit::Newton)).collect(),
        )
    }

    fn mm(value: f64) -> Deflection {
        Deflection::new(value, LengthUnit::Millimeter)
    }

    fn rate_of(value: f64) -> SpringRate {
        SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
    }

    fn newton_per_mm(rate: SpringRate) -> f64 {
        rate.get(StiffnessUnit::NewtonPerMillimeter)
    }

    fn done(bench: &Bench, seed: u64) -> Reduced {
        reduce(&Request::of_samples(bench.run(seed))).unwrap()
    }

    fn has(reduced: &Reduced, code: Code) -> bool {
        reduced.findings.iter().any(|finding| finding.code == code)
    }

    #[test]
    fn rate_and_contact_of_a_plain_press_are_found() {
        let bench = Bench::default();
        let reduced = done(&bench, 1);
        let rate = newton_per_mm(reduced.rate.value);
        assert!((rate / bench.rate - 1.0).abs() < 0.002, "{rate}");
        // The seating moves the line's contact by a quarter of its length: a line knows no end coils.
        let contact = reduced.contact.unwrap();
        let at = contact.deflection.value.get(LengthUnit::Millimeter);
        assert!((at - (8.0 + 1.5)).abs() < 0.1, "{at}");
        assert!((contact.tare.si() - 3.0).abs() < 0.2);
        assert_eq!(reduced.shape, Shape::Straight);
        assert!(reduced.friction.is_none());
        let window = reduced.window.unwrap();
        let share = (window.from.get(LengthUnit::Millimeter) - at) / (108.0 - at);
        assert!((share - 0.3).abs() < 1e-3, "{share}");
    }

    #[test]
    fn expanded_uncertainty_covers_the_truth_as_often_as_it_says() {
        let limits = (0.01, 0.002);
        let bench = Bench {
            seating: 0.0,
            contact: 10.0,
            readings: 120,
            noise: 4.0,
            ..Bench::default()
        };
        let (mut scatter_only, mut with_scales) = (0, 0);
        let runs = 300;
        for seed in 0..runs {
            let mut dice = Dice(900 + seed);
            let plain = bench.run(seed);
            let reduced = reduce(&Request::of_samples(plain)).unwrap();
            let off = |reduced: &Reduced| (newton_per_mm(reduced.rate.value) - bench.rate).abs();
            let covers = |reduced: &Reduced| off(reduced) <= newton_per_mm(reduced.rate.expanded_uncertainty);
            scatter_only += u32::from(covers(&reduced));
            let scales = (
                1.0 + limits.0 * (2.0 * dice.even() - 1.0),
                1.0 + limits.1 * (2.0 * dice.even() - 1.0),
            );
            let plain = bench.run(seed + 10_000);
            let deflections: Vec<f64> = plain.deflections.iter().map(|s| s.si() * scales.1).collect();
            let loads: Vec<f64> = plain.loads.iter().map(|f| f.si() * scales.0).collect();
            let mut request = Request::of_samples(Samples::from_si(&deflections, &loads));
            request.uncertainty.load_scale_limit_ratio = Some(limits.0);
            request.uncertainty.deflection_scale_limit_ratio = Some(limits.1);
            with_scales += u32::from(covers(&reduce(&request).unwrap()));
        }
        for (name, covered) in [("scatter", scatter_only), ("scales", with_scales)] {
            let share = f64::from(covered) / runs as f64;
            assert!((0.90..=0.995).contains(&share), "{name}: {share}");
        }
    }

    #[test]
    fn strokes_with_friction_cover_the_truth_as_often_as_they_say() {
        let bench = Bench {
            seating: 0.0,
            contact: 10.0,
            readings: 60,
            noise: 4.0,
            friction: 12.0,
            returns: true,
            ..Bench::default()
        };
        for strokes in [1, 4] {
            let bench = Bench {
                strokes,
                ..bench.clone()
            };
            let runs = 200;
            let covers = |seed: &u64| {
                let rate = done(&bench, 50_000 + seed).rate;
                (newton_per_mm(rate.value) - bench.rate).abs() <= newton_per_mm(rate.expanded_uncertainty)
            };
            let share = (0..runs).filter(covers).count() as f64 / runs as f64;
            assert!((0.90..=0.995).contains(&share), "{strokes} strokes: {share}");
        }
    }

    #[test]
    fn uncertainty_grows_when_neighbouring_readings_err_alike() {
        let mut dice = Dice(5);
        let mut drift = 0.0;
        let s: Vec<f64> = (0..400).map(|i| f64::from(i) * 0.2).collect();
        let f: Vec<f64> = s
            .iter()
            .map(|s| {
                drift = 0.9 * drift + dice.normal();
                12.0 * s + drift
            })
            .collect();
        let reduced = reduce(&Request::of_samples(samples(&s, &f))).unwrap();
        let fit = reduced.fit.unwrap();
        assert!(has(&reduced, Code::CorrelatedResiduals));
        assert!(
            fit.effective_point_count < 0.2 * fit.point_count as f64,
            "{}",
            fit.effective_point_count
        );
    }

    #[test]
    fn friction_is_half_the_gap_and_leaves_the_rate_alone() {
        let bench = Bench {
            friction: 18.0,
            returns: true,
            rate: 62.0,
            digit: 1.0,
            ..Bench::default()
        };
        let reduced = done(&bench, 3);
        let friction = reduced.friction.as_ref().unwrap();
        assert!(
            (friction.force.value.si() - 18.0).abs() < 0.3,
            "{:?}",
            friction.force.value
        );
        assert!((newton_per_mm(reduced.rate.value) / 62.0 - 1.0).abs() < 0.001);
        // Twice the friction over twice the travel, in joules, but for the seating and the turning over.
        let lost = reduced.lost_energy.unwrap().si();
        assert!((lost / (2.0 * 0.018 * 100.0) - 1.0).abs() < 0.05, "{lost}");
        assert!(reduced.contact.unwrap().tare_drift.is_some());
    }

    #[test]
    fn a_transition_inside_the_window_is_left_out() {
        let bench = Bench {
            friction: 30.0,
            returns: true,
            noise: 0.1,
            ..Bench::default()
        };
        let mut request = Request::of_samples(bench.run(4));
        request.window = Window::Deflections {
            from: mm(40.0),
            to: mm(108.0),
        };
        let found = reduce(&request).unwrap();
        assert!(
            (newton_per_mm(found.rate.value) / bench.rate - 1.0).abs() < 0.001,
            "{:?}",
            found.rate.value
        );
        assert!((found.friction.unwrap().force.value.si() - 30.0).abs() < 0.2);
    }

    #[test]
    fn coil_bind_is_found_and_bounds_the_window() {
        let bench = Bench {
            bind: 80.0,
            deepest: 81.5,
            ..Bench::default()
        };
        let reduced = done(&bench, 6);
        let knee = reduced.knees.iter().find(|knee| knee.kind == KneeKind::Bind).unwrap();
        let at = knee.deflection.value.get(LengthUnit::Millimeter);
        assert!((at - 88.0).abs() < 0.1, "{at}");
        assert_eq!(reduced.shape, Shape::StraightToBind);
        assert!(has(&reduced, Code::CoilBind));
        assert!((newton_per_mm(reduced.rate.value) / bench.rate - 1.0).abs() < 0.003);
        assert!(reduced.window.unwrap().base.contains("coil bind"));
    }

    #[test]
    fn bind_before_the_promised_travel_is_a_hazard() {
        let bench = Bench {
            bind: 60.0,
            deepest: 61.5,
            ..Bench::default()
        };
        let mut request = Request::of_samples(bench.run(8));
        request.geometry.free_length = Some(FreeLength::new(250.0, LengthUnit::Millimeter));
        request.geometry.solid_length = Some(Length::new(160.0, LengthUnit::Millimeter));
        request.platen_gap = Some(Length::new(259.5, LengthUnit::Millimeter));
        let reduced = reduce(&request).unwrap();
        assert!(has(&reduced, Code::BindEarly));
        let free = reduced.free_length.unwrap().value.get(LengthUnit::Millimeter);
        let solid = reduced.solid_length.unwrap().value.get(LengthUnit::Millimeter);
        assert!((free - 250.0).abs() < 0.3, "{free}");
        assert!((solid - 191.5).abs() < 0.3, "{solid}");
    }

    #[test]
    fn a_dual_rate_is_said_to_have_no_one_rate() {
        let s: Vec<f64> = (0..300).map(|i| f64::from(i) * 0.3).collect();
        let mut dice = Dice(9);
        let f: Vec<f64> = s
            .iter()
            .map(|s| 8.0 * s + 4.0 * (s - 45.0).max(0.0) + 0.5 * dice.normal())
            .collect();
        let reduced = reduce(&Request::of_samples(samples(&s, &f))).unwrap();
        assert_eq!(reduced.shape, Shape::DualRate);
        let knee = reduced
            .knees
            .iter()
            .find(|knee| knee.kind == KneeKind::RateChange)
            .unwrap();
        assert!((knee.deflection.value.get(LengthUnit::Millimeter) - 45.0).abs() < 0.3);
        assert!((newton_per_mm(knee.rate_after) - 12.0).abs() < 0.1);
    }

    #[test]
    fn a_straight_spring_seldom_shows_a_knee() {
        let bench = Bench {
            seating: 0.0,
            ..Bench::default()
        };
        let knees = (0..200)
            .filter(|seed| !done(&bench, 4_000 + seed).knees.is_empty())
            .count();
        assert!(knees <= 2, "{knees} of 200");
    }

    #[test]
    fn scatter_alone_never_binds() {
        // Many readings of a coarse load: some run has three flat ones at the start of the search.
        let bench = Bench {
            seating: 0.0,
            readings: 1_500,
            ..Bench::default()
        };
        let bound = (0..400)
            .filter(|seed| has(&done(&bench, *seed), Code::CoilBind))
            .count();
        assert_eq!(bound, 0);
    }

    #[test]
    fn loaded_readings_are_no_approach() {
        // Three readings without load and a fourth just after contact: too few to read a level from.
        let bench = Bench {
            seating: 0.0,
            contact: 7.5,
            readings: 39,
            noise: 0.3,
            ..Bench::default()
        };
        for seed in 0..20 {
            let reduced = done(&bench, seed);
            let off = |contact: &mechanics::spring::Contact| contact.tare.si() - bench.tare;
            assert!(reduced.contact.as_ref().is_none_or(|contact| off(contact).abs() < 0.6));
        }
        // Bind makes the range so large that two hundredths of it are a long way into the spring.
        let bench = Bench {
            bind: 80.0,
            friction: 10.0,
            readings: 1_500,
            ..bench
        };
        for seed in 0..20 {
            let contact = done(&bench, seed).contact.unwrap();
            assert!((contact.tare.si() - bench.tare).abs() < 0.1, "{:?}", contact.tare);
        }
    }

    #[test]
    fn the_frame_is_taken_off_by_rate_and_by_curve_alike() {
        let bench = Bench {
            rate: 75.0,
            frame: 2500.0,
            ..Bench::default()
        };
        let run = bench.run(11);
        let with = |frame| {
            newton_per_mm(
                reduce(&Request {
                    frame,
                    ..Request::of_samples(run.clone())
                })
                .unwrap()
                .rate
                .value,
            )
        };
        let by_rate = with(Frame::Rate {
            rate: FrameRate::new(2500.0, StiffnessUnit::NewtonPerMillimeter),
            standard_uncertainty: FrameRate::from_si(0.0),
        });
        let loads: Vec<f64> = (0..10).map(|i| 1000.0 * f64::from(i)).collect();
        let by_curve = with(Frame::Curve {
            loads: loads.iter().map(|f| Load::from_si(*f)).collect(),
            gives: loads.iter().map(|f| Deflection::from_si(f / 2.5e6)).collect(),
        });
        assert!((by_rate / 75.0 - 1.0).abs() < 0.001, "{by_rate}");
        assert!((by_curve / 75.0 - 1.0).abs() < 0.001, "{by_curve}");
        assert!((with(Frame::Rigid) / 75.0 - 1.0) < -0.028);
    }

    #[test]
    fn strokes_are_counted_and_presets_left_out() {
        let bench = Bench {
            strokes: 5,
            returns: true,
            friction: 5.0,
            ..Bench::default()
        };
        let mut run = bench.run(12);
        // The first stroke, not yet set, is a tenth stiffer.
        for load in run.loads.iter_mut().take(800) {
            *load = Load::from_si(load.si() * 1.1);
        }
        let mut request = Request::of_samples(run);
        request.strokes.preset_stroke_count = Some(1);
        let reduced = reduce(&request).unwrap();
        assert_eq!(reduced.strokes.len(), 5);
        assert!(reduced.strokes[0].preset && !reduced.strokes[1].preset);
        assert!((newton_per_mm(reduced.rate.value) / bench.rate - 1.0).abs() < 0.001);
        assert_eq!(reduced.rate.budget[0].degrees_of_freedom, Some(3.0));
        assert!(!has(&reduced, Code::StrokesDiffer));
        request.strokes.preset_stroke_count = None;
        assert!(has(&reduce(&request).unwrap(), Code::StrokesDiffer));
    }

    #[test]
    fn wild_readings_are_said_and_kept() {
        let s: Vec<f64> = (0..60).map(f64::from).collect();
        let mut dice = Dice(77);
        let mut f: Vec<f64> = s.iter().map(|s| 9.5 * s + 0.2 * dice.normal()).collect();
        f[38] += 90.0;
        let reduced = reduce(&Request::of_samples(samples(&s, &f))).unwrap();
        assert!(has(&reduced, Code::WildPoints));
        assert!((newton_per_mm(reduced.robust_rate.unwrap().value) / 9.5 - 1.0).abs() < 0.005);
        assert_eq!(reduced.fit.unwrap().point_count, reduced.window.unwrap().point_count);
    }

    #[test]
    fn robust_rate_of_many_readings_agrees_with_the_line() {
        let bench = Bench {
            readings: 20_000,
            ..Bench::default()
        };
        let reduced = done(&bench, 13);
        let robust = reduced.robust_rate.unwrap();
        assert_eq!(robust.point_count, 2_000);
        assert!(robust.repeated_median.is_none());
        assert!((robust.value.si() / reduced.rate.value.si() - 1.0).abs() < 1e-3);
        assert!(robust.lower < robust.value && robust.value < robust.upper);
        assert!(reduced.curve.press.len() == 512);
    }

    #[test]
    fn a_clipped_cell_is_found_with_and_without_its_capacity() {
        let bench = Bench::default();
        let mut run = bench.run(14);
        for load in &mut run.loads {
            *load = Load::from_si(load.si().min(600.0));
        }
        let clipped = reduce(&Request::of_samples(run.clone())).unwrap();
        assert!(has(&clipped, Code::LoadClipped));
        assert!((newton_per_mm(clipped.rate.value) / bench.rate - 1.0).abs() < 0.003);
        let mut request = Request::of_samples(run);
        request.load_cell.capacity = Some(Load::from_si(600.0));
        assert!(has(&reduce(&request).unwrap(), Code::LoadClipped));
        request.window = Window::Deflections {
            from: mm(80.0),
            to: mm(100.0),
        };
        assert!(matches!(reduce(&request), Err(SpringError::Clipped { .. })));
    }

    #[test]
    fn zero_drift_beyond_the_class_refuses_the_run() {
        let bench = Bench {
            returns: true,
            contact: 20.0,
            ..Bench::default()
        };
        let mut run = bench.run(15);
        for load in run.loads.iter_mut().skip(400) {
            *load = Load::from_si(load.si() + 6.0);
        }
        let mut request = Request::of_samples(run);
        assert!(has(&reduce(&request).unwrap(), Code::TareDrift));
        request.load_cell.class = Some(CellClass::Half);
        request.load_cell.capacity = Some(Load::from_si(5000.0));
        assert!(matches!(reduce(&request), Err(SpringError::TareDrift { .. })));
    }

    fn measured(rate: f64, u: f64) -> Request {
        Request::new(Source::MeasuredRate(MeasuredRate {
            rate: rate_of(rate),
            standard_uncertainty: rate_of(u),
            degrees_of_freedom: None,
        }))
    }

    fn marked(value: f64, unit: StiffnessUnit) -> Marking {
        Marking {
            rate: Some(Entered::new(value, unit).unwrap()),
            ..Marking::default()
        }
    }

    #[test]
    fn a_mark_is_judged_with_the_uncertainty_in_its_unit() {
        let mut request = measured(9.31, 0.03);
        request.marking = marked(9.5, StiffnessUnit::NewtonPerMillimeter);
        let verdict = reduce(&request).unwrap().marking_verdict.unwrap();
        assert_eq!(verdict.words, "9.5 N/mm marked, measured 9.31 ± 0.06 N/mm: 2.0 % soft");
        assert_eq!(verdict.decision, None);
        for (ratio, decision, probable) in [
            (0.05, Decision::Accepted, 0.999..1.001),
            (0.02, Decision::CannotTell, 0.4..0.6),
            (0.01, Decision::Refused, 0.0..0.01),
        ] {
            request.grade = Some(Grade::StatedRatio(ratio));
            let verdict = reduce(&request).unwrap().marking_verdict.unwrap();
            assert_eq!(verdict.decision, Some(decision), "{ratio}");
            assert!(probable.contains(&verdict.conformance_probability.unwrap()), "{ratio}");
        }
    }

    #[test]
    fn a_mark_without_unit_is_read_by_what_the_bench_says() {
        let chosen = |text: &str, rate: f64| {
            let mut request = measured(rate, 0.01);
            request.marking.text = text.to_owned();
            let reduced = reduce(&request).unwrap();
            assert!(has(&reduced, Code::MarkUnitChosen));
            let verdict = reduced.marking_verdict.unwrap();
            assert_eq!(verdict.readings.iter().filter(|reading| reading.chosen).count(), 1);
            verdict.marked_rate.unwrap()
        };
        let kgf = chosen("0.95", 9.3);
        assert_eq!(
            (kgf.value(), kgf.unit()),
            (0.95, StiffnessUnit::KilogramForcePerMillimeter)
        );
        assert_eq!(chosen("9,5", 9.4).unit(), StiffnessUnit::NewtonPerMillimeter);
        assert_eq!(chosen("9.5", 92.0).unit(), StiffnessUnit::KilogramForcePerMillimeter);
        assert_eq!(chosen("550", 95.0).unit(), StiffnessUnit::PoundForcePerInch);
        let mut request = measured(9.4, 0.01);
        request.marking.text = "blue dot".to_owned();
        assert!(has(&reduce(&request).unwrap(), Code::MarkNotRead));
    }

    #[test]
    fn a_warm_spring_is_stiffer_at_20_degrees() {
        let mut request = measured(80.0, 0.1);
        request.uncertainty.test_temperature = Some(Temperature::new(60.0, TemperatureUnit::DegreeCelsius));
        let rate = newton_per_mm(reduce(&request).unwrap().rate.value);
        assert!((rate / (80.0 / 0.99) - 1.0).abs() < 1e-12, "{rate}");
    }

    #[test]
    fn load_at_a_length_follows_the_line_and_says_what_is_dangerous() {
        let free = |value| FreeLength::new(value, LengthUnit::Millimeter);
        let length = |value| Length::new(value, LengthUnit::Millimeter);
        let spring = SpringValues {
            rate: rate_of(9.5),
            rate_standard_uncertainty: rate_of(0.05),
            free_length: free(260.0),
            free_length_standard_uncertainty: free(0.2),
            solid_length: Some(length(120.0)),
        };
        let at = |value| load_at_length(&spring, length(value), None).unwrap();
        let held = at(240.0);
        assert!((held.load.value.si() - 190.0).abs() < 1e-9);
        assert!((held.load.standard_uncertainty.si() - 1.0_f64.hypot(1.9)).abs() < 1e-9);
        assert!((held.energy.value.si() - 1.9).abs() < 1e-12);
        let loose = at(270.0);
        assert!(loose.load.value == Load::from_si(0.0) && loose.findings[0].code == Code::Loose);
        let crushed = at(110.0);
        assert!(crushed.findings.iter().any(|finding| finding.code == Code::BelowSolid));
        assert!(
            crushed
                .findings
                .iter()
                .any(|finding| finding.code == Code::StoredEnergy)
        );
        assert!(load_at_length(&spring, length(-1.0), None).is_err());
    }

    #[test]
    fn what_gives_no_rate_is_refused_by_its_cause() {
        let refused = |s: &[f64], f: &[f64]| reduce(&Request::of_samples(samples(s, f))).unwrap_err();
        let rising: Vec<f64> = (0..40).map(f64::from).collect();
        assert!(matches!(refused(&[], &[]), SpringError::TooFewPoints { .. }));
        assert!(matches!(refused(&[1.0], &[1.0]), SpringError::TooFewPoints { .. }));
        assert!(matches!(refused(&[1.0, 2.0], &[1.0]), SpringError::Mismatched { .. }));
        assert!(matches!(refused(&[5.0; 9], &[1.0; 9]), SpringError::OneDeflection(_)));
        assert!(matches!(
            refused(&[1.0, f64::NAN], &[1.0, 2.0]),
            SpringError::NotFinite { index: Some(1), .. }
        ));
        let falling: Vec<f64> = rising.iter().map(|s| -9.0 * s).collect();
        assert!(matches!(refused(&rising, &falling), SpringError::NotPressing(_)));
        let mut dice = Dice(21);
        let flat: Vec<f64> = rising.iter().map(|_| dice.normal()).collect();
        assert!(matches!(
            refused(&rising, &flat),
            SpringError::NoContact { .. } | SpringError::NotPressing(_)
        ));
        let wandering: Vec<f64> = (0..600)
            .map(|i| 50.0 * ((f64::from(i) / 15.0).sin() * 0.22 + f64::from(i) / 600.0))
            .collect();
        let loads: Vec<f64> = wandering.iter().map(|s| 9.0 * s).collect();
        assert!(matches!(
            refused(&wandering, &loads),
            SpringError::WanderingStroke { .. }
        ));
        let mut backwards = samples(&rising, &rising);
        backwards.elapsed_ns = (0..40).map(|i| if i == 20 { 3 } else { i }).collect();
        assert!(matches!(
            reduce(&Request::of_samples(backwards.clone())),
            Err(SpringError::TimeBackwards { index: 20, .. })
        ));
        backwards.segment_starts = vec![20];
        assert!(reduce(&Request::of_samples(backwards)).is_ok());
        let mut request = Request::of_samples(samples(&rising, &rising));
        request.frame = Frame::Rate {
            rate: FrameRate::new(1.0, StiffnessUnit::NewtonPerMillimeter),
            standard_uncertainty: FrameRate::from_si(0.0),
        };
        assert!(matches!(reduce(&request), Err(SpringError::FrameTooSoft { .. })));
        request.frame = Frame::Rigid;
        request.window = Window::Deflections {
            from: mm(50.0),
            to: mm(60.0),
        };
        assert!(matches!(reduce(&request), Err(SpringError::EmptyWindow { .. })));
        request.window = Window::Share(ShareWindow {
            base: WindowBase::FreeToSolid,
            ..ShareWindow::default()
        });
        assert!(matches!(reduce(&request), Err(SpringError::SolidUnknown)));
        request.tare = Tare::LeadingSamples(0);
        assert!(matches!(reduce(&request), Err(SpringError::OutOfRange { .. })));
    }

    mod laws {
        use proptest::prelude::*;

        use super::*;

        fn run(rate: f64, seed: u64, friction: f64) -> Samples {
            Bench {
                rate,
                friction,
                returns: friction > 0.0,
                ..Bench::default()
            }
            .run(seed)
        }

        fn close(a: f64, b: f64) -> bool {
            (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
        }

        proptest! {
            #![proptest_config(ProptestConfig::with_cases(64))]

            #[test]
            fn inches_and_pounds_tell_the_same(rate in 3.0..200.0, seed in 0_u64..1000, friction in 0.0..20.0) {
                let metric = run(rate, seed, friction);
                let inch = Samples::new(
                    metric.deflections.iter().map(|s| Deflection::new(s.get(LengthUnit::Inch), LengthUnit::Inch)).collect(),
                    metric.loads.iter().map(|f| Load::new(f.get(ForceUnit::PoundForce), ForceUnit::PoundForce)).collect(),
                );
                let (a, b) = (reduce(&Request::of_samples(metric)).unwrap(), reduce(&Request::of_samples(inch)).unwrap());
                prop_assert!(close(a.rate.value.si(), b.rate.value.si()));
                prop_assert!(close(a.rate.expanded_uncertainty.si(), b.rate.expanded_uncertainty.si()));
            }

            #[test]
            fn an_offset_of_the_cell_moves_the_tare_alone(rate in 3.0..200.0, seed in 0_u64..1000, offset in -40.0..40.0_f64) {
                let plain = run(rate, seed, 0.0);
                let mut moved = plain.clone();
                for load in &mut moved.loads {
                    *load = Load::from_si(load.si() + offset);
                }
                let (a, b) = (reduce(&Request::of_samples(plain)).unwrap(), reduce(&Request::of_samples(moved)).unwrap());
                prop_assert!(close(a.rate.value.si(), b.rate.value.si()));
                let (ca, cb) = (a.contact.unwrap(), b.contact.unwrap());
                let tare_moved: f64 = cb.tare.si() - ca.tare.si();
                prop_assert!((tare_moved - offset).abs() < 1e-9);
                prop_assert!((ca.deflection.value.si() - cb.deflection.value.si()).abs() < 1e-9);
                prop_assert!((b.fit.unwrap().intercept.si() - a.fit.unwrap().intercept.si() - offset).abs() < 1e-6);
            }

            #[test]
            fn loads_twice_as_large_are_a_spring_twice_as_stiff(rate in 3.0..200.0, seed in 0_u64..1000, scale in 0.1..20.0) {
                let plain = run(rate, seed, 5.0);
                let mut scaled = plain.clone();
                for load in &mut scaled.loads {
                    *load = Load::from_si(load.si() * scale);
                }
                let (a, b) = (reduce(&Request::of_samples(plain)).unwrap(), reduce(&Request::of_samples(scaled)).unwrap());
                prop_assert!(close(a.rate.value.si() * scale, b.rate.value.si()));
                let force = |reduced: &Reduced| reduced.friction.as_ref().map(|friction| friction.force.value.si());
                prop_assert!(close(force(&a).unwrap() * scale, force(&b).unwrap()));
            }

            #[test]
            fn nothing_that_can_be_sent_panics(
                readings in proptest::collection::vec((any::<f64>(), any::<f64>()), 0..40),
                small in proptest::collection::vec((-3_i8..4, -3_i8..4), 0..60),
                smooth in proptest::collection::vec((-1.0..3.0, -5.0..30.0), 0..60),
                size in -12_i32..7,
                start in 0_usize..60,
                choice in 0_usize..6,
                leading in 0_usize..5,
            ) {
                let (small_s, small_f): (Vec<f64>, Vec<f64>) =
                    small.into_iter().map(|(s, f)| (f64::from(s), f64::from(f))).unzip();
                let mut at = (0.0, 0.0);
                let walk = smooth.into_iter().map(|(ds, df): (f64, f64)| {
                    at = (at.0 + ds * 10_f64.powi(size), at.1 + df);
                    at
                });
                let (walk_s, walk_f): (Vec<f64>, Vec<f64>) = walk.unzip();
                let (wild_s, wild_f): (Vec<f64>, Vec<f64>) = readings.into_iter().unzip();
                for (s, f) in [(wild_s, wild_f), (small_s, small_f), (walk_s, walk_f)] {
                    let mut samples = Samples::from_si(&s, &f);
                    if start % 2 == 0 {
                        samples.segment_starts = vec![start];
                    }
                    let mut request = Request::of_samples(samples);
                    request.tare = if leading > 0 { Tare::LeadingSamples(leading) } else { Tare::Automatic };
                    request.predict_at = vec![mm(0.0), mm(1e6)];
                    request.platen_gap = Some(Length::from_si(0.3));
                    request.strokes.preset_stroke_count = Some(leading);
                    request.uncertainty.load_resolution = Some(Load::from_si(1.0));
                    request.marking.text = "0.95".to_owned();
                    request.grade = Some(Grade::StatedRatio(0.05));
                    match choice {
                        0 => request.window = Window::AllSamples,
                        1 => request.load_cell.capacity = Some(Load::from_si(2.0)),
                        2 => request.strokes.reversal_discard = Some(Deflection::from_si(1.0)),
                        3 => request.frame = Frame::Curve {
                            loads: vec![Load::from_si(0.0), Load::from_si(2.0)],
                            gives: vec![Deflection::from_si(0.0), Deflection::from_si(0.5)],
                        },
                        4 => request.frame = Frame::Rate {
                            rate: FrameRate::from_si(5.0),
                            standard_uncertainty: FrameRate::from_si(1.0),
                        },
                        _ => {}
                    }
                    if let Ok(reduced) = reduce(&request) {
                        prop_assert!(reduced.rate.value.si() > 0.0);
                        prop_assert!(reduced.rate.expanded_uncertainty.si() >= 0.0);
                        prop_assert!(reduced.rate.value.si().is_finite());
                    }
                }
            }
        }
    }
}
