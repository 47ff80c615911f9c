//! Damaged bytes are told apart from missing ones, and never end in a panic.

use store::check::{check_value, verify};
use store::engine::{Batch, Engine, Lane, Outcome};
use store::record::{RunBody, SpringBody};
use store::{ListQuery, Store, StoreError};

use super::{at, block, header, id, in_memory, request, rows, spring};

fn filled() -> (std::sync::Arc<store::engine::memory::MemoryEngine>, Store) {
    let (engine, store) = in_memory();
    store
        .create(at(1), &request(1, "create", ""), Some(&id("a7")), spring("left"))
        .unwrap();
    store
        .delete::<SpringBody>(at(2), &request(2, "delete", ""), &id("a7"), None)
        .unwrap();
    let opened = store
        .open_run(at(3), &request(3, "record", ""), Some(&id("r1")), header())
        .unwrap();
    let mut recording = opened.recording.unwrap();
    (1..=3).for_each(|n| recording.append(at(4), &block(n, 5)).unwrap().wait().unwrap());
    store
        .finish_run(at(5), &request(4, "finish", ""), &id("r1"), None)
        .unwrap();
    (engine, store)
}

/// Everything that reads. Damage may show or not, depending on what was damaged; other errors may not.
fn touch(store: &Store) -> Vec<StoreError> {
    let all = ListQuery {
        show_deleted: true,
        limit: 9,
        ..Default::default()
    };
    let blocks = store
        .read_blocks(&id("r1"), 1)
        .and_then(|mut blocks| blocks.try_for_each(|block| block.map(drop)));
    let results = [
        store.get::<SpringBody>(&id("a7")).map(drop),
        store.list::<SpringBody>(&all, |_| true).map(drop),
        store.list::<RunBody>(&all, |_| true).map(drop),
        store
            .create(at(9), &request(1, "create", ""), Some(&id("a7")), spring("left"))
            .map(drop),
        store
            .open_run(at(9), &request(3, "record", ""), Some(&id("r1")), header())
            .map(drop),
        blocks,
        store.purge_due(at(i64::MAX / 2), 1).map(drop),
        store.seal_due(9).map(drop),
    ];
    results.into_iter().filter_map(Result::err).collect()
}

#[test]
fn a_flipped_or_shortened_value_is_damaged_wherever_it_is_read() {
    let (engine, _) = filled();
    let whole = rows(&*engine);
    for (key, value) in &whole {
        assert_eq!(check_value(key, value), Ok(()));
        for place in [0, 2, 3, 5, 9, value.len() / 2, value.len() - 1, value.len()] {
            let mut broken = value.clone();
            match broken.get_mut(place) {
                Some(byte) => *byte ^= 0x10,
                None => broken.truncate(value.len() - 1),
            }
            assert!(check_value(key, &broken).is_err());
            let (engine, _) = in_memory();
            let put = |batch: Batch, (key, value): &(Vec<u8>, Vec<u8>)| batch.put(key.clone(), value.clone());
            let batch = whole.iter().fold(Batch::new(), put).put(key.clone(), broken);
            assert_eq!(engine.commit(batch, Lane::Bulk), Outcome::Committed);
            match Store::over(engine) {
                Ok(store) => {
                    assert!(!verify(&store).unwrap().is_sound(), "key {key:02x?}");
                    let errors = touch(&store);
                    let told = errors
                        .iter()
                        .all(|error| matches!(error, StoreError::Damaged { .. } | StoreError::NotFound));
                    assert!(told, "{errors:?}");
                }
                Err(error) => assert!(matches!(error, StoreError::Damaged { .. })),
            }
        }
    }
}

#[test]
fn a_value_under_a_foreign_key_is_damaged() {
    let (engine, _) = filled();
    let whole = rows(&*engine);
    for (key, _) in &whole {
        for (other, value) in whole.iter().filter(|(other, _)| other != key) {
            assert!(check_value(key, value).is_err(), "{other:02x?} under {key:02x?}");
        }
    }
}

#[test]
fn verify_misses_no_row_that_is_gone() {
    let (engine, _) = filled();
    let whole = rows(&*engine);
    for (gone, _) in &whole {
        let (engine, _) = in_memory();
        let rest = whole.iter().filter(|(key, _)| key != gone);
        let batch = rest.fold(Batch::new(), |batch, (key, value)| {
            batch.put(key.clone(), value.clone())
        });
        assert_eq!(engine.commit(batch, Lane::Bulk), Outcome::Committed);
        let store = Store::over(engine).unwrap();
        let report = verify(&store).unwrap();
        // Nothing else says that there was a clock, or that a run was still to be sealed.
        let alone = [0x0B, 0x0C].contains(&gone[0]);
        assert_eq!(report.is_sound(), alone, "{gone:02x?}: {:?}", report.problems);
        touch(&store);
    }
}
