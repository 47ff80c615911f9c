//! What recorded samples take on the disk.

use std::sync::Arc;

use store::engine::memory::MemoryEngine;
use store::engine::{Engine, KeyRange, Order};
use store::record::RunHeader;
use store::{Block, FinishClaim, Moment, RequestKey, Store};
use wire::v1;

use crate::samples::{Test, test};
use crate::table::Line;

/// As the program's own feed sends them.
const BLOCK: usize = 256;
/// Strokes of the test: at 100 readings a second.
const STROKES: usize = 10;
/// First byte of the rows that hold samples.
const SAMPLES: u8 = 0x09;
/// A sample as it is sent: time, deflection and load, 8 bytes each.
const SENT: f64 = 24.0;

/// Rows of samples with their keys.
pub(crate) struct Stored {
    pub(crate) rows: usize,
    pub(crate) bytes: usize,
}

/// The row of stored bytes.
pub(crate) fn rows() -> Result<Vec<Line>, String> {
    let test = test(2_030 * STROKES, STROKES)?;
    let count = test.loads.len() as f64;
    let shelf = Shelf::filled(&test, BLOCK)?;
    let before = shelf.stored()?.bytes as f64 / count;
    while shelf.store.seal_due(64).map_err(|error| error.to_string())? {}
    let sealed = shelf.stored()?.bytes as f64 / count;
    Ok(vec![
        Line::new(
            "bytes",
            format!("{count} readings of the tester, time, deflection and load, sealed"),
        )
        .measured(format!("{sealed:.2} bytes a sample ({before:.2} in blocks of {BLOCK})"))
        .against(format!("{SENT:.0} as sent"))
        .ratio(format!("1 : {:.1}", SENT / sealed), "<= 5 bytes"),
    ])
}

/// What a recording of a test takes before it is sealed.
pub(crate) fn stored_rows(test: &Test, block: usize) -> Result<Stored, String> {
    Shelf::filled(test, block)?.stored()
}

struct Shelf {
    engine: Arc<MemoryEngine>,
    store: Store,
}

impl Shelf {
    fn filled(test: &Test, block: usize) -> Result<Self, String> {
        let engine = Arc::new(MemoryEngine::new());
        let store = Store::over(engine.clone()).map_err(|error| error.to_string())?;
        record(&store, 1, test, block).map_err(|error| error.to_string())?;
        Ok(Self { engine, store })
    }

    fn stored(&self) -> Result<Stored, String> {
        let range = KeyRange {
            start: vec![SAMPLES],
            end: Some(vec![SAMPLES + 1]),
        };
        let view = self.engine.view().map_err(|error| error.to_string())?;
        let rows = view
            .page(&range, Order::Ascending, 1 << 20)
            .map_err(|error| error.to_string())?;
        Ok(Stored {
            rows: rows.len(),
            bytes: rows.iter().map(|(key, value)| key.len() + value.len()).sum(),
        })
    }
}

/// Records a test and finishes it.
pub(crate) fn record(store: &Store, number: u128, test: &Test, size: usize) -> Result<(), store::StoreError> {
    let request = RequestKey::new(number.to_be_bytes(), "bench", &number.to_be_bytes());
    let now = Moment::from_nanos(1_900_000_000_000_000_000);
    let opened = store.open_run(now, &request, None, RunHeader::default())?;
    let Some(mut recording) = opened.recording else {
        return Ok(());
    };
    let mut pending = Vec::new();
    let mut at = 0;
    for number in 1.. {
        let of = |column: &[f64]| column.iter().skip(at).take(size).copied().collect::<Vec<f64>>();
        let columns = vec![of(&test.deflections), of(&test.loads)];
        let count = columns.iter().map(Vec::len).min().unwrap_or(0);
        if count == 0 {
            break;
        }
        let elapsed = test.elapsed_us.iter().skip(at).take(size);
        let block = Block {
            number,
            elapsed_ns: elapsed.map(|us| us * 1_000).collect(),
            columns,
            ..Default::default()
        };
        pending.push(recording.append(now, &block)?);
        at += count;
    }
    let block_count = pending.len() as u64;
    for block in pending {
        block.wait()?;
    }
    let claim = FinishClaim {
        block_count,
        sample_count: test.loads.len() as u64,
        crc32c: None,
    };
    recording.finish(now, claim).map(|_| ())
}

/// The header of a run on the tester, as it is sent.
pub(crate) fn header(request_id: String) -> v1::RunHeader {
    use v1::column::{Quantity, Unit};
    let column = |quantity: Quantity, unit: Unit| v1::Column {
        quantity: quantity.into(),
        unit: Some(unit),
    };
    v1::RunHeader {
        tester: "simulated".to_owned(),
        columns: vec![
            column(Quantity::Deflection, Unit::Length(v1::length::Unit::Millimeter.into())),
            column(Quantity::Load, Unit::Force(v1::force::Unit::Newton.into())),
        ],
        kind: Some(v1::run_header::Kind::RateTest(v1::RateTest::default())),
        request_id,
        ..Default::default()
    }
}
