//! `cargo run -p acceptance --bin trial -- --seed 7 --machines 1000`

use std::io::Write;

fn main() -> std::process::ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |name: &str, usual: u64| {
        let at = arguments.iter().position(|one| one == name)?;
        Some(
            arguments
                .get(at + 1)
                .and_then(|text| text.parse().ok())
                .unwrap_or(usual),
        )
    };
    let seed = number("--seed", 7).unwrap_or(7);
    let machines = number("--machines", 1_000).unwrap_or(1_000);
    let tried = acceptance::trial::run(seed, usize::try_from(machines).unwrap_or(usize::MAX));
    // Nobody reads a pipe that is closed.
    let _ = write!(std::io::stdout(), "seed {seed}\n{tried}");
    std::process::ExitCode::from(u8::from(!tried.passes()))
}
