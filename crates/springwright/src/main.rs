//! The suspension tuner's workbench.

mod feed;
mod tester;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;
use tokio_util::sync::CancellationToken;

#[derive(Debug, Parser)]
#[command(version, about)]
enum Verb {
    /// Simulates a rate tester
    Tester(Box<tester::Options>),
    /// Records an instrument's readings as a run
    Feed(Box<feed::Options>),
}

#[tokio::main]
async fn main() -> ExitCode {
    tracing_subscriber::fmt().with_writer(std::io::stderr).init();
    match Verb::parse() {
        Verb::Feed(options) => {
            let json = options.json;
            match feed::run(*options).await {
                Ok(report) => print(&report, json),
                Err(error) => fail(&error),
            }
        }
        Verb::Tester(options) => match tester::run(*options, CancellationToken::new()).await {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => fail(&error),
        },
    }
}

fn print(report: &feed::FeedReport, json: bool) -> ExitCode {
    let text = if json {
        report.to_json().to_string()
    } else {
        report.to_string()
    };
    match writeln!(std::io::stdout(), "{text}") {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => fail(&error),
    }
}

fn fail(error: &dyn std::error::Error) -> ExitCode {
    eprintln!("springwright: {error}");
    ExitCode::from(2)
}
