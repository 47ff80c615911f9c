//! Calculations on springs from values alone, and pairs.

use mechanics::spring::{self, Pair, PartKind, Reduced, Samples, Source};
use wire::names::Collection;
use wire::springs::{assembly, calibration, gas, helical, length, pair, reduce, wheel};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::pair_member::Source as Member;
use wire::v1::reduce_run_request::Source as Asked;
use wire::violation::{Violation, Violations};

use super::reduce::not_reducible;
use super::{Bench, checked};
use crate::error::{Basis, ServiceError};

impl Bench {
    /// A helical spring from its geometry.
    pub fn evaluate_helical(
        &self,
        request: v1::EvaluateHelicalRequest,
    ) -> Result<v1::EvaluateHelicalResponse, ServiceError> {
        let mut violations = Violations::new();
        let read = helical::request(&request, &mut violations);
        let read = checked(violations, read)?;
        let found = spring::evaluate_helical(&read).map_err(not_reducible(Basis::Sent))?;
        Ok(helical::response(&found, read.units))
    }

    /// Springs together.
    pub fn evaluate_assembly(
        &self,
        request: v1::EvaluateAssemblyRequest,
    ) -> Result<v1::EvaluateAssemblyResponse, ServiceError> {
        let mut violations = Violations::new();
        let names = assembly::named(&request, &mut violations);
        // Every fault of the request is named before the rack is asked.
        assembly::request(&request, &assembly::Known::new(), &mut violations);
        violations.finish()?;
        let (mut used, mut assumptions, mut known) = (Vec::new(), Vec::new(), assembly::Known::new());
        for (shown, name) in names {
            let part = self.part_of_rack(&shown, &name, &mut used, &mut assumptions)?;
            known.insert(shown, part);
        }
        let basis = if known.is_empty() { Basis::Sent } else { Basis::Stored };
        let mut violations = Violations::new();
        let read = assembly::request(&request, &known, &mut violations);
        let read = checked(violations, read)?;
        let found = spring::evaluate_assembly(&read).map_err(not_reducible(basis))?;
        let mut reply = assembly::response(&found, read.units);
        reply.assumptions.extend(assumptions);
        reply.used = once(used);
        Ok(reply)
    }

    /// A spring of the rack as a part: what its tested run says, else its marked rate.
    fn part_of_rack(
        &self,
        shown: &str,
        name: &wire::names::Name,
        used: &mut Vec<v1::UsedRevision>,
        assumptions: &mut Vec<v1::Assumption>,
    ) -> Result<PartKind, ServiceError> {
        let spring: v1::Spring = self.read_standing(name, shown, used)?;
        let stop = length::travel_to_solid(&spring);
        let mut assume = |text: String, source: &str| {
            assumptions.push(v1::Assumption {
                subject: shown.to_owned(),
                text,
                source: source.to_owned(),
            });
        };
        if spring.tested_run.is_empty() {
            let Some(rate) = length::marked_rate(&spring) else {
                return Err(ServiceError::NotReducible {
                    basis: Basis::Stored,
                    cause: format!("{shown} has no tested run and no marked rate"),
                });
            };
            assume(
                "the marked rate holds; the spring has no tested run".to_owned(),
                "the marking",
            );
            return Ok(PartKind::Straight { rate, stop });
        }
        let request = v1::ReduceRunRequest {
            source: Some(Asked::Run(spring.tested_run)),
            ..Default::default()
        };
        let part = self.reduced(request, used)?.as_part(stop);
        if let PartKind::Table { .. } = part {
            let text =
                "one rate does not describe it: its measured curve is taken, and it counts as closed where that ends";
            assume(text.to_owned(), "the spring's tested run");
        }
        Ok(part)
    }

    /// A gas spring, or the state of a gas.
    pub fn evaluate_gas_spring(
        &self,
        request: v1::EvaluateGasSpringRequest,
    ) -> Result<v1::EvaluateGasSpringResponse, ServiceError> {
        let mut violations = Violations::new();
        let read = gas::request(&request, &mut violations);
        let units = wire::quantity::unit_system(request.reply_units, violations.at("reply_units"));
        match checked(violations, read)? {
            gas::Asked::Spring(read) => {
                let found = spring::evaluate_gas_spring(&read).map_err(not_reducible(Basis::Sent))?;
                Ok(gas::response(&found, units))
            }
            gas::Asked::State(read) => {
                let found = spring::evaluate_gas_change(&read).map_err(not_reducible(Basis::Sent))?;
                Ok(gas::state_response(&found, units))
            }
        }
    }

    /// What springs are at the wheel.
    pub fn compute_wheel_rate(
        &self,
        request: v1::ComputeWheelRateRequest,
    ) -> Result<v1::ComputeWheelRateResponse, ServiceError> {
        let mut violations = Violations::new();
        let read = wheel::request(&request, &mut violations);
        let read = checked(violations, read)?;
        let found = spring::compute_wheel_rate(&read).map_err(not_reducible(Basis::Sent))?;
        Ok(wheel::response(&found, read.units))
    }

    /// The calibration of a load cell or a frame.
    pub fn fit_calibration(
        &self,
        mut request: v1::FitCalibrationRequest,
    ) -> Result<v1::FitCalibrationResponse, ServiceError> {
        let mut violations = Violations::new();
        let used = self.kept_points(&mut request, &mut violations)?;
        let read = calibration::request(&request, &mut violations);
        let read = checked(violations, read)?;
        let found = spring::fit_calibration(&read).map_err(not_reducible(Basis::Sent))?;
        let mut reply = calibration::response(&read, &found);
        reply.used.extend(used);
        Ok(reply)
    }

    /// Whether two springs match.
    pub fn judge_pair(&self, request: v1::JudgePairRequest) -> Result<v1::JudgePairResponse, ServiceError> {
        let mut violations = Violations::new();
        let asked = pair::options(&request, &mut violations);
        for (field, member) in [("first", &request.first), ("second", &request.second)] {
            match member.as_ref().and_then(|member| member.source.as_ref()) {
                None => violations
                    .at(field)
                    .at("source")
                    .push(Reason::ValueMissing, "one of spring, reduction is required"),
                Some(Member::Spring(name)) => {
                    Collection::Springs.revisable(name, violations.at(field).at("spring"));
                }
                Some(Member::Reduction(request)) => {
                    let faults = reduction_faults(request);
                    faults.into_iter().for_each(|one| violations.add(within(field, one)));
                }
            }
        }
        violations.finish()?;
        let mut used = Vec::new();
        let first = self.member("first", request.first.and_then(|member| member.source), &mut used)?;
        let second = self.member("second", request.second.and_then(|member| member.source), &mut used)?;
        let pair = Pair {
            first: &first,
            second: &second,
            same_tester: !request.different_testers,
            limit_ratio: asked.limit_ratio,
            decision_probability: asked.decision_probability,
            units: asked.units,
        };
        let judged = spring::judge_pair(&pair);
        let mut reply = pair::response(&pair, &judged, asked.units);
        reply.used = once(used);
        Ok(reply)
    }

    /// One spring of a pair, reduced; faults are named below its field.
    fn member(
        &self,
        field: &str,
        source: Option<Member>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Reduced, ServiceError> {
        let request = match source {
            None => return Err(ServiceError::internal("a member without a source")),
            Some(Member::Reduction(request)) => request,
            Some(Member::Spring(name)) => v1::ReduceRunRequest {
                source: Some(Asked::Run(self.tested_run(field, &name, used)?)),
                ..Default::default()
            },
        };
        let below = |error| match error {
            ServiceError::InvalidFields(violations) => {
                ServiceError::InvalidFields(violations.into_iter().map(|one| within(field, one)).collect())
            }
            other => other,
        };
        // What a run assumes of its tare is said where the run is read by itself.
        self.reduced(request, used).map_err(below)
    }

    fn tested_run(&self, field: &str, name: &str, used: &mut Vec<v1::UsedRevision>) -> Result<String, ServiceError> {
        let mut violations = Violations::new();
        let read = Collection::Springs.revisable(name, violations.at(field).at("spring"));
        let read = checked(violations, read)?;
        let run = self.read_standing::<v1::Spring>(&read, name, used)?.tested_run;
        if run.is_empty() {
            return Err(ServiceError::NotReducible {
                basis: Basis::Stored,
                cause: format!("{name} has no tested run"),
            });
        }
        Ok(run)
    }

    /// A reduction as the physics gives it.
    pub(super) fn reduced(
        &self,
        request: v1::ReduceRunRequest,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Reduced, ServiceError> {
        let prepared = self.prepared(request)?;
        let reduced = prepared.reduced()?;
        used.extend(prepared.used);
        Ok(reduced)
    }
}

/// Each record once: a spring is read for its tested run, and once more with it.
fn once(mut used: Vec<v1::UsedRevision>) -> Vec<v1::UsedRevision> {
    let mut seen = std::collections::HashSet::new();
    used.retain(|one| seen.insert(one.name.clone()));
    used
}

/// What is wrong with a member's own request, before anything is computed.
fn reduction_faults(request: &v1::ReduceRunRequest) -> Vec<Violation> {
    let mut violations = Violations::new();
    match &request.source {
        None => violations.push(
            "source",
            Reason::ValueMissing,
            "one of run, samples, measured_rate is required",
        ),
        Some(Asked::Samples(samples)) => drop(reduce::samples(samples, violations.at("samples"))),
        Some(Asked::MeasuredRate(rate)) => drop(reduce::measured_rate(rate, violations.at("measured_rate"))),
        Some(Asked::Run(name)) => drop(Collection::Runs.revisable(name, violations.at("run"))),
    }
    if !request.tester.is_empty() {
        Collection::Testers.revisable(&request.tester, violations.at("tester"));
    }
    reduce::options(request, Source::Samples(Samples::default()), &mut violations);
    violations.finish().err().unwrap_or_default()
}

/// A fault of a member's own request, named from the whole request.
fn within(field: &str, violation: Violation) -> Violation {
    Violation {
        field: if violation.field.starts_with(field) {
            violation.field
        } else {
            format!("{field}.reduction.{}", violation.field)
        },
        ..violation
    }
}
