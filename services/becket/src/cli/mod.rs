//! The command line: what can be typed, and nothing of what it does.

mod change;
mod design;
mod feed;
mod floor;
mod list;
mod load;
mod picture;
mod plot;
mod report;
mod serve;
mod show;
mod stock;
mod token;
mod values;
mod webhook;
mod winding;

use std::{path::PathBuf, time::Duration};

use becket_units::UnitSystem;
use clap::{Args, Parser, Subcommand, ValueEnum};

pub(crate) use change::{Amend, Close, Release};
pub(crate) use design::{
    Bands, Compare, Design, DesignFile, LayerWord, ModelFlags, Replace, Special, Stretch,
};
pub(crate) use feed::Feed;
pub(crate) use floor::{Cancel, Confirm, Finish, Plan, Replan, RunOut, Spoiled, Start, Watch};
pub(crate) use list::{
    Limit, List, ListCoils, ListCutLists, ListEvidence, ListJobs, ListJournal, ListScales, ListStations,
    ListStockRules, ListWires,
};
pub(crate) use load::{Load, LoadCoils, LoadJobs, LoadScale, LoadStation, LoadWires};
pub(crate) use picture::{Picture, PlanFile};
pub(crate) use plot::Plot;
pub(crate) use report::{Estimate, Trace};
pub(crate) use serve::{Backup, EngineWord, Migrate, MoveShop, Only, Place, Restore, Serve, Tour, Verify};
pub(crate) use show::{Partials, Set, Sets, Show, WorkSheet};
pub(crate) use stock::{Decide, ReturnCoil, Scrap, SetAside, SetRule, Unmount, Verdict, Weigh};
pub(crate) use token::{Settings, Token};
pub(crate) use values::*;
pub(crate) use webhook::{CreateWebhook, DeleteWebhook, ListLetters, ListWebhooks, Redeliver, Webhook};
pub(crate) use winding::{ListWindingOrders, OrderWound, WindingOrder};

const AFTER_HELP: &str = "\
Exit codes:
  0  done
  1  refused by the server; the reason and every faulty field are printed
  2  the command line or a file cannot be read
  3  the server cannot be reached or did not answer in time
  4  the plan was made, but the stock does not cover all of it
  5  the journal and the tables differ

Example:
  becket tour
  becket --format csv show set C27-0107 --pieces";

/// Computes piano strings from a scale and plans and follows the cutting of the wire.
#[derive(Debug, Parser)]
#[command(name = "becket", version, after_help = AFTER_HELP)]
pub(crate) struct Cli {
    #[command(flatten)]
    pub(crate) global: Global,
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

/// Options of every verb.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options of every verb")]
pub(crate) struct Global {
    /// Address of the server
    #[arg(
        long,
        global = true,
        value_name = "URL",
        env = "BECKET_SERVER",
        hide_env_values = true,
        default_value = "http://127.0.0.1:7420",
        value_parser = server_url
    )]
    pub(crate) server: String,
    /// Address of the stringing service, where it runs apart
    #[arg(long, global = true, value_name = "URL", env = "BECKET_STRINGING", hide_env_values = true, value_parser = server_url)]
    pub(crate) stringing: Option<String>,
    /// Address of the cutting service, where it runs apart
    #[arg(long, global = true, value_name = "URL", env = "BECKET_CUTTING", hide_env_values = true, value_parser = server_url)]
    pub(crate) cutting: Option<String>,
    /// Who is asking; stands in the journal and on confirmed steps [default: the user's name, or "uid-" and number]
    #[arg(long, global = true, value_name = "NAME", env = "BECKET_ACTOR", hide_env_values = true)]
    pub(crate) actor: Option<String>,
    /// File with the token that says who calls
    #[arg(long, global = true, value_name = "FILE", env = "BECKET_TOKEN_FILE", hide_env_values = true)]
    pub(crate) token_file: Option<PathBuf>,
    /// PEM file with the authority of the server's certificate [default: those of the system]
    #[arg(long, global = true, value_name = "FILE", env = "BECKET_CA", hide_env_values = true)]
    pub(crate) ca: Option<PathBuf>,
    /// PEM file with the client's own certificate and its key, where the server asks for one
    #[arg(
        long,
        global = true,
        value_name = "FILE",
        env = "BECKET_CLIENT_CERTIFICATE",
        hide_env_values = true
    )]
    pub(crate) client_certificate: Option<PathBuf>,
    /// How the answer is printed
    #[arg(long, global = true, value_enum, default_value_t)]
    pub(crate) format: Format,
    /// Units of tables and csv: mm, N and g, or inches, pounds-force and pounds; json is always metric
    #[arg(long, global = true, value_name = "SYSTEM", default_value_t, value_parser = unit_system)]
    pub(crate) units: UnitSystem,
    /// Id under which a write can be repeated without being done twice [default: a new one]
    #[arg(long, global = true, value_name = "ID")]
    pub(crate) request_id: Option<String>,
    /// How long an answer is waited for, such as 30s or 2m
    #[arg(long, global = true, value_name = "DURATION", default_value = "30s", value_parser = humantime::parse_duration)]
    pub(crate) timeout: Duration,
}

/// How an answer is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(crate) enum Format {
    /// For people
    #[default]
    Table,
    /// The API's message in protobuf JSON
    Json,
    /// For spreadsheets; columns name their units
    Csv,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    Serve(Serve),
    Migrate(Migrate),
    MoveShop(MoveShop),
    Verify(Verify),
    Backup(Backup),
    Restore(Restore),
    Token(Token),
    Settings(Settings),
    Tour(Tour),
    #[command(subcommand)]
    Load(Load),
    Release(Release),
    #[command(subcommand)]
    Amend(Amend),
    Close(Close),
    #[command(subcommand)]
    List(List),
    #[command(subcommand)]
    Show(Show),
    Weigh(Weigh),
    Decide(Decide),
    SetAside(SetAside),
    Return(ReturnCoil),
    Scrap(Scrap),
    Unmount(Unmount),
    SetRule(SetRule),
    Plan(Plan),
    PlanFile(PlanFile),
    Start(Start),
    Confirm(Confirm),
    Spoiled(Spoiled),
    RunOut(RunOut),
    Replan(Replan),
    Finish(Finish),
    Cancel(Cancel),
    Watch(Watch),
    Feed(Feed),
    #[command(subcommand)]
    Webhook(Webhook),
    Estimate(Estimate),
    Picture(Picture),
    Plot(Plot),
    Order(OrderWound),
    Trace(Trace),
    #[command(subcommand)]
    Design(Design),
    Replace(Replace),
    Compare(Compare),
    Stretch(Stretch),
    Bands(Bands),
    Special(Special),
}

fn unit_system(text: &str) -> Result<UnitSystem, String> {
    text.parse().map_err(|error: becket_units::ParseUnitSystemError| error.to_string())
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    use super::*;

    #[test]
    fn the_tree_is_sound() {
        Cli::command().debug_assert();
    }

    #[test]
    fn the_help_of_every_verb_has_an_example() {
        fn visit(command: &clap::Command, path: &str) {
            let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            assert!(help.contains("Example"), "{path} has no example");
            assert!(help.contains("becket "), "the example of {path} shows no command");
            for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
                visit(below, &format!("{path} {}", below.get_name()));
            }
        }
        visit(&Cli::command(), "becket");
    }

    /// Every line of an example must be a command that is understood.
    #[test]
    fn every_example_is_understood() {
        fn visit(command: &clap::Command, seen: &mut usize) {
            let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            for line in help.lines().filter_map(|line| line.trim().strip_prefix("becket ")) {
                let words = std::iter::once("becket").chain(line.split_whitespace());
                if let Err(error) = Cli::try_parse_from(words) {
                    panic!("the example {line:?} is refused: {error}");
                }
                *seen += 1;
            }
            command.get_subcommands().for_each(|below| visit(below, seen));
        }
        let mut seen = 0;
        visit(&Cli::command(), &mut seen);
        assert!(seen > 30, "only {seen} examples");
    }

    #[test]
    fn quantities_may_carry_units() {
        let cli = Cli::try_parse_from(["becket", "set-rule", "mw-in-16", "10in"]).unwrap();
        let Verb::SetRule(rule) = cli.verb else { panic!("{:?}", cli.verb) };
        assert!((rule.length_mm - 254.0).abs() < 1e-9);
        let refused = Cli::try_parse_from(["becket", "set-rule", "mw-in-16", "10lb"]).unwrap_err();
        assert_eq!(refused.exit_code(), 2);
        assert!(refused.to_string().contains("use one of um, mm, cm, m, in, ft"), "{refused}");
    }
}
