//! JudgeSetup.

use mechanics::chassis::{End, SagFound, read_sag};
use mechanics::judgement::{RuleTable, judge as judged};
use mechanics::quantity::UnitSystem;
use store::Moment;
use wire::names::Collection;
use wire::setup::judge::{self, EndRead};
use wire::setup::sag;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::judge_setup_request::Source;
use wire::violation::{Violation, Violations};

use super::{Machine, refused};
use crate::bench::book::state_at;
use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// Nanoseconds of a second.
const SECOND: i64 = 1_000_000_000;

impl Bench {
    /// What to do to a setup, in which order, and why.
    pub fn judge_setup(&self, request: v1::JudgeSetupRequest) -> Result<v1::JudgeSetupResponse, ServiceError> {
        let now = self.now();
        self.judge_by(request, &self.rules_in_force()?, now)
    }

    /// The same by the rules given; `now` is when, for oil that has its date, where the visit has none.
    pub(super) fn judge_by(
        &self,
        request: v1::JudgeSetupRequest,
        rules: &RuleTable,
        now: Moment,
    ) -> Result<v1::JudgeSetupResponse, ServiceError> {
        let mut violations = Violations::new();
        let units = judge::options(&request, &mut violations);
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of setup, values is required"),
            Some(Source::Values(values)) => judge::check_values(values, violations.at("values")),
            Some(Source::Setup(setup)) => {
                Collection::Setups.revisable(&setup.name, violations.at("setup").at("name"));
            }
        }
        checked(violations, Some(()))?;
        let mut used = Vec::new();
        let now = now.as_nanos() / SECOND;
        let (values, basis, now) = match request.source {
            Some(Source::Setup(setup)) => {
                let (values, then) = self.values_of_setup(&setup, &mut used)?;
                (values, Basis::Stored, then.unwrap_or(now))
            }
            Some(Source::Values(values)) => (values, Basis::Sent, now),
            None => (v1::SetupValues::default(), Basis::Sent, now),
        };
        let machine = Machine {
            values: values.machine.clone().unwrap_or_default(),
            basis,
            place: "values.machine",
        };
        let front = self.end_model(&machine, End::Front, 1.0, &mut used)?;
        let rear = self.end_model(&machine, End::Rear, 1.0, &mut used)?;
        let [front_sag, rear_sag] = both_sags(&values, basis, units)?;
        let ends = [
            EndRead {
                model: &front,
                sag: front_sag.as_ref(),
                detail: request.front.as_ref(),
            },
            EndRead {
                model: &rear,
                sag: rear_sag.as_ref(),
                detail: request.rear.as_ref(),
            },
        ];
        let visit = judge::visit(&values, request.deceleration_ratio, ends, (now, units));
        let mut found = judged(&visit, rules);
        for sag in [front_sag, rear_sag].into_iter().flatten() {
            for finding in sag.findings {
                // What both say is said once, as the judge says it.
                if !found.findings.iter().any(|one| one.code == finding.code) {
                    found.findings.push(finding);
                }
            }
            found.assumptions.extend(sag.assumptions);
        }
        let mut reply = judge::response(&found, units);
        used.dedup();
        reply.used = used;
        Ok(reply)
    }

    /// A setup of the book with its machine and rider, and when it was, in seconds.
    fn values_of_setup(
        &self,
        asked: &v1::SagOfSetup,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<(v1::SetupValues, Option<i64>), ServiceError> {
        let mut setup = self.setup_named(&asked.name, used)?;
        let visit = setup.visit.take().unwrap_or_default();
        let (time, riding) = (visit.visit_time, visit.riding);
        let state = state_at(visit, asked.moment);
        let machine = self.machine_at(&setup, state.as_ref(), used)?;
        let values = v1::SetupValues {
            machine,
            state,
            riding,
            rider_mass_with_gear: self.riders_mass(&setup.rider)?,
        };
        Ok((values, time.map(|time| time.seconds)))
    }
}

/// Sag of both ends where lengths were read; every contradiction at once.
fn both_sags(values: &v1::SetupValues, basis: Basis, units: UnitSystem) -> Result<[Option<SagFound>; 2], ServiceError> {
    let mut faults: Vec<Violation> = Vec::new();
    let mut found = [None, None];
    for (slot, end) in found.iter_mut().zip([End::Front, End::Rear]) {
        let state = values.state.as_ref().and_then(|state| match end {
            End::Front => state.front.as_ref(),
            End::Rear => state.rear.as_ref(),
        });
        let read = v1::SagValues {
            readings: state.and_then(|state| state.sag),
            machine: values.machine.clone(),
            rider_mass_with_gear: values.rider_mass_with_gear,
        };
        let Some(readings) = sag::readings(&read, end, units) else {
            continue;
        };
        let place = |field: &str| match basis {
            Basis::Sent => format!("values.state.{}.sag.{}", end.word(), sag::field(field)),
            Basis::Stored => "setup".to_owned(),
        };
        match read_sag(&readings).map_err(|error| refused(error, basis, place)) {
            Ok(sag) => *slot = Some(sag),
            Err(ServiceError::InvalidFields(more)) => faults.extend(more),
            Err(other) => return Err(other),
        }
    }
    if faults.is_empty() {
        Ok(found)
    } else {
        Err(ServiceError::InvalidFields(faults))
    }
}
