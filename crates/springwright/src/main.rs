//! The suspension tuner's workbench.

mod tester;

use std::process::ExitCode;

use clap::Parser;
use tokio_util::sync::CancellationToken;

#[derive(Debug, Parser)]
#[command(version, about)]
enum Verb {
    /// Simulates a rate tester
    Tester(Box<tester::Options>),
}

#[tokio::main]
async fn main() -> ExitCode {
    match Verb::parse() {
        Verb::Tester(options) => match tester::run(*options, CancellationToken::new()).await {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => fail(&error),
        },
    }
}

fn fail(error: &dyn std::error::Error) -> ExitCode {
    eprintln!("springwright: {error}");
    ExitCode::from(2)
}
