//! The standard operations on lots, stacks and dampers.

use store::{Body as _, DamperBody, ShimLotBody, StackBody};
use wire::names::Collection;
use wire::v1;
use wire::violation::Violations;

use super::sizes::Sought;
use crate::bench::standard::{Paging, change_of, standard_methods};
use crate::bench::{Bench, holds};
use crate::error::ServiceError;

standard_methods! {
    "lot of shims", ShimLot:
    get_shim_lot(GetShimLotRequest),
    delete_shim_lot(DeleteShimLotRequest),
    undelete_shim_lot(UndeleteShimLotRequest),
    list_shim_lot_revisions(ListShimLotRevisionsRequest) -> ListShimLotRevisionsResponse
}

standard_methods! {
    "stack", Stack:
    get_stack(GetStackRequest),
    delete_stack(DeleteStackRequest),
    undelete_stack(UndeleteStackRequest),
    list_stack_revisions(ListStackRevisionsRequest) -> ListStackRevisionsResponse
}

standard_methods! {
    "damper", Damper:
    get_damper(GetDamperRequest),
    delete_damper(DeleteDamperRequest),
    undelete_damper(UndeleteDamperRequest),
    list_damper_revisions(ListDamperRevisionsRequest) -> ListDamperRevisionsResponse
}

impl Bench {
    /// Puts a lot of shims into the drawer.
    pub fn create_shim_lot(&self, request: v1::CreateShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        let change = change_of!(CreateShimLotRequest, request);
        self.create_plain(&change, &request.shim_lot_id, request.shim_lot.as_ref())
    }

    /// Lots, by name.
    pub fn list_shim_lots(&self, request: v1::ListShimLotsRequest) -> Result<v1::ListShimLotsResponse, ServiceError> {
        let mut violations = Violations::new();
        let sizes = Sought::of(&request, &mut violations);
        let wanted = request.label_contains.to_lowercase();
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter: format!("{}|{wanted}", sizes.text()),
        };
        let keep = |lot: &ShimLotBody| holds(&lot.label, &wanted) && sizes.holds(lot);
        let (shim_lots, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListShimLotsResponse {
            shim_lots,
            next_page_token,
        })
    }

    /// Changes a lot of shims.
    pub fn update_shim_lot(&self, request: v1::UpdateShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        let change = change_of!(UpdateShimLotRequest, request);
        self.update_plain(&change, request.shim_lot.as_ref(), request.update_mask.as_ref())
    }

    /// Puts a stack into the drawer.
    pub fn create_stack(&self, request: v1::CreateStackRequest) -> Result<v1::Stack, ServiceError> {
        let change = change_of!(CreateStackRequest, request);
        self.create_plain(&change, &request.stack_id, request.stack.as_ref())
    }

    /// Stacks, by name.
    pub fn list_stacks(&self, request: v1::ListStacksRequest) -> Result<v1::ListStacksResponse, ServiceError> {
        let wanted = request.label_contains.to_lowercase();
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter: format!("{:?}|{wanted}", request.built),
        };
        let keep = |stack: &StackBody| {
            let label = stack.values.as_ref().map_or("", |values| &values.label);
            holds(label, &wanted) && request.built.is_none_or(|built| built == stack.built)
        };
        let (stacks, next_page_token) = self.list_of(&paging, Violations::new(), keep)?;
        Ok(v1::ListStacksResponse {
            stacks,
            next_page_token,
        })
    }

    /// Changes a stack.
    pub fn update_stack(&self, request: v1::UpdateStackRequest) -> Result<v1::Stack, ServiceError> {
        let change = change_of!(UpdateStackRequest, request);
        self.update_plain(&change, request.stack.as_ref(), request.update_mask.as_ref())
    }

    /// Puts a damper into the drawer.
    pub fn create_damper(&self, request: v1::CreateDamperRequest) -> Result<v1::Damper, ServiceError> {
        let change = change_of!(CreateDamperRequest, request);
        self.create_plain(&change, &request.damper_id, request.damper.as_ref())
    }

    /// Dampers, by name.
    pub fn list_dampers(&self, request: v1::ListDampersRequest) -> Result<v1::ListDampersResponse, ServiceError> {
        let mut violations = Violations::new();
        let stack = match request.stack.as_str() {
            "" => None,
            name => Collection::Stacks.id(name, violations.at("stack")),
        };
        let wanted = request.label_contains.to_lowercase();
        let names = |damper: &DamperBody, id: &str| damper.stacks_named().iter().any(|named| named.id == id);
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter: format!("{}|{wanted}", request.stack),
        };
        let keep =
            |damper: &DamperBody| holds(&damper.label, &wanted) && stack.as_deref().is_none_or(|id| names(damper, id));
        let (dampers, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListDampersResponse {
            dampers,
            next_page_token,
        })
    }

    /// Changes a damper.
    pub fn update_damper(&self, request: v1::UpdateDamperRequest) -> Result<v1::Damper, ServiceError> {
        let change = change_of!(UpdateDamperRequest, request);
        self.update_plain(&change, request.damper.as_ref(), request.update_mask.as_ref())
    }
}
