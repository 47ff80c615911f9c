//! Rows: keys and messages on one side, the engine's bytes on the other. Nothing else touches bytes.

use prost::Message;

use crate::engine::{self, Lane, Pending};
use crate::engine::{Batch, Condition, Engine, KeyRange, Order, Outcome, View, Write};
use crate::envelope::{self, MAX_MESSAGE};
use crate::error::StoreError;
use crate::key::RowKey;

/// A message as it was read.
pub(crate) struct Stored<M> {
    pub(crate) row: M,
    /// Checksum of the whole value: what a condition on it names.
    pub(crate) seen: u32,
}

/// One consistent state of the store. Held briefly: no batch takes effect meanwhile.
pub(crate) struct Snapshot<'a>(Box<dyn View + 'a>);

impl<'a> Snapshot<'a> {
    pub(crate) fn of(engine: &'a dyn Engine) -> Result<Self, StoreError> {
        Ok(Self(engine.view()?))
    }

    /// `None`: there is none without waiting.
    pub(crate) fn at_once(engine: &'a dyn Engine) -> Option<Result<Self, StoreError>> {
        let view = engine.view_at_once()?;
        Some(view.map(Self).map_err(StoreError::from))
    }

    pub(crate) fn get<M: Message + Default>(&self, key: &RowKey) -> Result<Option<Stored<M>>, StoreError> {
        let bytes = key.bytes();
        let Some(value) = self.0.get(&bytes)? else {
            return Ok(None);
        };
        Ok(Some(Stored {
            row: decode(&bytes, &value)?,
            seen: engine::checksum(&value),
        }))
    }

    pub(crate) fn page(
        &self,
        range: &KeyRange,
        order: Order,
        limit: usize,
    ) -> Result<Vec<(crate::engine::Key, crate::engine::Value)>, StoreError> {
        Ok(self.0.page(range, order, limit)?)
    }

    /// The keys of a page whose values need not be looked at.
    pub(crate) fn keys(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<RowKey>, StoreError> {
        self.page(range, order, limit)?
            .iter()
            .map(|(key, _)| parse(key))
            .collect()
    }

    pub(crate) fn rows<M: Message + Default>(
        &self,
        range: &KeyRange,
        order: Order,
        limit: usize,
    ) -> Result<Vec<(RowKey, Stored<M>)>, StoreError> {
        let page = self.page(range, order, limit)?;
        let rows = page.iter().map(|(key, value)| {
            Ok((
                parse(key)?,
                Stored {
                    row: decode(key, value)?,
                    seen: engine::checksum(value),
                },
            ))
        });
        rows.collect()
    }
}

pub(crate) fn parse(key: &[u8]) -> Result<RowKey, StoreError> {
    RowKey::parse(key).ok_or_else(|| StoreError::damaged(format!("key {}: no key of this store", hex(key))))
}

pub(crate) fn decode<M: Message + Default>(key: &[u8], value: &[u8]) -> Result<M, StoreError> {
    let message = envelope::open(key, value).map_err(|fault| damaged(key, fault))?;
    M::decode(message).map_err(|fault| damaged(key, &fault.to_string()))
}

fn damaged(key: &[u8], fault: &str) -> StoreError {
    match RowKey::parse(key) {
        Some(row) => StoreError::damaged(format!("{row:?}: {fault}")),
        None => StoreError::damaged(format!("key {}: {fault}", hex(key))),
    }
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A batch being put together from rows.
#[derive(Default)]
pub(crate) struct Change(Batch);

impl Change {
    pub(crate) fn require_absent(&mut self, key: &RowKey) {
        self.0.require.push(Condition::Absent(key.bytes()));
    }

    pub(crate) fn require_present(&mut self, key: &RowKey) {
        self.0.require.push(Condition::Present(key.bytes()));
    }

    /// The row is still the one that was read.
    pub(crate) fn require_unchanged(&mut self, key: &RowKey, seen: u32) {
        self.0.require.push(Condition::Checksum(key.bytes(), seen));
    }

    /// Gives the checksum of the value, for a later condition on it.
    pub(crate) fn put(&mut self, key: &RowKey, row: &impl Message) -> u32 {
        self.put_message(key, &row.encode_to_vec())
    }

    pub(crate) fn put_message(&mut self, key: &RowKey, message: &[u8]) -> u32 {
        debug_assert!(message.len() <= MAX_MESSAGE, "the callers cut what is longer");
        let key = key.bytes();
        let value = envelope::seal(&key, message);
        let seen = engine::checksum(&value);
        self.0.write.push(Write::Put(key, value));
        seen
    }

    /// All that another change requires and writes becomes part of this one.
    pub(crate) fn absorb(&mut self, other: Change) {
        self.0.require.extend(other.0.require);
        self.0.write.extend(other.0.write);
    }

    pub(crate) fn delete(&mut self, key: &RowKey) {
        self.0.write.push(Write::Delete(key.bytes()));
    }

    pub(crate) fn allow_when_low(&mut self) {
        self.0.allow_when_low = true;
    }

    pub(crate) fn bytes(&self) -> usize {
        self.0.bytes()
    }

    pub(crate) fn writes(&self) -> usize {
        self.0.write.len()
    }

    pub(crate) fn submit(self, engine: &dyn Engine, lane: Lane) -> Pending {
        engine.submit(self.0, lane)
    }

    pub(crate) fn commit(self, engine: &dyn Engine, lane: Lane) -> Outcome {
        engine.commit(self.0, lane)
    }
}
