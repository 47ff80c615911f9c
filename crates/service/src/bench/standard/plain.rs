//! Entering and changing records that stand field by field on disk.

use prost::Message;
use store::record::{NamedStack, RecordId};
use store::{Body as _, StoreError};
use wire::names::chosen_id;
use wire::records::of_part;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Scope, Violations};

use super::{Change, Recorded};
use crate::bench::fields::{Field, chosen};
use crate::bench::{Bench, checked, given, refusal, request_key};
use crate::error::ServiceError;

/// A record of the API whose fields are those that are kept.
pub(in crate::bench) trait Plain: Recorded + Clone + 'static {
    /// What is entered of it.
    type Content: Clone + 'static;
    /// Its field in requests.
    const PLACE: &'static str;
    /// What it is, in words.
    const WORDS: &'static str;
    /// What an update can change.
    const FIELDS: &'static [Field<Self, Self::Content>];

    /// Name and etag as sent.
    fn named(&self) -> (&str, &str);
    /// Checks it as entered.
    fn check(&self, at: Scope<'_>);
    /// What is entered, as it is kept.
    fn content(&self) -> Self::Content;
    /// A new record of it.
    fn stored(content: Self::Content) -> Self::Stored;
    fn content_mut(stored: &mut Self::Stored) -> &mut Self::Content;

    /// Where it names stacks that are not in the drawer.
    fn none_named(&self, _stacks: &[NamedStack]) -> Violations {
        Violations::new()
    }

    /// Refuses a change that the record as it is does not allow.
    fn may_become(&self, _before: &Self::Stored, _after: &Self::Stored) -> Result<(), ServiceError> {
        Ok(())
    }
}

/// What an error of the store means for a record that is written: names of what is not there are faults of it.
fn written<R: Plain>(error: StoreError, record: &R, (name, request_id): (&str, &str)) -> ServiceError {
    if let StoreError::NoneNamed { stacks } = &error
        && let Err(faults) = record.none_named(stacks).finish()
    {
        return faults.into();
    }
    refusal(name, request_id)(error)
}

/// Why a change was not made, where the record is looked at while it is planned.
pub(in crate::bench) enum Refused {
    Store(StoreError),
    Service(ServiceError),
}

impl From<StoreError> for Refused {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl Refused {
    /// What it means for the record of that name.
    pub(in crate::bench) fn told(self, name: &str, request_id: &str) -> ServiceError {
        match self {
            Self::Store(error) => refusal(name, request_id)(error),
            Self::Service(error) => error,
        }
    }
}

impl Bench {
    pub(in crate::bench) fn create_plain<R: Plain, M: Message>(
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
            Some(record) => record.check(violations.at(R::PLACE)),
            None => violations.push(
                R::PLACE,
                Reason::ValueMissing,
                format_args!("a {} is required", R::WORDS),
            ),
        }
        let (key, record) = checked(violations, key.zip(record))?;
        let id = id.as_deref().and_then(RecordId::parse);
        let name = id
            .as_ref()
            .map(|id| R::COLLECTION.name(id.as_str()))
            .unwrap_or_default();
        let saved = self
            .store
            .create(self.now(), &key, id.as_ref(), R::stored(record.content()));
        self.changed(saved, |error| written(error, record, (&name, change.request_id)))
    }

    pub(in crate::bench) fn update_plain<R: Plain, M: Message>(
        &self,
        change: &Change<'_, M>,
        record: Option<&R>,
        mask: Option<&prost_types::FieldMask>,
    ) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(change.method, change.request_id, change.request, &mut violations);
        if record.is_none() {
            violations.push(
                R::PLACE,
                Reason::ValueMissing,
                format_args!("a {} is required", R::WORDS),
            );
        }
        let record = record.cloned().unwrap_or_default();
        let (name, etag) = record.named();
        let id = R::COLLECTION.id(name, violations.at(R::PLACE).at("name"));
        let chosen = chosen(mask, R::FIELDS, &record, &mut violations);
        let mut faults = Violations::new();
        record.check(faults.at(R::PLACE));
        let populated = |name: &str| {
            let field = R::FIELDS.iter().find(|field| field.name == name);
            field.is_some_and(|field| (field.populated)(&record))
        };
        of_part(faults, R::PLACE, populated, &mut violations);
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let content = record.content();
        let make = |before: &R::Stored| -> Result<R::Stored, Refused> {
            let mut after = before.clone();
            let changed = R::content_mut(&mut after);
            chosen.iter().for_each(|field| (field.copy)(&content, changed));
            after.keep_fixed(before);
            record.may_become(before, &after).map_err(Refused::Service)?;
            Ok(after)
        };
        match self.store.update(self.now(), &key, &id, given(etag), make) {
            Err(Refused::Service(error)) => Err(error),
            Err(Refused::Store(error)) => Err(written(error, &record, (name, change.request_id))),
            Ok(saved) => self.changed(Ok(saved), refusal(name, change.request_id)),
        }
    }
}
