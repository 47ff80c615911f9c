//! One contract, three engines: what holds for the map in memory holds on disk, and for an engine of another make.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test all through; the lints only know the test functions themselves"
)]

mod laws;
mod redb_adapter;

use std::path::Path;

use laws::Factory;
use redb_adapter::RedbEngine;
use store::engine::Engine;
use store::engine::memory::MemoryEngine;
use store::engine::sled::{SledEngine, SledOptions};

struct Memory;

impl Factory for Memory {
    fn create(&self, _: &Path) -> Box<dyn Engine> {
        Box::new(MemoryEngine::new())
    }

    fn reopen(&self, _: &Path) -> Option<Box<dyn Engine>> {
        None
    }
}

struct Sled;

impl Factory for Sled {
    fn create(&self, dir: &Path) -> Box<dyn Engine> {
        Box::new(SledEngine::create(&SledOptions::new(dir)).unwrap())
    }

    fn reopen(&self, dir: &Path) -> Option<Box<dyn Engine>> {
        Some(Box::new(SledEngine::open_existing(&SledOptions::new(dir)).unwrap()))
    }
}

struct Redb;

impl Factory for Redb {
    fn create(&self, dir: &Path) -> Box<dyn Engine> {
        Box::new(RedbEngine::open(dir))
    }

    fn reopen(&self, dir: &Path) -> Option<Box<dyn Engine>> {
        Some(Box::new(RedbEngine::open(dir)))
    }
}

macro_rules! laws {
    ($($law:ident)*) => {
        mod memory { $(#[test] fn $law() { crate::laws::$law(&crate::Memory); })* }
        mod sled { $(#[test] fn $law() { crate::laws::$law(&crate::Sled); })* }
        mod redb { $(#[test] fn $law() { crate::laws::$law(&crate::Redb); })* }
    };
}

laws! {
    keys_are_ordered_bytewise
    a_condition_that_fails_keeps_the_whole_batch_out
    conditions_see_earlier_batches_and_not_their_own
    the_last_change_of_a_key_counts
    pages_walk_the_range_in_both_orders
    what_is_outside_the_limits_is_unfit_and_leaves_no_trace
    the_largest_rows_come_back_as_they_were
    a_view_never_shows_half_a_batch
    of_many_writers_that_require_absence_one_wins
    random_batches_match_an_ordered_map
    a_closed_engine_says_so
}
