//! Why the service refuses something, in the shop's terms. Neither gRPC nor HTTP is known here: the doors translate.

use std::fmt;
use std::time::Duration;

use wire::v1::ErrorReason;
use wire::violation::Violation;

/// What a computation failed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Values sent with the request: sending others helps.
    Sent,
    /// Stored records: they have to change before the same request can succeed.
    Stored,
}

/// Why a call failed. One variant for each [`ErrorReason`]; whoever calls decides by it what to do next.
#[derive(Debug, Clone, PartialEq)]
pub enum ServiceError {
    /// The request itself is at fault: every fault found.
    InvalidFields(Vec<Violation>),
    /// No record of that name.
    NotFound {
        /// The name asked for.
        name: String,
    },
    /// The record changed since its etag was read.
    StaleEtag {
        /// The record.
        name: String,
        /// Its etag now.
        current_etag: String,
    },
    /// The request id was used before with other content.
    RequestIdReused {
        /// The id.
        request_id: String,
    },
    /// A record of that name exists.
    NameTaken {
        /// The name.
        name: String,
    },
    /// A deleted record holds the name until it is purged.
    NameTakenByDeleted {
        /// The name.
        name: String,
    },
    /// The record is deleted.
    Deleted {
        /// The record.
        name: String,
    },
    /// The run is not finished.
    RunOpen {
        /// The run.
        run: String,
    },
    /// The run is finished or discarded.
    RunClosed {
        /// The run.
        run: String,
    },
    /// What is asked cannot be computed from what was sent or is kept.
    NotReducible {
        /// Where the values came from.
        basis: Basis,
        /// Why not, in words.
        cause: String,
    },
    /// An iteration did not converge.
    NotConverged {
        /// Where the inputs came from.
        basis: Basis,
        /// The residual it stopped at, with its unit.
        residual: String,
        /// Iterations made.
        iterations: u64,
    },
    /// Too much work at once.
    Overloaded {
        /// When to come back.
        retry_after: Duration,
    },
    /// The disk's reserve is reached.
    DiskLow,
    /// A watcher took nothing for too long.
    WatcherTooSlow,
    /// Larger than a stated bound.
    TooLarge {
        /// What is too large, in words: "a reply", "the run's samples".
        what: String,
        /// The bound, with its unit.
        limit: String,
    },
    /// The store failed after the change was handed over: it may or may not have happened.
    InDoubt,
    /// The deadline passed.
    Deadline,
    /// The server is going down.
    ShuttingDown,
    /// A newer stream took over the run.
    Superseded {
        /// The run.
        run: String,
    },
    /// A block number came again with other content.
    BlockDiffers {
        /// The run.
        run: String,
        /// The block.
        block: i64,
    },
    /// A block number was skipped.
    BlockOutOfOrder {
        /// The run.
        run: String,
        /// The number that is next.
        wanted: i64,
        /// The number that came.
        received: i64,
    },
    /// The run reached its limit of samples or time.
    RunFull {
        /// The run.
        run: String,
        /// The limit, with its unit.
        limit: String,
    },
    /// A step of the recording came where the protocol has no place for it.
    StepOutOfPlace {
        /// What came and what was wanted, in words.
        cause: String,
    },
    /// Counts or checksum stated at the finish are not those of the blocks received.
    FinishDiffers {
        /// Which: "block_count", "sample_count", "crc32c".
        field: &'static str,
        /// As stated.
        stated: String,
        /// As received.
        received: String,
    },
    /// The run was interrupted for longer than it can be resumed.
    NotResumable {
        /// The run.
        run: String,
    },
    /// No stream is attached to the run.
    NotAttached {
        /// The run.
        run: String,
    },
    /// The instrument of the run cannot be told to do that.
    NotObeyed {
        /// The run.
        run: String,
        /// What was asked for.
        action: &'static str,
        /// What it obeys; empty: nothing.
        obeys: String,
    },
    /// Fewer shims in the drawer than are wanted.
    NotEnoughShims {
        /// What is short, each by itself.
        short: Vec<ShortShims>,
    },
    /// Several lots fit a layer but differ in their bore.
    LotsDiffer {
        /// The layer, in words.
        what: String,
        /// The lots.
        lots: String,
    },
    /// The stack is built.
    StackBuilt {
        /// The stack.
        name: String,
    },
    /// The stack is not built.
    StackNotBuilt {
        /// The stack.
        name: String,
    },
    /// Other records need this one.
    InUse {
        /// The record.
        name: String,
        /// Some of those that need it.
        by: Vec<String>,
    },
    /// The request is for a host this server does not answer to, or was made by a page of another host.
    HostRefused {
        /// That host, or why there is none.
        host: String,
    },
    /// Stored bytes failed their check.
    DataDamaged {
        /// What was damaged; goes to the log alone.
        context: String,
    },
    /// The store cannot be reached or has failed.
    StoreFailed {
        /// What happened; goes to the log alone.
        context: String,
    },
    /// A fault of the program.
    Internal {
        /// What happened; goes to the log alone.
        context: String,
    },
}

/// Shims that are fewer than wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShortShims {
    /// The size, in words, or the lot.
    pub what: String,
    /// Lots with shims of that size; empty: there is none.
    pub lots: String,
    /// Shims in them.
    pub have: u32,
    /// Shims wanted.
    pub need: u32,
}

impl ServiceError {
    /// A fault of the program; the context goes to the log alone.
    pub fn internal(context: impl fmt::Display) -> Self {
        Self::Internal {
            context: context.to_string(),
        }
    }

    /// The reason of the API that stands for it.
    pub fn reason(&self) -> ErrorReason {
        match self {
            Self::InvalidFields(_) => ErrorReason::InvalidFields,
            Self::NotFound { .. } => ErrorReason::NotFound,
            Self::StaleEtag { .. } => ErrorReason::StaleEtag,
            Self::RequestIdReused { .. } => ErrorReason::RequestIdReused,
            Self::NameTaken { .. } => ErrorReason::NameTaken,
            Self::NameTakenByDeleted { .. } => ErrorReason::NameTakenByDeleted,
            Self::Deleted { .. } => ErrorReason::Deleted,
            Self::RunOpen { .. } => ErrorReason::RunOpen,
            Self::RunClosed { .. } => ErrorReason::RunClosed,
            Self::NotReducible { .. } => ErrorReason::NotReducible,
            Self::NotConverged { .. } => ErrorReason::NotConverged,
            Self::Overloaded { .. } => ErrorReason::Overloaded,
            Self::DiskLow => ErrorReason::DiskLow,
            Self::WatcherTooSlow => ErrorReason::WatcherTooSlow,
            Self::TooLarge { .. } => ErrorReason::TooLarge,
            Self::InDoubt => ErrorReason::InDoubt,
            Self::Deadline => ErrorReason::Deadline,
            Self::ShuttingDown => ErrorReason::ShuttingDown,
            Self::Superseded { .. } => ErrorReason::Superseded,
            Self::BlockDiffers { .. } => ErrorReason::BlockDiffers,
            Self::BlockOutOfOrder { .. } => ErrorReason::BlockOutOfOrder,
            Self::RunFull { .. } => ErrorReason::RunFull,
            Self::StepOutOfPlace { .. } => ErrorReason::StepOutOfPlace,
            Self::FinishDiffers { .. } => ErrorReason::FinishDiffers,
            Self::NotResumable { .. } => ErrorReason::NotResumable,
            Self::NotAttached { .. } => ErrorReason::NotAttached,
            Self::NotObeyed { .. } => ErrorReason::NotObeyed,
            Self::NotEnoughShims { .. } => ErrorReason::NotEnoughShims,
            Self::LotsDiffer { .. } => ErrorReason::LotsDiffer,
            Self::StackBuilt { .. } => ErrorReason::StackBuilt,
            Self::StackNotBuilt { .. } => ErrorReason::StackNotBuilt,
            Self::InUse { .. } => ErrorReason::InUse,
            Self::HostRefused { .. } => ErrorReason::HostRefused,
            Self::DataDamaged { .. } => ErrorReason::DataDamaged,
            Self::StoreFailed { .. } => ErrorReason::StoreFailed,
            Self::Internal { .. } => ErrorReason::Internal,
        }
    }

    /// Whatever is dynamic in the message, for programs: names of the error's own and their values.
    pub fn metadata(&self) -> Vec<(&'static str, String)> {
        match self {
            Self::NotFound { name }
            | Self::NameTaken { name }
            | Self::NameTakenByDeleted { name }
            | Self::Deleted { name }
            | Self::StackBuilt { name }
            | Self::StackNotBuilt { name } => vec![("name", name.clone())],
            Self::NotEnoughShims { short } => short.first().map_or_else(Vec::new, |first| {
                vec![
                    ("what", first.what.clone()),
                    ("lots", first.lots.clone()),
                    ("have", first.have.to_string()),
                    ("need", first.need.to_string()),
                ]
            }),
            Self::LotsDiffer { what, lots } => vec![("what", what.clone()), ("lots", lots.clone())],
            Self::InUse { name, by } => vec![("name", name.clone()), ("by", by.first().cloned().unwrap_or_default())],
            Self::StaleEtag { name, current_etag } => vec![("name", name.clone()), ("etag", current_etag.clone())],
            Self::RequestIdReused { request_id } => vec![("request_id", request_id.clone())],
            Self::RunOpen { run }
            | Self::RunClosed { run }
            | Self::Superseded { run }
            | Self::NotResumable { run }
            | Self::NotAttached { run } => vec![("run", run.clone())],
            Self::NotObeyed { run, obeys, .. } => vec![("run", run.clone()), ("obeys", obeys.clone())],
            Self::NotReducible { cause, .. } | Self::StepOutOfPlace { cause } => vec![("cause", cause.clone())],
            Self::NotConverged {
                residual, iterations, ..
            } => {
                vec![("residual", residual.clone()), ("iterations", iterations.to_string())]
            }
            Self::TooLarge { what, limit } => vec![("what", what.clone()), ("limit", limit.clone())],
            Self::BlockDiffers { run, block } => vec![("run", run.clone()), ("block", block.to_string())],
            Self::BlockOutOfOrder { run, wanted, received } => {
                vec![
                    ("run", run.clone()),
                    ("wanted", wanted.to_string()),
                    ("received", received.to_string()),
                ]
            }
            Self::RunFull { run, limit } => vec![("run", run.clone()), ("limit", limit.clone())],
            Self::FinishDiffers {
                field,
                stated,
                received,
            } => {
                vec![
                    ("field", (*field).to_owned()),
                    ("stated", stated.clone()),
                    ("received", received.clone()),
                ]
            }
            Self::HostRefused { host } => vec![("host", host.clone())],
            Self::InvalidFields(_)
            | Self::Overloaded { .. }
            | Self::DiskLow
            | Self::WatcherTooSlow
            | Self::InDoubt
            | Self::Deadline
            | Self::ShuttingDown
            | Self::DataDamaged { .. }
            | Self::StoreFailed { .. }
            | Self::Internal { .. } => Vec::new(),
        }
    }

    /// What belongs in the log and not in an answer.
    pub fn context(&self) -> Option<&str> {
        match self {
            Self::DataDamaged { context } | Self::StoreFailed { context } | Self::Internal { context } => Some(context),
            _ => None,
        }
    }
}

/// The message for the person who asked.
impl fmt::Display for ServiceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::InvalidFields(violations) => describe_violations(violations, f),
            Self::NotFound { name } => write!(f, "{name} does not exist"),
            Self::StaleEtag { name, current_etag } => {
                write!(f, "{name} changed since it was read; its etag is now {current_etag}")
            }
            Self::RequestIdReused { request_id } => {
                write!(
                    f,
                    "request_id {request_id} was used before for another request; send a fresh one"
                )
            }
            Self::NameTaken { name } => write!(f, "{name} exists already"),
            Self::NameTakenByDeleted { name } => write!(f, "{name} is deleted and holds its name until it is purged"),
            Self::Deleted { name } => write!(f, "{name} is deleted; undelete it first"),
            Self::RunOpen { run } => write!(f, "{run} is not finished"),
            Self::RunClosed { run } => write!(f, "{run} is finished or discarded"),
            Self::NotReducible { cause, .. } => write!(f, "what is asked cannot be computed: {cause}"),
            Self::NotConverged {
                residual, iterations, ..
            } => {
                write!(
                    f,
                    "no solution after {iterations} iterations; the residual is {residual}"
                )
            }
            Self::Overloaded { retry_after } => {
                write!(
                    f,
                    "too much work at once; try again in {:.1} s",
                    retry_after.as_secs_f64()
                )
            }
            Self::DiskLow => f.write_str("the disk's reserve is reached; delete, finish and export still work"),
            Self::WatcherTooSlow => f.write_str("this stream was not read for too long; open it again"),
            Self::TooLarge { what, limit } => write!(f, "{what} is too large; allowed are {limit}"),
            Self::InDoubt => f.write_str(
                "the store failed after the change was handed over; repeat the request with the same request_id",
            ),
            Self::Deadline => f.write_str("the deadline passed"),
            Self::ShuttingDown => f.write_str("the server is going down; resume later"),
            Self::Superseded { run } => write!(f, "a newer stream took over {run}"),
            Self::BlockDiffers { run, block } => write!(f, "block {block} of {run} came before with other content"),
            Self::BlockOutOfOrder { run, wanted, received } => {
                write!(f, "block {received} of {run} is out of order; block {wanted} is next")
            }
            Self::RunFull { run, limit } => write!(f, "{run} is full; allowed are {limit}"),
            Self::StepOutOfPlace { cause } => f.write_str(cause),
            Self::FinishDiffers {
                field,
                stated,
                received,
            } => {
                write!(f, "{field} is {stated} in the finish; received were {received}")
            }
            Self::NotResumable { run } => write!(f, "{run} was interrupted for too long to be resumed"),
            Self::NotAttached { run } => {
                write!(
                    f,
                    "no instrument is attached to {run}; start its feed, or look which run is on the bench"
                )
            }
            Self::NotObeyed { run, action, obeys } => {
                let obeys = if obeys.is_empty() { "nothing" } else { obeys };
                write!(
                    f,
                    "the instrument of {run} does not obey {action}, it obeys {obeys}; do it at the instrument"
                )
            }
            Self::NotEnoughShims { short } => describe_short(short, f),
            Self::LotsDiffer { what, lots } => write!(
                f,
                "lots of several bores fit {what}: {lots}; state the bore in the stack, or name the lots"
            ),
            Self::StackBuilt { name } => write!(f, "{name} is built; unbuild it first"),
            Self::StackNotBuilt { name } => write!(f, "{name} is not built"),
            Self::InUse { name, by } => write!(f, "{name} is in use by {}", by.join(", ")),
            Self::HostRefused { host } => write!(f, "this server does not answer to {host}"),
            Self::DataDamaged { .. } => f.write_str("stored data failed its check"),
            Self::StoreFailed { .. } => f.write_str("the store has failed; nothing was changed"),
            Self::Internal { .. } => f.write_str("a fault of the program; its log says more"),
        }
    }
}

impl std::error::Error for ServiceError {}

impl From<Vec<Violation>> for ServiceError {
    fn from(violations: Vec<Violation>) -> Self {
        Self::InvalidFields(violations)
    }
}

/// Each size or lot that is short, with what there is of it.
fn describe_short(short: &[ShortShims], f: &mut fmt::Formatter<'_>) -> fmt::Result {
    f.write_str("not enough shims: ")?;
    for (index, one) in short.iter().enumerate() {
        let ShortShims { what, lots, have, need } = one;
        let gap = if index == 0 { "" } else { "; " };
        write!(f, "{gap}{what}: have {have}, need {need}")?;
        match lots.as_str() {
            "" => f.write_str(", in no lot")?,
            lots if lots == what => {}
            lots => write!(f, ", in {lots}")?,
        }
    }
    Ok(())
}

/// The first fault in full: most requests have one.
fn describe_violations(violations: &[Violation], f: &mut fmt::Formatter<'_>) -> fmt::Result {
    let Some((first, others)) = violations.split_first() else {
        return f.write_str("the request is at fault");
    };
    if !first.field.is_empty() {
        write!(f, "{}: ", first.field)?;
    }
    f.write_str(&first.description)?;
    if others.is_empty() {
        Ok(())
    } else {
        f.write_str(" (and more; see the details)")
    }
}
