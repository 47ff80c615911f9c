//! JudgeSetup.

use mechanics::chassis::{
    Agreement, Candidate, CandidateSpring, Compared, End, RiderMass, SagBeside, SagFound, read_sag,
};
use mechanics::estimate::Assumption;
use mechanics::judgement::{Judgement, RuleTable, SpringsAtHand, judge as judged, stated_sag_uncertainty};
use mechanics::quantity::{Quantity, UnitSystem};
use store::Moment;
use wire::names::Collection;
use wire::setup::judge::{self, EndRead, detail, reply};
use wire::setup::unit::{self, EndModel};
use wire::setup::{choose, sag};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::judge_setup_request::Source;
use wire::violation::{Violation, Violations};

use super::choose::sprung_loads;
use super::sag::{Shares, against_fitted, with_preloads};
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
        let options = detail::options(&request, &mut violations);
        let units = options.units;
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of setup, values is required"),
            Some(source) => check_source(source, &mut violations),
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
        let seen = Seen {
            machine: Machine {
                values: as_it_stands(&values),
                basis,
                place: "values.machine",
            },
            values: &values,
            units,
        };
        let [front_sag, rear_sag] = both_sags(&values, basis, units)?;
        let [front_springs, rear_springs] = options.candidates;
        let front = (End::Front, request.front.as_ref(), front_sag, front_springs);
        let front = self.end_to_judge(&seen, front, &mut used)?;
        let rear = (End::Rear, request.rear.as_ref(), rear_sag, rear_springs);
        let rear = self.end_to_judge(&seen, rear, &mut used)?;
        let ends = [front.read(request.front.as_ref()), rear.read(request.rear.as_ref())];
        let visit = judge::visit(&values, request.deceleration_ratio, ends, (now, units));
        let mut found = judged(&visit, rules);
        let places = [front.places.clone(), rear.places.clone()];
        for end in [front, rear] {
            end.tell(&mut found);
        }
        let [front_places, rear_places] = &places;
        let mut reply = reply::response(&found, [front_places, rear_places], units);
        used.dedup();
        reply.used = used;
        Ok(reply)
    }

    /// One end with its sag, what that says of the fitted spring, and the springs at hand.
    fn end_to_judge(
        &self,
        seen: &Seen<'_>,
        (end, detail, sag, read): AskedOfEnd<'_>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Prepared, ServiceError> {
        let mut model = self.end_model(&seen.machine, end, 1.0, used)?;
        let taken = model.assumptions.clone();
        let (mut compared, mut doubted) = (None, Vec::new());
        if let Some(read) = compared_sag(seen, &model, sag.as_ref(), detail) {
            // A rate that nothing implies is none to compare.
            let rider = (&read.rider, seen.units);
            let implied = self
                .implied(&read.shares, &read.values, &mut model, rider)
                .ok()
                .flatten();
            let against = implied
                .as_ref()
                .and_then(|implied| against_fitted(implied, &read.beside, &model, None, seen.units));
            doubted = implied.map(|implied| implied.assumptions).unwrap_or_default();
            compared = against.map(|(_, compared)| compared);
        }
        let sent = detail.map(|detail| detail.candidates.as_slice()).unwrap_or_default();
        let springs = self.springs_found(sent, read, used)?;
        let mixed = detail.is_some_and(|detail| detail.mixed_legs) && end == End::Front;
        let (candidates, places) = choose::filled(springs, model.springs, mixed);
        let mut named = Vec::new();
        let at_hand = (!candidates.is_empty()).then(|| at_hand(seen, model.clone(), candidates, &mut named));
        Ok(Prepared {
            model,
            taken,
            sag: sag.map(|(_, found)| found),
            compared,
            doubted,
            at_hand,
            named,
            places,
        })
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

/// What is asked of an end: which, what is known besides, its sag, its candidates as far as they were sent as values.
type AskedOfEnd<'a> = (
    End,
    Option<&'a v1::EndDetail>,
    Option<(v1::SagValues, SagFound)>,
    Vec<Vec<Option<CandidateSpring>>>,
);

/// A setup on the bench.
struct Seen<'a> {
    machine: Machine,
    values: &'a v1::SetupValues,
    units: UnitSystem,
}

/// An end ready for the judge.
struct Prepared {
    model: EndModel,
    /// What its springs and legs are taken for.
    taken: Vec<Assumption>,
    sag: Option<SagFound>,
    compared: Option<Compared>,
    /// What the rate that sag implies assumes.
    doubted: Vec<Assumption>,
    at_hand: Option<SpringsAtHand>,
    /// What the choice of a spring assumes.
    named: Vec<Assumption>,
    /// Places of each candidate in the request.
    places: Vec<Vec<i32>>,
}

impl Prepared {
    fn read<'a>(&'a self, detail: Option<&'a v1::EndDetail>) -> EndRead<'a> {
        EndRead {
            model: &self.model,
            sag: self.sag.as_ref(),
            detail,
            at_hand: self.at_hand.as_ref(),
            compared: self.compared.as_ref(),
        }
    }

    /// Adds what its sag says and what was assumed for what the judge said of it.
    fn tell(self, found: &mut Judgement) {
        let end = self.model.end;
        let named = found.verdicts.iter().any(|one| one.end == end && one.springs.is_some());
        let mut assumed = self.taken;
        assumed.extend(self.named.into_iter().filter(|_| named));
        let disagrees = self.compared.is_some_and(|one| one.agreement == Agreement::Disagrees);
        assumed.extend(self.doubted.into_iter().filter(|_| disagrees));
        if let Some(sag) = self.sag {
            assumed.extend(sag.assumptions);
            for finding in sag.findings {
                // What both say is said once, as the judge says it.
                if !found.findings.iter().any(|one| one.code == finding.code) {
                    found.findings.push(finding);
                }
            }
        }
        for one in assumed {
            if !found.assumptions.contains(&one) {
                found.assumptions.push(one);
            }
        }
    }
}

/// The machine with the preloads it stands at.
fn as_it_stands(values: &v1::SetupValues) -> v1::MachineValues {
    let machine = values.machine.clone().unwrap_or_default();
    [End::Front, End::Rear]
        .into_iter()
        .fold(machine, |machine, end| match state_of(values, end) {
            Some(state) => with_preloads(machine, end, state.preload, &state.leg_preloads),
            None => machine,
        })
}

fn state_of(values: &v1::SetupValues, end: End) -> Option<&v1::EndState> {
    let state = values.state.as_ref()?;
    match end {
        End::Front => state.front.as_ref(),
        End::Rear => state.rear.as_ref(),
    }
}

/// Sag that a rate is implied from, with the rider.
struct ComparedSag {
    values: v1::SagValues,
    shares: Shares,
    beside: SagBeside,
    rider: RiderMass,
}

/// Sag from lengths where they were read, else as it was stated; `None` without a sag or a rider.
fn compared_sag(
    seen: &Seen<'_>,
    model: &EndModel,
    read: Option<&(v1::SagValues, SagFound)>,
    detail: Option<&v1::EndDetail>,
) -> Option<ComparedSag> {
    if let Some((values, found)) = read {
        return Some(ComparedSag {
            values: values.clone(),
            shares: Shares::from(found),
            beside: SagBeside::from(found),
            rider: sag::rider(values)?,
        });
    }
    let stated = judge::stated_sag(detail?)?;
    let u = stated_sag_uncertainty();
    let share = stated.riders_share?;
    let still = stated.static_sag?;
    let values = v1::SagValues {
        readings: Some(
            state_of(seen.values, model.end)
                .and_then(|state| state.sag)
                .unwrap_or_default(),
        ),
        machine: Some(seen.machine.values.clone()),
        rider_mass_with_gear: seen.values.rider_mass_with_gear,
    };
    Some(ComparedSag {
        shares: Shares {
            static_sag: (still, u),
            riders_share: Some((share, u)),
            static_is_zero: still.si() <= 2.0 * u.si(),
            wheel_factor: model.path.as_ref()?.rake().map_or(1.0, |rake| rake.si().cos()),
        },
        beside: stated,
        rider: judge::stated_rider(detail?).or_else(|| sag::rider(&values))?,
        values,
    })
}

/// Springs at hand with what their choice needs. What the wheel carries comes from the scale, or from the machine's balance;
/// where neither is known, the judge takes what the fitted springs carry.
fn at_hand(
    seen: &Seen<'_>,
    mut model: EndModel,
    candidates: Vec<Candidate>,
    assumptions: &mut Vec<Assumption>,
) -> SpringsAtHand {
    model.assume_air();
    let readings = state_of(seen.values, model.end)
        .and_then(|state| state.sag)
        .unwrap_or_default();
    let alone =
        choose::mass_sent(readings.mass_alone.as_ref()).or_else(|| unit::ground_mass(&seen.machine.values, model.end));
    let aboard = choose::mass_sent(readings.mass_with_rider.as_ref());
    let rider = choose::mass_sent(seen.values.rider_mass_with_gear.as_ref());
    let loads = alone
        .filter(|_| aboard.is_some() || rider.is_some())
        .and_then(|alone| sprung_loads(alone, (aboard, rider), &mut model, assumptions).ok());
    let fitted = model.fitted_elements().unwrap_or_default();
    assumptions.append(&mut model.assumptions);
    SpringsAtHand {
        path: model.path,
        others: model.others,
        fitted,
        loads: loads.map(|loads| (loads.alone, loads.rider)),
        unsprung_mass: model.unsprung,
        candidates,
    }
}

/// Notes what is wrong with a setup to be judged.
pub(super) fn check_source(source: &Source, violations: &mut Violations) {
    match source {
        Source::Values(values) => judge::check_values(values, violations.at("values")),
        Source::Setup(setup) => {
            Collection::Setups.revisable(&setup.name, violations.at("setup").at("name"));
        }
    }
}

/// Sag of both ends where lengths were read, with the readings; every contradiction at once.
fn both_sags(
    values: &v1::SetupValues,
    basis: Basis,
    units: UnitSystem,
) -> Result<[Option<(v1::SagValues, SagFound)>; 2], ServiceError> {
    let mut faults: Vec<Violation> = Vec::new();
    let mut found = [None, None];
    for (slot, end) in found.iter_mut().zip([End::Front, End::Rear]) {
        let read = v1::SagValues {
            readings: state_of(values, end).and_then(|state| state.sag),
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
            Ok(sag) => *slot = Some((read, sag)),
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
