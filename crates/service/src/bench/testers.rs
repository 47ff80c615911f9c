//! Testers with their calibrations, as records.

pub(super) mod applied;

use store::{Saved, StoreError, TesterBody};
use wire::names::Collection;
use wire::records::moment;
use wire::v1;
use wire::violation::{Scope, Violations};

use super::Bench;
use super::fields::{Field, fields};
use super::map::tester as map;
use super::standard::plain::Plain;
use super::standard::{Paging, Recorded, change_of, standard_methods};
use crate::error::ServiceError;

impl Recorded for v1::Tester {
    type Stored = TesterBody;
    const COLLECTION: Collection = Collection::Testers;
    const WATCHED: bool = true;

    fn of_saved(saved: &Saved<TesterBody>) -> Result<Self, StoreError> {
        Ok(map::tester(saved))
    }
}

impl Plain for v1::Tester {
    type Content = TesterBody;
    const PLACE: &'static str = "tester";
    const WORDS: &'static str = "tester";
    const FIELDS: &'static [Field<Self, TesterBody>] = fields! {
        label: |tester| !tester.label.is_empty();
        calibration: |tester| tester.calibration.is_some();
        frame: |tester| tester.frame.is_some();
        load_cell: |tester| tester.load_cell.is_some();
        load_resolution: |tester| tester.load_resolution.is_some();
        deflection_resolution: |tester| tester.deflection_resolution.is_some();
        deflection_scale_limit_ratio: |tester| tester.deflection_scale_limit_ratio.is_some();
        instrument: |tester| !tester.instrument.is_empty();
        notes: |tester| !tester.notes.is_empty();
    };

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, at: Scope<'_>) {
        wire::testers::tester(self, at);
    }

    fn content(&self) -> TesterBody {
        map::tester_body(self)
    }

    fn stored(content: TesterBody) -> TesterBody {
        content
    }

    fn content_mut(stored: &mut TesterBody) -> &mut TesterBody {
        stored
    }
}

standard_methods! {
    "tester", Tester:
    get_tester(GetTesterRequest),
    delete_tester(DeleteTesterRequest),
    undelete_tester(UndeleteTesterRequest),
    list_tester_revisions(ListTesterRevisionsRequest) -> ListTesterRevisionsResponse
}

impl Bench {
    /// Enters a tester.
    pub fn create_tester(&self, request: v1::CreateTesterRequest) -> Result<v1::Tester, ServiceError> {
        let change = change_of!(CreateTesterRequest, request);
        self.create_plain(&change, &request.tester_id, request.tester.as_ref())
    }

    /// Testers, by name.
    pub fn list_testers(&self, request: v1::ListTestersRequest) -> Result<v1::ListTestersResponse, ServiceError> {
        let mut violations = Violations::new();
        let due = moment(request.due_before.as_ref(), violations.at("due_before"));
        let paging = Paging {
            size: request.page_size,
            token: &request.page_token,
            show_deleted: request.show_deleted,
            filter: format!("{due:?}"),
        };
        let keep = |tester: &TesterBody| {
            let calibration = tester.calibration.as_ref();
            let of_tester = calibration.and_then(|calibration| calibration.due_time.as_ref());
            due.is_none_or(|before| of_tester.is_some_and(|due| (due.seconds, due.nanos) < before))
        };
        let (testers, next_page_token) = self.list_of(&paging, violations, keep)?;
        Ok(v1::ListTestersResponse {
            testers,
            next_page_token,
        })
    }

    /// Changes a tester.
    pub fn update_tester(&self, request: v1::UpdateTesterRequest) -> Result<v1::Tester, ServiceError> {
        let change = change_of!(UpdateTesterRequest, request);
        self.update_plain(&change, request.tester.as_ref(), request.update_mask.as_ref())
    }
}
