//! What the form asks: its fields become requests.

use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::assembly_part::Kind;
use wire::violation::{Violation, Violations};

use super::super::form::{self, Posted};

/// Springs that can be put together.
pub(super) const ROWS: usize = 4;
/// Places of the travel at which loads and energy are told.
const PLACES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
/// Steps of the air's curve.
const STEPS: u32 = 64;
/// The last place: at its very end the air counts as closed.
const SHORT_OF_END: f64 = 1.0 - 1e-6;

/// A form that was read.
pub(super) struct Asked {
    parts: Vec<v1::AssemblyPart>,
    in_line: bool,
    preload: Option<v1::Length>,
    travel: v1::Length,
    air: Option<v1::OilLevelSpring>,
    exponent: Option<f64>,
    units: i32,
}

impl Asked {
    /// Reads a form; every fault is named at its field.
    pub(super) fn of(posted: &Posted, units: i32) -> Result<Self, Vec<Violation>> {
        let mut violations = Violations::new();
        let parts: Vec<_> = (1..=ROWS)
            .filter_map(|row| part(posted, row, &mut violations))
            .collect();
        let travel = form::quantity::<v1::Length>(posted, "travel", "travel", &mut violations);
        let air = air(posted, travel, &mut violations);
        let exponent = form::number(posted, "exponent", "exponent", &mut violations);
        let preload = form::quantity(posted, "preload", "preload", &mut violations);
        if parts.is_empty() && violations.is_empty() {
            violations.push(
                "rate1",
                Reason::ValueMissing,
                "choose a spring of the rack or write a rate",
            );
        }
        let positive = travel.filter(|travel| travel.value.is_some_and(|value| value > 0.0));
        if positive.is_none() && violations.is_empty() {
            violations.push(
                "travel",
                Reason::ValueMissing,
                "how far it is pressed is needed, above 0",
            );
        }
        violations.finish()?;
        Ok(Self {
            parts,
            in_line: posted.text("arrangement") == "line",
            preload,
            travel: travel.unwrap_or_default(),
            air,
            exponent,
            units,
        })
    }

    /// The air alone, from extended to the whole travel.
    pub(super) fn air(&self) -> Option<v1::EvaluateGasSpringRequest> {
        let air = self.air?;
        Some(v1::EvaluateGasSpringRequest {
            spring: Some(v1::evaluate_gas_spring_request::Spring::OilLevel(air)),
            model: self
                .exponent
                .map(v1::evaluate_gas_spring_request::Model::PolytropicExponent),
            strokes: (0..=STEPS)
                .map(|step| self.share(f64::from(step) / f64::from(STEPS)))
                .collect(),
            maximum_stroke: Some(self.travel),
            reply_units: self.units,
            ..Default::default()
        })
    }

    /// Everything together; the air joins in from the fitted position on.
    pub(super) fn together(&self, air: Option<&v1::EvaluateGasSpringResponse>) -> v1::EvaluateAssemblyRequest {
        let group = v1::PartGroup {
            parts: self.parts.clone(),
        };
        let springs = part_of(if self.in_line {
            Kind::Series(group)
        } else {
            Kind::Parallel(group)
        });
        let beside = air.and_then(table).map(|table| v1::AssemblyPart {
            label: "air".to_owned(),
            gap: self.preload,
            ..part_of(Kind::Table(table))
        });
        let end = if beside.is_some() { SHORT_OF_END } else { 1.0 };
        let part = match beside {
            Some(air) => part_of(Kind::Parallel(v1::PartGroup {
                parts: vec![springs, air],
            })),
            None => springs,
        };
        v1::EvaluateAssemblyRequest {
            part: Some(part),
            preload: self.preload,
            deflections: PLACES.iter().map(|share| self.share(share * end)).collect(),
            maximum_deflection: Some(self.share(end)),
            reply_units: self.units,
            ..Default::default()
        }
    }

    /// A share of the travel.
    fn share(&self, share: f64) -> v1::Length {
        v1::Length {
            value: self.travel.value.map(|value| value * share),
            unit: self.travel.unit,
        }
    }
}

fn part_of(kind: Kind) -> v1::AssemblyPart {
    v1::AssemblyPart {
        kind: Some(kind),
        ..Default::default()
    }
}

/// One row: a spring of the rack, or a rate as typed; nothing where neither is there.
fn part(posted: &Posted, row: usize, violations: &mut Violations) -> Option<v1::AssemblyPart> {
    let name = |field: &str| format!("{field}{row}");
    let length = |field: &str, violations: &mut Violations| {
        form::quantity::<v1::Length>(posted, &name(field), &name(field), violations)
    };
    let rate = form::quantity::<v1::Stiffness>(posted, &name("rate"), &name("rate"), violations);
    let stop = length("stop", violations);
    let gap = length("gap", violations).filter(|gap| gap.value != Some(0.0));
    let spring = posted.text(&name("spring"));
    let kind = match (spring, rate) {
        ("", None) => return None,
        ("", rate) => Kind::Straight(v1::StraightPart {
            rate,
            stop_travel: stop,
        }),
        (spring, None) => Kind::Spring(spring.to_owned()),
        (_, Some(_)) => {
            violations.push(
                name("rate"),
                Reason::Conflict,
                "a spring of the rack brings its own rate: choose one or write the other",
            );
            return None;
        }
    };
    if stop.is_some() && matches!(kind, Kind::Spring(_)) {
        violations.push(
            name("stop"),
            Reason::Conflict,
            "a spring of the rack closes after its own free less solid length: correct it there",
        );
    }
    Some(v1::AssemblyPart { gap, ..part_of(kind) })
}

/// The air of a fork leg, where a gap is written.
fn air(posted: &Posted, travel: Option<v1::Length>, violations: &mut Violations) -> Option<v1::OilLevelSpring> {
    let mut length = |name: &str| form::quantity::<v1::Length>(posted, name, name, violations);
    let (air_gap, seal, bore) = (length("air_gap"), length("seal"), length("bore"));
    let spring_volume = form::quantity(posted, "spring_volume", "spring_volume", violations);
    air_gap?;
    Some(v1::OilLevelSpring {
        seal_diameter: seal,
        bore_diameter: bore,
        air_gap,
        travel,
        spring_volume,
    })
}

/// The air's curve as a spring; its units are those of the reply.
fn table(air: &v1::EvaluateGasSpringResponse) -> Option<v1::TablePart> {
    let (length, force) = (air.points.first()?.stroke?.unit, air.points.first()?.force?.unit);
    let points = air
        .points
        .iter()
        .filter_map(|point| Some((point.stroke?.value?, point.force?.value?)));
    let (deflections, loads) = points.map(|(stroke, force)| (stroke, force.max(0.0))).unzip();
    Some(v1::TablePart {
        deflection_unit: length,
        deflections,
        load_unit: force,
        loads,
    })
}

/// The form's field a fault of a request belongs to: `part.parallel.parts[0].straight.rate.value` is at `rate1`.
pub(super) fn field_of(fault: &Violation) -> String {
    let path = fault.field.as_str();
    let last = |word: &str| path.rsplit('.').any(|step| step == word);
    let row = path.rsplit("parts[").next().filter(|_| path.contains("parts["));
    let row = row
        .and_then(|rest| rest.split(']').next()?.parse::<usize>().ok())
        .map(|row| row + 1);
    match row {
        Some(row) if last("spring") => format!("spring{row}"),
        Some(row) if last("gap") => format!("gap{row}"),
        Some(row) if last("stop_travel") => format!("stop{row}"),
        Some(row) => format!("rate{row}"),
        None if last("seal_diameter") => "seal".to_owned(),
        None if last("bore_diameter") => "bore".to_owned(),
        None if last("air_gap") => "air_gap".to_owned(),
        None if last("spring_volume") => "spring_volume".to_owned(),
        None if last("polytropic_exponent") => "exponent".to_owned(),
        None if path.starts_with("deflections") || path.starts_with("maximum") || path.starts_with("strokes") => {
            "travel".to_owned()
        }
        None if last("travel") => "travel".to_owned(),
        None => path.split(['.', '[']).next().unwrap_or(path).to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(query: &str) -> Vec<String> {
        let faults = Asked::of(&Posted::of_query(Some(query)), 1).err().unwrap_or_default();
        faults.iter().map(field_of).collect()
    }

    #[test]
    fn a_row_is_a_spring_of_the_rack_or_a_rate() {
        let asked = Asked::of(
            &Posted::of_query(Some(
                "arrangement=line&rate1=40&rate1_unit=N/mm&stop1=12+mm&spring2=springs/a7&travel=80&travel_unit=mm",
            )),
            1,
        );
        let request = asked.ok().unwrap().together(None);
        let Some(Kind::Series(group)) = request.part.unwrap().kind else {
            panic!("not in line")
        };
        assert_eq!(group.parts.len(), 2);
        assert_eq!(group.parts[1].kind, Some(Kind::Spring("springs/a7".to_owned())));
        assert_eq!(request.maximum_deflection.unwrap().value, Some(80.0));
    }

    #[test]
    fn every_fault_is_at_its_field() {
        assert_eq!(faults("travel=80+mm"), ["rate1"]);
        assert_eq!(faults("rate1=9,5&rate1_unit=N/mm&travel=much"), ["rate1", "travel"]);
        assert_eq!(faults("rate2=9+N/mm&spring2=springs/a7&travel=80+mm"), ["rate2"]);
        let fault = |field: &str| {
            field_of(&Violation {
                field: field.to_owned(),
                reason: Reason::OutOfRange,
                description: String::new(),
            })
        };
        assert_eq!(
            fault("part.parallel.parts[0].series.parts[2].straight.rate.value"),
            "rate3"
        );
        assert_eq!(fault("oil_level.air_gap"), "air_gap");
        assert_eq!(fault("deflections[4]"), "travel");
    }
}
