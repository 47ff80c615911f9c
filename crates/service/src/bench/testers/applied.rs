//! What a tester's record means for a run: which of its revisions was in force, its calibration, and what is to be said.

use mechanics::finding::{Code, Finding};
use mechanics::spring::LoadCurve;
use store::record::{RecordId, WallClock};
use store::{Moment, Saved, TesterBody};
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::super::map::tester as map;
use super::super::reduce::used_revision;
use super::super::{Bench, refusal};
use crate::error::{Basis, ServiceError};

/// Revisions of a tester that are looked at: a shop calibrates once a year.
const REVISIONS: usize = 1_000;

/// When, and on which tester, a run was recorded.
#[derive(Debug)]
pub(in crate::bench) struct Recorded {
    pub(in crate::bench) tester: String,
    pub(in crate::bench) time: Moment,
}

/// What follows from a tester's record.
#[derive(Debug, Default)]
pub(in crate::bench) struct Applied {
    /// What loads are read back through.
    pub(in crate::bench) curve: Option<LoadCurve>,
    /// The record that was read.
    pub(in crate::bench) used: Option<v1::UsedRevision>,
    pub(in crate::bench) findings: Vec<Finding>,
    pub(in crate::bench) assumptions: Vec<v1::Assumption>,
}

impl Applied {
    fn assume(&mut self, text: String, source: &str) {
        self.assumptions.push(v1::Assumption {
            subject: "tester".to_owned(),
            text,
            source: source.to_owned(),
        });
    }
}

impl Bench {
    /// Reads the tester a request or its run names, and fills what the request leaves out from its record.
    pub(in crate::bench) fn applied_tester(
        &self,
        request: &mut v1::ReduceRunRequest,
        run: Option<&Recorded>,
        violations: &mut Violations,
    ) -> Result<Applied, ServiceError> {
        let mut applied = Applied::default();
        let now = self.now();
        let (shown, time) = match run {
            _ if !request.tester.is_empty() => (request.tester.clone(), run.map_or(now, |run| run.time)),
            Some(run) => (run.tester.clone(), run.time),
            None => return Ok(applied),
        };
        let asked = !request.tester.is_empty();
        let name = if asked {
            Collection::Testers.revisable(&shown, violations.at("tester"))
        } else {
            Collection::Testers.revisable(&shown, Violations::new().root())
        };
        let Some(name) = name else {
            if !asked {
                applied.assume(no_record(&shown), "the run");
            }
            return Ok(applied);
        };
        let saved = match self.tester_in_force(&name, &shown, time) {
            Ok(saved) => saved,
            Err(ServiceError::NotFound { .. }) if !asked => {
                applied.assume(no_record(&shown), "the run");
                return Ok(applied);
            }
            Err(error) => return Err(error),
        };
        applied.used = Some(used_revision(Collection::Testers, saved.id.as_str(), saved.revision));
        let tester = map::tester(&saved);
        wire::testers::record_defaults(request, &tester);
        match &tester.calibration {
            None => applied.assume(
                format!("loads are as shown: no calibration is kept with {shown}"),
                "the tester's record",
            ),
            Some(_) if request.uncalibrated => applied.assume(
                format!("loads are as shown: the calibration kept with {shown} is left out, as asked for"),
                "the request",
            ),
            Some(calibration) => calibrated(calibration, &shown, time, &mut applied),
        }
        Ok(applied)
    }

    /// The revision that holds: the one that is named, else the newest of the calibration that was in force; where every
    /// calibration is later, the one that came next.
    fn tester_in_force(
        &self,
        name: &wire::names::Name,
        shown: &str,
        time: Moment,
    ) -> Result<Saved<TesterBody>, ServiceError> {
        let newest = self.saved_at::<v1::Tester>(name, shown)?;
        if name.revision.is_some() || calibrated_at(&newest).is_none_or(|done| done <= time.as_nanos()) {
            return Ok(newest);
        }
        let (mut before, mut seen) = (None, 0);
        let (mut in_force, mut next): (Option<Saved<TesterBody>>, _) = (None, newest.clone());
        while seen < REVISIONS {
            let page = self.store.revisions::<TesterBody>(&newest.id, before, 50);
            let page = page.map_err(refusal(shown, ""))?;
            seen += page.revisions.len();
            for revision in page.revisions {
                let Some(done) = calibrated_at(&revision) else { continue };
                // Newest first: only a later calibration, or one that comes sooner after the run, takes the place.
                if done <= time.as_nanos() {
                    if in_force.as_ref().and_then(calibrated_at).is_none_or(|best| done > best) {
                        in_force = Some(revision);
                    }
                } else if calibrated_at(&next).is_some_and(|best| done < best) {
                    next = revision;
                }
            }
            before = page.next;
            if before.is_none() {
                break;
            }
        }
        Ok(in_force.unwrap_or(next))
    }

    /// Fills a request to fit with the points of the tester it names.
    pub(in crate::bench) fn kept_points(
        &self,
        request: &mut v1::FitCalibrationRequest,
        violations: &mut Violations,
    ) -> Result<Option<v1::UsedRevision>, ServiceError> {
        if request.tester.is_empty() {
            return Ok(None);
        }
        for (field, given) in [
            ("points", !request.points.is_empty()),
            ("degree", request.degree.is_some()),
            ("through_origin", request.through_origin),
        ] {
            if given {
                let why = format_args!("{field} comes from the tester's calibration; leave out one of the two");
                violations.push(field, Reason::Conflict, why);
            }
        }
        let Some(name) = Collection::Testers.revisable(&request.tester, violations.at("tester")) else {
            return Ok(None);
        };
        let saved = self.saved_at::<v1::Tester>(&name, &request.tester)?;
        let Some(calibration) = map::tester(&saved).calibration else {
            return Err(ServiceError::NotReducible {
                basis: Basis::Stored,
                cause: format!("{} has no calibration", request.tester),
            });
        };
        request.points = calibration.points;
        request.degree = calibration.degree;
        request.through_origin = calibration.through_origin;
        Ok(Some(used_revision(
            Collection::Testers,
            saved.id.as_str(),
            saved.revision,
        )))
    }

    /// Whether a tester of that name is kept.
    pub(in crate::bench) fn keeps_tester(&self, name: &str) -> bool {
        let name = Collection::Testers.revisable(name, Violations::new().root());
        let id = name.and_then(|name| RecordId::parse(&name.id));
        id.is_some_and(|id| self.store.get::<TesterBody>(&id).is_ok())
    }

    /// The tester of a run, where its record is kept, by name and newest revision: what a reduction depends on.
    pub(crate) fn tester_revision(&self, tester: &str) -> Option<(String, u64)> {
        let name = Collection::Testers.revisable(tester, Violations::new().root())?;
        let saved = self.store.get::<TesterBody>(&RecordId::parse(&name.id)?).ok()?;
        Some((tester.to_owned(), saved.revision))
    }
}

fn no_record(tester: &str) -> String {
    let shown: String = tester.chars().take(80).collect();
    if shown.is_empty() {
        "loads are as shown: the run names no tester, so no calibration is known".to_owned()
    } else {
        format!("loads are as shown: no record is kept of the tester \"{shown}\", so no calibration is known")
    }
}

fn calibrated(calibration: &v1::LoadCalibration, shown: &str, time: Moment, applied: &mut Applied) {
    applied.curve = wire::testers::kept_curve(calibration);
    let taken = day(time.as_nanos().div_euclid(SECOND));
    let done = calibration.calibrate_time.as_ref().map_or(0, |done| done.seconds);
    if let Some(due) = &calibration.due_time
        && nanos(due.seconds, due.nanos) < time.as_nanos()
    {
        let text = format!(
            "{shown} was due for calibration on {}, the run is of {taken}, the calibration of {}",
            day(due.seconds),
            day(done)
        );
        applied
            .findings
            .push(Finding::about(Code::CalibrationOverdue, "tester", text));
    }
    if done > time.as_nanos().div_euclid(SECOND) {
        let text = format!(
            "the run is of {taken}, before the calibration of {shown} on {}",
            day(done)
        );
        applied
            .findings
            .push(Finding::about(Code::CalibrationLater, "tester", text));
    }
    let certificate = match calibration.certificate.as_str() {
        "" => String::new(),
        words => format!(", {words}"),
    };
    applied.assume(
        format!("the calibration of {shown} of {} holds{certificate}", day(done)),
        "the tester's record",
    );
}

const SECOND: i64 = 1_000_000_000;

fn nanos(seconds: i64, nanos: i32) -> i64 {
    seconds.saturating_mul(SECOND).saturating_add(i64::from(nanos))
}

fn calibrated_at(saved: &Saved<TesterBody>) -> Option<i64> {
    let calibration = saved.body.calibration.as_ref()?;
    let time: &WallClock = calibration.calibrate_time.as_ref()?;
    Some(nanos(time.seconds, time.nanos))
}

/// A day of the calendar, `2026-03-01`, UTC.
fn day(seconds: i64) -> String {
    let time = prost_types::Timestamp { seconds, nanos: 0 }.to_string();
    time.split('T').next().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_those_of_the_calendar() {
        assert_eq!(day(0), "1970-01-01");
        assert_eq!(day(951_782_399), "2000-02-28");
        assert_eq!(day(951_782_400), "2000-02-29");
    }
}
