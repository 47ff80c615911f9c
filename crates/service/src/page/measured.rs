//! What runs say, kept for a while: a list of springs asks for the same reductions whenever it is looked at.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use wire::v1;

use crate::bench::Bench;
use crate::error::ServiceError;

/// Reductions kept; each is some tens of kilobytes, its curve included.
const KEPT: usize = 256;
/// Samples of a run that is reduced for a list. Larger ones are reduced when they are opened.
const LISTED: i64 = 200_000;

/// Places over the travel the rate is told at.
const RATES: i32 = 48;

/// What a run says, or why it says nothing.
pub(super) type Outcome = Result<v1::ReduceRunResponse, ServiceError>;

/// Everything the outcome depends on: a finished run never changes but for its spring, which a revision counts.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Key {
    run: String,
    revision: i64,
    digest: Vec<u8>,
    spring: Option<(String, i64)>,
    tester: Option<(String, u64)>,
    units: i32,
}

/// The reductions kept.
#[derive(Default)]
pub(super) struct Measured {
    kept: Mutex<VecDeque<(Key, Arc<Outcome>)>>,
}

impl Measured {
    /// What a run says, with the marking of its spring. Blocks, and may compute for long.
    pub(super) fn of(&self, bench: &Bench, run: &v1::Run, units: i32) -> Arc<Outcome> {
        let key = key(bench, run, units);
        if let Some(found) = self.find(&key) {
            return found;
        }
        let asked = v1::ReduceRunRequest {
            source: Some(v1::reduce_run_request::Source::Run(run.name.clone())),
            reply_units: units,
            curve: Some(v1::CurveInputs {
                rate_place_count: Some(RATES),
                ..Default::default()
            }),
            ..Default::default()
        };
        let outcome = Arc::new(bench.reduce_run(asked));
        let lasts = matches!(*outcome, Ok(_) | Err(ServiceError::NotReducible { .. }));
        if run.state() == v1::RunState::Finished && lasts {
            self.keep(key, &outcome);
        }
        outcome
    }

    /// The same for a row of a list; nothing for a run that is not finished or takes long.
    pub(super) fn listed(&self, bench: &Bench, run: &v1::Run, units: i32) -> Option<Arc<Outcome>> {
        if run.state() != v1::RunState::Finished || run.delete_time.is_some() {
            return None;
        }
        if run.sample_count > LISTED {
            return self.find(&key(bench, run, units));
        }
        Some(self.of(bench, run, units))
    }

    fn find(&self, key: &Key) -> Option<Arc<Outcome>> {
        let kept = self.kept();
        let found = kept.iter().find(|(known, _)| known == key);
        found.map(|(_, outcome)| Arc::clone(outcome))
    }

    fn keep(&self, key: Key, outcome: &Arc<Outcome>) {
        let mut kept = self.kept();
        if kept.len() >= KEPT {
            kept.pop_front();
        }
        kept.push_back((key, Arc::clone(outcome)));
    }

    fn kept(&self) -> MutexGuard<'_, VecDeque<(Key, Arc<Outcome>)>> {
        // Nothing that can panic runs under the lock.
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn key(bench: &Bench, run: &v1::Run, units: i32) -> Key {
    Key {
        run: run.name.clone(),
        revision: run.revision,
        digest: run.content_digest.to_vec(),
        spring: spring_of(bench, run).map(|spring| (spring.name, spring.revision)),
        tester: bench.tester_revision(
            &run.header
                .as_ref()
                .map_or_else(String::new, |header| header.tester.clone()),
        ),
        units,
    }
}

/// The spring a run was assigned, where it is still known.
pub(super) fn spring_of(bench: &Bench, run: &v1::Run) -> Option<v1::Spring> {
    if run.spring.is_empty() {
        return None;
    }
    let name = run.spring.clone();
    bench.get_spring(v1::GetSpringRequest { name }).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reductions_are_kept_within_their_bound_and_found_by_all_they_depend_on() {
        let measured = Measured::default();
        let key = |run: usize, revision| Key {
            run: format!("runs/r{run}"),
            revision,
            digest: vec![1, 2, 3, 4],
            spring: Some(("springs/a".to_owned(), 1)),
            tester: None,
            units: 1,
        };
        for run in 0..2 * KEPT {
            measured.keep(key(run, 1), &Arc::new(Ok(v1::ReduceRunResponse::default())));
        }
        assert_eq!(measured.kept().len(), KEPT);
        assert!(measured.find(&key(0, 1)).is_none(), "the oldest makes room");
        assert!(measured.find(&key(2 * KEPT - 1, 1)).is_some());
        assert!(
            measured.find(&key(2 * KEPT - 1, 2)).is_none(),
            "a changed run is reduced anew"
        );
    }
}
