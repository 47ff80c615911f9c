//! A forecast as two tables: limits in the order of the pace, and what they cost.

use wire::setup::words;
use wire::v1;

use super::table::Table;

/// Fields of a forecast that its tables show, or that are a picture.
pub(super) const SHOWN: &[&str] = &["limits", "steps", "staircase_svg"];

/// The limits with their bands, then the staircase of cost.
pub(super) fn limits(reply: &v1::ForecastLimitsResponse) -> String {
    let mut text = String::from("which limit comes first (a model's estimate; pace 1 is now, bands 95 %)\n");
    let mut table = Table::new(["pace", "from", "to", "limit", "then"]);
    for limit in &reply.limits {
        table.row([
            pace(limit.pace_ratio, reply.highest_pace_ratio),
            pace(limit.lower_pace_ratio, reply.highest_pace_ratio),
            pace(limit.upper_pace_ratio, reply.highest_pace_ratio),
            words::placed_limit(limit),
            words::remedy(limit.remedy).to_owned(),
        ]);
    }
    text.push_str(&rows(&table));
    if reply.steps.is_empty() {
        return text;
    }
    text.push_str("what it costs\n");
    let mut table = Table::new(["from pace", "end", "remedy", "price", "in all"]);
    for step in &reply.steps {
        let label = if step.label.is_empty() {
            words::remedy(step.remedy)
        } else {
            &step.label
        };
        table.row([
            format!("{:.2}", step.pace_ratio),
            words::end(step.end).to_owned(),
            label.to_owned(),
            step.price.as_ref().map_or_else(|| "no price".to_owned(), money),
            step.total
                .as_ref()
                .map(|total| format!("{} {}", money(total), reply.currency_code))
                .unwrap_or_default(),
        ]);
    }
    text.push_str(&rows(&table));
    text
}

fn rows(table: &Table) -> String {
    table.lines().map(|row| format!("  {}\n", row.trim_end())).collect()
}

fn pace(pace: Option<f64>, highest: f64) -> String {
    pace.map_or_else(|| format!("over {highest:.2}"), |pace| format!("{pace:.2}"))
}

fn money(money: &v1::Money) -> String {
    let units = money.units.unwrap_or_default();
    match money.nanos {
        0 => units.to_string(),
        nanos if nanos % 10_000_000 == 0 => format!("{units}.{:02}", nanos / 10_000_000),
        nanos => format!("{units}.{nanos:09}").trim_end_matches('0').to_owned(),
    }
}
