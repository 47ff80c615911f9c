//! Testers with their calibrations, as records.

pub(super) mod applied;

use store::record::RecordId;
use store::{ListQuery, Saved, TesterBody};
use wire::names::{Collection, Name, chosen_id};
use wire::records::page_size;
use wire::testers::moment;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::map::tester as map;
use super::{Bench, checked, given, named_change, refusal, request_key};
use crate::error::ServiceError;
use crate::page_token::{self, Token};

impl Bench {
    /// Enters a tester.
    pub fn create_tester(&self, request: v1::CreateTesterRequest) -> Result<v1::Tester, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("CreateTester", &request.request_id, &request, &mut violations);
        let id = chosen_id(&request.tester_id, violations.at("tester_id"));
        let body = checked_tester(request.tester.as_ref(), &mut violations);
        let (key, body) = checked(violations, key.zip(body))?;
        let id = id.as_deref().and_then(RecordId::parse);
        let name = id.as_ref().map(|id| Collection::Testers.name(id.as_str()));
        let saved = self
            .store
            .create(self.now(), &key, id.as_ref(), body)
            .map_err(refusal(&name.unwrap_or_default(), &request.request_id))?;
        self.record_changed();
        Ok(map::tester(&saved))
    }

    /// One tester.
    pub fn get_tester(&self, request: v1::GetTesterRequest) -> Result<v1::Tester, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Testers.revisable(&request.name, violations.at("name"));
        let name = checked(violations, name)?;
        self.tester_at(&name, &request.name).map(|saved| map::tester(&saved))
    }

    /// A tester, at a revision where one is named.
    fn tester_at(&self, name: &Name, shown: &str) -> Result<Saved<TesterBody>, ServiceError> {
        let missing = || ServiceError::NotFound { name: shown.to_owned() };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let found = match name.revision {
            Some(revision) => self.store.get_revision(&id, revision),
            None => self.store.get(&id),
        };
        found.map_err(refusal(shown, ""))
    }

    /// Testers, by name.
    pub fn list_testers(&self, request: v1::ListTestersRequest) -> Result<v1::ListTestersResponse, ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(request.page_size, &mut violations);
        let due = request.due_before.as_ref();
        let due = due.and_then(|time| moment(time, violations.at("due_before")));
        let filter = format!("testers|{}|{due:?}", request.show_deleted);
        let after = page_token::read(&request.page_token, &filter, &mut violations);
        violations.finish()?;
        let query = ListQuery {
            show_deleted: request.show_deleted,
            after: after.and_then(Token::cursor),
            limit,
        };
        let keep = |saved: &Saved<TesterBody>| {
            let calibration = saved.body.calibration.as_ref();
            let of_tester = calibration.and_then(|calibration| calibration.due_time.as_ref());
            due.is_none_or(|before| of_tester.is_some_and(|due| (due.seconds, due.nanos) < before))
        };
        let page = self.store.list(&query, keep).map_err(refusal("testers", ""))?;
        Ok(v1::ListTestersResponse {
            testers: page.records.iter().map(map::tester).collect(),
            next_page_token: page_token::write(page.next.map(Token::of_cursor), &filter),
        })
    }

    /// Changes a tester.
    pub fn update_tester(&self, request: v1::UpdateTesterRequest) -> Result<v1::Tester, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("UpdateTester", &request.request_id, &request, &mut violations);
        let entered = request.tester.clone().unwrap_or_default();
        let id = Collection::Testers.id(&entered.name, violations.at("tester").at("name"));
        let body = checked_tester(request.tester.as_ref(), &mut violations);
        let fields = mask(request.update_mask.as_ref(), &entered, &mut violations);
        let ((key, id), body) = checked(violations, key.zip(id).zip(body))?;
        let name = entered.name.clone();
        let id = RecordId::parse(&id).ok_or(ServiceError::NotFound { name })?;
        let change = |before: &TesterBody| -> Result<TesterBody, store::StoreError> {
            let mut after = before.clone();
            for field in &fields {
                (field.copy)(&body, &mut after);
            }
            Ok(after)
        };
        let saved = self
            .store
            .update(self.now(), &key, &id, given(&entered.etag), change)
            .map_err(refusal(&entered.name, &request.request_id))?;
        self.record_changed();
        Ok(map::tester(&saved))
    }

    /// Deletes a tester.
    pub fn delete_tester(&self, request: v1::DeleteTesterRequest) -> Result<v1::Tester, ServiceError> {
        let named = (request.name.as_str(), request.request_id.as_str());
        let (key, id) = named_change("DeleteTester", Collection::Testers, named, &request)?;
        let saved = self
            .store
            .delete::<TesterBody>(self.now(), &key, &id, given(&request.etag))
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        Ok(map::tester(&saved))
    }

    /// Brings a deleted tester back.
    pub fn undelete_tester(&self, request: v1::UndeleteTesterRequest) -> Result<v1::Tester, ServiceError> {
        let named = (request.name.as_str(), request.request_id.as_str());
        let (key, id) = named_change("UndeleteTester", Collection::Testers, named, &request)?;
        let saved = self
            .store
            .undelete::<TesterBody>(self.now(), &key, &id, given(&request.etag))
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        Ok(map::tester(&saved))
    }

    /// What a tester's record was, newest first.
    pub fn list_tester_revisions(
        &self,
        request: v1::ListTesterRevisionsRequest,
    ) -> Result<v1::ListTesterRevisionsResponse, ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(request.page_size, &mut violations);
        let filter = format!("revisions|{}", request.name);
        let before = page_token::read(&request.page_token, &filter, &mut violations);
        let id = Collection::Testers.id(&request.name, violations.at("name"));
        let id = checked(violations, id.as_deref().and_then(RecordId::parse))?;
        let page = self
            .store
            .revisions::<TesterBody>(&id, before.and_then(Token::revision), limit)
            .map_err(refusal(&request.name, ""))?;
        Ok(v1::ListTesterRevisionsResponse {
            revisions: page.revisions.iter().map(map::tester).collect(),
            next_page_token: page_token::write(page.next.map(Token::of_revision), &filter),
        })
    }
}

fn checked_tester(tester: Option<&v1::Tester>, violations: &mut Violations) -> Option<TesterBody> {
    let Some(tester) = tester else {
        violations.push("tester", Reason::ValueMissing, "a tester is required");
        return None;
    };
    wire::testers::tester(tester, violations.at("tester"));
    Some(map::tester_body(tester))
}

/// A field of a tester that a mask can name.
struct Field {
    name: &'static str,
    populated: fn(&v1::Tester) -> bool,
    copy: fn(&TesterBody, &mut TesterBody),
}

macro_rules! fields {
    ($($field:ident: $populated:expr;)*) => {
        const FIELDS: &[Field] = &[$(Field {
            name: stringify!($field),
            populated: $populated,
            copy: |from, to| to.$field.clone_from(&from.$field),
        }),*];
    };
}

fields! {
    label: |tester| !tester.label.is_empty();
    calibration: |tester| tester.calibration.is_some();
    frame: |tester| tester.frame.is_some();
    load_cell: |tester| tester.load_cell.is_some();
    load_resolution: |tester| tester.load_resolution.is_some();
    deflection_resolution: |tester| tester.deflection_resolution.is_some();
    deflection_scale_limit_ratio: |tester| tester.deflection_scale_limit_ratio.is_some();
    instrument: |tester| !tester.instrument.is_empty();
    notes: |tester| !tester.notes.is_empty();
}

/// The fields an update changes: those of the mask, every one for `*`, the populated ones without a mask.
fn mask(
    mask: Option<&prost_types::FieldMask>,
    tester: &v1::Tester,
    violations: &mut Violations,
) -> Vec<&'static Field> {
    let paths = mask.map(|mask| mask.paths.as_slice()).unwrap_or_default();
    match paths {
        [] => FIELDS.iter().filter(|field| (field.populated)(tester)).collect(),
        [all] if all == "*" => FIELDS.iter().collect(),
        paths => {
            let names: Vec<&str> = FIELDS.iter().map(|field| field.name).collect();
            let chosen = super::masked(paths, &names, violations);
            chosen.into_iter().filter_map(|index| FIELDS.get(index)).collect()
        }
    }
}
