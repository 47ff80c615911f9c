//! The messages that lie on disk, generated from `proto/springwright/store/v1`.
#![allow(
    unreachable_pub,
    clippy::large_enum_variant,
    reason = "generated; the contents of records are public, the rows around them are not"
)]

include!(concat!(env!("OUT_DIR"), "/springwright.store.v1.rs"));
