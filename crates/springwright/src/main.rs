//! Springwright: the suspension tuner's workbench. Serves, records, computes, prints.

mod api;
mod args;
mod call;
mod demo;
mod documents;
mod entry;
mod fail;
mod feed;
mod hosting;
mod out;
mod print;
mod progress;
mod serve;
mod tester;
mod tty;
mod verbs;

use std::process::ExitCode;

use clap::{ArgMatches, FromArgMatches as _};

use args::{Action, Cli};
use fail::{Answer, Ended, Fail};

fn main() -> ExitCode {
    fail::exit_code(&act())
}

fn act() -> Ended {
    let benches = if is_own_verb() { Vec::new() } else { verbs::commands()? };
    let names: Vec<_> = benches.iter().map(|bench| bench.get_name().to_owned()).collect();
    // Help goes to stdout with exit code 0; what was typed wrongly goes to stderr with 2.
    let matches = args::command(benches)
        .try_get_matches()
        .unwrap_or_else(|fault| fault.exit());
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let ended = runtime.block_on(dispatch(&matches, &names));
    // A reader of stdin may still wait for a line; nobody waits for it.
    runtime.shutdown_background();
    ended
}

/// Whether the first word is a verb of the program itself. The verbs of the benches, with the API's description they are made
/// from, are then left out: a server would hold their memory for as long as it runs.
fn is_own_verb() -> bool {
    let own = args::command(Vec::new());
    std::env::args()
        .nth(1)
        .is_some_and(|first| own.find_subcommand(first).is_some())
}

async fn dispatch(matches: &ArgMatches, benches: &[String]) -> Ended {
    if let Some((bench, verb)) = matches
        .subcommand()
        .filter(|(name, _)| benches.iter().any(|bench| bench == name))
    {
        return verbs::run_bench(bench, verb).await;
    }
    let cli = Cli::from_arg_matches(matches).map_err(|fault| Fail::error(fault.to_string()))?;
    match cli.action {
        Action::Serve(args) => serve::serve(args).await,
        Action::Tester(options) => tester(*options).await,
        Action::Feed(options) => feed(*options).await,
        Action::Demo(args) => demo::demo(args).await,
        Action::Call(args) => verbs::run_call(args).await,
        Action::Export(args) => verbs::export(&args),
        Action::Import(args) => verbs::import(&args),
        Action::Verify(args) => verbs::verify(&args),
        Action::Compact(args) => verbs::compact(&args),
        Action::Convert(args) => verbs::convert(&args),
        Action::Completions(args) => completions(&args),
    }
}

/// What a shell needs to complete the verbs and their flags.
fn completions(args: &args::CompletionsArgs) -> Ended {
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut args::command(verbs::commands()?),
        "springwright",
        &mut script,
    );
    let mut out = out::Out::stdout();
    std::io::Write::write_all(&mut out, &script)?;
    out.flush()?;
    Ok(Answer::Yes)
}

/// The simulated tester; see its options.
async fn tester(options: tester::Options) -> Ended {
    let shutdown = serve::until_interrupted()?;
    match tester::run(options, shutdown).await {
        Ok(()) => Ok(Answer::Yes),
        Err(tester::TesterError::Output(fault)) => Err(fault.into()),
        Err(fault) => Err(Fail::error(fault.to_string())),
    }
}

/// One report after the other: with `--json`, one line each.
async fn stay(options: feed::Options) -> Ended {
    let json = options.json;
    let mut said = Ok(());
    let told = |report: &feed::FeedReport| {
        let mut out = out::Out::stdout();
        let line = if json {
            out.line(report.to_json())
        } else {
            out.line(report)
        };
        // A reader that is gone is told at the end: the springs still on the bench are worth more.
        said = std::mem::replace(&mut said, Ok(())).and(line.and_then(|()| out.flush()));
    };
    feed::run_on(options, told)
        .await
        .map_err(|fault| Fail::error(fault.to_string()))?;
    said?;
    Ok(Answer::Yes)
}

async fn feed(options: feed::Options) -> Ended {
    serve::log("warn");
    let json = options.json;
    if options.stay {
        return stay(options).await;
    }
    let report = feed::run(options)
        .await
        .map_err(|fault| Fail::error(fault.to_string()))?;
    let mut out = out::Out::stdout();
    if json {
        out.line(report.to_json())?;
    } else {
        out.line(&report)?;
    }
    out.flush()?;
    Ok(Answer::Yes)
}
