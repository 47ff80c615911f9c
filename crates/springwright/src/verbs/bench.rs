//! A verb per call, under its bench: `rack get-spring` for `RackService/GetSpring`.

use std::path::PathBuf;

use clap::{Arg, ArgAction, ArgMatches, Command, FromArgMatches as _};
use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MethodDescriptor};

use super::{
    Shown, ask, book, calibration, draw_stack, drawer, example, reduce_run, run_method, setup, springs, valving,
};
use crate::args::{self, CommonArgs};
use crate::call::document;
use crate::entry::{enter, is_typable};
use crate::fail::{Ended, Fail};
use crate::{api, args::flag, print};

/// The flag that draws the reply.
const PLOT: &str = "plot";
/// The option that writes the document of a reply.
const OUT: &str = "out";

/// A flag and the field of the request it sets.
#[derive(Clone)]
pub(super) struct Flag {
    pub(super) name: String,
    pub(super) path: String,
    pub(super) help: String,
    pub(super) many: bool,
    /// Where a stack as text goes; the path is for its name.
    pub(super) text_path: Option<String>,
    /// What it sets besides.
    pub(super) also: Option<String>,
}

impl Flag {
    pub(super) fn new(name: &str, path: &str, help: &str) -> Self {
        Self {
            name: name.to_owned(),
            path: path.to_owned(),
            help: help.to_owned(),
            many: false,
            text_path: None,
            also: None,
        }
    }

    /// One that takes a stack, by its name or as text.
    pub(super) fn stack(name: &str, name_path: &str, text_path: &str, help: &str) -> Self {
        Self {
            text_path: Some(text_path.to_owned()),
            ..Self::new(name, name_path, help)
        }
    }

    /// What a text sets.
    fn entries(&self, text: &str) -> Vec<(String, String, String)> {
        let named = text.trim_start().starts_with("stacks/");
        let path = self.text_path.as_ref().filter(|_| !named).unwrap_or(&self.path);
        let paths = [Some(path), self.also.as_ref()].into_iter().flatten();
        paths
            .map(|path| (self.name.clone(), path.clone(), text.to_owned()))
            .collect()
    }

    /// One that can be given again and again.
    pub(super) fn many(name: &str, path: &str, help: &str) -> Self {
        Self {
            many: true,
            ..Self::new(name, path, help)
        }
    }

    /// As the command line takes it.
    pub(super) fn arg(self) -> Arg {
        flag(self.name, self.help, self.many)
    }
}

/// Fields of a record that only the server sets.
const SERVER_FIELDS: [&str; 16] = [
    "uid",
    "revision",
    "create_time",
    "update_time",
    "delete_time",
    "purge_time",
    "state",
    "header",
    "block_count",
    "sample_count",
    "gaps",
    "content_digest",
    "finish_time",
    "built",
    "built_count",
    "taken",
];

/// The benches with their verbs.
pub(crate) fn commands() -> Result<Vec<Command>, Fail> {
    let services = api::pool()?
        .services()
        .filter(|service| service.package_name() == api::PACKAGE);
    let benches = services.map(|service| {
        let about = api::words(&service.parent_file(), service.path());
        let verbs = service.methods().map(|method| verb(&method));
        let bench = bench_name(service.name());
        let beside = match bench.as_str() {
            draw_stack::BENCH => Some(draw_stack::command()),
            ask::BENCH => Some(ask::command()),
            _ => None,
        };
        Command::new(bench)
            .about(format!("{about} ({})", service.name()))
            .subcommand_required(true)
            .arg_required_else_help(true)
            .subcommands(verbs)
            .subcommands(beside)
    });
    Ok(benches.collect())
}

/// Runs a bench's verb.
pub(crate) async fn run(bench: &str, matches: &ArgMatches) -> Ended {
    let (verb, matches) = matches
        .subcommand()
        .ok_or_else(|| Fail::error(format!("{bench}: no verb")))?;
    if (bench, verb) == (draw_stack::BENCH, draw_stack::VERB) {
        return draw_stack::run(matches).await;
    }
    if (bench, verb) == (ask::BENCH, ask::VERB) {
        return ask::run(matches).await;
    }
    let known = api::methods()?;
    let method = known
        .into_iter()
        .find(|method| bench_name(method.parent_service().name()) == bench && api::kebab(method.name()) == verb);
    let method = method.ok_or_else(|| Fail::error(format!("{bench} has no verb {verb}")))?;
    let common = CommonArgs::from_arg_matches(matches).map_err(|fault| Fail::error(fault.to_string()))?;
    let with_flags = |message: &mut DynamicMessage| {
        enter_all(message, &entries(&method, matches))?;
        if api::is_calculation(&method) {
            enter_units(message, matches)?;
        }
        if is_reduce_run(&method) {
            reduce_run::enter_flags(message, matches)?;
        }
        springs::enter_flags(method.name(), message, matches)?;
        match points_path(&method) {
            Some(path) => calibration::enter_flags(message, matches, path),
            None => Ok(()),
        }
    };
    let shown = Shown {
        verdict_counts: true,
        plot: print::has_plot(method.name()) && matches.get_flag(PLOT),
        out: out_of(&method, matches),
    };
    run_method(method.clone(), common, with_flags, shown).await
}

/// Where the document of a reply goes.
fn out_of(method: &MethodDescriptor, matches: &ArgMatches) -> Option<PathBuf> {
    let holds = document::may_hold(&method.output());
    let given = holds.then(|| matches.get_one::<String>(OUT)).flatten();
    given.map(PathBuf::from)
}

pub(super) fn bench_name(service: &str) -> String {
    api::kebab(service.strip_suffix("Service").unwrap_or(service))
}

fn is_reduce_run(method: &MethodDescriptor) -> bool {
    method.name() == "ReduceRun"
}

/// Where a request takes the points of a calibration.
fn points_path(method: &MethodDescriptor) -> Option<&'static str> {
    match method.name() {
        "FitCalibration" => Some("points"),
        "CreateTester" | "UpdateTester" => Some("tester.calibration.points"),
        _ => None,
    }
}

fn verb(method: &MethodDescriptor) -> Command {
    let about = api::words(&method.parent_service().parent_file(), method.path());
    let mut verb = args::verb(api::kebab(method.name()), about).after_help(example::of(method));
    verb = verb.args(flags(method).into_iter().map(Flag::arg));
    if api::is_calculation(method) {
        verb = verb.arg(units_arg());
    }
    if is_reduce_run(method) {
        verb = verb.args(reduce_run::args());
    }
    if points_path(method).is_some() {
        verb = verb.args(calibration::args());
    }
    if print::has_plot(method.name()) {
        verb = verb.arg(
            Arg::new(PLOT)
                .long(PLOT)
                .help("Draw the curve in letters below the reply")
                .action(ArgAction::SetTrue)
                .conflicts_with("json"),
        );
    }
    if document::may_hold(&method.output()) {
        verb = verb.arg(
            Arg::new(OUT)
                .long(OUT)
                .value_name("FILE")
                .help("Write the document or picture of the reply to a file; \"-\" for stdout"),
        );
    }
    verb.args(springs::args(method.name()))
}

/// The choice of units.
pub(super) fn units_arg() -> Arg {
    let help = "Units of computed values: metric or inch".to_owned();
    flag("units".to_owned(), help, false)
}

/// Lays the chosen units over a request.
pub(super) fn enter_units(message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    match matches.get_one::<String>("units") {
        Some(units) => enter(message, "reply_units", units).map_err(|words| Fail::at("--units", words)),
        None => Ok(()),
    }
}

/// Lays what was typed over a request: flag, path, text.
pub(super) fn enter_all(message: &mut DynamicMessage, entries: &[(String, String, String)]) -> Result<(), Fail> {
    for (flag, path, text) in entries {
        enter(message, path, text).map_err(|words| Fail::at(format!("--{flag}"), words))?;
    }
    Ok(())
}

/// What was typed for these flags: flag, path, text.
pub(super) fn typed(flags: Vec<Flag>, matches: &ArgMatches) -> Vec<(String, String, String)> {
    let given = flags.into_iter().flat_map(|flag| {
        let texts = matches.get_many::<String>(&flag.name).into_iter().flatten();
        texts.flat_map(|text| flag.entries(text)).collect::<Vec<_>>()
    });
    given.collect()
}

fn entries(method: &MethodDescriptor, matches: &ArgMatches) -> Vec<(String, String, String)> {
    let mut entries = typed(flags(method), matches);
    if method.name() == "CompareStacks" {
        valving::keep_named(&mut entries);
    }
    entries
}

/// The flags of a verb: the bench's short ones where there are any, else one for each field that can be typed.
fn flags(method: &MethodDescriptor) -> Vec<Flag> {
    match method.name() {
        "ReduceRun" => reduce_run::flags(),
        "LoadAtLength" => load_at_length(),
        "SolveStack" => valving::solve_stack(),
        "ReadSag" => setup::read_sag(),
        "JudgeSetup" => derived(method).into_iter().chain(setup::judge_setup()).collect(),
        "ForecastLimits" => setup::forecast_limits(),
        "CompareStacks" => valving::compare_stacks(),
        "EvaluateDamper" => valving::evaluate_damper(),
        "EvaluateOil" => valving::evaluate_oil(),
        "CreateShimLot" | "UpdateShimLot" => drawer::shim_lot(method.name()),
        "AdjustShimCount" => drawer::adjust_shim_count(),
        "CreateStack" | "UpdateStack" => drawer::stack(method.name()),
        "BuildStack" | "UnbuildStack" => drawer::build(method.name()),
        "CreateDamper" | "UpdateDamper" => drawer::damper(method.name()),
        "CreateMachine" | "UpdateMachine" => [derived(method), book::machine("machine")].concat(),
        "CreateSetup" | "UpdateSetup" => [derived(method), book::setup("setup")].concat(),
        "CompareSetups" => book::compare(),
        "CreateTester" | "UpdateTester" => derived(method).into_iter().chain(calibration::of_tester()).collect(),
        _ if method.is_client_streaming() => Vec::new(),
        name => springs::flags(name).into_iter().chain(derived(method)).collect(),
    }
}

fn load_at_length() -> Vec<Flag> {
    vec![
        Flag::new(
            "spring",
            "spring",
            "A spring of the rack, such as springs/a7; needs --server",
        ),
        Flag::new("rate", "values.rate", "Spring rate, such as 9.5N/mm"),
        Flag::new(
            "rate-uncertainty",
            "values.rate_standard_uncertainty",
            "Its standard uncertainty",
        ),
        Flag::new("free-length", "values.free_length", "Free length, such as 450mm"),
        Flag::new(
            "free-length-uncertainty",
            "values.free_length_standard_uncertainty",
            "Its standard uncertainty",
        ),
        Flag::new(
            "solid-length",
            "values.solid_length",
            "Solid length: binding is then said",
        ),
        Flag::new("length", "length", "The length it is held at, such as 400mm"),
        Flag::new(
            "coverage",
            "coverage_probability",
            "Probability the expanded uncertainty covers, such as 95%",
        ),
    ]
}

fn derived(method: &MethodDescriptor) -> Vec<Flag> {
    let input = method.input();
    let has_own_id = input
        .fields()
        .any(|field| field.name().ends_with("_id") && field.name() != "request_id");
    let mut flags = Vec::new();
    for field in input.fields().filter(|field| field.name() != "reply_units") {
        match field.kind() {
            Kind::Message(record) if api::is_record(&record) => {
                // The name of what is made comes from its id.
                let named = record
                    .fields()
                    .filter(|inner| !(has_own_id && matches!(inner.name(), "name" | "etag")));
                let settable = named.filter(|inner| !SERVER_FIELDS.contains(&inner.name()) && is_typable(inner));
                flags.extend(settable.map(|inner| of_field(&inner, Some(&field))));
            }
            _ if is_typable(&field) => flags.push(of_field(&field, None)),
            _ => {}
        }
    }
    flags
}

fn of_field(field: &FieldDescriptor, within: Option<&FieldDescriptor>) -> Flag {
    let path = within.map_or_else(
        || field.name().to_owned(),
        |outer| format!("{}.{}", outer.name(), field.name()),
    );
    let help = match field.name() {
        "request_id" => "A UUID that makes a retry the same change; left out: one is chosen and said".to_owned(),
        _ => api::words(&field.parent_message().parent_file(), field.path()),
    };
    Flag {
        name: api::kebab(field.name()),
        path,
        help: help.trim_end_matches('.').to_owned(),
        many: field.is_list(),
        text_path: None,
        also: None,
    }
}
