//! `setup judge --ask`: asks for what a judgement needs, in the order of the work. Every question can be skipped.

use std::io::{self, BufRead, Write};

use clap::{Arg, ArgAction, ArgMatches, Command, FromArgMatches as _};
use prost_reflect::DynamicMessage;
use wire::v1;

use crate::api;
use crate::args::{self, CommonArgs};
use crate::call::{self, Call, Door, Requests};
use crate::documents::Documents;
use crate::entry::enter;
use crate::fail::{Ended, Fail};

/// The bench.
pub(super) const BENCH: &str = "setup";
/// The verb's name under its bench.
pub(super) const VERB: &str = "judge";

/// The verb.
pub(super) fn command() -> Command {
    let about = "Judge a setup by questions, in the order of the work".to_owned();
    args::verb(VERB.to_owned(), about)
        .arg(
            Arg::new("ask")
                .long("ask")
                .help("Ask for what is not in the request; an empty line skips a question")
                .action(ArgAction::SetTrue),
        )
        .after_help("Example: springwright setup judge --ask")
}

/// A question.
enum Question {
    /// A field of the request.
    Field(&'static str, &'static str),
    /// An adjuster: "5 of 24".
    Adjuster(v1::MachineEnd, v1::DampingCircuit, &'static str),
}

use Question::{Adjuster, Field};

/// In the order of the work: what is unsafe, what is measured, oil, preload and spring, travel, adjusters, unit.
const QUESTIONS: &[Question] = &[
    Field(
        "values.riding",
        "how it is ridden: gentle-road, hard-road, track or off-road",
    ),
    Field(
        "values.machine.front.wear",
        "anything on the fork: leaking-seal, loose-part, worn-bushes, damaged-shaft",
    ),
    Field(
        "values.machine.rear.wear",
        "anything at the rear: leaking-seal, loose-part, worn-bushes, lost-charge, linkage-bearings",
    ),
    Field("values.machine.front.travel", "travel of the fork, along the leg"),
    Field("front.static_sag", "static sag of the fork: machine alone"),
    Field("front.total_sag", "total sag of the fork: rider aboard"),
    Field("front.spread", "fork: lifted less pressed length"),
    Field("values.machine.rear.travel", "travel of the rear, at the axle"),
    Field("rear.static_sag", "static sag of the rear: machine alone"),
    Field("rear.total_sag", "total sag of the rear: rider aboard"),
    Field("rear.spread", "rear: lifted less pressed length"),
    Field(
        "values.machine.front.legs.oil.age",
        "age of the fork's oil, such as 26280h (three years)",
    ),
    Field("values.machine.front.legs.oil.level", "air gap in the fork"),
    Field("front.wanted_level", "air gap wanted"),
    Field("values.machine.rear.legs.oil.age", "age of the shock's oil"),
    Field(
        "values.machine.front.legs.spring_rate",
        "rate of one fork spring, such as 9.0 N/mm",
    ),
    Field("values.state.front.preload", "preload of the fork as it stands"),
    Field(
        "values.machine.front.legs.least_preload",
        "least preload the fork can be set to",
    ),
    Field(
        "values.machine.front.legs.most_preload",
        "most preload the fork can be set to",
    ),
    Field(
        "values.machine.rear.legs.spring_rate",
        "rate of the rear spring, such as 95 N/mm",
    ),
    Field(
        "values.machine.rear.motion_ratio",
        "motion ratio: spring travel over wheel travel",
    ),
    Field(
        "rear.rider_mass_carried",
        "part of the rider's mass the rear carries, by two weighings",
    ),
    Field("values.state.rear.preload", "preload of the rear as it stands"),
    Field(
        "values.machine.rear.legs.least_preload",
        "least preload the rear can be set to",
    ),
    Field(
        "values.machine.rear.legs.most_preload",
        "most preload the rear can be set to",
    ),
    Field("values.state.front.travel_used", "travel the fork used"),
    Field("values.state.rear.travel_used", "travel the rear used"),
    Adjuster(
        v1::MachineEnd::Rear,
        v1::DampingCircuit::Rebound,
        "rear rebound, from closed, such as 5 of 24",
    ),
    Adjuster(
        v1::MachineEnd::Rear,
        v1::DampingCircuit::Compression,
        "rear compression, from closed",
    ),
    Adjuster(
        v1::MachineEnd::Front,
        v1::DampingCircuit::Rebound,
        "fork rebound, from closed",
    ),
    Adjuster(
        v1::MachineEnd::Front,
        v1::DampingCircuit::Compression,
        "fork compression, from closed",
    ),
    Field("front.harsh", "whether the fork rides harshly: true or false"),
    Field("rear.harsh", "whether the rear rides harshly: true or false"),
    Field(
        "values.machine.front.damper_type",
        "fork: damping-rod, cartridge or air",
    ),
    Field(
        "values.machine.rear.serviceability",
        "rear unit: valving, oil-only or sealed",
    ),
];

/// Asks, then judges.
pub(super) async fn run(matches: &ArgMatches) -> Ended {
    let common = CommonArgs::from_arg_matches(matches).map_err(|fault| Fail::error(fault.to_string()))?;
    let method = api::method("SetupService/JudgeSetup")?;
    let mut message = match &common.request {
        Some(source) => Documents::open(source)?.only(&method.input())?,
        None => DynamicMessage::new(method.input()),
    };
    if matches.get_flag("ask") {
        ask(&mut message, &mut io::stdin().lock(), &mut io::stderr().lock())?;
    }
    for entry in &common.set {
        let (path, text) = entry
            .split_once('=')
            .ok_or_else(|| Fail::error(format!("--set {entry}: write PATH=VALUE")))?;
        enter(&mut message, path.trim(), text).map_err(|words| Fail::at(format!("--set {path}"), words))?;
    }
    call::run(Call {
        method,
        door: Door::of(common.server),
        requests: Requests::One(Box::new(message)),
        json: common.json,
        verdict_counts: true,
        plot: false,
        out: None,
    })
    .await
}

/// Puts every question until it is answered, skipped, or nobody answers any more.
fn ask(message: &mut DynamicMessage, answers: &mut impl BufRead, words: &mut impl Write) -> Result<(), Fail> {
    writeln!(
        words,
        "An empty line skips a question; values with their unit, such as 38 mm."
    )?;
    let mut typed: v1::JudgeSetupRequest = message.transcode_to().map_err(|error| Fail::error(error.to_string()))?;
    let values = match typed.source.take() {
        Some(v1::judge_setup_request::Source::Values(values)) => values,
        Some(v1::judge_setup_request::Source::Setup(_)) => {
            return Err(Fail::error(
                "--ask asks for values; a setup of the book is judged as it was entered",
            ));
        }
        None => v1::SetupValues::default(),
    };
    // How the machine stands is asked for: it is there, if empty.
    let state = values.state.clone().unwrap_or_default();
    typed.source = Some(v1::judge_setup_request::Source::Values(v1::SetupValues {
        state: Some(state),
        ..values
    }));
    message
        .transcode_from(&typed)
        .map_err(|error| Fail::error(error.to_string()))?;
    for question in QUESTIONS {
        let (Field(_, text) | Adjuster(_, _, text)) = question;
        loop {
            write!(words, "{text}: ")?;
            words.flush()?;
            let mut line = String::new();
            if answers.read_line(&mut line)? == 0 {
                writeln!(words)?;
                return Ok(());
            }
            let answer = line.trim();
            if answer.is_empty() {
                break;
            }
            let taken = match question {
                Field(path, _) => enter(message, path, answer),
                Adjuster(end, circuit, _) => adjuster(message, (*end, *circuit), answer),
            };
            match taken {
                Ok(()) => break,
                Err(fault) => writeln!(words, "  {fault}")?,
            }
        }
    }
    Ok(())
}

/// "5 of 24": position and range, in clicks.
fn adjuster(
    message: &mut DynamicMessage,
    (end, circuit): (v1::MachineEnd, v1::DampingCircuit),
    answer: &str,
) -> Result<(), String> {
    let form = || format!("\"{answer}\" is no position; write it from closed with its range, such as 5 of 24");
    let (position, range) = answer.split_once(" of ").ok_or_else(form)?;
    let number = |text: &str| text.trim().parse::<f64>().map_err(|_| form());
    let (position, range) = (number(position)?, number(range)?);
    let mut typed: v1::JudgeSetupRequest = message.transcode_to().map_err(|error| error.to_string())?;
    let Some(v1::judge_setup_request::Source::Values(values)) = &mut typed.source else {
        return Err(form());
    };
    let machine = values.machine.get_or_insert_default();
    let state = values.state.get_or_insert_default();
    let (unit, stands) = match end {
        v1::MachineEnd::Front => (
            machine.front.get_or_insert_default(),
            state.front.get_or_insert_default(),
        ),
        _ => (machine.rear.get_or_insert_default(), state.rear.get_or_insert_default()),
    };
    unit.adjusters.push(v1::AdjusterRange {
        circuit: circuit as i32,
        unit: v1::AdjusterUnit::Clicks as i32,
        range_count: Some(range),
        ..Default::default()
    });
    stands.adjusters.push(v1::AdjusterSetting {
        circuit: circuit as i32,
        unit: v1::AdjusterUnit::Clicks as i32,
        position_from_closed: Some(position),
        ..Default::default()
    });
    message.transcode_from(&typed).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_question_is_about_a_field_there_is_and_a_wrong_answer_is_asked_again() {
        let method = api::method("SetupService/JudgeSetup").unwrap();
        let mut message = DynamicMessage::new(method.input());
        for question in QUESTIONS {
            if let Field(path, _) = question {
                let fault = enter(&mut message, path, "\u{1}").err().unwrap_or_default();
                assert!(!fault.contains("has no field"), "{path}: {fault}");
            }
        }
        let mut message = DynamicMessage::new(method.input());
        let answers = "hard-road\n\n\n125\n125 mm\n";
        let mut said = Vec::new();
        ask(&mut message, &mut answers.as_bytes(), &mut said).unwrap();
        let typed: v1::JudgeSetupRequest = message.transcode_to().unwrap();
        let Some(v1::judge_setup_request::Source::Values(values)) = typed.source else {
            panic!("no values");
        };
        assert_eq!(values.riding, v1::Riding::HardRoad as i32);
        assert!(values.machine.unwrap().front.unwrap().travel.is_some());
    }
}
