//! How much of something is taken: sag on the travel of an end, an adjuster on its range. Small pictures for paper.

use maud::{Markup, html};

use super::paper::at;
use super::section::{INK, SOFT};

const WIDTH: f64 = 400.0;
/// Where bars begin and may end.
const LEFT: f64 = 112.0;
const RIGHT: f64 = 392.0;
/// Height of an end's row, of an adjuster's row.
const ROW: f64 = 42.0;
const LINE: f64 = 19.0;
/// Where an adjuster's range begins and ends; its words follow.
const TRACK: (f64, f64) = (182.0, 318.0);

const DARK: &str = "#0b5e6b";
const LIGHT: &str = "#b9dbe0";
const FAINT: &str = "#c9c6bd";

/// An end at one moment; lengths in one unit, from full extension.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OnTravel {
    /// Which, such as "front, as found".
    pub(crate) label: String,
    /// All its travel.
    pub(crate) travel: f64,
    /// Sag under its own weight, where known.
    pub(crate) static_sag: Option<f64>,
    /// Sag with the rider, where known.
    pub(crate) total_sag: Option<f64>,
    /// Travel used, where known.
    pub(crate) used: Option<f64>,
    /// Total sag that is wanted: least and most.
    pub(crate) wanted: Option<(f64, f64)>,
    /// The figures in words.
    pub(crate) words: String,
}

/// Sag and travel used of the ends, all to one scale.
pub(crate) fn sag(ends: &[OnTravel]) -> Markup {
    let longest = ends.iter().map(|end| end.travel).fold(0.0, f64::max);
    let scale = (RIGHT - LEFT) / longest;
    let x = |travel: f64| LEFT + scale * travel.clamp(0.0, longest);
    let height = ROW * ends.len() as f64;
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (at(height)) } role="img"
            aria-labelledby="sag-title" font-family="system-ui, sans-serif" font-size="12" fill=(INK) {
            title id="sag-title" { "Sag on the travel" }
            @for (index, end) in ends.iter().enumerate() {
                @let top = ROW * index as f64 + 10.0;
                @let still = end.static_sag.map_or(0.0, |sag| sag.max(0.0));
                text x="0" y=(at(top + 11.0)) { (end.label) }
                rect x=(LEFT) y=(at(top)) width=(at(x(end.travel) - LEFT)) height="14" fill="none" stroke=(INK) stroke-width="1" {}
                @if let Some(total) = end.total_sag {
                    rect x=(at(x(still))) y=(at(top)) width=(at((x(total) - x(still)).max(0.0))) height="14" fill=(LIGHT) stroke=(INK) stroke-width="0.75" {}
                }
                @if still > 0.0 {
                    rect x=(LEFT) y=(at(top)) width=(at(x(still) - LEFT)) height="14" fill=(DARK) stroke=(INK) stroke-width="0.75" {}
                }
                @if let Some((least, most)) = end.wanted {
                    path d={ "M" (at(x(least))) " " (at(top - 1.0)) "v-5H" (at(x(most))) "v5" } fill="none" stroke=(INK) stroke-width="1.25" {}
                }
                @if let Some(used) = end.used {
                    path d={ "M" (at(x(used))) " " (at(top)) "v14" } stroke=(INK) stroke-width="2.5" {}
                    path d={ "M" (at(x(used))) " " (at(top)) "l-4 -7h8z" } fill=(INK) {}
                }
                text x=(LEFT) y=(at(top + 27.0)) font-size="11.5" { (end.words) }
            }
        }
    }
}

/// An adjuster as found and as left.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OnRange {
    /// Which, such as "rear rebound".
    pub(crate) label: String,
    /// Share of the range from closed, as found.
    pub(crate) found: Option<f64>,
    /// The same as left.
    pub(crate) left: Option<f64>,
    /// Share at or under which it is near its limit.
    pub(crate) limit: f64,
    /// The figures in words.
    pub(crate) words: String,
}

/// Share left of every adjuster, closed on the left.
pub(crate) fn shares(adjusters: &[OnRange]) -> Markup {
    let (near, far) = TRACK;
    let x = |share: f64| near + (far - near) * share.clamp(0.0, 1.0);
    let height = 18.0 + LINE * adjusters.len() as f64;
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (at(height)) } role="img"
            aria-labelledby="shares-title" font-family="system-ui, sans-serif" font-size="12" fill=(INK) {
            title id="shares-title" { "Share left of the adjusters" }
            g fill=(SOFT) font-size="11.5" {
                text x=(near) y="11" { "closed" }
                text x=(at(x(0.5))) y="11" text-anchor="middle" { "half" }
                text x=(far) y="11" text-anchor="end" { "open" }
            }
            path d={ "M" (at(x(0.5))) " 15V" (at(height)) } stroke=(FAINT) stroke-width="1" {}
            @for (index, one) in adjusters.iter().enumerate() {
                @let y = 18.0 + LINE * (index as f64 + 0.5);
                text x="0" y=(at(y + 4.0)) font-size="11" { (one.label) }
                rect x=(near) y=(at(y - 3.0)) width=(at(x(one.limit) - near)) height="6" fill=(FAINT) {}
                path d={ "M" (near) " " (at(y)) "H" (far) "M" (near) " " (at(y - 5.0)) "v10M" (far) " " (at(y - 5.0)) "v10" } fill="none" stroke=(INK) stroke-width="1" {}
                @if let Some(share) = one.found {
                    circle cx=(at(x(share))) cy=(at(y)) r="5" fill="#ffffff" stroke=(INK) stroke-width="1.5" {}
                }
                @if let Some(share) = one.left {
                    circle cx=(at(x(share))) cy=(at(y)) r=(if one.found == one.left { "2.5" } else { "5" }) fill=(DARK) {}
                }
                text x=(far + 8.0) y=(at(y + 4.0)) font-size="11.5" { (one.words) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_have_one_scale_and_nothing_leaves_the_picture() {
        let end = |label: &str, travel: f64| OnTravel {
            label: label.to_owned(),
            travel,
            static_sag: Some(-3.0),
            total_sag: Some(50.0),
            used: Some(400.0),
            wanted: Some((30.0, 40.0)),
            words: "<b>".to_owned(),
        };
        let drawn = sag(&[end("front", 100.0), end("rear", 200.0)]).into_string();
        // 280 units for 200 mm: 100 mm are 140, 50 mm are 70.
        assert!(
            drawn.contains("width=\"140\"") && drawn.contains("width=\"280\""),
            "{drawn}"
        );
        assert!(drawn.contains("width=\"70\"") && drawn.contains("&lt;b&gt;"), "{drawn}");
        // A mark beyond the travel stands at the longest end.
        assert!(drawn.contains("M392 ") && !drawn.contains("M672"), "{drawn}");
    }

    #[test]
    fn an_adjuster_that_was_not_turned_shows_both_marks() {
        let one = OnRange {
            label: "rear rebound".to_owned(),
            found: Some(0.25),
            left: Some(0.25),
            limit: 0.25,
            words: String::new(),
        };
        let drawn = shares(std::slice::from_ref(&one)).into_string();
        assert_eq!(drawn.matches("cx=\"216\"").count(), 2, "{drawn}");
        let turned = shares(&[OnRange { left: Some(0.5), ..one }]).into_string();
        assert_eq!(
            (
                turned.matches("cx=\"216\"").count(),
                turned.matches("cx=\"250\"").count()
            ),
            (1, 1)
        );
    }
}
