//! Looking everything over: every envelope, every index, every count.

mod whole;

use prost::Message;

use crate::disk::{AttachmentRow, ClockRow, CopyRow, HeadRow, IndexRow, RequestRow, RevisionPart, SampleRow, SealRow};
use crate::envelope;
use crate::key::RowKey;
use crate::record::Gap;

pub use whole::{Report, verify};

/// Checks one row by itself: key, envelope, checksum, message. For the engine's scan at opening; the error says what is wrong.
pub fn check_value(key: &[u8], value: &[u8]) -> Result<(), String> {
    let row = RowKey::parse(key).ok_or_else(|| "no key of this store".to_owned())?;
    let message = envelope::open(key, value).map_err(|fault| format!("{row:?}: {fault}"))?;
    let checked = match row {
        RowKey::Head { .. } => decodes::<HeadRow>(message),
        RowKey::Revision { .. } => decodes::<RevisionPart>(message),
        RowKey::Newest { .. }
        | RowKey::Purge { .. }
        | RowKey::Owned { .. }
        | RowKey::Expiry { .. }
        | RowKey::Importing
        | RowKey::Naming => decodes::<IndexRow>(message),
        RowKey::Request { .. } => decodes::<RequestRow>(message),
        RowKey::Attachment { .. } => decodes::<AttachmentRow>(message),
        RowKey::Samples { first_block, .. } => check_samples(message, first_block),
        RowKey::Gap { .. } => decodes::<Gap>(message),
        RowKey::Seal { .. } => decodes::<SealRow>(message),
        RowKey::Clock => decodes::<ClockRow>(message),
        RowKey::Copy { .. } => decodes::<CopyRow>(message),
    };
    checked.map_err(|fault| format!("{row:?}: {fault}"))
}

fn decodes<M: Message + Default>(message: &[u8]) -> Result<(), String> {
    M::decode(message).map(drop).map_err(|error| error.to_string())
}

fn check_samples(message: &[u8], first_block: u64) -> Result<(), String> {
    let row = SampleRow::decode(message).map_err(|error| error.to_string())?;
    match row.first_block == first_block && !row.blocks.is_empty() {
        true => Ok(()),
        false => Err("it says it is another block, or none".into()),
    }
}
