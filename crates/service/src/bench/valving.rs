//! The calculations on valving. A stack or damper by its name is put in as values first.

use mechanics::quantity::{LengthUnit, Quantity, Unit, Velocity};
use mechanics::valving::damper::{DamperDesign, Evaluation, evaluate as evaluated};
use mechanics::valving::oil::{Oil, effective_modulus};
use mechanics::valving::stack::{self, Request, Stack};
use mechanics::valving::{ValvingError, compare as compared};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::compared_valving::Source as Compared;
use wire::v1::evaluate_damper_request::Source as DamperSource;
use wire::v1::solve_stack_request::Source as StackSource;
use wire::valving::{compare, damper as sent_damper, evaluate, oil, solve, stack as sent_stack};
use wire::violation::{Scope, Violation, Violations};

use super::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// Exponent of the free air in an oil that is worked: between isothermal and adiabatic.
const AIR_EXPONENT: f64 = 1.4;

impl Bench {
    /// What a stack does under pressure.
    pub fn solve_stack(&self, request: v1::SolveStackRequest) -> Result<v1::SolveStackResponse, ServiceError> {
        let mut violations = Violations::new();
        let mut used = Vec::new();
        let asked = solve::options(&request, &mut violations);
        let (stack, place): (Option<Stack>, _) = match &request.source {
            None => {
                violations.push("source", Reason::ValueMissing, "one of stack, values is required");
                (None, "values")
            }
            Some(StackSource::Values(values)) => (sent_stack::stack(values, violations.at("values")), "values"),
            Some(StackSource::Stack(name)) => {
                let found = self.stack_named(name, violations.at("stack"), &mut used)?;
                (
                    found.and_then(|found| sent_stack::stack(&found, violations.at("stack"))),
                    "stack",
                )
            }
        };
        let stack = checked(violations, stack)?;
        let text = stack::text::write(&stack.layers, LengthUnit::of_system(asked.units));
        let solved = stack::solve(&Request {
            stack,
            pressures: asked.pressures,
            method: asked.method,
            ring_count: asked.ring_count,
        })
        .map_err(|error| refused(error, basis(&used), &[("stack.", place)]))?;
        Ok(v1::SolveStackResponse {
            text,
            used,
            ..solve::response(&solved, asked.units)
        })
    }

    /// An oil at temperatures.
    pub fn evaluate_oil(&self, request: v1::EvaluateOilRequest) -> Result<v1::EvaluateOilResponse, ServiceError> {
        let mut violations = Violations::new();
        let asked = oil::request(&request, &mut violations);
        let given = checked(violations, asked.oil)?;
        let at = |temperature| Ok((temperature, given.at(temperature)?));
        let states: Result<Vec<_>, ValvingError> = asked.temperatures.iter().copied().map(at).collect();
        let states = states.map_err(|error| refused(error, Basis::Sent, &[]))?;
        let modulus = effective_modulus(asked.modulus, asked.air_ratio, asked.pressure, AIR_EXPONENT);
        let density_given = request.oil.is_some_and(|oil| oil.density_at_15_degc.is_some());
        Ok(oil::response(&states, modulus, density_given, asked.units))
    }

    /// Force against velocity of a damper.
    pub fn evaluate_damper(
        &self,
        request: v1::EvaluateDamperRequest,
    ) -> Result<v1::EvaluateDamperResponse, ServiceError> {
        let mut violations = Violations::new();
        let mut used = Vec::new();
        let asked = evaluate::options(&request, &mut violations);
        let (message, place) = match &request.source {
            None => {
                violations.push("source", Reason::ValueMissing, "one of damper, values is required");
                (None, "values")
            }
            Some(DamperSource::Values(values)) => (Some(values.clone()), "values"),
            Some(DamperSource::Damper(name)) => {
                (self.damper_named(name, violations.at("damper"), &mut used)?, "damper")
            }
        };
        let oil = given_oil(request.oil.as_ref(), message.as_ref(), (place, &mut violations));
        let design = match message {
            None => None,
            Some(message) => self.design(message, violations.at(place), &mut used)?,
        };
        let (design, oil) = checked(violations, design.zip(oil))?;
        let found = evaluated(&Evaluation {
            design,
            oil,
            temperature: asked.temperature,
            stroke: asked.stroke,
            velocities: asked.velocities.clone(),
            lowest_pressure: asked.lowest_pressure,
            wheel: asked.wheel,
            reference_velocity: asked.reference_velocity,
        })
        .map_err(|error| {
            let paths = [
                ("damper.", place),
                ("velocities", "shaft_velocities"),
                ("stroke", "shaft_stroke"),
            ];
            refused(error, basis(&used), &paths)
        })?;
        Ok(v1::EvaluateDamperResponse {
            used,
            ..evaluate::response(&found, &asked)
        })
    }

    /// How a second stack or damper differs from a first.
    pub fn compare_stacks(&self, request: v1::CompareStacksRequest) -> Result<v1::CompareStacksResponse, ServiceError> {
        let mut violations = Violations::new();
        let mut used = Vec::new();
        let units = wire::quantity::unit_system(request.reply_units, violations.at("reply_units"));
        let pressures = compare::pressures(&request.pressures, violations.at("pressures"));
        let speeds = compare::velocities(&request.shaft_velocities, violations.at("shaft_velocities"));
        let temperature = evaluate::temperature(request.temperature.as_ref(), violations.at("temperature"));
        let each = evaluate::each_stroke(request.point_count, violations.at("point_count"));
        let oil = Common::of(request.oil.as_ref(), &mut violations);
        let first = self.side("first", request.first, &oil, (&mut violations, &mut used))?;
        let second = self.side("second", request.second, &oil, (&mut violations, &mut used))?;
        let response = match checked(violations, first.zip(second))? {
            (Side::Stack(first), Side::Stack(second)) => {
                let found = compared::stacks(&first, &second, &pressures);
                let paths = [("first.", "first.stack_values"), ("second.", "second.stack_values")];
                compare::of_stacks(&found.map_err(|error| refused(error, basis(&used), &paths))?, units)
            }
            (Side::Damper(first), Side::Damper(second)) => {
                let backward = speeds.iter().rev().map(|v| Velocity::from_si(-v.si()));
                let named: Vec<Velocity> = backward.chain(speeds.iter().copied()).collect();
                let largest = speeds.last().copied().unwrap_or_else(|| Velocity::from_si(1.0));
                let velocities: Vec<Velocity> = named
                    .iter()
                    .copied()
                    .chain(evaluate::through_rest(largest, each))
                    .collect();
                let evaluation = |(design, oil)| Evaluation {
                    design,
                    oil,
                    temperature,
                    stroke: Quantity::from_si(0.0),
                    velocities: velocities.clone(),
                    lowest_pressure: Quantity::from_si(1e5),
                    wheel: None,
                    reference_velocity: Velocity::from_si(0.05),
                };
                let found = compared::dampers(&evaluation(*first), &evaluation(*second));
                let paths = [("first.", "first.damper_values"), ("second.", "second.damper_values")];
                let found = found.map_err(|error| refused(error, basis(&used), &paths))?;
                compare::of_dampers(&found, named.len(), units)
            }
            _ => {
                return Err(ServiceError::InvalidFields(vec![Violation {
                    field: "second".to_owned(),
                    reason: Reason::Conflict,
                    description: "a stack is compared with a stack, a damper with a damper".to_owned(),
                }]));
            }
        };
        Ok(v1::CompareStacksResponse { used, ..response })
    }

    /// One side of a comparison, its records put in as values.
    fn side(
        &self,
        name: &str,
        sent: Option<v1::ComparedValving>,
        oil: &Common,
        (violations, used): (&mut Violations, &mut Vec<v1::UsedRevision>),
    ) -> Result<Option<Side>, ServiceError> {
        let (damper, field) = match sent.and_then(|sent| sent.source) {
            None => {
                violations.push(name, Reason::ValueMissing, "a stack or a damper is required");
                return Ok(None);
            }
            Some(Compared::StackValues(values)) => {
                return Ok(sent_stack::stack(&values, violations.at(name).at("stack_values")).map(Side::Stack));
            }
            Some(Compared::Stack(record)) => {
                let found = self.stack_named(&record, violations.at(name).at("stack"), used)?;
                let read = found.and_then(|found| sent_stack::stack(&found, violations.at(name).at("stack")));
                return Ok(read.map(Side::Stack));
            }
            Some(Compared::DamperValues(values)) => (Some(values), "damper_values"),
            Some(Compared::Damper(record)) => (
                self.damper_named(&record, violations.at(name).at("damper"), used)?,
                "damper",
            ),
        };
        let oil = match oil {
            Common::Given(oil) => *oil,
            Common::None => given_oil(None, damper.as_ref(), (&format!("{name}.{field}"), &mut *violations)),
        };
        let design = match damper {
            None => None,
            Some(damper) => self.design(damper, violations.at(name).at(field), used)?,
        };
        Ok(design.zip(oil).map(|both| Side::Damper(Box::new(both))))
    }

    /// A damper with the stacks that are named in it put in as values.
    fn design(
        &self,
        mut message: v1::Damper,
        mut at: Scope<'_>,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Option<DamperDesign>, ServiceError> {
        use v1::stack_valve::Source;
        let circuits = [
            ("compression", &mut message.compression),
            ("rebound", &mut message.rebound),
            ("base_compression", &mut message.base_compression),
            ("base_rebound", &mut message.base_rebound),
        ];
        for (name, circuit) in circuits {
            let Some(valve) = circuit.as_mut().and_then(|circuit| circuit.valve.as_mut()) else {
                continue;
            };
            if let Some(Source::Stack(stack)) = valve.source.clone() {
                match self.stack_named(&stack, at.at(name).at("valve").at("stack"), used)? {
                    Some(found) => valve.source = Some(Source::Values(found)),
                    None => return Ok(None),
                }
            }
        }
        Ok(sent_damper::damper(&message, at))
    }
}

/// One side of a comparison.
enum Side {
    Stack(Stack),
    Damper(Box<(DamperDesign, Oil)>),
}

/// The oil both sides are compared with.
enum Common {
    /// As sent; none if something of it is at fault.
    Given(Option<Oil>),
    /// Each side has its own.
    None,
}

impl Common {
    fn of(sent: Option<&v1::Oil>, violations: &mut Violations) -> Self {
        sent.map_or(Self::None, |sent| Self::Given(oil::oil(sent, violations.at("oil"))))
    }
}

/// The request's oil, else the damper's own.
fn given_oil(
    asked: Option<&v1::Oil>,
    damper: Option<&v1::Damper>,
    (place, violations): (&str, &mut Violations),
) -> Option<Oil> {
    match (asked, damper.and_then(|damper| damper.oil.as_ref())) {
        (Some(given), _) => oil::oil(given, violations.at("oil")),
        (None, Some(own)) => oil::oil(own, violations.at(place).at("oil")),
        (None, None) => {
            violations.push("oil", Reason::ValueMissing, "an oil is required, here or in the damper");
            None
        }
    }
}

fn basis(used: &[v1::UsedRevision]) -> Basis {
    if used.is_empty() { Basis::Sent } else { Basis::Stored }
}

/// What an error of the physics means: a field at fault, or a solution that was not found or not believed. Paths of the
/// physics begin with the first of each pair, those of the request with the second.
fn refused(error: ValvingError, basis: Basis, paths: &[(&str, &str)]) -> ServiceError {
    let description = error.to_string();
    let sent = |field: &str| {
        let moved = paths.iter().find_map(|(from, to)| {
            let rest = field.strip_prefix(from)?;
            Some(if from.ends_with('.') {
                format!("{to}.{rest}")
            } else {
                format!("{to}{rest}")
            })
        });
        moved.unwrap_or_else(|| field.to_owned())
    };
    let at_fault = |field: &str, reason: Reason| {
        ServiceError::InvalidFields(vec![Violation {
            field: sent(field),
            reason,
            description: description.clone(),
        }])
    };
    match &error {
        ValvingError::OutOfRange { field, .. } if basis == Basis::Sent => at_fault(field, Reason::OutOfRange),
        ValvingError::NotFinite { field } if basis == Basis::Sent => at_fault(field, Reason::NotFinite),
        ValvingError::HydraulicLock { what } if basis == Basis::Sent => at_fault(what, Reason::Conflict),
        ValvingError::NotConverged { steps, .. } | ValvingError::NotVerified { steps, .. } => {
            ServiceError::NotConverged {
                basis,
                residual: description,
                iterations: u64::try_from(*steps).unwrap_or(u64::MAX),
            }
        }
        _ => ServiceError::NotReducible {
            basis,
            cause: description,
        },
    }
}
