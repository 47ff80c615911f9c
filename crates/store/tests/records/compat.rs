//! Bytes of every version that was ever written are read for ever.
//!
//! `tests/compat` holds a store as rows (key and value in hex) and as exported text, one pair of files for each version. Files are
//! added when the format gets a new version and never changed: `SPRINGWRIGHT_COMPAT_NEW=v2 cargo test -p store compat` writes a
//! pair, and refuses to write over one.

use std::path::PathBuf;
use std::sync::Arc;

use store::engine::memory::MemoryEngine;
use store::engine::{Batch, Engine, Lane, Outcome};
use store::key::RowKey;
use store::record::{
    FrameCurve, Gap, LoadCell, Quantity, RateTest, RunBody, RunHeader, RunState, Span, SpringBody, TesterFrame,
    ToleranceGrade, WallClock, run_header, tester_frame,
};
use store::text::{Origin, export, import};
use store::{Block, Kind, Moment, Store, StoreError, envelope};

use super::{DAY, assert_sound, at, block, header, id, in_memory, on_disk, request, rows};

const VERSIONS: [&str; 1] = ["v1"];

fn file(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/compat")
        .join(name)
}

fn quantity(value: f64, unit: i32) -> Option<Quantity> {
    Some(Quantity { value, unit })
}

fn full_spring() -> SpringBody {
    SpringBody {
        label: "left, 9.5".into(),
        marked_rate: quantity(9.5, 1),
        marking_text: "9.5 / 260".into(),
        grade: Some(ToleranceGrade {
            system: 3,
            grade: 0,
            rate_tolerance_ratio: Some(0.05),
        }),
        free_length: quantity(260.0, 1),
        solid_length: quantity(-0.0, 1),
        wire_diameter: quantity(0.1 + 0.2, 2),
        outside_diameter: quantity(43.2, 1),
        inside_diameter: quantity(33.8, 1),
        active_coil_count: Some(8.5),
        total_coil_count: Some(0.0),
        rack_place: "B 4".into(),
        notes: "wärmebehandelt".into(),
        pair_spring: "a8".into(),
        tested_run: "r1".into(),
    }
}

fn full_header() -> RunHeader {
    let curve = FrameCurve {
        load_unit: 1,
        loads: vec![0.0, 100.0],
        give_unit: 1,
        gives: vec![0.0, 0.02],
    };
    let test = RateTest {
        tare_load: quantity(1.5, 1),
        frame: Some(TesterFrame {
            give: Some(tester_frame::Give::Curve(curve)),
        }),
        load_cell: Some(LoadCell {
            class: 2,
            capacity: quantity(2_000.0, 1),
        }),
        platen_gap: quantity(300.0, 1),
        load_resolution: quantity(0.1, 1),
        deflection_resolution: quantity(0.01, 1),
        preset_stroke_count: 3,
        temperature: quantity(21.0, 1),
    };
    RunHeader {
        spring: "a7".into(),
        start_time: Some(WallClock {
            seconds: 1_700_000_000,
            nanos: 5,
        }),
        run_id: "r1".into(),
        kind: Some(run_header::Kind::RateTest(test)),
        ..header()
    }
}

fn gap() -> Gap {
    let duration = Some(Span {
        seconds: 2,
        nanos: 500_000_000,
    });
    Gap {
        block: 3,
        lost_sample_count: Some(400),
        duration,
        cause: "spool full".into(),
    }
}

fn sent(number: u64) -> Block {
    let gap_before = (number == 3).then(gap);
    Block {
        gap_before,
        segment: u32::from(number > 2),
        receive_time: at(7),
        ..block(number, 4)
    }
}

fn record(store: &Store, number: u64, name: &str, header: RunHeader, blocks: u64) {
    let key = request(number, "record", name);
    let mut recording = store
        .open_run(at(6), &key, Some(&id(name)), header)
        .unwrap()
        .recording
        .unwrap();
    (1..=blocks).for_each(|n| recording.append(at(7), &sent(n)).unwrap().wait().unwrap());
}

/// A store with a row of every family but the mark of an import.
fn make() -> (Arc<MemoryEngine>, Store) {
    let (engine, store) = in_memory();
    store
        .create(at(1), &request(1, "create", ""), Some(&id("a7")), SpringBody::default())
        .unwrap();
    let fill = |_: &SpringBody| Ok::<_, StoreError>(full_spring());
    store
        .update(at(2), &request(2, "update", ""), &id("a7"), None, fill)
        .unwrap();
    for (n, name) in [(3, "purged"), (5, "deleted")] {
        store
            .create(at(3), &request(n, "create", ""), Some(&id(name)), full_spring())
            .unwrap();
        let when = if name == "purged" { at(4) } else { at(40 * DAY) };
        store
            .delete::<SpringBody>(when, &request(n + 1, "delete", ""), &id(name), None)
            .unwrap();
        while store.purge_due(at(31 * DAY), 1).unwrap().more {}
    }
    record(&store, 7, "r1", full_header(), 4);
    store
        .finish_run(at(8), &request(8, "finish", ""), &id("r1"), None)
        .unwrap();
    while store.seal_due(1).unwrap() {}
    record(&store, 9, "r2", header(), 3);
    record(&store, 10, "r3", header(), 3);
    store
        .discard_run(at(8), &request(11, "discard", ""), &id("r3"), None)
        .unwrap();
    (engine, store)
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Vec<u8> {
    let digits: Vec<_> = text.chars().map(|digit| digit.to_digit(16).unwrap() as u8).collect();
    digits.chunks(2).map(|pair| pair[0] << 4 | pair[1]).collect()
}

fn assert_content(store: &Store) {
    assert_sound(store);
    let spring = store.get::<SpringBody>(&id("a7")).unwrap();
    assert_eq!(
        (spring.revision, spring.create_time, spring.update_time, spring.body),
        (2, at(1), at(2), full_spring())
    );
    assert_eq!(
        store.get_revision(&id("a7"), 1).map(|saved| saved.body),
        Ok(SpringBody::default())
    );
    assert_eq!(store.get::<SpringBody>(&id("purged")), Err(StoreError::NotFound));
    assert_eq!(
        store.get::<SpringBody>(&id("deleted")).unwrap().purge_time,
        Some(at(70 * DAY))
    );
    let repeat = store
        .create(at(9), &request(1, "create", ""), Some(&id("a7")), SpringBody::default())
        .unwrap();
    assert_eq!((repeat.revision, repeat.create_time), (1, at(1)));
    let late = store.create(at(9), &request(3, "create", ""), Some(&id("purged")), full_spring());
    assert_eq!(late, Err(StoreError::NotFound));
    let run = store.get::<RunBody>(&id("r1")).unwrap().body;
    assert_eq!(
        (run.state(), run.block_count, run.sample_count),
        (RunState::Finished, 4, 16)
    );
    assert_eq!(
        (run.spring.as_str(), run.header, run.gaps),
        ("a7", Some(full_header()), vec![gap()])
    );
    assert_eq!(
        store.get::<RunBody>(&id("r3")).unwrap().body.state(),
        RunState::Discarded
    );
    for (name, blocks) in [("r1", 4), ("r2", 3), ("r3", 3)] {
        let read: Vec<_> = store.read_blocks(&id(name), 1).unwrap().map(Result::unwrap).collect();
        assert_eq!(read, (1..=blocks).map(sent).collect::<Vec<_>>());
    }
}

#[test]
fn stores_of_every_version_are_read() {
    if let Ok(version) = std::env::var("SPRINGWRIGHT_COMPAT_NEW") {
        write_new(&version);
    }
    for version in VERSIONS {
        let lines = std::fs::read_to_string(file(&format!("{version}.rows"))).unwrap();
        let old: Vec<_> = lines
            .lines()
            .map(|line| line.split_once(' ').unwrap())
            .map(|(k, v)| (unhex(k), unhex(v)))
            .collect();
        let batch = || {
            old.iter().fold(Batch::new(), |batch, (key, value)| {
                batch.put(key.clone(), value.clone())
            })
        };
        let families: Vec<u8> = old.iter().map(|(key, _)| key[0]).collect();
        assert!((1..=0x0C).all(|family| families.contains(&family)), "{families:02x?}");
        let engine = Arc::new(MemoryEngine::new());
        assert_eq!(engine.commit(batch(), Lane::Bulk), Outcome::Committed);
        assert_content(&Store::over(engine).unwrap());
        // On disk too, and when the folder is opened again.
        let dir = tempfile::tempdir().unwrap();
        let engine = on_disk(&dir.path().join("store"));
        assert_eq!(engine.commit(batch(), Lane::Bulk), Outcome::Committed);
        engine.close().unwrap();
        drop(engine);
        for _ in 0..2 {
            let engine = on_disk(&dir.path().join("store"));
            assert_content(&Store::over(engine.clone()).unwrap());
            engine.close().unwrap();
        }
        let text = std::fs::read(file(&format!("{version}.text"))).unwrap();
        let engine = Arc::new(MemoryEngine::new());
        import(&*engine, &mut &text[..]).unwrap();
        assert_content(&Store::over(engine).unwrap());
    }
}

fn write_new(version: &str) {
    let (engine, store) = make();
    let lines: String = rows(&*engine)
        .iter()
        .map(|(key, value)| format!("{} {}\n", hex(key), hex(value)))
        .collect();
    let mut text = Vec::new();
    export(
        &store,
        &Origin {
            store: version.into(),
            sequence: 1,
        },
        &mut text,
    )
    .unwrap();
    for (name, bytes) in [("rows", lines.into_bytes()), ("text", text)] {
        let path = file(&format!("{version}.{name}"));
        assert!(!path.exists(), "{} is there already", path.display());
        std::fs::write(path, bytes).unwrap();
    }
}

#[test]
fn keys_are_written_as_they_were_drawn_and_read_back() {
    let uid = [0xAB; 16];
    let request = [0x11; 16];
    let (ab, r1) = ("ab".repeat(16), "11".repeat(16));
    let spring = || id("a7");
    let drawn = [
        (
            RowKey::Head {
                kind: Kind::Spring,
                id: spring(),
            },
            "01016137".to_owned(),
        ),
        (
            RowKey::Revision {
                kind: Kind::Run,
                id: spring(),
                revision: 258,
                part: 1,
            },
            "0202613700000000000000010200 01".replace(' ', ""),
        ),
        (
            RowKey::Newest {
                kind: Kind::Run,
                create_time: at(1),
                id: spring(),
            },
            "03027ffffffffffffffe6137".to_owned(),
        ),
        (
            RowKey::Purge {
                purge_time: at(-1),
                kind: Kind::Spring,
                id: spring(),
            },
            "047fffffffffffffff016137".to_owned(),
        ),
        (RowKey::Request { request }, format!("05{r1}")),
        (RowKey::Owned { uid, request }, format!("06{ab}{r1}")),
        (
            RowKey::Expiry {
                expire_time: at(2),
                request,
            },
            format!("078000000000000002{r1}"),
        ),
        (RowKey::Attachment { uid }, format!("08{ab}")),
        (
            RowKey::Samples { uid, first_block: 3 },
            format!("09{ab}0000000000000003"),
        ),
        (RowKey::Gap { uid, block: 4 }, format!("0a{ab}0000000000000004")),
        (RowKey::Seal { uid }, format!("0b{ab}")),
        (RowKey::Clock, "0c".to_owned()),
        (RowKey::Importing, "0d".to_owned()),
        (RowKey::Naming, "0e".to_owned()),
    ];
    for (key, bytes) in drawn {
        assert_eq!(hex(&key.bytes()), bytes, "{key:?}");
        assert_eq!(RowKey::parse(&key.bytes()), Some(key));
        assert_eq!(
            RowKey::parse(&[unhex(&bytes), vec![0]].concat()),
            None,
            "one byte more is no key"
        );
    }
    for broken in ["", "00", "0f", "10", "0101", "017f6137", "010141", "0202613700", "05"] {
        assert_eq!(RowKey::parse(&unhex(broken)), None, "{broken}");
    }
}

#[test]
fn an_envelope_is_written_as_it_was_drawn() {
    let value = envelope::seal(&[0x0C], b"spring");
    assert_eq!(hex(&value[..8]), "5377010c06000000");
    // CRC-32C over key, first eight bytes and message, by the definition and not by the code under test.
    let covered = [&[0x0C], &value[..8], b"spring"].concat();
    assert_eq!(value[8..12], bitwise_crc32c(&covered).to_le_bytes());
    assert_eq!(
        bitwise_crc32c(b"123456789"),
        0xE306_9283,
        "the check value of CRC-32C, from memory"
    );
    assert_eq!(envelope::open(&[0x0C], &value), Ok(&b"spring"[..]));
}

fn bitwise_crc32c(bytes: &[u8]) -> u32 {
    let step = |crc: u32, _: u8| if crc & 1 == 1 { crc >> 1 ^ 0x82F6_3B78 } else { crc >> 1 };
    !bytes
        .iter()
        .fold(u32::MAX, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), step))
}

#[test]
fn times_and_ids_sort_as_they_mean() {
    let newest = |nanos| {
        RowKey::Newest {
            kind: Kind::Run,
            create_time: Moment::from_nanos(nanos),
            id: id("r1"),
        }
        .bytes()
    };
    let times = [i64::MAX, 5, 0, -5, i64::MIN];
    assert!(times.map(newest).is_sorted());
    let revision = |name: &str, revision| {
        RowKey::Revision {
            kind: Kind::Spring,
            id: id(name),
            revision,
            part: 0,
        }
        .bytes()
    };
    let keys = [
        revision("a7", 9),
        revision("a7", 10),
        revision("a7-b", 1),
        revision("a70", 2),
        revision("b1", 1),
    ];
    assert!(keys.is_sorted());
}
