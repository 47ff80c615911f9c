//! Half a section through a stack on its piston: radii to scale, heights larger where thin shims need it, and how much
//! larger is said on it.

use maud::{Markup, html};
use mechanics::quantity::{Length, LengthUnit, Quantity as _, Unit, UnitSystem};
use mechanics::valving::stack::Stack;
use wire::v1;

use super::labels::{self, LINE, Label, WORDS};
use super::paper::{ACROSS, AXIS, Paper, at, round_step};
use super::parts::hatching;
use super::shape::{self, Outline, millimeters, radius};

const WIDTH: f64 = 620.0;
pub(super) const INK: &str = "#1d2326";
pub(super) const SOFT: &str = "#525c61";
/// Heights of what is drawn without scale: piston, clamp, stop.
pub(super) const PISTON: f64 = 52.0;
pub(super) const CLAMP: f64 = 26.0;
pub(super) const STOP: f64 = 12.0;
/// Letters of a line of the head.
const LETTERS: usize = 62;

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Section<'a> {
    /// The stack.
    pub stack: &'a Stack,
    /// How it was solved; its shapes at the highest pressure are drawn over the flat stack. `None`: flat.
    pub solved: Option<&'a v1::SolveStackResponse>,
    /// Units of the figures.
    pub units: UnitSystem,
    /// Begins the ids of its parts; another one for each drawing of a page.
    pub id: &'a str,
    /// Whether the text form and the diameters below are left out, as they stand beside it.
    pub brief: bool,
}

/// The drawing.
#[must_use]
pub fn section(section: &Section<'_>) -> Markup {
    Drawing::new(*section).drawn()
}

pub(super) struct Drawing<'a> {
    pub(super) of: Section<'a>,
    pub(super) paper: Paper,
    pub(super) outlines: Vec<Outline>,
    /// Radius the drawing of shims begins at: the bore, or a little inside the clamp where it is not known.
    pub(super) from: f64,
    pub(super) clamp: f64,
    /// Largest radius of the piston that is drawn.
    pub(super) body: f64,
    head: Vec<String>,
    labels: Vec<(Label, f64)>,
}

/// A line below the piston: what reaches from where to where, radii in mm.
struct Reach {
    words: String,
    from: f64,
    to: f64,
}

impl<'a> Drawing<'a> {
    fn new(of: Section<'a>) -> Self {
        let stack = of.stack;
        let outlines = shape::outlines(stack, of.solved);
        let clamp = radius(stack.clamp_diameter);
        let faces = stack
            .faces
            .iter()
            .map(|face| radius(face.land_outer_diameter.unwrap_or(face.port_outer_diameter)));
        let seat = stack.seat.iter().map(|seat| radius(seat.outer_diameter));
        let stop = stack.stop.iter().map(|stop| radius(stop.outer_diameter));
        let edges = outlines.iter().map(|outline| outline.edge);
        let body = faces.chain(seat).chain(edges.clone().take(1)).fold(clamp, f64::max) * 1.03;
        let widest = edges.chain(stop).fold(body, f64::max);
        let bores = outlines.iter().filter_map(|outline| outline.bore);
        let from = bores.reduce(f64::min).unwrap_or(0.62 * clamp).min(clamp);
        let thinnest = outlines.iter().map(|o| o.thickness).fold(f64::INFINITY, f64::min);
        let top = outlines.iter().map(Outline::top).fold(0.0, f64::max);
        let room = stack.stop.iter().map(|stop| millimeters(stop.clearance));
        let highest = room.fold(0.0, f64::max) + flat_top(&outlines);
        let mut drawing = Self {
            of,
            paper: Paper::fitting(widest, thinnest, top.max(highest)),
            outlines,
            from,
            clamp,
            body,
            head: Vec::new(),
            labels: Vec::new(),
        };
        drawing.head = drawing.head_lines();
        drawing.lay_out(top.max(highest));
        drawing
    }

    /// Finds the height of the piston's face from what stands above it, words included.
    fn lay_out(&mut self, highest: f64) {
        let labels = labels::spread(self.labels(), -8.0, self.line());
        let words = labels.last().map_or(0.0, |(_, y)| self.line() - y);
        let parts = self.paper.up(highest) + STOP;
        let clamp = self.paper.up(flat_top(&self.outlines)) + CLAMP;
        let above = words.max(parts).max(clamp);
        self.paper.ground = self.line() * self.head.len() as f64 + 26.0 + above;
        self.labels = labels::spread(self.labels(), self.paper.ground - 8.0, self.line());
    }

    /// From line to line: small pictures have large words.
    fn line(&self) -> f64 {
        if self.of.brief { 1.35 * LINE } else { LINE }
    }

    fn unit(&self) -> LengthUnit {
        LengthUnit::of_system(self.of.units)
    }

    /// What is drawn, to which scale, in which state.
    fn head_lines(&self) -> Vec<String> {
        let mut lines = match self.of.brief {
            true => Vec::new(),
            false => wrapped(&shape::stack_text(self.of.stack, self.unit())),
        };
        let factor = self.paper.factor;
        lines.push(match (factor > 1.0, self.of.brief) {
            (true, false) => format!("Half section. Radii to scale, heights {factor} times as large."),
            (true, true) => format!("Half section to scale, heights {factor} times as large."),
            (false, _) => "Half section, to scale.".to_owned(),
        });
        match self.of.solved.and_then(|solved| shape::state(solved, self.of.units)) {
            Some((pressure, lift)) => lines.push(format!(
                "At {pressure}: edge of the face shim lifts {lift}. Dashed: flat."
            )),
            None if self.of.brief => {}
            None => lines.push("Flat, without pressure.".to_owned()),
        }
        lines
    }

    /// A label for each layer, at the edge of its uppermost shim, for the clamp and the stop.
    fn labels(&self) -> Vec<Label> {
        let paper = &self.paper;
        let symbol = self.unit().row().symbol;
        let mut labels = Vec::new();
        for (index, layer) in self.of.stack.layers.iter().enumerate() {
            let Some(outline) = self.outlines.iter().rfind(|outline| outline.layer == index) else {
                continue;
            };
            let role = match (index, outline.edge <= self.clamp) {
                (0, _) => ", face",
                (_, true) => ", spacer",
                _ => "",
            };
            let size = shape::size(layer, self.unit());
            let count = if layer.count > 1 {
                format!("{} of ", layer.count)
            } else {
                String::new()
            };
            labels.push(Label {
                x: paper.x(outline.edge.max(self.from)),
                y: paper.y(outline.edge_height()),
                words: format!("{count}{size} {symbol}{role}"),
            });
        }
        labels.push(Label {
            x: paper.x(self.clamp),
            y: paper.y(flat_top(&self.outlines)) - CLAMP / 2.0,
            words: format!(
                "clamp {} {symbol}",
                shape::diameter(self.of.stack.clamp_diameter, self.unit())
            ),
        });
        if let Some(stop) = &self.of.stack.stop {
            let height = flat_top(&self.outlines) + millimeters(stop.clearance);
            labels.push(Label {
                x: paper.x(radius(stop.outer_diameter)),
                y: paper.y(height) - STOP / 2.0,
                words: format!("stop, {} {symbol} above", shape::height(stop.clearance, self.unit())),
            });
        }
        labels
    }

    /// What reaches from where to where, said below the piston.
    fn reaches(&self) -> Vec<Reach> {
        let stack = self.of.stack;
        let symbol = self.unit().row().symbol;
        let span = |from, to| {
            format!(
                "{} to {} {symbol}",
                shape::diameter(from, self.unit()),
                shape::diameter(to, self.unit())
            )
        };
        let mut reaches = Vec::new();
        for face in &stack.faces {
            let open = if face.coverage_ratio < 1.0 {
                format!(", {:.0} % open", 100.0 * face.coverage_ratio)
            } else {
                String::new()
            };
            reaches.push(Reach {
                words: format!(
                    "ports {}{open}",
                    span(face.port_inner_diameter, face.port_outer_diameter)
                ),
                from: radius(face.port_inner_diameter),
                to: radius(face.port_outer_diameter),
            });
            if let Some(land) = face.land_outer_diameter {
                reaches.push(Reach {
                    words: format!("no pressure from {} {symbol}", shape::diameter(land, self.unit())),
                    from: radius(face.port_outer_diameter),
                    to: radius(land),
                });
            }
        }
        if let Some(seat) = &stack.seat {
            let height = match millimeters(seat.height) {
                0.0 => String::new(),
                _ => format!(", {} high", shape::height(seat.height, self.unit())),
            };
            reaches.push(Reach {
                words: format!("seat {}{height}", span(seat.inner_diameter, seat.outer_diameter)),
                from: radius(seat.inner_diameter),
                to: radius(seat.outer_diameter),
            });
        }
        if let Some(stop) = &stack.stop {
            reaches.push(Reach {
                words: format!("stop to {} {symbol}", shape::diameter(stop.outer_diameter, self.unit())),
                from: stop.inner_diameter.map_or(self.clamp, radius),
                to: radius(stop.outer_diameter),
            });
        }
        reaches
    }

    fn drawn(&self) -> Markup {
        let id = self.of.id;
        let (title, description) = (format!("{id}-title"), format!("{id}-desc"));
        let below = self.paper.ground + PISTON;
        let reaches = match self.of.brief {
            true => Vec::new(),
            false => self.reaches(),
        };
        let ruler = below + LINE * reaches.len() as f64 + 16.0;
        let height = if self.of.brief { below + 6.0 } else { ruler + 46.0 };
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (at(height)) } role="img"
                aria-labelledby={ (title) " " (description) } font-family="system-ui, sans-serif" font-size=(if self.of.brief { "21" } else { "15" }) fill=(INK) {
                title id=(title) { "Section of the stack" }
                desc id=(description) { (self.head.join(" ")) " " (self.said(&reaches)) }
                (hatching(id))
                g.words { @for (line, words) in self.head.iter().enumerate() {
                    text x="8" y=(at(self.line() * (line as f64 + 1.0))) font-weight=[(line == 0 && !self.of.brief).then_some("600")] { (words) }
                } }
                (self.axis(below))
                (self.piston())
                (self.shims())
                (self.clamp_and_stop())
                (labels::drawn(&self.labels, INK))
                (self.below(&reaches, below))
                @if !self.of.brief { (self.ruler(ruler)) }
                (self.bar())
            }
        }
    }

    /// Everything the drawing labels, for those who do not see it.
    fn said(&self, reaches: &[Reach]) -> String {
        let labels = self.labels.iter().map(|(label, _)| label.words.as_str());
        let reaches = reaches.iter().map(|reach| reach.words.as_str());
        let all: Vec<_> = labels.chain(reaches).collect();
        format!("From the piston up: {}.", all.join("; "))
    }

    /// A line for each reach, with its ends and its words.
    fn below(&self, reaches: &[Reach], top: f64) -> Markup {
        let paper = &self.paper;
        html! {
            g.leaders stroke=(INK) stroke-width="1" fill="none" {
                @for (index, reach) in reaches.iter().enumerate() {
                    @let y = top + LINE * (index as f64 + 0.5) + 4.0;
                    @let (from, to) = (paper.x(reach.from), paper.x(reach.to));
                    path d={ "M" (at(from)) " " (at(y - 5.0)) "v10M" (at(to)) " " (at(y - 5.0)) "v10" } {}
                    path d={ "M" (at(from)) " " (at(y)) "H" (at(to)) } stroke-width="2" {}
                    path d={ "M" (at(to + 4.0)) " " (at(y)) "H" (at(WORDS - 6.0)) } stroke-width="0.75" stroke-dasharray="1 4" {}
                }
            }
            g.words {
                @for (index, reach) in reaches.iter().enumerate() {
                    text x=(at(WORDS)) y=(at(top + LINE * (index as f64 + 0.5) + 9.0)) { (reach.words) }
                }
            }
        }
    }

    /// Diameters along the bottom.
    fn ruler(&self, y: f64) -> Markup {
        let unit = self.unit();
        let per = millimeters(Length::new(1.0, unit));
        // In diameters: half a radius' step.
        let most = 2.0 * ACROSS / (self.paper.x(1.0) - AXIS) / per;
        let step = round_step(most / 6.0);
        let count = (most / step).floor() as usize;
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        let place = |index: usize| self.paper.x(step * index as f64 * per / 2.0);
        html! {
            g.leaders stroke=(INK) stroke-width="1" fill="none" {
                path d={ "M" (at(AXIS)) " " (at(y)) "H" (at(AXIS + ACROSS)) } {}
                @for index in 0..=count { path d={ "M" (at(place(index))) " " (at(y)) "v6" } {} }
            }
            g.words font-size="13" {
                @for index in 0..=count {
                    text x=(at(place(index))) y=(at(y + 20.0)) text-anchor="middle" { (format!("{:.*}", decimals, step * index as f64)) }
                }
                text x=(at(WORDS)) y=(at(y + 10.0)) { "diameter in " (unit.row().symbol) }
            }
        }
    }

    /// A bar as long as a round height.
    fn bar(&self) -> Markup {
        let unit = self.unit();
        let per = millimeters(Length::new(1.0, unit));
        let length = round_step(30.0 / self.paper.up(per));
        let decimals = (-length.log10().floor()).max(0.0) as usize;
        let (low, high) = (self.paper.ground, self.paper.y(length * per));
        html! {
            path.rule d={ "M14 " (at(low)) "h12M14 " (at(high)) "h12M20 " (at(low)) "V" (at(high)) } stroke=(INK) fill="none" {}
            g.words font-size=(if self.of.brief { "18" } else { "13" }) {
                text x="6" y=(at(low + 18.0)) { (format!("{length:.decimals$}")) }
                text x="6" y=(at(low + 33.0 + if self.of.brief { 3.0 } else { 0.0 })) { (unit.row().symbol) }
                @if !self.of.brief { text x="6" y=(at(low + 48.0)) { "high" } }
            }
        }
    }
}

/// Height of the flat stack, mm.
pub(super) fn flat_top(outlines: &[Outline]) -> f64 {
    outlines
        .last()
        .map_or(0.0, |outline| outline.height + outline.thickness)
}

/// Lines of the text form, cut between layers.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for part in text.split_inclusive(", ") {
        let Some(line) = lines.last_mut() else { break };
        if line.len() + part.trim_end().len() > LETTERS && !line.is_empty() {
            lines.push(part.to_owned());
        } else {
            line.push_str(part);
        }
    }
    lines
}
