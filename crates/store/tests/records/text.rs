//! Export and import, and bytes of earlier days.

use std::sync::Arc;

use store::engine::memory::MemoryEngine;
use store::record::{Gap, SpringBody};
use store::text::{Origin, TextError, export, import};
use store::{Block, Store, StoreError};

use super::{DAY, assert_sound, at, block, header, id, in_memory, request, rows, spring};

fn origin() -> Origin {
    Origin {
        store: "0f3c".into(),
        sequence: 812,
    }
}

fn exported(store: &Store) -> Vec<u8> {
    let mut text = Vec::new();
    export(store, &origin(), &mut text).unwrap();
    text
}

fn imported(text: &[u8]) -> Result<(Arc<MemoryEngine>, Store), TextError> {
    let engine = Arc::new(MemoryEngine::new());
    let moved = import(&*engine, &mut &text[..])?;
    assert_eq!(moved.origin, origin());
    let store = Store::over(engine.clone())?;
    Ok((engine, store))
}

/// Springs with history, deleted, brought back and purged halfway; runs open, sealed halfway, sealed, with gaps.
fn filled() -> (Arc<MemoryEngine>, Store) {
    let (engine, store) = in_memory();
    for (n, name) in ["a7", "a7-b", "b1", "zz"].into_iter().enumerate() {
        store
            .create(at(1), &request(n as u64, "create", name), Some(&id(name)), spring(name))
            .unwrap();
    }
    let long = |_: &SpringBody| {
        Ok::<_, StoreError>(SpringBody {
            notes: "n".repeat(100_000),
            ..Default::default()
        })
    };
    store
        .update(at(2), &request(11, "update", ""), &id("b1"), None, long)
        .unwrap();
    store
        .delete::<SpringBody>(at(3), &request(12, "delete", ""), &id("a7"), None)
        .unwrap();
    store
        .delete::<SpringBody>(at(3), &request(13, "delete", ""), &id("a7-b"), None)
        .unwrap();
    store
        .undelete::<SpringBody>(at(4), &request(14, "undelete", ""), &id("a7-b"), None)
        .unwrap();
    for (n, (name, blocks)) in [("r1", 5), ("r2", 1_200), ("r3", 5)].into_iter().enumerate() {
        let key = request(20 + n as u64, "record", name);
        let mut recording = store
            .open_run(at(5), &key, Some(&id(name)), header())
            .unwrap()
            .recording
            .unwrap();
        for number in 1..=blocks {
            let gap = (number == 3).then(|| Gap {
                cause: "spool full".into(),
                ..Default::default()
            });
            let block = Block {
                gap_before: gap,
                ..block(number, 5)
            };
            recording.append(at(6), &block).unwrap().wait().unwrap();
        }
    }
    store
        .finish_run(at(7), &request(31, "finish", ""), &id("r3"), None)
        .unwrap();
    while store.seal_due(1).unwrap() {}
    store
        .finish_run(at(7), &request(32, "finish", ""), &id("r2"), None)
        .unwrap();
    assert!(store.seal_due(1).unwrap());
    (engine, store)
}

#[test]
fn what_was_imported_is_the_same_store_and_gives_the_same_text() {
    let (engine, store) = filled();
    let text = exported(&store);
    let (copy, again) = imported(&text).unwrap();
    assert!(rows(&*copy) == rows(&*engine));
    assert!(exported(&again) == text);
    // Sealing goes on where it was, and request ids are still known.
    while again.seal_due(1).unwrap() {}
    assert_eq!(
        again.read_blocks(&id("r2"), 1).unwrap().map(Result::unwrap).count(),
        1_200
    );
    let repeat = again
        .create(at(9), &request(0, "create", "a7"), Some(&id("a7")), spring("a7"))
        .unwrap();
    assert_eq!(repeat.revision, 1);
    assert_sound(&again);
}

#[test]
fn a_record_that_is_being_purged_is_left_out_and_its_request_ids_end() {
    let (_, store) = filled();
    assert_eq!(store.purge_due(at(40 * DAY), 1).unwrap().purged, 0);
    let (_, copy) = imported(&exported(&store)).unwrap();
    assert_eq!(copy.get::<SpringBody>(&id("a7")), Err(StoreError::NotFound));
    assert_sound(&copy);
    assert_eq!(copy.purge_due(at(70 * DAY), 9).unwrap().forgotten, 2);
}

#[test]
fn a_changed_shortened_or_unfinished_text_is_refused_and_leaves_no_usable_store() {
    let (_, store) = filled();
    let text = exported(&store);
    let lines: Vec<_> = text.split_inclusive(|byte| *byte == b'\n').collect();
    let refused = |text: &[u8]| {
        let engine = Arc::new(MemoryEngine::new());
        assert!(import(&*engine, &mut &text[..]).is_err());
        assert!(matches!(Store::over(engine), Err(StoreError::Damaged { .. })));
    };
    for skip in [0, 1, 5, lines.len() / 2, lines.len() - 1] {
        let left: Vec<_> = lines
            .iter()
            .enumerate()
            .filter(|(n, _)| *n != skip)
            .flat_map(|(_, line)| line.to_vec())
            .collect();
        refused(&left);
    }
    for place in (0..text.len()).step_by(text.len() / 40) {
        let mut changed = text.clone();
        changed[place] ^= 1;
        refused(&changed);
    }
    refused(&text[..text.len() - 1]);
    refused(&[&text[..], b"x"].concat());
    let (engine, _) = filled();
    assert!(matches!(import(&*engine, &mut &text[..]), Err(TextError::NotEmpty)));
}
