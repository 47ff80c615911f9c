//! Looking ahead: which limit comes first as the pace rises, and what it costs. A model's estimate, and said so.

use maud::{Markup, PreEscaped, html};
use mechanics::chassis::End;
use wire::setup::words::{placed_limit, remedy};
use wire::v1;

use super::kept::Kept;
use super::words::{ENDS, state_of};
use crate::bench::{Bench, with_preloads};
use crate::error::ServiceError;
use crate::page::form::Posted;
use crate::page::said;

/// Hardest braking and cornering over standard gravity where nobody said them (common practice, no source).
const USUAL: [(v1::Riding, f64, f64); 4] = [
    (v1::Riding::GentleRoad, 0.4, 0.4),
    (v1::Riding::HardRoad, 0.7, 0.7),
    (v1::Riding::Track, 1.0, 1.1),
    (v1::Riding::OffRoad, 0.5, 0.3),
];
/// The same where nobody said how it is ridden either.
const ROAD: (f64, f64) = (0.6, 0.6);

/// What is asked beside the machine.
#[derive(Debug, Clone, Default)]
pub(super) struct Asked {
    braking: String,
    cornering: String,
    highest: String,
}

impl Asked {
    /// As a query says it.
    pub(super) fn of(query: &Posted) -> Self {
        let text = |name: &str| query.text(name).to_owned();
        Self {
            braking: text("braking_now"),
            cornering: text("cornering_now"),
            highest: text("highest_pace"),
        }
    }

    /// Whether somebody said how it is ridden: what is only usual belongs on no customer's sheet.
    pub(super) fn stated(&self) -> bool {
        !self.braking.is_empty() && !self.cornering.is_empty()
    }

    /// The same in an address.
    pub(super) fn query(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        let said = [
            ("braking_now", &self.braking),
            ("cornering_now", &self.cornering),
            ("highest_pace", &self.highest),
        ];
        query.extend_pairs(said.into_iter().filter(|(_, text)| !text.is_empty()));
        query.finish()
    }
}

/// What the bench says.
pub(super) struct Ahead {
    pub(super) asked: Asked,
    /// How it is ridden now, as it was taken.
    riding: v1::RidingNow,
    reply: Result<v1::ForecastLimitsResponse, ServiceError>,
    /// An end that had to be left out, and why.
    without: Option<(End, String)>,
}

/// The request for the visit that is worked on, or the last one; none where nothing was recorded.
pub(super) fn request(kept: &Kept, asked: &Asked, ends: &[End], reply_units: i32) -> Option<v1::ForecastLimitsRequest> {
    let newest = kept.setups.first().and_then(|setup| setup.visit.as_ref());
    let visit = kept.visit().or(newest)?;
    let usual = USUAL.iter().find(|(riding, ..)| *riding as i32 == visit.riding);
    let (braking, cornering) = usual.map_or(ROAD, |(_, braking, cornering)| (*braking, *cornering));
    let [found, left] = &kept.fitted;
    let mut machine = if visit.as_left.is_some() { left } else { found }.clone();
    let mut sent = [None, None];
    for (slot, end) in sent.iter_mut().zip(ENDS) {
        // Settings as they were left; travel as it was found, for it was ridden before.
        let settings = state_of(visit.as_left.as_ref(), end).or_else(|| state_of(visit.as_found.as_ref(), end));
        let Some(settings) = settings.filter(|_| ends.contains(&end)) else {
            continue;
        };
        machine = with_preloads(machine, end, settings.preload, &settings.leg_preloads);
        let ridden = state_of(visit.as_found.as_ref(), end);
        *slot = Some(v1::ForecastEnd {
            travel_used: ridden.and_then(|state| state.travel_used),
            circuits: circuits(&machine, end, settings),
            ..Default::default()
        });
    }
    let [front, rear] = sent;
    let weighed = state_of(visit.as_found.as_ref(), End::Front).and_then(|state| state.sag);
    Some(v1::ForecastLimitsRequest {
        source: Some(v1::forecast_limits_request::Source::Values(machine)),
        rider_mass_with_gear: kept.rider_mass(),
        riding: Some(v1::RidingNow {
            deceleration_ratio: Some(number(&asked.braking, braking)),
            lateral_ratio: Some(number(&asked.cornering, cornering)),
            ..Default::default()
        }),
        front_mass_with_rider: weighed.and_then(|sag| sag.mass_with_rider),
        front,
        rear,
        highest_pace_ratio: Some(number(&asked.highest, 1.5)),
        shop_prices: true,
        drawn: true,
        reply_units,
        ..Default::default()
    })
}

/// A number that was typed: nothing is what is usual, and what is none is refused by the bench as no number.
fn number(text: &str, usual: f64) -> f64 {
    if text.is_empty() {
        return usual;
    }
    text.parse().unwrap_or(f64::NAN)
}

/// Adjusters whose range is known, each circuit once.
fn circuits(machine: &v1::MachineValues, end: End, state: &v1::EndState) -> Vec<v1::ForecastCircuit> {
    const MOST: usize = 4;
    let ranges = wire::setup::unit::of(machine, end)
        .map(|unit| unit.adjusters.as_slice())
        .unwrap_or_default();
    let mut circuits: Vec<v1::ForecastCircuit> = Vec::new();
    for setting in &state.adjusters {
        let range = ranges.iter().find(|range| range.circuit == setting.circuit);
        let known = circuits.iter().any(|circuit| circuit.circuit == setting.circuit);
        if range.is_some_and(|range| range.range_count.is_some()) && !known && circuits.len() < MOST {
            circuits.push(v1::ForecastCircuit {
                circuit: setting.circuit,
                position_from_closed: setting.position_from_closed,
                ..Default::default()
            });
        }
    }
    circuits
}

/// Asks the bench; where one end cannot be looked at, the other is. None: nothing was recorded to look ahead from.
pub(super) fn read(bench: &Bench, kept: &Kept, asked: Asked, reply_units: i32) -> Option<Ahead> {
    let forecast = |ends: &[End]| Some(bench.forecast_limits(request(kept, &asked, ends, reply_units)?));
    let both = forecast(&ENDS)?;
    let mut ahead = Ahead {
        riding: request(kept, &asked, &[], reply_units)?.riding?,
        asked: asked.clone(),
        reply: both,
        without: None,
    };
    let Err(why) = &ahead.reply else {
        return Some(ahead);
    };
    let why = lacking(why).join("; ");
    for (alone, without) in [(End::Rear, End::Front), (End::Front, End::Rear)] {
        if let Some(Ok(reply)) = forecast(&[alone]) {
            ahead.reply = Ok(reply);
            ahead.without = Some((without, why));
            break;
        }
    }
    Some(ahead)
}

/// What a forecast lacks, in sentences.
fn lacking(error: &ServiceError) -> Vec<String> {
    match error {
        ServiceError::InvalidFields(faults) => {
            let said = |path: &str| path.trim_start_matches("values.").replace(['_', '.'], " ");
            faults
                .iter()
                .map(|fault| format!("{}: {}", said(&fault.field), fault.description))
                .collect()
        }
        other => vec![other.to_string()],
    }
}

/// The part of the view that looks ahead.
pub(super) fn shown(ahead: Option<&Ahead>, kept: &Kept) -> Markup {
    html! {
        section aria-labelledby="h-ahead" {
            h2 #h-ahead { "Looking ahead" }
            @match ahead {
                None => p { "Once a visit is recorded, the limits that come with more pace are told here." },
                Some(ahead) => {
                    p.hint {
                        "A model's estimate, not a measurement: which limit is met first on the same roads as the pace rises. Pace 1 is now. \
                         Everything that was assumed stands below."
                    }
                    (ahead.form(kept))
                    @match &ahead.reply {
                        Ok(reply) => (ahead.told(reply)),
                        Err(error) => div.notice {
                            p { "No forecast. It needs:" }
                            ul { @for one in lacking(error) { li { bdi { (one) } } } }
                        },
                    }
                }
            }
        }
    }
}

impl Ahead {
    fn form(&self, kept: &Kept) -> Markup {
        let line = |name: &str, label: &str, text: &str| {
            html! {
                div.field {
                    label for=(name) { (label) }
                    input id=(name) name=(name) type="text" inputmode="decimal" maxlength="12" autocomplete="off" value=(text);
                }
            }
        };
        html! {
            form method="get" action={ "/machines/" (kept.id()) "#h-ahead" } {
                @if let Some(setup) = &kept.setup { input type="hidden" name="setup" value=(super::kept::id_of(&setup.name)); }
                div.fields {
                    (line("braking_now", "Hardest braking now, over gravity", &self.asked.braking))
                    (line("cornering_now", "Hardest cornering now, over gravity", &self.asked.cornering))
                    (line("highest_pace", "Look up to pace", &self.asked.highest))
                }
                p { button { "Look ahead" } }
            }
        }
    }

    fn told(&self, reply: &v1::ForecastLimitsResponse) -> Markup {
        let (met, beyond): (Vec<_>, Vec<_>) = reply.limits.iter().partition(|limit| limit.pace_ratio.is_some());
        html! {
            @if let Some((end, why)) = &self.without {
                p { strong { "The " (end.word()) " end is left out" } ": " bdi { (why) } "." }
            }
            p.hint {
                "Ridden now with up to " (share(self.riding.deceleration_ratio)) " of gravity braking and "
                (share(self.riding.lateral_ratio)) " cornering"
                @if self.asked.braking.is_empty() || self.asked.cornering.is_empty() {
                    ": what was left empty is what is usual for such riding (common practice, no source)"
                }
                "."
            }
            @if met.is_empty() { p { "No limit is met up to pace " (format!("{:.2}", reply.highest_pace_ratio)) "." } }
            @else { (limits(&met, reply)) }
            @if !reply.staircase_svg.is_empty() {
                // Drawn by this program, with every text in it escaped.
                figure.staircase tabindex="0" role="group" aria-label="Cost against pace" { (PreEscaped(&reply.staircase_svg)) }
            }
            (said::findings(&reply.findings))
            @if !beyond.is_empty() {
                details {
                    summary { "Limits beyond pace " (format!("{:.2}", reply.highest_pace_ratio)) }
                    (limits(&beyond, reply))
                }
            }
            details {
                summary { "What the forecast assumes" }
                (said::assumptions(&reply.assumptions))
            }
        }
    }
}

/// Limits in the order of the pace.
fn limits(limits: &[&v1::LimitForecast], reply: &v1::ForecastLimitsResponse) -> Markup {
    let band = |limit: &v1::LimitForecast| {
        let end = |pace: Option<f64>| pace.map_or("beyond".to_owned(), |pace| format!("{pace:.2}"));
        format!("{} to {}", end(limit.lower_pace_ratio), end(limit.upper_pace_ratio))
    };
    html! {
        table.cards {
            caption { "In the order of the pace; the band covers " (format!("{:.0} %", 100.0 * reply.coverage_probability)) "." }
            thead { tr { th scope="col" { "Limit" } th scope="col" { "At pace" } th scope="col" { "Band" } th scope="col" { "What removes it" } th scope="col" { "Why" } } }
            tbody {
                @for limit in limits {
                    tr {
                        th.name scope="row" { (placed_limit(limit)) }
                        td data-label="At pace" { (pace(limit, reply.highest_pace_ratio)) }
                        td data-label="Band" { (band(limit)) }
                        td data-label="What removes it" { (remedy(limit.remedy)) }
                        td data-label="Why" { bdi { (limit.why) } }
                    }
                }
            }
        }
    }
}

fn share(ratio: Option<f64>) -> String {
    ratio.map(|ratio| format!("{ratio:.2}")).unwrap_or_default()
}

fn pace(limit: &v1::LimitForecast, highest: f64) -> String {
    match limit.pace_ratio {
        None => format!("beyond {highest:.2}"),
        Some(pace) if pace <= 1.0 => "met already".to_owned(),
        Some(pace) => format!("{pace:.2}"),
    }
}
