//! A second engine on disk, so that the contract is not just a description of the first.

use std::path::Path;
use std::sync::{Mutex, RwLock};

use redb::{Database, ReadableDatabase, ReadableTable, TableDefinition};
use store::engine::{
    Batch, BatchFault, Engine, EngineError, Health, Key, KeyRange, Lane, Order, Outcome, Pending, Value, View, Write,
};
use tokio::sync::watch;

const ROWS: TableDefinition<'static, &[u8], &[u8]> = TableDefinition::new("rows");

pub(crate) struct RedbEngine {
    database: RwLock<Option<Database>>,
    commits: Mutex<()>,
    health: watch::Sender<Health>,
}

impl RedbEngine {
    pub(crate) fn open(dir: &Path) -> Self {
        std::fs::create_dir_all(dir).unwrap();
        let database = Database::create(dir.join("rows.redb")).unwrap();
        let transaction = database.begin_write().unwrap();
        transaction.open_table(ROWS).unwrap();
        transaction.commit().unwrap();
        let health = watch::Sender::new(Health::Serving);
        Self {
            database: RwLock::new(Some(database)),
            commits: Mutex::new(()),
            health,
        }
    }

    fn decide(&self, batch: Batch) -> Outcome {
        if let Err(fault) = batch.fit() {
            return Outcome::Unfit(fault);
        }
        let _turn = self.commits.lock().unwrap();
        let database = self.database.read().unwrap();
        let Some(database) = database.as_ref() else {
            return Outcome::Unfit(BatchFault::Closed);
        };
        let transaction = database.begin_write().unwrap();
        {
            let mut rows = transaction.open_table(ROWS).unwrap();
            let broken = batch
                .require
                .iter()
                .position(|condition| !condition.holds(rows.get(condition.key()).unwrap().as_ref().map(|v| v.value())));
            if let Some(condition) = broken {
                return Outcome::Refused { condition };
            }
            for write in &batch.write {
                match write {
                    Write::Put(key, value) => rows.insert(key.as_slice(), value.as_slice()).unwrap(),
                    Write::Delete(key) => rows.remove(key.as_slice()).unwrap(),
                };
            }
        }
        transaction.commit().unwrap();
        Outcome::Committed
    }
}

impl Engine for RedbEngine {
    fn view(&self) -> Result<Box<dyn View + '_>, EngineError> {
        let database = self.database.read().unwrap();
        let transaction = database.as_ref().ok_or(EngineError::Closed)?.begin_read().unwrap();
        Ok(Box::new(RedbView(transaction.open_table(ROWS).unwrap())))
    }

    fn submit(&self, batch: Batch, _: Lane) -> Pending {
        Pending::ready(self.decide(batch))
    }

    fn try_submit(&self, batch: Batch, lane: Lane) -> Result<Pending, Batch> {
        Ok(self.submit(batch, lane))
    }

    fn condition(&self) -> Health {
        self.health.borrow().clone()
    }

    fn watch(&self) -> watch::Receiver<Health> {
        self.health.subscribe()
    }

    fn close(&self) -> Result<(), EngineError> {
        self.database.write().unwrap().take();
        self.health.send_replace(Health::Closed);
        Ok(())
    }
}

struct RedbView(redb::ReadOnlyTable<&'static [u8], &'static [u8]>);

impl View for RedbView {
    fn get(&self, key: &[u8]) -> Result<Option<Value>, EngineError> {
        Ok(self.0.get(key).unwrap().map(|value| value.value().to_vec()))
    }

    fn page(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<(Key, Value)>, EngineError> {
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let start = range.start.as_slice();
        let rows = match &range.end {
            Some(end) => self.0.range(start..end.as_slice()).unwrap(),
            None => self.0.range(start..).unwrap(),
        };
        Ok(match order {
            Order::Ascending => rows.take(limit).map(plain).collect(),
            Order::Descending => rows.rev().take(limit).map(plain).collect(),
        })
    }
}

type Row<'a> = (
    redb::AccessGuard<'a, &'static [u8]>,
    redb::AccessGuard<'a, &'static [u8]>,
);

fn plain(row: Result<Row<'_>, redb::StorageError>) -> (Key, Value) {
    let (key, value) = row.unwrap();
    (key.value().to_vec(), value.value().to_vec())
}
