//! What the pages at the top say is so: links lead somewhere, commands are known, printed answers are the program's.

use std::path::Path;
use std::process::{Command, Output};

use acceptance::{both, program, repository};
use tempfile::TempDir;

const PAGES: &[&str] = &["README.md", "DEVELOPERS.md"];

/// A fenced block: what stands after the fence, and its lines.
struct Block {
    language: String,
    lines: Vec<String>,
}

fn page(name: &str) -> String {
    std::fs::read_to_string(repository().join(name)).unwrap_or_default()
}

fn blocks(text: &str) -> Vec<Block> {
    let mut found = Vec::new();
    let mut open: Option<Block> = None;
    for line in text.lines() {
        match (line.trim_start().strip_prefix("```"), open.take()) {
            (Some(language), None) => {
                let language = language.trim().to_owned();
                open = Some(Block {
                    language,
                    lines: Vec::new(),
                });
            }
            (Some(_), Some(block)) => found.push(block),
            (None, Some(mut block)) => {
                block.lines.push(line.to_owned());
                open = Some(block);
            }
            (None, None) => {}
        }
    }
    found
}

/// The words after the program's name, where a line of a page calls it; long lines are joined at their backslash.
fn calls(block: &Block) -> Vec<Vec<String>> {
    let joined = block.lines.join("\n").replace("\\\n", " ");
    let commands = joined.lines().filter_map(|line| {
        let line = line.trim_start().trim_start_matches("$ ");
        let line = line.split(" #").next().unwrap_or_default();
        let own = line.strip_prefix("springwright ");
        let cargo = line
            .strip_prefix("cargo run")
            .and_then(|rest| rest.split_once("-- "))
            .map(|(_, rest)| rest);
        let words = own.or(cargo)?.split(['|', '>', '&', ';']).next()?;
        Some(words.split_whitespace().map(str::to_owned).collect())
    });
    commands.collect()
}

fn run(arguments: &[&str], folder: &Path) -> Result<Output, String> {
    let command = Command::new(program()?).args(arguments).current_dir(folder).output();
    command.map_err(|error| error.to_string())
}

/// The verb of a call: its words up to the first that does not look like one.
fn verb(call: &[String]) -> Vec<&str> {
    let is_verb = |word: &&String| word.chars().all(|c| c.is_ascii_lowercase() || c == '-') && !word.starts_with('-');
    call.iter().take_while(is_verb).map(String::as_str).collect()
}

#[test]
fn links_lead_to_files_that_exist() {
    for name in PAGES {
        let text = page(name);
        assert!(!text.is_empty(), "{name} is missing");
        for link in text.split("](").skip(1) {
            let target = link.split([')', '#', ' ']).next().unwrap_or_default();
            let outside = target.is_empty() || target.contains("://");
            assert!(
                outside || repository().join(target).exists(),
                "{name} links to {target}"
            );
        }
    }
}

#[test]
fn commands_of_the_pages_are_known_with_all_their_flags() {
    let folder = TempDir::new().unwrap();
    let mut checked = 0;
    for name in PAGES {
        for call in blocks(&page(name)).iter().flat_map(calls) {
            let mut words = verb(&call);
            words.push("--help");
            let help = run(&words, folder.path()).unwrap();
            assert!(help.status.success(), "{name}: {call:?}: {}", both(&help));
            let help = both(&help);
            for flag in call.iter().filter(|word| word.starts_with("--") && word.len() > 2) {
                let flag = flag.split('=').next().unwrap_or_default();
                assert!(help.contains(flag), "{name}: {call:?}: {flag} is not known:\n{help}");
            }
            checked += 1;
        }
    }
    assert!(checked >= 3, "only {checked} commands were found");
}

/// A `console` block shows a command after `$ ` and below it what the program prints; `...` stands for any lines.
#[test]
fn printed_answers_are_the_programs() {
    let folder = TempDir::new().unwrap();
    let search = program().unwrap().parent().unwrap().to_path_buf();
    let path = format!("{}:{}", search.display(), std::env::var("PATH").unwrap_or_default());
    for name in PAGES {
        for block in blocks(&page(name)).iter().filter(|block| block.language == "console") {
            for part in block.lines.join("\n").split("$ ").skip(1) {
                let (command, shown) = part.split_once('\n').unwrap_or((part, ""));
                let mut shell = Command::new("sh");
                let output = shell
                    .args(["-c", command])
                    .env("PATH", &path)
                    .current_dir(folder.path())
                    .output();
                let output = output.unwrap();
                assert!(output.status.success(), "{name}: {command}: {}", both(&output));
                let printed = String::from_utf8_lossy(&output.stdout);
                assert!(
                    matches(shown, &printed),
                    "{name}: {command} prints\n{printed}\nbut the page shows\n{shown}"
                );
            }
        }
    }
}

/// Whether the pieces between lines of `...` come in order, the first at the start and the last at the end.
fn matches(shown: &str, printed: &str) -> bool {
    let mut rest = printed.trim_end();
    let mut pieces = shown.trim_end().split("...\n").peekable();
    let mut first = true;
    while let Some(piece) = pieces.next() {
        let last = pieces.peek().is_none();
        let piece = piece.trim_end_matches("...");
        let at = if first {
            rest.starts_with(piece).then_some(0)
        } else {
            rest.find(piece)
        };
        let Some(at) = at else { return false };
        rest = rest.get(at + piece.len()..).unwrap_or_default();
        if last && !shown.trim_end().ends_with("...") && !rest.is_empty() {
            return false;
        }
        first = false;
    }
    true
}
