//! The rack of springs.

use store::record::RecordId;
use store::{ListQuery, SpringBody};
use wire::names::{Collection, chosen_id};
use wire::records::page_size;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::fields::{self, Field, fields};
use super::{Bench, checked, given, map, named_change, refusal, request_key};
use crate::error::ServiceError;
use crate::page_token::{self, Token};

impl Bench {
    /// Puts a spring on the rack.
    pub fn create_spring(&self, request: v1::CreateSpringRequest) -> Result<v1::Spring, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("CreateSpring", &request.request_id, &request, &mut violations);
        let id = chosen_id(&request.spring_id, violations.at("spring_id"));
        let body = self.checked_spring(request.spring.as_ref(), &mut violations);
        let (key, body) = checked(violations, key.zip(body))?;
        let id = id.as_deref().and_then(RecordId::parse);
        let name = id
            .as_ref()
            .map(|id| Collection::Springs.name(id.as_str()))
            .unwrap_or_default();
        let saved = self
            .store
            .create(self.now(), &key, id.as_ref(), body)
            .map_err(refusal(&name, &request.request_id))?;
        self.record_changed();
        Ok(map::spring(&saved))
    }

    fn checked_spring(&self, spring: Option<&v1::Spring>, violations: &mut Violations) -> Option<SpringBody> {
        let Some(spring) = spring else {
            violations.push("spring", Reason::ValueMissing, "a spring is required");
            return None;
        };
        wire::springs::spring(spring, violations.at("spring"));
        Some(map::spring_body(spring))
    }

    /// One spring.
    pub fn get_spring(&self, request: v1::GetSpringRequest) -> Result<v1::Spring, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Springs.revisable(&request.name, violations.at("name"));
        let name = checked(violations, name)?;
        self.spring_at(&name, &request.name).map(|saved| map::spring(&saved))
    }

    /// As [`Bench::get_spring`], where that takes microseconds: the newest revision, while nothing is being written.
    pub fn get_spring_at_once(&self, request: &v1::GetSpringRequest) -> Option<Result<v1::Spring, ServiceError>> {
        let mut violations = Violations::new();
        let name = Collection::Springs.revisable(&request.name, violations.at("name"))?;
        if name.revision.is_some() {
            return None;
        }
        let found = self.store.get_at_once(&RecordId::parse(&name.id)?)?;
        Some(
            found
                .map(|saved| map::spring(&saved))
                .map_err(refusal(&request.name, "")),
        )
    }

    /// A spring, at a revision where one is named.
    pub(super) fn spring_at(
        &self,
        name: &wire::names::Name,
        shown: &str,
    ) -> Result<store::Saved<SpringBody>, ServiceError> {
        let missing = || ServiceError::NotFound { name: shown.to_owned() };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let found = match name.revision {
            Some(revision) => self.store.get_revision(&id, revision),
            None => self.store.get(&id),
        };
        found.map_err(refusal(shown, ""))
    }

    /// Springs, by name.
    pub fn list_springs(&self, request: v1::ListSpringsRequest) -> Result<v1::ListSpringsResponse, ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(request.page_size, &mut violations);
        let wanted = request.label_contains.to_lowercase();
        let filter = format!("springs|{}|{wanted}", request.show_deleted);
        let after = page_token::read(&request.page_token, &filter, &mut violations);
        violations.finish()?;
        let query = ListQuery {
            show_deleted: request.show_deleted,
            after: after.and_then(Token::cursor),
            limit,
        };
        let keep =
            |saved: &store::Saved<SpringBody>| wanted.is_empty() || saved.body.label.to_lowercase().contains(&wanted);
        let page = self.store.list(&query, keep).map_err(refusal("springs", ""))?;
        Ok(v1::ListSpringsResponse {
            springs: page.records.iter().map(map::spring).collect(),
            next_page_token: page_token::write(page.next.map(Token::of_cursor), &filter),
        })
    }

    /// Changes a spring.
    pub fn update_spring(&self, request: v1::UpdateSpringRequest) -> Result<v1::Spring, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("UpdateSpring", &request.request_id, &request, &mut violations);
        let given = request.spring.clone().unwrap_or_default();
        let id = Collection::Springs.id(&given.name, violations.at("spring").at("name"));
        let body = self.checked_spring(request.spring.as_ref(), &mut violations);
        let fields = fields::chosen(request.update_mask.as_ref(), FIELDS, &given, &mut violations);
        let ((key, id), body) = checked(violations, key.zip(id).zip(body))?;
        let id = RecordId::parse(&id).ok_or(ServiceError::NotFound {
            name: given.name.clone(),
        })?;
        let etag = super::given(&given.etag);
        let refused = refusal(&given.name, &request.request_id);
        let change = |before: &SpringBody| -> Result<SpringBody, store::StoreError> {
            let mut after = before.clone();
            for field in &fields {
                (field.copy)(&body, &mut after);
            }
            Ok(after)
        };
        let saved = self
            .store
            .update(self.now(), &key, &id, etag, change)
            .map_err(refused)?;
        self.record_changed();
        Ok(map::spring(&saved))
    }

    /// Takes a spring off the rack.
    pub fn delete_spring(&self, request: v1::DeleteSpringRequest) -> Result<v1::Spring, ServiceError> {
        let (key, id) = named_change(
            "DeleteSpring",
            Collection::Springs,
            (&request.name, &request.request_id),
            &request,
        )?;
        let etag = given(&request.etag);
        let saved = self
            .store
            .delete::<SpringBody>(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        Ok(map::spring(&saved))
    }

    /// Brings a deleted spring back.
    pub fn undelete_spring(&self, request: v1::UndeleteSpringRequest) -> Result<v1::Spring, ServiceError> {
        let (key, id) = named_change(
            "UndeleteSpring",
            Collection::Springs,
            (&request.name, &request.request_id),
            &request,
        )?;
        let etag = given(&request.etag);
        let saved = self
            .store
            .undelete::<SpringBody>(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        Ok(map::spring(&saved))
    }

    /// What a spring's record was, newest first.
    pub fn list_spring_revisions(
        &self,
        request: v1::ListSpringRevisionsRequest,
    ) -> Result<v1::ListSpringRevisionsResponse, ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(request.page_size, &mut violations);
        let filter = format!("revisions|{}", request.name);
        let before = page_token::read(&request.page_token, &filter, &mut violations);
        let id = Collection::Springs.id(&request.name, violations.at("name"));
        let id = checked(violations, id.as_deref().and_then(RecordId::parse))?;
        let page = self
            .store
            .revisions::<SpringBody>(&id, before.and_then(Token::revision), limit)
            .map_err(refusal(&request.name, ""))?;
        Ok(v1::ListSpringRevisionsResponse {
            revisions: page.revisions.iter().map(map::spring).collect(),
            next_page_token: page_token::write(page.next.map(Token::of_revision), &filter),
        })
    }
}

/// What an update can change of a spring.
const FIELDS: &[Field<v1::Spring, SpringBody>] = fields! {
    label: |spring| !spring.label.is_empty();
    marked_rate: |spring| spring.marked_rate.is_some();
    marking_text: |spring| !spring.marking_text.is_empty();
    grade: |spring| spring.grade.is_some();
    free_length: |spring| spring.free_length.is_some();
    solid_length: |spring| spring.solid_length.is_some();
    wire_diameter: |spring| spring.wire_diameter.is_some();
    outside_diameter: |spring| spring.outside_diameter.is_some();
    inside_diameter: |spring| spring.inside_diameter.is_some();
    active_coil_count: |spring| spring.active_coil_count.is_some();
    total_coil_count: |spring| spring.total_coil_count.is_some();
    rack_place: |spring| !spring.rack_place.is_empty();
    notes: |spring| !spring.notes.is_empty();
    pair_spring: |spring| !spring.pair_spring.is_empty();
    tested_run: |spring| !spring.tested_run.is_empty();
};
