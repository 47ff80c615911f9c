//! Machines and visits in the trade's words.

use mechanics::chassis::End;
use wire::v1;

/// Both ends, in the order they are told.
pub(super) const ENDS: [End; 2] = [End::Front, End::Rear];

/// How hard it was ridden, as it can be chosen.
pub(super) const RIDING: [(v1::Riding, &str); 4] = [
    (v1::Riding::GentleRoad, "gently, on the road"),
    (v1::Riding::HardRoad, "hard, on the road"),
    (v1::Riding::Track, "on a closed course"),
    (v1::Riding::OffRoad, "off the road"),
];

/// What can be done to an end, as it can be chosen.
pub(super) const WORK: [v1::Remedy; 6] = [
    v1::Remedy::Leave,
    v1::Remedy::Set,
    v1::Remedy::Service,
    v1::Remedy::Respring,
    v1::Remedy::Revalve,
    v1::Remedy::Replace,
];

/// An end as a heading.
pub(super) fn heading(end: End) -> &'static str {
    match end {
        End::Front => "Front",
        End::Rear => "Rear",
    }
}

/// The unit of an end.
pub(super) fn unit_of(machine: &v1::MachineValues, end: End) -> Option<&v1::UnitValues> {
    wire::setup::unit::of(machine, end)
}

/// The state of an end.
pub(super) fn state_of(state: Option<&v1::SetupState>, end: End) -> Option<&v1::EndState> {
    match end {
        End::Front => state?.front.as_ref(),
        End::Rear => state?.rear.as_ref(),
    }
}

/// How hard it was ridden; empty where it is not said.
pub(super) fn riding(number: i32) -> &'static str {
    let found = RIDING.iter().find(|(riding, _)| *riding as i32 == number);
    found.map_or("", |(_, words)| words)
}

/// How a damper is built; empty where it is not said.
pub(super) fn damper_type(number: i32) -> &'static str {
    match v1::DamperType::try_from(number) {
        Ok(v1::DamperType::DampingRod) => "damping rod",
        Ok(v1::DamperType::Cartridge) => "cartridge",
        Ok(v1::DamperType::SingleTube) => "single-tube",
        Ok(v1::DamperType::TwinTube) => "twin-tube",
        Ok(v1::DamperType::Air) => "air",
        Ok(v1::DamperType::Unspecified) | Err(_) => "",
    }
}

/// Whether a unit can be opened; empty where it is not said.
pub(super) fn serviceability(number: i32) -> &'static str {
    match v1::Serviceability::try_from(number) {
        Ok(v1::Serviceability::Valving) => "can be opened, valving and all",
        Ok(v1::Serviceability::OilOnly) => "can be opened for oil and seals only",
        Ok(v1::Serviceability::Sealed) => "cannot be opened",
        Ok(v1::Serviceability::Unspecified) | Err(_) => "",
    }
}

/// What was seen of wear.
pub(super) fn wear(number: i32) -> &'static str {
    match v1::Wear::try_from(number) {
        Ok(v1::Wear::NoneSeen) => "none seen",
        Ok(v1::Wear::LeakingSeal) => "a seal leaks",
        Ok(v1::Wear::LoosePart) => "a part is loose",
        Ok(v1::Wear::WornBushes) => "bushes have play",
        Ok(v1::Wear::DamagedShaft) => "a rod, shaft or tube is scored or bent",
        Ok(v1::Wear::LostCharge) => "the gas charge is lost",
        Ok(v1::Wear::LinkageBearings) => "linkage or swingarm bearings have play or bind",
        Ok(v1::Wear::Unspecified) | Err(_) => "",
    }
}

/// What an adjuster is counted in.
pub(super) fn counted(unit: i32) -> &'static str {
    match v1::AdjusterUnit::try_from(unit) {
        Ok(v1::AdjusterUnit::Turns) => "turns",
        Ok(v1::AdjusterUnit::Clicks | v1::AdjusterUnit::Unspecified) | Err(_) => "clicks",
    }
}

/// What a verdict asks for: its line without how sure it is, which is told beside it.
pub(super) fn asked_for(verdict: &v1::Verdict) -> &str {
    let text = verdict.text.strip_suffix("; hazard").unwrap_or(&verdict.text);
    match text.rsplit_once("; ") {
        Some((asked, "low" | "medium" | "high")) => asked,
        _ => text,
    }
}

/// How sure a verdict is; empty where it is not said.
pub(super) fn confidence(confidence: v1::VerdictConfidence) -> &'static str {
    match confidence {
        v1::VerdictConfidence::Low => "not sure",
        v1::VerdictConfidence::Medium => "fairly sure",
        v1::VerdictConfidence::High => "sure",
        v1::VerdictConfidence::Unspecified => "",
    }
}

/// What is not known, as a tuner asks for it.
pub(super) fn missing(subject: &str) -> String {
    let words = match subject {
        "adjusters" => "adjusters, from closed",
        "sag" => "sag readings",
        "travel" => "travel of the unit",
        "rates" => "rate of the fitted springs",
        "whole" => "balance of the machine and the hardest braking",
        "riding" => "how hard it was ridden",
        "travel_used" => "travel used",
        "harsh" => "whether it rides harshly",
        "oil.air_gap" => "oil level, and the one wanted",
        "oil.age" => "age of the oil",
        other => return other.replace(['_', '.'], " "),
    };
    words.to_owned()
}
