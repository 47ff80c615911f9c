//! The curves of the valving bench.

use mechanics::quantity::{ForceUnit, LengthUnit, PressureUnit, Unit, UnitSystem, VelocityUnit};
use wire::quantity::Message;
use wire::v1;
use wire::v1::CircuitPlace as Place;

use super::found::{Damped, Found, of_stroke};
use crate::page::plot::{Axis, Line, Look, Mark, Plot};
use crate::page::words::quantity;

/// The number of a quantity, in the units of its reply.
pub(super) fn number<M: Message>(message: Option<&M>) -> f64 {
    quantity(message).map_or(f64::NAN, |entered| entered.value())
}

fn axis<U: Unit>(name: &'static str, units: UnitSystem, more: usize) -> Axis {
    let row = U::of_system(units).row();
    Axis {
        name,
        unit: row.symbol,
        decimals: row.decimals + more,
    }
}

/// Opening against pressure.
pub(super) fn lift(found: &Found, units: UnitSystem) -> Plot {
    let alone = found
        .solved
        .points
        .iter()
        .map(|point| (point.pressure.as_ref(), point.opening.as_ref()));
    let curve = found.compared.iter().flat_map(|compared| &compared.stack_curve);
    let own: Vec<(f64, f64)> = match &found.compared {
        None => std::iter::once((0.0, 0.0))
            .chain(alone.map(|(p, y)| (number(p), number(y))))
            .collect(),
        Some(_) => curve
            .clone()
            .map(|at| (number(at.pressure.as_ref()), number(at.second_opening.as_ref())))
            .collect(),
    };
    let present: Vec<_> = curve
        .map(|at| (number(at.pressure.as_ref()), number(at.first_opening.as_ref())))
        .collect();
    let mut lines = vec![line("this stack", Look::Press, own)];
    if !present.is_empty() {
        lines.push(line("present stack", Look::OtherPress, present));
    }
    let events = found.solved.events.iter();
    Plot {
        id: "lift",
        title: "Opening over the seat against pressure".to_owned(),
        description: "How far the stack opens as the pressure over its face shim rises.".to_owned(),
        x: axis::<PressureUnit>("pressure", units, 0),
        y: axis::<LengthUnit>("opening", units, 1),
        lines,
        marks: events
            .map(|event| Mark::At {
                label: event_word(event.kind()),
                x: number(event.pressure.as_ref()),
            })
            .collect(),
    }
}

fn line(label: &str, look: Look, points: Vec<(f64, f64)>) -> Line {
    Line {
        label: label.to_owned(),
        look,
        points,
    }
}

/// What happened, in a word.
pub(super) fn event_word(kind: v1::stack_event::Kind) -> &'static str {
    use v1::stack_event::Kind;
    match kind {
        Kind::Cracks => "opens",
        Kind::StageCloses => "next stage",
        Kind::StopReached => "stop",
        Kind::Unspecified => "event",
    }
}

fn mark_word(kind: v1::velocity_mark::Kind) -> &'static str {
    use v1::velocity_mark::Kind;
    match kind {
        Kind::Opens => "opens",
        Kind::Stage => "next stage",
        Kind::Stop => "stop",
        Kind::Unspecified => "event",
    }
}

fn marks(marks: &[v1::VelocityMark], rebound: bool) -> Vec<Mark> {
    let own = if rebound { Place::Rebound } else { Place::Compression };
    let own = marks.iter().filter(|mark| mark.place() == own);
    own.map(|mark| Mark::At {
        label: mark_word(mark.kind()),
        x: number(mark.shaft_velocity.as_ref()).abs(),
    })
    .collect()
}

/// Word of a stroke.
pub(super) fn stroke(rebound: bool) -> &'static str {
    if rebound { "rebound" } else { "compression" }
}

/// Hydraulic and friction force at a point, without direction.
pub(super) fn damping(point: &v1::DamperPoint) -> f64 {
    (number(point.hydraulic_force.as_ref()) + number(point.friction_force.as_ref())).abs()
}

/// Force against velocity, with what is said of each point of the first line.
pub(super) fn force(damped: &Damped, rebound: bool, units: UnitSystem) -> (Plot, Vec<Vec<String>>) {
    let own = damped.curve(rebound);
    let places = |points: &[&v1::DamperPoint]| -> Vec<(f64, f64)> {
        let each = points
            .iter()
            .map(|point| (number(point.shaft_velocity.as_ref()).abs(), damping(point)));
        each.collect()
    };
    let present = damped.compared.as_ref().map(|compared| {
        let own = of_stroke(compared.damper_curve.iter(), rebound, |at| at.shaft_velocity.as_ref());
        let place = |at: &&v1::DamperDifference| {
            (
                number(at.shaft_velocity.as_ref()).abs(),
                number(at.first_force.as_ref()).abs(),
            )
        };
        own.iter().map(place).collect()
    });
    let notes = |points: &[&v1::DamperPoint]| points.iter().map(|point| split_words(point)).collect();
    let other = damped.curve(!rebound);
    let said = vec![notes(&own), notes(&other)];
    let mut lines = vec![
        line(&format!("{}, this stack", stroke(rebound)), Look::Press, places(&own)),
        line(
            &format!("{}, other stack", stroke(!rebound)),
            Look::Return,
            places(&other),
        ),
    ];
    if let Some(present) = present {
        lines.push(line(
            &format!("{}, present stack", stroke(rebound)),
            Look::OtherPress,
            present,
        ));
    }
    let plot = Plot {
        id: "force",
        title: "Damping force against velocity, both strokes".to_owned(),
        description: "Hydraulic and friction force against the velocity of the shaft; gas force is not in it."
            .to_owned(),
        x: axis::<VelocityUnit>("velocity", units, 0),
        y: axis::<ForceUnit>("force", units, 0),
        lines,
        marks: marks(&damped.evaluated.marks, rebound),
    };
    (plot, said)
}

/// Force against velocity of a damper alone, both strokes.
pub(crate) fn strokes(evaluated: &v1::EvaluateDamperResponse, id: &'static str, units: UnitSystem) -> Plot {
    let places = |rebound: bool| {
        let own = of_stroke(evaluated.points.iter(), rebound, |point| point.shaft_velocity.as_ref());
        let place = |point: &&v1::DamperPoint| (number(point.shaft_velocity.as_ref()).abs(), damping(point));
        own.iter().map(place).collect()
    };
    Plot {
        id,
        title: "Damping force against velocity".to_owned(),
        description: "Hydraulic and friction force against the velocity of the shaft; gas force is not in it."
            .to_owned(),
        x: axis::<VelocityUnit>("velocity", units, 0),
        y: axis::<ForceUnit>("force", units, 0),
        lines: vec![
            line(stroke(true), Look::Press, places(true)),
            line(stroke(false), Look::Return, places(false)),
        ],
        marks: Vec::new(),
    }
}

/// Force with this stack less force with the present one.
pub(super) fn difference(damped: &Damped, rebound: bool, units: UnitSystem) -> Option<Plot> {
    let compared = damped.compared.as_ref()?;
    let own = of_stroke(compared.damper_curve.iter(), rebound, |at| at.shaft_velocity.as_ref());
    let change = |at: &&v1::DamperDifference| {
        let (first, second) = (
            number(at.first_force.as_ref()).abs(),
            number(at.second_force.as_ref()).abs(),
        );
        (number(at.shaft_velocity.as_ref()).abs(), second - first)
    };
    Some(Plot {
        id: "change",
        title: format!(
            "Change of the force in {}, this stack less the present one",
            stroke(rebound)
        ),
        description: "Above zero this stack damps more. Marked: where this stack opens and its stages begin."
            .to_owned(),
        x: axis::<VelocityUnit>("velocity", units, 0),
        y: axis::<ForceUnit>("change of force", units, 0),
        lines: vec![line("this less present", Look::Press, own.iter().map(change).collect())],
        marks: marks(&compared.second_marks, rebound),
    })
}

/// Shares of a flow in per cent: stack, bleed, leak; and of the drop: the ports.
pub(super) fn shares(point: &v1::DamperPoint) -> Option<[f64; 4]> {
    let split = point.piston.as_ref()?;
    let [valve, bleed, leak] = [&split.valve, &split.bleed, &split.leak].map(|path| number(path.as_ref()));
    let all = valve + bleed + leak;
    let (drop, curtain) = (number(split.drop.as_ref()), number(split.curtain_drop.as_ref()));
    let shares = [valve / all, bleed / all, leak / all, 1.0 - curtain / drop];
    shares
        .iter()
        .all(|share| share.is_finite())
        .then(|| shares.map(|share| 100.0 * share + 0.0))
}

/// The same in words.
fn split_words(point: &v1::DamperPoint) -> String {
    match shares(point) {
        Some([valve, bleed, leak, ports]) => {
            format!(
                "stack {valve:.0} %, bleed {bleed:.0} %, band {leak:.0} % of the oil, ports {ports:.0} % of the drop"
            )
        }
        None => "at rest".to_owned(),
    }
}
