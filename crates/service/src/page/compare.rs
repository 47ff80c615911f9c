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
use super::refusal::Refusal;
use super::run::{self, Gathered};
use super::visitor::Visitor;
use super::words::{Origin, computed, estimated, likely, moment, origin, per_cent, row};
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

/// Largest difference of a matched pair offered first, % (common practice, no source).
const LIMIT: &str = "2";

/// What is asked beside the runs: the limit as it was written, and whether two testers measured them.
struct Asked {
    limit: String,
    limit_ratio: f64,
    different_testers: bool,
}

impl Asked {
    fn of(query: &Posted) -> Result<Self, ServiceError> {
        let written = query.text("limit");
        let limit = if written.is_empty() { LIMIT } else { written };
        let read = limit.trim_end_matches('%').trim_end().parse::<f64>();
        let Some(per_cent) = read.ok().filter(|limit| *limit > 0.0 && *limit < 100.0) else {
            return Err(ServiceError::InvalidFields(vec![Violation {
                field: "limit".to_owned(),
                reason: Reason::OutOfRange,
                description: format!(
                    "\"{}\" is no limit; write per cent above 0 and below 100, such as 2",
                    wire::violation::bounded(limit, 40)
                ),
            }]));
        };
        Ok(Self {
            limit: per_cent.to_string(),
            limit_ratio: per_cent / 100.0,
            different_testers: query.text("testers") == "two",
        })
    }

    fn request(&self, runs: &[String; 2], units: i32) -> v1::JudgePairRequest {
        let member = |run: &String| {
            let reduction = v1::ReduceRunRequest {
                source: Some(v1::reduce_run_request::Source::Run(run.clone())),
                ..Default::default()
            };
            Some(v1::PairMember {
                source: Some(v1::pair_member::Source::Reduction(reduction)),
            })
        };
        let [first, second] = runs;
        v1::JudgePairRequest {
            first: member(first),
            second: member(second),
            limit_ratio: Some(self.limit_ratio),
            different_testers: self.different_testers,
            reply_units: units,
            ..Default::default()
        }
    }
}

/// Both curves, both rates, and whether they match.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let query = Posted::of_query(query.as_deref());
    let (runs, asked) = (two(&query)?, Asked::of(&query)?);
    let (measured, units) = (page.measured.clone(), visitor.reply_units());
    let request = asked.request(&runs, units);
    let (both, judged) = page
        .places
        .compute(move |bench| {
            let [first, second] = runs;
            let both = [
                run::gather(bench, &measured, first, units)?,
                run::gather(bench, &measured, second, units)?,
            ];
            Ok((both, bench.judge_pair(request)?))
        })
        .await?;
    let frame = Frame {
        title: "Two runs compared",
        section: Section::Runs,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&both, &judged, &asked)?)))
}

fn shown(both: &[Gathered; 2], judged: &v1::JudgePairResponse, asked: &Asked) -> Result<Markup, ServiceError> {
    let [a, b] = both;
    let [first, second] = [reply(a)?, reply(b)?];
    let title = format!("Curves of A, {}, and B, {}", a.title(), b.title());
    let plot = curve::of_two(&title, [("A", first), ("B", second)]);
    Ok(html! {
        h1 { "Two runs compared" }
        (verdict(judged))
        (limits(both, asked))
        div.two {
            div {
                @if let Some(plot) = plot { (plot.figure()) }
                p.hint { "Neighbouring readings are drawn as their mean, the no-load level taken off. " (origin(Origin::Measured)) }
                @if let Some(plot) = curve::of_difference(judged) {
                    (plot.figure())
                    p.hint { "The band is the expanded uncertainty at 95 %. " (origin(Origin::Computed)) }
                }
            }
            div {
                (column("A", a, first))
                (column("B", b, second))
                (said::assumptions(&judged.assumptions))
            }
        }
    })
}

/// Whether they match, in large letters, and by how much they differ.
fn verdict(judged: &v1::JudgePairResponse) -> Markup {
    let (word, class) = match judged.verdict() {
        v1::PairVerdict::Matched => ("Matched", "accepted"),
        v1::PairVerdict::NotMatched => ("Not matched", "refused"),
        v1::PairVerdict::CannotTell => ("Cannot tell", "unsure"),
        v1::PairVerdict::Unspecified => ("Nothing decided", "open"),
    };
    html! {
        div.verdict.(class) {
            p {
                span.word { (word) } ": "
                @if let Some(difference) = &judged.difference { (by_rate(difference)) " " (origin(Origin::Computed)) }
            }
            p {
                "Probability that rates and curves differ by no more than " (per_cent(judged.limit_ratio)) ": "
                (likely(judged.match_probability_ratio)) " " (origin(Origin::Computed))
            }
            @if let Some(words) = judged.difference.as_ref().and_then(by_load) { p.hint { (words) } }
        }
    }
}

/// `B is 4.10 ± 0.03 % softer than A`.
fn by_rate(difference: &v1::PairDifference) -> String {
    let expanded = 100.0 * difference.rate_expanded_uncertainty_ratio;
    let by = 100.0 * difference.rate_ratio;
    if by.abs() <= expanded {
        return format!("A and B do not differ beyond the uncertainty of ± {expanded:.2} %");
    }
    let side = if by < 0.0 { "softer" } else { "stiffer" };
    format!("B is {:.2} ± {expanded:.2} % {side} than A", by.abs())
}

fn by_load(difference: &v1::PairDifference) -> Option<String> {
    let most = difference.largest.as_ref()?;
    let at = computed(most.deflection.as_ref())?;
    let (by, expanded) = (100.0 * most.difference_ratio, 100.0 * most.expanded_uncertainty_ratio);
    Some(format!(
        "The loads differ most at {at} from contact: by {by:+.2} ± {expanded:.2} %."
    ))
}

/// The limit, and who measured: both are the shop's own to say.
fn limits(both: &[Gathered; 2], asked: &Asked) -> Markup {
    html! {
        form method="get" action="/compare" {
            @for gathered in both {
                input type="hidden" name="run" value=(gathered.run.name.strip_prefix("runs/").unwrap_or(&gathered.run.name));
            }
            div.fields {
                div.field {
                    label for="limit" { "Largest difference of a matched pair, in %" }
                    input #limit name="limit" type="text" inputmode="decimal" maxlength="12" value=(asked.limit);
                }
                div.field {
                    label for="testers" { "Measured on" }
                    select #testers name="testers" {
                        option value="one" selected[!asked.different_testers] { "one tester: its scale's error cancels" }
                        option value="two" selected[asked.different_testers] { "two testers" }
                    }
                }
            }
            button { "Judge again" }
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_has_a_direction_and_an_uncertainty() {
        let of = |rate_ratio| v1::PairDifference {
            rate_ratio,
            rate_expanded_uncertainty_ratio: 0.003,
            ..Default::default()
        };
        assert_eq!(by_rate(&of(0.091)), "B is 9.10 ± 0.30 % stiffer than A");
        assert_eq!(by_rate(&of(-0.041)), "B is 4.10 ± 0.30 % softer than A");
        assert_eq!(
            by_rate(&of(0.002)),
            "A and B do not differ beyond the uncertainty of ± 0.30 %"
        );
    }

    #[test]
    fn a_limit_is_per_cent() {
        let limit = |text: &str| Asked::of(&Posted::of_query(Some(text))).map(|asked| asked.limit_ratio);
        assert_eq!(limit("").unwrap(), 0.02);
        assert_eq!(limit("limit=3.5+%25").unwrap(), 0.035);
        for wrong in ["limit=0", "limit=100", "limit=much", "limit=NaN"] {
            assert!(limit(wrong).is_err(), "{wrong}");
        }
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
