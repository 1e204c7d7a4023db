//! What was typed. Help, man page and completions all come from these definitions.
//!
//! What it means once files are read is settled in [`setup`](crate::setup).

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

/// Help begins with examples.
const HELP: &str = "{about-with-newline}\n{before-help}{usage-heading} {usage}\n\n{all-args}";

/// Reads the night a monitor recorded at home and says what it shows, and how sure that is
#[derive(Debug, Parser)]
#[command(name = "matins", version, max_term_width = 100, help_template = HELP)]
#[command(subcommand_required = true, arg_required_else_help = true)]
#[command(before_help = "Examples:
  matins demo                                     see it work on invented nights
  matins look night.csv                           what does this file hold?
  matins score night.csv --notes night.notes.toml figures, rules and verdict
  matins report night.csv -o night.pdf            the report a physician reads")]
#[command(after_help = "matins describes a recording; it makes no diagnosis and drives no alarm. \
    What a night means is for the clinician and local policy.")]
pub(crate) struct Typed {
    /// What to do.
    #[command(subcommand)]
    pub(crate) verb: Verb,
    /// Say only what went wrong
    #[arg(short, long, global = true, help_heading = "Messages")]
    pub(crate) quiet: bool,
    /// No colour in messages; `NO_COLOR` and `TERM=dumb` do the same
    #[arg(long, global = true, help_heading = "Messages")]
    pub(crate) no_color: bool,
    /// Never ask, even on a terminal
    #[arg(long, global = true, help_heading = "Messages")]
    pub(crate) no_input: bool,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// Show what a file holds: format, channels, units, times, gaps, and what was not understood
    Look(LookArgs),
    /// Ask for the patient's diary and write it as notes
    Diary(DiaryArgs),
    /// Give figures, rules and verdict of one night or several
    Score(ScoreArgs),
    /// Write the report of a night as PDF, HTML or JSON
    Report(ReportArgs),
    /// Make a night of which the truth is known
    Simulate(SimulateArgs),
    /// List, show or check criteria sets
    Criteria(CriteriaArgs),
    /// Make the nights of an invented department and their reports
    Demo(DemoArgs),
    /// Serve the department's record and the workbench to browsers
    Serve(ServeArgs),
    /// Check the department's record, or a backup, against its chain of acts
    Verify(VerifyArgs),
    /// Hold the machine's clock against the record, and go on from a clock that was wrong
    Clock(ClockArgs),
    /// Write the department's record to one file, while work goes on
    Backup(BackupArgs),
    /// Bring a backup back into a place that holds nothing
    Restore(RestoreArgs),
    /// Make a one-time link to an account of the workbench, on the machine that has its record
    Link(LinkArgs),
    /// Print the completions for a shell
    #[command(help_template = HELP, before_help = "Examples:
  matins completions bash > ~/.local/share/bash-completion/completions/matins")]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print a manual page
    #[command(help_template = HELP, before_help = "Examples:
  matins man | man -l -
  matins man score > matins-score.1")]
    Man {
        /// A verb; without it, the page of the command itself
        verb: Option<String>,
    },
}

/// How a file is read.
#[derive(Debug, Args)]
pub(crate) struct ReadArgs {
    /// Zone of the monitor's clock, for instance Europe/London or +01:00
    #[arg(long, value_name = "ZONE")]
    pub(crate) zone: Option<String>,
    /// What the columns mean: a file made by `matins look FILE --make-map`
    #[arg(long, value_name = "MAP.toml")]
    pub(crate) map: Option<PathBuf>,
}

/// What a night is held against.
#[derive(Debug, Args)]
pub(crate) struct NightArgs {
    /// How the file is read.
    #[command(flatten)]
    pub(crate) read: ReadArgs,
    /// Diary, gases and lights that came with the night
    #[arg(long, value_name = "NOTES.toml", conflicts_with = "notes_beside")]
    pub(crate) notes: Option<PathBuf>,
    /// Take NAME.notes.toml lying beside each NAME.csv, where there is one
    #[arg(long)]
    pub(crate) notes_beside: bool,
    /// A criteria set by name, or a file ending in .toml [default: adult-air]
    #[arg(long, value_name = "NAME|FILE")]
    pub(crate) criteria: Option<String>,
    /// The question asked of the night, by its id in the criteria set [default: the set's first]
    #[arg(long, value_name = "ID")]
    pub(crate) question: Option<String>,
}

/// `matins look`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins look night.csv
  matins look night.edf --zone Europe/London
  matins look night.csv --make-map                writes night.map.toml
  matins look night.csv --map night.map.toml")]
pub(crate) struct LookArgs {
    /// The recording; `-` is standard input
    pub(crate) file: PathBuf,
    /// How the file is read.
    #[command(flatten)]
    pub(crate) read: ReadArgs,
    /// Write a column map: asks on a terminal, otherwise writes the best guess
    #[arg(long, conflicts_with = "map")]
    pub(crate) make_map: bool,
    /// Where the column map goes; `-` is standard output [default: NAME.map.toml beside the file]
    #[arg(short, long, value_name = "MAP.toml", requires = "make_map")]
    pub(crate) output: Option<PathBuf>,
    /// Replace a column map that stands already
    #[arg(short, long, requires = "make_map")]
    pub(crate) force: bool,
}

/// `matins diary`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins diary night.csv                          asks, and writes night.notes.toml
  matins --no-input diary night.csv -o -          the questions as a file to fill in")]
pub(crate) struct DiaryArgs {
    /// The recording the diary goes with
    pub(crate) file: PathBuf,
    /// How the file is read.
    #[command(flatten)]
    pub(crate) read: ReadArgs,
    /// Where the notes go; `-` is standard output [default: NAME.notes.toml beside the file]
    #[arg(short, long, value_name = "NOTES.toml")]
    pub(crate) output: Option<PathBuf>,
    /// Replace notes that stand already
    #[arg(short, long)]
    pub(crate) force: bool,
}

/// `matins score`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins score night.csv
  matins score night.csv --notes night.notes.toml --criteria adult-neuromuscular
  matins score nights/*.csv --notes-beside --json > scores.jsonl
  matins score - --json < night.csv")]
pub(crate) struct ScoreArgs {
    /// The recordings; `-` is standard input
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// What the night is held against.
    #[command(flatten)]
    pub(crate) night: NightArgs,
    /// JSON instead of a table: one document, or one line for each of several files
    #[arg(long)]
    pub(crate) json: bool,
}

/// `matins report`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins report night.csv --notes night.notes.toml -o night.pdf
  matins report night.csv --heading patient.toml -o night.html
  matins report night.csv --format json -o -
  matins report --data record --night 12 -o night-12.pdf       a signed report made again, byte for byte

A heading file holds any of these; what is left out is a blank to be written on:
  hospital = [\"Name of the hospital\", \"Name of the department\"]
  study_id = \"repeated on every page\"
  patient = [[\"Name\", \"...\"], [\"Date of birth\", \"...\"], [\"Number\", \"...\"]]
  study = [[\"Study\", \"...\"], [\"Asked by\", \"...\"], [\"Reason\", \"...\"]]
  signature = [[\"Scored by\", \"...\"], [\"Read by\", \"\"], [\"Date\", \"\"]]
  comparison, comment = [\"one line each\"]")]
pub(crate) struct ReportArgs {
    /// The recording; `-` is standard input
    #[arg(required_unless_present = "data")]
    pub(crate) file: Option<PathBuf>,
    /// What the night is held against.
    #[command(flatten)]
    pub(crate) night: NightArgs,
    /// Where the report goes, its format told by the ending .pdf, .html or .json; `-` is standard output
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// The format, where the ending does not tell it
    #[arg(long, value_enum)]
    pub(crate) format: Option<ReportFormat>,
    /// Who the night belongs to: lines printed at the head of the report, and nowhere else
    #[arg(long, value_name = "HEADING.toml")]
    pub(crate) heading: Option<PathBuf>,
    /// Size of the sheet
    #[arg(long, value_enum, default_value_t = Sheet::A4)]
    pub(crate) paper: Sheet,
    /// Replace a report that stands already
    #[arg(short, long)]
    pub(crate) force: bool,
    /// A signed report of a department's record, made again from its night.
    #[command(flatten)]
    pub(crate) signed: SignedArgs,
}

/// A signed report of a department's record.
#[derive(Debug, Args)]
#[command(next_help_heading = "A signed report")]
pub(crate) struct SignedArgs {
    /// The record: its folder, or the address of its database
    #[arg(long, value_name = "DIR|URL", requires = "of_night", conflicts_with_all = [
        "file", "notes", "notes_beside", "criteria", "question", "zone", "map", "heading", "format", "paper",
    ])]
    pub(crate) data: Option<String>,
    /// The night: the number in its page's address
    #[arg(id = "of_night", long = "night", value_name = "NUMBER", requires = "data")]
    pub(crate) night: Option<i64>,
    /// The version of its report [default: the latest signed]
    #[arg(long, value_name = "NUMBER", requires = "data")]
    pub(crate) version: Option<i64>,
    /// Write the bytes that were kept, without making them again
    #[arg(long, requires = "data")]
    pub(crate) kept: bool,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// What a report is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportFormat {
    /// Tagged PDF
    Pdf,
    /// One self-contained page
    Html,
    /// The report as data
    Json,
}

/// Sizes of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Sheet {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 in
    Letter,
}

/// `matins simulate`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins simulate --list
  matins simulate --sleeper NAME -o night.csv     also night.notes.toml and night.truth.json
  matins simulate --seed 7 -o night.edf")]
pub(crate) struct SimulateArgs {
    /// List the sleepers there are
    #[arg(long, conflicts_with_all = ["output", "sleeper", "seed", "hours", "force"])]
    pub(crate) list: bool,
    /// Who sleeps, by name [default: the first of the list]
    #[arg(long, value_name = "NAME")]
    pub(crate) sleeper: Option<String>,
    /// The night's number: the same number makes the same night
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
    /// Hours from lights out to lights on, 1 to 16 [default: the sleeper's own]
    #[arg(long, value_name = "H", value_parser = hours)]
    pub(crate) hours: Option<f64>,
    /// Where the night goes: .csv or .edf
    #[arg(short, long, value_name = "OUT", required_unless_present = "list")]
    pub(crate) output: Option<PathBuf>,
    /// Replace files that stand already
    #[arg(short, long)]
    pub(crate) force: bool,
}

fn hours(typed: &str) -> Result<f64, String> {
    let hours = typed.parse().ok().filter(|hours| (1.0..=16.0).contains(hours));
    hours.ok_or_else(|| "expected a number from 1 to 16".to_owned())
}

/// `matins criteria`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins criteria list
  matins criteria show adult-air > ours.toml
  matins criteria check ours.toml")]
pub(crate) struct CriteriaArgs {
    /// What to do with them.
    #[command(subcommand)]
    pub(crate) what: Option<CriteriaVerb>,
}

/// What to do with criteria sets.
#[derive(Debug, Subcommand)]
pub(crate) enum CriteriaVerb {
    /// List the sets that travel with the program
    List,
    /// Print a set as its file, ready to be copied and changed
    Show {
        /// Name of the set
        name: String,
    },
    /// Explain every number and rule of a set with its source, or say why the set is refused
    Check {
        /// A file; `-` is standard input
        file: PathBuf,
    },
}

/// `matins demo`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins demo                     an invented department, opened in the browser
  matins demo --out nights        only its nights and their reports, as files")]
pub(crate) struct DemoArgs {
    /// Write the invented nights and their reports into this folder and open nothing; it may not hold anything yet
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// The folder for the invented record: empty, or of a demo, which goes on from its last act [default: a fresh temporary folder]
    #[arg(long, value_name = "DIR", conflicts_with = "out")]
    pub(crate) data: Option<PathBuf>,
    /// The day the department lives on [default: today]
    #[arg(long, value_name = "DAY", conflicts_with = "out")]
    pub(crate) day: Option<String>,
    /// Where to listen, on this machine only; port 0 takes a free one
    #[arg(
        long,
        value_name = "ADDRESS:PORT",
        default_value = "127.0.0.1:0",
        conflicts_with = "out"
    )]
    pub(crate) listen: std::net::SocketAddr,
    /// Print the address and open no browser
    #[arg(long, conflicts_with = "out")]
    pub(crate) no_open: bool,
}

/// `matins serve`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins serve --data record                      on this machine only, at http://127.0.0.1:8417
  matins serve --data postgres://matins@db.example/matins
  matins serve --data record --listen 0.0.0.0:443 --name desk.example \\
    --tls-cert desk.pem --tls-key desk.key")]
pub(crate) struct ServeArgs {
    /// The record: a folder of this machine, made if it is not there, or the address of a `PostgreSQL` database
    #[arg(long, value_name = "DIR|URL")]
    pub(crate) data: String,
    /// Where to listen; beyond this machine only with a certificate; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8417")]
    pub(crate) listen: std::net::SocketAddr,
    /// The certificate with its chain, PEM
    #[arg(long, value_name = "FILE", requires = "tls_key")]
    pub(crate) tls_cert: Option<PathBuf>,
    /// Its private key, PEM
    #[arg(long, value_name = "FILE", requires = "tls_cert")]
    pub(crate) tls_key: Option<PathBuf>,
    /// A host name under which browsers ask; may be given several times
    #[arg(long = "name", value_name = "HOST")]
    pub(crate) names: Vec<String>,
    /// Where heads of the chain go as well: a file on another machine or disk, or a log socket such as /dev/log
    #[arg(long, value_name = "FILE|SOCKET")]
    pub(crate) heads_to: Option<PathBuf>,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// Who may reach the record's folder.
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct ReachArgs {
    /// Take a record's folder that others of this machine may look into, which is refused otherwise
    #[arg(long)]
    pub(crate) shared_folder: bool,
}

/// `matins clock`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins clock --data record                      what the clock and the last act say
  matins clock --data record --reason \"the server had run a year ahead; set right against the hospital's clock\"")]
pub(crate) struct ClockArgs {
    /// The record: its folder, or the address of its database
    #[arg(long, value_name = "DIR|URL")]
    pub(crate) data: String,
    /// Take the machine's clock for right and go on from it: why, for the record
    #[arg(long, value_name = "WHY")]
    pub(crate) reason: Option<String>,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// `matins link`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "The link sets a password, works once and ends after two days; the
password that was there stops working. It wants no second person: whoever may
run this on the machine of the record is one. The account's owner is told.

Examples:
  matins link quill --data record")]
pub(crate) struct LinkArgs {
    /// The account's login
    #[arg(value_name = "LOGIN")]
    pub(crate) login: String,
    /// The record: its folder, or the address of its database
    #[arg(long, value_name = "DIR|URL")]
    pub(crate) data: String,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// `matins verify`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins verify --data record
  matins verify --data postgres://matins@server/matins --heads printed-last-week.txt
  matins verify --backup record.backup --passphrase-file secret.txt")]
pub(crate) struct VerifyArgs {
    /// The record: its folder, or the address of its database
    #[arg(long, value_name = "DIR|URL", required_unless_present = "backup")]
    pub(crate) data: Option<String>,
    /// A backup, read whole and checked without being restored
    #[arg(long, value_name = "FILE", conflicts_with = "data")]
    pub(crate) backup: Option<PathBuf>,
    /// Heads of the record that were kept elsewhere, one a line: the chain must still hold each
    #[arg(long, value_name = "HEADS.txt", requires = "data")]
    pub(crate) heads: Option<PathBuf>,
    /// The backup's passphrase: the first line of a file; `-` is standard input
    #[arg(long, value_name = "FILE", requires = "backup")]
    pub(crate) passphrase_file: Option<PathBuf>,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// `matins backup`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins backup --data record -o record-2026-11-25.backup
  matins backup --data record -o record.backup --passphrase-file secret.txt")]
pub(crate) struct BackupArgs {
    /// The record: its folder, or the address of its database
    #[arg(long, value_name = "DIR|URL")]
    pub(crate) data: String,
    /// The file to make; one that stands already is never replaced
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    /// Encrypt it with a passphrase: the first line of a file; `-` is standard input
    #[arg(long, value_name = "FILE")]
    pub(crate) passphrase_file: Option<PathBuf>,
    /// Who may reach the record's folder.
    #[command(flatten)]
    pub(crate) reach: ReachArgs,
}

/// `matins restore`.
#[derive(Debug, Args)]
#[command(help_template = HELP, before_help = "Examples:
  matins restore record.backup --data new-folder
  matins restore record.backup --data postgres://matins@server/empty --passphrase-file secret.txt")]
pub(crate) struct RestoreArgs {
    /// The backup
    pub(crate) file: PathBuf,
    /// Where it goes: a folder or a database that holds nothing
    #[arg(long, value_name = "DIR|URL")]
    pub(crate) data: String,
    /// The passphrase it was encrypted with: the first line of a file; `-` is standard input
    #[arg(long, value_name = "FILE")]
    pub(crate) passphrase_file: Option<PathBuf>,
}
