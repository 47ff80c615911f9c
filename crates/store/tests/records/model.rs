//! Random changes against a plain model of what records are, with reopening as one of the changes.

use std::collections::BTreeMap;
use std::sync::Arc;

use proptest::collection::vec;
use proptest::prelude::*;
use store::engine::Engine;
use store::engine::memory::MemoryEngine;
use store::record::{Entered, ListOrder, RiderBody, SetupBody};
use store::{ListQuery, RecordId, Saved, SpringBody, Store, StoreError};

use super::{DAY, assert_sound, at, id, on_disk, request, spring};

/// A kind of record the model is played with.
trait Sample: Entered + std::fmt::Debug {
    fn of(label: u8) -> Self;
}

impl Sample for SpringBody {
    fn of(label: u8) -> Self {
        spring(&label.to_string())
    }
}

/// Listed newest first.
impl Sample for SetupBody {
    fn of(label: u8) -> Self {
        SetupBody {
            entered: vec![label; 3],
        }
    }
}

/// Without history.
impl Sample for RiderBody {
    fn of(label: u8) -> Self {
        RiderBody {
            person_name: format!("N. N. {label}"),
            ..Default::default()
        }
    }
}

#[derive(Clone, Debug)]
enum Act {
    Create {
        name: usize,
        label: u8,
    },
    Update {
        name: usize,
        label: u8,
        stale: bool,
    },
    Delete {
        name: usize,
    },
    Undelete {
        name: usize,
    },
    /// Of what keeps no history only.
    Erase {
        name: usize,
    },
    /// The change that many ago, once more.
    Repeat {
        back: usize,
    },
    List {
        deleted: bool,
        limit: usize,
    },
    Wait {
        days: i64,
    },
    Purge {
        batches: usize,
    },
    Reopen,
}

const NAMES: [&str; 4] = ["a7", "a7-b", "b1", "zz"];

fn acts() -> impl Strategy<Value = Vec<Act>> {
    let name = 0..NAMES.len();
    let act = prop_oneof![
        4 => (name.clone(), 0..3_u8).prop_map(|(name, label)| Act::Create { name, label }),
        4 => (name.clone(), 0..3_u8, any::<bool>()).prop_map(|(name, label, stale)| Act::Update { name, label, stale }),
        3 => name.clone().prop_map(|name| Act::Delete { name }),
        2 => name.clone().prop_map(|name| Act::Undelete { name }),
        1 => name.prop_map(|name| Act::Erase { name }),
        3 => (0..8_usize).prop_map(|back| Act::Repeat { back }),
        2 => (any::<bool>(), 1..4_usize).prop_map(|(deleted, limit)| Act::List { deleted, limit }),
        3 => (1..40_i64).prop_map(|days| Act::Wait { days }),
        3 => (1..6_usize).prop_map(|batches| Act::Purge { batches }),
        2 => Just(Act::Reopen),
    ];
    vec(act, 1..80)
}

type Answer<B> = Result<Saved<B>, StoreError>;

/// A record as the model knows it: its revisions, the last of which counts.
struct Model<B> {
    records: BTreeMap<&'static str, Vec<Saved<B>>>,
    /// Changes that were answered well, with the day from which they may be forgotten.
    answered: Vec<(u64, Act, Saved<B>)>,
}

impl<B: Sample> Model<B> {
    fn newest(&self, name: usize) -> Option<&Saved<B>> {
        self.records.get(NAMES[name])?.last()
    }

    /// What the store has to say, but for what only the store can choose: uid and checksum of a new revision.
    fn expect(&self, act: &Act, now: i64) -> Answer<B> {
        match act {
            Act::Create { name, label } => match self.newest(*name) {
                Some(taken) if taken.delete_time.is_some() => Err(StoreError::NameTakenByDeleted),
                Some(_) => Err(StoreError::NameTaken),
                None => Ok(Saved {
                    id: id(NAMES[*name]),
                    uid: String::new(),
                    revision: 1,
                    checksum: 0,
                    create_time: at(now),
                    update_time: at(now),
                    delete_time: None,
                    purge_time: None,
                    body: B::of(*label),
                }),
            },
            Act::Update { name, label, stale } => {
                let live = self.live(*name)?;
                if *stale {
                    return Err(StoreError::StaleEtag { current: live.etag() });
                }
                let body = B::of(*label);
                Ok(if body == live.body {
                    live.clone()
                } else {
                    Saved {
                        body,
                        ..next(live, now)
                    }
                })
            }
            Act::Delete { name } => {
                let purge_time = Some(at(now + 30 * DAY));
                Ok(Saved {
                    delete_time: Some(at(now)),
                    purge_time,
                    ..next(self.live(*name)?, now)
                })
            }
            Act::Undelete { name } => {
                let found = self.newest(*name).ok_or(StoreError::NotFound)?;
                Ok(match found.delete_time {
                    Some(_) => Saved {
                        delete_time: None,
                        purge_time: None,
                        ..next(found, now)
                    },
                    None => found.clone(),
                })
            }
            Act::Erase { .. }
            | Act::Repeat { .. }
            | Act::List { .. }
            | Act::Wait { .. }
            | Act::Purge { .. }
            | Act::Reopen => {
                unreachable!("no change of a record")
            }
        }
    }

    fn live(&self, name: usize) -> Result<&Saved<B>, StoreError> {
        let found = self.newest(name).ok_or(StoreError::NotFound)?;
        if found.delete_time.is_some() {
            Err(StoreError::Deleted)
        } else {
            Ok(found)
        }
    }
}

fn next<B: Clone>(saved: &Saved<B>, now: i64) -> Saved<B> {
    Saved {
        revision: saved.revision + 1,
        update_time: at(now),
        ..saved.clone()
    }
}

fn apply<B: Sample>(store: &Store, act: &Act, number: u64, now: i64) -> Answer<B> {
    let key = |method: &str| request(number, method, &format!("{act:?}"));
    match act {
        Act::Create { name, label } => store.create(at(now), &key("create"), Some(&id(NAMES[*name])), B::of(*label)),
        Act::Update { name, label, stale } => {
            let etag = stale.then_some("0-00000000");
            let change = |_: &B| Ok(B::of(*label));
            store.update(at(now), &key("update"), &id(NAMES[*name]), etag, change)
        }
        Act::Delete { name } => store.delete(at(now), &key("delete"), &id(NAMES[*name]), None),
        Act::Undelete { name } => store.undelete(at(now), &key("undelete"), &id(NAMES[*name]), None),
        Act::Erase { .. }
        | Act::Repeat { .. }
        | Act::List { .. }
        | Act::Wait { .. }
        | Act::Purge { .. }
        | Act::Reopen => {
            unreachable!("no change of a record")
        }
    }
}

fn same<B: Sample>(got: &Answer<B>, wanted: &Answer<B>) -> bool {
    match (got, wanted) {
        (Ok(got), Ok(wanted)) => {
            let uid = if wanted.uid.is_empty() {
                got.uid.clone()
            } else {
                wanted.uid.clone()
            };
            *got == Saved {
                uid,
                checksum: got.checksum,
                ..wanted.clone()
            }
        }
        (got, wanted) => got == wanted,
    }
}

fn list<B: Sample>(store: &Store, deleted: bool, limit: usize) -> Vec<Saved<B>> {
    let mut query = ListQuery {
        show_deleted: deleted,
        after: None,
        limit,
    };
    let mut records = Vec::new();
    loop {
        let page = store.list(&query, |_| true).unwrap();
        assert!(page.records.len() <= limit);
        records.extend(page.records);
        query.after = page.next;
        if query.after.is_none() {
            return records;
        }
    }
}

fn play<B: Sample>(acts: &[Act], engine: Arc<dyn Engine>, reopen: impl Fn(Arc<dyn Engine>) -> Arc<dyn Engine>) {
    let mut engine = engine;
    let mut store = Store::over(engine.clone()).unwrap();
    let mut model = Model::<B> {
        records: BTreeMap::new(),
        answered: Vec::new(),
    };
    let mut now = DAY;
    for (number, act) in (0..).zip(acts) {
        now += 1;
        match act {
            Act::Create { .. } | Act::Update { .. } | Act::Delete { .. } | Act::Undelete { .. } => {
                let wanted = model.expect(act, now);
                let got = apply(&store, act, number, now);
                assert!(same(&got, &wanted), "{act:?}\n got {got:?}\n not {wanted:?}");
                if let Ok(saved) = got {
                    let name = NAMES.into_iter().find(|name| *name == saved.id.as_str()).unwrap();
                    let revisions = model.records.entry(name).or_default();
                    if revisions.last() != Some(&saved) {
                        revisions.push(saved.clone());
                    }
                    model.answered.push((number, act.clone(), saved));
                }
            }
            Act::Erase { name } if !B::KIND.keeps_history() => {
                let name = NAMES[*name];
                let key = request(number, "erase", name);
                let got = store.erase::<B>(at(now), &key, &id(name), None);
                match model.records.remove(name) {
                    Some(_) => {
                        let erased = got.unwrap();
                        // Repeated, it is answered and does nothing, though the name may be in use again.
                        assert_eq!(store.erase::<B>(at(now + 1), &key, &id(name), None), Ok(erased));
                        model.answered.retain(|(_, _, saved)| saved.id.as_str() != name);
                    }
                    None => assert_eq!(got, Err(StoreError::NotFound)),
                }
            }
            Act::Erase { .. } => {}
            Act::Repeat { back } => {
                if let Some((number, act, first)) = model.answered.iter().rev().nth(*back) {
                    let all = model.records.get(first.id.as_str());
                    // Where no history is kept, the answer is what became of the record.
                    let known = match B::KIND.keeps_history() {
                        true => all.and_then(|all| all.iter().find(|saved| *saved == first)),
                        false => all.and_then(|all| all.last()).filter(|saved| saved.uid == first.uid),
                    };
                    let wanted = known.cloned().ok_or(StoreError::NotFound);
                    assert_eq!(apply(&store, act, *number, now), wanted);
                }
            }
            Act::List { deleted, limit } => {
                let newest = model.records.values().filter_map(|revisions| revisions.last());
                let mut wanted: Vec<_> = newest
                    .filter(|saved| *deleted || saved.delete_time.is_none())
                    .cloned()
                    .collect();
                if B::KIND.list_order() == ListOrder::NewestFirst {
                    wanted.sort_by_key(|saved| std::cmp::Reverse(saved.create_time));
                }
                assert_eq!(list::<B>(&store, *deleted, *limit), wanted);
            }
            Act::Wait { days } => now += days * DAY,
            Act::Purge { batches } => {
                // Enough batches to see it through, in steps of the size drawn.
                while store.purge_due(at(now), *batches).unwrap().more {}
                let due = |saved: &Saved<B>| saved.purge_time.is_some_and(|time| time <= at(now));
                model.records.retain(|_, revisions| !revisions.last().is_some_and(due));
                // Of ids that were forgotten a repeat is a new change: no longer this model's business.
                model
                    .answered
                    .retain(|(_, _, saved)| model.records.contains_key(saved.id.as_str()));
            }
            Act::Reopen => {
                drop(store);
                engine = reopen(engine);
                store = Store::over(engine.clone()).unwrap();
            }
        }
        for name in NAMES {
            let revisions = model.records.get(name).map_or(&[][..], Vec::as_slice);
            let wanted = revisions.last().cloned().ok_or(StoreError::NotFound);
            assert_eq!(store.get::<B>(&id(name)), wanted);
        }
    }
    for (name, revisions) in &model.records {
        let kept = if B::KIND.keeps_history() { usize::MAX } else { 1 };
        let wanted: Vec<_> = revisions.iter().rev().take(kept).cloned().collect();
        let id = RecordId::parse(name).unwrap();
        assert_eq!(store.revisions::<B>(&id, None, 1_000).unwrap().revisions, wanted);
    }
    assert_sound(&store);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]
    #[test]
    fn records_are_what_the_model_says(acts in acts()) {
        play::<SpringBody>(&acts, Arc::new(MemoryEngine::new()), |engine| engine);
    }

    #[test]
    fn records_listed_newest_first_are_what_the_model_says(acts in acts()) {
        play::<SetupBody>(&acts, Arc::new(MemoryEngine::new()), |engine| engine);
    }

    #[test]
    fn records_without_history_are_what_the_model_says(acts in acts()) {
        play::<RiderBody>(&acts, Arc::new(MemoryEngine::new()), |engine| engine);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..Default::default() })]
    #[test]
    fn records_on_disk_are_what_the_model_says(acts in acts()) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("store");
        let reopen = |engine: Arc<dyn Engine>| {
            engine.close().unwrap();
            drop(engine);
            on_disk(&path)
        };
        play::<SpringBody>(&acts, on_disk(&path), reopen);
        let path = dir.path().join("riders");
        play::<RiderBody>(&acts, on_disk(&path), |engine| {
            engine.close().unwrap();
            drop(engine);
            on_disk(&path)
        });
    }
}
