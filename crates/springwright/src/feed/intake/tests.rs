//! Drafts from lines.

use proptest::prelude::*;

use super::super::decode::Separator;
use super::*;

fn rules() -> Rules {
    Rules {
        format: Format {
            columns: "elapsed:us,deflection:mm,load:N".parse().unwrap(),
            separator: Separator::Space,
            sealed: false,
        },
        skip_lines: 0,
        block_samples: 3,
        malformed_max: None,
    }
}

fn intake() -> Intake {
    Intake::new(rules(), Place::default(), Clock::default())
}

fn all(intake: &mut Intake, text: &str) -> Vec<Draft> {
    let mut drafts = intake.take(text.as_bytes()).unwrap();
    drafts.extend(intake.source_ended(true).unwrap());
    drafts
}

#[test]
fn blocks_are_cut_by_count_and_time_counts_from_the_segments_start() {
    let drafts = all(
        &mut intake(),
        "# columns x\n500 1 10\n600 2 20\n700 3 30\n800 4 40\n# end 4\n900 5 50\n",
    );
    assert_eq!(drafts.len(), 2);
    assert_eq!(drafts[0].elapsed_ns, [0, 100_000, 200_000]);
    assert_eq!(drafts[0].columns, [[1.0, 2.0, 3.0], [10.0, 20.0, 30.0]]);
    assert_eq!(drafts[1].columns[1], [40.0]);
    assert_eq!((drafts[1].place.data_lines, drafts[1].place.line), (4, 6));
}

#[test]
fn a_clock_that_goes_back_starts_a_segment_and_is_told() {
    let drafts = all(&mut intake(), "500 1 10\n600 2 20\n0 3 30\n100 4 40\n");
    assert_eq!((drafts[0].clock.segment, drafts[1].clock.segment), (0, 1));
    assert_eq!(drafts[1].elapsed_ns, [0, 100_000]);
    assert_eq!(drafts[1].missing.causes, ["the tester's clock went back"]);
}

#[test]
fn a_tare_parts_blocks_and_stands_with_the_first_sample_after_it() {
    let mut intake = intake();
    let drafts = all(
        &mut intake,
        "# waiting\n# started\n0 1 10\n# tare 2.5\n# tare by hand\n1 2 7\n2 3 8\n",
    );
    assert_eq!(drafts.iter().map(Draft::len).collect::<Vec<_>>(), [1, 2]);
    let zeroed = |draft: &Draft| draft.tare?.zeroed_load?.value;
    assert_eq!((zeroed(&drafts[0]), zeroed(&drafts[1])), (None, Some(2.5)));
    assert_eq!(drafts[1].tare.unwrap().load.unwrap().value, Some(0.0));
    let events = intake.events();
    assert!(
        matches!(events[..], [Event::Waiting, Event::Started, Event::Tare(_)]),
        "{events:?}"
    );
    assert!(intake.events().is_empty());
}

#[test]
fn a_damaged_line_is_a_gap_where_it_stood() {
    let mut intake = intake();
    let drafts = all(&mut intake, "0 1 10\n1 2 2x\n2 3 30\n");
    assert_eq!(drafts.iter().map(Draft::len).collect::<Vec<_>>(), [1, 1]);
    assert_eq!(drafts[1].missing.lost, 1);
    assert_eq!(drafts[1].missing.causes, ["line 2: load \"2x\" is no number"]);
    assert_eq!(drafts[1].clock.segment, 0);
    assert_eq!(intake.complaints()[0].line, 2);
    // Whoever goes on after the first draft meets the damaged line again.
    assert_eq!(drafts[0].place.offset, 7);
}

#[test]
fn a_decimal_comma_in_the_first_line_ends_the_feed_and_later_only_costs_the_line() {
    let unreadable = intake().take(b"0 1,5 10\n").unwrap_err();
    assert!(matches!(unreadable, Unreadable::DecimalComma { line: 1, .. }));
    let mut intake = intake();
    intake.take(b"0 1.5 10\n1 1,5 10\n").unwrap();
    assert_eq!(intake.place().malformed, 1);
}

#[test]
fn a_hundred_lines_without_a_sample_end_the_feed() {
    let text = "this is no line of a tester\n".repeat(100);
    assert!(matches!(
        intake().take(text.as_bytes()),
        Err(Unreadable::NothingReadable { line: 1, .. })
    ));
    let mut strict = Intake::new(
        Rules {
            malformed_max: Some(1),
            ..rules()
        },
        Place::default(),
        Clock::default(),
    );
    assert_eq!(
        strict.take(b"0 1 1\nx\nx\n").unwrap_err(),
        Unreadable::TooManyMalformed { limit: 1 }
    );
}

#[test]
fn an_unfinished_last_line_counts_in_a_file_and_not_on_a_line_that_broke() {
    let mut file = intake();
    assert_eq!(all(&mut file, "0 1 10\n1 2 20")[0].len(), 2);
    let mut broken = intake();
    broken.take(b"0 1 10\n1 2 20").unwrap();
    let drafts = broken.source_ended(false).unwrap();
    assert_eq!((drafts.len(), drafts[0].len(), broken.place().malformed), (1, 1, 1));
}

proptest! {
    /// Wherever a feed stops after a kept draft, reading on from that draft's place gives the same samples.
    #[test]
    fn going_on_from_any_draft_gives_the_same_samples(
        lines in proptest::collection::vec((0i64..50, any::<bool>()), 1..60),
        stop in 0usize..60,
    ) {
        let text: String = lines
            .iter()
            .enumerate()
            .map(|(n, (clock, good))| if *good { format!("{clock} {n} 1\n") } else { format!("{clock} {n}\n") })
            .collect();
        let whole = all(&mut intake(), &text);
        let kept = stop.min(whole.len());
        let (place, clock) = whole[..kept].last().map_or_else(Default::default, |draft| (draft.place, draft.clock));
        let rest = all(&mut Intake::new(rules(), place, clock), &text[usize::try_from(place.offset).unwrap()..]);
        let flat = |drafts: &[Draft]| -> Vec<(i32, i64, f64)> {
            drafts
                .iter()
                .flat_map(|d| d.elapsed_ns.iter().zip(&d.columns[0]).map(|(t, v)| (d.clock.segment, *t, *v)))
                .collect()
        };
        let lost = |drafts: &[Draft]| drafts.iter().map(|d| d.missing.lost).sum::<u64>();
        prop_assert_eq!(flat(&whole[kept..]), flat(&rest));
        prop_assert_eq!(lost(&whole[kept..]), lost(&rest));
    }

    #[test]
    fn no_bytes_upset_the_intake(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let mut intake = intake();
        if intake.take(&bytes).is_ok() {
            let _ = intake.source_ended(true);
        }
        prop_assert!(intake.place().malformed <= intake.place().data_lines);
    }
}

fn sealed(text: &str, number: u64) -> String {
    let covered = format!("{text}*{number}");
    format!("{covered}*{:08x}\n", crc32c::crc32c(covered.as_bytes()))
}

fn of_sealed() -> Intake {
    let mut rules = rules();
    rules.format.sealed = true;
    Intake::new(rules, Place::default(), Clock::default())
}

#[test]
fn numbers_tell_what_is_missing_and_what_comes_again() {
    let mut intake = of_sealed();
    let text = [
        sealed("# a note", 0),
        sealed("100 1 10", 1),
        "200 2 20*2*00000000\n".to_owned(),
        sealed("300 3 30", 3),
        sealed("100 1 10", 1),
        "noise\n".to_owned(),
        sealed("400 4 40", 4),
        "500 5 50\n".to_owned(),
        sealed("700 7 70", 7),
        sealed("# end 7", 7),
    ];
    let drafts = all(&mut intake, &text.concat());
    let loads: Vec<f64> = drafts.iter().flat_map(|draft| draft.columns[1].clone()).collect();
    assert_eq!(loads, [10.0, 30.0, 40.0, 70.0]);
    let lost: Vec<u64> = drafts.iter().map(|draft| draft.missing.lost).collect();
    assert_eq!(lost, [0, 1, 2]);
    assert_eq!(drafts[1].missing.causes, ["line 3: its checksum is not right"]);
    assert_eq!((intake.place().data_lines, intake.place().malformed), (7, 3));
    assert!(intake.ended());
}

#[test]
fn an_end_before_the_last_readings_is_no_end() {
    let mut intake = of_sealed();
    let text = sealed("100 1 10", 1) + "garbled\n" + &sealed("# end 2", 2);
    intake.take(text.as_bytes()).unwrap();
    assert!(!intake.ended() && intake.ended_short() && !intake.ended_short());
    let again = sealed("200 2 20", 2) + &sealed("# end 2", 2);
    let drafts = all(&mut intake, &again);
    // Said again, nothing is missing.
    assert_eq!(drafts[0].columns[1], [10.0, 20.0]);
    assert!(drafts[0].missing.is_nothing() && intake.ended());
}

#[test]
fn a_source_without_checksums_is_refused_where_they_are_asked_for() {
    let text: String = (0..200).map(|number| format!("{number} 1 2\n")).collect();
    let error = of_sealed().take(text.as_bytes()).unwrap_err();
    assert!(matches!(
        error,
        Unreadable::NothingReadable {
            complaint: Complaint::Checksum,
            ..
        }
    ));
}
