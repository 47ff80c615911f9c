//! Random work at the drawer against a plain model of it, with reopening and repeats as two of the acts: shims are as many as
//! were put in and taken out, and what is in use stays.

use std::collections::BTreeMap;
use std::sync::Arc;

use proptest::collection::vec;
use proptest::prelude::*;
use store::engine::Engine;
use store::engine::memory::MemoryEngine;
use store::record::{
    DamperPaths, DamperValve, NamedStack, Quantity, StackLayer, StackValues, TakenShims, damper_valve,
};
use store::{DamperBody, Kind, Saved, ShimLotBody, StackBody, Store, StoreError};

use super::{DAY, assert_sound, at, id, in_memory, on_disk, request};

const LOTS: [&str; 3] = ["lot-a", "lot-b", "lot-c"];
const STACKS: [&str; 3] = ["stack-a", "stack-b", "stack-c"];
const DAMPERS: [&str; 2] = ["damper-a", "damper-b"];
/// Shims of every stack.
const WANTED: u32 = 3;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Act {
    NewLot(usize, u32),
    Adjust(usize, i64),
    DeleteLot(usize),
    UndeleteLot(usize),
    NewStack(usize),
    Build(usize),
    Unbuild(usize),
    DeleteStack(usize),
    UndeleteStack(usize),
    /// A damper that names a stack, at its first revision or as it is.
    NewDamper(usize, usize, bool),
    DeleteDamper(usize),
    UndeleteDamper(usize),
    /// The change that many ago, once more.
    Repeat(usize),
    Reopen,
}

fn acts() -> impl Strategy<Value = Vec<Act>> {
    let (lot, stack, damper) = (0..LOTS.len(), 0..STACKS.len(), 0..DAMPERS.len());
    let act = prop_oneof![
        3 => (lot.clone(), 0..9_u32).prop_map(|(lot, count)| Act::NewLot(lot, count)),
        3 => (lot.clone(), -4..5_i64).prop_map(|(lot, by)| Act::Adjust(lot, by)),
        2 => lot.clone().prop_map(Act::DeleteLot),
        2 => lot.prop_map(Act::UndeleteLot),
        3 => stack.clone().prop_map(Act::NewStack),
        6 => stack.clone().prop_map(Act::Build),
        4 => stack.clone().prop_map(Act::Unbuild),
        2 => stack.clone().prop_map(Act::DeleteStack),
        2 => stack.clone().prop_map(Act::UndeleteStack),
        2 => (damper.clone(), stack, any::<bool>()).prop_map(|(damper, stack, pin)| Act::NewDamper(damper, stack, pin)),
        2 => damper.clone().prop_map(Act::DeleteDamper),
        2 => damper.prop_map(Act::UndeleteDamper),
        2 => (0..6_usize).prop_map(Act::Repeat),
        1 => Just(Act::Reopen),
    ];
    vec(act, 1..90)
}

/// What the model knows of a record: its content and whether it is deleted.
#[derive(Clone, Debug, PartialEq)]
struct Known<T> {
    content: T,
    deleted: bool,
}

#[derive(Default)]
struct Model {
    /// Shims in the drawer and in stacks.
    lots: BTreeMap<usize, Known<(u32, u32)>>,
    /// What is taken, by lot; empty: not built.
    stacks: BTreeMap<usize, Known<BTreeMap<usize, u32>>>,
    /// The stack that is named.
    dampers: BTreeMap<usize, Known<usize>>,
}

fn live<T>(all: &BTreeMap<usize, Known<T>>, which: usize) -> Result<&T, StoreError> {
    let known = all.get(&which).ok_or(StoreError::NotFound)?;
    match known.deleted {
        true => Err(StoreError::Deleted),
        false => Ok(&known.content),
    }
}

fn free<T>(all: &BTreeMap<usize, Known<T>>, which: usize) -> Result<(), StoreError> {
    match all.get(&which) {
        Some(known) if known.deleted => Err(StoreError::NameTakenByDeleted),
        Some(_) => Err(StoreError::NameTaken),
        None => Ok(()),
    }
}

fn new<T>(content: T) -> Known<T> {
    Known {
        content,
        deleted: false,
    }
}

/// What a change is refused with that takes more than there is.
fn short() -> StoreError {
    StoreError::Malformed { what: "short".into() }
}

fn none_named(stack: usize, revision: u64) -> StoreError {
    let named = NamedStack {
        id: STACKS[stack].into(),
        revision,
    };
    StoreError::NoneNamed { stacks: vec![named] }
}

fn in_use(kind: Kind, names: &[&str], by: impl Iterator<Item = usize>) -> Result<(), StoreError> {
    let by: Vec<_> = by.map(|which| (kind, id(names[which]))).collect();
    match by.is_empty() {
        true => Ok(()),
        false => Err(StoreError::InUse { by }),
    }
}

impl Model {
    /// Does the act, or says how it is refused.
    fn act(&mut self, act: Act) -> Result<(), StoreError> {
        match act {
            Act::NewLot(lot, count) => {
                free(&self.lots, lot)?;
                self.lots.insert(lot, new((count, 0)));
            }
            Act::Adjust(lot, by) => {
                let (count, built) = *live(&self.lots, lot)?;
                let count = u32::try_from(i64::from(count) + by).map_err(|_| short())?;
                self.lots.insert(lot, new((count, built)));
            }
            Act::DeleteLot(lot) => {
                live(&self.lots, lot)?;
                let users = self.stacks.iter().filter(|(_, stack)| stack.content.contains_key(&lot));
                in_use(Kind::Stack, &STACKS, users.map(|(stack, _)| *stack))?;
                self.lots.get_mut(&lot).unwrap().deleted = true;
            }
            Act::UndeleteLot(lot) => self.lots.get_mut(&lot).ok_or(StoreError::NotFound)?.deleted = false,
            Act::NewStack(stack) => {
                free(&self.stacks, stack)?;
                self.stacks.insert(stack, new(BTreeMap::new()));
            }
            Act::Build(stack) => {
                if !live(&self.stacks, stack)?.is_empty() {
                    return Err(StoreError::StackBuilt);
                }
                let (mut wanted, mut taken) = (WANTED, BTreeMap::new());
                for (lot, known) in self.lots.iter().filter(|(_, known)| !known.deleted) {
                    let part = wanted.min(known.content.0);
                    if part > 0 {
                        taken.insert(*lot, part);
                        wanted -= part;
                    }
                }
                if wanted > 0 {
                    return Err(short());
                }
                for (lot, part) in &taken {
                    let (count, built) = &mut self.lots.get_mut(lot).unwrap().content;
                    (*count, *built) = (*count - part, *built + part);
                }
                self.stacks.insert(stack, new(taken));
            }
            Act::Unbuild(stack) => {
                let taken = live(&self.stacks, stack)?.clone();
                if taken.is_empty() {
                    return Err(StoreError::StackNotBuilt);
                }
                for (lot, part) in taken {
                    let (count, built) = &mut self.lots.get_mut(&lot).unwrap().content;
                    (*count, *built) = (*count + part, *built - part);
                }
                self.stacks.insert(stack, new(BTreeMap::new()));
            }
            Act::DeleteStack(stack) => {
                if !live(&self.stacks, stack)?.is_empty() {
                    return Err(StoreError::StackBuilt);
                }
                let users = self
                    .dampers
                    .iter()
                    .filter(|(_, known)| known.content == stack && !known.deleted);
                in_use(Kind::Damper, &DAMPERS, users.map(|(damper, _)| *damper))?;
                self.stacks.get_mut(&stack).unwrap().deleted = true;
            }
            Act::UndeleteStack(stack) => self.stacks.get_mut(&stack).ok_or(StoreError::NotFound)?.deleted = false,
            Act::NewDamper(damper, stack, pin) => {
                free(&self.dampers, damper)?;
                live(&self.stacks, stack).map_err(|_| none_named(stack, u64::from(pin)))?;
                self.dampers.insert(damper, new(stack));
            }
            Act::DeleteDamper(damper) => {
                live(&self.dampers, damper)?;
                self.dampers.get_mut(&damper).unwrap().deleted = true;
            }
            Act::UndeleteDamper(damper) => {
                let known = self.dampers.get_mut(&damper).ok_or(StoreError::NotFound)?;
                // What stands in the drawer already needs no second look.
                if known.deleted {
                    live(&self.stacks, known.content).map_err(|_| none_named(known.content, 0))?;
                }
                known.deleted = false;
            }
            Act::Repeat(_) | Act::Reopen => unreachable!("no change of the drawer"),
        }
        Ok(())
    }
}

fn shims(count: i32) -> StackValues {
    let millimeters = |value| Some(Quantity { value, unit: 1 });
    let layer = StackLayer {
        outer_diameter: millimeters(30.0),
        thickness: millimeters(0.15),
        count,
        ..Default::default()
    };
    StackValues {
        layers: vec![layer],
        ..Default::default()
    }
}

fn damper(stack: usize, revision: u64) -> DamperBody {
    let valve = DamperValve {
        source: Some(damper_valve::Source::Stack(NamedStack {
            id: STACKS[stack].into(),
            revision,
        })),
        ..Default::default()
    };
    DamperBody {
        rebound: Some(DamperPaths {
            valve: Some(valve),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// Takes what is wanted out of the lots in their order.
fn allot(stack: &StackBody, lots: &[Saved<ShimLotBody>]) -> Result<Vec<TakenShims>, StoreError> {
    let mut wanted = u32::try_from(stack.values.as_ref().unwrap().layers[0].count).unwrap();
    let mut taken = Vec::new();
    for lot in lots {
        let part = wanted.min(lot.body.count);
        if part > 0 {
            wanted -= part;
            taken.push(TakenShims {
                lot: lot.id.to_string(),
                layer_index: 0,
                count: part,
            });
        }
    }
    if wanted > 0 { Err(short()) } else { Ok(taken) }
}

/// What the store answers, as its revision and checksum alone.
type Answer = Result<(u64, u32), StoreError>;

fn told<B>(saved: Result<Saved<B>, StoreError>) -> Answer {
    saved.map(|saved| (saved.revision, saved.checksum))
}

fn apply(store: &Store, act: Act, number: u64, now: i64) -> Answer {
    let (now, key) = (at(now), request(number, "act", &format!("{act:?}")));
    match act {
        Act::NewLot(lot, count) => {
            let body = ShimLotBody {
                count,
                ..Default::default()
            };
            told(store.create(now, &key, Some(&id(LOTS[lot])), body))
        }
        Act::Adjust(lot, by) => {
            let count = |lot: &ShimLotBody| u32::try_from(i64::from(lot.count) + by).map_err(|_| short());
            told(store.set_shim_count(now, &key, &id(LOTS[lot]), None, count))
        }
        Act::DeleteLot(lot) => told(store.delete::<ShimLotBody>(now, &key, &id(LOTS[lot]), None)),
        Act::UndeleteLot(lot) => told(store.undelete::<ShimLotBody>(now, &key, &id(LOTS[lot]), None)),
        Act::NewStack(stack) => {
            let body = StackBody {
                values: Some(shims(WANTED as i32)),
                ..Default::default()
            };
            told(store.create(now, &key, Some(&id(STACKS[stack])), body))
        }
        Act::Build(stack) => told(store.build_stack(now, &key, &id(STACKS[stack]), None, allot)),
        Act::Unbuild(stack) => told(store.unbuild_stack(now, &key, &id(STACKS[stack]), None)),
        Act::DeleteStack(stack) => told(store.delete::<StackBody>(now, &key, &id(STACKS[stack]), None)),
        Act::UndeleteStack(stack) => told(store.undelete::<StackBody>(now, &key, &id(STACKS[stack]), None)),
        Act::NewDamper(which, stack, pin) => {
            told(store.create(now, &key, Some(&id(DAMPERS[which])), damper(stack, u64::from(pin))))
        }
        Act::DeleteDamper(which) => told(store.delete::<DamperBody>(now, &key, &id(DAMPERS[which]), None)),
        Act::UndeleteDamper(which) => told(store.undelete::<DamperBody>(now, &key, &id(DAMPERS[which]), None)),
        Act::Repeat(_) | Act::Reopen => unreachable!("no change of the drawer"),
    }
}

fn look(store: &Store, model: &Model) {
    for (lot, known) in &model.lots {
        let saved = store.get::<ShimLotBody>(&id(LOTS[*lot])).unwrap();
        let found = (saved.body.count, saved.body.built_count);
        assert_eq!(
            (found, saved.delete_time.is_some()),
            (known.content, known.deleted),
            "{}",
            LOTS[*lot]
        );
    }
    for (stack, known) in &model.stacks {
        let saved = store.get::<StackBody>(&id(STACKS[*stack])).unwrap();
        let taken = saved.body.taken.iter().map(|part| {
            let lot = LOTS.iter().position(|lot| *lot == part.lot).unwrap();
            (lot, part.count)
        });
        let found: BTreeMap<_, _> = taken.collect();
        assert_eq!(
            (&found, saved.delete_time.is_some()),
            (&known.content, known.deleted),
            "{}",
            STACKS[*stack]
        );
        assert_eq!(saved.body.built, !found.is_empty());
    }
}

/// Errors are compared but for the revision of the stack that is named: a damper that comes back may name it either way.
fn same(got: &Answer, wanted: &Result<(), StoreError>) -> bool {
    match (got, wanted) {
        (Err(StoreError::NoneNamed { stacks: got }), Err(StoreError::NoneNamed { stacks: wanted })) => {
            got[0].id == wanted[0].id
        }
        (Ok(_), Ok(())) => true,
        (Err(got), Err(wanted)) => got == wanted,
        _ => false,
    }
}

fn play(acts: &[Act], mut engine: Arc<dyn Engine>, reopen: impl Fn(Arc<dyn Engine>) -> Arc<dyn Engine>) {
    let mut store = Store::over(engine.clone()).unwrap();
    let (mut model, mut answered) = (Model::default(), Vec::new());
    let mut now = DAY;
    for (number, act) in (0..).zip(acts.iter().copied()) {
        now += 1;
        match act {
            Act::Repeat(back) => {
                if let Some((number, act, first)) = answered.iter().rev().nth(back).cloned() {
                    assert_eq!(apply(&store, act, number, now), Ok(first), "{act:?} once more");
                }
            }
            Act::Reopen => {
                drop(store);
                engine = reopen(engine);
                store = Store::over(engine.clone()).unwrap();
            }
            act => {
                let wanted = model.act(act);
                let got = apply(&store, act, number, now);
                assert!(same(&got, &wanted), "{act:?}\n got {got:?}\n not {wanted:?}");
                answered.extend(got.ok().map(|answer| (number, act, answer)));
            }
        }
        look(&store, &model);
    }
    assert_sound(&store);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]
    #[test]
    fn drawer_is_what_the_model_says(acts in acts()) {
        play(&acts, Arc::new(MemoryEngine::new()), |engine| engine);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..Default::default() })]
    #[test]
    fn drawer_on_disk_is_what_the_model_says(acts in acts()) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("store");
        play(&acts, on_disk(&path), |engine| {
            engine.close().unwrap();
            drop(engine);
            on_disk(&path)
        });
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..Default::default() })]
    #[test]
    fn any_bytes_are_a_record_or_a_fault(bytes in vec(any::<u8>(), 0..200)) {
        use store::Body as _;
        // Whatever is decoded is written back and is the same again.
        if let Ok(lot) = ShimLotBody::decode(&bytes) {
            prop_assert_eq!(ShimLotBody::decode(&lot.encode()).map(|again| again.encode()), Ok(lot.encode()));
        }
        if let Ok(stack) = StackBody::decode(&bytes) {
            prop_assert_eq!(StackBody::decode(&stack.encode()).map(|again| again.encode()), Ok(stack.encode()));
        }
        if let Ok(damper) = DamperBody::decode(&bytes) {
            prop_assert_eq!(DamperBody::decode(&damper.encode()).map(|again| again.encode()), Ok(damper.encode()));
        }
    }
}

/// A check that sees shims vanish is worth its name only if it does.
#[test]
fn verify_sees_shims_that_are_nowhere() {
    let (_, store) = in_memory();
    let lot = ShimLotBody {
        count: 3,
        built_count: 2,
        ..Default::default()
    };
    store
        .create(at(DAY), &request(1, "create", ""), Some(&id("lot-a")), lot)
        .unwrap();
    let report = store::check::verify(&store).unwrap();
    assert!(report.problems.iter().any(|what| what.contains("lot-a")), "{report:?}");
}
