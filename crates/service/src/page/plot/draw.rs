//! The picture itself.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::scale::Scale;
use super::{Line, Look, Mark, More, Plot};

// The picture's own units; it is stretched to the width there is. Margins hold the figures at the largest size the
// page's style gives them on a narrow screen.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 440.0;
const LEFT: f64 = 78.0;
const RIGHT: f64 = 620.0;
const TOP: f64 = 84.0;
const BOTTOM: f64 = 376.0;

/// Marks closer than this would write over one another.
const CLOSE: f64 = 110.0;

const INK: &str = "#1d2326";
const FAINT: &str = "#c9c6bd";
const FIRST: &str = "#0b5e6b";
const SECOND: &str = "#9a4a00";
const BAND: &str = "#e6efe9";

struct Drawn<'a> {
    plot: &'a Plot,
    x: Scale,
    y: Scale,
}

pub(super) fn svg(plot: &Plot) -> Markup {
    noted(plot, &[])
}

pub(super) fn more(plot: &Plot, reach: (f64, f64), line: usize, points: &[(f64, f64)]) -> More {
    let (places, values) = Drawn::over(plot, reach).texts(points);
    More {
        line: line_id(plot, line),
        places,
        values,
    }
}

fn line_id(plot: &Plot, line: usize) -> String {
    format!("{}-line-{line}", plot.id)
}

pub(super) fn growing(plot: &Plot, reach: (f64, f64)) -> Markup {
    picture(plot, reach, &[])
}

/// With words for each point of each line; lines of more points than are drawn have none.
pub(super) fn noted(plot: &Plot, notes: &[Vec<String>]) -> Markup {
    picture(plot, (0.0, 0.0), notes)
}

fn picture(plot: &Plot, reach: (f64, f64), notes: &[Vec<String>]) -> Markup {
    let drawn = Drawn::over(plot, reach);
    let (title, description) = (format!("{}-title", plot.id), format!("{}-desc", plot.id));
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
            aria-labelledby={ (title) " " (description) }
            font-family="system-ui, sans-serif" font-size="15" fill=(INK)
            data-x=(span(&drawn.x)) data-y=(span(&drawn.y))
            data-x-name=(plot.x.name) data-x-unit=(plot.x.unit)
            data-y-name=(plot.y.name) data-y-unit=(plot.y.unit) {
            title id=(title) { (plot.title) }
            desc id=(description) { (plot.description) }
            (drawn.bands())
            (drawn.ribbons())
            (drawn.axes())
            (drawn.places())
            (drawn.levels())
            @for (index, line) in plot.lines.iter().enumerate() {
                (drawn.line(index, line, notes.get(index).filter(|notes| notes.len() == line.points.len())))
            }
            (drawn.key())
            g.cursor visibility="hidden" stroke=(INK) fill="none" {
                path d={ "M0 " (TOP) "V" (BOTTOM) } stroke-width="1" {}
                circle r="7" stroke-width="2.5" {}
            }
        }
    }
}

/// An axis as the script needs it: two values and their places.
fn span(scale: &Scale) -> String {
    format!("{} {} {} {}", scale.low, scale.high, scale.near, scale.far)
}

impl<'a> Drawn<'a> {
    /// With axes that hold every point, and go at least so far.
    fn over(plot: &'a Plot, reach: (f64, f64)) -> Self {
        let marked: Vec<(f64, f64)> = plot.marks.iter().flat_map(marked).collect();
        let lines = || plot.lines.iter().flat_map(|line| line.points.iter().chain([&reach]));
        let points = || lines().chain(&marked);
        let empty = || plot.lines.is_empty().then_some(&reach).into_iter();
        Self {
            plot,
            x: Scale::over(points().chain(empty()).map(|point| point.0), LEFT, RIGHT),
            y: Scale::over(points().chain(empty()).map(|point| point.1), BOTTOM, TOP),
        }
    }

    fn axes(&self) -> Markup {
        let (x, y) = (&self.plot.x, &self.plot.y);
        html! {
            g.grid stroke=(FAINT) stroke-width="1" {
                @for (value, _) in self.x.ticks() {
                    path d={ "M" (at(self.x.place(value))) " " (TOP) "V" (BOTTOM) } {}
                }
                @for (value, _) in self.y.ticks() {
                    path d={ "M" (LEFT) " " (at(self.y.place(value))) "H" (RIGHT) } {}
                }
            }
            g.figures {
                @for (value, text) in self.x.ticks() {
                    text x=(at(self.x.place(value))) y=(BOTTOM + 24.0) text-anchor="middle" { (text) }
                }
                @for (value, text) in self.y.ticks() {
                    text x=(LEFT - 8.0) y=(at(self.y.place(value) + 5.0)) text-anchor="end" { (text) }
                }
                text.axis x=(RIGHT) y=(BOTTOM + 52.0) text-anchor="end" { (x.name) " in " (x.unit) }
                text.axis x="8" y="22" { (y.name) " in " (y.unit) }
            }
            path.rule d={ "M" (LEFT) " " (TOP) "V" (BOTTOM) "H" (RIGHT) } fill="none" stroke=(INK) stroke-width="1.5" {}
        }
    }

    /// Whether a mark lies on the picture.
    fn shows(&self, x: f64) -> bool {
        (self.x.low..=self.x.high).contains(&x)
    }

    fn bands(&self) -> Markup {
        html! {
            @for mark in &self.plot.marks {
                @if let Mark::Band { label, from, to } = mark {
                    @let (from, to) = (from.max(self.x.low), to.min(self.x.high));
                    @if from < to {
                        @let (left, right) = (self.x.place(from), self.x.place(to));
                        g.band {
                            rect x=(at(left)) y=(TOP) width=(at(right - left)) height=(BOTTOM - TOP) fill=(BAND) {}
                            path d={ "M" (at(left)) " " (TOP - 6.0) "V" (BOTTOM) "M" (at(right)) " " (TOP - 6.0) "V" (BOTTOM)
                                "M" (at(left)) " " (TOP - 6.0) "H" (at(right)) }
                                fill="none" stroke=(INK) stroke-width="1" {}
                            text x=(at(f64::midpoint(left, right))) y=(TOP - 12.0) text-anchor="middle" { (label) }
                        }
                    }
                }
            }
        }
    }

    fn places(&self) -> Markup {
        let at_places = self.plot.marks.iter().filter_map(placed);
        let mut shown: Vec<(&str, f64, f64)> = at_places.filter(|(_, x, _)| self.shows(*x)).collect();
        shown.sort_by(|a, b| a.1.total_cmp(&b.1));
        // Where two stand close together, the second word is written a line lower; a band's word would be there.
        let lower = |index: usize| {
            let before = index.checked_sub(1).and_then(|before| shown.get(before));
            let close = before
                .zip(shown.get(index))
                .is_some_and(|(a, b)| self.x.place(b.1) - self.x.place(a.1) < CLOSE);
            let band = self.plot.marks.iter().any(|mark| matches!(mark, Mark::Band { .. }));
            close && !band && index % 2 == 1
        };
        html! {
            @for (index, (label, x, expanded)) in shown.iter().enumerate() {
                @let place = self.x.place(*x);
                @let y = if lower(index) { TOP - 12.0 } else { TOP - 32.0 };
                g.place {
                    @if *expanded > 0.0 {
                        @let (left, right) = (self.x.place(x - expanded).max(LEFT), self.x.place(x + expanded).min(RIGHT));
                        path.about d={ "M" (at(left)) " " (TOP - 20.0) "v10M" (at(left)) " " (TOP - 15.0) "H" (at(right)) "M" (at(right)) " " (TOP - 20.0) "v10" }
                            fill="none" stroke=(INK) stroke-width="2" {}
                    }
                    path d={ "M" (at(place)) " " (y + 6.0) "V" (BOTTOM) }
                        stroke=(INK) stroke-width="1.5" stroke-dasharray="2 4" {}
                    text x=(at(place)) y=(y) text-anchor=(anchor(place)) { (label) }
                }
            }
        }
    }

    fn ribbons(&self) -> Markup {
        html! {
            @for mark in &self.plot.marks {
                @if let Mark::Ribbon { low, high } = mark {
                    @let mut around = super::thinned(low);
                    @let () = around.extend(super::thinned(high).into_iter().rev());
                    polygon.ribbon points=(self.texts_of(&around)) fill=(BAND) stroke=(INK) stroke-width="1" stroke-dasharray="1 3" {}
                }
            }
        }
    }

    fn levels(&self) -> Markup {
        html! {
            @for mark in &self.plot.marks {
                @if let Mark::Level { label, y } = mark {
                    @let place = self.y.place(*y);
                    g.place {
                        path d={ "M" (LEFT) " " (at(place)) "H" (RIGHT) } stroke=(INK) stroke-width="1.5" stroke-dasharray="8 4" {}
                        text x=(LEFT + 8.0) y=(at(place - 7.0)) { (label) }
                    }
                }
            }
        }
    }

    /// Points as places alone.
    fn texts_of(&self, points: &[(f64, f64)]) -> String {
        let places = points
            .iter()
            .map(|(x, y)| format!("{},{}", at(self.x.place(*x)), at(self.y.place(*y))));
        places.collect::<Vec<_>>().join(" ")
    }

    /// Points as places and as text, each with what parts it from the one before.
    fn texts(&self, points: &[(f64, f64)]) -> (String, String) {
        let (mut places, mut values) = (String::new(), String::new());
        for (x, y) in super::thinned(points) {
            let _ = write!(places, " {},{}", at(self.x.place(x)), at(self.y.place(y)));
            let _ = write!(values, ";{x:.*} {y:.*}", self.plot.x.decimals, self.plot.y.decimals);
        }
        (places, values)
    }

    fn line(&self, index: usize, line: &Line, notes: Option<&Vec<String>>) -> Markup {
        let (places, values) = self.texts(&line.points);
        let look = drawn_as(line.look);
        html! {
            polyline id=(line_id(self.plot, index)) class=(look.class) points=(places.trim_start())
                data-points=(values.trim_start_matches(';')) data-said=(line.label) fill="none" stroke=(look.colour) stroke-width="2.5" stroke-linejoin="round"
                stroke-dasharray=[look.dashes] data-notes=[notes.map(|notes| notes.join(";"))] {}
        }
    }

    /// The key, where a spring's curve leaves the picture empty: below on the right.
    fn key(&self) -> Markup {
        let mut looks: Vec<&Line> = Vec::new();
        for line in &self.plot.lines {
            // Stroke after stroke is drawn alike.
            if looks
                .iter()
                .all(|known| (known.look, &known.label) != (line.look, &line.label))
            {
                looks.push(line);
            }
        }
        // One line alone is what the title says.
        if looks.len() < 2 {
            return html! {};
        }
        let count = looks.len() as f64;
        html! {
            g.key {
                @for (index, line) in looks.iter().enumerate() {
                    @let y = BOTTOM - 16.0 - 26.0 * (count - 1.0 - index as f64);
                    @let look = drawn_as(line.look);
                    path class=(look.class) d={ "M" (RIGHT - 60.0) " " (y) "H" (RIGHT - 8.0) } fill="none"
                        stroke=(look.colour) stroke-width="2.5" stroke-dasharray=[look.dashes] {}
                    text x=(RIGHT - 68.0) y=(y + 5.0) text-anchor="end" { (line.label) }
                }
            }
        }
    }
}

/// A place on the x axis: its word, where, and how far it may be off.
fn placed(mark: &Mark) -> Option<(&'static str, f64, f64)> {
    match mark {
        Mark::At { label, x } => Some((label, *x, 0.0)),
        Mark::About { label, x, expanded } => Some((label, *x, *expanded)),
        Mark::Band { .. } | Mark::Level { .. } | Mark::Ribbon { .. } => None,
    }
}

/// What a mark adds to the axes: a height, and what lies between two lines.
fn marked(mark: &Mark) -> Vec<(f64, f64)> {
    match mark {
        Mark::Level { y, .. } => vec![(0.0, *y)],
        Mark::Ribbon { low, high } => low.iter().chain(high).copied().collect(),
        Mark::At { .. } | Mark::About { .. } | Mark::Band { .. } => Vec::new(),
    }
}

struct DrawnAs {
    class: &'static str,
    colour: &'static str,
    dashes: Option<&'static str>,
}

fn drawn_as(look: Look) -> DrawnAs {
    let (class, colour, dashes) = match look {
        Look::Press => ("line first", FIRST, None),
        Look::Return => ("line first", FIRST, Some("9 6")),
        Look::OtherPress => ("line second", SECOND, Some("16 4 3 4")),
        Look::OtherReturn => ("line second", SECOND, Some("2 5")),
    };
    DrawnAs { class, colour, dashes }
}

/// A word at a place stays on the picture.
fn anchor(place: f64) -> &'static str {
    let share = (place - LEFT) / (RIGHT - LEFT);
    match share {
        share if share < 0.2 => "start",
        share if share > 0.8 => "end",
        _ => "middle",
    }
}

/// A place to a tenth: finer than any screen shows.
fn at(place: f64) -> String {
    let text = format!("{place:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::super::Axis;
    use super::*;

    fn plot(points: Vec<(f64, f64)>, label: &str) -> Plot {
        Plot {
            id: "curve",
            title: label.to_owned(),
            description: label.to_owned(),
            x: Axis {
                name: "deflection",
                unit: "mm",
                decimals: 2,
            },
            y: Axis {
                name: "load",
                unit: "N",
                decimals: 1,
            },
            lines: vec![Line {
                label: label.to_owned(),
                look: Look::Press,
                points,
            }],
            marks: vec![
                Mark::Band {
                    label: "window",
                    from: 3.0,
                    to: 1e9,
                },
                Mark::At {
                    label: "coil bind",
                    x: 1e9,
                },
            ],
        }
    }

    #[test]
    fn points_are_told_with_their_units_and_labels_are_escaped() {
        let drawn = svg(&plot(vec![(0.0, 0.0), (12.4, 118.2)], "\"><script>alert(1)</script>")).into_string();
        assert!(drawn.contains("data-points=\"0.00 0.0;12.40 118.2\""));
        assert!(drawn.contains("data-x-unit=\"mm\"") && drawn.contains("load in N"));
        assert!(!drawn.contains("<script"), "{drawn}");
        assert!(
            !drawn.contains("style="),
            "no style attribute passes the content policy"
        );
        // A mark beyond the picture is not drawn, a band ends at its edge.
        assert!(!drawn.contains("coil bind"));
        assert!(drawn.contains("window"));
    }

    #[test]
    fn long_curves_are_thinned_and_keep_their_ends() {
        let points = (0..10_000).map(|i| (f64::from(i), f64::from(i) * 9.5)).collect();
        let drawn = svg(&plot(points, "pressing")).into_string();
        assert!(drawn.contains(";9999.00 94990.5\""));
        assert!(drawn.len() < 16_000, "{} bytes", drawn.len());
    }

    #[test]
    fn what_cannot_be_drawn_is_left_out() {
        let drawn = svg(&plot(vec![(f64::NAN, 1.0), (1.0, f64::INFINITY)], "pressing")).into_string();
        assert!(drawn.contains("points=\"\"") && !drawn.contains("NaN") && !drawn.contains("inf"));
    }
}
