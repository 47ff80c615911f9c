//! The shape of a curve in a view: what it is and how sure that is, its straight parts, its knees, its rate over the travel.

use maud::{Markup, html};
use wire::v1::{self, SpringShape};

use super::curve;
use super::words::{Origin, computed, estimated, likely, origin};

/// What the curve is, in words.
fn words(shape: SpringShape) -> Option<&'static str> {
    match shape {
        SpringShape::Straight => Some("Straight as far as it was pressed"),
        SpringShape::StraightToBind => Some("Straight up to coil bind"),
        SpringShape::DualRate => Some("Dual-rate: two straight parts, the second the stiffer"),
        SpringShape::Progressive => Some("Progressive: the rate rises along the travel"),
        SpringShape::Undetermined => Some("Cannot be told from these readings"),
        SpringShape::Unspecified => None,
    }
}

/// The section on the shape.
pub(super) fn told(reply: &v1::ReduceRunResponse) -> Markup {
    let Some(what) = words(reply.shape()) else {
        return html! {};
    };
    html! {
        h2 #shape { "Shape of the curve" }
        p {
            b { (what) } "."
            @if let Some(probability) = reply.shape_probability_ratio {
                " Probability among the shapes compared: " (likely(probability)) " " (origin(Origin::Computed))
            }
        }
        div.two {
            div { @if let Some(plot) = curve::of_rates(reply) { (plot.figure()) } }
            div {
                (parts(reply))
                (knees(reply))
                p.hint {
                    "The band is the expanded uncertainty of each place. Where a knee lies within the readings around a place, the \
                     rate there is a mixture, and the band says so."
                }
            }
        }
    }
}

/// The straight parts that are claimed.
fn parts(reply: &v1::ReduceRunResponse) -> Markup {
    let chosen = reply.curve_fit.as_ref().and_then(|fit| {
        let index = usize::try_from(fit.chosen_segment_count).ok()?.checked_sub(1)?;
        fit.lines.get(index)
    });
    let bent =
        reply.shape() == SpringShape::Progressive && reply.knees.iter().all(|knee| knee.kind() == v1::knee::Kind::Bind);
    let Some(line) = chosen.filter(|_| !bent) else {
        return html! {};
    };
    html! {
        div.scroll tabindex="0" role="group" aria-label="Straight parts" {
            table {
                caption { "Straight parts, from the seating of the coils on" }
                thead { tr { th scope="col" { "Part" } th scope="col" { "Rate" } th scope="col" { "Up to" } } }
                tbody {
                    @for (index, rate) in line.rates.iter().enumerate() {
                        tr {
                            th scope="row" { (index + 1) }
                            td { (estimated(Some(rate)).unwrap_or_default()) " " (origin(Origin::Measured)) }
                            td {
                                @match line.breaks.get(index) {
                                    Some(at) => (estimated(Some(at)).unwrap_or_default()),
                                    None => "the end of what was judged",
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The knees, coil bind among them.
fn knees(reply: &v1::ReduceRunResponse) -> Markup {
    if reply.knees.is_empty() {
        return html! {};
    }
    let rate = |rate: Option<&v1::Stiffness>| computed(rate).unwrap_or_default();
    html! {
        div.scroll tabindex="0" role="group" aria-label="Knees" {
            table {
                caption { "Knees" }
                thead {
                    tr {
                        th scope="col" { "What" }
                        th scope="col" { "Where" }
                        th scope="col" { "Load" }
                        th scope="col" { "Rate before and after" }
                    }
                }
                tbody {
                    @for knee in &reply.knees {
                        tr {
                            th scope="row" {
                                @match knee.kind() {
                                    v1::knee::Kind::Bind => "coil bind",
                                    v1::knee::Kind::RateChange | v1::knee::Kind::Unspecified => "rate changes",
                                }
                            }
                            td { (estimated(knee.deflection.as_ref()).unwrap_or_default()) }
                            td { (computed(knee.load.as_ref()).unwrap_or_default()) }
                            td { (rate(knee.rate_before.as_ref())) ", " (rate(knee.rate_after.as_ref())) }
                        }
                    }
                }
            }
        }
    }
}
