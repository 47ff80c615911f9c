//! The parts of a section: piston, seat, shims, clamp, stop.

use maud::{Markup, html};

use super::paper::{AXIS, at, points};
use super::section::{CLAMP, Drawing, INK, PISTON, SOFT, STOP, flat_top};
use super::shape::{Outline, millimeters, radius};

const STEEL: &str = "#dfe9ec";
const BODY: &str = "#efece3";
const FACE: &str = "#b9dbe0";

impl Drawing<'_> {
    pub(super) fn axis(&self, below: f64) -> Markup {
        let top = self.paper.ground - self.paper.up(flat_top(&self.outlines)) - CLAMP - 8.0;
        html! {
            path.rule d={ "M" (at(AXIS)) " " (at(top)) "V" (at(below + 6.0)) } stroke=(INK) stroke-width="1"
                stroke-dasharray="14 3 3 3" fill="none" {}
        }
    }

    /// The piston as far as it is stated: its face, the ports through it, the seat on it.
    pub(super) fn piston(&self) -> Markup {
        let (paper, ground) = (&self.paper, self.paper.ground);
        let mut ports: Vec<(f64, f64)> = self
            .of
            .stack
            .faces
            .iter()
            .map(|face| (radius(face.port_inner_diameter), radius(face.port_outer_diameter)))
            .collect();
        ports.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut pieces = Vec::new();
        let mut start = self.from;
        for (inner, outer) in &ports {
            if *inner > start {
                pieces.push((start, *inner));
            }
            start = start.max(*outer);
        }
        if self.body > start {
            pieces.push((start, self.body));
        }
        let fill = format!("url(#{}-hatch)", self.of.id);
        let pressed = self.of.solved.is_some();
        html! {
            g.body stroke=(INK) stroke-width="1.25" fill=(fill) {
                @for (from, to) in pieces {
                    path d={ "M" (at(paper.x(from))) " " (at(ground + PISTON)) "V" (at(ground)) "H" (at(paper.x(to)))
                        "V" (at(ground + PISTON)) } {}
                }
                @if let Some(surface) = self.seat() { polygon points=(points(surface)) {} }
            }
            @if pressed {
                g.arrows stroke=(INK) stroke-width="1.5" fill="none" {
                    @for (inner, outer) in &ports {
                        @let x = paper.x(f64::midpoint(*inner, *outer));
                        path d={ "M" (at(x)) " " (at(ground + PISTON)) "V" (at(ground + 6.0)) "m-5 9 5 -9 5 9" } {}
                    }
                }
            }
            @if !self.of.brief {
                g.words font-size="13" {
                    text x=(at(AXIS + 6.0)) y=(at(ground + PISTON - 6.0)) { "piston" }
                }
            }
        }
    }

    /// The seat where it is not in the plane of the face.
    fn seat(&self) -> Option<[(f64, f64); 4]> {
        let seat = self.of.stack.seat.as_ref()?;
        let (inner, outer) = (
            millimeters(seat.height),
            millimeters(seat.height) + millimeters(seat.dish),
        );
        if inner == 0.0 && outer == 0.0 {
            return None;
        }
        let paper = &self.paper;
        let (from, to) = (
            paper.x(radius(seat.inner_diameter)),
            paper.x(radius(seat.outer_diameter)),
        );
        Some([
            (from, paper.ground),
            (from, paper.y(inner)),
            (to, paper.y(outer)),
            (to, paper.ground),
        ])
    }

    pub(super) fn shims(&self) -> Markup {
        let paper = &self.paper;
        let start = |outline: &Outline| outline.bore.unwrap_or(self.from);
        let placed = |outline: &Outline, bent| {
            let around = outline.around(start(outline), bent);
            points(around.into_iter().map(|(r, h)| (paper.x(r), paper.y(h))))
        };
        let bent = self.outlines.iter().any(|outline| !outline.bent.is_empty());
        html! {
            @if bent {
                g.flat fill="none" stroke=(SOFT) stroke-width="0.75" stroke-dasharray="4 3" {
                    @for outline in &self.outlines { polygon points=(placed(outline, false)) {} }
                }
            }
            g.shims stroke=(INK) stroke-width="1" stroke-linejoin="round" {
                @for (index, outline) in self.outlines.iter().enumerate() {
                    @let face = index == 0;
                    polygon class=(if face { "shim face" } else { "shim" }) points=(placed(outline, true))
                        fill=(if face { FACE } else { STEEL }) {}
                }
            }
        }
    }

    pub(super) fn clamp_and_stop(&self) -> Markup {
        let paper = &self.paper;
        let top = flat_top(&self.outlines);
        let fill = format!("url(#{}-hatch)", self.of.id);
        let block = |from: f64, to: f64, height: f64, thick: f64| {
            let (left, right) = (paper.x(from), paper.x(to));
            html! {
                rect x=(at(left)) y=(at(paper.y(height) - thick)) width=(at((right - left).max(0.0))) height=(at(thick)) {}
            }
        };
        html! {
            g.body stroke=(INK) stroke-width="1.25" fill=(fill) {
                (block(self.from, self.clamp, top, CLAMP))
                @if let Some(stop) = &self.of.stack.stop {
                    (block(stop.inner_diameter.map_or(self.clamp, radius), radius(stop.outer_diameter),
                        top + millimeters(stop.clearance), STOP))
                }
            }
        }
    }
}

/// Lines at an angle: what is cut through and no shim.
pub(super) fn hatching(id: &str) -> Markup {
    html! {
        defs {
            pattern id={ (id) "-hatch" } width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                rect.ground width="7" height="7" fill=(BODY) {}
                path.hatch d="M0 0V7" stroke=(SOFT) stroke-width="1" {}
            }
        }
    }
}
