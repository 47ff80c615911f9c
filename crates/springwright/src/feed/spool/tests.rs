//! Spools that were torn, damaged, filled and left behind.

use proptest::prelude::*;

use super::super::intake::Place;
use super::*;

fn head() -> Head {
    Head {
        source: "test".to_owned(),
        header: Some(v1::RunHeader {
            request_id: "6f0d7b4e-6c8e-4d3a-9b53-0e6c5f3e2a11".to_owned(),
            ..Default::default()
        }),
        ..Default::default()
    }
}

fn draft(number: i64) -> Draft {
    let value = number as f64;
    Draft {
        elapsed_ns: vec![number * 10, number * 10 + 5],
        columns: vec![vec![value, value + 0.5], vec![-value, 1e-3 * value]],
        place: Place {
            line: 2 * number as u64,
            offset: 20 * number as u64,
            ..Place::default()
        },
        ..Draft::default()
    }
}

fn filled(blocks: i64) -> Spool {
    let mut spool = Spool::in_memory(head(), 1 << 20).unwrap();
    for number in 1..=blocks {
        assert!(matches!(spool.offer(draft(number)).unwrap(), Offered::Taken));
    }
    spool
}

fn bytes(spool: &Spool) -> Vec<u8> {
    match &spool.medium {
        Medium::Memory(bytes) => bytes.clone(),
        Medium::File { .. } => unreachable!(),
    }
}

/// Every block up to the last reads as it was offered.
fn whole_up_to(spool: &mut Spool, last: i64) -> bool {
    let from = spool.floor.number + 1;
    spool.last().number == last
        && (from..=last).all(|number| {
            let block = spool.read(number).unwrap();
            block.number == number && block.elapsed_ns == draft(number).elapsed_ns
        })
}

#[test]
fn a_reopened_spool_goes_on_where_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("state/feed.spool");
    let mut spool = Spool::create(&path, head(), 1 << 20).unwrap();
    for number in 1..=5 {
        spool.offer(draft(number)).unwrap();
    }
    spool.sync().unwrap();
    let last = spool.last();
    assert!(matches!(Spool::open(&path, 1 << 20), Err(SpoolError::InUse(_))));
    drop(spool);
    let (mut again, dropped) = Spool::open(&path, 1 << 20).unwrap();
    assert_eq!(
        (dropped, again.head().clone(), again.last(), again.ended()),
        (None, head(), last, false)
    );
    assert!(whole_up_to(&mut again, 5));
    again.end().unwrap();
    drop(again);
    let (mut again, _) = Spool::open(&path, 1 << 20).unwrap();
    assert!(again.ended());
    again.remove().unwrap();
    assert!(!path.exists());
}

#[test]
fn the_finishs_checksum_is_that_of_all_samples_in_order() {
    let spool = filled(3);
    let mut all = Vec::new();
    for draft in (1..=3).map(draft) {
        all.extend(draft.elapsed_ns.iter().flat_map(|elapsed| elapsed.to_le_bytes()));
        all.extend(draft.columns.iter().flatten().flat_map(|value| value.to_le_bytes()));
    }
    assert_eq!((spool.last().crc32c, spool.last().samples), (crc32c::crc32c(&all), 6));
}

#[test]
fn what_the_server_holds_is_left_behind_and_the_rest_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("feed.spool");
    let limit = 4000;
    let mut spool = Spool::create(&path, head(), limit).unwrap();
    let mut number = 0;
    let refused = loop {
        number += 1;
        if let Offered::Full(draft) = spool.offer(draft(number)).unwrap() {
            break draft;
        }
    };
    assert_eq!(*refused, draft(number));
    let before = spool.last();
    spool.leave_behind(number - 4, true).unwrap();
    assert!(spool.end < limit / 2 && spool.last() == before);
    assert!(matches!(spool.offer(*refused).unwrap(), Offered::Taken));
    assert!(matches!(spool.read(1), Err(SpoolError::BlockDamaged(1))));
    drop(spool);
    let (mut again, dropped) = Spool::open(&path, limit).unwrap();
    assert_eq!((dropped, again.floor.number), (None, number - 4));
    assert!(whole_up_to(&mut again, number));
    assert_eq!(again.last().samples, 2 * number);
}

#[test]
fn a_spool_whose_head_was_never_whole_holds_nothing_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("torn.spool");
    let whole = bytes(&filled(2));
    let head = bytes(&filled(0)).len();
    for length in [0, 3, 8, 10, 12, 20, head - 1] {
        std::fs::write(&path, &whole[..length]).unwrap();
        assert!(Spool::was_hardly_begun(&path), "{length}");
    }
    for length in [head, whole.len()] {
        std::fs::write(&path, &whole[..length]).unwrap();
        assert!(!Spool::was_hardly_begun(&path), "{length}");
    }
    // A damaged head with blocks behind it is not nothing, and neither is somebody's letter.
    let mut damaged = whole.clone();
    damaged[20] ^= 1;
    for bytes in [damaged.as_slice(), b"Dear customer"] {
        std::fs::write(&path, bytes).unwrap();
        assert!(matches!(Spool::open(&path, 1 << 20), Err(SpoolError::NoHead(_))));
        assert!(!Spool::was_hardly_begun(&path));
    }
}

#[test]
fn a_foreign_file_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("letter.txt");
    std::fs::write(&path, "Dear customer, your fork is ready.").unwrap();
    assert!(matches!(Spool::open(&path, 1 << 20), Err(SpoolError::NoHead(_))));
    assert!(std::fs::read_to_string(&path).unwrap().starts_with("Dear"));
}

proptest! {
    #[test]
    fn a_torn_tail_costs_only_what_was_torn(blocks in 0i64..12, cut in 0usize..4000) {
        let spool = filled(blocks);
        let mut bytes = bytes(&spool);
        let cut = cut % (bytes.len() + 1);
        bytes.truncate(cut);
        let whole = spool.entries.iter().filter(|entry| entry.offset + entry.length <= cut as u64).count() as i64;
        match Spool::reopen(Medium::Memory(bytes), 1 << 20) {
            Ok((mut again, dropped)) => {
                prop_assert!(whole_up_to(&mut again, whole));
                prop_assert_eq!(dropped.map_or(0, |d| d.bytes) + again.end, cut as u64);
                prop_assert!(matches!(again.offer(draft(whole + 1)).unwrap(), Offered::Taken));
                prop_assert!(whole_up_to(&mut again, whole + 1));
            }
            Err(error) => prop_assert!(matches!(error, SpoolError::NoHead(_)) && whole == 0),
        }
    }

    #[test]
    fn a_flipped_bit_costs_its_block_and_those_after_and_is_told(blocks in 1i64..12, at in 0usize..4000, bit in 0u8..8) {
        let spool = filled(blocks);
        let mut bytes = bytes(&spool);
        let at = at % bytes.len();
        bytes[at] ^= 1 << bit;
        let before = spool.entries.iter().filter(|entry| entry.offset + entry.length <= at as u64).count() as i64;
        match Spool::reopen(Medium::Memory(bytes), 1 << 20) {
            Ok((mut again, dropped)) => {
                prop_assert!(whole_up_to(&mut again, before));
                prop_assert!(dropped.unwrap().bytes > 0);
            }
            Err(error) => prop_assert!(matches!(error, SpoolError::NoHead(_)) && before == 0),
        }
    }

    #[test]
    fn no_bytes_upset_the_scan(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let framed = [MAGIC.as_slice(), &bytes].concat();
        prop_assert!(scan(&mut framed.as_slice()).good <= framed.len() as u64);
    }
}
