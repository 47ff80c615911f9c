//! Runs as records: looking, assigning, deleting, closing.

use store::record::{RecordId, RunState};
use store::{ListQuery, RunBody, Saved};
use wire::names::Collection;
use wire::records::{LONG_TEXT, page_size, text};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::board::Standing;
use super::{Bench, checked, given, map, named_change, refusal, request_key};
use crate::error::ServiceError;
use crate::page_token::{self, Token};

/// Gaps told with a run that is still open.
const GAPS_TOLD: usize = 100;

impl Bench {
    /// One run.
    pub fn get_run(&self, request: v1::GetRunRequest) -> Result<v1::Run, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Runs.revisable(&request.name, violations.at("name"));
        let name = checked(violations, name)?;
        let Some(revision) = name.revision else {
            return self.run_by_id(&name.id);
        };
        let missing = || ServiceError::NotFound {
            name: request.name.clone(),
        };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let saved = self
            .store
            .get_revision(&id, revision)
            .map_err(refusal(&request.name, ""))?;
        self.told(&saved)
    }

    /// One run as it stands.
    pub(super) fn run_by_id(&self, id: &str) -> Result<v1::Run, ServiceError> {
        let saved = self.run_record(id)?;
        self.told(&saved)
    }

    pub(super) fn run_record(&self, id: &str) -> Result<Saved<RunBody>, ServiceError> {
        let name = Collection::Runs.name(id);
        let id = RecordId::parse(id).ok_or_else(|| ServiceError::NotFound { name: name.clone() })?;
        self.store.get(&id).map_err(refusal(&name, ""))
    }

    /// A run with what is not in its record while it is open: its tail, its gaps, whether a stream is attached.
    pub(super) fn told(&self, saved: &Saved<RunBody>) -> Result<v1::Run, ServiceError> {
        let state = match saved.body.state() {
            RunState::Finished => v1::RunState::Finished,
            RunState::Discarded => v1::RunState::Discarded,
            RunState::Open | RunState::Unspecified if self.is_attached(saved.id.as_str()) => v1::RunState::Recording,
            RunState::Open | RunState::Unspecified => v1::RunState::Interrupted,
        };
        if matches!(state, v1::RunState::Finished | v1::RunState::Discarded) {
            return Ok(map::run(
                saved,
                state,
                saved.body.block_count,
                saved.body.sample_count,
                &saved.body.gaps,
            ));
        }
        let refused = refusal(saved.id.as_str(), "");
        let tail = self.store.run_tail(&saved.id).map_err(&refused)?;
        let gaps = self.store.run_gaps(&saved.id, 0, GAPS_TOLD).map_err(&refused)?;
        Ok(map::run(saved, state, tail.durable_through, tail.sample_count, &gaps))
    }

    /// Runs, newest first.
    pub fn list_runs(&self, request: v1::ListRunsRequest) -> Result<v1::ListRunsResponse, ServiceError> {
        let mut violations = Violations::new();
        let limit = page_size(request.page_size, &mut violations);
        let spring = if request.spring.is_empty() {
            None
        } else {
            Collection::Springs.id(&request.spring, violations.at("spring"))
        };
        let state = v1::RunState::try_from(request.state).ok();
        if state.is_none() {
            violations.push(
                "state",
                Reason::OutOfRange,
                format_args!("state is {}; allowed 0 to 4", request.state),
            );
        }
        let filter = format!("runs|{}|{}|{}", request.show_deleted, request.spring, request.state);
        let after = page_token::read(&request.page_token, &filter, &mut violations);
        let state = checked(violations, state)?;
        let query = ListQuery {
            show_deleted: request.show_deleted,
            after: after.and_then(Token::cursor),
            limit,
        };
        let keep = |saved: &Saved<RunBody>| {
            let attached = || self.is_attached(saved.id.as_str());
            let of_spring = spring.as_ref().is_none_or(|spring| *spring == saved.body.spring);
            let in_state = match (state, saved.body.state()) {
                (v1::RunState::Unspecified, _)
                | (v1::RunState::Finished, RunState::Finished)
                | (v1::RunState::Discarded, RunState::Discarded) => true,
                (v1::RunState::Recording, RunState::Open) => attached(),
                (v1::RunState::Interrupted, RunState::Open) => !attached(),
                _ => false,
            };
            of_spring && in_state
        };
        let page = self.store.list(&query, keep).map_err(refusal("runs", ""))?;
        Ok(v1::ListRunsResponse {
            runs: page
                .records
                .iter()
                .map(|saved| self.told(saved))
                .collect::<Result<_, _>>()?,
            next_page_token: page_token::write(page.next.map(Token::of_cursor), &filter),
        })
    }

    /// Assigns a spring, writes notes.
    pub fn update_run(&self, request: v1::UpdateRunRequest) -> Result<v1::Run, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key("UpdateRun", &request.request_id, &request, &mut violations);
        let given = request.run.clone().unwrap_or_default();
        let id = Collection::Runs.id(&given.name, violations.at("run").at("name"));
        text(&given.notes, LONG_TEXT, violations.at("run").at("notes"));
        if !given.spring.is_empty() {
            self.known_spring(&given.spring, "run.spring", &mut violations)?;
        }
        let paths = request
            .update_mask
            .as_ref()
            .map(|mask| mask.paths.as_slice())
            .unwrap_or_default();
        for (index, path) in paths.iter().enumerate() {
            if !matches!(path.as_str(), "spring" | "notes") && paths != ["*"] {
                let shown: String = path.chars().take(80).collect();
                violations.at("update_mask").at("paths").index(index).push(
                    Reason::UnknownName,
                    format_args!("\"{shown}\" cannot be changed; allowed \"*\" alone, spring, notes"),
                );
            }
        }
        let (key, id) = checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))?;
        let named = |field: &str| paths == ["*"] || paths.iter().any(|path| path == field);
        let set_spring = named("spring") || (paths.is_empty() && !given.spring.is_empty());
        let set_notes = named("notes") || (paths.is_empty() && !given.notes.is_empty());
        let change = |before: &RunBody| -> Result<RunBody, store::StoreError> {
            let mut after = before.clone();
            if set_spring {
                after.spring = map::bare(Collection::Springs, &given.spring);
            }
            if set_notes {
                after.notes.clone_from(&given.notes);
            }
            Ok(after)
        };
        let etag = super::given(&given.etag);
        let saved = self
            .store
            .update(self.now(), &key, &id, etag, change)
            .map_err(refusal(&given.name, &request.request_id))?;
        if let Some(board) = self.board_of(id.as_str()) {
            board.assign(map::named(Collection::Springs, &saved.body.spring));
        }
        self.record_changed();
        self.told(&saved)
    }

    /// Notes a violation where a spring that is named does not exist.
    pub(super) fn known_spring(
        &self,
        name: &str,
        field: &str,
        violations: &mut Violations,
    ) -> Result<(), ServiceError> {
        let Some(id) = Collection::Springs.id(name, violations.at(field)) else {
            return Ok(());
        };
        let Some(id) = RecordId::parse(&id) else { return Ok(()) };
        match self.store.get::<store::SpringBody>(&id) {
            Ok(saved) if saved.delete_time.is_none() => {}
            Ok(_) | Err(store::StoreError::NotFound) => {
                violations.push(field, Reason::UnknownName, format_args!("{name} is not on the rack"))
            }
            Err(error) => return Err(refusal(name, "")(error)),
        }
        Ok(())
    }

    /// Deletes a run; an attached stream ends.
    pub fn delete_run(&self, request: v1::DeleteRunRequest) -> Result<v1::Run, ServiceError> {
        let (key, id) = named_change(
            "DeleteRun",
            Collection::Runs,
            (&request.name, &request.request_id),
            &request,
        )?;
        if self.is_attached(id.as_str()) {
            return Err(ServiceError::RunOpen { run: request.name });
        }
        let etag = given(&request.etag);
        let saved = self
            .store
            .delete::<RunBody>(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        self.told(&saved)
    }

    /// Brings a deleted run back.
    pub fn undelete_run(&self, request: v1::UndeleteRunRequest) -> Result<v1::Run, ServiceError> {
        let (key, id) = named_change(
            "UndeleteRun",
            Collection::Runs,
            (&request.name, &request.request_id),
            &request,
        )?;
        let etag = given(&request.etag);
        let saved = self
            .store
            .undelete::<RunBody>(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        self.told(&saved)
    }

    /// Seals an interrupted run as it is.
    pub fn finish_run(&self, request: v1::FinishRunRequest) -> Result<v1::Run, ServiceError> {
        let (key, id) = named_change(
            "FinishRun",
            Collection::Runs,
            (&request.name, &request.request_id),
            &request,
        )?;
        if self.is_attached(id.as_str()) {
            // Its own stream finishes it; sealing under a sender's hands would lose what it still holds.
            return Err(ServiceError::RunOpen { run: request.name });
        }
        let etag = given(&request.etag);
        let saved = self
            .store
            .finish_run(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        self.record_changed();
        self.told(&saved)
    }

    /// Gives up a run that is not finished; an attached stream ends.
    pub fn discard_run(&self, request: v1::DiscardRunRequest) -> Result<v1::Run, ServiceError> {
        let (key, id) = named_change(
            "DiscardRun",
            Collection::Runs,
            (&request.name, &request.request_id),
            &request,
        )?;
        let etag = given(&request.etag);
        let saved = self
            .store
            .discard_run(self.now(), &key, &id, etag)
            .map_err(refusal(&request.name, &request.request_id))?;
        if let Some(board) = self.board_of(id.as_str()) {
            board.stand(Standing::Discarded);
        }
        self.shut_out(id.as_str());
        self.record_changed();
        self.told(&saved)
    }
}
