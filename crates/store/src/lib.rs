//! Records with their whole history, the samples of recorded runs, and the engine that keeps their bytes.
//!
//! An answer of `Ok` to a change means that it survives SIGKILL and, on a disk and file system that honour a sync, a power
//! cut. Nothing here reads a clock: the caller gives the time as [`Moment`]. Calls block; only a
//! [`BlockPending`] can be awaited.
//!
//! - [`Store`] is the way in: create, get, list, update, delete, purge; runs and their blocks; shims and what is built of them.
//! - [`record`] has the contents, which are the messages that lie on disk.
//! - [`key`] draws the keys, [`envelope`] the values.
//! - [`text`] moves everything out of a store and into another as lines of text; [`check`] looks everything over.
//! - [`engine`] is the contract below all this.

pub mod check;
mod copies;
mod disk;
mod drawer;
pub mod embedded;
pub mod engine;
pub mod envelope;
mod erase;
mod error;
pub mod key;
mod listing;
mod moment;
mod purge;
pub mod record;
mod request;
mod rows;
pub mod run;
mod store;
pub mod text;

pub use copies::KnownCopy;
pub use erase::Erased;
pub use error::StoreError;
pub use listing::{Cursor, ListQuery, Page, RevisionPage};
pub use moment::Moment;
pub use purge::PurgeStep;
pub use record::{
    Body, DamperBody, Entered, Kind, RecordId, RunBody, Saved, ShimLotBody, SpringBody, StackBody, TesterBody,
};
pub use request::RequestKey;
pub use run::{Block, BlockPending, BlockReader, FinishClaim, Opened, Recording, RunTail};
pub use store::Store;
