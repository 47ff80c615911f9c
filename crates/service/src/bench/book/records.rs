//! The standard methods of riders, machines, setups and job sheets, and what they look at in one another.

use store::StoreError;
use store::record::RecordId;
use wire::names::{Collection, Name};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::setup_side::Moment;
use wire::violation::{Scope, Violations};

use super::super::{map, refusal};
use super::kept::{Kept, Listed};
use crate::bench::standard::{Paging, change_of, standard_methods};
use crate::bench::{Bench, holds};
use crate::error::ServiceError;

impl Listed for v1::Rider {}

impl Listed for v1::Machine {}

impl Listed for v1::Setup {
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

/// The machine at the revision a state was counted on.
pub(super) fn pinned(machine: &str, revision: Option<i64>) -> Option<Name> {
    let mut ignored = Violations::new();
    let id = Collection::Machines.id(machine, ignored.root())?;
    let revision = revision.and_then(|revision| u64::try_from(revision).ok());
    Some(Name { id, revision })
}

/// How a machine stood at a moment of a visit; unstated: as left, where that is known.
pub(in crate::bench) fn state_at(visit: v1::VisitValues, moment: i32) -> Option<v1::SetupState> {
    match Moment::try_from(moment) {
        Ok(Moment::AsFound) => visit.as_found,
        Ok(Moment::AsLeft) => visit.as_left,
        _ => visit.as_left.or(visit.as_found),
    }
}

impl Bench {
    /// The machine of a setup at the revision a state of it was counted on; none where the setup names none.
    pub(in crate::bench) fn machine_at(
        &self,
        setup: &v1::Setup,
        state: Option<&v1::SetupState>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<v1::MachineValues>, ServiceError> {
        let Some(name) = pinned(&setup.machine, state.and_then(|state| state.machine_revision)) else {
            return Ok(None);
        };
        let machine: v1::Machine = self.read_used(&name, &setup.machine, used)?;
        Ok(machine.values)
    }

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

/// What a list keeps, asked of the records as they lie there. One that cannot be read is taken along, and told of as damage.
fn reading<R: Listed>(keep: impl Fn(&R) -> bool) -> impl Fn(&<R as Kept>::Body) -> bool {
    move |body| R::content(body).as_ref().map_or(true, &keep)
}

/// Checks the name of a record that a list is restricted to.
fn filter_name(collection: Collection, name: &str, field: &str, violations: &mut Violations) {
    if !name.is_empty() {
        collection.id(name, violations.at(field));
    }
}

standard_methods! {
    "rider", Rider:
    get_rider(GetRiderRequest),
    delete_rider(DeleteRiderRequest),
    undelete_rider(UndeleteRiderRequest)
}

standard_methods! {
    "machine", Machine:
    get_machine(GetMachineRequest),
    delete_machine(DeleteMachineRequest),
    undelete_machine(UndeleteMachineRequest),
    list_machine_revisions(ListMachineRevisionsRequest) -> ListMachineRevisionsResponse
}

standard_methods! {
    "setup", Setup:
    get_setup(GetSetupRequest),
    delete_setup(DeleteSetupRequest),
    undelete_setup(UndeleteSetupRequest),
    list_setup_revisions(ListSetupRevisionsRequest) -> ListSetupRevisionsResponse
}

standard_methods! {
    "job sheet", JobSheet:
    get_job_sheet(GetJobSheetRequest),
    delete_job_sheet(DeleteJobSheetRequest),
    undelete_job_sheet(UndeleteJobSheetRequest),
    list_job_sheet_revisions(ListJobSheetRevisionsRequest) -> ListJobSheetRevisionsResponse
}

impl Bench {
    /// Enters a rider.
    pub fn create_rider(&self, request: v1::CreateRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = change_of!(CreateRiderRequest, request);
        self.enter(&change, "", request.rider.as_ref())
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
        let (riders, next_page_token) = self.list_of(&paging, violations, reading(keep))?;
        Ok(v1::ListRidersResponse {
            riders,
            next_page_token,
        })
    }

    /// Changes a rider.
    pub fn update_rider(&self, request: v1::UpdateRiderRequest) -> Result<v1::Rider, ServiceError> {
        let change = change_of!(UpdateRiderRequest, request);
        self.change(&change, request.rider.as_ref(), request.update_mask.as_ref())
    }

    /// Enters a machine.
    pub fn create_machine(&self, request: v1::CreateMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = change_of!(CreateMachineRequest, request);
        self.enter(&change, &request.machine_id, request.machine.as_ref())
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
        let (machines, next_page_token) = self.list_of(&paging, violations, reading(keep))?;
        Ok(v1::ListMachinesResponse {
            machines,
            next_page_token,
        })
    }

    /// Changes a machine.
    pub fn update_machine(&self, request: v1::UpdateMachineRequest) -> Result<v1::Machine, ServiceError> {
        let change = change_of!(UpdateMachineRequest, request);
        self.change(&change, request.machine.as_ref(), request.update_mask.as_ref())
    }

    /// Enters a setup.
    pub fn create_setup(&self, request: v1::CreateSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = change_of!(CreateSetupRequest, request);
        self.enter(&change, &request.setup_id, request.setup.as_ref())
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
        let (setups, next_page_token) = self.list_of(&paging, violations, reading(keep))?;
        Ok(v1::ListSetupsResponse {
            setups,
            next_page_token,
        })
    }

    /// Changes a setup.
    pub fn update_setup(&self, request: v1::UpdateSetupRequest) -> Result<v1::Setup, ServiceError> {
        let change = change_of!(UpdateSetupRequest, request);
        self.change(&change, request.setup.as_ref(), request.update_mask.as_ref())
    }

    /// Enters a job sheet.
    pub fn create_job_sheet(&self, request: v1::CreateJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = change_of!(CreateJobSheetRequest, request);
        self.enter(&change, &request.job_sheet_id, request.job_sheet.as_ref())
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
        let (job_sheets, next_page_token) = self.list_of(&paging, violations, reading(keep))?;
        Ok(v1::ListJobSheetsResponse {
            job_sheets,
            next_page_token,
        })
    }

    /// Changes a job sheet.
    pub fn update_job_sheet(&self, request: v1::UpdateJobSheetRequest) -> Result<v1::JobSheet, ServiceError> {
        let change = change_of!(UpdateJobSheetRequest, request);
        self.change(&change, request.job_sheet.as_ref(), request.update_mask.as_ref())
    }
}
