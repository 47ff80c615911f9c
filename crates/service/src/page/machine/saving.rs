//! Saving a visit: as found, as left. Each is a revision of the setup, through the book's own operations.

use prost_types::FieldMask;
use wire::v1;
use wire::violation::Violation;

use super::fields::{self, Moment};
use super::kept::{self, Kept};
use super::wanted;
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::form::Posted;

/// What became of it.
pub(super) enum Saved {
    /// The setup's name.
    Done(String),
    /// Something written cannot be taken; each fault is at its field.
    Faulty(Vec<Violation>),
    /// The book refuses.
    Refused(ServiceError),
}

/// Saves what was typed. The record is taken at the revision the form was drawn from, so that sending a form twice is the
/// same as sending it once, and the etag refuses what somebody else has changed since.
pub(super) fn save(bench: &Bench, id: &str, posted: &Posted, moment: Moment) -> Result<Saved, ServiceError> {
    let kept = kept::read(bench, id, &wanted(posted))?;
    let visit = match fields::read(posted, &kept) {
        Ok(typed) => visit(typed, moment),
        Err(faults) => return Ok(Saved::Faulty(faults)),
    };
    let request_id = posted.text("request_id").to_owned();
    let saved = match &kept.setup {
        Some(_) => bench.update_setup(update(posted, visit, request_id)),
        None => bench.create_setup(create(&kept, visit, request_id)),
    };
    Ok(match saved {
        Ok(setup) => Saved::Done(setup.name),
        Err(ServiceError::InvalidFields(faults)) => Saved::Faulty(fields::at_fields(faults, moment, posted, &kept)),
        Err(error) => Saved::Refused(error),
    })
}

/// What is recorded: whatever was typed, wherever it stands in the form.
fn visit(typed: fields::Typed, moment: Moment) -> v1::VisitValues {
    let left = match moment {
        Moment::Found => typed.left,
        Moment::Left => Some(fields::as_found_but(typed.left.unwrap_or_default(), &typed.found)),
    };
    v1::VisitValues {
        as_found: Some(typed.found),
        as_left: left,
        ..typed.visit
    }
}

fn create(kept: &Kept, visit: v1::VisitValues, request_id: String) -> v1::CreateSetupRequest {
    v1::CreateSetupRequest {
        setup: Some(v1::Setup {
            machine: kept.machine.name.clone(),
            rider: kept.machine.rider.clone(),
            visit: Some(visit),
            ..Default::default()
        }),
        setup_id: String::new(),
        request_id,
    }
}

fn update(posted: &Posted, visit: v1::VisitValues, request_id: String) -> v1::UpdateSetupRequest {
    let named = posted.text("setup");
    v1::UpdateSetupRequest {
        setup: Some(v1::Setup {
            name: named.split('@').next().unwrap_or(named).to_owned(),
            etag: posted.text("etag").to_owned(),
            visit: Some(visit),
            ..Default::default()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["visit".to_owned()],
        }),
        request_id,
    }
}
