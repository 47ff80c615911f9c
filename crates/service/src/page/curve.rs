//! The curves of runs as plots.

use mechanics::quantity::{ForceUnit, LengthUnit, Unit};
use wire::v1;

use super::plot::{Axis, Line, Look, Mark, Plot};
use super::words::{computed, estimated, quantity};

/// The curve of one run: both branches, window, contact, bind.
pub(super) fn of_run(title: &str, reply: &v1::ReduceRunResponse) -> Option<Plot> {
    let curve = reply.curve.as_ref()?;
    let lines = [
        ("pressing", Look::Press, &curve.press),
        ("returning", Look::Return, &curve.returning),
    ];
    Some(Plot {
        id: "curve",
        title: title.to_owned(),
        description: description(reply),
        x: deflection_axis("deflection", curve)?,
        y: load_axis(curve)?,
        lines: lines
            .into_iter()
            .filter(|(_, _, points)| !points.is_empty())
            .map(|(label, look, points)| line(label.to_owned(), look, points, 0.0))
            .collect(),
        marks: marks(reply),
    })
}

/// The curves of two runs over one another, by a letter for each, counted from contact where both found it.
pub(super) fn of_two(title: &str, runs: [(&str, &v1::ReduceRunResponse); 2]) -> Option<Plot> {
    let [(_, first), (_, second)] = runs;
    let curves = [first.curve.as_ref()?, second.curve.as_ref()?];
    let contacts = [contact(first), contact(second)];
    let (name, from, marks) = match contacts {
        [Some(first), Some(second)] => {
            let at = Mark::At {
                label: "contact",
                x: 0.0,
            };
            ("deflection from contact", [first, second], vec![at])
        }
        _ => ("deflection", [0.0, 0.0], Vec::new()),
    };
    let looks = [[Look::Press, Look::Return], [Look::OtherPress, Look::OtherReturn]];
    let mut lines = Vec::new();
    for (((label, _), curve), (from, [press, back])) in runs.iter().zip(curves).zip(from.into_iter().zip(looks)) {
        lines.push(line(format!("{label}, pressing"), press, &curve.press, from));
        if !curve.returning.is_empty() {
            lines.push(line(format!("{label}, returning"), back, &curve.returning, from));
        }
    }
    Some(Plot {
        id: "curves",
        title: title.to_owned(),
        description: format!("Load against {name} of two runs."),
        x: deflection_axis(name, curves[0])?,
        y: load_axis(curves[0])?,
        lines,
        marks,
    })
}

fn line(label: String, look: Look, points: &[v1::CurvePoint], from: f64) -> Line {
    Line {
        label,
        look,
        points: points
            .iter()
            .map(|point| (point.deflection - from, point.load))
            .collect(),
    }
}

fn deflection_axis(name: &'static str, curve: &v1::LoadCurve) -> Option<Axis> {
    let row = LengthUnit::from_number(curve.deflection_unit)?.row();
    Some(Axis {
        name,
        unit: row.symbol,
        decimals: row.decimals,
    })
}

fn load_axis(curve: &v1::LoadCurve) -> Option<Axis> {
    let row = ForceUnit::from_number(curve.load_unit)?.row();
    Some(Axis {
        name: "load",
        unit: row.symbol,
        decimals: row.decimals,
    })
}

// Curve, window, contact and knees of a reply are all in its own units, so their numbers go together.

fn contact(reply: &v1::ReduceRunResponse) -> Option<f64> {
    let contact = reply.contact.as_ref()?.deflection.as_ref()?;
    quantity(contact.value.as_ref()).map(|value| value.value())
}

fn marks(reply: &v1::ReduceRunResponse) -> Vec<Mark> {
    let value = |length: Option<&v1::Length>| quantity(length).map(|value| value.value());
    let window = reply.window.as_ref();
    let band = window.and_then(|window| value(window.from.as_ref()).zip(value(window.to.as_ref())));
    let band = band.map(|(from, to)| Mark::Band {
        label: "window",
        from,
        to,
    });
    let contact = contact(reply).map(|x| Mark::At { label: "contact", x });
    let knees = reply.knees.iter().filter_map(|knee| {
        let x = value(knee.deflection.as_ref()?.value.as_ref())?;
        let label = match knee.kind() {
            v1::knee::Kind::Bind => "coil bind",
            v1::knee::Kind::RateChange | v1::knee::Kind::Unspecified => "rate changes",
        };
        Some(Mark::At { label, x })
    });
    band.into_iter().chain(contact).chain(knees).collect()
}

/// What is to be seen, for those who do not see it.
fn description(reply: &v1::ReduceRunResponse) -> String {
    let mut said = "Load against deflection.".to_owned();
    let largest = computed(reply.maximum_deflection.as_ref()).zip(computed(reply.maximum_load.as_ref()));
    if let Some((deflection, load)) = largest {
        said.push_str(&format!(" Pressed by {deflection} to {load}."));
    }
    if let Some(rate) = estimated(reply.rate.as_ref()) {
        said.push_str(&format!(" The rate in the window is {rate}."));
    }
    if reply.knees.iter().any(|knee| knee.kind() == v1::knee::Kind::Bind) {
        said.push_str(" The coils close before the end.");
    }
    said
}
