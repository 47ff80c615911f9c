//! One connection: what is sent, what is durable, what comes next.

use tokio::sync::mpsc;
use tokio::time::Instant;
use wire::v1;

use super::super::outbox::{Supply, SupplyState};

/// One connection's state.
pub(super) struct Stream {
    /// Gone once the server takes nothing more.
    pub(super) sender: Option<mpsc::Sender<v1::RecordRunRequest>>,
    pub(super) next: i64,
    pub(super) durable: i64,
    pub(super) outstanding_max: i64,
    pub(super) sealed: bool,
    pub(super) heard: Instant,
}

/// What a connection does next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// Send the next block.
    Block,
    /// Send what the instrument is at.
    Notice,
    /// Send the finish.
    Finish,
    /// Nothing but listen.
    Listen,
    /// Everything kept is acknowledged and no more comes for now.
    Part,
}

impl Step {
    pub(super) fn sends(self) -> bool {
        matches!(self, Self::Block | Self::Notice | Self::Finish)
    }
}

impl Stream {
    /// Whether anything can still be said.
    pub(super) fn takes(&self) -> bool {
        !self.sealed && self.sender.is_some()
    }

    pub(super) fn step(&self, supply: Supply, full: bool) -> Step {
        if self.sealed || self.sender.is_none() {
            return Step::Listen;
        }
        if full {
            return Step::Finish;
        }
        if self.next <= supply.kept_through {
            return if self.next - self.durable <= self.outstanding_max {
                Step::Block
            } else {
                Step::Listen
            };
        }
        match supply.state {
            SupplyState::Complete => Step::Finish,
            SupplyState::Broken if self.durable >= supply.kept_through => Step::Part,
            SupplyState::Broken | SupplyState::Open => Step::Listen,
        }
    }

    /// Waits for room on the connection.
    pub(super) async fn ready(&self) -> Option<mpsc::OwnedPermit<v1::RecordRunRequest>> {
        self.sender.clone()?.reserve_owned().await.ok()
    }

    /// Whether an answer is owed.
    pub(super) fn waits(&self) -> bool {
        self.sealed || self.sender.is_none() || self.next > self.durable + 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stream(next: i64, durable: i64) -> Stream {
        Stream {
            sender: Some(mpsc::channel(1).0),
            next,
            durable,
            outstanding_max: 6,
            sealed: false,
            heard: Instant::now(),
        }
    }

    fn supply(kept_through: i64, state: SupplyState) -> Supply {
        Supply { kept_through, state }
    }

    #[test]
    fn no_more_blocks_are_outstanding_than_the_server_allows() {
        let plenty = supply(100, SupplyState::Complete);
        assert_eq!(stream(16, 10).step(plenty, false), Step::Block);
        assert_eq!(stream(17, 10).step(plenty, false), Step::Listen);
        assert_eq!(stream(17, 11).step(plenty, false), Step::Block);
    }

    #[test]
    fn the_finish_comes_after_the_last_block_and_only_when_no_more_come() {
        assert_eq!(stream(9, 5).step(supply(8, SupplyState::Open), false), Step::Listen);
        assert_eq!(stream(9, 5).step(supply(8, SupplyState::Complete), false), Step::Finish);
        assert_eq!(stream(8, 5).step(supply(8, SupplyState::Complete), false), Step::Block);
        assert_eq!(stream(9, 5).step(supply(8, SupplyState::Broken), false), Step::Listen);
        assert_eq!(stream(9, 8).step(supply(8, SupplyState::Broken), false), Step::Part);
        assert_eq!(stream(7, 6).step(supply(8, SupplyState::Open), true), Step::Finish);
    }
}
