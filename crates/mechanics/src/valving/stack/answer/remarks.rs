//! What is unwelcome about a solved stack, and what was assumed of it.

use super::Answer;
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{PressureUnit, Quantity};
use crate::valving::stack::RadialHold;
use crate::valving::stack::design::Shim;
use crate::valving::stack::request::{Method, Request};
use crate::valving::stack::solution::{Event, EventKind, Point};
use crate::valving::stack::state::State;

impl Answer<'_> {
    /// Friction of each interface adds a moment of `mu l t/2` on both faces: over the pressure's moment about `mu t/L` for
    /// a pack of thickness `t` and span `L`. An estimate, not computed.
    pub(super) fn friction_band(&self) -> f64 {
        let pack: f64 = self.model.plates.iter().map(|disc| disc.thickness).sum();
        let span = self.plan.face().map_or(f64::NAN, |face| face.edge) - self.plan.clamp;
        if self.model.plates.len() < 2 {
            0.0
        } else {
            self.plan.friction * pack / span
        }
    }

    pub(super) fn findings(
        &self,
        points: &[Point],
        events: &[Event],
        last: &State,
        preload: f64,
        method: Method,
    ) -> Vec<Finding> {
        let mut findings = Vec::new();
        self.stressed(points, &mut findings);
        let face = self.plan.face().map_or(f64::NAN, |face| face.edge);
        let port = self.plan.annuli.iter().map(|a| a.outer).fold(0.0, f64::max);
        if face < port {
            let text = format!(
                "the face shim is {:.2} mm, the port reaches {:.2} mm",
                2.0 * face,
                2.0 * port
            );
            findings.push(Finding::about(Code::PortUncovered, "stack.faces", text));
        }
        if preload > 0.0 && !events.iter().any(|event| event.kind == EventKind::Cracks) {
            let text = format!("the stack is still on its seat at {:.4} MPa", last.pressure);
            findings.push(Finding::about(Code::StaysClosed, "pressures", text));
        }
        let lift = self.edge_lift(last, 0);
        let mut outside = Vec::new();
        let discs = &self.model.plates;
        if discs.len() > 16 {
            outside.push(format!("{} shims, checked to 16", discs.len()));
        }
        if lift > 1.5 {
            outside.push(format!("lift {lift:.2} mm, checked to 1.50 mm"));
        }
        let beyond = |shim: &&Shim| shim.edge > self.plan.clamp;
        let odd = |shim: &Shim| {
            !(4.0..=30.0).contains(&shim.edge)
                || !(0.05 - 1e-9..=0.60 + 1e-9).contains(&shim.thickness)
                || self.plan.clamp < 0.25 * shim.edge
        };
        if let Some(shim) = self.plan.shims.iter().filter(beyond).find(|shim| odd(shim)) {
            outside.push(format!(
                "a shim of {:.2} x {:.3} mm on a clamp of {:.2} mm, checked from 8 to 60 mm, 0.05 to 0.60 mm, clamp at least a quarter",
                2.0 * shim.edge,
                shim.thickness,
                2.0 * self.plan.clamp
            ));
        }
        if !outside.is_empty() {
            findings.push(Finding::about(Code::OutsideChecked, "stack", outside.join("; ")));
        }
        // The pyramid of the published cases with an overhang of 4 thicknesses is off by half a percent.
        if let Some(disc) = self
            .plan
            .shims
            .iter()
            .filter(beyond)
            .find(|s| s.edge - self.plan.clamp < 6.0 * s.thickness)
        {
            let text = format!(
                "a shim of {:.2} mm reaches {:.2} mm beyond the clamp, under 6 thicknesses: it gives more than computed",
                2.0 * disc.edge,
                disc.edge - self.plan.clamp
            );
            findings.push(Finding::about(Code::ShortOverhang, "stack.layers", text));
        }
        let thinnest = discs.iter().map(|disc| disc.thickness).fold(f64::INFINITY, f64::min);
        if method == Method::SmallDeflection && lift > 0.4 * thinnest {
            let text = format!("lift {lift:.3} mm with shims from {thinnest:.3} mm on: the real lift is smaller");
            findings.push(Finding::about(Code::StretchLeftOut, "method", text));
        }
        findings
    }

    /// The worst point of each shim above the limit would repeat itself: the worst shim is named.
    fn stressed(&self, points: &[Point], findings: &mut Vec<Finding>) {
        let Some(limit) = self.plan.stress_limit else { return };
        let each = points
            .iter()
            .flat_map(|point| point.shims.iter().map(move |shim| (shim, point.pressure)));
        let worst = each.max_by(|a, b| a.0.clamp_stress.si().total_cmp(&b.0.clamp_stress.si()));
        if let Some((shim, pressure)) = worst
            && shim.clamp_stress.get(PressureUnit::Megapascal) > limit
        {
            let text = format!(
                "shim {} (the piston's is 0) is at {:.0} MPa at the clamp, limit {limit:.0} MPa, at a pressure of {:.3} MPa",
                shim.index,
                shim.clamp_stress.get(PressureUnit::Megapascal),
                pressure.get(PressureUnit::Megapascal)
            );
            findings.push(Finding::about(Code::ShimOverstressed, "stack.stress_limit", text));
        }
    }

    pub(super) fn assumptions(&self, request: &Request) -> Vec<Assumption> {
        let stack = &request.stack;
        let mut assumptions = vec![Assumption {
            subject: "model",
            text: "flat discs, rigid clamp and piston, pressure even around the annulus, no friction between the discs"
                .to_owned(),
            source: "thin plates in unilateral contact; Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells",
        }];
        if stack.modulus.is_none() || stack.poisson_ratio.is_none() {
            assumptions.push(Assumption {
                subject: "stack.modulus",
                text: format!(
                    "spring steel, {:.0} GPa and {}",
                    self.plan.modulus / 1e3,
                    self.plan.poisson
                ),
                source: "common practice, no source",
            });
        }
        if stack.radial_hold == RadialHold::Held && request.method == Method::LargeDeflection {
            assumptions.push(Assumption {
                subject: "stack.radial_hold",
                text: "the clamp holds the discs radially; slipping, they lift 3 to 18 % more".to_owned(),
                source: "computed with this model",
            });
        }
        assumptions.push(Assumption {
            subject: "stack.friction_factor",
            text: format!(
                "friction {} between the shims would shift opening and closing by about {:.1} %",
                self.plan.friction,
                100.0 * self.friction_band()
            ),
            source: "estimate of mu t/L, not computed",
        });
        assumptions
    }
}
