//! What is typed on the command line, before it is checked.

use std::path::PathBuf;

use clap::{Arg, ArgAction, Args, Command, CommandFactory as _, Parser, Subcommand};

/// Address served on when none is given: loopback only.
pub(crate) const LISTEN: &str = "127.0.0.1:7411";

/// The suspension tuner's workbench: measures springs, keeps the rack, answers with uncertainty.
#[derive(Debug, Parser)]
#[command(
    name = "springwright",
    version,
    subcommand_required = true,
    arg_required_else_help = true,
    after_help = "Data goes to stdout, words to stderr. Exit code 0: done; 1: the answer is no (not found, refused, faults found); 2: error.\n\
                  Example: springwright spring load-at-length --rate 9.5N/mm --free-length 450mm --length 400mm"
)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) action: Action,
}

/// What can be done, beside the verbs of the benches.
#[derive(Debug, Subcommand)]
pub(crate) enum Action {
    /// Serve a shop's store over gRPC and the bench page, until Ctrl-C.
    #[command(after_help = "Example: springwright serve --store shop --create")]
    Serve(ServeArgs),
    /// Show everything at work with invented springs on simulated testers, then keep serving.
    #[command(after_help = "Example: springwright demo --once")]
    Demo(DemoArgs),
    /// Record an instrument's readings as a run, kept on disk before they are sent.
    #[command(after_help = "Example: springwright feed --connect 127.0.0.1:9000 --spring springs/a7")]
    Feed(Box<crate::feed::Options>),
    /// Simulate a rate tester with a spring of known truth on it; everything it says is invented.
    #[command(after_help = "Example: springwright tester --rate \"9.5 N/mm\" --print")]
    Tester(Box<crate::tester::Options>),
    /// Make any call of the API by its name; without a name, list the calls.
    #[command(after_help = "Example: springwright call SpringService/LoadAtLength --request request.json --json")]
    Call(CallArgs),
    /// Write everything in a store as documented text: a backup.
    #[command(after_help = "Example: springwright export --store shop --to backup.txt")]
    Export(ExportArgs),
    /// Make a store from an export.
    #[command(after_help = "Example: springwright import --store restored --from backup.txt")]
    Import(ImportArgs),
    /// Read everything in a store and check it; exit code 1 where faults are found.
    #[command(after_help = "Example: springwright verify --store shop")]
    Verify(FolderArgs),
    /// Rewrite a store without what it no longer needs.
    #[command(after_help = "Example: springwright compact --store shop")]
    Compact(FolderArgs),
    /// Convert a value into another unit of the same dimension.
    #[command(after_help = "Example: springwright convert \"9.5 kgf/mm\" \"lbf/in\"")]
    Convert(ConvertArgs),
    /// Write what a shell needs to complete verbs and flags.
    #[command(
        after_help = "Example: springwright completions bash > ~/.local/share/bash-completion/completions/springwright"
    )]
    Completions(CompletionsArgs),
}

/// `serve`.
#[derive(Debug, Args)]
pub(crate) struct ServeArgs {
    /// Folder of the store
    #[arg(long, value_name = "DIR")]
    pub(crate) store: PathBuf,
    /// Make the store, in an absent or empty folder; without this an absent store is refused
    #[arg(long)]
    pub(crate) create: bool,
    /// Address and port to serve on
    #[arg(long, value_name = "ADDR", default_value = LISTEN)]
    pub(crate) listen: String,
    /// Allow an address other machines can reach: anyone who reaches it can read and change everything
    #[arg(long)]
    pub(crate) allow_network: bool,
    /// A further host name this server answers to (may be repeated)
    #[arg(long, value_name = "NAME")]
    pub(crate) host: Vec<String>,
}

/// `demo`.
#[derive(Debug, Args)]
pub(crate) struct DemoArgs {
    /// Folder to make the store in, absent or empty; left out: a temporary one, removed at the end
    #[arg(long, value_name = "DIR")]
    pub(crate) store: Option<PathBuf>,
    /// End after the reports instead of serving on
    #[arg(long)]
    pub(crate) once: bool,
    /// Address and port to serve on, loopback only [default: 127.0.0.1:7411, or any free port with --once]
    #[arg(long, value_name = "ADDR")]
    pub(crate) listen: Option<String>,
}

/// `call`.
#[derive(Debug, Args)]
pub(crate) struct CallArgs {
    /// Service/Method; the package may be left out
    #[arg(value_name = "SERVICE/METHOD")]
    pub(crate) call: Option<String>,
    #[command(flatten)]
    pub(crate) common: CommonArgs,
}

/// What every verb takes.
#[derive(Debug, Args)]
pub(crate) struct CommonArgs {
    /// Server to ask; without it a calculation runs in this process, on values and files only
    #[arg(long, value_name = "ADDR")]
    pub(crate) server: Option<String>,
    /// The request as proto JSON, from a file or from stdin with "-"; flags are laid over it
    #[arg(long, value_name = "FILE")]
    pub(crate) request: Option<String>,
    /// Set any field of the request by its path, such as --set geometry.wire_diameter="4.5 mm" (may be repeated)
    #[arg(long, value_name = "PATH=VALUE")]
    pub(crate) set: Vec<String>,
    /// Print replies as proto JSON, one document a line
    #[arg(long)]
    pub(crate) json: bool,
}

/// `export`.
#[derive(Debug, Args)]
pub(crate) struct ExportArgs {
    /// Folder of the store
    #[arg(long, value_name = "DIR")]
    pub(crate) store: PathBuf,
    /// File to write; "-" for stdout
    #[arg(long, value_name = "FILE")]
    pub(crate) to: PathBuf,
}

/// `import`.
#[derive(Debug, Args)]
pub(crate) struct ImportArgs {
    /// Folder to make the store in, absent or empty
    #[arg(long, value_name = "DIR")]
    pub(crate) store: PathBuf,
    /// File to read; "-" for stdin
    #[arg(long, value_name = "FILE")]
    pub(crate) from: PathBuf,
}

/// `verify`, `compact`.
#[derive(Debug, Args)]
pub(crate) struct FolderArgs {
    /// Folder of the store
    #[arg(long, value_name = "DIR")]
    pub(crate) store: PathBuf,
}

/// `convert`.
#[derive(Debug, Args)]
pub(crate) struct ConvertArgs {
    /// A number with its unit, such as "9.5 kgf/mm"
    #[arg(allow_hyphen_values = true)]
    pub(crate) value: String,
    /// The unit wanted, such as "lbf/in"
    pub(crate) unit: String,
}

/// `completions`.
#[derive(Debug, Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    pub(crate) shell: clap_complete::Shell,
}

/// The whole command, with the verbs of the benches beside the fixed actions.
pub(crate) fn command(benches: impl IntoIterator<Item = Command>) -> Command {
    Cli::command().subcommands(benches)
}

/// A verb of a bench with what every verb takes.
pub(crate) fn verb(name: String, about: String) -> Command {
    // The words come last: those of the shared arguments would stand in their place.
    CommonArgs::augment_args(Command::new(name)).about(about)
}

/// A flag of a verb that carries one text, or several.
pub(crate) fn flag(name: String, help: String, many: bool) -> Arg {
    let action = if many { ArgAction::Append } else { ArgAction::Set };
    Arg::new(name.clone())
        .long(name)
        .help(help)
        .value_name("VALUE")
        .action(action)
        .allow_hyphen_values(true)
}
