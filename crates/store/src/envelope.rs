//! The values: what surrounds every message on disk.
//!
//! ```text
//! 0   2  magic "Sw"
//! 2   1  format version of the message, from 1
//! 3   1  family: the first byte of the key it belongs to
//! 4   4  length of the message, little-endian
//! 8   4  CRC-32C over the key, bytes 0 to 7 and the message, little-endian
//! 12     the message, as `proto/springwright/store/v1` describes it
//! ```
//! The checksum takes in the key: a value that stands under a foreign key is as damaged as one with a flipped bit.

use crate::engine::MAX_VALUE;

/// Bytes before the message.
pub const HEADER: usize = 12;
/// Longest message, in bytes.
pub const MAX_MESSAGE: usize = MAX_VALUE - HEADER;
/// The version that is written. Older ones are read for ever.
pub const VERSION: u8 = 1;

const MAGIC: [u8; 2] = *b"Sw";

/// Puts a message into its envelope. The caller keeps to [`MAX_MESSAGE`]; the engine refuses what is longer.
pub fn seal(key: &[u8], message: &[u8]) -> Vec<u8> {
    let length = u32::try_from(message.len()).unwrap_or(u32::MAX);
    let mut value = Vec::with_capacity(HEADER + message.len());
    value.extend(MAGIC);
    value.push(VERSION);
    value.push(key.first().copied().unwrap_or(0));
    value.extend(length.to_le_bytes());
    let sum = checksum(key, &value, message);
    value.extend(sum.to_le_bytes());
    value.extend(message);
    value
}

/// Takes a message out of its envelope; the error says what does not fit.
pub fn open<'a>(key: &[u8], value: &'a [u8]) -> Result<&'a [u8], &'static str> {
    let (header, message) = value.split_at_checked(HEADER).ok_or("shorter than its header")?;
    let (start, sum) = header.split_at_checked(8).ok_or("shorter than its header")?;
    let [m0, m1, version, family, length @ ..] = start else {
        return Err("shorter than its header");
    };
    if [*m0, *m1] != MAGIC {
        return Err("no value of this store");
    }
    if <[u8; 4]>::try_from(length).map(u32::from_le_bytes).ok() != u32::try_from(message.len()).ok() {
        return Err("not as long as it says");
    }
    if <[u8; 4]>::try_from(sum).map(u32::from_le_bytes).ok() != Some(checksum(key, start, message)) {
        return Err("its checksum does not fit");
    }
    if Some(family) != key.first() {
        return Err("belongs under another key");
    }
    if *version != VERSION {
        return Err("written by a newer version of this program");
    }
    Ok(message)
}

fn checksum(key: &[u8], start: &[u8], message: &[u8]) -> u32 {
    crc32c::crc32c_append(crc32c::crc32c_append(crc32c::crc32c(key), start), message)
}
