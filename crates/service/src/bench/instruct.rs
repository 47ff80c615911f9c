//! From the bench to the instrument: instructions for the stream that records a run.
//!
//! They wait in a short queue of the stream's own and are handed to it between its blocks; whoever instructs never waits,
//! and neither does the recording.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use store::record::RunState;
use tokio::sync::mpsc;
use wire::names::Collection;
use wire::records::{SHORT_TEXT, instruction_action, request_id, text};
use wire::v1;
use wire::v1::instruction::Action;
use wire::violation::Violations;

use super::{Bench, checked};
use crate::error::ServiceError;

/// Instructions on their way to one stream: a person presses a few buttons, a program that presses more is held back.
const WAITING: usize = 8;
/// Request ids remembered of one stream.
const REMEMBERED: usize = 16;
/// When whoever was held back may try again.
const RETRY_AFTER: Duration = Duration::from_millis(500);

/// The way to the instrument of one stream.
pub(super) struct Orders {
    sender: mpsc::Sender<v1::Instruction>,
    /// What was handed over lately, so that a repeated request presses no spring twice.
    recent: Mutex<VecDeque<([u8; 16], Action)>>,
}

impl Orders {
    /// The way, and its end at the stream.
    pub(super) fn new() -> (Self, mpsc::Receiver<v1::Instruction>) {
        let (sender, receiver) = mpsc::channel(WAITING);
        let recent = Mutex::default();
        (Self { sender, recent }, receiver)
    }

    /// Hands an instruction over, unless that was done before.
    fn give(&self, id: [u8; 16], request: &v1::InstructRunRequest, action: Action) -> Result<(), ServiceError> {
        // Nothing that can panic runs under the lock; held to the end, so that two of one id cannot both pass.
        let mut recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
        match recent.iter().find(|(known, _)| *known == id) {
            Some((_, known)) if *known == action => return Ok(()),
            Some(_) => {
                return Err(ServiceError::RequestIdReused {
                    request_id: request.request_id.clone(),
                });
            }
            None => {}
        }
        let instruction = v1::Instruction {
            action: action.into(),
            text: request.text.clone(),
        };
        self.sender.try_send(instruction).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => ServiceError::Overloaded {
                retry_after: RETRY_AFTER,
            },
            // The stream is just ending.
            mpsc::error::TrySendError::Closed(_) => ServiceError::NotAttached {
                run: request.name.clone(),
            },
        })?;
        if recent.len() == REMEMBERED {
            recent.pop_front();
        }
        recent.push_back((id, action));
        Ok(())
    }
}

impl Bench {
    /// Tells the instrument of a run what to do.
    pub fn instruct_run(&self, request: v1::InstructRunRequest) -> Result<v1::InstructRunResponse, ServiceError> {
        let mut violations = Violations::new();
        let key = request_id(&request.request_id, &mut violations);
        let action = instruction_action(request.action, violations.at("action"));
        text(&request.text, SHORT_TEXT, violations.at("text"));
        let id = Collection::Runs.id(&request.name, violations.at("name"));
        let ((key, action), id) = checked(violations, key.zip(action).zip(id))?;
        let Some(live) = self.live().get(&id).cloned() else {
            return Err(self.unattached(&id, request.name));
        };
        if !live.board.obeys(action) {
            return Err(ServiceError::NotObeyed {
                run: request.name,
                action: word(action),
                obeys: words(&live.board.header),
            });
        }
        live.orders.give(key, &request, action)?;
        Ok(v1::InstructRunResponse {
            run: request.name,
            attachment: i32::try_from(live.attachment).unwrap_or(i32::MAX),
        })
    }

    /// Why a run without a stream cannot be instructed.
    fn unattached(&self, id: &str, run: String) -> ServiceError {
        match self.run_record(id) {
            Err(error) => error,
            Ok(saved) if saved.delete_time.is_some() => ServiceError::Deleted { name: run },
            Ok(saved) => match saved.body.state() {
                RunState::Finished | RunState::Discarded => ServiceError::RunClosed { run },
                RunState::Open | RunState::Unspecified => ServiceError::NotAttached { run },
            },
        }
    }
}

fn words(header: &v1::RunHeader) -> String {
    let actions = header.obeys.iter().filter_map(|number| Action::try_from(*number).ok());
    actions.map(word).collect::<Vec<_>>().join(", ")
}

fn word(action: Action) -> &'static str {
    let name = action.as_str_name();
    name.strip_prefix("ACTION_").unwrap_or(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(action: Action) -> v1::InstructRunRequest {
        v1::InstructRunRequest {
            name: "runs/a".to_owned(),
            action: action.into(),
            ..Default::default()
        }
    }

    #[test]
    fn a_repeated_request_is_handed_over_once_and_the_queue_is_bounded() {
        let (orders, mut stream) = Orders::new();
        let give = |id: u8, action| orders.give([id; 16], &request(action), action);
        assert_eq!(give(1, Action::Start), Ok(()));
        assert_eq!(give(1, Action::Start), Ok(()));
        let reused = give(1, Action::Stop).unwrap_err();
        assert!(matches!(reused, ServiceError::RequestIdReused { .. }));
        for id in 2..=WAITING as u8 {
            assert_eq!(give(id, Action::TareMark), Ok(()));
        }
        assert!(matches!(give(100, Action::Stop), Err(ServiceError::Overloaded { .. })));
        assert_eq!(stream.try_recv().unwrap().action(), Action::Start);
        assert_eq!(stream.try_recv().unwrap().action(), Action::TareMark);
        // One that was held back was not handed over: it may be repeated.
        assert_eq!(give(100, Action::Stop), Ok(()));
        drop(stream);
        assert!(matches!(give(101, Action::Stop), Err(ServiceError::NotAttached { .. })));
    }
}
