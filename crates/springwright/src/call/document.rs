//! A document or picture that comes in a reply, written to a file.

use std::io::Write as _;
use std::path::Path;

use prost_reflect::{DynamicMessage, ReflectMessage as _, Value};

use crate::fail::Fail;

/// Fields that hold one.
const FIELDS: [&str; 2] = ["content", "staircase_svg"];

/// Whether a call's reply may hold one.
pub(crate) fn may_hold(output: &prost_reflect::MessageDescriptor) -> bool {
    FIELDS.iter().any(|name| output.get_field_by_name(name).is_some())
}

/// Takes it out of the reply, whose other fields are printed.
pub(super) fn taken(reply: &mut DynamicMessage) -> Result<Vec<u8>, Fail> {
    let fields: Vec<_> = reply.descriptor().fields().collect();
    for field in fields.iter().filter(|field| FIELDS.contains(&field.name())) {
        let held = match reply.get_field(field).into_owned() {
            Value::Bytes(bytes) => bytes.to_vec(),
            Value::String(text) => text.into_bytes(),
            _ => Vec::new(),
        };
        if !held.is_empty() {
            reply.clear_field(field);
            return Ok(held);
        }
    }
    Err(Fail::error("--out: the reply holds no document or picture"))
}

pub(super) fn to_file(path: &Path, content: &[u8]) -> Result<(), Fail> {
    std::fs::write(path, content).map_err(|fault| Fail::at(format!("--out {}", path.display()), fault))
}

pub(super) fn to_stdout(content: &[u8]) -> Result<(), Fail> {
    let mut out = std::io::stdout().lock();
    out.write_all(content)?;
    out.flush()?;
    Ok(())
}
