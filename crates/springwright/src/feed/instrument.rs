//! The instrument as the bench sees it: what it is told, how it takes it, and what it is at. Reads and waits for nothing.

use std::time::Duration;

use tokio::sync::watch;
use tokio::time::Instant;
use wire::v1;
use wire::v1::instruction::Action;

use super::intake::Event;

/// How long an instrument may take to say that its test is over once it was told to stop; then the run ends without it.
const END_WAIT: Duration = Duration::from_secs(3);
/// Characters of its words that are passed on (records.proto).
const TEXT_CHARS_MAX: usize = 200;

/// What the reader does next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    /// Tells the instrument, in its own words.
    Tell(&'static str),
    /// Goes on as before.
    GoOn,
    /// Reads no more and has the run finished.
    Finish,
    /// Reads no more and leaves the run to the bench.
    Stop,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Waiting,
    Sampling,
    /// Told to stop; its last readings are still to come.
    Ending {
        finish: bool,
        until: Instant,
    },
    Stopped,
}

/// The instrument of one run.
#[derive(Debug)]
pub(super) struct Instrument {
    obeys: Vec<Action>,
    phase: Phase,
    status: watch::Sender<v1::InstrumentNotice>,
}

impl Instrument {
    /// One that obeys so much; until it says that it waits, it samples.
    pub(super) fn new(obeys: Vec<Action>, status: watch::Sender<v1::InstrumentNotice>) -> Self {
        Self {
            obeys,
            phase: Phase::Sampling,
            status,
        }
    }

    /// What an instruction of the bench leads to. A run without a sample has nothing to finish.
    pub(super) fn instructed(&mut self, action: Action, any_sample: bool) -> Next {
        let refused = match (action, self.phase) {
            (Action::Start, Phase::Sampling | Phase::Ending { .. }) => "the test has begun already",
            (Action::Finish | Action::Stop, Phase::Waiting) => "the test has not begun",
            (Action::Finish, _) if !any_sample => "nothing was recorded yet",
            (Action::Start | Action::TareMark | Action::Stop, Phase::Stopped) => {
                "it was stopped; finish or discard this run first"
            }
            (Action::Start, Phase::Waiting) => return Next::Tell("start\n"),
            (Action::TareMark, _) if self.obeys.contains(&Action::TareMark) => return Next::Tell("tare\n"),
            (Action::TareMark, _) => "the instrument cannot be told to do that",
            (Action::Finish | Action::Stop, Phase::Sampling | Phase::Ending { .. }) => {
                return self.end(action == Action::Finish);
            }
            (Action::Finish, Phase::Stopped) => return Next::Finish,
            (Action::Unspecified, _) => return Next::GoOn,
        };
        self.answer(action, true, refused);
        Next::GoOn
    }

    fn end(&mut self, finish: bool) -> Next {
        if !self.obeys.contains(&Action::Stop) {
            return if finish { Next::Finish } else { Next::Stop };
        }
        self.phase = Phase::Ending {
            finish,
            until: Instant::now() + END_WAIT,
        };
        Next::Tell("stop\n")
    }

    /// Takes what the instrument says of itself.
    pub(super) fn said(&mut self, event: Event) {
        match event {
            Event::Waiting => {
                self.phase = Phase::Waiting;
                self.at(v1::InstrumentState::Waiting);
            }
            Event::Started => {
                self.phase = Phase::Sampling;
                self.at(v1::InstrumentState::Sampling);
                self.answer(Action::Start, false, "");
            }
            Event::Tare(mark) => {
                self.status.send_modify(|notice| notice.tare_mark = Some(mark));
                let zeroed = mark.zeroed_load.and_then(|load| load.value).unwrap_or_default();
                self.answer(Action::TareMark, false, &format!("took {zeroed} off its readings"));
            }
            Event::Refused(why) => self.answer(Action::Unspecified, true, &why),
        }
    }

    /// Whether its end, which has come, finishes the run; by itself it does.
    pub(super) fn end_finishes(&self) -> bool {
        !matches!(self.phase, Phase::Ending { finish: false, .. } | Phase::Stopped)
    }

    /// Nothing more is read of it.
    pub(super) fn stopped(&mut self) {
        self.phase = Phase::Stopped;
        self.at(v1::InstrumentState::Stopped);
        self.answer(Action::Stop, false, "");
    }

    /// Waits until it should have ended; for ever unless it was told to.
    pub(super) async fn overdue(until: Option<Instant>) {
        match until {
            Some(until) => tokio::time::sleep_until(until).await,
            None => std::future::pending().await,
        }
    }

    /// When it should have ended.
    pub(super) fn ends_by(&self) -> Option<Instant> {
        match self.phase {
            Phase::Ending { until, .. } => Some(until),
            Phase::Waiting | Phase::Sampling | Phase::Stopped => None,
        }
    }

    fn at(&self, state: v1::InstrumentState) {
        self.status.send_modify(|notice| notice.state = state.into());
    }

    /// Says how an instruction was taken.
    pub(super) fn answer(&self, action: Action, refused: bool, text: &str) {
        self.status.send_modify(|notice| {
            notice.answers = action.into();
            notice.refused = refused;
            notice.text = text.chars().take(TEXT_CHARS_MAX).collect();
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instrument(obeys: &[Action]) -> (Instrument, watch::Receiver<v1::InstrumentNotice>) {
        let (sender, status) = watch::channel(v1::InstrumentNotice::default());
        (Instrument::new(obeys.to_vec(), sender), status)
    }

    #[test]
    fn one_that_obeys_is_told_and_its_end_finishes_only_what_was_to_be_finished() {
        let (mut one, status) = instrument(&[Action::Start, Action::TareMark, Action::Stop]);
        one.said(Event::Waiting);
        assert_eq!(one.instructed(Action::Finish, false), Next::GoOn);
        assert!(status.borrow().refused && status.borrow().text.contains("not begun"));
        assert_eq!(one.instructed(Action::TareMark, false), Next::Tell("tare\n"));
        assert_eq!(one.instructed(Action::Start, false), Next::Tell("start\n"));
        one.said(Event::Started);
        assert_eq!(status.borrow().state(), v1::InstrumentState::Sampling);
        assert_eq!(one.instructed(Action::Start, true), Next::GoOn);
        assert!(status.borrow().refused);
        assert!(one.end_finishes());
        assert_eq!(one.instructed(Action::Stop, true), Next::Tell("stop\n"));
        assert!(!one.end_finishes() && one.ends_by().is_some());
        one.stopped();
        assert_eq!(status.borrow().state(), v1::InstrumentState::Stopped);
        assert_eq!(one.instructed(Action::Start, true), Next::GoOn);
        assert_eq!(one.instructed(Action::Finish, true), Next::Finish);
    }

    #[test]
    fn one_that_cannot_be_told_is_read_no_more() {
        let (mut one, status) = instrument(&[]);
        assert_eq!(one.instructed(Action::TareMark, true), Next::GoOn);
        assert!(status.borrow().refused);
        assert_eq!(one.instructed(Action::Stop, true), Next::Stop);
        assert_eq!(one.instructed(Action::Finish, true), Next::Finish);
    }
}
