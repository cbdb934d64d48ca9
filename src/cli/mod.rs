//! The command line: what the user typed, what it resolves to, and what is said when it fails.

mod agree;
mod annotate;
mod batch;
mod bouts;
mod check;
mod demo;
mod export;
mod page;
mod panics;
mod plan;
mod review;
mod share;
mod shell;
mod simulate;

use std::borrow::Cow;
use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

use clap::builder::{PossibleValuesParser, RangedU64ValueParser, TypedValueParser};
use clap::{Parser, Subcommand};

use jogaudit_case::Failure;
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::escaped_lines;

/// Checks run-walk recordings of a graded return to running against what was prescribed.
#[derive(Parser, Debug)]
#[command(name = "jogaudit", version, about, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,

    /// Colours in what is printed: on a terminal only, always, or never
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto", hide_default_value = true)]
    color: clap::ColorChoice,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Work out when a recording runs, walks and stands
    Bouts(bouts::Args),
    /// Check a recording against the prescribed stage
    Check(check::Args),
    /// Look over, show, draft or export a plan
    Plan(plan::Args),
    /// Audit a whole return, week by week, and rule on the next session
    Review(review::Args),
    /// Make a zip of a case to send, with recordings that do not tell where they were made
    Share(share::Args),
    /// Check many recordings into one table, for research
    Batch(Box<batch::Args>),
    /// Say how well two sets of bouts or scores agree
    Agree(agree::Args),
    /// Open a local web page on which a person marks a recording, blind to the program
    Annotate(annotate::Args),
    /// Make up a recording with its true bouts
    Simulate(Box<simulate::Args>),
    /// Write a made-up case and check it
    Demo(demo::Args),
    /// Open a local web page: look at recordings, keep them in a case, write the diary, see the review
    Page(page::Args),
    /// Print what a shell completes the command line by
    #[command(hide = true)]
    Completions(shell::CompletionsArgs),
    /// Print a page of the manual, to be read by `man -l -`
    #[command(hide = true)]
    Man(shell::ManArgs),
}

/// How a command that worked wants the process to end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Done {
    /// Exit code 0.
    Plain,
    /// Exit code 1: with `--strict`, the outcome is `overdone`.
    Overdone,
}

/// Where a command writes: results to `out`, notices and progress to `err`.
struct Io<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
}

impl Io<'_> {
    /// Writes a result.
    fn result(&mut self, text: &str) -> Result<(), Failure> {
        self.out.write_all(text.as_bytes()).map_err(Failure::output)
    }

    /// Writes notices or progress, plain text, after the results so far. What could steer a terminal is shown as an escape. That
    /// nobody may be there to read them is no error.
    fn remark(&mut self, text: &str) {
        let _ = self.out.flush();
        let _ = self.err.write_all(escaped_lines(text).as_bytes());
    }
}

/// Runs the command line and gives the exit code: 0 done, 1 overdone with `--strict`, 2 could not, 70 our bug.
pub fn main(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args: Vec<OsString> = args.into_iter().collect();
    let result = panics::caught(|| {
        let cli = match Cli::try_parse_from(args) {
            Ok(cli) => cli,
            Err(error) => {
                print_usage(&error);
                return Ok(ExitCode::from(if error.use_stderr() { 2 } else { 0 }));
            }
        };
        match cli.color {
            clap::ColorChoice::Auto => {}
            clap::ColorChoice::Always => anstream::ColorChoice::Always.write_global(),
            clap::ColorChoice::Never => anstream::ColorChoice::Never.write_global(),
        }
        let mut out = anstream::stdout().lock();
        let mut err = anstream::stderr().lock();
        let done = run(cli.command, &mut Io { out: &mut out, err: &mut err })?;
        out.flush().map_err(Failure::output)?;
        Ok(ExitCode::from(u8::from(done == Done::Overdone)))
    });
    match result {
        Ok(code) => code,
        Err(failure) if failure.is_closed_pipe() => ExitCode::SUCCESS,
        Err(failure) => {
            let _ = write!(anstream::stderr().lock(), "{failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}

/// Prints what clap says, in its colours unless an argument would steer the terminal.
fn print_usage(error: &clap::Error) {
    let plain = error.render().to_string();
    let _ = match escaped_lines(&plain) {
        Cow::Borrowed(_) => error.print(),
        Cow::Owned(shown) => anstream::stderr().write_all(shown.as_bytes()),
    };
}

fn run(command: Command, io: &mut Io<'_>) -> Result<Done, Failure> {
    match command {
        Command::Bouts(args) => bouts::run(&args, io),
        Command::Check(args) => check::run(&args, io),
        Command::Plan(args) => plan::run(&args, io),
        Command::Review(args) => review::run(&args, io),
        Command::Share(args) => share::run(&args, io),
        Command::Batch(args) => batch::run(*args, io),
        Command::Agree(args) => agree::run(&args, io),
        Command::Annotate(args) => annotate::run(&args, io),
        Command::Simulate(args) => simulate::run(&args, io),
        Command::Demo(args) => demo::run(&args, io),
        Command::Page(args) => page::run(&args, io),
        Command::Completions(args) => shell::completions(&args, io),
        Command::Man(args) => shell::man(&args, io),
    }
}

/// Reads the value of `--units`.
fn units() -> impl TypedValueParser<Value = LengthUnit> {
    PossibleValuesParser::new(LengthUnit::ALL.map(LengthUnit::word))
        .try_map(|word| word.parse::<LengthUnit>())
}

/// Reads the value of `--max-unzipped`: 1 MiB to 1 TiB.
fn mebibytes() -> RangedU64ValueParser {
    clap::value_parser!(u64).range(1..=1 << 20)
}
