//! Ends, circuits, limits and remedies in the trade's words, for page, paper and terminal.

use mechanics::judgement::{Action, Confidence, Direction};

use crate::v1;

/// An end; empty where none of the two is meant.
pub fn end(end: i32) -> &'static str {
    match v1::MachineEnd::try_from(end) {
        Ok(v1::MachineEnd::Front) => "front",
        Ok(v1::MachineEnd::Rear) => "rear",
        Ok(v1::MachineEnd::Unspecified | v1::MachineEnd::Either) | Err(_) => "",
    }
}

/// A circuit; empty where none is stated.
pub fn circuit(circuit: i32) -> &'static str {
    use v1::DampingCircuit as Circuit;
    match Circuit::try_from(circuit) {
        Ok(Circuit::Compression) => "compression",
        Ok(Circuit::LowSpeedCompression) => "low-speed compression",
        Ok(Circuit::HighSpeedCompression) => "high-speed compression",
        Ok(Circuit::Rebound) => "rebound",
        Ok(Circuit::LowSpeedRebound) => "low-speed rebound",
        Ok(Circuit::HighSpeedRebound) => "high-speed rebound",
        Ok(Circuit::Unspecified) | Err(_) => "",
    }
}

/// A limit that the pace meets.
pub fn limit(kind: v1::LimitKind) -> &'static str {
    match kind {
        v1::LimitKind::TravelUsed => "all the travel used",
        v1::LimitKind::Bind => "the spring binds before the stop",
        v1::LimitKind::QuarterLeft => "a quarter of the range left",
        v1::LimitKind::RangeGone => "nothing of the range left",
        v1::LimitKind::PortLimited => "the ports rule, not the stack",
        v1::LimitKind::TopOut => "full extension under braking",
        v1::LimitKind::Unspecified => "a limit",
    }
}

/// A limit with its place: `front rebound: a quarter of the range left`.
pub fn placed_limit(limited: &v1::LimitForecast) -> String {
    let (end, circuit) = (end(limited.end), circuit(limited.circuit));
    let gap = if circuit.is_empty() { "" } else { " " };
    format!("{end}{gap}{circuit}: {}", limit(limited.kind()))
}

/// What is done about it.
pub fn remedy(remedy: i32) -> &'static str {
    match v1::Remedy::try_from(remedy) {
        Ok(v1::Remedy::Set) => "set from outside",
        Ok(v1::Remedy::Service) => "service",
        Ok(v1::Remedy::Respring) => "another spring",
        Ok(v1::Remedy::Revalve) => "other valving",
        Ok(v1::Remedy::Replace) => "another unit",
        Ok(v1::Remedy::Leave) => "left as it is",
        Ok(v1::Remedy::Unspecified) | Err(_) => "",
    }
}

/// What a verdict says to do, as a verb.
pub fn verb(remedy: i32) -> &'static str {
    match v1::Remedy::try_from(remedy) {
        Ok(v1::Remedy::Leave) => Action::Leave.word(),
        Ok(v1::Remedy::Set) => Action::Set.word(),
        Ok(v1::Remedy::Service) => Action::Service.word(),
        Ok(v1::Remedy::Respring) => Action::Respring.word(),
        Ok(v1::Remedy::Revalve) => Action::Revalve.word(),
        Ok(v1::Remedy::Replace) => Action::Replace.word(),
        Ok(v1::Remedy::Unspecified) | Err(_) => "",
    }
}

/// Which way a verdict goes.
pub fn direction(direction: i32) -> &'static str {
    match v1::VerdictDirection::try_from(direction) {
        Ok(v1::VerdictDirection::Stiffer) => Direction::Stiffer.word(),
        Ok(v1::VerdictDirection::Softer) => Direction::Softer.word(),
        Ok(v1::VerdictDirection::More) => Direction::More.word(),
        Ok(v1::VerdictDirection::Less) => Direction::Less.word(),
        Ok(v1::VerdictDirection::Stronger) => Direction::Stronger.word(),
        Ok(v1::VerdictDirection::Weaker) => Direction::Weaker.word(),
        Ok(v1::VerdictDirection::Unspecified) | Err(_) => "",
    }
}

/// How sure a verdict is.
pub fn confidence(confidence: i32) -> &'static str {
    match v1::VerdictConfidence::try_from(confidence) {
        Ok(v1::VerdictConfidence::Low) => Confidence::Low.word(),
        Ok(v1::VerdictConfidence::Medium) => Confidence::Medium.word(),
        Ok(v1::VerdictConfidence::High) => Confidence::High.word(),
        Ok(v1::VerdictConfidence::Unspecified) | Err(_) => "",
    }
}

/// What was predicted, with its end.
pub fn prediction(prediction: &v1::Prediction) -> String {
    use v1::prediction::Subject;
    let end = match v1::MachineEnd::try_from(prediction.end) {
        Ok(v1::MachineEnd::Front) => "front",
        _ => "rear",
    };
    let subject = match prediction.subject() {
        Subject::StaticSag => "static sag",
        Subject::TotalSag => "total sag",
        Subject::RidersShare => "rider's share of the sag",
        Subject::TravelUsed | Subject::Unspecified => "travel used",
    };
    format!("{end} {subject}")
}

/// What is not known, from the field a judgement names it by.
pub fn missing(subject: &str) -> String {
    let words = match subject {
        "rates" => "rate of the spring",
        "adjusters" => "range of the adjusters",
        "oil.air_gap" => "oil level, found and wanted",
        "oil.age" => "age of the oil",
        "riding" => "how hard it was ridden",
        "whole" => "wheelbase, mass and its place",
        "harsh" => "whether it rides harshly",
        other => return other.replace(['.', '_'], " "),
    };
    words.to_owned()
}

/// How hard a machine was ridden; empty where it is not stated.
pub fn riding(riding: i32) -> &'static str {
    match v1::Riding::try_from(riding) {
        Ok(v1::Riding::GentleRoad) => "gently, on the road",
        Ok(v1::Riding::HardRoad) => "hard, on the road",
        Ok(v1::Riding::Track) => "on a closed course",
        Ok(v1::Riding::OffRoad) => "off the road",
        Ok(v1::Riding::Unspecified) | Err(_) => "",
    }
}

/// What a judgement asks for, as it is sent.
pub(super) fn remedy_of(action: Action) -> v1::Remedy {
    match action {
        Action::Leave => v1::Remedy::Leave,
        Action::Set => v1::Remedy::Set,
        Action::Service => v1::Remedy::Service,
        Action::Respring => v1::Remedy::Respring,
        Action::Revalve => v1::Remedy::Revalve,
        Action::Replace => v1::Remedy::Replace,
    }
}
