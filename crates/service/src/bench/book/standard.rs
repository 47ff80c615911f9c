//! Entering and changing records of the book, which are kept as they are sent: encoded.

use prost::Message;
use prost_types::FieldMask;
use store::StoreError;
use store::record::RecordId;
use wire::names::chosen_id;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::super::{checked, fields, refusal, request_key};
use super::kept::{Kept, Listed};
use crate::bench::Bench;
use crate::bench::standard::Change;
use crate::error::ServiceError;

impl Bench {
    pub(super) fn enter<R: Listed, M: Message>(
        &self,
        change: &Change<'_, M>,
        id: &str,
        record: Option<&R>,
    ) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(change.method, change.request_id, change.request, &mut violations);
        let id_field = format!("{}_id", R::PLACE);
        let id = chosen_id(id, violations.at(&id_field));
        match record {
            Some(record) => record.check(true, violations.at(R::PLACE)),
            None => violations.push(
                R::PLACE,
                Reason::ValueMissing,
                format_args!("a {} is required", R::WORDS),
            ),
        }
        // What is named elsewhere is looked for only once all the rest is in order: a repeat is answered as it was.
        let (key, mut record) = match violations.is_empty() {
            true => checked(violations, key.zip(record.cloned()))?,
            false => return checked(violations, None),
        };
        let id = id.as_deref().and_then(RecordId::parse);
        let name = id
            .as_ref()
            .map(|id| R::COLLECTION.name(id.as_str()))
            .unwrap_or_default();
        let refused = refusal(&name, change.request_id);
        if let Some(saved) = self.store.answered::<R::Body>(&key).map_err(&refused)? {
            return R::told(&saved).map_err(&refused);
        }
        let mut violations = Violations::new();
        record.prepare(self, None, &mut violations)?;
        violations.finish()?;
        let saved = self
            .store
            .create(self.now(), &key, id.as_ref(), record.body())
            .map_err(&refused)?;
        R::told(&saved).map_err(&refused)
    }

    pub(super) fn change<R: Listed, M: Message>(
        &self,
        change: &Change<'_, M>,
        record: Option<&R>,
        mask: Option<&FieldMask>,
    ) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(change.method, change.request_id, change.request, &mut violations);
        let mut given = record.cloned().unwrap_or_default();
        let (name, etag) = (given.named().0.to_owned(), given.named().1.to_owned());
        let id = R::COLLECTION.id(&name, violations.at(R::PLACE).at("name"));
        let fields = fields::chosen(mask, R::FIELDS, &given, &mut violations);
        given.check(fields.len() == R::FIELDS.len(), violations.at(R::PLACE));
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let refused = refusal(&name, change.request_id);
        if let Some(saved) = self.store.answered::<R::Body>(&key).map_err(&refused)? {
            return R::told(&saved).map_err(&refused);
        }
        let before = self.store.get::<R::Body>(&id).map_err(&refused)?;
        let before = R::content(&before.body).map_err(&refused)?;
        let mut violations = Violations::new();
        given.prepare(self, Some(&before), &mut violations)?;
        violations.finish()?;
        let make = |before: &R::Body| -> Result<R::Body, StoreError> {
            let mut after = R::content(before)?;
            for field in &fields {
                (field.copy)(&given, &mut after);
            }
            Ok(after.body())
        };
        let saved = self
            .store
            .update(self.now(), &key, &id, super::super::given(&etag), make)
            .map_err(&refused)?;
        R::told(&saved).map_err(&refused)
    }

    /// The one record of a kind of which a shop has one; `None` while nothing was entered.
    pub(super) fn single<R: Kept>(
        &self,
        id: &RecordId,
        revision: Option<u64>,
        shown: &str,
    ) -> Result<Option<R>, ServiceError> {
        let found = match revision {
            Some(revision) => self.store.get_revision::<R::Body>(id, revision),
            None => self.store.get::<R::Body>(id),
        };
        match found {
            Ok(saved) => R::told(&saved).map(Some).map_err(refusal(shown, "")),
            Err(StoreError::NotFound) if revision.is_none() => Ok(None),
            Err(error) => Err(refusal(shown, "")(error)),
        }
    }
}
