//! The program as a person or a script meets it: exit codes, what goes where, what is said of faults.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test that cannot go on fails where it stands"
)]

use std::io::{Read as _, Write as _};
use std::process::{Command, Output, Stdio};

fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_springwright"));
    command.args(arguments).stdin(Stdio::null()).env_remove("RUST_LOG");
    command
}

fn run(arguments: &[&str]) -> Output {
    program(arguments).output().unwrap()
}

fn run_with(arguments: &[&str], input: &str) -> Output {
    let mut command = program(arguments);
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that ends before it read everything closes its end; that is its answer, not a fault of the test.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    child.wait_with_output().unwrap()
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// The exit code 2, nothing on stdout, and these words on stderr.
fn assert_error(output: &Output, words: &[&str]) {
    let said = stderr(output);
    assert_eq!((output.status.code(), stdout(output).as_str()), (Some(2), ""), "{said}");
    for word in words {
        assert!(said.contains(word), "\"{word}\" is missing from:\n{said}");
    }
    assert!(!said.contains("panicked"), "{said}");
}

#[test]
fn a_value_is_converted_on_stdout_and_nothing_is_said() {
    let output = run(&["convert", "1 kgf/mm", "N/mm"]);
    assert_eq!(
        (output.status.code(), stdout(&output).as_str(), stderr(&output).as_str()),
        (Some(0), "9.80665 N/mm\n", "")
    );
}

#[test]
fn an_unknown_unit_lists_the_known_ones() {
    assert_error(&run(&["convert", "9.5 N/parsec", "N/mm"]), &["N/parsec", "lbf/in"]);
    let flag = run(&["spring", "load-at-length", "--rate", "9.5mm"]);
    assert_error(
        &flag,
        &["--rate", "\"mm\" is no unit of Stiffness", "N/mm, kgf/mm, lbf/in"],
    );
    assert_error(
        &run(&["spring", "load-at-length", "--length", "400"]),
        &["--length", "no unit", "mm, in, m"],
    );
}

#[test]
fn the_calls_are_listed_and_a_wrong_name_lists_them_too() {
    let listed = run(&["call"]);
    assert_eq!(listed.status.code(), Some(0));
    assert!(
        stdout(&listed).contains("  SpringService/ReduceRun\n"),
        "{}",
        stdout(&listed)
    );
    assert_error(
        &run(&["call", "ShimService/Solve"]),
        &["ShimService", "SpringService/LoadAtLength"],
    );
    let other = run(&["call", "springwright.v1.RackService/Solve"]);
    assert_error(&other, &["Solve", "RackService/CreateSpring"]);
    assert!(!stderr(&other).contains("SpringService/"), "{}", stderr(&other));
}

#[test]
fn every_call_has_a_verb_with_words_and_an_example() {
    for call in stdout(&run(&["call"])).lines() {
        let call = call.trim().split("  ").next().unwrap();
        let (service, method) = call.split_once('/').unwrap();
        let bench = service.strip_suffix("Service").unwrap().to_ascii_lowercase();
        let verb: String = method.char_indices().fold(String::new(), |verb, (index, letter)| {
            let gap = if letter.is_uppercase() && index > 0 { "-" } else { "" };
            verb + gap + &letter.to_lowercase().to_string()
        });
        let help = run(&[&bench, &verb, "--help"]);
        assert_eq!(help.status.code(), Some(0), "{call}");
        let help = stdout(&help);
        assert!(
            !help.starts_with("Usage") && !help.starts_with("What every verb"),
            "{call}:\n{help}"
        );
        for part in [
            "--server",
            "--request",
            "--json",
            &format!("Example: springwright {bench} {verb} "),
        ] {
            assert!(help.contains(part), "{call}: \"{part}\" is missing from:\n{help}");
        }
    }
}

#[test]
fn a_request_that_cannot_be_read_is_said_with_place_and_field() {
    let json = "{\n  \"values\": {\"rate\": {\"value\": \"much\", \"unit\": \"UNIT_NEWTON_PER_MILLIMETER\"}}\n}";
    let output = run_with(&["spring", "load-at-length", "--request", "-"], json);
    assert_error(&output, &["stdin, line 2", "values.rate.value"]);
    assert_error(
        &run_with(&["call", "SpringService/LoadAtLength", "--request", "-"], " "),
        &["no JSON document"],
    );
    assert_error(
        &run_with(&["call", "SpringService/LoadAtLength", "--request", "-"], "{}\n{}"),
        &["line 2", "a second document"],
    );
}

#[test]
fn a_record_without_a_server_is_refused_in_words() {
    assert_error(
        &run(&["spring", "load-at-length", "--spring", "springs/a7"]),
        &["springs/a7", "--server"],
    );
    assert_error(
        &run(&["rack", "get-spring", "--name", "springs/a7"]),
        &["RackService/GetSpring", "--server"],
    );
}

#[test]
fn a_server_that_is_not_there_is_said_with_its_address() {
    // Port 1 of the loopback is reserved and nobody listens there.
    let output = run(&["rack", "list-springs", "--server", "127.0.0.1:1"]);
    assert_error(&output, &["127.0.0.1:1", "springwright serve"]);
}

#[test]
fn a_reader_that_leaves_ends_the_program_quietly() {
    let mut child = program(&["tester", "--print"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = [0; 16];
    child.stdout.take().unwrap().read_exact(&mut first).unwrap();
    let ended = child.wait_with_output().unwrap();
    assert_eq!((ended.status.code(), stderr(&ended).as_str()), (Some(0), ""));
}

#[test]
fn an_address_others_can_reach_is_refused_unless_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("shop").display().to_string();
    let output = run(&["serve", "--store", &store, "--create", "--listen", "0.0.0.0:0"]);
    assert_error(&output, &["0.0.0.0:0", "--allow-network"]);
    assert!(
        !folder.path().join("shop").exists(),
        "a refused start left a store behind"
    );
}

#[test]
fn a_csv_file_without_declared_units_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("run.csv");
    std::fs::write(&file, "deflection,load\n0,0\n1,9.5\n").unwrap();
    let file = file.display().to_string();
    assert_error(
        &run(&["spring", "reduce-run", "--csv", &file]),
        &["--columns", "deflection:mm,load:N"],
    );
    let stone = run(&[
        "spring",
        "reduce-run",
        "--csv",
        &file,
        "--columns",
        "deflection:mm,load:stone",
    ]);
    assert_error(&stone, &["stone", "N, kgf, lbf"]);
}

#[test]
fn a_shell_can_source_its_completions_and_learns_the_verbs() {
    let script = r#"
        source /dev/stdin
        COMP_WORDS=(springwright "$1" "$2"); COMP_CWORD=2
        [ -n "$2" ] || { COMP_WORDS=(springwright "$1"); COMP_CWORD=1; }
        _springwright springwright "${COMP_WORDS[$COMP_CWORD]}" springwright
        printf '%s\n' "${COMPREPLY[@]}"
    "#;
    let completions = run(&["completions", "bash"]);
    assert!(completions.status.success());
    let offered = |words: [&str; 2]| {
        let mut shell = Command::new("bash")
            .args(["--norc", "-c", script, "bash"])
            .args(words)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        shell.stdin.take().unwrap().write_all(&completions.stdout).unwrap();
        let output = shell.wait_with_output().unwrap();
        assert!(output.status.success());
        stdout(&output).lines().map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(offered(["calib", ""]), ["calibration"]);
    assert_eq!(offered(["spring", "redu"]), ["reduce-run"]);
    for shell in ["zsh", "fish", "elvish", "powershell"] {
        let script = run(&["completions", shell]);
        assert!(
            script.status.success() && stdout(&script).contains("reduce-run"),
            "{shell}"
        );
    }
}

#[test]
fn stacks_are_compared_as_they_are_typed() {
    let around = ["--clamp", "14mm", "--port-inner", "18mm", "--port-outer", "26mm"];
    let sides = ["--first", "30x0.15*2, 26x0.15 mm", "--second", "30x0.15*3, 26x0.15 mm"];
    let output = run(&[&["valving", "compare-stacks"], &sides[..], &around[..]].concat());
    let text = stdout(&output);
    assert!(output.status.success(), "{}", stderr(&output));
    // Low, middle and high, under their headings.
    assert_eq!(text.matches(" % stiffer").count(), 3, "{text}");
    let wrong = ["--first", "30x0.15, thirty mm", "--second", "30x0.15 mm"];
    let output = run(&[&["valving", "compare-stacks"], &wrong[..], &around[..]].concat());
    assert_error(&output, &["--first", "layer 2, \"thirty mm\""]);
    // What a side is called stands for all of it; without a server there is no such name.
    let named = ["--first", "stacks/mid", "--second", "30x0.15 mm"];
    let output = run(&[&["valving", "compare-stacks"], &named[..], &around[..]].concat());
    assert!(!output.status.success(), "{}", stdout(&output));
}

#[test]
fn oil_is_evaluated_from_flags_alone() {
    let sheet = ["--viscosity", "404mm2/s", "--viscosity-at", "40degC"];
    let other = ["--second-viscosity", "28mm2/s", "--second-viscosity-at", "100degC"];
    let asked = ["--temperature", "60degC"];
    let output = run(&[&["valving", "evaluate-oil"], &sheet[..], &other[..], &asked[..]].concat());
    // A published worked example of ASTM D341: 132.126 mm2/s.
    assert!(stdout(&output).contains("132.1"), "{}", stderr(&output));
}

#[test]
fn damper_is_evaluated_from_flags_into_a_table() {
    let stroke = |name: &str| {
        let flags = [
            ("stack", "30x0.15*2, 26x0.15 mm"),
            ("clamp", "14mm"),
            ("port-inner", "18mm"),
            ("port-outer", "26mm"),
            ("bleed", "1.4mm2"),
        ];
        let words = flags
            .into_iter()
            .flat_map(|(flag, text)| [format!("--{name}-{flag}"), text.to_owned()]);
        words.collect::<Vec<_>>()
    };
    let around = "valving evaluate-damper --bore 46mm --shaft 14mm --gas 3MPa --gas-volume 120mL --viscosity 15mm2/s \
                  --viscosity-at 40degC --second-viscosity 3.8mm2/s --second-viscosity-at 100degC --to 0.5m/s --points 2";
    let mut words: Vec<String> = around.split_whitespace().map(str::to_owned).collect();
    words.extend(stroke("compression"));
    words.extend(stroke("rebound"));
    let output = run(&words.iter().map(String::as_str).collect::<Vec<_>>());
    let text = stdout(&output);
    assert!(output.status.success(), "{}", stderr(&output));
    for wanted in ["velocity", "bleed", "-0.500 m/s", " 0.500 m/s"] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    assert!(!text.contains("-0.0 N"), "{text}");
}

/// How far from the axis each drawn shim reaches, from the piston up.
fn drawn_reaches(svg: &str) -> Vec<f64> {
    let between = |text: &str, from: &str, to: &str| Some(text.split_once(from)?.1.split_once(to)?.0.to_owned());
    let axis: f64 = between(svg, "<path class=\"rule\" d=\"M", " ")
        .unwrap()
        .parse()
        .unwrap();
    let outlines = svg.split("<polygon class=\"shim").skip(1);
    outlines
        .map(|outline| {
            let points = between(outline, "points=\"", "\"").unwrap();
            let across = points
                .split(' ')
                .map(|point| point.split(',').next().unwrap().parse::<f64>().unwrap());
            across.fold(axis, f64::max) - axis
        })
        .collect()
}

#[test]
fn a_stack_is_drawn_to_scale_and_bent_as_it_is_solved() {
    const STACK: [&str; 10] = [
        "valving",
        "draw-stack",
        "--shims",
        "30x0.15*2, 26x0.15, 22x0.15 mm",
        "--clamp",
        "14mm",
        "--port-inner",
        "18mm",
        "--port-outer",
        "26mm",
    ];
    let flat = run(&STACK);
    assert_eq!(
        (flat.status.code(), stderr(&flat).as_str()),
        (Some(0), ""),
        "{}",
        stderr(&flat)
    );
    let flat = stdout(&flat);
    assert!(
        flat.starts_with("<?xml") && flat.trim_end().ends_with("</svg>"),
        "{flat}"
    );
    let reaches = drawn_reaches(&flat);
    let diameters = [30.0, 30.0, 26.0, 22.0];
    assert_eq!(reaches.len(), diameters.len(), "{flat}");
    let scale = reaches[0] / diameters[0];
    for (reach, diameter) in reaches.iter().zip(diameters) {
        assert!(
            (reach / scale - diameter).abs() < 0.01,
            "{reach} is not to scale with {diameter}"
        );
    }

    let bent = stdout(&run(&[&STACK[..], &["--pressure", "0.5MPa"]].concat()));
    let solved = stdout(&run(&[
        &["valving", "solve-stack"],
        &STACK[2..],
        &["--pressure", "0.5MPa", "--json"],
    ]
    .concat()));
    let solved: serde_json::Value = serde_json::from_str(&solved).unwrap();
    let lift = solved["points"][0]["edgeLift"]["value"].as_f64().unwrap();
    assert!(
        bent.contains(&format!("edge of the face shim lifts {lift:.3} mm")),
        "{lift}: {bent}"
    );
    assert!(!flat.contains("lifts"), "{flat}");

    assert_error(&run(&[&STACK[..], &["--json"]].concat()), &["no JSON"]);
    assert_error(&run(&["valving", "draw-stack", "--stack", "stacks/mid"]), &["--server"]);
    let hostile = run(&[
        "valving",
        "draw-stack",
        "--shims",
        "30x0.15 mm <script>",
        "--clamp",
        "14mm",
    ]);
    assert_error(&hostile, &["--shims"]);
}

/// The visits that were decided by hand, as files somebody hands to the program; the API answers them in `tests/foreign/visits.py`.
#[test]
fn a_visit_in_a_file_is_judged_as_it_was_decided_by_hand() {
    let visits: serde_json::Value = serde_json::from_str(include_str!("../../../tests/data/visits.json")).unwrap();
    let mut judged = 0;
    for visit in visits.as_array().unwrap() {
        let name = visit["name"].as_str().unwrap();
        let output = run_with(
            &["setup", "judge-setup", "--request", "-"],
            &visit["request"].to_string(),
        );
        match visit["verdicts"].get(0).and_then(serde_json::Value::as_str) {
            Some(first) => {
                let said = stdout(&output);
                assert!(
                    said.starts_with(&format!("first: {first}")),
                    "{name}:\n{said}{}",
                    stderr(&output)
                );
                let hand = visit["verdicts"].as_array().unwrap();
                let lines = said
                    .lines()
                    .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
                    .count();
                assert_eq!(lines, hand.len(), "{name}:\n{said}");
                judged += 1;
            }
            None => assert_error(&output, &[visit["refused"][0].as_str().unwrap()]),
        }
    }
    assert!(judged > 10);
}
