//! What the store says beside what is being pressed: the spring on the tester, the rack to choose from, the last test.

use std::sync::Arc;

use wire::v1;

use super::super::measured::Outcome;
use super::super::{Page, said};
use crate::bench::Bench;
use crate::error::ServiceError;

/// Springs offered in a list; more than that are found on the rack.
const OFFERED: i32 = 500;
/// Finished runs looked through for the last one of a tester.
const LOOKED_THROUGH: i32 = 50;

/// What stands beside the board.
#[derive(Debug, Clone, Default)]
pub(super) struct Beside {
    /// The spring on the tester, where one was named.
    pub(super) spring: Option<v1::Spring>,
    /// The springs to choose from.
    pub(super) rack: Vec<v1::Spring>,
    /// The last finished test of the tester.
    pub(super) last: Option<Last>,
}

/// A finished test.
#[derive(Debug, Clone)]
pub(super) struct Last {
    pub(super) run: v1::Run,
    pub(super) spring: Option<v1::Spring>,
    /// What it says of its spring, or why it says nothing.
    pub(super) said: Arc<Outcome>,
}

/// Looks it all up. The reduction is the run's own, by its header and its spring.
pub(super) async fn look(page: &Page, shown: &v1::WatchBenchResponse, units: i32) -> Result<Beside, ServiceError> {
    let (spring, tester, run) = (shown.spring.clone(), shown.tester.clone(), shown.run.clone());
    let closed = shown.state == v1::RunState::Finished as i32;
    let (spring, rack, last) = page
        .places
        .wait(move |bench| {
            let request = v1::ListSpringsRequest {
                page_size: OFFERED,
                ..Default::default()
            };
            let rack = bench.list_springs(request)?.springs;
            let spring = named(bench, &spring)?;
            let last = match closed {
                true => Some(bench.get_run(v1::GetRunRequest { name: run })?).filter(|run| run.delete_time.is_none()),
                false => last_of(bench, &tester)?,
            };
            let last = match last {
                Some(run) => Some((named(bench, &run.spring)?, run)),
                None => None,
            };
            Ok((spring, rack, last))
        })
        .await?;
    let last = match last {
        Some((spring, run)) => Some(judged(page, run, spring, units).await?),
        None => None,
    };
    Ok(Beside { spring, rack, last })
}

/// A spring; one that has gone since is none.
fn named(bench: &Bench, name: &str) -> Result<Option<v1::Spring>, ServiceError> {
    if name.is_empty() {
        return Ok(None);
    }
    match bench.get_spring(v1::GetSpringRequest { name: name.to_owned() }) {
        Ok(spring) => Ok(Some(spring)),
        Err(ServiceError::NotFound { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

fn last_of(bench: &Bench, tester: &str) -> Result<Option<v1::Run>, ServiceError> {
    let request = v1::ListRunsRequest {
        page_size: LOOKED_THROUGH,
        state: v1::RunState::Finished.into(),
        ..Default::default()
    };
    let runs = bench.list_runs(request)?.runs;
    let on_it = |run: &v1::Run| run.header.as_ref().is_some_and(|header| header.tester == tester);
    Ok(runs.into_iter().find(on_it))
}

async fn judged(page: &Page, run: v1::Run, spring: Option<v1::Spring>, units: i32) -> Result<Last, ServiceError> {
    let measured = Arc::clone(&page.measured);
    let (run, said) = page
        .places
        .compute(move |bench| {
            let said = measured.of(bench, &run, units);
            Ok((run, said))
        })
        .await?;
    Ok(Last { run, spring, said })
}

impl Last {
    /// The verdict in one line: the mark, the rate with its uncertainty, how far apart.
    pub(super) fn verdict(&self) -> String {
        let reply = match &*self.said {
            Ok(reply) => reply,
            Err(why) => return why.to_string(),
        };
        match &reply.marking_verdict {
            Some(verdict) if said::decision(verdict).is_some() => {
                format!("{}: {}", said::decided(verdict).0, said::sentence(verdict, reply))
            }
            Some(verdict) => said::sentence(verdict, reply),
            None => said::unmarked(reply),
        }
    }

    /// The rate it measured.
    pub(super) fn rate(&self) -> Option<v1::Stiffness> {
        (*self.said).as_ref().ok()?.rate.as_ref()?.value
    }

    /// Its curve and where that is at, to be shown until the next test begins.
    pub(super) fn curve(&self) -> Option<(v1::BenchPoints, v1::BenchMarks)> {
        let reply = (*self.said).as_ref().ok()?;
        let curve = reply.curve.as_ref()?;
        let path = curve.press.iter().chain(curve.returning.iter().rev());
        let (deflections, loads) = path.map(|point| (point.deflection, point.load)).unzip();
        let points = v1::BenchPoints {
            deflection_unit: curve.deflection_unit,
            load_unit: curve.load_unit,
            deflections,
            loads,
        };
        let bind = reply.knees.iter().find(|knee| knee.kind() == v1::knee::Kind::Bind);
        let window = reply.window.as_ref();
        let marks = v1::BenchMarks {
            contact: reply
                .contact
                .as_ref()
                .and_then(|contact| contact.deflection.as_ref())
                .and_then(|deflection| deflection.value),
            bind: bind
                .and_then(|knee| knee.deflection.as_ref())
                .and_then(|deflection| deflection.value),
            window_from: window.and_then(|window| window.from),
            window_to: window.and_then(|window| window.to),
            rate: None,
        };
        Some((points, marks))
    }
}
