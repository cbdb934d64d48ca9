//! `jogaudit batch`

use std::fmt::Write as _;
use std::io::IsTerminal;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressStyle};

use jogaudit_case::{Failure, named_output};
use jogaudit_cohort::{self as batch, Job, Progress, Report};
use jogaudit_report::text;
use jogaudit_report::view::notice;

use super::{Done, Io};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Recordings, or folders of them, any depth, hidden files left out; without --plan and --roster, cases (folders with
    /// plan.toml, diary.csv and recordings/, or zips of one) or folders of cases
    #[arg(value_name = "PATH", required_unless_present = "files_from")]
    paths: Vec<PathBuf>,
    /// Take more recordings from this list, one path a line; `-` reads standard input
    #[arg(long, value_name = "FILE")]
    files_from: Option<PathBuf>,
    /// Read the prescription from this TOML file
    #[arg(long, value_name = "PLAN")]
    plan: Option<PathBuf>,
    /// Hold every recording against this stage [default: the plan's only one]
    #[arg(long, value_name = "NAME", requires = "plan", conflicts_with = "roster")]
    stage: Option<String>,
    /// Take each recording's prescription from this table: path,participant,stage,plan
    ///
    /// A path may be a pattern with *, ?, [ ] or { }; ** stands for folders of any depth. It fits whole paths, or their end
    /// from some folder on. A line that names a path goes before patterns; of several patterns the first counts.
    #[arg(long, value_name = "CSV")]
    roster: Option<PathBuf>,
    /// Write the table here, one row a recording; the end of the name tells how: .parquet, .csv, .ndjson; `-` writes NDJSON
    /// to standard output
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Also write a table with one row a bout
    #[arg(long, value_name = "FILE")]
    bouts: Option<PathBuf>,
    /// Also write a table with one row a prescribed run or walk
    #[arg(long, value_name = "FILE")]
    reps: Option<PathBuf>,
    /// Sum up each participant and stage on standard output, and in FILE if given
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true)]
    #[allow(clippy::option_option)] // given or not, with a value or not
    summary: Option<Option<PathBuf>>,
    /// Write what the table was made from: hashes of inputs, plans, program and outputs, and the configuration
    #[arg(long, value_name = "FILE.json")]
    provenance: Option<PathBuf>,
    /// Give the SHA-256 of every file in the table, as --provenance does
    #[arg(long)]
    sha256: bool,
    /// Put keyed hashes in place of paths, participants and hashes of files, and shift dates
    ///
    /// Dates go back by a whole number of days, 1 to 1826, the same for all recordings of a participant. Not protected:
    /// times of day, the lengths and speeds of a session (whoever has the recording can find its row), the title of the
    /// plan, names of stages, the sport in the file's own words. Whoever has the key can hash names and compare.
    #[arg(long, value_name = "KEYFILE")]
    pseudonymise: Option<PathBuf>,
    /// Go on where a killed run stopped
    #[arg(long)]
    resume: bool,
    /// Work on so many recordings at a time [default: one a core]
    #[arg(long, value_name = "N")]
    jobs: Option<NonZero<usize>>,
    /// Keep what is finished after every so many recordings; the result does not depend on it
    #[arg(long, value_name = "N", default_value_t = batch::CHUNK)]
    chunk: NonZero<usize>,
}

pub(super) fn run(args: Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    refuse_contradictions(&args)?;
    let is_piped = args.outputs().any(|output| output == Path::new("-"));
    let job = args.job();
    let begun = Instant::now();
    let report = {
        let mut progress = Shown::new();
        batch::run(&job, &mut progress, &mut std::io::stdout())?
    };
    if let Some(summary) = report.summary.as_ref().filter(|_| !is_piped) {
        io.result(summary)?;
    }
    io.remark(&text::notices(&report.notices.iter().map(notice).collect::<Vec<_>>()));
    io.remark(&said(&report, &job, begun.elapsed()));
    Ok(Done::Plain)
}

impl Args {
    /// The outputs that are named.
    fn outputs(&self) -> impl Iterator<Item = &PathBuf> {
        let others = [&self.bouts, &self.reps, &self.provenance].into_iter().flatten();
        std::iter::once(&self.out).chain(others).chain(self.summary.iter().flatten())
    }

    fn job(self) -> Job {
        Job {
            paths: self.paths,
            list: self.files_from,
            plan: self.plan,
            stage: self.stage,
            roster: self.roster,
            out: self.out,
            bouts: self.bouts,
            reps: self.reps,
            sum_up: self.summary.is_some(),
            summary: self.summary.flatten(),
            provenance: self.provenance,
            sha256: self.sha256,
            key: self.pseudonymise,
            resume: self.resume,
            jobs: self.jobs.or(thread::available_parallelism().ok()).unwrap_or(NonZero::<usize>::MIN),
            chunk: self.chunk,
        }
    }
}

/// Standard output takes one thing, and what it took cannot be taken back.
fn refuse_contradictions(args: &Args) -> Result<(), Failure> {
    if args.out == Path::new("-") && args.resume {
        let failure = Failure::refused("rows on standard output cannot be resumed");
        return Err(failure.hint("name a file with --out"));
    }
    if args.outputs().any(|output| output == Path::new("-")) && args.summary == Some(None) {
        let failure = Failure::refused("a table and the summary cannot both go to standard output");
        return Err(failure.hint("name a file: --summary=FILE"));
    }
    Ok(())
}

/// What is said at the end of a run.
fn said(report: &Report, job: &Job, elapsed: Duration) -> String {
    let mut said = format!("{} recordings, each a row in {}", report.rows, named_output(&job.out));
    if report.resumed > 0 {
        let _ = write!(said, ", {} of them from an earlier run", report.resumed);
    }
    let _ = write!(said, "; {} without a result (see error_code)", report.failed);
    if report.left_out > 0 {
        let _ = write!(said, ", {} left out as no session (see left_out)", report.left_out);
    }
    said.push_str(".\n");
    if report.internal > 0 {
        let _ = writeln!(
            said,
            "{} met a bug of ours (error_code `internal`): please report it.",
            report.internal
        );
    }
    let seconds = elapsed.as_secs_f64().max(1e-3);
    let (files, samples) = (report.rows as f64 / seconds, report.samples as f64 / seconds);
    let _ = writeln!(
        said,
        "{seconds:.1} s: {files:.1} files and {samples:.0} samples a second, jobs {}.",
        job.jobs
    );
    said
}

/// A bar on a terminal, a line now and then elsewhere; on standard error.
struct Shown {
    bar: Option<ProgressBar>,
    total: Option<u64>,
    begun: Instant,
    said: Instant,
}

/// Time between two lines, our choice.
const EVERY: Duration = Duration::from_secs(10);

impl Shown {
    fn new() -> Self {
        let bar = std::io::stderr().is_terminal().then(ProgressBar::hidden);
        Self { bar, total: None, begun: Instant::now(), said: Instant::now() }
    }
}

impl Progress for Shown {
    fn begin(&mut self, total: Option<u64>) {
        self.total = total;
        if let Some(bar) = &self.bar {
            let template = match total {
                Some(_) => "{bar:40} {pos} of {len} files, {per_sec}, {eta} left",
                None => "{spinner} {pos} files, {per_sec}",
            };
            bar.set_length(total.unwrap_or(0));
            if let Ok(style) = ProgressStyle::with_template(template) {
                bar.set_style(style);
            }
            bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }

    fn advance(&mut self, done: u64) {
        if let Some(bar) = &self.bar {
            bar.set_position(done);
        } else if self.said.elapsed() >= EVERY {
            self.said = Instant::now();
            anstream::eprintln!("{}", line(done, self.total, self.begun.elapsed()));
        }
    }
}

impl Drop for Shown {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn line(done: u64, total: Option<u64>, elapsed: Duration) -> String {
    let rate = done as f64 / elapsed.as_secs_f64().max(1e-3);
    match total {
        Some(total) if rate > 0.0 => {
            let left = Duration::from_secs_f64(total.saturating_sub(done) as f64 / rate);
            format!("{done} of {total} files, {rate:.1} a second, {} left", HumanDuration(left))
        }
        _ => format!("{done} files, {rate:.1} a second"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_tells_rate_and_time_left() {
        let elapsed = Duration::from_secs(10);
        assert_eq!(line(500, Some(2000), elapsed), "500 of 2000 files, 50.0 a second, 30 seconds left");
        assert_eq!(line(500, None, elapsed), "500 files, 50.0 a second");
    }
}
