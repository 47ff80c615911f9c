//! What is the same for every kind of record of the drawer.

use prost::Message;
use store::record::{NamedStack, RecordId, StackValues};
use store::{DamperBody, Entered, ListQuery, Saved, ShimLotBody, StackBody, StoreError};
use wire::names::{Collection, Name, chosen_id};
use wire::records::page_size;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::valving::drawer as checks;
use wire::violation::{Scope, Violations};

use super::map;
use crate::bench::fields::{Field, chosen, fields};
use crate::bench::map::{signed, timestamp};
use crate::bench::{Bench, checked, given, named_change, refusal, request_key};
use crate::error::ServiceError;
use crate::page_token::{self, Token};

/// A kind of record of the drawer, with its words on the wire.
pub(super) trait Kept: Entered {
    /// The record on the wire.
    type Told: Message + Clone + Default;
    /// What is entered of it.
    type Content: Clone + 'static;
    const COLLECTION: Collection;
    /// The record's field in requests.
    const FIELD: &'static str;
    /// What an update can change.
    const FIELDS: &'static [Field<Self::Told, Self::Content>];

    /// Checks a record as entered.
    fn check(told: &Self::Told, at: Scope<'_>);
    /// What is entered, as it is kept.
    fn content(told: &Self::Told) -> Self::Content;
    /// A new record of it.
    fn of(content: Self::Content) -> Self;
    fn content_mut(&mut self) -> &mut Self::Content;
    /// As it is told, but for what the store adds.
    fn told(&self) -> Self::Told;
    /// Puts what the store adds to it: the first eight fields of every record.
    fn stamp(told: &mut Self::Told, stamps: Stamps);
    fn label(&self) -> &str;

    /// Where a record names stacks that are not in the drawer.
    fn none_named(_told: &Self::Told, _stacks: &[NamedStack]) -> Violations {
        Violations::new()
    }

    /// Refuses a change that the record does not allow as it is.
    fn may_become(&self, _changed: &Self, _asked: &Self::Told, _name: &str) -> Result<(), ServiceError> {
        Ok(())
    }
}

/// What the store adds to a record.
pub(super) struct Stamps {
    name: String,
    uid: String,
    etag: String,
    revision: i64,
    create_time: Option<prost_types::Timestamp>,
    update_time: Option<prost_types::Timestamp>,
    delete_time: Option<prost_types::Timestamp>,
    purge_time: Option<prost_types::Timestamp>,
}

/// A record as it is told.
pub(super) fn told<B: Kept>(saved: &Saved<B>) -> B::Told {
    let mut told = saved.body.told();
    let stamps = Stamps {
        name: B::COLLECTION.name(saved.id.as_str()),
        uid: saved.uid.clone(),
        etag: saved.etag(),
        revision: signed(saved.revision),
        create_time: Some(timestamp(saved.create_time)),
        update_time: Some(timestamp(saved.update_time)),
        delete_time: saved.delete_time.map(timestamp),
        purge_time: saved.purge_time.map(timestamp),
    };
    B::stamp(&mut told, stamps);
    told
}

macro_rules! words {
    ($told:ty) => {
        type Told = $told;

        fn stamp(told: &mut $told, stamps: Stamps) {
            (told.name, told.uid, told.etag, told.revision) = (stamps.name, stamps.uid, stamps.etag, stamps.revision);
            (told.create_time, told.update_time) = (stamps.create_time, stamps.update_time);
            (told.delete_time, told.purge_time) = (stamps.delete_time, stamps.purge_time);
        }
    };
}

impl Kept for ShimLotBody {
    words!(v1::ShimLot);
    type Content = Self;
    const COLLECTION: Collection = Collection::ShimLots;
    const FIELD: &'static str = "shim_lot";
    const FIELDS: &'static [Field<v1::ShimLot, Self>] = fields! {
        label: |lot| !lot.label.is_empty();
        outer_diameter: |lot| lot.outer_diameter.is_some();
        inner_diameter: |lot| lot.inner_diameter.is_some();
        thickness: |lot| lot.thickness.is_some();
        material: |lot| !lot.material.is_empty();
        drawer_place: |lot| !lot.drawer_place.is_empty();
        notes: |lot| !lot.notes.is_empty();
    };

    fn check(told: &v1::ShimLot, at: Scope<'_>) {
        checks::shim_lot(told, at);
    }

    fn content(told: &v1::ShimLot) -> Self {
        map::lot_body(told)
    }

    fn of(content: Self) -> Self {
        content
    }

    fn content_mut(&mut self) -> &mut Self {
        self
    }

    fn told(&self) -> v1::ShimLot {
        map::lot(self)
    }

    fn label(&self) -> &str {
        &self.label
    }

    fn may_become(&self, _changed: &Self, asked: &v1::ShimLot, name: &str) -> Result<(), ServiceError> {
        let mut violations = Violations::new();
        if asked
            .count
            .is_some_and(|count| i64::from(count) != i64::from(self.count))
        {
            violations.at("shim_lot").at("count").push(
                Reason::Conflict,
                format_args!(
                    "{name} has {} shims; AdjustShimCount, BuildStack and UnbuildStack alone change that",
                    self.count
                ),
            );
        }
        Ok(violations.finish()?)
    }
}

impl Kept for StackBody {
    words!(v1::Stack);
    type Content = StackValues;
    const COLLECTION: Collection = Collection::Stacks;
    const FIELD: &'static str = "stack";
    const FIELDS: &'static [Field<v1::Stack, StackValues>] = fields! {
        label: |stack| !stack.label.is_empty();
        faces: |stack| !stack.faces.is_empty();
        layers: |stack| !stack.layers.is_empty();
        clamp: |stack| stack.clamp.is_some();
        seat: |stack| stack.seat.is_some();
        stop: |stack| stack.stop.is_some();
        modulus: |stack| stack.modulus.is_some();
        poisson_ratio: |stack| stack.poisson_ratio.is_some();
        stress_limit: |stack| stack.stress_limit.is_some();
        friction_factor: |stack| stack.friction_factor.is_some();
        notes: |stack| !stack.notes.is_empty();
    };

    fn check(told: &v1::Stack, at: Scope<'_>) {
        checks::stack(told, at);
    }

    fn content(told: &v1::Stack) -> StackValues {
        map::stack_values(told)
    }

    fn of(content: StackValues) -> Self {
        Self {
            values: Some(content),
            ..Self::default()
        }
    }

    fn content_mut(&mut self) -> &mut StackValues {
        self.values.get_or_insert_default()
    }

    fn told(&self) -> v1::Stack {
        map::stack(self)
    }

    fn label(&self) -> &str {
        self.values.as_ref().map_or("", |values| &values.label)
    }

    /// Shims that were taken for it are where its layers say.
    fn may_become(&self, changed: &Self, _asked: &v1::Stack, name: &str) -> Result<(), ServiceError> {
        let layers = |body: &Self| body.values.as_ref().map(|values| values.layers.clone());
        if self.built && layers(self) != layers(changed) {
            return Err(ServiceError::StackBuilt { name: name.to_owned() });
        }
        Ok(())
    }
}

impl Kept for DamperBody {
    words!(v1::Damper);
    type Content = Self;
    const COLLECTION: Collection = Collection::Dampers;
    const FIELD: &'static str = "damper";
    const FIELDS: &'static [Field<v1::Damper, Self>] = fields! {
        label: |damper| !damper.label.is_empty();
        bore: |damper| damper.bore.is_some();
        shaft_diameter: |damper| damper.shaft_diameter.is_some();
        compression: |damper| damper.compression.is_some();
        rebound: |damper| damper.rebound.is_some();
        base_compression: |damper| damper.base_compression.is_some();
        base_rebound: |damper| damper.base_rebound.is_some();
        gas: |damper| damper.gas.is_some();
        friction: |damper| damper.friction.is_some();
        friction_velocity: |damper| damper.friction_velocity.is_some();
        oil: |damper| damper.oil.is_some();
        notes: |damper| !damper.notes.is_empty();
    };

    fn check(told: &v1::Damper, at: Scope<'_>) {
        checks::damper(told, at);
    }

    fn content(told: &v1::Damper) -> Self {
        map::damper_body(told)
    }

    fn of(content: Self) -> Self {
        content
    }

    fn content_mut(&mut self) -> &mut Self {
        self
    }

    fn told(&self) -> v1::Damper {
        map::damper(self)
    }

    fn label(&self) -> &str {
        &self.label
    }

    fn none_named(told: &v1::Damper, stacks: &[NamedStack]) -> Violations {
        use v1::stack_valve::Source;
        let mut violations = Violations::new();
        let mut at = violations.at(Self::FIELD);
        for (place, circuit) in checks::circuits(told) {
            let valve = circuit.and_then(|circuit| circuit.valve.as_ref());
            if let Some(Source::Stack(name)) = valve.and_then(|valve| valve.source.as_ref())
                && stacks.iter().any(|stack| map::name_of(stack) == *name)
            {
                at.at(place).at("valve").at("stack").push(
                    Reason::UnknownName,
                    format_args!("\"{name}\" is not in the drawer, or deleted"),
                );
            }
        }
        violations
    }
}

/// What an error of the store means for a record that is written: names of what is not there are faults of it.
fn written<B: Kept>(error: StoreError, record: &B::Told, (name, request_id): (&str, &str)) -> ServiceError {
    if let StoreError::NoneNamed { stacks } = &error
        && let Err(faults) = B::none_named(record, stacks).finish()
    {
        return faults.into();
    }
    refusal(name, request_id)(error)
}

/// Why a change was not made, where the record is looked at while it is planned.
pub(super) enum Refused {
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
    pub(super) fn told(self, name: &str, request_id: &str) -> ServiceError {
        match self {
            Self::Store(error) => refusal(name, request_id)(error),
            Self::Service(error) => error,
        }
    }
}

/// What the change of one record says of itself.
pub(super) struct Asked<'a, M> {
    pub(super) method: &'static str,
    /// The record's name, or the id chosen for it.
    pub(super) name: &'a str,
    pub(super) etag: &'a str,
    pub(super) request_id: &'a str,
    pub(super) request: &'a M,
}

/// Which records are listed, and where the list goes on.
pub(super) struct Listing<'a> {
    pub(super) page_size: i32,
    pub(super) page_token: &'a str,
    pub(super) show_deleted: bool,
    pub(super) label_contains: &'a str,
    /// Every further filter, as text: a token fits these alone.
    pub(super) further: String,
}

impl Bench {
    pub(super) fn create_kept<B: Kept, M: Message>(
        &self,
        asked: Asked<'_, M>,
        record: Option<&B::Told>,
    ) -> Result<B::Told, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(asked.method, asked.request_id, asked.request, &mut violations);
        let id_field = format!("{}_id", B::FIELD);
        let id = chosen_id(asked.name, violations.at(&id_field));
        match record {
            Some(record) => B::check(record, violations.at(B::FIELD)),
            None => violations.push(
                B::FIELD,
                Reason::ValueMissing,
                "what is put into the drawer is required",
            ),
        }
        let (key, record) = checked(violations, key.zip(record))?;
        let id = id.as_deref().and_then(RecordId::parse);
        let name = id.as_ref().map(|id| B::COLLECTION.name(id.as_str()));
        let saved = self
            .store
            .create(self.now(), &key, id.as_ref(), B::of(B::content(record)))
            .map_err(|error| {
                let name = name.as_deref().unwrap_or_default();
                written::<B>(error, record, (name, asked.request_id))
            })?;
        Ok(told(&saved))
    }

    pub(super) fn get_kept<B: Kept>(&self, name: &str) -> Result<B::Told, ServiceError> {
        let mut violations = Violations::new();
        let read = B::COLLECTION.revisable(name, violations.at("name"));
        let read = checked(violations, read)?;
        Ok(told(&self.kept_at::<B>(&read, name)?))
    }

    /// A record, at a revision where one is named.
    pub(super) fn kept_at<B: Kept>(&self, name: &Name, shown: &str) -> Result<Saved<B>, ServiceError> {
        let missing = || ServiceError::NotFound { name: shown.to_owned() };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let found = match name.revision {
            Some(revision) => self.store.get_revision(&id, revision),
            None => self.store.get(&id),
        };
        found.map_err(refusal(shown, ""))
    }

    /// Records by name, and where the list goes on.
    pub(super) fn list_kept<B: Kept>(
        &self,
        asked: &Listing<'_>,
        mut violations: Violations,
        keep: impl Fn(&B) -> bool,
    ) -> Result<(Vec<B::Told>, String), ServiceError> {
        let limit = page_size(asked.page_size, &mut violations);
        let wanted = asked.label_contains.to_lowercase();
        let (segment, deleted) = (B::COLLECTION.segment(), asked.show_deleted);
        let filter = format!("{segment}|{deleted}|{}|{wanted}", asked.further);
        let after = page_token::read(asked.page_token, &filter, &mut violations);
        violations.finish()?;
        let query = ListQuery {
            show_deleted: asked.show_deleted,
            after: after.and_then(Token::cursor),
            limit,
        };
        let labelled = |body: &B| wanted.is_empty() || body.label().to_lowercase().contains(&wanted);
        let page = self
            .store
            .list(&query, |saved: &Saved<B>| labelled(&saved.body) && keep(&saved.body))
            .map_err(refusal(segment, ""))?;
        let token = page_token::write(page.next.map(Token::of_cursor), &filter);
        Ok((page.records.iter().map(told).collect(), token))
    }

    pub(super) fn update_kept<B: Kept, M: Message>(
        &self,
        asked: Asked<'_, M>,
        record: Option<&B::Told>,
        mask: Option<&prost_types::FieldMask>,
    ) -> Result<B::Told, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(asked.method, asked.request_id, asked.request, &mut violations);
        let id = B::COLLECTION.id(asked.name, violations.at(B::FIELD).at("name"));
        let record = record.cloned().unwrap_or_default();
        let chosen = chosen(mask, B::FIELDS, &record, &mut violations);
        let mut faults = Violations::new();
        B::check(&record, faults.at(B::FIELD));
        let populated = |name: &str| {
            let field = B::FIELDS.iter().find(|field| field.name == name);
            field.is_some_and(|field| (field.populated)(&record))
        };
        checks::of_part(faults, B::FIELD, populated, &mut violations);
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let content = B::content(&record);
        let change = |before: &B| -> Result<B, Refused> {
            let mut after = before.clone();
            chosen
                .iter()
                .for_each(|field| (field.copy)(&content, after.content_mut()));
            after.keep_fixed(before);
            before
                .may_become(&after, &record, asked.name)
                .map_err(Refused::Service)?;
            let mut violations = Violations::new();
            B::check(&after.told(), violations.at(B::FIELD));
            violations.finish().map_err(|faults| Refused::Service(faults.into()))?;
            Ok(after)
        };
        let saved = self
            .store
            .update(self.now(), &key, &id, given(asked.etag), change)
            .map_err(|refused| match refused {
                Refused::Store(error) => written::<B>(error, &record, (asked.name, asked.request_id)),
                Refused::Service(error) => error,
            })?;
        Ok(told(&saved))
    }

    pub(super) fn delete_kept<B: Kept, M: Message>(&self, asked: Asked<'_, M>) -> Result<B::Told, ServiceError> {
        let named = (asked.name, asked.request_id);
        let (key, id) = named_change(asked.method, B::COLLECTION, named, asked.request)?;
        let saved = self.store.delete::<B>(self.now(), &key, &id, given(asked.etag));
        Ok(told(&saved.map_err(refusal(asked.name, asked.request_id))?))
    }

    pub(super) fn undelete_kept<B: Kept, M: Message>(&self, asked: Asked<'_, M>) -> Result<B::Told, ServiceError> {
        let named = (asked.name, asked.request_id);
        let (key, id) = named_change(asked.method, B::COLLECTION, named, asked.request)?;
        let saved = self.store.undelete::<B>(self.now(), &key, &id, given(asked.etag));
        Ok(told(&saved.map_err(refusal(asked.name, asked.request_id))?))
    }

    /// What a record was, newest first, and where the list goes on.
    pub(super) fn kept_revisions<B: Kept>(
        &self,
        name: &str,
        asked_size: i32,
        token: &str,
    ) -> Result<(Vec<B::Told>, String), ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(asked_size, &mut violations);
        let filter = format!("revisions|{name}");
        let before = page_token::read(token, &filter, &mut violations);
        let id = B::COLLECTION.id(name, violations.at("name"));
        let id = checked(violations, id.as_deref().and_then(RecordId::parse))?;
        let page = self
            .store
            .revisions::<B>(&id, before.and_then(Token::revision), limit)
            .map_err(refusal(name, ""))?;
        let token = page_token::write(page.next.map(Token::of_revision), &filter);
        Ok((page.revisions.iter().map(told).collect(), token))
    }
}
