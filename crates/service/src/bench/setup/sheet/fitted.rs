//! Springs, stacks and dampers that a machine names, from the rack and the drawer.

use mechanics::quantity::UnitSystem;
use wire::v1;
use wire::v1::stack_valve::Source;

use super::told;
use crate::bench::Bench;
use crate::bench::standard::Recorded;
use crate::error::ServiceError;
use crate::sheet::made::{Damper, Fitted, Gathered, Record, Spring};

/// Points of a damper's curve in each stroke.
const POINTS: i32 = 24;
/// Up to this velocity of the shaft a damper is drawn, m/s.
const HIGHEST: f64 = 1.0;

impl Bench {
    /// What the machine names at either end, as found and as left; what cannot be read is told on the sheet.
    pub(super) fn fitted(&self, gathered: &mut Gathered) -> Result<Fitted, ServiceError> {
        let units = gathered.units;
        let legs = gathered
            .machines
            .iter()
            .flat_map(|machine| [&machine.front, &machine.rear]);
        let legs: Vec<&v1::LegValues> = legs.flatten().flat_map(|unit| &unit.legs).collect();
        let mut used = Vec::new();
        let mut fitted = Fitted::default();
        for name in distinct(legs.iter().map(|leg| leg.spring.as_str())) {
            let found = match self.noted::<v1::Spring>(&name, &mut used)? {
                Ok(entered) => Ok(self.tested(entered, units)?),
                Err(why) => Err(why),
            };
            fitted.springs.push(Record { name, found });
        }
        for name in distinct(legs.iter().map(|leg| leg.damper.as_str())) {
            let found = match self.noted::<v1::Damper>(&name, &mut used)? {
                Ok(entered) => Ok(self.evaluated(&name, entered, units)?),
                Err(why) => Err(why),
            };
            fitted.dampers.push(Record { name, found });
        }
        let own = legs.iter().flat_map(|leg| [&leg.compression_stack, &leg.rebound_stack]);
        let dampers = fitted.dampers.iter().filter_map(|record| record.found.as_ref().ok());
        let of_dampers: Vec<String> = dampers.flat_map(|damper| stacks_of(&damper.entered)).collect();
        for name in distinct(own.map(String::as_str).chain(of_dampers.iter().map(String::as_str))) {
            let found = self.noted::<v1::Stack>(&name, &mut used)?;
            fitted.stacks.push(Record { name, found });
        }
        for one in used {
            if !gathered.used.contains(&one) {
                gathered.used.push(one);
            }
        }
        Ok(fitted)
    }

    /// A record by its name, or why it cannot be had.
    fn noted<R: Recorded>(
        &self,
        name: &str,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<Result<R, String>, ServiceError> {
        told(super::gather::named(R::COLLECTION, name).and_then(|read| self.read_used::<R>(&read, name, used)))
    }

    /// A spring with its test.
    fn tested(&self, entered: v1::Spring, units: UnitSystem) -> Result<Spring, ServiceError> {
        let tested = match entered.tested_run.as_str() {
            "" => None,
            run => told(self.reduce_run(v1::ReduceRunRequest {
                source: Some(v1::reduce_run_request::Source::Run(run.to_owned())),
                reply_units: wire::quantity::unit_system_number(units),
                ..v1::ReduceRunRequest::default()
            }))?
            .ok(),
        };
        Ok(Spring { entered, tested })
    }

    /// A damper with its curve.
    fn evaluated(&self, name: &str, entered: v1::Damper, units: UnitSystem) -> Result<Damper, ServiceError> {
        let evaluated = told(self.evaluate_damper(v1::EvaluateDamperRequest {
            source: Some(v1::evaluate_damper_request::Source::Damper(name.to_owned())),
            max_shaft_velocity: Some(v1::Velocity {
                value: Some(HIGHEST),
                unit: v1::velocity::Unit::MeterPerSecond.into(),
            }),
            point_count: Some(POINTS),
            reply_units: wire::quantity::unit_system_number(units),
            ..v1::EvaluateDamperRequest::default()
        }))?;
        Ok(Damper { entered, evaluated })
    }
}

/// Stacks a damper has by name.
fn stacks_of(damper: &v1::Damper) -> Vec<String> {
    let circuits = [&damper.compression, &damper.rebound].into_iter().flatten();
    let sources = circuits.filter_map(|circuit| circuit.valve.as_ref()?.source.as_ref());
    let named = sources.filter_map(|source| match source {
        Source::Stack(name) => Some(name.clone()),
        Source::Values(_) | Source::Straight(_) => None,
    });
    named.collect()
}

/// Names, each once, in their order.
fn distinct<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for name in names.filter(|name| !name.is_empty()) {
        if !found.iter().any(|one| one == name) {
            found.push(name.to_owned());
        }
    }
    found
}
