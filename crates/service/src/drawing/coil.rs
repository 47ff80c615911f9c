//! A compression spring from its side, unloaded and lying, with the lengths it is pressed to.

use maud::{Markup, html};

use super::paper::at;
use super::section::{INK, SOFT};

const WIDTH: f64 = 400.0;
/// Room beside the spring on either side.
const LEFT: f64 = 10.0;
/// Largest height of the coils.
const TALLEST: f64 = 40.0;
/// From line to line of the lengths below.
const LINE: f64 = 15.0;
/// Width of a letter at the size of the words.
const LETTER: f64 = 6.2;
/// Coils that are drawn at most.
const MOST_COILS: f64 = 60.0;

const STEEL: &str = "#dfe9ec";
const BEHIND: &str = "#b7c2c6";

/// What is drawn, mm.
#[derive(Debug, Clone)]
pub(crate) struct Coil<'a> {
    /// Begins the ids of its parts; another one for each drawing of a page.
    pub(crate) id: &'a str,
    /// Free length.
    pub(crate) free: f64,
    /// Wire diameter.
    pub(crate) wire: f64,
    /// Outside diameter.
    pub(crate) outside: f64,
    /// Coils that give.
    pub(crate) active: f64,
    /// All coils; those that do not give lie on one another at the ends.
    pub(crate) total: f64,
    /// Lengths it is pressed to, with their words.
    pub(crate) lengths: Vec<(f64, String)>,
}

impl Coil<'_> {
    /// The drawing; `None` where its figures contradict one another.
    pub(crate) fn drawn(&self) -> Option<Markup> {
        let pitch = self.pitch()?;
        let scale = ((WIDTH - 2.0 * LEFT) / self.free).min(TALLEST / self.outside);
        let middle = 4.0 + scale * self.outside / 2.0;
        let below = middle + scale * self.outside / 2.0 + 4.0;
        let (labels, rows) = self.labels(scale);
        let height = below + LINE * rows as f64 + 6.0;
        let strands = self.strands(pitch);
        let x = |length: f64| LEFT + scale * length;
        let y = |from_axis: f64| middle + scale * from_axis;
        let strand = |(from, to): (f64, f64), down: bool, colour: &'static str| {
            let half = (self.outside - self.wire) / 2.0;
            let (start, end) = if down { (-half, half) } else { (half, -half) };
            let line = format!("M{} {}L{} {}", at(x(from)), at(y(start)), at(x(to)), at(y(end)));
            let wide = (scale * self.wire).max(1.0);
            html! {
                path d=(line) stroke=(INK) stroke-width=(at(wide)) {}
                path d=(line) stroke=(colour) stroke-width=(at((wide - 1.4).max(0.3))) {}
            }
        };
        let each = || strands.iter().enumerate();
        let (title, description) = (format!("{}-title", self.id), format!("{}-desc", self.id));
        Some(html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (at(height)) } role="img"
                aria-labelledby={ (title) " " (description) } font-family="system-ui, sans-serif" font-size="12" fill=(INK) {
                title id=(title) { "Spring from its side" }
                desc id=(description) { "To scale, unloaded. " (self.said()) }
                path d={ "M0 " (at(middle)) "H" (at((x(self.free) + LEFT).min(WIDTH))) } stroke=(SOFT) stroke-width="0.75" stroke-dasharray="12 3 3 3" fill="none" {}
                g fill="none" stroke-linecap="round" {
                    @for (index, place) in each() { @if index % 2 == 1 { (strand(*place, false, BEHIND)) } }
                    @for (index, place) in each() { @if index % 2 == 0 { (strand(*place, true, STEEL)) } }
                }
                g stroke=(INK) stroke-width="1.5" fill="none" {
                    @for end in [0.0, self.free] {
                        path d={ "M" (at(x(end))) " " (at(y(-self.outside / 2.0) - 3.0)) "V" (at(below)) } {}
                    }
                }
                g stroke=(INK) stroke-width="1" fill="none" {
                    @for label in &labels {
                        path d={ "M" (at(label.place)) " " (at(y(-self.outside / 2.0))) "V" (at(below + LINE * label.row as f64 + 4.0)) }
                            stroke-dasharray="3 3" {}
                    }
                }
                g {
                    @for label in &labels {
                        text x=(at(label.left)) y=(at(below + LINE * label.row as f64 + 13.0)) { (label.words) }
                    }
                }
            }
        })
    }

    /// From coil to coil where it gives.
    fn pitch(&self) -> Option<f64> {
        let closed = self.total - self.active;
        let sizes = [self.free, self.wire, self.outside - self.wire, self.active];
        let sound = sizes.iter().all(|size| size.is_finite() && *size > 0.0) && closed >= 0.0;
        let pitch = (self.free - self.wire * (1.0 + closed)) / self.active;
        (sound && self.total <= MOST_COILS && pitch > self.wire).then_some(pitch)
    }

    /// Places along the axis from half turn to half turn, mm.
    fn strands(&self, pitch: f64) -> Vec<(f64, f64)> {
        let closed = (self.total - self.active) / 2.0;
        let place = |turns: f64| {
            let first = turns.min(closed);
            let giving = (turns - closed).clamp(0.0, self.active);
            let last = (turns - closed - self.active).max(0.0);
            self.wire / 2.0 + self.wire * (first + last) + pitch * giving
        };
        let halves = (2.0 * self.total).round() as usize;
        (0..halves)
            .map(|half| {
                let turns = half as f64 / 2.0;
                (place(turns), place((turns + 0.5).min(self.total)))
            })
            .collect()
    }

    /// The lengths below the spring, none over another; how many lines they take. Each ends where its mark is, so that the mark
    /// of a longer one passes it on the right.
    fn labels(&self, scale: f64) -> (Vec<Written<'_>>, usize) {
        let mut ends: Vec<f64> = Vec::new();
        let mut labels = Vec::new();
        let mut sorted: Vec<&(f64, String)> = self.lengths.iter().filter(|(length, _)| length.is_finite()).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (length, words) in sorted {
            let place = LEFT + scale * length.clamp(0.0, self.free);
            let wide = LETTER * words.chars().count() as f64;
            let left = (place - wide - 3.0).max(0.0);
            let row = ends.iter().position(|end| *end + LETTER < left).unwrap_or(ends.len());
            let end = place.max(left + wide);
            match ends.get_mut(row) {
                Some(last) => *last = end,
                None => ends.push(end),
            }
            labels.push(Written {
                place,
                left,
                row,
                words,
            });
        }
        (labels, ends.len())
    }

    fn said(&self) -> String {
        let lengths: Vec<&str> = self.lengths.iter().map(|(_, words)| words.as_str()).collect();
        lengths.join("; ")
    }
}

/// A length where it is written.
struct Written<'a> {
    place: f64,
    left: f64,
    row: usize,
    words: &'a str,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn coil() -> Coil<'static> {
        Coil {
            id: "front-spring",
            free: 380.0,
            wire: 5.0,
            outside: 40.0,
            active: 28.0,
            total: 30.0,
            lengths: vec![(380.0, "free 380 mm".to_owned()), (230.0, "solid <230> mm".to_owned())],
        }
    }

    #[test]
    fn a_spring_is_drawn_to_scale_from_end_to_end() {
        let coil = coil();
        // (380 - 5 * 3) / 28: the closed coil of either end and the wire itself do not give.
        assert!((coil.pitch().unwrap() - 365.0 / 28.0).abs() < 1e-12);
        let strands = coil.strands(coil.pitch().unwrap());
        let (first, last) = (strands.first().unwrap(), strands.last().unwrap());
        assert_eq!((first.0, strands.len()), (2.5, 60));
        assert!((last.1 - 377.5).abs() < 1e-9, "{last:?}");
        let drawn = coil.drawn().unwrap().into_string();
        assert!(
            drawn.contains("solid &lt;230&gt; mm") && !drawn.contains("style="),
            "{drawn}"
        );
        // Half as wide a spring is drawn half as high: both directions have one scale.
        let tall = |outside: f64| {
            Coil {
                outside,
                ..coil.clone()
            }
            .drawn()
            .unwrap()
            .into_string()
        };
        let height = |drawn: &str| -> f64 {
            let from = drawn.find("viewBox=\"0 0 400 ").unwrap() + 17;
            drawn[from..].split('"').next().unwrap().parse().unwrap()
        };
        assert!((height(&tall(40.0)) - height(&tall(30.0)) - 10.0).abs() < 0.02);
    }

    #[test]
    fn figures_that_contradict_are_not_drawn() {
        let none = |coil: Coil<'_>| coil.drawn().is_none();
        assert!(none(Coil { free: 100.0, ..coil() }), "shorter than its coils");
        assert!(none(Coil { outside: 4.0, ..coil() }), "thinner than its wire");
        assert!(none(Coil { active: 31.0, ..coil() }), "more coils give than there are");
        assert!(none(Coil {
            wire: f64::NAN,
            ..coil()
        }));
    }
}
