//! Erasing what is known of a person.

use store::record::{RecordId, RiderBody};
use wire::names::Collection;
use wire::v1;

use super::super::{given, map, named_change, refusal};
use crate::bench::Bench;
use crate::error::ServiceError;

/// What takes the bytes off the disk.
const REMAINING: &str = "The record cannot be read any more. Its bytes may lie in unused parts of the store's files until the store is \
                         compacted: stop the server and run springwright compact. Copies made before still hold the record.";

impl Bench {
    /// Removes the record of a rider and what answered its changes, at once and for good.
    pub fn erase_rider(&self, request: v1::EraseRiderRequest) -> Result<v1::EraseRiderResponse, ServiceError> {
        let (key, id): (_, RecordId) = named_change(
            "EraseRider",
            Collection::Riders,
            (&request.name, &request.request_id),
            &request,
        )?;
        let refused = refusal(&request.name, &request.request_id);
        let erased = self
            .store
            .erase::<RiderBody>(self.now(), &key, &id, given(&request.etag))
            .map_err(&refused)?;
        let copies = self.store.known_copies().map_err(&refused)?;
        let before = copies.into_iter().filter(|copy| copy.copy_time <= erased.erase_time);
        Ok(v1::EraseRiderResponse {
            name: request.name.clone(),
            erase_time: Some(map::timestamp(erased.erase_time)),
            remaining: REMAINING.to_owned(),
            copies: before
                .map(|copy| v1::KnownCopy {
                    place: copy.place,
                    copy_time: Some(map::timestamp(copy.copy_time)),
                })
                .collect(),
        })
    }
}
