//! The shop's book: riders, machines, setups, job sheets, rules, prices; and what a machine's visits say.

mod compare;
mod erase;
mod follow;
mod kept;
mod records;
mod standard;
mod tables;

pub(in crate::bench) use records::state_at;
