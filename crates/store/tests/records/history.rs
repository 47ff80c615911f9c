//! Revisions, etags, request ids, purges.

use store::engine::memory::Doubt;
use store::{ListQuery, SpringBody, StoreError};

use super::{DAY, assert_sound, at, id, in_memory, request, rows, spring};

#[test]
fn a_repeated_request_gets_the_first_answer_and_a_reused_id_is_refused() {
    let (_, store) = in_memory();
    let create = request(1, "create", "a7");
    let first = store.create(at(1), &create, Some(&id("a7")), spring("left")).unwrap();
    let renamed = |body: &SpringBody| {
        Ok::<_, StoreError>(SpringBody {
            label: "right".into(),
            ..body.clone()
        })
    };
    let second = store
        .update(at(2), &request(2, "update", "right"), &id("a7"), None, renamed)
        .unwrap();
    assert_eq!((second.revision, second.body.label.as_str()), (2, "right"));
    assert_eq!(
        store.create(at(3), &create, Some(&id("a7")), spring("left")),
        Ok(first.clone())
    );
    assert_eq!(store.get_revision(&id("a7"), 1), Ok(first));
    let reused = store.create(at(4), &request(1, "create", "a8"), Some(&id("a8")), spring("left"));
    assert_eq!(reused, Err(StoreError::RequestIdReused));
    assert_eq!(store.get::<SpringBody>(&id("a8")), Err(StoreError::NotFound));
    // The bytes of a delete and an undelete can be the same; the method is not.
    store
        .delete::<SpringBody>(at(5), &request(3, "delete", "a7"), &id("a7"), None)
        .unwrap();
    let other = store.undelete::<SpringBody>(at(6), &request(3, "undelete", "a7"), &id("a7"), None);
    assert_eq!(other, Err(StoreError::RequestIdReused));
    assert_sound(&store);
}

#[test]
fn an_update_without_a_difference_makes_no_revision_and_is_remembered() {
    let (_, store) = in_memory();
    let made = store
        .create(at(1), &request(1, "create", ""), Some(&id("a7")), spring("left"))
        .unwrap();
    let same = |body: &SpringBody| Ok::<_, StoreError>(body.clone());
    let key = request(2, "update", "");
    assert_eq!(
        store.update(at(2), &key, &id("a7"), Some(&made.etag()), same),
        Ok(made.clone())
    );
    let changed = |_: &SpringBody| Ok::<_, StoreError>(spring("right"));
    let next = store
        .update(at(3), &request(3, "update", ""), &id("a7"), Some(&made.etag()), changed)
        .unwrap();
    let stale = store.update(at(4), &request(4, "update", ""), &id("a7"), Some(&made.etag()), changed);
    assert_eq!(stale, Err(StoreError::StaleEtag { current: next.etag() }));
    assert_eq!(store.update(at(5), &key, &id("a7"), None, changed), Ok(made));
    assert_sound(&store);
}

#[test]
fn a_change_whose_answer_was_lost_happens_once_when_repeated() {
    for doubt in [Doubt::Kept, Doubt::Lost] {
        let (engine, store) = in_memory();
        let key = request(1, "create", "");
        engine.doubt_next(doubt);
        let lost = store.create(at(1), &key, None, spring("left"));
        assert_eq!(lost, Err(StoreError::InDoubt));
        let made = store.create(at(2), &key, None, spring("left")).unwrap();
        let all = store
            .list::<SpringBody>(
                &ListQuery {
                    limit: 9,
                    ..Default::default()
                },
                |_| true,
            )
            .unwrap();
        assert_eq!((all.records, all.next), (vec![made], None));
    }
}

#[test]
fn a_purged_name_is_free_and_its_request_ids_outlive_it_by_thirty_days() {
    let (engine, store) = in_memory();
    let create = request(1, "create", "");
    let first = store.create(at(1), &create, Some(&id("a7")), spring("left")).unwrap();
    let gone = store
        .delete::<SpringBody>(at(DAY), &request(2, "delete", ""), &id("a7"), None)
        .unwrap();
    assert_eq!(gone.purge_time, Some(at(31 * DAY)));
    let taken = store.create(at(DAY), &request(3, "create", ""), Some(&id("a7")), spring("new"));
    assert_eq!(taken, Err(StoreError::NameTakenByDeleted));
    assert_eq!(store.purge_due(at(31 * DAY - 1), 99).unwrap().purged, 0);
    assert_eq!(store.purge_due(at(31 * DAY), 99).unwrap().purged, 1);
    assert_sound(&store);
    let again = store.create(at(31 * DAY), &create, Some(&id("a7")), spring("left"));
    assert_eq!(
        again,
        Err(StoreError::NotFound),
        "a late repeat must not make the record again"
    );
    let new = store
        .create(at(31 * DAY), &request(4, "create", ""), Some(&id("a7")), spring("new"))
        .unwrap();
    assert_ne!(new.uid, first.uid);
    assert_eq!(store.purge_due(at(61 * DAY - 1), 99).unwrap().forgotten, 0);
    assert_eq!(store.purge_due(at(61 * DAY), 99).unwrap().forgotten, 2);
    // Head, revision, request, its index entry and the clock.
    assert_eq!(rows(&*engine).len(), 5);
    assert_sound(&store);
}

#[test]
fn a_wall_clock_set_back_brings_no_purge_forward() {
    let (engine, store) = in_memory();
    store
        .create(
            at(100 * DAY),
            &request(1, "create", ""),
            Some(&id("a7")),
            spring("left"),
        )
        .unwrap();
    let reopened = store::Store::over(engine).unwrap();
    let gone = reopened
        .delete::<SpringBody>(at(2 * DAY), &request(2, "delete", ""), &id("a7"), None)
        .unwrap();
    assert_eq!(gone.purge_time, Some(at(130 * DAY)));
    assert_eq!(reopened.purge_due(at(100 * DAY), 9).unwrap().purged, 0);
}

#[test]
fn a_record_larger_than_a_value_comes_back_at_every_revision() {
    let (_, store) = in_memory();
    let long = |letter: &str, count: usize| SpringBody {
        notes: letter.repeat(count),
        ..Default::default()
    };
    store
        .create(at(1), &request(1, "create", ""), Some(&id("a7")), long("x", 900_000))
        .unwrap();
    let change = |_: &SpringBody| Ok::<_, StoreError>(long("y", 70_000));
    store
        .update(at(2), &request(2, "update", ""), &id("a7"), None, change)
        .unwrap();
    assert_eq!(
        store.get_revision(&id("a7"), 1).map(|saved| saved.body),
        Ok(long("x", 900_000))
    );
    assert_eq!(store.get(&id("a7")).map(|saved| saved.body), Ok(long("y", 70_000)));
    let too_large = store.create(at(3), &request(3, "create", ""), None, long("x", 1 << 20));
    assert!(matches!(too_large, Err(StoreError::TooLarge { .. })));
    let page = store.revisions::<SpringBody>(&id("a7"), None, 1).unwrap();
    assert_eq!((page.revisions[0].revision, page.next), (2, Some(2)));
    let page = store.revisions::<SpringBody>(&id("a7"), page.next, 1).unwrap();
    assert_eq!((page.revisions[0].revision, page.next), (1, None));
    assert_sound(&store);
}

#[test]
fn writers_of_one_record_at_once_lose_no_change() {
    let (_, store) = in_memory();
    store
        .create(at(1), &request(0, "create", ""), Some(&id("a7")), spring(""))
        .unwrap();
    std::thread::scope(|scope| {
        for writer in 1..=4 {
            let store = &store;
            scope.spawn(move || {
                for turn in 0..25 {
                    let append = |body: &SpringBody| {
                        Ok::<_, StoreError>(SpringBody {
                            notes: format!("{}.", body.notes),
                            ..body.clone()
                        })
                    };
                    let key = request(writer * 100 + turn, "update", "");
                    // Losing the race again and again is an answer of its own; the same request is then safe to repeat.
                    while let Err(error) = store.update(at(2), &key, &id("a7"), None, append) {
                        assert_eq!(error, StoreError::Conflict);
                    }
                }
            });
        }
    });
    let last = store.get::<SpringBody>(&id("a7")).unwrap();
    assert_eq!((last.revision, last.body.notes.len()), (101, 100));
    assert_sound(&store);
}
