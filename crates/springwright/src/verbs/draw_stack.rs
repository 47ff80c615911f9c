//! `valving draw-stack`: a section of a stack to scale, as an SVG file on stdout.

use clap::{ArgMatches, Command, FromArgMatches as _};
use mechanics::quantity::UnitSystem;
use prost_reflect::DynamicMessage;
use service::drawing;
use wire::v1;
use wire::v1::solve_stack_request::Source;

use super::bench::{Flag, enter_all, enter_units, typed, units_arg};
use super::{one_request, valving};
use crate::args::{self, CommonArgs};
use crate::call::{Door, reply};
use crate::entry::enter;
use crate::fail::{Answer, Ended, Fail};
use crate::out::Out;
use crate::{api, print};

/// The bench it belongs to.
pub(super) const BENCH: &str = "valving";
/// Its name.
pub(super) const VERB: &str = "draw-stack";

const ABOUT: &str = "Draws half a section of a stack to scale, as SVG on stdout; with a pressure, bent as it is solved";
const EXAMPLE: &str = "Example: springwright valving draw-stack --shims \"30x0.15*2, 26x0.15, 22x0.15 mm\" --clamp 14mm \
                       --port-inner 18mm --port-outer 26mm --pressure 0.5MPa > stack.svg";

fn flags() -> Vec<Flag> {
    let mut flags = vec![Flag::new(
        "stack",
        "stack",
        "A stack of the drawer, such as stacks/mid; needs --server",
    )];
    flags.extend(valving::stack_flags("values"));
    flags.push(Flag::new(
        "pressure",
        "pressures",
        "The pressure over the face shim it is drawn at; left out: flat",
    ));
    flags
}

/// The verb.
pub(super) fn command() -> Command {
    args::verb(VERB.to_owned(), ABOUT.to_owned())
        .after_help(EXAMPLE)
        .args(flags().into_iter().map(Flag::arg))
        .arg(units_arg())
}

/// A stack of the drawer.
async fn kept(name: &str, server: String) -> Result<v1::Stack, Fail> {
    let method = api::method("DrawerService/GetStack")?;
    let mut message = DynamicMessage::new(method.input());
    enter(&mut message, "name", name).map_err(|words| Fail::at("--stack", words))?;
    let answer = reply(&method, Door::Server(server), message).await?;
    answer
        .transcode_to()
        .map_err(|fault| Fail::at("the stack cannot be read", fault))
}

/// Solves the stack where a pressure is given, and draws it.
pub(super) async fn run(matches: &ArgMatches) -> Ended {
    let common = CommonArgs::from_arg_matches(matches).map_err(|fault| Fail::error(fault.to_string()))?;
    if common.json {
        return Err(Fail::error("a drawing is no JSON: leave --json out"));
    }
    let method = api::method("ValvingService/SolveStack")?;
    let message = one_request(&method, &common, |message| {
        enter_all(message, &typed(flags(), matches))?;
        enter_units(message, matches)
    })?;
    let read = |fault: prost::DecodeError| Fail::at("the request cannot be read", fault);
    let asked: v1::SolveStackRequest = message.transcode_to().map_err(read)?;
    let stack = match (&asked.source, &common.server) {
        (Some(Source::Values(stack)), _) => stack.clone(),
        (Some(Source::Stack(name)), Some(server)) => kept(name, server.clone()).await?,
        _ => {
            return Err(Fail::error(
                "a stack is drawn from its values: give --shims, --clamp and the ports; or from the drawer: give --stack and --server",
            ));
        }
    };
    let solved: Option<v1::SolveStackResponse> = if asked.pressures.is_empty() && asked.max_pressure.is_none() {
        None
    } else {
        let answer = reply(&method, Door::of(common.server), message).await?;
        Some(answer.transcode_to().map_err(read)?)
    };
    let units = match asked.reply_units() {
        v1::UnitSystem::Inch => UnitSystem::Inch,
        v1::UnitSystem::Metric | v1::UnitSystem::Unspecified => UnitSystem::Metric,
    };
    let drawn = drawing::section_file(&stack, solved.as_ref(), units).map_err(|faults| {
        let each = faults
            .iter()
            .map(|fault| format!("\n  {}: {}", fault.field, fault.description));
        Fail::error(print::clean(&format!(
            "the stack cannot be drawn{}",
            each.collect::<String>()
        )))
    })?;
    let mut out = Out::stdout();
    out.text(&drawn)?;
    out.flush()?;
    Ok(Answer::Yes)
}
