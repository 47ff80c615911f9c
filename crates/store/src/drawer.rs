//! The drawer: shims are counted, taken out for stacks and put back; what is in use stays.
//!
//! A stack is built, and its shims taken out of their lots, in one commit, on condition that all of them are as they were
//! read: whatever fails or comes in between, shims in the drawer and in built stacks are as many as before.

use crate::disk::{HeadRow, IndexRow, TakenShims};
use crate::engine::Order;
use crate::error::StoreError;
use crate::key::{self, RowKey};
use crate::moment::Moment;
use crate::record::{Body, DamperBody, Kind, NamedStack, RecordId, Saved, ShimLotBody, StackBody};
use crate::request::RequestKey;
use crate::rows::{Change, Snapshot, Stored};
use crate::store::{Plan, Store, plan_revision, read_current, read_headed, read_live};

/// Heads read at a time.
const STRIDE: usize = 50;
/// Users of a record that are named.
const NAMED: usize = 8;

impl Store {
    /// Sets how many shims of a lot are in the drawer. `count` gets the lot as it is; it is called again when somebody else was
    /// faster.
    ///
    /// # Errors
    /// Whatever `count` refuses; those of [`Store::update`].
    pub fn set_shim_count<E: From<StoreError>>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
        count: impl Fn(&ShimLotBody) -> Result<u32, E>,
    ) -> Result<Saved<ShimLotBody>, E> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_live::<ShimLotBody>(view, id, etag)?;
            let count = count(&current.body)?;
            if count == current.body.count {
                return Ok(Plan::Keep(head.seen, current));
            }
            let mut next = Saved {
                update_time: now,
                body: ShimLotBody { count, ..current.body },
                ..current
            };
            Ok(Plan::Write(plan_revision(view, &head, &mut next, Some(request))?, next))
        })
    }

    /// Builds a stack. `allot` gets the stack and every lot that is not deleted, by id, and says which shims are taken; it is
    /// called again when somebody else was faster.
    ///
    /// # Errors
    /// Whatever `allot` refuses; [`StoreError::StackBuilt`]; [`StoreError::Malformed`] where it takes what is not there;
    /// those of [`Store::update`].
    pub fn build_stack<E: From<StoreError>>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
        allot: impl Fn(&StackBody, &[Saved<ShimLotBody>]) -> Result<Vec<TakenShims>, E>,
    ) -> Result<Saved<StackBody>, E> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_live::<StackBody>(view, id, etag)?;
            if current.body.built {
                return Err(StoreError::StackBuilt.into());
            }
            let taken = allot(&current.body, &live(view, |_| true)?)?;
            let mut next = Saved {
                update_time: now,
                body: StackBody {
                    built: true,
                    taken,
                    ..current.body
                },
                ..current
            };
            let mut change = plan_revision(view, &head, &mut next, Some(request))?;
            move_shims(view, &next.body.taken, Way::Out, (now, request), &mut change)?;
            Ok(Plan::Write(change, next))
        })
    }

    /// Takes a built stack apart; its shims go back to their lots.
    ///
    /// # Errors
    /// [`StoreError::StackNotBuilt`]; those of [`Store::update`].
    pub fn unbuild_stack(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
    ) -> Result<Saved<StackBody>, StoreError> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_live::<StackBody>(view, id, etag)?;
            if !current.body.built {
                return Err(StoreError::StackNotBuilt);
            }
            let taken = current.body.taken.clone();
            let mut next = Saved {
                update_time: now,
                body: StackBody {
                    built: false,
                    taken: Vec::new(),
                    ..current.body
                },
                ..current
            };
            let mut change = plan_revision(view, &head, &mut next, Some(request))?;
            move_shims(view, &taken, Way::Back, (now, request), &mut change)?;
            Ok(Plan::Write(change, next))
        })
    }
}

/// Which way shims go.
#[derive(Clone, Copy)]
enum Way {
    Out,
    Back,
}

/// The next revision of every lot that shims are taken of.
fn move_shims(
    view: &Snapshot<'_>,
    taken: &[TakenShims],
    way: Way,
    (now, request): (Moment, &RequestKey),
    change: &mut Change,
) -> Result<(), StoreError> {
    let mut sums = std::collections::BTreeMap::<&str, u32>::new();
    for part in taken {
        let sum = sums.entry(&part.lot).or_default();
        *sum = sum.saturating_add(part.count);
    }
    for (lot, count) in sums {
        let id = RecordId::parse(lot).ok_or_else(|| StoreError::malformed(format!("\"{lot}\" is no lot")))?;
        let (head, current) = read_current::<ShimLotBody>(view, &id)?;
        let body = &current.body;
        let moved = match way {
            Way::Out => body.count.checked_sub(count).zip(body.built_count.checked_add(count)),
            Way::Back => body.count.checked_add(count).zip(body.built_count.checked_sub(count)),
        };
        let Some((in_drawer, built_count)) = moved else {
            return Err(StoreError::malformed(format!(
                "{id}: {count} shims cannot be moved; {} in the drawer, {} in stacks",
                body.count, body.built_count
            )));
        };
        let mut next = Saved {
            update_time: now,
            body: ShimLotBody {
                count: in_drawer,
                built_count,
                ..current.body
            },
            ..current
        };
        change.absorb(plan_revision(view, &head, &mut next, Some(request))?);
    }
    Ok(())
}

/// Every record of a kind that is not deleted and that `keep` takes, by id.
fn live<B: Body>(view: &Snapshot<'_>, keep: impl Fn(&B) -> bool) -> Result<Vec<Saved<B>>, StoreError> {
    let mut found = Vec::new();
    let mut range = key::family(0x01, &[B::KIND.byte()]);
    loop {
        let heads = view.rows::<HeadRow>(&range, Order::Ascending, STRIDE)?;
        let Some((last, _)) = heads.last() else {
            return Ok(found);
        };
        range = range.after(&last.bytes());
        for (key, Stored { row, .. }) in heads {
            let RowKey::Head { id, .. } = key else { continue };
            if row.delete_time.is_none() {
                found.extend(Some(read_headed(view, &id, &row)?).filter(|saved| keep(&saved.body)));
            }
        }
    }
}

/// Whether a record may be deleted, and under which conditions.
pub(crate) fn may_go(view: &Snapshot<'_>, kind: Kind, id: &RecordId, change: &mut Change) -> Result<(), StoreError> {
    match kind {
        Kind::ShimLot => {
            let built_of = |stack: &StackBody| stack.taken.iter().any(|part| part.lot == id.as_str());
            in_use(Kind::Stack, live(view, built_of)?)
        }
        Kind::Stack => {
            if read_current::<StackBody>(view, id)?.1.body.built {
                return Err(StoreError::StackBuilt);
            }
            // Dampers that come to name it meanwhile write this row, too.
            match view.get::<IndexRow>(&RowKey::Naming)? {
                Some(seen) => change.require_unchanged(&RowKey::Naming, seen.seen),
                None => change.require_absent(&RowKey::Naming),
            }
            let names_it = |damper: &DamperBody| damper.stacks_named().iter().any(|named| named.id == id.as_str());
            in_use(Kind::Damper, live(view, names_it)?)
        }
        _ => Ok(()),
    }
}

fn in_use<B>(kind: Kind, users: Vec<Saved<B>>) -> Result<(), StoreError> {
    if users.is_empty() {
        return Ok(());
    }
    let by = users.into_iter().map(|saved| (kind, saved.id)).take(NAMED).collect();
    Err(StoreError::InUse { by })
}

/// Stacks that a record names are in the drawer, and still are when it is written.
pub(crate) fn require_named(view: &Snapshot<'_>, named: &[&NamedStack], change: &mut Change) -> Result<(), StoreError> {
    let mut none = Vec::new();
    for stack in named {
        let key = RecordId::parse(&stack.id).map(|id| RowKey::Head { kind: Kind::Stack, id });
        let head = match &key {
            Some(key) => view.get::<HeadRow>(key)?,
            None => None,
        };
        let there = |head: &HeadRow| head.delete_time.is_none() && stack.revision <= head.revision;
        match key.zip(head.filter(|head| there(&head.row))) {
            Some((key, head)) => change.require_unchanged(&key, head.seen),
            None => none.push((*stack).clone()),
        }
    }
    if !none.is_empty() {
        return Err(StoreError::NoneNamed { stacks: none });
    }
    if !named.is_empty() {
        let row = IndexRow {
            uid: uuid::Uuid::new_v4().into_bytes().to_vec(),
        };
        change.put(&RowKey::Naming, &row);
    }
    Ok(())
}
