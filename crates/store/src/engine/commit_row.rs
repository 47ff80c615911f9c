//! The engine's own row: which store this is, and how many groups and keys it holds. Written with every group.

use super::RESERVED;

/// The only key under the reserved byte.
pub(crate) const KEY: &[u8] = &[RESERVED, b'c', b'o', b'm', b'm', b'i', b't'];
const MAGIC: &[u8; 4] = b"SWCR";
const LENGTH: usize = 44;

/// What the data folder says about itself; see [`super::sentinel`] for what the outside says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct CommitRow {
    pub(crate) store_id: [u8; 16],
    pub(crate) format: u32,
    pub(crate) sequence: u64,
    pub(crate) keys: u64,
}

impl CommitRow {
    pub(crate) fn encode(&self) -> Vec<u8> {
        let mut row = Vec::with_capacity(LENGTH);
        row.extend_from_slice(MAGIC);
        row.extend_from_slice(&self.store_id);
        row.extend_from_slice(&self.format.to_le_bytes());
        row.extend_from_slice(&self.sequence.to_le_bytes());
        row.extend_from_slice(&self.keys.to_le_bytes());
        let sum = crc32c::crc32c(&row);
        row.extend_from_slice(&sum.to_le_bytes());
        row
    }

    /// None when the row is not one that [`CommitRow::encode`] made.
    pub(crate) fn decode(row: &[u8]) -> Option<CommitRow> {
        let row: &[u8; LENGTH] = row.try_into().ok()?;
        let (body, sum) = row.split_last_chunk::<4>()?;
        if crc32c::crc32c(body) != u32::from_le_bytes(*sum) {
            return None;
        }
        let (magic, rest) = body.split_first_chunk::<4>()?;
        let (store_id, rest) = rest.split_first_chunk::<16>()?;
        let (format, rest) = rest.split_first_chunk::<4>()?;
        let (sequence, rest) = rest.split_first_chunk::<8>()?;
        let keys = rest.first_chunk::<8>()?;
        (magic == MAGIC).then_some(CommitRow {
            store_id: *store_id,
            format: u32::from_le_bytes(*format),
            sequence: u64::from_le_bytes(*sequence),
            keys: u64::from_le_bytes(*keys),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn row_comes_back_and_any_flipped_bit_is_noticed() {
        let row = CommitRow {
            store_id: [7; 16],
            format: 1,
            sequence: 300,
            keys: 5,
        };
        let bytes = row.encode();
        assert_eq!(CommitRow::decode(&bytes), Some(row));
        for bit in 0..bytes.len() * 8 {
            let mut damaged = bytes.clone();
            damaged[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(CommitRow::decode(&damaged), None, "bit {bit}");
        }
    }
}
