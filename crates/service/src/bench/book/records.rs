//! The standard methods of riders, machines, setups and job sheets, and what they look at in one another.

use store::StoreError;
use store::record::RecordId;
use wire::names::{Collection, Name};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Scope, Violations};

use super::super::{map, refusal};
use super::kept::{Kept, Listed};
use super::standard::{Change, Paging};
use crate::bench::Bench;
use crate::error::ServiceError;

impl Listed for v1::Rider {
    const COLLECTION: Collection = Collection::Riders;
}

impl Listed for v1::Machine {
    const COLLECTION: Collection = Collection::Machines;
}

impl Listed for v1::Setup {
    const COLLECTION: Collection = Collection::Setups;

    /// The machine must be there; a state that names no revision of it means the newest.
    fn prepare(
        &mut self,
        bench: &Bench,
        before: Option<&Self>,
        violations: &mut Violations,
    ) -> Result<(), ServiceError> {
        let machine = match self.machine.is_empty() {
            true => before.map(|before| before.machine.clone()).unwrap_or_default(),
            false => self.machine.clone(),
        };
        let named = !self.machine.is_empty() && before.is_none_or(|before| before.machine != self.machine);
        if !named && self.visit.is_none() {
            return Ok(());
        }
        let at = violations.at(Self::PLACE);
        let Some(newest) = bench.newest_of::<v1::Machine>(&machine, named, "machine", at)? else {
            return Ok(());
        };
        let states = self
            .visit
            .iter_mut()
            .flat_map(|visit| [("as_found", &mut visit.as_found), ("as_left", &mut visit.as_left)]);
        for (name, state) in states {
            let Some(state) = state else { continue };
            let revision = *state.machine_revision.get_or_insert(newest);
            if revision > newest {
                violations
                    .at(Self::PLACE)
                    .at("visit")
                    .at(name)
                    .at("machine_revision")
                    .push(
                        Reason::OutOfRange,
                        format_args!("value is {revision}; allowed 1 to {newest}, the newest of {machine}"),
                    );
            }
        }
        Ok(())
    }
}

impl Listed for v1::JobSheet {
    const COLLECTION: Collection = Collection::JobSheets;

    /// The setup must be there; without a revision the newest is meant.
    fn prepare(
        &mut self,
        bench: &Bench,
        before: Option<&Self>,
        violations: &mut Violations,
    ) -> Result<(), ServiceError> {
        if self.setup.is_empty() || before.is_some_and(|before| before.setup == self.setup) {
            return Ok(());
        }
        let (name, stated) = match self.setup.split_once('@') {
            Some((name, revision)) => (name.to_owned(), revision.parse::<i64>().ok()),
            None => (self.setup.clone(), None),
        };
        let at = violations.at(Self::PLACE);
        let Some(newest) = bench.newest_of::<v1::Setup>(&name, true, "setup", at)? else {
            return Ok(());
        };
        match stated {
            None => self.setup = format!("{name}@{newest}"),
            Some(revision) if revision > newest => violations.at(Self::PLACE).at("setup").push(
                Reason::UnknownName,
                format_args!("{name} has no revision {revision}; the newest is {newest}"),
            ),
            Some(_) => {}
        }
        Ok(())
    }
}

impl Bench {
    /// The newest revision of a record that another one names. One that is not there, or deleted, is a fault of the name
    /// where it is `fresh`; a name that was entered before stays good.
    fn newest_of<R: Listed>(
        &self,
        name: &str,
        fresh: bool,
        field: &str,
        mut at: Scope<'_>,
    ) -> Result<Option<i64>, ServiceError> {
        let mut ignored = Violations::new();
        let id = R::COLLECTION.id(name, ignored.root());
        let Some(id) = id.as_deref().and_then(RecordId::parse) else {
            return Ok(None);
        };
        match self.store.get::<R::Body>(&id) {
            Ok(saved) if saved.delete_time.is_some() && fresh => {
                at.at(field).push(
                    Reason::UnknownName,
                    format_args!("{name} is deleted; bring it back first"),
                );
                Ok(None)
            }
            Ok(saved) => Ok(Some(map::signed(saved.revision))),
            Err(StoreError::NotFound) if fresh => {
                at.at(field)
                    .push(Reason::UnknownName, format_args!("there is no {name}"));
                Ok(None)
            }
            Err(StoreError::NotFound) => Ok(None),
            Err(error) => Err(refusal(name, "")(error)),
        }
    }
}

/// The machine at the revision a state was counted on.
pub(in crate::bench) fn pinned(machine: &str, revision: Option<i64>) -> Option<Name> {
    let mut ignored = Violations::new();
    let id = Collection::Machines.id(machine, ignored.root())?;
    let revision = revision.and_then(|revision| u64::try_from(revision).ok());
    Some(Name { id, revision })
}

/// Whether a text holds another, in any case; an empty one is in all.
fn holds(text: &str, wanted: &str) -> bool {
    wanted.is_empty() || text.to_lowercase().contains(wanted)
}

/// Checks the name of a record that a list is restricted to.
fn filter_name(collection: Collection, name: &str, field: &str, violations: &mut Violations) {
    if !name.is_empty() {
        collection.id(name, violations.at(field));
    }
}

impl Bench {
    /// Enters a rider.
    pub fn create_rider(&self, request: v1::CreateRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = Change {
            method: "CreateRider",
            request_id: &request.request_id,
            request: &request,
        };
        self.enter(&change, "", request.rider.as_ref())
    }

    /// One rider.
    pub fn get_rider(&self, request: v1::GetRiderRequest) -> Result<v1::Rider, ServiceError> {
        self.read(&request.name, false)
    }

    /// Riders, in their order.
    pub fn list_riders(&self, request: v1::ListRidersRequest) -> Result<v1::ListRidersResponse, ServiceError> {
        let wanted = request.person_name_contains.to_lowercase();
        let filter = wanted.clone();
        let keep = |rider: &v1::Rider| holds(&rider.person_name, &wanted);
        let violations = Violations::new();
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter,
        };
        let (riders, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListRidersResponse {
            riders,
            next_page_token,
        })
    }

    /// Changes a rider.
    pub fn update_rider(&self, request: v1::UpdateRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = Change {
            method: "UpdateRider",
            request_id: &request.request_id,
            request: &request,
        };
        self.change(&change, request.rider.as_ref(), request.update_mask.as_ref())
    }

    /// Deletes a rider.
    pub fn delete_rider(&self, request: v1::DeleteRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = Change {
            method: "DeleteRider",
            request_id: &request.request_id,
            request: &request,
        };
        self.delete(&change, (&request.name, &request.etag))
    }

    /// Brings a deleted rider back.
    pub fn undelete_rider(&self, request: v1::UndeleteRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = Change {
            method: "UndeleteRider",
            request_id: &request.request_id,
            request: &request,
        };
        self.undelete(&change, (&request.name, &request.etag))
    }

    /// Enters a machine.
    pub fn create_machine(&self, request: v1::CreateMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = Change {
            method: "CreateMachine",
            request_id: &request.request_id,
            request: &request,
        };
        self.enter(&change, &request.machine_id, request.machine.as_ref())
    }

    /// One machine.
    pub fn get_machine(&self, request: v1::GetMachineRequest) -> Result<v1::Machine, ServiceError> {
        self.read(&request.name, true)
    }

    /// Machines, in their order.
    pub fn list_machines(&self, request: v1::ListMachinesRequest) -> Result<v1::ListMachinesResponse, ServiceError> {
        let mut violations = Violations::new();
        filter_name(Collection::Riders, &request.rider, "rider", &mut violations);
        let wanted = request.label_contains.to_lowercase();
        let filter = format!("{wanted}|{}", request.rider);
        let keep = |machine: &v1::Machine| {
            let label = machine.values.as_ref().map_or("", |values| values.label.as_str());
            holds(label, &wanted) && (request.rider.is_empty() || machine.rider == request.rider)
        };
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter,
        };
        let (machines, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListMachinesResponse {
            machines,
            next_page_token,
        })
    }

    /// Changes a machine.
    pub fn update_machine(&self, request: v1::UpdateMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = Change {
            method: "UpdateMachine",
            request_id: &request.request_id,
            request: &request,
        };
        self.change(&change, request.machine.as_ref(), request.update_mask.as_ref())
    }

    /// Deletes a machine.
    pub fn delete_machine(&self, request: v1::DeleteMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = Change {
            method: "DeleteMachine",
            request_id: &request.request_id,
            request: &request,
        };
        self.delete(&change, (&request.name, &request.etag))
    }

    /// Brings a deleted machine back.
    pub fn undelete_machine(&self, request: v1::UndeleteMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = Change {
            method: "UndeleteMachine",
            request_id: &request.request_id,
            request: &request,
        };
        self.undelete(&change, (&request.name, &request.etag))
    }

    /// What a machine's record was, newest first.
    pub fn list_machine_revisions(
        &self,
        request: v1::ListMachineRevisionsRequest,
    ) -> Result<v1::ListMachineRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) = self.revisions_of(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListMachineRevisionsResponse {
            revisions,
            next_page_token,
        })
    }

    /// Enters a setup.
    pub fn create_setup(&self, request: v1::CreateSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = Change {
            method: "CreateSetup",
            request_id: &request.request_id,
            request: &request,
        };
        self.enter(&change, &request.setup_id, request.setup.as_ref())
    }

    /// One setup.
    pub fn get_setup(&self, request: v1::GetSetupRequest) -> Result<v1::Setup, ServiceError> {
        self.read(&request.name, true)
    }

    /// Setups, in their order.
    pub fn list_setups(&self, request: v1::ListSetupsRequest) -> Result<v1::ListSetupsResponse, ServiceError> {
        let mut violations = Violations::new();
        filter_name(Collection::Machines, &request.machine, "machine", &mut violations);
        let filter = request.machine.clone();
        let keep = |setup: &v1::Setup| request.machine.is_empty() || setup.machine == request.machine;
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter,
        };
        let (setups, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListSetupsResponse {
            setups,
            next_page_token,
        })
    }

    /// Changes a setup.
    pub fn update_setup(&self, request: v1::UpdateSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = Change {
            method: "UpdateSetup",
            request_id: &request.request_id,
            request: &request,
        };
        self.change(&change, request.setup.as_ref(), request.update_mask.as_ref())
    }

    /// Deletes a setup.
    pub fn delete_setup(&self, request: v1::DeleteSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = Change {
            method: "DeleteSetup",
            request_id: &request.request_id,
            request: &request,
        };
        self.delete(&change, (&request.name, &request.etag))
    }

    /// Brings a deleted setup back.
    pub fn undelete_setup(&self, request: v1::UndeleteSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = Change {
            method: "UndeleteSetup",
            request_id: &request.request_id,
            request: &request,
        };
        self.undelete(&change, (&request.name, &request.etag))
    }

    /// What a setup's record was, newest first.
    pub fn list_setup_revisions(
        &self,
        request: v1::ListSetupRevisionsRequest,
    ) -> Result<v1::ListSetupRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) = self.revisions_of(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListSetupRevisionsResponse {
            revisions,
            next_page_token,
        })
    }

    /// Enters a job sheet.
    pub fn create_job_sheet(&self, request: v1::CreateJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = Change {
            method: "CreateJobSheet",
            request_id: &request.request_id,
            request: &request,
        };
        self.enter(&change, &request.job_sheet_id, request.job_sheet.as_ref())
    }

    /// One job sheet.
    pub fn get_job_sheet(&self, request: v1::GetJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        self.read(&request.name, true)
    }

    /// Job sheets, in their order.
    pub fn list_job_sheets(
        &self,
        request: v1::ListJobSheetsRequest,
    ) -> Result<v1::ListJobSheetsResponse, ServiceError> {
        let mut violations = Violations::new();
        filter_name(Collection::Setups, &request.setup, "setup", &mut violations);
        let filter = request.setup.clone();
        let keep = |sheet: &v1::JobSheet| {
            let shown = sheet.setup.split('@').next().unwrap_or_default();
            request.setup.is_empty() || shown == request.setup
        };
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter,
        };
        let (job_sheets, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListJobSheetsResponse {
            job_sheets,
            next_page_token,
        })
    }

    /// Changes a job sheet.
    pub fn update_job_sheet(&self, request: v1::UpdateJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = Change {
            method: "UpdateJobSheet",
            request_id: &request.request_id,
            request: &request,
        };
        self.change(&change, request.job_sheet.as_ref(), request.update_mask.as_ref())
    }

    /// Deletes a job sheet.
    pub fn delete_job_sheet(&self, request: v1::DeleteJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = Change {
            method: "DeleteJobSheet",
            request_id: &request.request_id,
            request: &request,
        };
        self.delete(&change, (&request.name, &request.etag))
    }

    /// Brings a deleted job sheet back.
    pub fn undelete_job_sheet(&self, request: v1::UndeleteJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = Change {
            method: "UndeleteJobSheet",
            request_id: &request.request_id,
            request: &request,
        };
        self.undelete(&change, (&request.name, &request.etag))
    }

    /// What a job sheet's record was, newest first.
    pub fn list_job_sheet_revisions(
        &self,
        request: v1::ListJobSheetRevisionsRequest,
    ) -> Result<v1::ListJobSheetRevisionsResponse, ServiceError> {
        let (revisions, next_page_token) = self.revisions_of(&request.name, request.page_size, &request.page_token)?;
        Ok(v1::ListJobSheetRevisionsResponse {
            revisions,
            next_page_token,
        })
    }
}
