//! Curves drawn in letters, for whoever asks with `--plot`.

use mechanics::quantity::UnitRow;
use prost_reflect::{DynamicMessage, ReflectMessage as _};
use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;
use ratatui_core::symbols::Marker;
use ratatui_core::widgets::Widget as _;
use ratatui_widgets::chart::{Axis, Chart, Dataset, GraphType};
use wire::v1;

use super::figures::{self, Exactness};

/// Calls whose replies hold a curve.
const PLOTTED: [&str; 6] = [
    "ReduceRun",
    "JudgePair",
    "EvaluateHelical",
    "EvaluateAssembly",
    "EvaluateGasSpring",
    "ComputeWheelRate",
];

/// Whether a call's reply can be drawn.
pub(crate) fn has_plot(call: &str) -> bool {
    PLOTTED.contains(&call)
}

/// Letters across and lines down.
const WIDTH: u16 = 76;
const HEIGHT: u16 = 18;
/// Parts of the axis upwards.
const TICKS: u8 = 4;

/// Lines over two axes.
#[derive(Debug, Clone)]
pub(crate) struct Drawing {
    /// What is to the right, with its unit.
    pub(crate) x: String,
    /// What is upwards, with its unit.
    pub(crate) y: String,
    /// The lines, all drawn alike.
    pub(crate) lines: Vec<Vec<(f64, f64)>>,
}

impl Drawing {
    /// The picture with a line above and below; none where there is nothing to draw.
    pub(crate) fn drawn(&self) -> Option<String> {
        let lines: Vec<Vec<(f64, f64)>> = self.lines.iter().map(|line| finite(line)).collect();
        let (x, y) = (span(&lines, |point| point.0)?, ticked(span(&lines, |point| point.1)?));
        let drawn = lines.iter().map(|line| {
            Dataset::default()
                .marker(Marker::Braille)
                .graph_type(GraphType::Line)
                .data(line)
        });
        let chart = Chart::new(drawn.collect())
            .x_axis(axis_of(x, 2))
            .y_axis(axis_of(y, TICKS));
        let place = Rect::new(0, 0, WIDTH, HEIGHT);
        let mut paper = Buffer::empty(place);
        chart.render(place, &mut paper);
        let rows = (0..HEIGHT).map(|row| {
            let letters = (0..WIDTH).filter_map(|column| paper.cell((column, row)).map(|cell| cell.symbol()));
            letters.collect::<String>().trim_end().to_owned()
        });
        let picture: Vec<String> = rows.collect();
        Some(format!("\n{} against {}\n{}\n", self.y, self.x, picture.join("\n")))
    }
}

/// An axis with its ends and the parts between them named.
fn axis_of((low, high): (f64, f64), parts: u8) -> Axis<'static> {
    let at = |part: u8| low + (high - low) * f64::from(part) / f64::from(parts);
    let labels = (0..=parts).map(|part| figures::number(at(part), 0, Exactness::Computed));
    Axis::default().bounds([low, high]).labels(labels)
}

/// Points that can be drawn: the axes' ends must be a finite distance apart.
fn finite(line: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let drawable = |value: f64| value.abs() < 1e150;
    line.iter()
        .copied()
        .filter(|(x, y)| drawable(*x) && drawable(*y))
        .collect()
}

/// An axis that holds the values and 0, where that is not far off.
fn span(lines: &[Vec<(f64, f64)>], of: fn(&(f64, f64)) -> f64) -> Option<(f64, f64)> {
    let values = || lines.iter().flatten().map(of);
    let (low, high) = values().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    let low = if low > 0.0 && low < 0.5 * high { 0.0 } else { low };
    // A level line still needs an axis to lie on.
    let least = low.abs().max(high.abs()).max(1e-6) * 1e-3;
    Some(if high - low > least {
        (low, high)
    } else {
        (low - least, high + least)
    })
}

/// The same with an upper end that parts into the ticks there are.
fn ticked((low, high): (f64, f64)) -> (f64, f64) {
    let ticks = f64::from(TICKS);
    let quarter = (high - low) / ticks;
    let power = 10.0_f64.powf(quarter.log10().floor());
    let round = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0]
        .into_iter()
        .map(|round| round * power)
        .find(|round| *round >= quarter * (1.0 - 1e-6));
    (low, round.map_or(high, |round| low + ticks * round))
}

/// The curve of a reply; none where it holds none.
pub(crate) fn plotted(reply: &DynamicMessage) -> Option<String> {
    let drawing = match reply.descriptor().name() {
        "ReduceRunResponse" => of_curve(
            "deflection",
            &reply.transcode_to::<v1::ReduceRunResponse>().ok()?.curve?,
        ),
        "EvaluateGasSpringResponse" => of_curve(
            "stroke",
            &reply.transcode_to::<v1::EvaluateGasSpringResponse>().ok()?.curve?,
        ),
        "EvaluateHelicalResponse" => of_knots(&reply.transcode_to::<v1::EvaluateHelicalResponse>().ok()?.knots),
        "EvaluateAssemblyResponse" => of_assembly(&reply.transcode_to().ok()?),
        "ComputeWheelRateResponse" => of_wheel(&reply.transcode_to().ok()?),
        "JudgePairResponse" => of_pair(&reply.transcode_to().ok()?),
        _ => None,
    };
    drawing?.drawn()
}

fn axis(name: &str, unit: Option<&UnitRow>) -> String {
    unit.map_or_else(|| name.to_owned(), |unit| format!("{name} in {}", unit.symbol))
}

fn of_curve(name: &str, curve: &v1::LoadCurve) -> Option<Drawing> {
    let line = |points: &[v1::CurvePoint]| points.iter().map(|point| (point.deflection, point.load)).collect();
    Some(Drawing {
        x: axis(name, figures::unit("Length", curve.deflection_unit)),
        y: axis("load", figures::unit("Force", curve.load_unit)),
        lines: vec![line(&curve.press), line(&curve.returning)],
    })
}

/// Lengths and loads of the reply, which are all in its own units.
type Place<'a> = (Option<&'a v1::Length>, Option<&'a v1::Force>);

fn of_places<'a>(places: impl Iterator<Item = Place<'a>>) -> Option<Drawing> {
    let mut units = None;
    let points: Vec<(f64, f64)> = places
        .filter_map(|(at, load)| {
            let (at, load) = (at?, load?);
            units = Some((at.unit, load.unit));
            Some((at.value?, load.value?))
        })
        .collect();
    let (length, force) = units?;
    Some(Drawing {
        x: axis("deflection", figures::unit("Length", length)),
        y: axis("load", figures::unit("Force", force)),
        lines: vec![points],
    })
}

fn of_knots(knots: &[v1::ForceKnot]) -> Option<Drawing> {
    of_places(knots.iter().map(|knot| (knot.deflection.as_ref(), knot.load.as_ref())))
}

/// The places asked for where they make a curve, else the knots.
fn of_assembly(reply: &v1::EvaluateAssemblyResponse) -> Option<Drawing> {
    if reply.knots.len() > 1 {
        return of_knots(&reply.knots);
    }
    of_places(
        reply
            .points
            .iter()
            .map(|point| (point.deflection.as_ref(), point.load.as_ref())),
    )
}

fn of_wheel(reply: &v1::ComputeWheelRateResponse) -> Option<Drawing> {
    let travel = |point: &v1::WheelPoint| point.wheel_travel;
    let rate = |point: &v1::WheelPoint| point.wheel_rate.as_ref().and_then(|rate| rate.value);
    let first = reply.points.first()?;
    let points = reply.points.iter();
    Some(Drawing {
        x: axis("wheel travel", figures::unit("Length", travel(first)?.unit)),
        y: axis("wheel rate", figures::unit("Stiffness", rate(first)?.unit)),
        lines: vec![
            points
                .filter_map(|point| Some((travel(point)?.value?, rate(point)?.value?)))
                .collect(),
        ],
    })
}

fn of_pair(reply: &v1::JudgePairResponse) -> Option<Drawing> {
    let places = &reply.difference.as_ref()?.places;
    let unit = places.first()?.deflection?.unit;
    let line = |off: fn(&v1::PairPlace) -> f64| {
        let points = places
            .iter()
            .filter_map(|at| Some((at.deflection?.value?, 100.0 * (at.difference_ratio + off(at)))));
        points.collect()
    };
    Some(Drawing {
        x: axis("deflection from contact", figures::unit("Length", unit)),
        y: "difference of the loads in %, with its band,".to_owned(),
        lines: vec![
            line(|_| 0.0),
            line(|at| at.expanded_uncertainty_ratio),
            line(|at| -at.expanded_uncertainty_ratio),
        ],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(lines: Vec<Vec<(f64, f64)>>) -> Option<String> {
        let (x, y) = ("deflection in mm".to_owned(), "load in N".to_owned());
        Drawing { x, y, lines }.drawn()
    }

    #[test]
    fn a_line_goes_from_corner_to_corner_under_its_axes() {
        let text = drawn(vec![vec![(0.0, 0.0), (60.0, 570.0)]]).unwrap();
        let rows: Vec<_> = text.lines().collect();
        assert_eq!(rows[1], "load in N against deflection in mm");
        assert!(rows[2].starts_with("600"), "{text}");
        assert!(text.trim_end().ends_with("60"), "{text}");
        assert!(rows.iter().all(|row| row.chars().count() <= 80), "{text}");
    }

    #[test]
    fn whatever_is_drawn_nothing_fails() {
        assert!(drawn(vec![]).is_none());
        assert!(drawn(vec![vec![(f64::NAN, 1.0), (1.0, f64::INFINITY)]]).is_none());
        for line in [
            vec![(1.0, 1.0)],
            vec![(0.0, 0.0), (0.0, 0.0)],
            vec![(-1e30, 1e30), (1e30, -1e30)],
            vec![(1e-30, 1e149), (2.0, 2.0)],
        ] {
            assert!(drawn(vec![line]).is_some());
        }
    }
}
