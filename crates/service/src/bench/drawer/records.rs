//! The standard operations on lots, stacks and dampers.

use store::{Body as _, DamperBody, ShimLotBody, StackBody};
use wire::names::Collection;
use wire::v1;
use wire::violation::Violations;

use super::kept::{Asked, Listing};
use super::sizes::Sought;
use crate::bench::Bench;
use crate::error::ServiceError;

impl Bench {
    /// Puts a lot of shims into the drawer.
    pub fn create_shim_lot(&self, request: v1::CreateShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        let asked = Asked {
            method: "CreateShimLot",
            name: &request.shim_lot_id,
            etag: "",
            request_id: &request.request_id,
            request: &request,
        };
        self.create_kept::<ShimLotBody, _>(asked, request.shim_lot.as_ref())
    }

    /// One of the lots.
    pub fn get_shim_lot(&self, request: v1::GetShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        self.get_kept::<ShimLotBody>(&request.name)
    }

    /// Lots, by name.
    pub fn list_shim_lots(&self, request: v1::ListShimLotsRequest) -> Result<v1::ListShimLotsResponse, ServiceError> {
        let mut violations = Violations::new();
        let wanted = Sought::of(&request, &mut violations);
        let listing = Listing {
            page_size: request.page_size,
            page_token: &request.page_token,
            show_deleted: request.show_deleted,
            label_contains: &request.label_contains,
            further: wanted.text(),
        };
        let keep = |lot: &ShimLotBody| wanted.holds(lot);
        let (shim_lots, next_page_token) = self.list_kept(&listing, violations, keep)?;
        Ok(v1::ListShimLotsResponse {
            shim_lots,
            next_page_token,
        })
    }

    /// Changes a lot of shims.
    pub fn update_shim_lot(&self, request: v1::UpdateShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        let record = request.shim_lot.as_ref();
        let asked = Asked {
            method: "UpdateShimLot",
            name: record.map_or("", |record| &record.name),
            etag: record.map_or("", |record| &record.etag),
            request_id: &request.request_id,
            request: &request,
        };
        self.update_kept::<ShimLotBody, _>(asked, record, request.update_mask.as_ref())
    }

    /// Takes a lot of shims out of the drawer.
    pub fn delete_shim_lot(&self, request: v1::DeleteShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        self.delete_kept::<ShimLotBody, _>(Asked {
            method: "DeleteShimLot",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// Brings a lot of shims back.
    pub fn undelete_shim_lot(&self, request: v1::UndeleteShimLotRequest) -> Result<v1::ShimLot, ServiceError> {
        self.undelete_kept::<ShimLotBody, _>(Asked {
            method: "UndeleteShimLot",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// What the record of a lot of shims was, newest first.
    pub fn list_shim_lot_revisions(
        &self,
        request: v1::ListShimLotRevisionsRequest,
    ) -> Result<v1::ListShimLotRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) =
            self.kept_revisions::<ShimLotBody>(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListShimLotRevisionsResponse {
            revisions,
            next_page_token,
        })
    }

    /// Puts a stack into the drawer.
    pub fn create_stack(&self, request: v1::CreateStackRequest) -> Result<v1::Stack, ServiceError> {
        let asked = Asked {
            method: "CreateStack",
            name: &request.stack_id,
            etag: "",
            request_id: &request.request_id,
            request: &request,
        };
        self.create_kept::<StackBody, _>(asked, request.stack.as_ref())
    }

    /// One of the stacks.
    pub fn get_stack(&self, request: v1::GetStackRequest) -> Result<v1::Stack, ServiceError> {
        self.get_kept::<StackBody>(&request.name)
    }

    /// Stacks, by name.
    pub fn list_stacks(&self, request: v1::ListStacksRequest) -> Result<v1::ListStacksResponse, ServiceError> {
        let listing = Listing {
            page_size: request.page_size,
            page_token: &request.page_token,
            show_deleted: request.show_deleted,
            label_contains: &request.label_contains,
            further: format!("{:?}", request.built),
        };
        let keep = |stack: &StackBody| request.built.is_none_or(|built| built == stack.built);
        let (stacks, next_page_token) = self.list_kept(&listing, Violations::new(), keep)?;
        Ok(v1::ListStacksResponse {
            stacks,
            next_page_token,
        })
    }

    /// Changes a stack.
    pub fn update_stack(&self, request: v1::UpdateStackRequest) -> Result<v1::Stack, ServiceError> {
        let record = request.stack.as_ref();
        let asked = Asked {
            method: "UpdateStack",
            name: record.map_or("", |record| &record.name),
            etag: record.map_or("", |record| &record.etag),
            request_id: &request.request_id,
            request: &request,
        };
        self.update_kept::<StackBody, _>(asked, record, request.update_mask.as_ref())
    }

    /// Takes a stack out of the drawer.
    pub fn delete_stack(&self, request: v1::DeleteStackRequest) -> Result<v1::Stack, ServiceError> {
        self.delete_kept::<StackBody, _>(Asked {
            method: "DeleteStack",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// Brings a stack back.
    pub fn undelete_stack(&self, request: v1::UndeleteStackRequest) -> Result<v1::Stack, ServiceError> {
        self.undelete_kept::<StackBody, _>(Asked {
            method: "UndeleteStack",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// What the record of a stack was, newest first.
    pub fn list_stack_revisions(
        &self,
        request: v1::ListStackRevisionsRequest,
    ) -> Result<v1::ListStackRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) =
            self.kept_revisions::<StackBody>(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListStackRevisionsResponse {
            revisions,
            next_page_token,
        })
    }

    /// Puts a damper into the drawer.
    pub fn create_damper(&self, request: v1::CreateDamperRequest) -> Result<v1::Damper, ServiceError> {
        let asked = Asked {
            method: "CreateDamper",
            name: &request.damper_id,
            etag: "",
            request_id: &request.request_id,
            request: &request,
        };
        self.create_kept::<DamperBody, _>(asked, request.damper.as_ref())
    }

    /// One of the dampers.
    pub fn get_damper(&self, request: v1::GetDamperRequest) -> Result<v1::Damper, ServiceError> {
        self.get_kept::<DamperBody>(&request.name)
    }

    /// Dampers, by name.
    pub fn list_dampers(&self, request: v1::ListDampersRequest) -> Result<v1::ListDampersResponse, ServiceError> {
        let mut violations = Violations::new();
        let stack = match request.stack.as_str() {
            "" => None,
            name => Collection::Stacks.id(name, violations.at("stack")),
        };
        let names = |damper: &DamperBody, id: &str| damper.stacks_named().iter().any(|named| named.id == id);
        let listing = Listing {
            page_size: request.page_size,
            page_token: &request.page_token,
            show_deleted: request.show_deleted,
            label_contains: &request.label_contains,
            further: request.stack.clone(),
        };
        let keep = |damper: &DamperBody| stack.as_deref().is_none_or(|id| names(damper, id));
        let (dampers, next_page_token) = self.list_kept(&listing, violations, keep)?;
        Ok(v1::ListDampersResponse {
            dampers,
            next_page_token,
        })
    }

    /// Changes a damper.
    pub fn update_damper(&self, request: v1::UpdateDamperRequest) -> Result<v1::Damper, ServiceError> {
        let record = request.damper.as_ref();
        let asked = Asked {
            method: "UpdateDamper",
            name: record.map_or("", |record| &record.name),
            etag: record.map_or("", |record| &record.etag),
            request_id: &request.request_id,
            request: &request,
        };
        self.update_kept::<DamperBody, _>(asked, record, request.update_mask.as_ref())
    }

    /// Takes a damper out of the drawer.
    pub fn delete_damper(&self, request: v1::DeleteDamperRequest) -> Result<v1::Damper, ServiceError> {
        self.delete_kept::<DamperBody, _>(Asked {
            method: "DeleteDamper",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// Brings a damper back.
    pub fn undelete_damper(&self, request: v1::UndeleteDamperRequest) -> Result<v1::Damper, ServiceError> {
        self.undelete_kept::<DamperBody, _>(Asked {
            method: "UndeleteDamper",
            name: &request.name,
            etag: &request.etag,
            request_id: &request.request_id,
            request: &request,
        })
    }

    /// What the record of a damper was, newest first.
    pub fn list_damper_revisions(
        &self,
        request: v1::ListDamperRevisionsRequest,
    ) -> Result<v1::ListDamperRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) =
            self.kept_revisions::<DamperBody>(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListDamperRevisionsResponse {
            revisions,
            next_page_token,
        })
    }
}
