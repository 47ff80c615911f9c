//! What the visits of a machine say one after the other.

use std::collections::HashMap;

use mechanics::chassis::{End, read_sag};
use mechanics::estimate::{Assumption, Estimate};
use mechanics::finding::{Code, Finding};
use mechanics::follow::{TrendRules, TrendState, prediction_met, share_trend, travel_reading};
use mechanics::judgement::{Ends, RuleId, Threshold};
use mechanics::quantity::{Length, LengthUnit, Quantity};
use store::{Cursor, ListQuery};
use wire::book::follow::{Asked, Followed, MAX_VISITS, asked, places, points, trend};
use wire::book::sag::{self, length};
use wire::names::Collection;
use wire::quantity::computed;
use wire::setup::words;
use wire::springs::estimates;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::follow_machine_request::Source;
use wire::v1::prediction::Subject;
use wire::violation::Violations;

use super::super::{checked, reduce::used_revision, refusal};
use super::kept::Kept;
use super::records::pinned;
use crate::bench::Bench;
use crate::error::ServiceError;

/// A visit as it was read, with the ranges of its adjusters.
#[derive(Default)]
struct Read {
    label: String,
    visit: v1::VisitValues,
    found: [Vec<v1::AdjusterRange>; 2],
    left: [Vec<v1::AdjusterRange>; 2],
}

impl Bench {
    /// Adjusters that drift, and predictions against what was measured.
    pub fn follow_machine(&self, request: v1::FollowMachineRequest) -> Result<v1::FollowMachineResponse, ServiceError> {
        let mut violations = Violations::new();
        let asked = asked(&request, &mut violations);
        let mut reply = v1::FollowMachineResponse::default();
        let visits = match request.source {
            None => {
                violations.push("source", Reason::ValueMissing, "one of machine, visits is required");
                checked(violations, None)?
            }
            Some(Source::Visits(visits)) => {
                violations.finish()?;
                sent(visits)
            }
            Some(Source::Machine(name)) => {
                let id = Collection::Machines.id(&name, violations.at("machine"));
                let id = checked(violations, id)?;
                reply.machine = Collection::Machines.name(&id);
                self.visits_of(&reply.machine, &mut reply.used)?
            }
        };
        let mut assumptions = Vec::new();
        let limits = self.limits(asked, &mut assumptions)?;
        let mut findings = Vec::new();
        reply.trends = trends(&visits, asked, limits, &mut findings);
        reply.predictions = predictions(&visits, asked, &mut findings);
        reply.findings = estimates::findings(&findings);
        reply.assumptions = estimates::assumptions(&assumptions);
        Ok(reply)
    }

    /// The share that is near the limit, front and rear.
    fn limits(&self, asked: Asked, assumptions: &mut Vec<Assumption>) -> Result<[f64; 2], ServiceError> {
        if let Some(limit) = asked.limit {
            return Ok([limit; 2]);
        }
        let rules = self.rules_in_force()?;
        let of = |ends| match rules.threshold(RuleId::AdjusterNearLimit, ends) {
            Threshold::Ratio(ratio) => ratio,
            _ => 0.25,
        };
        let limits = [of(Ends::Front), of(Ends::Rear)];
        assumptions.push(Assumption {
            subject: "limit_ratio",
            text: format!(
                "an adjuster is near its limit at {:.0} % of its range from closed in front, {:.0} % at the rear (rule {}, table {})",
                limits[0] * 100.0,
                limits[1] * 100.0,
                RuleId::AdjusterNearLimit.text(),
                rules.version()
            ),
            source: mechanics::judgement::PRACTICE,
        });
        Ok(limits)
    }

    /// The setups of a machine in the order of their visits; of very many the newest.
    fn visits_of(&self, machine: &str, used: &mut Vec<v1::UsedRevision>) -> Result<Vec<Read>, ServiceError> {
        // A machine that is not there has no visits to follow either.
        self.read::<v1::Machine>(machine)?;
        let mut setups = Vec::new();
        let mut after: Option<Cursor> = None;
        loop {
            let query = ListQuery {
                show_deleted: false,
                after,
                limit: MAX_VISITS - setups.len(),
            };
            let mine = |saved: &store::Saved<store::record::SetupBody>| {
                v1::Setup::content(&saved.body).is_ok_and(|setup| setup.machine == machine)
            };
            let page = self.store.list(&query, mine).map_err(refusal("setups", ""))?;
            setups.extend(page.records);
            after = page.next;
            if after.is_none() || setups.len() >= MAX_VISITS {
                break;
            }
        }
        let mut visits = Vec::new();
        let mut ranges = HashMap::new();
        for saved in &setups {
            let setup = v1::Setup::content(&saved.body).map_err(refusal("setups", ""))?;
            used.push(used_revision(Collection::Setups, saved.id.as_str(), saved.revision));
            let visit = setup.visit.unwrap_or_default();
            let made = saved.create_time.as_nanos();
            let when = visit.visit_time.map_or(made, |time| {
                time.seconds
                    .saturating_mul(1_000_000_000)
                    .saturating_add(i64::from(time.nanos))
            });
            let found = self.ranges(machine, visit.as_found.as_ref(), &mut ranges)?;
            let left = self.ranges(machine, visit.as_left.as_ref(), &mut ranges)?;
            visits.push((
                (when, made),
                Read {
                    label: Collection::Setups.name(saved.id.as_str()),
                    visit,
                    found,
                    left,
                },
            ));
        }
        visits.sort_by_key(|(when, _)| *when);
        let mut revisions: Vec<_> = ranges.into_keys().collect();
        revisions.sort_unstable();
        let id = machine.strip_prefix("machines/").unwrap_or(machine);
        used.extend(
            revisions
                .into_iter()
                .map(|revision| used_revision(Collection::Machines, id, revision)),
        );
        Ok(visits.into_iter().map(|(_, visit)| visit).collect())
    }

    /// The ranges of the adjusters a state was counted on.
    fn ranges(
        &self,
        machine: &str,
        state: Option<&v1::SetupState>,
        known: &mut HashMap<u64, [Vec<v1::AdjusterRange>; 2]>,
    ) -> Result<[Vec<v1::AdjusterRange>; 2], ServiceError> {
        let Some(name) = state.and_then(|state| pinned(machine, state.machine_revision)) else {
            return Ok(Default::default());
        };
        let Some(revision) = name.revision else {
            return Ok(Default::default());
        };
        if let Some(ranges) = known.get(&revision) {
            return Ok(ranges.clone());
        }
        let (machine, _) = self.read_named::<v1::Machine>(&name, machine)?;
        let values = machine.values.unwrap_or_default();
        let of = |unit: Option<v1::UnitValues>| unit.map(|unit| unit.adjusters).unwrap_or_default();
        let ranges = [of(values.front), of(values.rear)];
        known.insert(revision, ranges.clone());
        Ok(ranges)
    }
}

fn sent(visits: v1::FollowedVisits) -> Vec<Read> {
    let read = |(index, followed): (usize, v1::FollowedVisit)| {
        let ranges = [followed.front_adjusters, followed.rear_adjusters];
        Read {
            label: match followed.label.is_empty() {
                true => format!("visit.{}", index + 1),
                false => followed.label,
            },
            visit: followed.visit.unwrap_or_default(),
            found: ranges.clone(),
            left: ranges,
        }
    };
    visits.visits.into_iter().enumerate().map(read).collect()
}

fn trends(visits: &[Read], asked: Asked, limits: [f64; 2], findings: &mut Vec<Finding>) -> Vec<v1::ShareTrend> {
    let followed: Vec<Followed<'_>> = visits
        .iter()
        .map(|read| Followed {
            label: read.label.clone(),
            visit: &read.visit,
            found: [&read.found[0], &read.found[1]],
            left: [&read.left[0], &read.left[1]],
        })
        .collect();
    let told = places(&followed).into_iter().map(|place| {
        let limit = match place.end {
            v1::MachineEnd::Front => limits[0],
            _ => limits[1],
        };
        let (points, counted) = points(&followed, place);
        let rules = TrendRules {
            limit,
            coverage: asked.coverage,
        };
        let found = share_trend(&counted, rules);
        let told = trend(place, points, &found, asked, limit);
        if found.state == TrendState::Closing {
            findings.push(Finding::new(Code::AdjusterCloses, told.text.clone()));
        }
        told
    });
    told.collect()
}

/// Each prediction beside what was measured: at the same visit as left, else at the next one as found.
fn predictions(visits: &[Read], asked: Asked, findings: &mut Vec<Finding>) -> Vec<v1::PredictionCheck> {
    let mut checks = Vec::new();
    for (index, read) in visits.iter().enumerate() {
        let next = visits.get(index + 1);
        for prediction in &read.visit.predictions {
            let now = read.visit.as_left.as_ref().map(|state| (read.label.as_str(), state));
            let later = next.and_then(|next| Some((next.label.as_str(), next.visit.as_found.as_ref()?)));
            // What was used of the travel shows only after the next ride.
            let ridden = prediction.subject == Subject::TravelUsed as i32;
            let places = [now.filter(|_| !ridden), later];
            let measured = places.into_iter().flatten().find_map(|(label, state)| {
                let measured = measured(prediction, state, findings)?;
                Some((label.to_owned(), measured))
            });
            checks.push(check(&read.label, prediction, measured, asked, findings));
        }
    }
    checks
}

fn check(
    predicted_at: &str,
    prediction: &v1::Prediction,
    measured: Option<(String, Estimate<Length>)>,
    asked: Asked,
    findings: &mut Vec<Finding>,
) -> v1::PredictionCheck {
    let mut told = v1::PredictionCheck {
        predicted_at: predicted_at.to_owned(),
        ..v1::PredictionCheck::default()
    };
    let value = length(prediction.value.as_ref());
    if let Some((at, measured)) = measured
        && let Some(value) = value
    {
        let u = length(prediction.standard_uncertainty.as_ref()).unwrap_or_else(|| Length::from_si(0.0));
        let met = prediction_met((value, u), (measured.value, measured.standard_uncertainty));
        if met.differs {
            let mm = |length: Length| length.get(LengthUnit::Millimeter);
            findings.push(Finding::new(
                Code::PredictionMissed,
                format!(
                    "{} predicted at {predicted_at}: {:.1} mm; measured at {at}: {:.1} mm, {:+.1} mm with a standard uncertainty of {:.1} mm",
                    words::prediction(prediction),
                    mm(value),
                    mm(measured.value),
                    mm(met.difference),
                    mm(met.standard_uncertainty)
                ),
            ));
        }
        told.measured_at = at;
        told.measured = Some(estimates::length_estimate(&measured, asked.units));
        told.difference = Some(computed(met.difference, asked.units));
        told.difference_standard_uncertainty = Some(computed(met.standard_uncertainty, asked.units));
        told.differs = met.differs;
    }
    told.prediction = Some(prediction.clone());
    told
}

/// What a state says of the thing that was predicted.
fn measured(
    prediction: &v1::Prediction,
    state: &v1::SetupState,
    findings: &mut Vec<Finding>,
) -> Option<Estimate<Length>> {
    let front = prediction.end == v1::MachineEnd::Front as i32;
    let (end, state) = match front {
        true => (End::Front, state.front.as_ref()?),
        false => (End::Rear, state.rear.as_ref()?),
    };
    if prediction.subject == Subject::TravelUsed as i32 {
        return length(state.travel_used.as_ref()).map(travel_reading);
    }
    let found = match read_sag(&sag::request(state.sag.as_ref()?, end)?) {
        Ok(found) => found,
        Err(error) => {
            findings.push(Finding::new(Code::ReadingsContradict, error.to_string()));
            return None;
        }
    };
    match Subject::try_from(prediction.subject) {
        Ok(Subject::StaticSag) => found.static_sag,
        Ok(Subject::TotalSag) => found.total_sag,
        Ok(Subject::RidersShare) => found.riders_share,
        _ => None,
    }
}
