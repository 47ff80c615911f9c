//! What the book holds of a machine: its record, who rides it, the visit that is worked on.

use mechanics::chassis::End;
use wire::names::Collection;
use wire::v1;

use super::words::state_of;
use crate::bench::Bench;
use crate::error::ServiceError;

/// Visits told on one view, newest first.
const VISITS: i32 = 15;

/// Which visit is worked on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Wanted {
    /// The last one; a new one where there is none.
    Last,
    /// A new one.
    New,
    /// One by its id, with the revision where one is named.
    Named(String),
}

impl Wanted {
    /// As a query or a form names it.
    pub(super) fn of(setup: &str, visit: &str) -> Self {
        match (setup, visit) {
            ("", "new") => Self::New,
            ("", _) => Self::Last,
            (id, _) => Self::Named(id.strip_prefix("setups/").unwrap_or(id).to_owned()),
        }
    }
}

/// A machine with the visit that is worked on.
pub(super) struct Kept {
    /// Its record now.
    pub(super) machine: v1::Machine,
    /// Who rides it, as far as the book still says.
    pub(super) rider: Option<v1::Rider>,
    /// Its visits, the newest first.
    pub(super) setups: Vec<v1::Setup>,
    /// Where those before them begin; empty: there are no more.
    pub(super) next: String,
    /// The visit that is worked on; none: a new one.
    pub(super) setup: Option<v1::Setup>,
    /// What was fitted when it came in, and when it left.
    pub(super) fitted: [v1::MachineValues; 2],
}

/// When a visit was.
pub(super) fn time_of(setup: &v1::Setup) -> Option<prost_types::Timestamp> {
    let visited = setup.visit.as_ref().and_then(|visit| visit.visit_time);
    visited.or(setup.create_time)
}

/// Reads them.
pub(super) fn read(bench: &Bench, id: &str, wanted: &Wanted) -> Result<Kept, ServiceError> {
    let name = Collection::Machines.name(id);
    let machine = bench.get_machine(v1::GetMachineRequest { name: name.clone() })?;
    let (setups, next) = visits(bench, &name, "")?;
    let setup = match wanted {
        Wanted::New => None,
        Wanted::Last => setups.first().cloned(),
        Wanted::Named(id) => {
            let name = Collection::Setups.name(id);
            let setup = bench.get_setup(v1::GetSetupRequest { name: name.clone() })?;
            // A visit of another machine is none of this one.
            if setup.machine != machine.name {
                return Err(ServiceError::NotFound { name });
            }
            Some(setup)
        }
    };
    let visit = setup.as_ref().and_then(|setup| setup.visit.as_ref());
    let states = [
        visit.and_then(|visit| visit.as_found.as_ref()),
        visit.and_then(|visit| visit.as_left.as_ref()),
    ];
    let mut fitted = [v1::MachineValues::default(), v1::MachineValues::default()];
    for (values, state) in fitted.iter_mut().zip(states) {
        *values = fitted_at(bench, &machine, state.and_then(|state| state.machine_revision))?;
    }
    let rider = setup.as_ref().map_or("", |setup| setup.rider.as_str());
    let rider = rider_of(bench, if rider.is_empty() { &machine.rider } else { rider })?;
    Ok(Kept {
        machine,
        rider,
        setups,
        next,
        setup,
        fitted,
    })
}

/// Visits of a machine, the newest first, from a place in their list on; and where the next ones begin.
pub(super) fn visits(bench: &Bench, machine: &str, from: &str) -> Result<(Vec<v1::Setup>, String), ServiceError> {
    let listed = bench.list_setups(v1::ListSetupsRequest {
        page_size: VISITS,
        page_token: from.to_owned(),
        machine: machine.to_owned(),
        ..Default::default()
    })?;
    let mut setups = listed.setups;
    let when = |setup: &v1::Setup| time_of(setup).map_or((0, 0), |time| (time.seconds, time.nanos));
    setups.sort_by_key(|setup| std::cmp::Reverse(when(setup)));
    Ok((setups, listed.next_page_token))
}

/// What was fitted at a revision of the machine; none named: now.
fn fitted_at(bench: &Bench, machine: &v1::Machine, revision: Option<i64>) -> Result<v1::MachineValues, ServiceError> {
    let record = match revision.filter(|revision| *revision != machine.revision) {
        None => machine.clone(),
        Some(revision) => bench.get_machine(v1::GetMachineRequest {
            name: format!("{}@{revision}", machine.name),
        })?,
    };
    Ok(record.values.unwrap_or_default())
}

/// A rider, unless the record was erased or taken out.
fn rider_of(bench: &Bench, name: &str) -> Result<Option<v1::Rider>, ServiceError> {
    if name.is_empty() {
        return Ok(None);
    }
    match bench.get_rider(v1::GetRiderRequest { name: name.to_owned() }) {
        Ok(rider) => Ok(Some(rider).filter(|rider| rider.delete_time.is_none())),
        Err(ServiceError::NotFound { .. } | ServiceError::Deleted { .. }) => Ok(None),
        Err(other) => Err(other),
    }
}

impl Kept {
    /// Its id.
    pub(super) fn id(&self) -> &str {
        id_of(&self.machine.name)
    }

    /// What the shop calls it, else its name.
    pub(super) fn called(&self) -> &str {
        called(&self.machine)
    }

    /// The visit that is worked on.
    pub(super) fn visit(&self) -> Option<&v1::VisitValues> {
        self.setup.as_ref()?.visit.as_ref()
    }

    /// What a new visit begins with: how the machine was set when it left last time.
    pub(super) fn settings_before(&self, end: End) -> v1::EndState {
        let last = self.setups.first().and_then(|setup| setup.visit.as_ref());
        let state = last.and_then(|visit| visit.as_left.as_ref().or(visit.as_found.as_ref()));
        let state = state_of(state, end).cloned().unwrap_or_default();
        v1::EndState {
            preload: state.preload,
            leg_preloads: state.leg_preloads,
            adjusters: state.adjusters,
            oils: state.oils,
            fork_height: state.fork_height,
            ..Default::default()
        }
    }

    /// The rider's mass with gear.
    pub(super) fn rider_mass(&self) -> Option<v1::Mass> {
        self.rider.as_ref()?.mass_with_gear
    }

    /// Where this view is, with its visit.
    pub(super) fn address(&self) -> String {
        let id = self.id();
        match &self.setup {
            Some(setup) => format!("/machines/{id}?setup={}", id_of(&setup.name)),
            None => format!("/machines/{id}?visit=new"),
        }
    }
}

/// The id in a record's name.
pub(super) fn id_of(name: &str) -> &str {
    name.split_once('/').map_or(name, |(_, id)| id)
}

/// What the shop calls a machine, else its name.
pub(super) fn called(machine: &v1::Machine) -> &str {
    let label = machine.values.as_ref().map_or("", |values| values.label.trim());
    if label.is_empty() { &machine.name } else { label }
}
