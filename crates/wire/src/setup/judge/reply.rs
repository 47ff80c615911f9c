//! A judgement as it is sent.

use mechanics::chassis::{Candidate, End, Ranked};
use mechanics::judgement::{
    Amount, Circuit, Confidence, Direction, Judgement, Missing, RankedSprings, ShaftSpeed, StrokeDirection, Verdict,
};
use mechanics::quantity::UnitSystem;

use crate::quantity::computed;
use crate::setup::words::remedy_of;
use crate::setup::{choose, end_number};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;

/// The reply. `places` are those of each candidate of the fork and of the rear in the request.
pub fn response(judged: &Judgement, places: [&[Vec<i32>]; 2], units: UnitSystem) -> v1::JudgeSetupResponse {
    v1::JudgeSetupResponse {
        verdicts: judged
            .verdicts
            .iter()
            .map(|one| {
                let [front, rear] = places;
                let places = if one.end == End::Front { front } else { rear };
                v1::Verdict {
                    springs: one
                        .springs
                        .iter()
                        .flat_map(|springs| ranked(springs, places, units))
                        .collect(),
                    ..verdict(one, &judged.table_version, units)
                }
            })
            .collect(),
        first_change: judged.first.and_then(|index| i32::try_from(index).ok()),
        missing: judged.missing.iter().map(missing).collect(),
        rule_table_version: judged.table_version.clone(),
        findings: findings(&judged.findings),
        assumptions: assumptions(&judged.assumptions),
        ..Default::default()
    }
}

fn ranked(springs: &RankedSprings, places: &[Vec<i32>], units: UnitSystem) -> Vec<v1::RankedSpring> {
    let one = |(candidate, ranked): &(Candidate, Ranked)| {
        choose::ranked_spring(
            ranked,
            &candidate.springs,
            places.get(ranked.index).cloned().unwrap_or_default(),
            (springs.wheel_factor, springs.present_total),
            units,
        )
    };
    springs.ranked.iter().map(one).collect()
}

fn missing(one: &Missing) -> v1::MissingValue {
    v1::MissingValue {
        end: one.end.map_or(0, end_number),
        subject: one.what.to_owned(),
        settles: one.settles.to_owned(),
    }
}

fn verdict(one: &Verdict, version: &str, units: UnitSystem) -> v1::Verdict {
    let waits = one.waits_for.iter().filter_map(|index| i32::try_from(*index).ok());
    v1::Verdict {
        action: remedy_of(one.action) as i32,
        end: end_number(one.end),
        circuit: one.circuit.map_or(0, circuit_number),
        direction: one.direction.map_or(0, |way| direction(way) as i32),
        amount: one.amount.map(|amount| sent_amount(one, amount, units)),
        confidence: match one.confidence {
            Confidence::Low => v1::VerdictConfidence::Low,
            Confidence::Medium => v1::VerdictConfidence::Medium,
            Confidence::High => v1::VerdictConfidence::High,
        } as i32,
        evidence: one
            .evidence
            .iter()
            .map(|evidence| v1::VerdictEvidence {
                rules: evidence.rules.iter().map(|id| id.text().to_owned()).collect(),
                computation: evidence.computation.to_owned(),
                text: evidence.text.clone(),
            })
            .collect(),
        check_first: one.check_first.clone(),
        overturned_by: one.overturned_by.clone(),
        rule_table_version: version.to_owned(),
        subject: one.subject.word().to_owned(),
        hazard: one.hazard,
        waits_for: waits.collect(),
        after_spring: one.after.map(|after| v1::AfterSpring {
            rate_factor: after.rate_factor,
            rebound_factor: after.rebound_factor,
            rebound_position_from_closed: after.rebound_position,
            preload: after.preload.map(|preload| computed(preload, units)),
        }),
        cautions: one.cautions.iter().map(|text| (*text).to_owned()).collect(),
        text: one.to_string(),
        waits_for_check: one.waits_for_check,
        springs: Vec::new(),
    }
}

fn direction(direction: Direction) -> v1::VerdictDirection {
    match direction {
        Direction::Stiffer => v1::VerdictDirection::Stiffer,
        Direction::Softer => v1::VerdictDirection::Softer,
        Direction::More => v1::VerdictDirection::More,
        Direction::Less => v1::VerdictDirection::Less,
        Direction::Stronger => v1::VerdictDirection::Stronger,
        Direction::Weaker => v1::VerdictDirection::Weaker,
    }
}

fn sent_amount(verdict: &Verdict, amount: Amount, units: UnitSystem) -> v1::verdict::Amount {
    match amount {
        Amount::Steps(range) => v1::verdict::Amount::Steps(v1::RateSteps {
            least_count: range.least,
            most_count: range.most,
            thumb_count: verdict.both.map(|both| both.thumb),
            physics_count: verdict.both.map(|both| both.physics),
            disagree: verdict.both.is_some_and(|both| both.disagree),
        }),
        Amount::DampingFactor { factor, least, most } => v1::verdict::Amount::DampingFactor(v1::DampingFactor {
            factor,
            least_factor: least,
            most_factor: most,
        }),
        Amount::Preload(preload) => v1::verdict::Amount::Position(v1::SettingPosition {
            preload: Some(computed(preload, units)),
            ..Default::default()
        }),
        Amount::Position { from_closed, range } => v1::verdict::Amount::Position(v1::SettingPosition {
            position_from_closed: Some(from_closed),
            range_count: Some(range),
            preload: None,
        }),
    }
}

fn circuit_number(circuit: Circuit) -> i32 {
    let number = match (circuit.stroke, circuit.speed) {
        (StrokeDirection::Compression, None) => v1::DampingCircuit::Compression,
        (StrokeDirection::Compression, Some(ShaftSpeed::Low)) => v1::DampingCircuit::LowSpeedCompression,
        (StrokeDirection::Compression, Some(ShaftSpeed::High)) => v1::DampingCircuit::HighSpeedCompression,
        (StrokeDirection::Rebound, None) => v1::DampingCircuit::Rebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::Low)) => v1::DampingCircuit::LowSpeedRebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::High)) => v1::DampingCircuit::HighSpeedRebound,
    };
    number as i32
}
