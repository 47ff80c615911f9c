//! What shape is claimed of simulated springs: how often a knee is invented, and how often one is found.

#[cfg(test)]
mod shapes {
    use mechanics::quantity::Quantity;
    use mechanics::spring::{Reduced, Request, Samples, Shape, Tare, Window, reduce};

    /// A fixed sequence of numbers.
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

    /// A press of 60 mm with noise, N; `memory` makes neighbouring readings err alike.
    fn pressed(load: impl Fn(f64) -> f64, noise: f64, memory: f64, count: usize, dice: &mut Dice) -> Reduced {
        let (mut s, mut f, mut before) = (Vec::new(), Vec::new(), 0.0);
        for k in 0..count {
            let at = 60.0 * k as f64 / (count - 1) as f64;
            before = memory * before + (1.0 - memory * memory).sqrt() * dice.normal();
            s.push(at * 1e-3);
            f.push(load(at) + noise * before);
        }
        let request = Request {
            tare: Tare::None,
            window: Window::AllSamples,
            ..Request::of_samples(Samples::from_si(&s, &f))
        };
        reduce(&request).unwrap()
    }

    fn share(runs: usize, mut hit: impl FnMut(&mut Dice) -> bool) -> f64 {
        let mut dice = Dice(2026);
        (0..runs).filter(|_| hit(&mut dice)).count() as f64 / runs as f64
    }

    fn straight(s: f64) -> f64 {
        90.0 * s
    }

    fn dual(step: f64) -> impl Fn(f64) -> f64 {
        move |s| 90.0 * s + 90.0 * step * (s - 33.0).max(0.0)
    }

    /// Straight springs in thousands. Noise is set so that a step of 3 % does not stand out by itself.
    #[test]
    fn straight_springs_show_a_knee_in_two_of_a_hundred_at_most() {
        for (count, noise, runs) in [
            (16, 40.0, 2_000),
            (26, 50.0, 2_000),
            (51, 70.0, 2_000),
            (401, 200.0, 2_000),
        ] {
            let bent = share(runs, |dice| {
                let found = pressed(straight, noise, 0.0, count, dice);
                found.shape != Shape::Straight || !found.knees.is_empty()
            });
            println!(
                "straight, {count} readings of {noise} N noise: {:.2} % show a knee",
                100.0 * bent
            );
            assert!(bent <= 0.02, "{count}: {bent}");
        }
        let bent = share(2_000, |dice| {
            pressed(straight, 100.0, 0.7, 401, dice).shape != Shape::Straight
        });
        println!(
            "straight, 401 readings that err alike: {:.2} % show a knee",
            100.0 * bent
        );
        assert!(bent <= 0.02, "{bent}");
    }

    /// Contrast is the step of the rate over its uncertainty without a search.
    #[test]
    fn knees_that_stand_out_are_found() {
        for (count, noise, step, least) in [
            (26, 10.0, 0.05, 0.0),
            (26, 10.0, 0.10, 0.5),
            (26, 10.0, 0.20, 0.97),
            (101, 10.0, 0.05, 0.2),
            (101, 10.0, 0.10, 0.97),
            (401, 10.0, 0.05, 0.97),
        ] {
            let found = share(300, |dice| {
                pressed(dual(step), noise, 0.0, count, dice).shape == Shape::DualRate
            });
            println!(
                "rate rises by {:.0} %, {count} readings of {noise} N noise: found in {:.0} %",
                100.0 * step,
                100.0 * found
            );
            assert!(found >= least, "{step} at {count}: {found}");
        }
    }

    #[test]
    fn springs_that_bend_throughout_are_progressive() {
        let bending = |s: f64| 40.0 * s + 0.5 * s * s;
        let found = share(200, |dice| {
            pressed(bending, 10.0, 0.0, 201, dice).shape == Shape::Progressive
        });
        println!("bending throughout: progressive in {:.0} %", 100.0 * found);
        assert!(found >= 0.98, "{found}");
        let triple = |s: f64| 30.0 * s + 20.0 * (s - 20.0).max(0.0) + 60.0 * (s - 42.0).max(0.0);
        let mut dice = Dice(5);
        let reduced = pressed(triple, 5.0, 0.0, 401, &mut dice);
        assert_eq!(reduced.shape, Shape::Progressive);
        let at: Vec<f64> = reduced
            .knees
            .iter()
            .map(|knee| knee.deflection.value.si() * 1e3)
            .collect();
        assert!(
            at.len() == 2 && (at[0] - 20.0).abs() < 0.5 && (at[1] - 42.0).abs() < 0.5,
            "{at:?}"
        );
    }

    /// The stated uncertainty of a knee must cover where it is about as often as it says.
    #[test]
    fn knees_lie_within_their_uncertainty() {
        let mut all = 0.0_f64;
        let covered = share(400, |dice| {
            let reduced = pressed(dual(0.3), 10.0, 0.0, 101, dice);
            let knee = &reduced.knees[0].deflection;
            all += 1.0;
            (knee.value.si() - 0.033).abs() <= knee.expanded_uncertainty.si()
        });
        println!(
            "knee within its expanded uncertainty in {:.1} % of {all}",
            100.0 * covered
        );
        assert!((0.91..=0.985).contains(&covered), "{covered}");
    }

    /// A press of 100 mm with an approach of 10 mm.
    fn approached(load: impl Fn(f64) -> f64, dice: &mut Dice) -> Reduced {
        let at = |k: usize| 100.0 * k as f64 / 2_000.0;
        let loads: Vec<f64> = (0..=2_000)
            .map(|k| load((at(k) - 10.0).max(0.0)) + 0.3 * dice.normal())
            .collect();
        let deflections: Vec<f64> = (0..=2_000).map(|k| at(k) * 1e-3).collect();
        reduce(&Request::of_samples(Samples::from_si(&deflections, &loads))).unwrap()
    }

    /// The window's line of a spring of two rates leads back to a place far beyond contact.
    #[test]
    fn contact_is_where_the_spring_was_met_and_not_where_a_later_part_leads_back() {
        let mut dice = Dice(3);
        let two = approached(|s| 7.0 * s + 4.0 * (s - 30.0).max(0.0), &mut dice);
        assert_eq!(two.shape, Shape::DualRate);
        let contact = two.contact.unwrap().deflection;
        assert!((contact.value.si() * 1e3 - 10.0).abs() < 0.1, "{contact:?}");
        let rounded = |s: f64| 7.0 * s + 4.0 * 0.5 * ((s - 40.0) / 0.5).exp().ln_1p();
        let corner = approached(rounded, &mut dice);
        assert_eq!(
            (corner.shape, corner.knees.len()),
            (Shape::DualRate, 1),
            "a corner is no rate of its own"
        );
        let bent = approached(|s| 6.0 * s + 0.05 * s * s, &mut dice);
        assert_eq!(bent.shape, Shape::Progressive);
        let contact = bent.contact.unwrap().deflection;
        let off = (contact.value.si() - 10e-3).abs();
        assert!(off < 1e-3 && off <= contact.expanded_uncertainty.si(), "{contact:?}");
    }

    #[test]
    fn a_shape_is_told_with_its_probability() {
        let mut dice = Dice(11);
        let sure = pressed(dual(0.4), 5.0, 0.0, 401, &mut dice).shape_probability.unwrap();
        assert!(sure > 0.99, "{sure}");
        let straight = pressed(straight, 10.0, 0.0, 401, &mut dice).shape_probability.unwrap();
        assert!(straight > 0.9, "{straight}");
        // A knee that just stands out is less sure than one that cannot be overlooked.
        let mut least = 1.0_f64;
        for _ in 0..50 {
            let found = pressed(dual(0.10), 10.0, 0.0, 26, &mut dice);
            least = least.min(found.shape_probability.unwrap());
        }
        assert!(least < 0.99, "{least}");
    }

    #[test]
    fn the_smooth_curve_never_falls_and_100_000_readings_are_judged() {
        let mut dice = Dice(9);
        let reduced = pressed(dual(0.4), 60.0, 0.0, 100_000, &mut dice);
        assert_eq!(reduced.shape, Shape::DualRate);
        assert!((reduced.knees[0].deflection.value.si() * 1e3 - 33.0).abs() < 0.3);
        let smooth = &reduced.curve.smooth;
        assert!(smooth.len() > 50);
        assert!(smooth.windows(2).all(|pair| pair[0].load <= pair[1].load));
    }
}
