//! What is known of a person goes at once, from the bytes too once the store is compacted.

use std::path::{Path, PathBuf};

use store::record::{MachineBody, RiderBody};
use store::text::{Origin, export, import};
use store::{Kind, KnownCopy, Store, StoreError, embedded};

use super::{assert_sound, at, id, in_memory, request};

const NAME: &str = "Wilhelmine Unverwechselbar";
const CONTACT: &str = "+00 555 7311 unverwechselbar";

fn rider(name: &str) -> RiderBody {
    RiderBody {
        person_name: name.into(),
        contact: CONTACT.into(),
        ..Default::default()
    }
}

/// Files below a folder that hold the text.
fn holding(dir: &Path, text: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(holding(&path, text));
        } else {
            let bytes = std::fs::read(&path).unwrap();
            if bytes.windows(text.len()).any(|window| window == text.as_bytes()) {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn after_erasing_and_compacting_no_file_of_the_store_holds_name_or_contact() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("store");
    let engine = embedded::create(&dir).unwrap();
    let store = Store::over(engine.clone()).unwrap();
    let made = store
        .create(at(1), &request(1, "create", NAME), None, rider(NAME))
        .unwrap();
    let machine = MachineBody {
        entered: made.id.as_str().into(),
    };
    store
        .create(at(2), &request(2, "create", "m1"), Some(&id("m1")), machine.clone())
        .unwrap();
    // An earlier content of an unrevised record must go as well.
    let change = |_: &RiderBody| Ok::<_, StoreError>(rider("U. Unverwechselbar"));
    store
        .update(at(3), &request(3, "update", "U."), &made.id, None, change)
        .unwrap();
    assert!(!holding(&dir, NAME).is_empty(), "else the search below proves nothing");
    store
        .erase::<RiderBody>(at(4), &request(4, "erase", ""), &made.id, None)
        .unwrap();
    assert_eq!(store.get::<RiderBody>(&made.id), Err(StoreError::NotFound));
    assert_sound(&store);
    drop(store);
    engine.close().unwrap();
    drop(engine);
    embedded::rewrite(&dir).unwrap();
    for text in [NAME, "Unverwechselbar", CONTACT] {
        assert_eq!(holding(&dir, text), Vec::<PathBuf>::new(), "{text}");
    }
    let engine = embedded::open_existing(&dir).unwrap();
    let store = Store::over(engine.clone()).unwrap();
    assert_eq!(store.get::<MachineBody>(&id("m1")).unwrap().body, machine);
    assert_eq!(
        store
            .erase::<RiderBody>(at(9), &request(4, "erase", ""), &made.id, None)
            .unwrap()
            .erase_time,
        at(4)
    );
    assert_sound(&store);
    drop(store);
    engine.close().unwrap();
}

#[test]
fn many_requests_of_a_rider_are_forgotten_in_steps_and_the_id_can_be_asked_again() {
    let (_, store) = in_memory();
    let made = store
        .create(at(1), &request(1, "create", ""), None, rider(NAME))
        .unwrap();
    for number in 2..1_000 {
        let change = |before: &RiderBody| {
            Ok::<_, StoreError>(RiderBody {
                notes: number.to_string(),
                ..before.clone()
            })
        };
        store
            .update(
                at(2),
                &request(number, "update", &number.to_string()),
                &made.id,
                None,
                change,
            )
            .unwrap();
    }
    let stale = store.erase::<RiderBody>(at(3), &request(2_000, "erase", ""), &made.id, Some("1-00000000"));
    assert!(matches!(stale, Err(StoreError::StaleEtag { .. })), "{stale:?}");
    // The id of a change cannot be the id of the erasing.
    assert_eq!(
        store.erase::<RiderBody>(at(3), &request(5, "erase", ""), &made.id, None),
        Err(StoreError::RequestIdReused)
    );
    store
        .erase::<RiderBody>(at(3), &request(2_000, "erase", ""), &made.id, None)
        .unwrap();
    let report = store::check::verify(&store).unwrap();
    assert!(report.is_sound(), "{:#?}", report.problems);
    assert_eq!((report.records, report.requests), (0, 1));
}

#[test]
fn riders_and_known_copies_survive_export_and_import() {
    let (_, store) = in_memory();
    let made = store
        .create(at(1), &request(1, "create", ""), None, rider("A"))
        .unwrap();
    let change = |_: &RiderBody| Ok::<_, StoreError>(rider("B"));
    let second = store
        .update(at(2), &request(2, "update", ""), &made.id, None, change)
        .unwrap();
    assert_eq!(second.revision, 2);
    store.note_copy(at(3), "/backup/shop.txt").unwrap();
    let mut text = Vec::new();
    export(
        &store,
        &Origin {
            store: "0f3c".into(),
            sequence: 1,
        },
        &mut text,
    )
    .unwrap();
    let engine = std::sync::Arc::new(store::engine::memory::MemoryEngine::new());
    import(&*engine, &mut &text[..]).unwrap();
    let again = Store::over(engine).unwrap();
    assert_eq!(again.get::<RiderBody>(&made.id).unwrap(), second);
    // The first content is nowhere: a repeat of the first change is answered with what became of it.
    assert_eq!(
        again
            .create(at(4), &request(1, "create", ""), None, rider("A"))
            .unwrap(),
        second
    );
    let copy = KnownCopy {
        place: "/backup/shop.txt".into(),
        copy_time: at(3),
    };
    assert_eq!(again.known_copies().unwrap(), [copy]);
    assert_sound(&again);
    assert!(!Kind::Rider.keeps_history());
}
