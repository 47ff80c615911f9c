//! What differs between two setups.

use wire::book::compare::{differences, side_values};
use wire::names::Collection;
use wire::quantity::unit_system;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::setup_side::{Moment, Source};
use wire::violation::Violations;

use super::records::state_at;
use crate::bench::Bench;
use crate::error::ServiceError;

impl Bench {
    /// What differs between two setups, field by field.
    pub fn compare_setups(&self, request: v1::CompareSetupsRequest) -> Result<v1::CompareSetupsResponse, ServiceError> {
        let mut violations = Violations::new();
        unit_system(request.reply_units, violations.at("reply_units"));
        let names = [
            side(request.first.as_ref(), "first", &mut violations),
            side(request.second.as_ref(), "second", &mut violations),
        ];
        violations.finish()?;
        let mut used = Vec::new();
        let [first, second] = names;
        let first = self.setup_side(first, request.first, &mut used)?;
        let second = self.setup_side(second, request.second, &mut used)?;
        let (differences, alike) = differences(&first, &second).map_err(ServiceError::internal)?;
        Ok(v1::CompareSetupsResponse {
            differences,
            alike_count: i32::try_from(alike).unwrap_or(i32::MAX),
            used,
            ..v1::CompareSetupsResponse::default()
        })
    }

    fn setup_side(
        &self,
        name: Option<wire::names::Name>,
        side: Option<v1::SetupSide>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<v1::SetupSideValues, ServiceError> {
        let side = side.unwrap_or_default();
        let (name, shown) = match (name, side.source) {
            (Some(name), Some(Source::Setup(shown))) => (name, shown),
            (_, Some(Source::Values(values))) => return Ok(values),
            _ => return Ok(v1::SetupSideValues::default()),
        };
        let mut setup: v1::Setup = self.read_used(&name, &shown, used)?;
        let state = state_at(setup.visit.take().unwrap_or_default(), side.moment).unwrap_or_default();
        let machine = self.machine_at(&setup, Some(&state), used)?;
        Ok(v1::SetupSideValues {
            state: Some(state),
            machine,
        })
    }
}

/// Checks a side; gives the name of the setup where it is one.
fn side(side: Option<&v1::SetupSide>, place: &str, violations: &mut Violations) -> Option<wire::names::Name> {
    let mut at = violations.at(place);
    let source = side.and_then(|side| side.source.as_ref());
    if let Some(side) = side
        && Moment::try_from(side.moment).is_err()
    {
        at.at("moment").push(
            Reason::OutOfRange,
            format_args!("moment is {}; allowed 0 to 2", side.moment),
        );
    }
    match source {
        None => {
            at.push(Reason::ValueMissing, "one of setup, values is required");
            None
        }
        Some(Source::Setup(name)) => Collection::Setups.revisable(name, at.at("setup")),
        Some(Source::Values(values)) => {
            side_values(values, at.at("values"));
            None
        }
    }
}
