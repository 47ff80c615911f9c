//! The line to a server that may go down at any moment.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use tonic::Status;
use tonic::transport::Channel;
use tonic_types::StatusExt as _;

#[derive(Clone)]
pub(crate) struct Line {
    pub(crate) channel: Channel,
    /// Set before the server is killed: from then on the line may break.
    pub(crate) ending: Arc<AtomicBool>,
    /// Set while nobody shall begin anything new.
    pub(crate) resting: Arc<AtomicBool>,
    pub(crate) acknowledged: Arc<AtomicUsize>,
}

impl Line {
    /// The server acknowledged something.
    pub(crate) fn heard(&self) {
        self.acknowledged.fetch_add(1, Ordering::SeqCst);
    }

    pub(crate) fn is_ending(&self) -> bool {
        self.ending.load(Ordering::SeqCst)
    }

    pub(crate) fn is_resting(&self) -> bool {
        self.resting.load(Ordering::SeqCst)
    }

    /// Whether the line is cut. If not, the server was busy and this has waited a little; anything else fails the test.
    pub(crate) async fn is_cut(&self, status: &Status) -> bool {
        match status.get_error_details().error_info() {
            Some(info) if info.reason == "OVERLOADED" => {
                tokio::time::sleep(Duration::from_millis(20)).await;
                false
            }
            Some(_) => panic!("refused: {status:?}"),
            None => {
                assert!(self.is_ending(), "the line broke, and nobody broke it: {status:?}");
                true
            }
        }
    }
}
