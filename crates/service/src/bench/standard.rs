//! What is the same for every kind of record that people enter: reading, listing, deleting, bringing back, revisions.

pub(super) mod plain;

use prost::Message;
use store::record::{Entered, RecordId};
use store::{ListQuery, Saved, StoreError};
use wire::names::{Collection, Name};
use wire::records::page_size;
use wire::v1;
use wire::violation::Violations;

use super::reduce::used_revision;
use super::{Bench, checked, given, named_change, refusal};
use crate::error::ServiceError;
use crate::page_token::{self, Token};

/// A record of the API, with how it is kept.
pub(super) trait Recorded: Message + Default {
    /// What lies in the store.
    type Stored: Entered;
    /// Where it is.
    const COLLECTION: Collection;
    /// Whether its earlier revisions can be read.
    const REVISED: bool = true;
    /// Whether whoever watches the bench wants to look again once it changed.
    const WATCHED: bool = false;

    /// As it is told.
    fn of_saved(saved: &Saved<Self::Stored>) -> Result<Self, StoreError>;
}

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

/// Get, Delete, Undelete and ListRevisions of a kind of record: their requests have the same fields whatever the kind.
macro_rules! standard_methods {
    (
        $words:literal, $record:ident:
        $get:ident($get_request:ident),
        $delete:ident($delete_request:ident),
        $undelete:ident($undelete_request:ident)
        $(, $revisions:ident($revisions_request:ident) -> $revisions_reply:ident)?
    ) => {
        impl $crate::bench::Bench {
            #[doc = concat!("One ", $words, ".")]
            pub fn $get(&self, request: v1::$get_request) -> Result<v1::$record, $crate::error::ServiceError> {
                self.read(&request.name)
            }

            #[doc = concat!("Deletes a ", $words, ".")]
            pub fn $delete(&self, request: v1::$delete_request) -> Result<v1::$record, $crate::error::ServiceError> {
                let change = $crate::bench::standard::change_of!($delete_request, request);
                self.delete(&change, (&request.name, &request.etag))
            }

            #[doc = concat!("Brings a deleted ", $words, " back.")]
            pub fn $undelete(&self, request: v1::$undelete_request) -> Result<v1::$record, $crate::error::ServiceError> {
                let change = $crate::bench::standard::change_of!($undelete_request, request);
                self.undelete(&change, (&request.name, &request.etag))
            }

            $(
                #[doc = concat!("What the record of a ", $words, " was, newest first.")]
                pub fn $revisions(
                    &self,
                    request: v1::$revisions_request,
                ) -> Result<v1::$revisions_reply, $crate::error::ServiceError> {
                    let paging = (request.page_size, request.page_token.as_str());
                    let (revisions, next_page_token) = self.revisions_of(&request.name, paging)?;
                    Ok(v1::$revisions_reply {
                        revisions,
                        next_page_token,
                    })
                }
            )?
        }
    };
}
pub(super) use standard_methods;

/// The change a request asks for; the method is the request's name without its ending.
macro_rules! change_of {
    ($request_type:ident, $request:ident) => {
        $crate::bench::standard::Change {
            method: $crate::bench::standard::method(stringify!($request_type)),
            request_id: &$request.request_id,
            request: &$request,
        }
    };
}
pub(super) use change_of;

/// The method whose request is called so.
pub(super) fn method(request: &'static str) -> &'static str {
    request.strip_suffix("Request").unwrap_or(request)
}

impl Bench {
    pub(super) fn read<R: Recorded>(&self, name: &str) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let at = violations.at("name");
        let found = match R::REVISED {
            true => R::COLLECTION.revisable(name, at),
            false => R::COLLECTION.id(name, at).map(|id| Name { id, revision: None }),
        };
        let found = checked(violations, found)?;
        self.read_named::<R>(&found, name).map(|(record, _)| record)
    }

    /// A record as it is kept, at a revision where one is named.
    pub(super) fn saved_at<R: Recorded>(&self, name: &Name, shown: &str) -> Result<Saved<R::Stored>, ServiceError> {
        let missing = || ServiceError::NotFound { name: shown.to_owned() };
        let id = RecordId::parse(&name.id).ok_or_else(missing)?;
        let found = match name.revision {
            Some(revision) => self.store.get_revision(&id, revision),
            None => self.store.get(&id),
        };
        found.map_err(refusal(shown, ""))
    }

    /// A record as it is told and as it is kept.
    pub(super) fn read_named<R: Recorded>(
        &self,
        name: &Name,
        shown: &str,
    ) -> Result<(R, Saved<R::Stored>), ServiceError> {
        let saved = self.saved_at::<R>(name, shown)?;
        let record = R::of_saved(&saved).map_err(refusal(shown, ""))?;
        Ok((record, saved))
    }

    /// A record that a calculation reads, deleted or not; which revision it was is noted.
    pub(super) fn read_used<R: Recorded>(
        &self,
        name: &Name,
        shown: &str,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<R, ServiceError> {
        let (record, saved) = self.read_named::<R>(name, shown)?;
        note::<R>(&saved, used);
        Ok(record)
    }

    /// The same of a record that must not be deleted.
    pub(super) fn read_standing<R: Recorded>(
        &self,
        name: &Name,
        shown: &str,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<R, ServiceError> {
        let (record, saved) = self.read_named::<R>(name, shown)?;
        if saved.delete_time.is_some() {
            return Err(ServiceError::Deleted { name: shown.to_owned() });
        }
        note::<R>(&saved, used);
        Ok(record)
    }

    /// Records that `keep` takes, and the token of the next page.
    pub(super) fn list_of<R: Recorded>(
        &self,
        paging: &Paging<'_>,
        mut violations: Violations,
        keep: impl Fn(&R::Stored) -> bool,
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
        let keep = |saved: &Saved<R::Stored>| keep(&saved.body);
        let page = self.store.list(&query, keep).map_err(refusal(segment, ""))?;
        let records: Result<Vec<R>, StoreError> = page.records.iter().map(R::of_saved).collect();
        let records = records.map_err(refusal(segment, ""))?;
        Ok((records, page_token::write(page.next.map(Token::of_cursor), &filter)))
    }

    pub(super) fn delete<R: Recorded, M: Message>(
        &self,
        change: &Change<'_, M>,
        (name, etag): (&str, &str),
    ) -> Result<R, ServiceError> {
        let (key, id) = named_change(change.method, R::COLLECTION, (name, change.request_id), change.request)?;
        let saved = self.store.delete::<R::Stored>(self.now(), &key, &id, given(etag));
        self.changed(saved, refusal(name, change.request_id))
    }

    pub(super) fn undelete<R: Recorded, M: Message>(
        &self,
        change: &Change<'_, M>,
        (name, etag): (&str, &str),
    ) -> Result<R, ServiceError> {
        let (key, id) = named_change(change.method, R::COLLECTION, (name, change.request_id), change.request)?;
        let saved = self.store.undelete::<R::Stored>(self.now(), &key, &id, given(etag));
        self.changed(saved, refusal(name, change.request_id))
    }

    /// What a change left, once it is durable; whoever watches is told.
    pub(super) fn changed<R: Recorded>(
        &self,
        saved: Result<Saved<R::Stored>, StoreError>,
        refused: impl Fn(StoreError) -> ServiceError,
    ) -> Result<R, ServiceError> {
        let saved = saved.map_err(&refused)?;
        if R::WATCHED {
            self.record_changed();
        }
        R::of_saved(&saved).map_err(refused)
    }

    /// What a record was, newest first, and the token of the next page.
    pub(super) fn revisions_of<R: Recorded>(
        &self,
        name: &str,
        (size, token): (i32, &str),
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
            .revisions::<R::Stored>(&id, before.and_then(Token::revision), limit)
            .map_err(&refused)?;
        let revisions: Result<Vec<R>, StoreError> = page.revisions.iter().map(R::of_saved).collect();
        let token = page_token::write(page.next.map(Token::of_revision), &filter);
        Ok((revisions.map_err(refused)?, token))
    }
}

/// Notes which revision of a record was read, once.
fn note<R: Recorded>(saved: &Saved<R::Stored>, used: &mut Vec<v1::UsedRevision>) {
    let one = used_revision(R::COLLECTION, saved.id.as_str(), saved.revision);
    if !used.contains(&one) {
        used.push(one);
    }
}
