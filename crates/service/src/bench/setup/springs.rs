//! Springs of the rack as the chassis takes them.

use mechanics::chassis::{CandidateSpring, SpringSource};
use mechanics::quantity::{Deflection, Entered, Load, Quantity, SpringRate, StiffnessUnit};
use mechanics::spring::{ForceCurve, Reduced, Shape};
use wire::names::Collection;
use wire::setup::unit::MARK;
use wire::v1;
use wire::v1::reduce_run_request::Source as Asked;
use wire::violation::Violations;

use crate::bench::{Bench, checked};
use crate::error::{Basis, ServiceError};

/// Points of a measured curve that are kept: more would not change a position by what can be read.
const CURVE: usize = 40;

impl Bench {
    /// A spring by its name: its tested run where it has one, else what its mark says.
    pub(super) fn rack_spring(
        &self,
        shown: &str,
        used: &mut Vec<v1::UsedRevision>,
    ) -> Result<CandidateSpring, ServiceError> {
        let mut violations = Violations::new();
        let name = Collection::Springs.revisable(shown, violations.at("spring"));
        let name = checked(violations, name)?;
        let spring: v1::Spring = self.read_standing(&name, shown, used)?;
        let label = if spring.label.is_empty() { shown } else { &spring.label };
        let lengths = wire::book::sag::length(spring.free_length.as_ref())
            .zip(wire::book::sag::length(spring.solid_length.as_ref()));
        let to_solid = lengths.map(|(free, solid)| Deflection::from_si(free.si() - solid.si()));
        if !spring.tested_run.is_empty() {
            let prepared = self.prepared(v1::ReduceRunRequest {
                source: Some(Asked::Run(spring.tested_run.clone())),
                ..Default::default()
            })?;
            let reduced = prepared.reduced()?;
            used.extend(prepared.used);
            return Ok(CandidateSpring {
                label: label.to_owned(),
                rate: reduced.rate.value,
                standard_uncertainty: reduced.rate.standard_uncertainty,
                source: SpringSource::Measured,
                curve: curve(&reduced),
                deflection_to_solid: to_solid,
            });
        }
        let marked = spring.marked_rate.as_ref().and_then(|rate| {
            let unit = mechanics::quantity::Unit::from_number(rate.unit)?;
            Entered::<StiffnessUnit>::new(rate.value?, unit)
                .ok()
                .map(SpringRate::of)
        });
        let rate = marked.ok_or_else(|| ServiceError::NotReducible {
            basis: Basis::Stored,
            cause: format!("{shown} has neither a tested run nor a marked rate"),
        })?;
        let tolerance = spring
            .grade
            .and_then(|grade| grade.rate_tolerance_ratio)
            .unwrap_or(MARK);
        Ok(CandidateSpring {
            label: label.to_owned(),
            rate,
            standard_uncertainty: SpringRate::from_si(rate.si() * tolerance / 3.0_f64.sqrt()),
            source: SpringSource::Marked,
            curve: None,
            deflection_to_solid: to_solid,
        })
    }
}

/// The curve from free length of a spring that was measured to be no straight one.
fn curve(reduced: &Reduced) -> Option<ForceCurve> {
    if !matches!(reduced.shape, Shape::DualRate | Shape::Progressive) {
        return None;
    }
    let contact = reduced.contact.as_ref()?.deflection.value.si();
    let smooth = &reduced.curve.smooth;
    let every = smooth.len().div_ceil(CURVE).max(1);
    let mut table = vec![(Deflection::from_si(0.0), Load::from_si(0.0))];
    for point in smooth.iter().step_by(every).chain(smooth.last()) {
        let at = (point.deflection.si() - contact, point.load.si());
        let last = table.last().map_or((0.0, 0.0), |last| (last.0.si(), last.1.si()));
        if at.0 > last.0 + 1e-6 && at.1 > last.1 {
            table.push((Deflection::from_si(at.0), Load::from_si(at.1)));
        }
    }
    ForceCurve::of_table(&table)
}
