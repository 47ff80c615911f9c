//! A forecast as two tables: limits in the order of the pace, and what they cost.

use wire::v1;

use super::table::Table;

/// The limits with their bands, then the staircase of cost.
pub(super) fn limits(reply: &v1::ForecastLimitsResponse) -> String {
    let mut text = String::from("which limit comes first (a model's estimate; pace 1 is now, bands 95 %)\n");
    let mut table = Table::new(["pace", "from", "to", "end", "limit", "then"]);
    for limit in &reply.limits {
        table.row([
            pace(limit.pace_ratio, reply.highest_pace_ratio),
            pace(limit.lower_pace_ratio, reply.highest_pace_ratio),
            pace(limit.upper_pace_ratio, reply.highest_pace_ratio),
            end(limit.end).to_owned(),
            format!("{}{}", circuit(limit.circuit), kind(limit.kind())),
            remedy(limit.remedy).to_owned(),
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
            remedy(step.remedy)
        } else {
            &step.label
        };
        table.row([
            format!("{:.2}", step.pace_ratio),
            end(step.end).to_owned(),
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

fn end(end: i32) -> &'static str {
    match v1::MachineEnd::try_from(end) {
        Ok(v1::MachineEnd::Front) => "front",
        Ok(v1::MachineEnd::Rear) => "rear",
        Ok(v1::MachineEnd::Unspecified | v1::MachineEnd::Either) | Err(_) => "",
    }
}

fn circuit(circuit: i32) -> &'static str {
    match v1::DampingCircuit::try_from(circuit) {
        Ok(v1::DampingCircuit::Compression) => "compression: ",
        Ok(v1::DampingCircuit::LowSpeedCompression) => "low-speed compression: ",
        Ok(v1::DampingCircuit::HighSpeedCompression) => "high-speed compression: ",
        Ok(v1::DampingCircuit::Rebound) => "rebound: ",
        Ok(v1::DampingCircuit::LowSpeedRebound) => "low-speed rebound: ",
        Ok(v1::DampingCircuit::HighSpeedRebound) => "high-speed rebound: ",
        Ok(v1::DampingCircuit::Unspecified) | Err(_) => "",
    }
}

fn kind(kind: v1::LimitKind) -> &'static str {
    match kind {
        v1::LimitKind::Unspecified => "",
        v1::LimitKind::TravelUsed => "all the travel used",
        v1::LimitKind::Bind => "the spring binds before the stop",
        v1::LimitKind::QuarterLeft => "a quarter of the range left",
        v1::LimitKind::RangeGone => "nothing of the range left",
        v1::LimitKind::PortLimited => "the ports rule, not the stack",
        v1::LimitKind::TopOut => "full extension under braking",
    }
}

fn remedy(remedy: i32) -> &'static str {
    match v1::Remedy::try_from(remedy) {
        Ok(v1::Remedy::Set) => "set from outside",
        Ok(v1::Remedy::Service) => "service",
        Ok(v1::Remedy::Respring) => "another spring",
        Ok(v1::Remedy::Revalve) => "other valving",
        Ok(v1::Remedy::Replace) => "another unit",
        Ok(v1::Remedy::Unspecified | v1::Remedy::Leave) | Err(_) => "",
    }
}

fn money(money: &v1::Money) -> String {
    let units = money.units.unwrap_or_default();
    match money.nanos {
        0 => units.to_string(),
        nanos if nanos % 10_000_000 == 0 => format!("{units}.{:02}", nanos / 10_000_000),
        nanos => format!("{units}.{nanos:09}").trim_end_matches('0').to_owned(),
    }
}
