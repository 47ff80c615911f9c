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
        let units = wire::quantity::unit_system(request.reply_units, violations.at("reply_units"));
        let source = |side: &Option<v1::ComparedValving>| side.as_ref().and_then(|side| side.source.clone());
        let sides = [("first", source(&request.first)), ("second", source(&request.second))];
        for (name, side) in &sides {
            if side.is_none() {
                violations.push(name, Reason::ValueMissing, "a stack or a damper is required");
            }
        }
        let is_stack = |side: &Option<Compared>| matches!(side, Some(Compared::Stack(_) | Compared::StackValues(_)));
        let [(_, first), (_, second)] = &sides;
        if first.is_some() && second.is_some() && is_stack(first) != is_stack(second) {
            violations.push(
                "second",
                Reason::Conflict,
                "a stack is compared with a stack, a damper with a damper",
            );
        }
        if violations.is_empty() && is_stack(first) {
            return self.compare_two_stacks(&request, sides, units, violations);
        }
        if violations.is_empty() {
            return self.compare_two_dampers(&request, sides, units, violations);
        }
        Err(violations.finish().err().unwrap_or_default().into())
    }

    fn compare_two_stacks(
        &self,
        request: &v1::CompareStacksRequest,
        sides: [(&str, Option<Compared>); 2],
        units: mechanics::quantity::UnitSystem,
        mut violations: Violations,
    ) -> Result<v1::CompareStacksResponse, ServiceError> {
        let mut used = Vec::new();
        let pressures = compare::pressures(&request.pressures, violations.at("pressures"));
        let mut stacks = Vec::new();
        for (name, side) in sides {
            let mut at = violations.at(name);
            let message = match side {
                Some(Compared::StackValues(values)) => Some((values, "stack_values")),
                Some(Compared::Stack(name)) => self
                    .stack_named(&name, at.at("stack"), &mut used)?
                    .map(|found| (found, "stack")),
                _ => None,
            };
            stacks.extend(message.and_then(|(message, field)| sent_stack::stack(&message, at.at(field))));
        }
        let mut stacks = stacks.into_iter();
        let (first, second) = checked(violations, stacks.next().zip(stacks.next()))?;
        let found = compared::stacks(&first, &second, &pressures).map_err(|error| {
            refused(
                error,
                basis(&used),
                &[("first.", "first.stack_values"), ("second.", "second.stack_values")],
            )
        })?;
        Ok(v1::CompareStacksResponse {
            used,
            ..compare::of_stacks(&found, units)
        })
    }

    fn compare_two_dampers(
        &self,
        request: &v1::CompareStacksRequest,
        sides: [(&str, Option<Compared>); 2],
        units: mechanics::quantity::UnitSystem,
        mut violations: Violations,
    ) -> Result<v1::CompareStacksResponse, ServiceError> {
        let mut used = Vec::new();
        let speeds = compare::velocities(&request.shaft_velocities, violations.at("shaft_velocities"));
        let temperature = evaluate::temperature(request.temperature.as_ref(), violations.at("temperature"));
        let each = evaluate::each_stroke(request.point_count, violations.at("point_count"));
        let backward = speeds.iter().rev().map(|v| Velocity::from_si(-v.si()));
        let named: Vec<Velocity> = backward.chain(speeds.iter().copied()).collect();
        let largest = speeds.last().copied().unwrap_or_else(|| Velocity::from_si(1.0));
        let curve = evaluate::through_rest(largest, each);
        let mut evaluations = Vec::new();
        for (name, side) in sides {
            let (message, field) = match side {
                Some(Compared::DamperValues(values)) => (Some(values), "damper_values"),
                Some(Compared::Damper(damper)) => (
                    self.damper_named(&damper, violations.at(name).at("damper"), &mut used)?,
                    "damper",
                ),
                _ => (None, "damper"),
            };
            let own = format!("{name}.{field}");
            let oil = given_oil(request.oil.as_ref(), message.as_ref(), (&own, &mut violations));
            let design = match message {
                None => None,
                Some(message) => self.design(message, violations.at(name).at(field), &mut used)?,
            };
            evaluations.extend(design.zip(oil).map(|(design, oil)| Evaluation {
                design,
                oil,
                temperature,
                stroke: Quantity::from_si(0.0),
                velocities: named.iter().chain(&curve).copied().collect(),
                lowest_pressure: Quantity::from_si(1e5),
                wheel: None,
                reference_velocity: Velocity::from_si(0.05),
            }));
        }
        let mut evaluations = evaluations.into_iter();
        let (first, second) = checked(violations, evaluations.next().zip(evaluations.next()))?;
        let found = compared::dampers(&first, &second).map_err(|error| {
            refused(
                error,
                basis(&used),
                &[("first.", "first.damper_values"), ("second.", "second.damper_values")],
            )
        })?;
        Ok(v1::CompareStacksResponse {
            used,
            ..compare::of_dampers(&found, named.len(), units)
        })
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
