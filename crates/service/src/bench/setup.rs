//! Calculations on a setup: sag, springs to choose, the response of an end.

mod choose;
mod forecast;
mod judge;
mod respond;
mod sag;
mod sheet;
mod springs;

use mechanics::chassis::{CandidateSpring, ChassisError, End};
use wire::names::Collection;
use wire::setup::unit::{self, EndModel};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Violation, Violations};

use super::Bench;
use super::reduce::used_revision;
use crate::error::{Basis, ServiceError};

/// A machine a calculation is about: where it came from, and its values.
struct Machine {
    values: v1::MachineValues,
    basis: Basis,
    /// Where it stands in the request.
    place: &'static str,
}

impl Bench {
    /// A machine of the book by its name.
    fn machine_named(&self, shown: &str, used: &mut Vec<v1::UsedRevision>) -> Result<v1::MachineValues, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Machines.revisable(shown, violations.at("machine"));
        let name = super::checked(violations, name)?;
        let (machine, saved) = self.read_named::<v1::Machine>(&name, shown)?;
        if saved.delete_time.is_some() && name.revision.is_none() {
            return Err(ServiceError::Deleted { name: shown.to_owned() });
        }
        used.push(used_revision(Collection::Machines, saved.id.as_str(), saved.revision));
        Ok(machine.values.unwrap_or_default())
    }

    /// One end of a machine, its springs of the rack found.
    fn end_model(
        &self,
        machine: &Machine,
        end: End,
        exponent: f64,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<EndModel, ServiceError> {
        let mut named: Vec<Option<CandidateSpring>> = Vec::new();
        for name in unit::named_springs(&machine.values, end) {
            named.push(match name.as_str() {
                "" => None,
                name => Some(self.rack_spring(name, used)?),
            });
        }
        let mut violations = Violations::new();
        let model = unit::model(&machine.values, end, &named, exponent, violations.at(machine.place));
        faults(violations, machine)?;
        Ok(model)
    }
}

/// Faults of a machine: of the request where it was sent, else of the record.
fn faults(violations: Violations, machine: &Machine) -> Result<(), ServiceError> {
    let Err(found) = violations.finish() else {
        return Ok(());
    };
    if machine.basis == Basis::Sent {
        return Err(ServiceError::InvalidFields(found));
    }
    let words = found.iter().map(|one| format!("{}: {}", one.field, one.description));
    Err(ServiceError::NotReducible {
        basis: Basis::Stored,
        cause: words.collect::<Vec<_>>().join("; "),
    })
}

/// What an error of the physics means; its field is given as one of the request.
fn refused(error: ChassisError, basis: Basis, sent: impl Fn(&str) -> String) -> ServiceError {
    let description = error.to_string();
    let (field, reason) = match &error {
        ChassisError::NotConverged { steps, .. } => {
            return ServiceError::NotConverged {
                basis,
                residual: description,
                iterations: u64::try_from(*steps).unwrap_or(u64::MAX),
            };
        }
        ChassisError::NotFinite { field } => (field, Reason::NotFinite),
        ChassisError::OutOfRange { field, .. } => (field, Reason::OutOfRange),
        ChassisError::Contradiction { field, .. } | ChassisError::NotDetermined { field, .. } => {
            (field, Reason::Conflict)
        }
    };
    if basis == Basis::Stored {
        return ServiceError::NotReducible {
            basis,
            cause: description,
        };
    }
    ServiceError::InvalidFields(vec![Violation {
        field: sent(field),
        reason,
        description,
    }])
}
