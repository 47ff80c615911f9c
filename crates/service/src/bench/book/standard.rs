//! The standard methods, once for every kind of record in the book.

use prost::Message;
use prost_types::FieldMask;
use store::record::RecordId;
use store::{ListQuery, Saved, StoreError};
use wire::names::{Name, chosen_id};
use wire::records::page_size;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::super::{checked, fields, given, named_change, refusal, request_key};
use super::kept::{Kept, Listed};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page_token::{self, Token};

/// What every change of a record carries.
pub(super) struct Change<'a, M> {
    pub(super) method: &'static str,
    pub(super) request_id: &'a str,
    /// The request as a whole, for its digest.
    pub(super) request: &'a M,
}

/// What every list is asked with.
pub(super) struct Paging<'a> {
    pub(super) size: i32,
    pub(super) token: &'a str,
    pub(super) show_deleted: bool,
    /// The filters, as the token remembers them.
    pub(super) filter: String,
}

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

    pub(in crate::bench) fn read<R: Listed>(&self, name: &str, revisable: bool) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let at = violations.at("name");
        let found = match revisable {
            true => R::COLLECTION.revisable(name, at),
            false => R::COLLECTION.id(name, at).map(|id| Name { id, revision: None }),
        };
        let found = checked(violations, found)?;
        self.read_named::<R>(&found, name).map(|(record, _)| record)
    }

    /// A record, at a revision where one is named; and as it is kept.
    pub(in crate::bench) fn read_named<R: Listed>(
        &self,
        name: &Name,
        shown: &str,
    ) -> Result<(R, Saved<R::Body>), ServiceError> {
        let missing = || ServiceError::NotFound { name: shown.to_owned() };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let found = match name.revision {
            Some(revision) => self.store.get_revision::<R::Body>(&id, revision),
            None => self.store.get::<R::Body>(&id),
        };
        let saved = found.map_err(refusal(shown, ""))?;
        let record = R::told(&saved).map_err(refusal(shown, ""))?;
        Ok((record, saved))
    }

    /// Records that `keep` takes, and the token of the next page.
    pub(super) fn list_of<R: Listed>(
        &self,
        paging: &Paging<'_>,
        mut violations: Violations,
        keep: impl Fn(&R) -> bool,
    ) -> Result<(Vec<R>, String), ServiceError> {
        let limit = page_size(paging.size, &mut violations);
        let segment = R::COLLECTION.segment();
        let filter = format!("{segment}|{}|{}", paging.show_deleted, paging.filter);
        let after = page_token::read(paging.token, &filter, &mut violations);
        violations.finish()?;
        let query = ListQuery {
            show_deleted: paging.show_deleted,
            after: after.and_then(Token::cursor),
            limit,
        };
        // One that cannot be read is taken along, and told of as damage.
        let keep = |saved: &Saved<R::Body>| R::content(&saved.body).as_ref().map_or(true, &keep);
        let page = self.store.list(&query, keep).map_err(refusal(segment, ""))?;
        let records: Result<Vec<R>, StoreError> = page.records.iter().map(R::told).collect();
        let records = records.map_err(refusal(segment, ""))?;
        Ok((records, page_token::write(page.next.map(Token::of_cursor), &filter)))
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

    pub(super) fn delete<R: Listed, M: Message>(
        &self,
        change: &Change<'_, M>,
        (name, etag): (&str, &str),
    ) -> Result<R, ServiceError> {
        let (key, id) = named_change(change.method, R::COLLECTION, (name, change.request_id), change.request)?;
        let refused = refusal(name, change.request_id);
        let saved = self
            .store
            .delete::<R::Body>(self.now(), &key, &id, given(etag))
            .map_err(&refused)?;
        R::told(&saved).map_err(&refused)
    }

    pub(super) fn undelete<R: Listed, M: Message>(
        &self,
        change: &Change<'_, M>,
        (name, etag): (&str, &str),
    ) -> Result<R, ServiceError> {
        let (key, id) = named_change(change.method, R::COLLECTION, (name, change.request_id), change.request)?;
        let refused = refusal(name, change.request_id);
        let saved = self
            .store
            .undelete::<R::Body>(self.now(), &key, &id, given(etag))
            .map_err(&refused)?;
        R::told(&saved).map_err(&refused)
    }

    pub(super) fn revisions_of<R: Listed>(
        &self,
        name: &str,
        size: i32,
        token: &str,
    ) -> Result<(Vec<R>, String), ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(size, &mut violations);
        let filter = format!("revisions|{name}");
        let before = page_token::read(token, &filter, &mut violations);
        let id = R::COLLECTION.id(name, violations.at("name"));
        let id = checked(violations, id.as_deref().and_then(RecordId::parse))?;
        let refused = refusal(name, "");
        let page = self
            .store
            .revisions::<R::Body>(&id, before.and_then(Token::revision), limit)
            .map_err(&refused)?;
        let revisions: Result<Vec<R>, StoreError> = page.revisions.iter().map(R::told).collect();
        Ok((
            revisions.map_err(&refused)?,
            page_token::write(page.next.map(Token::of_revision), &filter),
        ))
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
