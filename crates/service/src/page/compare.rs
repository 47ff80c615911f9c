//! Two runs over one another: a pair of fork springs, or one spring then and now.

use axum::body::Body;
use axum::extract::{RawQuery, State};
use http::Response;
use maud::{Markup, html};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violation;

use super::form::Posted;
use super::layout::{Frame, Section, framed};
use super::rates::{Rated, rate_of};
use super::refusal::Refusal;
use super::run::{self, Gathered};
use super::visitor::Visitor;
use super::words::{Origin, estimated, moment, origin, per_cent, rate_unit, row};
use super::{Page, curve, guard, said};
use crate::error::ServiceError;

/// The runs named in the query, which are two.
fn two(query: &Posted) -> Result<[String; 2], ServiceError> {
    let mut ids = query.all("run").map(run::name_of);
    match (ids.next(), ids.next(), ids.next()) {
        (Some(first), Some(second), None) => Ok([first, second]),
        _ => Err(ServiceError::InvalidFields(vec![Violation {
            field: "run".to_owned(),
            reason: Reason::WrongLength,
            description: "choose two runs to compare, no fewer and no more".to_owned(),
        }])),
    }
}

/// Both curves, both rates, and the difference.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let [first, second] = two(&Posted::of_query(query.as_deref()))?;
    let (measured, units) = (page.measured.clone(), visitor.reply_units());
    let both = page
        .places
        .compute(move |bench| {
            Ok([
                run::gather(bench, &measured, first, units)?,
                run::gather(bench, &measured, second, units)?,
            ])
        })
        .await?;
    let frame = Frame {
        title: "Two runs compared",
        section: Section::Runs,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&both, &visitor)?)))
}

fn shown(both: &[Gathered; 2], visitor: &Visitor) -> Result<Markup, ServiceError> {
    let [a, b] = both;
    let [first, second] = [reply(a)?, reply(b)?];
    let title = format!("Curves of A, {}, and B, {}", a.title(), b.title());
    let plot = curve::of_two(&title, [("A", first), ("B", second)]);
    Ok(html! {
        h1 { "Two runs compared" }
        @if let Some(words) = difference(rate_of(first), rate_of(second), visitor) {
            div.verdict { p { (words) " " (origin(Origin::Computed)) } }
            p.hint {
                "The uncertainties are taken as independent; where both runs come from one tester, the difference is known \
                 better than that."
            }
        }
        div.two {
            div {
                @if let Some(plot) = plot { (plot.figure()) }
                p.hint { "Neighbouring readings are drawn as their mean, the no-load level taken off. " (origin(Origin::Measured)) }
            }
            div {
                (column("A", a, first))
                (column("B", b, second))
            }
        }
    })
}

fn reply(gathered: &Gathered) -> Result<&v1::ReduceRunResponse, ServiceError> {
    gathered.outcome.as_ref().as_ref().map_err(ServiceError::clone)
}

fn column(letter: &str, gathered: &Gathered, reply: &v1::ReduceRunResponse) -> Markup {
    let friction = reply.friction.as_ref();
    html! {
        section aria-label={ "Run " (letter) } {
            h2 { (letter) ": " a href={ "/" (gathered.run.name) } { bdi { (gathered.title()) } } }
            p { "Recorded " (moment(gathered.run.create_time.as_ref())) "." }
            dl.figures {
                (row("Rate", estimated(reply.rate.as_ref()), Origin::Measured))
                (row("Friction", friction.and_then(|friction| estimated(friction.force.as_ref())), Origin::Measured))
                (row("Free length", estimated(reply.free_length.as_ref()), Origin::Measured))
            }
            (said::findings(&reply.findings))
            (said::caution_beside(&reply.findings))
        }
    }
}

/// `B is 9.1 % stiffer than A, by 0.87 ± 0.10 N/mm`.
fn difference(a: Option<Rated>, b: Option<Rated>, visitor: &Visitor) -> Option<String> {
    use mechanics::quantity::{Quantity as _, SpringRate, StiffnessUnit, Unit as _, with_uncertainty};
    let (a, b) = (a?, b?);
    if a.value <= 0.0 {
        return None;
    }
    let unit = StiffnessUnit::of_system(visitor.units);
    let expanded = a.expanded.hypot(b.expanded);
    let by = b.value - a.value;
    if by.abs() <= expanded {
        return Some(format!(
            "A and B do not differ beyond the uncertainty of ± {expanded:.*} {}",
            unit.row().decimals,
            rate_unit(visitor.units)
        ));
    }
    let side = if by < 0.0 { "softer" } else { "stiffer" };
    let size = with_uncertainty(SpringRate::new(by.abs(), unit), SpringRate::new(expanded, unit), unit);
    Some(format!("B is {} {side} than A, by {size}", per_cent(by / a.value)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_has_a_direction_and_an_uncertainty() {
        let rated = |value: f64| {
            Some(Rated {
                rate: String::new(),
                difference: None,
                word: None,
                value,
                expanded: 0.06,
            })
        };
        let visitor = Visitor {
            units: mechanics::quantity::UnitSystem::Metric,
            here: String::new(),
        };
        // hypot(0.06, 0.06) = 0.085
        assert_eq!(
            difference(rated(9.53), rated(10.4), &visitor).unwrap(),
            "B is 9.1 % stiffer than A, by 0.87 ± 0.08 N/mm"
        );
        assert_eq!(
            difference(rated(9.53), rated(9.5), &visitor).unwrap(),
            "A and B do not differ beyond the uncertainty of ± 0.08 N/mm"
        );
    }

    #[test]
    fn two_runs_are_compared_no_fewer_no_more() {
        for query in ["", "run=a", "run=a&run=b&run=c"] {
            assert!(two(&Posted::of_query(Some(query))).is_err(), "{query}");
        }
        assert_eq!(
            two(&Posted::of_query(Some("run=a&run=b"))).unwrap(),
            ["runs/a", "runs/b"]
        );
    }
}
