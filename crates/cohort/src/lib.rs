//! Folders of recordings → tables for research, one row a recording, a bout, or a prescribed run or walk.
//!
//! | module | holds |
//! |---|---|
//! | `inputs` | which recordings: files, folders, lists |
//! | `prescribed`, `roster` | what each is held against |
//! | `scored`, `worker` | a recording → what its rows say, on several cores |
//! | `table`, `columns`, `value` | the columns, each with unit, kind and meaning; cells |
//! | `sink`, `parquet`, `outputs` | tables → CSV, NDJSON, Parquet; files that appear together at the end |
//! | `in_memory` | the same rows as columns in memory, for whoever wants no files |
//! | `parts` | finished chunks on disk, in case the run is killed |
//! | `pseudonymise`, `provenance`, `summary` | keyed hashes for names · what a table was made from · what each participant did |
//!
//! **In:** a [`Job`]. **Out:** the files that it names, and a [`Report`]. The rows do not depend on the number of jobs or the
//! size of a chunk. **Errors:** [`run`] fails when the job cannot be done as it is said; a recording that cannot be read is a
//! row with an `error_code`.
//!
//! ```
//! use jogaudit_cohort::{Job, Progress, run};
//!
//! struct Silent;
//! impl Progress for Silent {
//!     fn begin(&mut self, _: Option<u64>) {}
//!     fn advance(&mut self, _: u64) {}
//! }
//!
//! let folder = tempfile::tempdir()?;
//! let file = |name: &str| folder.path().join(name);
//! std::fs::write(file("plan.toml"), "title = 'x'\n[[stage]]\nname = '1'\nsession = 'run 0:20'\n")?;
//! std::fs::create_dir(file("recordings"))?;
//! std::fs::write(file("recordings/1.gpx"), r#"<gpx><trk><type>running</type><trkseg>
//!   <trkpt lat="0.5000" lon="0.5"><time>2026-03-02T07:10:00Z</time></trkpt>
//!   <trkpt lat="0.5006" lon="0.5"><time>2026-03-02T07:10:20Z</time></trkpt>
//! </trkseg></trk></gpx>"#)?;
//! std::fs::write(file("recordings/2.gpx"), "")?;
//!
//! let job = Job {
//!     paths: vec![file("recordings")],
//!     plan: Some(file("plan.toml")),
//!     out: file("sessions.csv"),
//!     ..Job::default()
//! };
//! let report = run(&job, &mut Silent, &mut std::io::stdout())?;
//! assert_eq!((report.rows, report.failed, report.samples), (2, 1, 2));
//!
//! let table = std::fs::read_to_string(file("sessions.csv"))?;
//! assert!(table.starts_with("path,sha256,participant,plan,stage,format,"));
//! assert_eq!(table.lines().count(), 3);
//! assert!(table.contains(",empty,"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod columns;
mod in_memory;
mod inputs;
mod outputs;
mod parquet;
mod parts;
mod prescribed;
mod provenance;
mod pseudonymise;
mod roster;
mod scored;
mod sink;
mod summary;
mod table;
mod value;
mod worker;

use std::io::Write;
use std::num::NonZero;
use std::path::{Path, PathBuf};

pub use columns::columns_page;
pub use in_memory::{Cells, Column, Columns, Content, Take, Wanted, gather, gather_contents};
use inputs::{Input, Inputs, Own};
use outputs::Outputs;
use parts::{Part, Parts};
use prescribed::{Plans, Prescription};
use provenance::MadeFrom;
use pseudonymise::Pseudonymiser;
use roster::Roster;
use sink::Form;
use table::Table;
use worker::Worker;

use jogaudit_case::Failure;
use jogaudit_core::pipeline::Config;
use jogaudit_files::{Claims, Output, could_not_write};
use jogaudit_recording::notice::{Notice, NoticeCode};

/// What is to be done.
pub struct Job {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// A list of more, one path a line; `-` is standard input.
    pub list: Option<PathBuf>,
    /// The plan of all, or of the roster's lines without one.
    pub plan: Option<PathBuf>,
    /// The stage of all.
    pub stage: Option<String>,
    /// Who did what.
    pub roster: Option<PathBuf>,
    /// The table; `-` is standard output.
    pub out: PathBuf,
    /// The table of bouts.
    pub bouts: Option<PathBuf>,
    /// The table of prescribed runs and walks.
    pub reps: Option<PathBuf>,
    /// Whether to sum up.
    pub sum_up: bool,
    /// The table of sums; their text is given besides.
    pub summary: Option<PathBuf>,
    /// What the table was made from.
    pub provenance: Option<PathBuf>,
    /// The key for names, paths and dates.
    pub key: Option<PathBuf>,
    /// Whether finished chunks of an earlier run are taken up.
    pub resume: bool,
    /// Recordings at a time.
    pub jobs: NonZero<usize>,
    /// Recordings of a chunk, the unit of what is kept of a killed run.
    pub chunk: NonZero<usize>,
}

/// Recordings of a chunk unless a job says otherwise, our choice: enough that the cores are seldom idle at its end, few enough
/// that little is lost with a killed run.
pub const CHUNK: NonZero<usize> = NonZero::new(256).unwrap();

impl Default for Job {
    /// Nothing to do, one recording at a time.
    fn default() -> Self {
        Self {
            paths: Vec::new(),
            list: None,
            plan: None,
            stage: None,
            roster: None,
            out: PathBuf::new(),
            bouts: None,
            reps: None,
            sum_up: false,
            summary: None,
            provenance: None,
            key: None,
            resume: false,
            jobs: NonZero::<usize>::MIN,
            chunk: CHUNK,
        }
    }
}

/// What came of it.
#[derive(Default)]
pub struct Report {
    /// Recordings, each a row.
    pub rows: u64,
    /// Those without a result.
    pub failed: u64,
    /// Those that met a bug of ours.
    pub internal: u64,
    /// Those taken up from an earlier run.
    pub resumed: u64,
    /// Samples that were read.
    pub samples: u64,
    /// The summary in words.
    pub summary: Option<String>,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Is told how far a run has come.
pub trait Progress {
    /// So many recordings are listed; `None` when that is not known.
    fn begin(&mut self, total: Option<u64>);
    /// So many are done.
    fn advance(&mut self, done: u64);
}

/// Runs a job. `stdout` takes the rows when the table goes to standard output.
///
/// # Errors
///
/// What the job names cannot be used, or an output cannot be written. A recording that cannot be read is no error: it gets
/// a row that says so.
pub fn run(
    job: &Job,
    progress: &mut dyn Progress,
    stdout: &mut (dyn Write + Send),
) -> Result<Report, Failure> {
    refuse_unknown_forms(job)?;
    let mut report = Report::default();
    let mut plans = Plans::default();
    let (prescription, roster_sha256) = prescription(job, &mut plans, &mut report.notices)?;
    let pseudonymiser = job.key.as_deref().map(Pseudonymiser::read).transpose()?;
    let config = Config::default();
    let tables = tables(job);
    let tables: Vec<&Table> = tables.iter().collect();

    let claims = claims(job, &plans)?;
    let own = Own { claims: &claims, others: &read_besides(job, &plans) };
    let mut inputs = Inputs::new(
        &job.paths,
        job.list.as_deref(),
        &own,
        &prescription,
        pseudonymiser.as_ref(),
        &mut report.notices,
    )?;
    let claimed = Claimed::lock(job, &claims)?;
    let worker = Worker::new(job.jobs.get(), &plans, &config, pseudonymiser.as_ref(), &tables)?;
    let parts =
        if claimed.can_resume() { Some(Parts::open(&job.out, job.resume, worker.settings())?) } else { None };
    // Whoever has a roster or a plan could find its run by its hash.
    let keyed = |sha256: &str| match &pseudonymiser {
        Some(pseudonymiser) => pseudonymiser.content(sha256),
        None => sha256.to_owned(),
    };
    let made_from = MadeFrom {
        configuration: &format!("{config:?}"),
        plans: plans.listed().map(|(title, sha256)| (title, keyed(sha256))).collect(),
        roster_sha256: roster_sha256.as_deref().map(keyed),
        is_pseudonymised: pseudonymiser.is_some(),
    };
    let mut outputs = Outputs::open(&claimed, &tables, job.sum_up, &made_from, stdout)?;

    progress.begin(inputs.total);
    loop {
        let chunk = inputs.chunk(job.chunk.get())?;
        if chunk.is_empty() {
            break;
        }
        let part = part(&chunk, &worker, parts.as_ref(), &mut report)?;
        outputs.add(&part, &mut report)?;
        progress.advance(report.rows);
    }
    report.summary = outputs.publish(claimed.summary.as_ref())?;
    if let Some(parts) = parts {
        parts.remove().map_err(|error| could_not_write(&Parts::folder_of(&job.out), &error))?;
    }
    report.notices.extend(unused(&prescription));
    Ok(report)
}

/// How many of these paths a roster names, of which every line is for the plan there unless it names its own: what fuzzing needs.
///
/// # Errors
/// When it is no roster, or a line of it cannot be used.
#[doc(hidden)]
pub fn named_by_roster(roster: &[u8], plan: &Path, paths: &[&Path]) -> Result<usize, Failure> {
    let (mut plans, mut notices) = (Plans::default(), Vec::new());
    let roster =
        roster::Roster::parse(roster, Path::new("roster.csv"), Some(plan), &mut plans, &mut notices)?;
    Ok(paths.iter().filter(|path| roster.of(path).is_some()).count())
}

/// The tables that are wanted, in the order of [`Claimed::tables`]; that of the recordings comes first.
fn tables(job: &Job) -> Vec<Table> {
    let mut tables = vec![columns::recordings()];
    tables.extend(job.bouts.as_deref().map(|_| columns::bouts()));
    tables.extend(job.reps.as_deref().map(|_| columns::reps()));
    tables
}

/// The outputs of a job, locked.
struct Claimed {
    tables: Vec<Output>,
    summary: Option<Output>,
    provenance: Option<Output>,
}

impl Claimed {
    fn lock(job: &Job, claims: &Claims) -> Result<Self, Failure> {
        let mut outputs = claims.lock()?.into_iter();
        let mut next = |is_wanted: bool| if is_wanted { outputs.next() } else { None };
        let tables =
            [true, job.bouts.is_some(), job.reps.is_some()].into_iter().filter_map(&mut next).collect();
        let summary = next(job.summary.is_some());
        let provenance = next(job.provenance.is_some());
        Ok(Self { tables, summary, provenance })
    }

    /// Whether the main table is a file, beside which finished chunks can be kept.
    fn can_resume(&self) -> bool {
        self.tables.first().is_some_and(Output::is_file)
    }
}

/// The rows of a chunk: those of an earlier run if they still hold, else made anew and kept in case this run is killed.
fn part(
    chunk: &[Input],
    worker: &Worker<'_>,
    parts: Option<&Parts>,
    report: &mut Report,
) -> Result<Part, Failure> {
    let Some(parts) = parts else { return Ok(worker.part(chunk)) };
    let name = parts.name(chunk, worker.plans);
    let kept = parts.load(&name, worker.tables);
    if let Some(part) = kept.filter(|part| part.fingerprints == worker.fingerprints(chunk)) {
        report.resumed += chunk.len() as u64;
        return Ok(part);
    }
    let part = worker.part(chunk);
    parts.store(&name, &part).map_err(outputs::with_resume_hint)?;
    Ok(part)
}

fn prescription(
    job: &Job,
    plans: &mut Plans,
    notices: &mut Vec<Notice>,
) -> Result<(Prescription, Option<String>), Failure> {
    match (&job.roster, &job.plan) {
        (Some(roster), plan) => {
            let roster = Roster::read(roster, plan.as_deref(), plans, notices)?;
            let sha256 = roster.sha256.clone();
            Ok((Prescription::Roster(roster), Some(sha256)))
        }
        (None, Some(plan)) => Ok((Prescription::one(plan, job.stage.as_deref(), plans, notices)?, None)),
        (None, None) => {
            Err(Failure::refused("nothing says what was prescribed").hint("add --plan PLAN or --roster CSV"))
        }
    }
}

/// The files that the run reads besides recordings: they may lie in a folder of recordings.
fn read_besides(job: &Job, plans: &Plans) -> Vec<PathBuf> {
    let mut read: Vec<PathBuf> =
        [&job.list, &job.plan, &job.roster, &job.key].into_iter().flatten().cloned().collect();
    read.extend(plans.paths().map(Path::to_owned));
    read.push(Parts::folder_of(&job.out));
    read
}

fn outputs(job: &Job) -> impl Iterator<Item = &PathBuf> {
    let others = [&job.bouts, &job.reps, &job.summary, &job.provenance].map(Option::as_ref);
    let [bouts, reps, summary, provenance] = others;
    [Some(&job.out), bouts, reps, summary, provenance].into_iter().flatten()
}

/// The name of every table must say how it is written.
fn refuse_unknown_forms(job: &Job) -> Result<(), Failure> {
    let others = [&job.bouts, &job.reps, &job.summary].into_iter().flatten();
    std::iter::once(&job.out).chain(others).try_for_each(|path| Form::of(path).map(|_| ()))
}

/// The outputs, none of which is another one or what the run reads. Recordings are looked at as they are listed.
fn claims(job: &Job, plans: &Plans) -> Result<Claims, Failure> {
    let claims = Claims::of(&outputs(job).map(PathBuf::as_path).collect::<Vec<_>>())?;
    read_besides(job, plans).iter().try_for_each(|input| claims.refuse_input(input))?;
    Ok(claims)
}

fn unused(prescription: &Prescription) -> Option<Notice> {
    let lines = prescription.unused_lines();
    let first = lines.first()?;
    let lines = if lines.len() == 1 { "1 line".to_owned() } else { format!("{} lines", lines.len()) };
    let text = format!("{lines} of the roster without a recording; the first is line {first}.");
    Some(Notice::new(NoticeCode::RosterLinesUnused, text))
}
