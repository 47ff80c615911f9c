//! The rack of springs.

use store::record::RecordId;
use store::{Saved, SpringBody, StoreError};
use wire::names::Collection;
use wire::v1;
use wire::violation::{Scope, Violations};

use super::fields::{Field, fields};
use super::standard::plain::Plain;
use super::standard::{Paging, Recorded, change_of, standard_methods};
use super::{Bench, map, refusal};
use crate::error::ServiceError;

impl Recorded for v1::Spring {
    type Stored = SpringBody;
    const COLLECTION: Collection = Collection::Springs;
    const WATCHED: bool = true;

    fn of_saved(saved: &Saved<SpringBody>) -> Result<Self, StoreError> {
        Ok(map::spring(saved))
    }
}

impl Plain for v1::Spring {
    type Content = SpringBody;
    const PLACE: &'static str = "spring";
    const WORDS: &'static str = "spring";
    const FIELDS: &'static [Field<Self, SpringBody>] = fields! {
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

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, at: Scope<'_>) {
        wire::springs::spring(self, at);
    }

    fn content(&self) -> SpringBody {
        map::spring_body(self)
    }

    fn stored(content: SpringBody) -> SpringBody {
        content
    }

    fn content_mut(stored: &mut SpringBody) -> &mut SpringBody {
        stored
    }
}

standard_methods! {
    "spring", Spring:
    get_spring(GetSpringRequest),
    delete_spring(DeleteSpringRequest),
    undelete_spring(UndeleteSpringRequest),
    list_spring_revisions(ListSpringRevisionsRequest) -> ListSpringRevisionsResponse
}

impl Bench {
    /// Puts a spring on the rack.
    pub fn create_spring(&self, request: v1::CreateSpringRequest) -> Result<v1::Spring, ServiceError> {
        let change = change_of!(CreateSpringRequest, request);
        self.create_plain(&change, &request.spring_id, request.spring.as_ref())
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

    /// Springs, by name.
    pub fn list_springs(&self, request: v1::ListSpringsRequest) -> Result<v1::ListSpringsResponse, ServiceError> {
        let wanted = request.label_contains.to_lowercase();
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter: wanted.clone(),
        };
        let keep = |spring: &SpringBody| super::holds(&spring.label, &wanted);
        let (springs, next_page_token) = self.list_of(&paging, Violations::new(), keep)?;
        Ok(v1::ListSpringsResponse {
            springs,
            next_page_token,
        })
    }

    /// Changes a spring.
    pub fn update_spring(&self, request: v1::UpdateSpringRequest) -> Result<v1::Spring, ServiceError> {
        let change = change_of!(UpdateSpringRequest, request);
        self.update_plain(&change, request.spring.as_ref(), request.update_mask.as_ref())
    }
}
