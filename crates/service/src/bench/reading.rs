//! ReadRunSamples: the raw samples of a run, block by block.

use std::sync::Arc;

use futures_util::Stream;
use store::record::RecordId;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::{Bench, checked, map, refusal};
use crate::error::ServiceError;

/// Blocks read ahead of the client.
const AHEAD: usize = 4;

/// Begins to read.
pub fn start(
    bench: Arc<Bench>,
    request: v1::ReadRunSamplesRequest,
) -> Result<impl Stream<Item = Result<v1::ReadRunSamplesResponse, Status>> + Send + use<>, ServiceError> {
    let mut violations = Violations::new();
    let id = Collection::Runs.id(&request.name, violations.at("name"));
    let from = u64::try_from(request.from_block).ok();
    if from.is_none() {
        violations.push(
            "from_block",
            Reason::OutOfRange,
            format_args!("from_block is {}; allowed 0 and more", request.from_block),
        );
    }
    let (id, from) = checked(violations, id.zip(from))?;
    let permit = bench.readers.admit()?;
    let (blocks, replies) = mpsc::channel(AHEAD);
    tokio::task::spawn_blocking(move || {
        let _permit = permit;
        if let Err(error) = read(&bench, &id, from, &blocks) {
            // A client that is gone needs no reason.
            let _ = blocks.blocking_send(Err(error.into()));
        }
    });
    Ok(ReceiverStream::new(replies))
}

fn read(
    bench: &Bench,
    id: &str,
    from: u64,
    blocks: &mpsc::Sender<Result<v1::ReadRunSamplesResponse, Status>>,
) -> Result<(), ServiceError> {
    let run = bench.run_record(id)?;
    let name = Collection::Runs.name(id);
    let header = run.body.header.as_ref().map(map::header_of).unwrap_or_default();
    if blocks
        .blocking_send(Ok(v1::ReadRunSamplesResponse {
            columns: header.columns,
            block: None,
        }))
        .is_err()
    {
        return Ok(());
    }
    let id = RecordId::parse(id).ok_or_else(|| ServiceError::NotFound { name: name.clone() })?;
    for block in bench.store().read_blocks(&id, from).map_err(refusal(&name, ""))? {
        if bench.shutdown.is_cancelled() {
            return Err(ServiceError::ShuttingDown);
        }
        let block = map::block_of(block.map_err(refusal(&name, ""))?);
        if blocks
            .blocking_send(Ok(v1::ReadRunSamplesResponse {
                columns: Vec::new(),
                block: Some(block),
            }))
            .is_err()
        {
            return Ok(());
        }
    }
    Ok(())
}
