//! Recording without an instrument's line and without a disk.

use std::time::Duration;

use tokio::sync::mpsc;
use tokio_stream::{Stream, StreamExt};
use tonic::transport::Channel;
use wire::v1;

use super::decode::Sample;
use super::intake::Draft;
use super::outbox::{self, Outbox, WhenFull};
use super::record::{Controls, RecordError, Recorded, Recorder};
use super::spool::{Head, Spool};
use super::{CONNECT_WAIT, DRAFTS_WAITING, MEGABYTE};

/// Records samples that are at hand in the program itself, without a spool on disk: after its own end there is nothing to
/// go on with. A clock that goes back is not noticed here.
///
/// # Errors
/// [`RecordError`].
#[allow(dead_code, reason = "the demo records without a line in between")]
pub(crate) async fn record(
    channel: Channel,
    header: v1::RunHeader,
    samples: impl Stream<Item = Sample>,
) -> Result<Recorded, RecordError> {
    const MEMORY: u64 = 16 * MEGABYTE;
    const BLOCK_SAMPLES: usize = 256;
    let columns = header.columns.len();
    let head = Head {
        header: Some(header.clone()),
        ..Head::default()
    };
    let outbox = Outbox::new(Spool::in_memory(head, MEMORY)?);
    let recorder = Recorder::new(channel, header, outbox.clone(), Controls::default(), CONNECT_WAIT);
    let (drafts, keep) = mpsc::channel(DRAFTS_WAITING);
    let supplying = async {
        let blocks = samples.chunks_timeout(BLOCK_SAMPLES, Duration::from_millis(100));
        tokio::pin!(blocks);
        while let Some(samples) = blocks.next().await {
            if drafts.send(draft(&samples, columns)).await.is_err() {
                break;
            }
        }
        drop(drafts);
    };
    let keeping = async {
        outbox::keep_all(keep, outbox.clone(), WhenFull::Wait).await?;
        outbox.complete().await
    };
    let supplied = async {
        let ((), kept) = tokio::join!(supplying, keeping);
        match kept {
            Ok(()) => std::future::pending().await,
            Err(error) => RecordError::Spool(error),
        }
    };
    tokio::select! {
        recorded = recorder.run() => recorded,
        error = supplied => Err(error),
    }
}

fn draft(samples: &[Sample], columns: usize) -> Draft {
    let column = |index: usize| {
        samples
            .iter()
            .filter_map(|sample| sample.values.get(index).copied())
            .collect()
    };
    Draft {
        elapsed_ns: samples.iter().filter_map(|sample| sample.clock_ns).collect(),
        columns: (0..columns).map(column).collect(),
        ..Draft::default()
    }
}
