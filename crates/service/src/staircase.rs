//! Cost against pace as a staircase: a picture for page, sheet and file.
//!
//! Pure, and drawn once for all three: the colours stand as attributes and are those of print; nothing rests on them.

use maud::html;
use wire::setup::words;
use wire::v1;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 360.0;
const LEFT: f64 = 90.0;
const RIGHT: f64 = 616.0;
const TOP: f64 = 44.0;
const BOTTOM: f64 = 300.0;

const INK: &str = "#1d2326";
const FAINT: &str = "#c9c6bd";
const STEP: &str = "#0b5e6b";
/// Height of a line of text.
const LINE: f64 = 18.0;
/// Figures on the axis of cost.
const FIGURES: u32 = 4;
/// Figures on the axis of pace, at most.
const PACES: f64 = 7.0;

/// A step, in the picture's own figures.
struct Step {
    pace: f64,
    low: f64,
    high: f64,
    total: f64,
    label: String,
}

/// The picture; `None` where nothing has to be paid up to the highest pace.
pub(crate) fn drawn(reply: &v1::ForecastLimitsResponse, currency: &str) -> Option<String> {
    let highest = reply.highest_pace_ratio;
    let steps: Vec<Step> = reply.steps.iter().map(|step| read(step, highest)).collect();
    let most = round_up(steps.last()?.total);
    let x = |pace: f64| LEFT + (RIGHT - LEFT) * (pace.clamp(1.0, highest) - 1.0) / (highest - 1.0);
    let y = |total: f64| BOTTOM - (BOTTOM - TOP) * total / most;
    let paces = round_paces(highest);
    let costs = (0..=FIGURES).map(|i| most * f64::from(i) / f64::from(FIGURES));
    let unit = if currency.is_empty() { "remedies" } else { currency };
    let picture = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
            aria-labelledby="staircase-title staircase-desc" font-family="system-ui, sans-serif" font-size="18" fill=(INK) {
            title id="staircase-title" { "Cost against pace" }
            desc id="staircase-desc" { (told(&steps, currency)) }
            g stroke=(FAINT) stroke-width="1" {
                @for cost in costs.clone() { path d={ "M" (LEFT) " " (at(y(cost))) "H" (RIGHT) } {} }
            }
            @for cost in costs { text x=(LEFT - 8.0) y=(at(y(cost) + 5.0)) text-anchor="end" { (figure(cost, most)) } }
            @for pace in paces { text x=(at(x(pace))) y=(BOTTOM + 22.0) text-anchor="middle" { (format!("{pace:.2}")) } }
            text x=(RIGHT) y=(BOTTOM + 48.0) text-anchor="end" { "pace, 1 is now" }
            text x="8" y="20" { "cost in " (unit) }
            path d=(stairs(&steps, x, y)) fill="none" stroke=(STEP) stroke-width="2.5" stroke-linejoin="round" {}
            @for step in &steps {
                // The band of the pace, as a whisker just below the step's height.
                path d={ "M" (at(x(step.low))) " " (at(y(step.total) + 7.0)) "m0 -4v8m0 -4H" (at(x(step.high))) "m0 -4v8" }
                    fill="none" stroke=(INK) stroke-width="1" {}
            }
            @for (index, step) in steps.iter().enumerate() {
                @let right = x(step.pace) > f64::midpoint(LEFT, RIGHT);
                @let place = y(step.total) - 7.0 - if index % 2 == 1 { 0.0 } else { 0.25 * LINE };
                text x=(at(x(step.pace) + if right { -6.0 } else { 6.0 })) y=(at(place.max(TOP - 8.0)))
                    text-anchor=(if right { "end" } else { "start" }) font-size="17" { (step.label) }
            }
            path d={ "M" (LEFT) " " (TOP) "V" (BOTTOM) "H" (RIGHT) } fill="none" stroke=(INK) stroke-width="1.5" {}
        }
    };
    Some(picture.into_string())
}

fn read(step: &v1::CostStep, highest: f64) -> Step {
    let total = step.total.as_ref().map_or(0.0, amount);
    let what = if step.label.is_empty() {
        remedy(step)
    } else {
        step.label.clone()
    };
    let label = match &step.price {
        Some(_) => wire::violation::bounded(&what, 40).to_string(),
        None => format!("{} (no price)", wire::violation::bounded(&what, 30)),
    };
    Step {
        pace: step.pace_ratio,
        low: step.lower_pace_ratio.unwrap_or(highest),
        high: step.upper_pace_ratio.unwrap_or(highest),
        total,
        label,
    }
}

/// A remedy with its place, in words.
pub(crate) fn remedy(step: &v1::CostStep) -> String {
    format!("{}: {}", words::end(step.end), words::remedy(step.remedy))
}

fn amount(money: &v1::Money) -> f64 {
    money.units.unwrap_or_default() as f64 + f64::from(money.nanos) * 1e-9
}

/// Round paces from 1 to the highest.
fn round_paces(highest: f64) -> Vec<f64> {
    let span = highest - 1.0;
    let steps = [0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0];
    let step = steps.into_iter().find(|step| span / step < PACES).unwrap_or(span);
    let count = (span / step + 1e-9).floor() as u32;
    (0..=count).map(|k| 1.0 + f64::from(k) * step).collect()
}

/// A round figure at or above the dearest.
fn round_up(most: f64) -> f64 {
    if !(most > 0.0) {
        return 1.0;
    }
    let power = 10.0_f64.powf(most.log10().floor());
    let steps = [1.0, 2.0, 4.0, 6.0, 8.0, 10.0];
    let fitting = steps.into_iter().map(|step| step * power).find(|step| *step >= most);
    fitting.unwrap_or(most)
}

fn figure(value: f64, most: f64) -> String {
    if most < 10.0 {
        format!("{value:.2}")
    } else {
        format!("{value:.0}")
    }
}

fn stairs(steps: &[Step], x: impl Fn(f64) -> f64, y: impl Fn(f64) -> f64) -> String {
    let mut path = format!("M{} {}", at(LEFT), at(BOTTOM));
    for step in steps {
        path.push_str(&format!("H{}V{}", at(x(step.pace)), at(y(step.total))));
    }
    path.push_str(&format!("H{}", at(RIGHT)));
    path
}

fn told(steps: &[Step], currency: &str) -> String {
    let told = steps.iter().map(|step| {
        format!(
            "from pace {:.2} {}: {:.2} {currency} in all",
            step.pace, step.label, step.total
        )
    });
    told.collect::<Vec<_>>().join("; ")
}

fn at(place: f64) -> String {
    format!("{place:.1}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_staircase_is_drawn_with_its_labels_escaped() {
        let step = |pace: f64, label: &str, units: i64| v1::CostStep {
            pace_ratio: pace,
            lower_pace_ratio: Some(pace - 0.05),
            upper_pace_ratio: None,
            label: label.to_owned(),
            price: Some(v1::Money {
                units: Some(100),
                nanos: 0,
            }),
            total: Some(v1::Money {
                units: Some(units),
                nanos: 0,
            }),
            ..v1::CostStep::default()
        };
        let reply = v1::ForecastLimitsResponse {
            steps: vec![step(1.1, "fork <springs>", 150), step(1.3, "valving", 410)],
            highest_pace_ratio: 1.5,
            ..v1::ForecastLimitsResponse::default()
        };
        let drawn = drawn(&reply, "EUR").unwrap();
        assert!(drawn.contains("cost in EUR") && drawn.contains("fork &lt;springs&gt;") && !drawn.contains("style="));
        // Up at a fifth of the pace, to 150 of 600.
        assert!(drawn.contains("M90.0 300.0H195.2V236.0"), "{drawn}");
        for pace in ["1.00", "1.10", "1.20", "1.30", "1.40", "1.50"] {
            assert!(drawn.contains(&format!(">{pace}</text>")), "{drawn}");
        }
        assert!(super::drawn(&v1::ForecastLimitsResponse::default(), "EUR").is_none());
    }
}
