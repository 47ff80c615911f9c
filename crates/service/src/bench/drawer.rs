//! The drawer: lots of shims, stacks built of them, dampers they work in.

mod allot;
mod kept;
mod map;
mod records;
mod sizes;

use store::record::RecordId;
use store::{ShimLotBody, StackBody};
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::valving::drawer as checks;
use wire::violation::{Scope, Violations};

use super::standard::Recorded;
use super::standard::plain::Refused;
use super::{Bench, checked, given, refusal, request_key};
use crate::error::{ServiceError, ShortShims};

impl Bench {
    /// Changes how many shims of a lot are in the drawer.
    pub fn adjust_shim_count(&self, request: v1::AdjustShimCountRequest) -> Result<v1::ShimLot, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("AdjustShimCount", &request.request_id, &request, &mut violations);
        let id = Collection::ShimLots.id(&request.name, violations.at("name"));
        checks::count_change(request.change, violations.at("change"));
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let count = |lot: &ShimLotBody| adjusted(lot, &request).map_err(Refused::Service);
        let saved = self
            .store
            .set_shim_count(self.now(), &key, &id, given(&request.etag), count)
            .map_err(|refused| refused.told(&request.name, &request.request_id));
        Recorded::of_saved(&saved?).map_err(refusal(&request.name, ""))
    }

    /// Builds a stack of the drawer's shims.
    pub fn build_stack(&self, request: v1::BuildStackRequest) -> Result<v1::Stack, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("BuildStack", &request.request_id, &request, &mut violations);
        let id = Collection::Stacks.id(&request.name, violations.at("name"));
        checks::lots(&request.lots, violations.at("lots"));
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let allot = |stack: &StackBody, lots: &[store::Saved<ShimLotBody>]| {
            allot::allot(stack, lots, &request.lots).map_err(Refused::Service)
        };
        let saved = self
            .store
            .build_stack(self.now(), &key, &id, given(&request.etag), allot)
            .map_err(|refused| refused.told(&request.name, &request.request_id));
        Recorded::of_saved(&saved?).map_err(refusal(&request.name, ""))
    }

    /// Takes a built stack apart.
    pub fn unbuild_stack(&self, request: v1::UnbuildStackRequest) -> Result<v1::Stack, ServiceError> {
        let (key, id) = super::named_change(
            "UnbuildStack",
            Collection::Stacks,
            (&request.name, &request.request_id),
            &request,
        )?;
        let saved = self.store.unbuild_stack(self.now(), &key, &id, given(&request.etag));
        self.changed(saved, refusal(&request.name, &request.request_id))
    }

    /// A stack of the drawer, for a calculation; none where the request has faults already, which are told first.
    pub(super) fn stack_named(
        &self,
        name: &str,
        at: Scope<'_>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<v1::Stack>, ServiceError> {
        self.named(name, at, used)
    }

    /// A damper of the drawer, likewise.
    pub(super) fn damper_named(
        &self,
        name: &str,
        at: Scope<'_>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<v1::Damper>, ServiceError> {
        self.named(name, at, used)
    }

    fn named<R: Recorded>(
        &self,
        name: &str,
        mut at: Scope<'_>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<R>, ServiceError> {
        let read = R::COLLECTION.revisable(name, at.here());
        match read.filter(|_| at.count() == 0) {
            Some(read) => self.read_standing(&read, name, used).map(Some),
            None => Ok(None),
        }
    }
}

/// The count of a lot once it is changed.
fn adjusted(lot: &ShimLotBody, request: &v1::AdjustShimCountRequest) -> Result<u32, ServiceError> {
    let count = i64::from(lot.count) + i64::from(request.change);
    if count < 0 {
        return Err(ServiceError::NotEnoughShims {
            short: vec![ShortShims {
                what: request.name.clone(),
                lots: request.name.clone(),
                have: lot.count,
                need: request.change.unsigned_abs(),
            }],
        });
    }
    let most = checks::MOST_IN_LOT;
    match u32::try_from(count).ok().filter(|_| count <= i64::from(most)) {
        Some(count) => Ok(count),
        None => {
            let mut violations = Violations::new();
            violations.push(
                "change",
                Reason::OutOfRange,
                format_args!("{} would have {count} shims; allowed 0 to {most}", request.name),
            );
            violations.finish()?;
            Err(ServiceError::internal("a count was refused without a violation"))
        }
    }
}
