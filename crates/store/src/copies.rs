//! Copies of the store that were made: whoever is asked to erase something must be told where else it is.

use crate::disk::CopyRow;
use crate::engine::{Lane, Order};
use crate::error::{StoreError, settle};
use crate::key::{self, RowKey};
use crate::moment::Moment;
use crate::rows::Change;
use crate::store::Store;

/// Copies that are remembered; beyond, the oldest are forgotten.
const KEPT: usize = 1_000;
/// Characters of a place.
const PLACE: usize = 500;

/// A copy of the store that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownCopy {
    /// Where it was written.
    pub place: String,
    /// When.
    pub copy_time: Moment,
}

impl Store {
    /// Notes that a copy of the store was made.
    ///
    /// # Errors
    /// [`StoreError::InDoubt`], [`StoreError::Busy`], [`StoreError::Failed`], [`StoreError::Damaged`].
    pub fn note_copy(&self, now: Moment, place: &str) -> Result<(), StoreError> {
        let known = self.copy_keys()?;
        let mut change = Change::default();
        change.allow_when_low();
        for key in known.iter().take(known.len().saturating_sub(KEPT - 1)) {
            change.delete(key);
        }
        let row = CopyRow {
            place: place.chars().take(PLACE).collect(),
        };
        change.put(
            &RowKey::Copy {
                copy_time: self.clock(now),
            },
            &row,
        );
        match settle(change.commit(self.engine(), Lane::Live))? {
            None => Ok(()),
            Some(_) => Err(StoreError::Conflict),
        }
    }

    /// The copies that were made, the oldest first.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::Failed`], [`StoreError::Damaged`].
    pub fn known_copies(&self) -> Result<Vec<KnownCopy>, StoreError> {
        let rows = self
            .snapshot()?
            .rows::<CopyRow>(&key::family(0x0F, &[]), Order::Ascending, KEPT)?;
        let copies = rows.into_iter().filter_map(|(key, stored)| match key {
            RowKey::Copy { copy_time } => Some(KnownCopy {
                place: stored.row.place,
                copy_time,
            }),
            _ => None,
        });
        Ok(copies.collect())
    }

    fn copy_keys(&self) -> Result<Vec<RowKey>, StoreError> {
        self.snapshot()?
            .keys(&key::family(0x0F, &[]), Order::Ascending, KEPT + 1)
    }
}
