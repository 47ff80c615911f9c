//! The API on the wire: generated messages and services, and the one place where a bare number gains or loses its unit
//! on the way in or out of them.

pub mod book;
pub mod names;
pub mod quantity;
pub mod records;
pub mod setup;
pub mod springs;
pub mod testers;
pub mod valving;
pub mod violation;

/// Generated from `proto/springwright/v1`. Documentation is in the protos.
#[allow(missing_docs, clippy::all, unreachable_pub, reason = "generated code")]
pub mod v1 {
    tonic::include_proto!("springwright.v1");
}

/// The API's descriptors, for reflection and for JSON.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/plain.binpb"));

/// The same with the words that stand in the protos, for help at the terminal.
pub const COMMENTED_DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/commented.binpb"));
