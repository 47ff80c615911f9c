//! Which spring: what can be had, what is at hand, and what holds it back.

use mechanics::chassis::{
    Agreement, Candidate, CandidateSpring, Cause, CauseKind, Compared, Element, Path, SpringSource,
};
use mechanics::finding::{Code, Finding};
use mechanics::judgement::{Action, Circuit, Confidence, Direction, EndVisit, Riding, SpringsAtHand, Subject};
use mechanics::quantity::Quantity;
use mechanics::spring::Linkage;

use crate::ends::{about, asks, clicks, mm, of_rear, rate, right, sag, says};

#[test]
fn rate_that_cannot_be_had_asks_for_another_unit() {
    let at = |most: f64, still: f64, total: f64| {
        let end = EndVisit {
            sag: sag(still, total),
            rates: vec![rate(70.0)],
            rates_to_be_had: Some((rate(50.0), rate(most))),
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    // 32/24.85 of 70 N/mm are 90.1; half a step is 2.5 N/mm.
    let had = at(88.0, 3.0, 35.0);
    assert!(says(&had, Action::Respring, Some(Direction::Stiffer)) && !asks(&had, Subject::Unit));
    let not = at(87.0, 3.0, 35.0);
    assert!(says(&not, Action::Replace, Some(Direction::Stiffer)) && !asks(&not, Subject::Spring));
    // Valving that the soft spring makes look weak waits for that unit as for a spring; the unit waits for nothing.
    let weak = EndVisit {
        sag: sag(3.0, 35.0),
        rates: vec![rate(70.0)],
        rates_to_be_had: Some((rate(50.0), rate(80.0))),
        adjusters: vec![clicks(Circuit::COMPRESSION, 4.0, 20.0)],
        ..right()
    };
    let weak = of_rear(Riding::HardRoad, weak);
    assert!(
        about(&weak, Subject::Unit).unwrap().waits_for.is_empty(),
        "{:?}",
        weak.verdicts
    );
    assert_eq!(about(&weak, Subject::Valving).unwrap().waits_for, [weak.first.unwrap()]);
    // What lies on the rack can be had, whatever the suppliers say.
    let on_the_rack = EndVisit {
        sag: sag(3.0, 35.0),
        rates: vec![rate(70.0)],
        rates_to_be_had: Some((rate(50.0), rate(80.0))),
        rack: [65.0, 70.0, 75.0, 80.0, 85.0, 90.0].map(rate).to_vec(),
        ..right()
    };
    assert!(asks(&of_rear(Riding::HardRoad, on_the_rack), Subject::Spring));
    // 17/24.85 of 70 N/mm are 47.9: within half a step of 50; 16/24.85 are 45.1.
    assert!(asks(&at(90.0, 18.0, 35.0), Subject::Spring) && asks(&at(90.0, 19.0, 35.0), Subject::Unit));
}

/// Sag that implies 20 N/mm more than the spring is said to have.
fn doubt(kinds: &[CauseKind]) -> Option<Compared> {
    let causes = kinds.iter().map(|kind| Cause {
        kind: *kind,
        check: match kind {
            CauseKind::Friction => "read again",
            CauseKind::MassShare => "weigh",
            _ => "take it out",
        },
        reach: None,
    });
    Some(Compared {
        difference: rate(20.0),
        standard_uncertainty: rate(3.0),
        agreement: Agreement::Disagrees,
        step: rate(5.0),
        steps_untold: 1.2,
        causes: causes.collect(),
        findings: vec![Finding::new(Code::RateDiffers, "they differ".to_owned())],
        assumptions: Vec::new(),
    })
}

#[test]
fn spring_is_held_back_only_by_a_cheaper_cause_of_the_reading() {
    let at = |compared: Option<Compared>, still: f64, total: f64| {
        let end = EndVisit {
            sag: sag(still, total),
            compared,
            ..right()
        };
        of_rear(Riding::HardRoad, end)
    };
    use CauseKind::{Friction, MassShare, Spring};
    // Another part of the rider's mass leaves the sag as it was read: it is checked first, and nothing waits.
    for (kinds, held) in [
        (&[MassShare, Friction, Spring][..], true),
        (&[MassShare, Spring], false),
        (&[Spring], false),
    ] {
        let judged = at(doubt(kinds), 17.0, 35.0);
        let spring = about(&judged, Subject::Spring).unwrap();
        assert_eq!(spring.waits_for_check, held, "{kinds:?}");
        assert_eq!(spring.check_first.len(), kinds.len() + 1, "{:?}", spring.check_first);
        assert!(spring.to_string().ends_with("; after a check") == held && spring.confidence < Confidence::High);
        assert!(
            judged
                .findings
                .iter()
                .any(|one| one.code == Code::RateDiffers && one.message.contains("take it out"))
        );
        assert_eq!(judged.first, Some(0));
    }
    // What is to be done besides comes before what waits for a check; a hazard waits for none.
    let low = at(doubt(&[Friction]), 30.0, 48.0);
    let first = &low.verdicts[low.first.unwrap()];
    assert!(
        first.subject == Subject::Spring && first.waits_for_check,
        "{:?}",
        low.verdicts
    );
    let bound = of_rear(
        Riding::HardRoad,
        EndVisit {
            sag: sag(17.0, 35.0),
            compared: doubt(&[Friction]),
            bind_margin: mm(-1.0),
            ..right()
        },
    );
    let spring = about(&bound, Subject::Spring).unwrap();
    assert!(spring.hazard && !spring.waits_for_check && spring.check_first[0].starts_with("today"));
    // An end that is left is left with the check.
    let left = at(doubt(&[Friction]), 10.0, 35.0);
    assert_eq!(
        (left.verdicts[0].action, left.verdicts[0].confidence),
        (Action::Leave, Confidence::Low)
    );
    assert_eq!(left.verdicts[0].check_first, ["read again"]);
}

#[test]
fn spring_at_hand_is_named_with_what_it_would_do() {
    let spring = |label: &str, value: f64| Candidate {
        springs: vec![CandidateSpring {
            label: label.to_owned(),
            rate: rate(value),
            standard_uncertainty: rate(0.2),
            source: SpringSource::Measured,
            curve: None,
            deflection_to_solid: None,
        }],
    };
    let path = Path::of_linkage(&Linkage::ConstantRatio(0.5), mm(125.0).unwrap(), None, 0.0).unwrap();
    let end = |names: &[(&str, f64)]| {
        let fitted = vec![Element::Straight {
            rate: rate(80.0),
            preload: mm(14.0).unwrap(),
        }];
        let at_hand = SpringsAtHand {
            path: Some(path.clone()),
            others: Vec::new(),
            fitted,
            loads: None,
            unsprung_mass: None,
            candidates: names.iter().map(|(label, rate)| spring(label, *rate)).collect(),
        };
        EndVisit {
            sag: sag(3.0, 33.0),
            rates: vec![rate(80.0)],
            preload: mm(14.0),
            at_hand: Some(at_hand),
            ..right()
        }
    };
    let at = |names: &[(&str, f64)]| of_rear(Riding::HardRoad, end(names));
    // 80 N/mm carry 40 (14 + 1.5) = 620 N alone and 40 (14 + 16.5) = 1220 N aboard: 1220/(0.5 k) - 17.5 of preload.
    let judged = at(&[("soft", 75.0), ("near", 95.0), ("far", 110.0)]);
    let verdict = about(&judged, Subject::Spring).unwrap();
    let ranked = &verdict.springs.as_ref().unwrap().ranked;
    let labels: Vec<&str> = ranked.iter().map(|(one, _)| one.springs[0].label.as_str()).collect();
    assert_eq!(labels, ["near", "far"], "{verdict}");
    let best = &ranked[0].1;
    let millimeters = |length: f64| (1e5 * length).round() / 100.0;
    assert_eq!(
        millimeters(best.preload.si()),
        millimeters(1e-3 * (1_220.0 / 47.5 - 17.5))
    );
    assert_eq!(
        millimeters(best.static_sag.0.si()),
        millimeters(2e-3 * (620.0 - 1_220.0) / 47.5 + 35e-3)
    );
    assert!(verdict.to_string().contains(": near; "), "{verdict}");
    let after = verdict.after.unwrap();
    assert_eq!(after.preload, Some(best.preload));
    assert!((after.rebound_factor - (95.0_f64 / 80.0).sqrt()).abs() < 1e-9);
    // One that binds asks for any other: of those at hand the nearest.
    let bound = EndVisit {
        sag: sag(10.0, 35.0),
        bind_margin: mm(-3.0),
        ..end(&[("soft", 75.0), ("same", 80.0)])
    };
    let bound = of_rear(Riding::HardRoad, bound);
    let verdict = about(&bound, Subject::Spring).unwrap();
    assert!(
        verdict.hazard && verdict.springs.as_ref().unwrap().ranked.len() == 2,
        "{verdict:?}"
    );
    assert!(verdict.to_string().starts_with("respring rear spring: "), "{verdict}");
    // None that goes its way, and one that cannot be set, are said.
    let none = at(&[("soft", 75.0)]);
    let verdict = about(&none, Subject::Spring).unwrap();
    assert!(verdict.springs.as_ref().unwrap().ranked.is_empty());
    assert!(
        verdict
            .evidence
            .iter()
            .any(|one| one.text.contains("none of the 1 springs at hand"))
    );
    let stiff = at(&[("stiff", 160.0)]);
    let verdict = about(&stiff, Subject::Spring).unwrap();
    assert!(
        verdict
            .evidence
            .iter()
            .any(|one| one.text.contains("not stiff: it needs a preload")),
        "{verdict:?}"
    );
    assert!(!verdict.to_string().contains("stiff;"));
}
