//! The shims of a stack as outlines: flat, or bent as they were solved.

use mechanics::quantity::{Length, LengthUnit, PressureUnit, Quantity, Unit, UnitSystem};
use mechanics::valving::stack::{Layer, Stack, text};
use wire::v1;

/// A shim, mm.
pub(super) struct Outline {
    /// Bore's radius, where it is known.
    pub(super) bore: Option<f64>,
    /// Radius of its edge.
    pub(super) edge: f64,
    /// Thickness.
    pub(super) thickness: f64,
    /// Height of its lower side above the piston's face in the flat stack.
    pub(super) height: f64,
    /// Its layer.
    pub(super) layer: usize,
    /// Radii and lifts from the clamp outward; empty where it is not bent.
    pub(super) bent: Vec<(f64, f64)>,
}

/// Every shim from the piston up, bent where a solution says how.
pub(super) fn outlines(stack: &Stack, solved: Option<&v1::SolveStackResponse>) -> Vec<Outline> {
    let mut outlines: Vec<Outline> = Vec::new();
    let mut height = 0.0;
    for (index, layer) in stack.layers.iter().enumerate() {
        for _ in 0..layer.count {
            let thickness = millimeters(layer.thickness);
            outlines.push(Outline {
                bore: layer.inner_diameter.map(radius),
                edge: radius(layer.outer_diameter),
                thickness,
                height,
                layer: index,
                bent: Vec::new(),
            });
            height += thickness;
        }
    }
    for profile in solved.iter().flat_map(|solved| &solved.profiles) {
        let index = usize::try_from(profile.shim_index).ok();
        let Some((outline, unit)) = index
            .and_then(|index| outlines.get_mut(index))
            .zip(LengthUnit::from_number(profile.unit))
        else {
            continue;
        };
        let of = |value: &f64| millimeters(Length::new(*value, unit));
        let pairs = profile.radii.iter().zip(&profile.lifts);
        outline.bent = pairs
            .map(|(r, w)| (of(r), of(w)))
            .filter(|(r, w)| r.is_finite() && w.is_finite())
            .collect();
    }
    outlines
}

impl Outline {
    /// Its lower side, radius and height, from a radius outward.
    fn lower(&self, from: f64) -> Vec<(f64, f64)> {
        let flat = [(from, self.height), (self.edge, self.height)];
        if self.bent.is_empty() {
            return flat.to_vec();
        }
        let start = self.bent.first().map_or(from, |(r, _)| *r);
        let within = (from < start).then_some((from, self.height));
        let beyond = self.bent.iter().map(|(r, w)| (*r, self.height + w));
        within.into_iter().chain(beyond).collect()
    }

    /// All round, from a radius outward; `false`: as it lies flat.
    pub(super) fn around(&self, from: f64, bent: bool) -> Vec<(f64, f64)> {
        let lower = if bent {
            self.lower(from)
        } else {
            vec![(from, self.height), (self.edge, self.height)]
        };
        let upper: Vec<_> = lower.iter().rev().map(|(r, h)| (*r, h + self.thickness)).collect();
        lower.into_iter().chain(upper).collect()
    }

    /// Height of the middle of its edge.
    pub(super) fn edge_height(&self) -> f64 {
        let lift = self.bent.last().map_or(0.0, |(_, w)| *w);
        self.height + lift + self.thickness / 2.0
    }

    /// Highest point.
    pub(super) fn top(&self) -> f64 {
        let lift = self.bent.iter().map(|(_, w)| *w).fold(0.0, f64::max);
        self.height + self.thickness + lift
    }
}

/// A diameter without its unit, as it is read off a drawing.
pub(super) fn diameter(length: Length, unit: LengthUnit) -> String {
    shown(length, unit, (0, 3))
}

/// A thickness or height without its unit.
pub(super) fn height(length: Length, unit: LengthUnit) -> String {
    shown(length, unit, (2, 4))
}

/// Inches were millimetres mostly: their last digits would say nothing.
fn shown(length: Length, unit: LengthUnit, (least, inches): (usize, usize)) -> String {
    if unit == LengthUnit::Inch {
        format!("{:.inches$}", length.get(unit))
    } else {
        text::length(length, unit, least)
    }
}

/// Size of one shim without its unit, such as `30x0.15` or `18/10x0.10`.
pub(crate) fn size(layer: &Layer, unit: LengthUnit) -> String {
    let bore = layer.inner_diameter.map(|inner| format!("/{}", diameter(inner, unit)));
    let (outer, thickness) = (diameter(layer.outer_diameter, unit), height(layer.thickness, unit));
    format!("{outer}{}x{thickness}", bore.unwrap_or_default())
}

/// The stack in the text form, as exact as a drawing is.
pub(super) fn stack_text(stack: &Stack, unit: LengthUnit) -> String {
    let counted = stack.layers.iter().map(|layer| match layer.count {
        1 => size(layer, unit),
        count => format!("{}*{count}", size(layer, unit)),
    });
    format!("{} {}", counted.collect::<Vec<_>>().join(", "), unit.row().symbol)
}

pub(super) fn millimeters(length: Length) -> f64 {
    length.get(LengthUnit::Millimeter)
}

pub(super) fn radius(diameter: Length) -> f64 {
    millimeters(diameter) / 2.0
}

/// What a solution says of its highest pressure: the pressure and the lift of the face shim's edge.
pub(super) fn state(solved: &v1::SolveStackResponse, units: UnitSystem) -> Option<(String, String)> {
    let of = |point: &v1::StackPoint| wire::quantity::stated(point.pressure.as_ref());
    let highest = solved.points.iter().filter_map(|point| Some((point, of(point)?)));
    let (point, pressure) = highest.max_by(|a, b| {
        let megapascals = |p: &mechanics::quantity::Entered<PressureUnit>| p.in_unit(PressureUnit::Megapascal).value();
        megapascals(&a.1).total_cmp(&megapascals(&b.1))
    })?;
    let pressure = pressure.in_unit(PressureUnit::of_system(units));
    let lift = wire::quantity::stated(point.edge_lift.as_ref())?.in_unit(LengthUnit::of_system(units));
    let place = |unit: &'static mechanics::quantity::UnitRow, more: usize| unit.decimals + more;
    Some((
        format!("{pressure:.*}", place(pressure.unit().row(), 0)),
        format!("{lift:.*}", place(lift.unit().row(), 1)),
    ))
}
