//! The curves of runs as plots.

use mechanics::quantity::{ForceUnit, LengthUnit, StiffnessUnit, Unit};
use wire::v1;

use super::plot::{Axis, Line, Look, Mark, Plot};
use super::words::{computed, estimated, quantity};

/// The curve of one run: both branches, window, contact, bind.
pub(crate) fn of_run(title: &str, reply: &v1::ReduceRunResponse) -> Option<Plot> {
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
pub(crate) fn of_two(title: &str, runs: [(&str, &v1::ReduceRunResponse); 2]) -> Option<Plot> {
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
    band.into_iter().chain(contact).chain(knees(reply)).collect()
}

fn knees(reply: &v1::ReduceRunResponse) -> impl Iterator<Item = Mark> {
    reply.knees.iter().filter_map(|knee| {
        let at = knee.deflection.as_ref()?;
        let label = match knee.kind() {
            v1::knee::Kind::Bind => "coil bind",
            v1::knee::Kind::RateChange | v1::knee::Kind::Unspecified => "rate changes",
        };
        Some(Mark::About {
            label,
            x: quantity(at.value.as_ref())?.value(),
            expanded: quantity(at.expanded_uncertainty.as_ref()).map_or(0.0, |expanded| expanded.value()),
        })
    })
}

/// The rate over the travel, with its uncertainty; none where it was not asked for.
pub(crate) fn of_rates(reply: &v1::ReduceRunResponse) -> Option<Plot> {
    let curve = reply.curve.as_ref()?;
    let rate = StiffnessUnit::from_number(reply.rate.as_ref()?.value.as_ref()?.unit)?.row();
    let places: Vec<(f64, f64, f64)> = reply
        .local_rates
        .iter()
        .filter_map(|local| {
            let found = local.rate.as_ref()?;
            let expanded = quantity(found.expanded_uncertainty.as_ref()).map_or(0.0, |expanded| expanded.value());
            let (at, rate) = (quantity(local.deflection.as_ref())?, quantity(found.value.as_ref())?);
            Some((at.value(), rate.value(), expanded))
        })
        .collect();
    if places.len() < 2 {
        return None;
    }
    let line = |height: fn(&(f64, f64, f64)) -> f64| places.iter().map(|place| (place.0, height(place))).collect();
    let ribbon = Mark::Ribbon {
        low: line(|(_, rate, expanded)| rate - expanded),
        high: line(|(_, rate, expanded)| rate + expanded),
    };
    Some(Plot {
        id: "rates",
        title: "Rate over the travel".to_owned(),
        description: "The rate of the press against deflection, with its expanded uncertainty as a band.".to_owned(),
        x: deflection_axis("deflection", curve)?,
        y: Axis {
            name: "rate",
            unit: rate.symbol,
            decimals: rate.decimals,
        },
        lines: vec![Line {
            label: "pressing".to_owned(),
            look: Look::Press,
            points: line(|(_, rate, _)| *rate),
        }],
        marks: std::iter::once(ribbon).chain(knees(reply)).collect(),
    })
}

/// How far two curves differ at equal deflection, with its uncertainty and the limit; none where they were not compared.
pub(crate) fn of_difference(reply: &v1::JudgePairResponse) -> Option<Plot> {
    let difference = reply.difference.as_ref()?;
    let unit = LengthUnit::from_number(difference.places.first()?.deflection.as_ref()?.unit)?.row();
    let line = |off: fn(&v1::PairPlace) -> f64| {
        let points = difference.places.iter().filter_map(|place| {
            let at = quantity(place.deflection.as_ref())?.value();
            Some((at, 100.0 * (place.difference_ratio + off(place))))
        });
        points.collect::<Vec<_>>()
    };
    let limit = 100.0 * reply.limit_ratio;
    let level = |y: f64| Mark::Level {
        label: format!("limit {y:+} %"),
        y,
    };
    Some(Plot {
        id: "difference",
        title: "Difference of the loads, B less A over their mean".to_owned(),
        description:
            "The difference at equal deflection from contact, with its expanded uncertainty as a band, and the limit."
                .to_owned(),
        x: Axis {
            name: "deflection from contact",
            unit: unit.symbol,
            decimals: unit.decimals,
        },
        y: Axis {
            name: "difference",
            unit: "%",
            decimals: 2,
        },
        lines: vec![Line {
            label: "B less A".to_owned(),
            look: Look::Press,
            points: line(|_| 0.0),
        }],
        marks: vec![
            Mark::Ribbon {
                low: line(|place| -place.expanded_uncertainty_ratio),
                high: line(|place| place.expanded_uncertainty_ratio),
            },
            level(limit),
            level(-limit),
        ],
    })
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
