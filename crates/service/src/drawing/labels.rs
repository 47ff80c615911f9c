//! Words beside a drawing, each led to its place.

use maud::{Markup, html};

use super::paper::at;

/// Where words begin.
pub(super) const WORDS: f64 = 364.0;
/// From line to line.
pub(super) const LINE: f64 = 21.0;

/// Words, and the place they are said of.
pub(super) struct Label {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) words: String,
}

/// Labels with the height each is written at: from the lowest up, none closer to the next than a line of that height.
pub(super) fn spread(mut labels: Vec<Label>, lowest: f64, line: f64) -> Vec<(Label, f64)> {
    labels.sort_by(|a, b| b.y.total_cmp(&a.y));
    let mut below = lowest + line;
    let mut written = Vec::with_capacity(labels.len());
    for label in labels {
        below = label.y.min(below - line);
        written.push((label, below));
    }
    written
}

/// The labels, each with its leader.
pub(super) fn drawn(labels: &[(Label, f64)], ink: &str) -> Markup {
    html! {
        g.leaders stroke=(ink) stroke-width="0.75" fill="none" {
            @for (label, y) in labels {
                path d={ "M" (at(label.x)) " " (at(label.y)) "L" (at(WORDS - 16.0)) " " (at(*y)) "H" (at(WORDS - 4.0)) } {}
                circle cx=(at(label.x)) cy=(at(label.y)) r="1.5" fill=(ink) {}
            }
        }
        g.words {
            @for (label, y) in labels {
                text x=(at(WORDS)) y=(at(y + 5.0)) { (label.words) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_label_covers_another() {
        let label = |y: f64| Label {
            x: 0.0,
            y,
            words: String::new(),
        };
        let written = spread(vec![label(80.0), label(100.0), label(99.0), label(20.0)], 110.0, LINE);
        let places: Vec<f64> = written.iter().map(|(_, y)| *y).collect();
        assert_eq!(places, [100.0, 79.0, 58.0, 20.0]);
        // Nothing is written below the lowest place.
        assert_eq!(spread(vec![label(300.0)], 110.0, LINE)[0].1, 110.0);
    }
}
