//! Force against velocity of a designed damper, with everything a tuner asks beside it.

use super::design::{BleedDesign, CircuitDesign, Place};
use super::evaluation::{
    AdjusterEffect, AtWheel, CurvePoint, Evaluated, Evaluation, MOST_VELOCITIES, Mark, MarkKind, Wheel, WheelDamping,
};
use super::{Adjusted, Damper, DamperState};
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{AbsolutePressure, FlowRate, Force, PressureUnit, Quantity, Velocity};
use crate::valving::ValvingError;
use crate::valving::error::within;
use crate::valving::oil::OilAt;
use crate::valving::ride::{self, Oscillator};
use crate::valving::stack::Solved;

/// Band about its end in which a step counts as settled.
const SETTLED: f64 = 0.05;

/// Evaluates a damper.
///
/// # Errors
/// [`ValvingError`] naming the field, the lock or the stack that has no solution.
pub fn evaluate(asked: &Evaluation) -> Result<Evaluated, ValvingError> {
    let oil = asked.oil.at(asked.temperature)?;
    if asked.velocities.is_empty() || asked.velocities.len() > MOST_VELOCITIES {
        let allowed = format!("1 to {MOST_VELOCITIES}");
        return Err(ValvingError::out_of_range(
            "velocities",
            asked.velocities.len() as f64,
            "velocities",
            allowed,
        ));
    }
    for (index, velocity) in asked.velocities.iter().enumerate() {
        within(&format!("velocities[{index}]"), velocity.si(), -20.0, 20.0, "m/s")?;
    }
    within("reference_velocity", asked.reference_velocity.si(), 1e-4, 20.0, "m/s")?;
    let fastest = fastest(asked)?;
    let (damper, stacks) = asked.design.build(fastest, &oil)?;
    let work = Work { asked, oil, damper };
    let points = asked
        .velocities
        .iter()
        .map(|v| work.point(*v))
        .collect::<Result<Vec<_>, _>>()?;
    let velocities = asked.velocities.iter().map(|v| v.si());
    let (slowest, quickest) = velocities.fold((0.0_f64, 0.0_f64), |(low, high), v| (low.min(v), high.max(v)));
    let least_charge = work.damper.least_charge(
        (Velocity::from_si(quickest), Velocity::from_si(slowest)),
        asked.stroke,
        asked.lowest_pressure,
        &work.oil,
    )?;
    let lowest = points
        .iter()
        .map(|point| point.state.lowest_pressure().si())
        .fold(f64::INFINITY, f64::min);
    let adjusters = work.adjusters()?;
    let wheel = asked.wheel.map(|wheel| work.at_wheel(&wheel)).transpose()?;
    let margin = lowest - asked.lowest_pressure.si();
    Ok(Evaluated {
        marks: work.marks(&stacks),
        findings: work.findings(&points, margin, least_charge, &stacks, &adjusters),
        assumptions: work.assumptions(&stacks),
        oil: work.oil,
        least_charge,
        cavitation_margin: margin,
        adjusters,
        wheel,
        stacks,
        points,
    })
}

/// The fastest strokes the stacks must be solved for, m/s.
fn fastest(asked: &Evaluation) -> Result<(f64, f64), ValvingError> {
    let reference = asked.reference_velocity.si();
    let at_wheel = match &asked.wheel {
        None => 0.0,
        Some(wheel) => {
            within("wheel.peak_velocity", wheel.peak_velocity.si(), 1e-3, 20.0, "m/s")?;
            wheel.peak_velocity.si() * wheel.linkage.motion_ratio()?
        }
    };
    let least = reference.max(at_wheel) * 1.01;
    let each = asked.velocities.iter().map(|v| v.si());
    Ok(each.fold((least, least), |(c, r), v| (c.max(1.01 * v), r.max(-1.01 * v))))
}

struct Work<'a> {
    asked: &'a Evaluation,
    oil: OilAt,
    damper: Damper,
}

impl Work<'_> {
    fn state(&self, velocity: f64) -> Result<DamperState, ValvingError> {
        self.damper
            .at(Velocity::from_si(velocity), self.asked.stroke, &self.oil)
    }

    fn point(&self, velocity: Velocity) -> Result<CurvePoint, ValvingError> {
        /// Half the step over which the exponent is taken.
        const STEP: f64 = 0.005;
        let state = self.state(velocity.si())?;
        let v = velocity.si();
        let exponent = if v == 0.0 {
            None
        } else {
            let (slower, faster) = (self.state(v * (1.0 - STEP))?, self.state(v * (1.0 + STEP))?);
            let ratio = faster.hydraulic_force.si() / slower.hydraulic_force.si();
            Some(ratio.ln() / ((1.0 + STEP) / (1.0 - STEP)).ln()).filter(|n| n.is_finite())
        };
        Ok(CurvePoint {
            velocity,
            state,
            exponent,
            cavitates: state.lowest_pressure().si() < self.asked.lowest_pressure.si(),
        })
    }

    fn marks(&self, stacks: &[(Place, Solved)]) -> Vec<Mark> {
        use crate::valving::stack::EventKind;
        let mut marks = Vec::new();
        for (place, solved) in stacks {
            let design = self
                .asked
                .design
                .circuit(*place)
                .and_then(|circuit| circuit.valve.as_ref());
            let factor = design.map_or(1.0, |valve| valve.stack_factor);
            for event in &solved.events {
                let kind = match event.kind {
                    EventKind::Cracks => MarkKind::Opens,
                    EventKind::StageCloses => MarkKind::Stage,
                    EventKind::StopReached => MarkKind::Stop,
                };
                let velocity = self.velocity_of(*place, event.pressure.si() * factor);
                marks.extend(velocity.map(|velocity| Mark {
                    place: *place,
                    kind,
                    velocity,
                }));
            }
        }
        for place in Place::ALL {
            let own = marks
                .iter()
                .any(|mark| mark.place == place && mark.kind == MarkKind::Opens);
            let crack = self
                .circuit(place)
                .and_then(|circuit| circuit.valve.as_ref())
                .map(|valve| valve.lift.crack());
            if let Some(crack) = crack.filter(|crack| !own && crack.si() > 0.0) {
                let velocity = self.velocity_of(place, crack.si());
                marks.extend(velocity.map(|velocity| Mark {
                    place,
                    kind: MarkKind::Opens,
                    velocity,
                }));
            }
        }
        marks.sort_by(|a, b| a.velocity.si().total_cmp(&b.velocity.si()));
        marks
    }

    fn circuit(&self, place: Place) -> Option<&super::Circuit> {
        match place {
            Place::Compression => Some(&self.damper.compression),
            Place::Rebound => Some(&self.damper.rebound),
            Place::BaseCompression => self.damper.base_compression.as_ref(),
            Place::BaseRebound => self.damper.base_rebound.as_ref(),
        }
    }

    fn area(&self, place: Place) -> f64 {
        if place.is_base() {
            self.damper.shaft_area().si()
        } else {
            self.damper.annulus_area().si()
        }
    }

    fn velocity_of(&self, place: Place, curtain_drop: f64) -> Option<Velocity> {
        let flow = self
            .circuit(place)?
            .at_curtain_drop(curtain_drop, &self.oil)
            .flow()
            .si();
        let sign = if place.is_compression() { 1.0 } else { -1.0 };
        Some(Velocity::from_si(sign * flow / self.area(place)))
    }

    fn adjusters(&self) -> Result<Vec<AdjusterEffect>, ValvingError> {
        let mut effects = Vec::new();
        for place in Place::ALL {
            let bleed = self
                .asked
                .design
                .circuit(place)
                .and_then(|circuit: &CircuitDesign| circuit.bleed.as_ref());
            let (Some(BleedDesign::Needle { needle, position }), Some(circuit)) = (bleed, self.circuit(place)) else {
                continue;
            };
            let adjusted = Adjusted {
                circuit,
                needle,
                area: Quantity::from_si(self.area(place)),
                oil: &self.oil,
                flow: FlowRate::from_si(self.area(place) * self.asked.reference_velocity.si()),
            };
            effects.push(AdjusterEffect {
                place,
                position: *position,
                range: needle.click_range,
                force_per_click: adjusted.force_per_click(*position)?,
                recentred: adjusted.recentre(*position, needle.click_range / 2.0)?,
            });
        }
        Ok(effects)
    }

    fn at_wheel(&self, wheel: &Wheel) -> Result<AtWheel, ValvingError> {
        within("wheel.mass", wheel.mass.si(), 1.0, 2_000.0, "kg")?;
        within("wheel.spring_rate", wheel.spring_rate.si() / 1e3, 0.1, 5_000.0, "N/mm")?;
        within("wheel.damper_count", f64::from(wheel.damper_count), 1.0, 4.0, "dampers")?;
        let ratio = wheel.linkage.motion_ratio()?;
        let rate = wheel.linkage.wheel_rate(wheel.spring_rate, wheel.spring_load)?;
        if !(rate.si() > 0.0) {
            return Err(ValvingError::out_of_range(
                "wheel.motion_ratio_change",
                rate.si() / 1e3,
                "N/mm of wheel rate",
                "above 0",
            ));
        }
        let oscillator = Oscillator { rate, mass: wheel.mass };
        let count = f64::from(wheel.damper_count);
        // Gas force is a spring, no damping; it cancels over a cycle but not over a stroke.
        let over = |keep: fn(f64) -> bool, share: f64| {
            let force = |v: Velocity| {
                if !keep(v.si()) {
                    return Ok(Force::from_si(0.0));
                }
                let state = self.state(v.si() * ratio)?;
                let damping = state.hydraulic_force.si() + state.friction_force.si();
                Ok(Force::from_si(share * count * ratio * damping))
            };
            let rate = ride::equivalent(wheel.peak_velocity, force)?;
            let zeta = oscillator.ratio(rate);
            Ok::<_, ValvingError>(WheelDamping {
                rate,
                ratio: zeta,
                overshoot: ride::overshoot(zeta),
                settle_seconds: ride::settled_at(zeta, SETTLED).map(|wt| wt / oscillator.angular_frequency()),
            })
        };
        let respring_factor = match wheel.new_spring_rate {
            None => None,
            Some(new) => {
                within("wheel.new_spring_rate", new.si() / 1e3, 0.1, 5_000.0, "N/mm")?;
                let mass = wheel.new_mass.unwrap_or(wheel.mass);
                within("wheel.new_mass", mass.si(), 1.0, 2_000.0, "kg")?;
                let new_rate = wheel.linkage.wheel_rate(new, wheel.spring_load)?;
                Some(ride::factor_for_spring((rate, new_rate), (wheel.mass, mass)))
            }
        };
        Ok(AtWheel {
            motion_ratio: ratio,
            rate,
            frequency: oscillator.angular_frequency() / (2.0 * std::f64::consts::PI),
            compression: over(|v| v > 0.0, 2.0)?,
            rebound: over(|v| v < 0.0, 2.0)?,
            both: over(|_| true, 1.0)?,
            respring_factor,
        })
    }

    fn findings(
        &self,
        points: &[CurvePoint],
        margin: f64,
        least: AbsolutePressure,
        stacks: &[(Place, Solved)],
        adjusters: &[AdjusterEffect],
    ) -> Vec<Finding> {
        let mut findings = Vec::new();
        let cavitating = points.iter().filter(|point| point.cavitates).count();
        if cavitating > 0 {
            let text = format!(
                "{cavitating} of {} points fall below the lowest pressure, by up to {:.3} MPa: a charge of {:.3} MPa absolute is needed",
                points.len(),
                -margin / 1e6,
                least.get(PressureUnit::Megapascal)
            );
            findings.push(Finding::about(Code::Cavitates, "damper.gas", text));
        }
        if self.oil.is_extrapolated() {
            let text = format!(
                "{:.0} K outside the oil's two points: the viscosity is a guess",
                self.oil.beyond_points
            );
            findings.push(Finding::about(Code::ViscosityExtrapolated, "temperature", text));
        }
        for effect in adjusters
            .iter()
            .filter(|effect| effect.recentred.stack_factor.is_none())
        {
            let text = format!(
                "no stack brings this adjuster to half its range at {:.3} m/s: bleed or port is the limit there",
                self.asked.reference_velocity.si()
            );
            findings.push(Finding::about(Code::StackCannotRecentre, effect.place.field(), text));
        }
        for (place, solved) in stacks {
            findings.extend(
                solved
                    .findings
                    .iter()
                    .filter(|finding| finding.code != Code::StaysClosed)
                    .map(|finding| Finding {
                        code: finding.code,
                        message: finding.message.clone(),
                        field: place.field(),
                    }),
            );
        }
        findings
    }

    fn assumptions(&self, stacks: &[(Place, Solved)]) -> Vec<Assumption> {
        let mut assumptions = vec![Assumption {
            subject: "damper",
            text: "oil and lines do not give, pressure over the stack is even, no jet force on it".to_owned(),
            source: "quasi-static model; Merritt, Hydraulic Control Systems, for its restrictions",
        }];
        if !stacks.is_empty() {
            assumptions.push(Assumption {
                subject: "damper",
                text: "the drop over the curtain lifts the stack".to_owned(),
                source: "common practice, no source",
            });
        }
        assumptions.push(Assumption {
            subject: "lowest_pressure",
            text: format!(
                "oil stays whole above {:.3} MPa absolute",
                self.asked.lowest_pressure.si() / 1e6
            ),
            source: "common practice, no source",
        });
        assumptions
    }
}
