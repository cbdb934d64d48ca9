//! Folders of recordings → tables for research, one row a recording, a bout, or a prescribed run or walk.
//!
//! | module | holds |
//! |---|---|
//! | `inputs` | which recordings: files, folders, lists |
//! | `prescribed`, `roster` | what each is held against |
//! | `scored`, `in_case`, `worker` | a recording or a case → what its rows say, on several cores |
//! | `table`, `columns`, `value` | the columns, each with unit, kind and meaning; cells |
//! | `sink`, `parquet`, `outputs` | tables → CSV, NDJSON, Parquet; files that appear together at the end |
//! | `in_memory` | the same rows as columns in memory, for whoever wants no files |
//! | `parts` | finished chunks on disk, in case the run is killed |
//! | `pseudonymise`, `provenance`, `package`, `summary` | keyed hashes for names · what tables were made from · what they hold · what each participant did |
//!
//! **In:** a [`Job`]. **Out:** the files that it names, and a [`Report`]; or, of [`gather`], the tables themselves. The rows do not
//! depend on the number of jobs or the size of a chunk. **Errors:** [`run`] fails when the job cannot be done as it is said; a recording that cannot be read is a
//! row with an `error_code`.
//!
//! ```
//! use jogaudit_cohort::{Cells, Job, Progress, Wanted, gather, run};
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
//! assert!(table.starts_with("path,activity,blake3,participant,plan,stage,"));
//! assert_eq!(table.lines().count(), 3);
//! assert!(table.contains(",empty,"));
//!
//! // The same in memory, with the bouts, chunk by chunk.
//! let report = gather(&job, Wanted { bouts: true, reps: false }, &mut |tables| {
//!     assert_eq!(tables[0].columns[5].name, "stage");
//!     assert!(matches!(&tables[0].columns[5].cells, Cells::Text(stages) if stages[1].as_deref() == Some("1")));
//!     assert_eq!(tables.len(), 2);
//!     Ok(())
//! })?;
//! assert_eq!(report.rows, 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod claimed;
mod columns;
mod encode;
mod file_input;
mod in_case;
mod in_memory;
mod inputs;
mod job;
mod opened;
mod outputs;
mod package;
mod parquet;
mod parts;
mod plans;
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
use std::path::{Path, PathBuf};

use claimed::Claimed;
pub use columns::columns_page;
pub use in_memory::{Cells, Column, Columns, Content, Take, Wanted, gather, gather_contents};
use inputs::{Input, Inputs, Own};
pub use job::{CHUNK, Job, Progress, Report};
use outputs::Outputs;
use parts::{Part, Parts};
use plans::Plans;
use prescribed::Prescription;
use provenance::MadeFrom;
use pseudonymise::Pseudonymiser;
use roster::Roster;
use sink::Form;
use table::Table;
use worker::Worker;

use jogaudit_case::Failure;
use jogaudit_core::pipeline::Config;
use jogaudit_files::{Claims, could_not_write};
use jogaudit_recording::notice::{Notice, NoticeCode};

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
    let asked = Asked::read(job, &mut report.notices)?;
    let config = Config::default();
    let tables = tables(job.bouts.is_some(), job.reps.is_some());
    let tables: Vec<&Table> = tables.iter().collect();

    let claims = claims(job, &asked.plans)?;
    let own = Own { claims: &claims, others: &read_besides(job, &asked.plans) };
    let mut inputs = asked.inputs(job, &own, &mut report.notices)?;
    let claimed = Claimed::lock(job, &claims)?;
    let worker = asked.worker(job, &config, &tables)?;
    let parts =
        if claimed.can_resume() { Some(Parts::open(&job.out, job.resume, worker.settings())?) } else { None };
    let mut outputs = Outputs::open(&claimed, &tables, job.sum_up, &asked.made_from(&config), stdout)?;

    let mut passed_over = Vec::new();
    each_chunk(&mut inputs, job, progress, |chunk| {
        let mut part = part(chunk, &worker, parts.as_ref(), &mut report)?;
        passed_over.append(&mut part.passed_over);
        outputs.add(&part, &mut report)
    })?;
    passed_over.extend(asked.shown(&inputs.passed_over));
    report.notices.extend(note_passed_over(&mut passed_over, asked.pseudonymiser.is_some()));
    outputs.publish(&claimed, &passed_over, &mut report)?;
    if let Some(parts) = parts {
        parts.remove().map_err(|error| could_not_write(&Parts::folder_of(&job.out), &error))?;
    }
    report.notices.extend(unused(&asked.prescription));
    Ok(report)
}

/// What a job asks for, read.
struct Asked {
    plans: Plans,
    prescription: Prescription,
    roster_sha256: Option<String>,
    pseudonymiser: Option<Pseudonymiser>,
}

impl Asked {
    fn read(job: &Job, notices: &mut Vec<Notice>) -> Result<Self, Failure> {
        let mut plans = Plans::default();
        let (prescription, roster_sha256) = prescription(job, &mut plans, notices)?;
        let pseudonymiser = job.key.as_deref().map(Pseudonymiser::read).transpose()?;
        Ok(Self { plans, prescription, roster_sha256, pseudonymiser })
    }

    fn inputs<'a>(
        &'a self,
        job: &'a Job,
        own: &Own<'a>,
        notices: &mut Vec<Notice>,
    ) -> Result<Inputs<'a>, Failure> {
        let order = self.pseudonymiser.as_ref();
        Inputs::new(&job.paths, job.list.as_deref(), own, &self.prescription, order, notices)
    }

    fn worker<'a>(
        &'a self,
        job: &Job,
        config: &'a Config,
        tables: &'a [&'a Table],
    ) -> Result<Worker<'a>, Failure> {
        let with_sha256 = job.sha256 || job.provenance.is_some();
        Worker::new(job.jobs.get(), &self.plans, config, with_sha256, self.pseudonymiser.as_ref(), tables)
    }

    fn made_from(&self, config: &Config) -> MadeFrom<'_> {
        // Whoever has a roster or a plan could find its run by its hash.
        let keyed = |sha256: &str| match &self.pseudonymiser {
            Some(pseudonymiser) => pseudonymiser.content(sha256),
            None => sha256.to_owned(),
        };
        MadeFrom {
            configuration: serde_json::to_value(config).expect("plain figures with names can be written"),
            plans: self.plans.listed().map(|(title, sha256)| (title, keyed(sha256))).collect(),
            roster_sha256: self.roster_sha256.as_deref().map(keyed),
            is_pseudonymised: self.pseudonymiser.is_some(),
        }
    }

    /// Paths as the outputs show them.
    fn shown(&self, paths: &[PathBuf]) -> Vec<String> {
        let paths = paths.iter().map(|path| path.to_string_lossy().into_owned());
        match &self.pseudonymiser {
            Some(pseudonymiser) => paths.map(|path| pseudonymiser.path(&path)).collect(),
            None => paths.collect(),
        }
    }
}

/// Takes the recordings of a job chunk by chunk.
fn each_chunk(
    inputs: &mut Inputs<'_>,
    job: &Job,
    progress: &mut dyn Progress,
    mut each: impl FnMut(&[Input]) -> Result<(), Failure>,
) -> Result<(), Failure> {
    progress.begin(inputs.total);
    let mut done = 0;
    loop {
        let chunk = inputs.chunk(job.chunk.get())?;
        if chunk.is_empty() {
            return Ok(());
        }
        each(&chunk)?;
        done += files_of(&chunk);
        progress.advance(done);
    }
}

/// Files of recordings of a chunk.
fn files_of(chunk: &[Input]) -> u64 {
    chunk.iter().map(Input::files).sum::<usize>() as u64
}

/// So many files that were passed over are named, our choice.
const NAMED_PASSED_OVER: usize = 5;

/// Puts in order and says, once, what lay in folders and is no recording.
fn note_passed_over(paths: &mut [String], is_pseudonymised: bool) -> Option<Notice> {
    paths.sort();
    let count = paths.len();
    let files = if count == 1 { "1 file".to_owned() } else { format!("{count} files") };
    let shown = paths.get(..NAMED_PASSED_OVER.min(count)).filter(|shown| !shown.is_empty())?;
    let named = match (is_pseudonymised, count - shown.len()) {
        (true, _) => String::new(),
        (false, 0) => format!(": {}", shown.join(", ")),
        (false, more) => format!(": {}, and {more} more", shown.join(", ")),
    };
    let text =
        format!("{files} in the folders without a recording, such as notes and tables, passed over{named}.");
    Some(Notice::new(NoticeCode::FilesPassedOver, text))
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
fn tables(with_bouts: bool, with_reps: bool) -> Vec<Table> {
    let mut tables = vec![columns::recordings()];
    tables.extend(with_bouts.then(columns::bouts));
    tables.extend(with_reps.then(columns::reps));
    tables
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
        report.resumed += files_of(chunk);
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
        (None, None) if job.list.is_some() => Err(Failure::refused("nothing says what was prescribed")
            .hint("add --plan PLAN or --roster CSV: a list names recordings")),
        (None, None) => Ok((Prescription::Cases, None)),
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

/// The outputs in the order of [`Claimed`].
fn outputs(job: &Job) -> Vec<PathBuf> {
    let [bouts, reps, summary, provenance] = [&job.bouts, &job.reps, &job.summary, &job.provenance];
    let named = [bouts, reps, summary, provenance].into_iter().flatten().cloned();
    let package = package::path(&job.out);
    std::iter::once(job.out.clone()).chain(named).chain(package).collect()
}

/// The name of every table must say how it is written.
fn refuse_unknown_forms(job: &Job) -> Result<(), Failure> {
    let others = [&job.bouts, &job.reps, &job.summary].into_iter().flatten();
    std::iter::once(&job.out).chain(others).try_for_each(|path| Form::of(path).map(|_| ()))
}

/// The outputs, none of which is another one or what the run reads. Recordings are looked at as they are listed.
fn claims(job: &Job, plans: &Plans) -> Result<Claims, Failure> {
    let claims = Claims::of(&outputs(job).iter().map(PathBuf::as_path).collect::<Vec<_>>())?;
    package::path(&job.out).as_deref().map_or(Ok(()), package::refuse_foreign)?;
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
