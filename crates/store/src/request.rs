//! Request ids: what makes repeating a change safe.

/// Names one change, so that repeating it is answered and not done again.
///
/// The id is the caller's; the digest tells a repeat from a reuse. It is length and CRC-32C of method and content: a guard
/// against accidents, not against forgery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RequestKey {
    /// The caller's UUID.
    pub id: [u8; 16],
    /// Length and checksum of what was asked.
    pub digest: [u8; 12],
}

impl RequestKey {
    /// From the id, the method's name and the request as the server encodes it again (so that unknown fields and the order of
    /// fields do not matter). The method counts because two methods may have requests of the same bytes.
    pub fn new(id: [u8; 16], method: &str, request: &[u8]) -> Self {
        let sum = crc32c::crc32c_append(crc32c::crc32c(method.as_bytes()), request);
        let length = (method.len() as u64).wrapping_add(request.len() as u64);
        let mut digest = [0; 12];
        let bytes = length.to_be_bytes().into_iter().chain(sum.to_be_bytes());
        digest.iter_mut().zip(bytes).for_each(|(place, byte)| *place = byte);
        Self { id, digest }
    }
}
