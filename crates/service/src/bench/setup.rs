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

use super::{Bench, checked};
use crate::error::{Basis, ServiceError};

pub(crate) use sag::with_preloads;

/// A machine a calculation is about: where it came from, and its values.
struct Machine {
    values: v1::MachineValues,
    basis: Basis,
    /// Where it stands in the request.
    place: &'static str,
}

impl Machine {
    /// One that was sent along.
    fn sent(values: v1::MachineValues) -> Self {
        Self {
            values,
            basis: Basis::Sent,
            place: "values",
        }
    }
}

impl Bench {
    /// A machine of the book.
    fn machine_kept(&self, shown: &str, used: &mut Vec<v1::UsedRevision>) -> Result<Machine, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Machines.revisable(shown, violations.at("machine"));
        let name = checked(violations, name)?;
        // A revision that is named is what it was, deleted or not.
        let machine: v1::Machine = match name.revision {
            Some(_) => self.read_used(&name, shown, used)?,
            None => self.read_standing(&name, shown, used)?,
        };
        Ok(Machine {
            values: machine.values.unwrap_or_default(),
            basis: Basis::Stored,
            place: "machine",
        })
    }

    /// A setup of the book by its name.
    fn setup_named(&self, shown: &str, used: &mut Vec<v1::UsedRevision>) -> Result<v1::Setup, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Setups.revisable(shown, violations.at("setup").at("name"));
        self.read_used(&checked(violations, name)?, shown, used)
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
