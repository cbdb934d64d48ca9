//! Folders of recordings → one table, for research.
//!
//! `inputs` lists the recordings, `prescribed` says what each is held against, `scored` reads and checks one, `columns`
//! turns it into rows, `sink` and `parquet` write them, `parts` keeps what is finished in case the run is killed. Chunks
//! of recordings go through in order: the rows are the same whatever the number of jobs.

mod columns;
mod disguise;
mod inputs;
#[cfg(feature = "parquet")]
mod parquet;
mod parts;
mod prescribed;
mod provenance;
mod scored;
mod sink;
mod summary;
mod table;
mod value;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use columns::VERSION;
pub use columns::columns_page;
use disguise::Disguise;
use inputs::{Input, Inputs};
use parts::{Part, Parts, Rows};
use prescribed::{Plans, Prescription, Roster};
use provenance::Provenance;
use scored::{fingerprint, score};
use sink::{Encode, Form, Staged, could_not_write, encoder};
use summary::{Summary, Tally};
use table::Table;
use value::{Row, Value};

use jogaudit_core::pipeline::Config;
use jogaudit_files::{self as files, Failure};
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
    pub jobs: usize,
    /// Recordings of a chunk, the unit of what is kept of a killed run.
    pub chunk: usize,
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
pub fn run(
    job: &Job,
    progress: &mut dyn Progress,
    stdout: &mut (dyn Write + Send),
) -> Result<Report, Failure> {
    let mut report = Report::default();
    let mut plans = Plans::default();
    let (prescription, roster_sha256) = prescription(job, &mut plans, &mut report.notices)?;
    let disguise = job.key.as_deref().map(Disguise::read).transpose()?;
    let config = Config::default();
    let recordings = columns::recordings();
    let wanted = [
        (Some(&job.out), recordings),
        (job.bouts.as_ref(), columns::bouts()),
        (job.reps.as_ref(), columns::reps()),
    ];
    let wanted: Vec<(&PathBuf, Table)> =
        wanted.into_iter().filter_map(|(path, table)| Some((path?, table))).collect();
    let tables: Vec<&Table> = wanted.iter().map(|(_, table)| table).collect();
    refuse_clashes(job)?;

    let is_piped = job.out == Path::new("-");
    let mut inputs =
        Inputs::new(&job.paths, job.list.as_deref(), &ours(job), &prescription, &mut report.notices)?;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(job.jobs).build();
    let pool = pool.map_err(|error| Failure::refused("could not start the jobs").caused_by(&error))?;
    let mark = disguise.as_ref().map(Disguise::mark).unwrap_or_default();
    let schemas: Vec<&str> = tables.iter().map(|table| table.schema).collect();
    let settings = format!("{VERSION}\n{}\n{mark}\n{config:?}", schemas.join(" "));
    let parts = if is_piped { None } else { Some(Parts::open(&job.out, job.resume, settings)?) };

    let mut stdout = is_piped.then_some(stdout);
    let mut sinks = Vec::new();
    for (path, table) in &wanted {
        // The first table is that of the recordings.
        sinks.push(Sink::open(path, table, stdout.take())?);
    }
    let mut provenance = match &job.provenance {
        Some(path) => {
            let roster = roster_sha256.as_deref();
            Some(Provenance::create(
                path,
                &format!("{config:?}"),
                plans.listed(),
                roster,
                disguise.is_some(),
            )?)
        }
        None => None,
    };
    let mut tally = job.sum_up.then(|| Tally::new(tables[0]));
    let counted = Counted::new(tables[0]);

    progress.begin(inputs.total);
    loop {
        let list = job.list.as_deref().unwrap_or(Path::new("-"));
        let chunk = inputs.chunk(job.chunk).map_err(|error| Failure::input(list, &error))?;
        if chunk.is_empty() {
            break;
        }
        let worker = Worker { plans: &plans, config: &config, disguise: disguise.as_ref(), tables: &tables };
        let name = parts.as_ref().map(|parts| parts.name(&chunk, &plans));
        let found = parts.as_ref().zip(name.as_ref()).and_then(|(parts, name)| parts.load(name, &tables));
        let found = found.filter(|part| pool.install(|| worker.fingerprints(&chunk)) == part.fingerprints);
        let part = if let Some(part) = found {
            report.resumed += chunk.len() as u64;
            part
        } else {
            let part = pool.install(|| worker.part(&chunk));
            if let Some((parts, name)) = parts.as_ref().zip(name.as_ref()) {
                parts.store(name, &part).map_err(kept)?;
            }
            part
        };
        for (sink, rows) in sinks.iter_mut().zip(&part.rows) {
            sink.rows(rows).map_err(|failure| if is_piped { failure } else { kept(failure) })?;
        }
        counted.add(&part.rows[0], &mut report);
        if let Some(tally) = &mut tally {
            tally.add(&part.rows[0]);
        }
        if let Some(provenance) = &mut provenance {
            for (row, fingerprint) in part.rows[0].iter().zip(&part.fingerprints) {
                provenance.input(row[0].text().unwrap_or_default(), fingerprint)?;
            }
        }
        progress.advance(report.rows);
    }

    let summary = tally.map(|tally| tally.summary());
    let mut staged = Vec::new();
    for sink in sinks {
        staged.extend(sink.finish().map_err(|failure| if is_piped { failure } else { kept(failure) })?);
    }
    if let (Some(path), Some(summary)) = (&job.summary, &summary) {
        staged.extend(write_summary(path, summary)?);
    }
    if let Some(provenance) = provenance {
        let document = provenance.finish(&staged)?;
        staged.push(document);
    }
    // The main table comes last: once it is there, everything is.
    for staged in staged.into_iter().rev() {
        staged.sync()?;
        staged.publish()?;
    }
    if let Some(parts) = parts {
        parts.remove().map_err(|error| could_not_write(&Parts::folder_of(&job.out), &error))?;
    }
    report.notices.extend(unused(&prescription));
    report.summary = summary.map(|summary| summary.text());
    Ok(report)
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

/// What reads and writes recordings of one chunk.
struct Worker<'a> {
    plans: &'a Plans,
    config: &'a Config,
    disguise: Option<&'a Disguise>,
    tables: &'a [&'a Table],
}

impl Worker<'_> {
    /// Tries every recording of a chunk.
    fn part(&self, chunk: &[Input]) -> Part {
        let done: Vec<(String, Rows)> = chunk
            .par_iter()
            .map(|input| {
                let mut scored = score(input, self.plans, self.config);
                if let Some(disguise) = self.disguise {
                    disguise.apply(&mut scored);
                }
                let rows = self.tables.iter().map(|table| table.rows(&scored)).collect();
                (scored.fingerprint(), rows)
            })
            .collect();
        let mut part = Part { fingerprints: Vec::new(), rows: vec![Vec::new(); self.tables.len()] };
        for (fingerprint, rows) in done {
            part.fingerprints.push(fingerprint);
            part.rows.iter_mut().zip(rows).for_each(|(all, mut rows)| all.append(&mut rows));
        }
        part
    }

    /// What stands for the content of every recording of a chunk.
    fn fingerprints(&self, chunk: &[Input]) -> Vec<String> {
        let disguised = |plain: String| match self.disguise {
            // An error code stays as it is.
            Some(disguise) if plain.len() == 64 => disguise.content(&plain),
            _ => plain,
        };
        chunk.par_iter().map(|input| disguised(fingerprint(input))).collect()
    }
}

/// An output with its writer.
struct Sink<'w> {
    path: PathBuf,
    staged: Option<Staged>,
    encoder: Box<dyn Encode + 'w>,
}

impl<'w> Sink<'w> {
    fn open(path: &Path, table: &Table, stdout: Option<&'w mut (dyn Write + Send)>) -> Result<Self, Failure> {
        let form = Form::of(path)?;
        let (staged, encoder) = if let Some(stdout) = stdout {
            (None, encoder(form, table, stdout).map_err(Failure::output)?)
        } else {
            let (staged, file) = Staged::create(path)?;
            (Some(staged), encoder(form, table, file).map_err(|error| could_not_write(path, &error))?)
        };
        Ok(Self { path: path.to_owned(), staged, encoder })
    }

    fn rows(&mut self, rows: &[Row]) -> Result<(), Failure> {
        self.encoder.rows(rows).map_err(|error| self.failed(error))
    }

    fn finish(mut self) -> Result<Option<Staged>, Failure> {
        self.encoder.finish().map_err(|error| self.failed(error))?;
        Ok(self.staged)
    }

    fn failed(&self, error: io::Error) -> Failure {
        if self.staged.is_some() { could_not_write(&self.path, &error) } else { Failure::output(error) }
    }
}

fn write_summary(path: &Path, summary: &Summary) -> Result<Option<Staged>, Failure> {
    let mut sink = Sink::open(path, &summary.table, None)?;
    sink.rows(&summary.rows)?;
    sink.finish()
}

/// Says that finished chunks are still there.
fn kept(failure: Failure) -> Failure {
    failure.hint("what is finished is kept: make room, then run the same command with --resume")
}

/// Where the counted columns stand.
struct Counted {
    error_code: usize,
    samples: usize,
}

impl Counted {
    fn new(recordings: &Table) -> Self {
        let at = |name: &str| recordings.position(name).expect("the table has that column");
        Self { error_code: at("error_code"), samples: at("samples") }
    }

    fn add(&self, rows: &[Row], report: &mut Report) {
        for row in rows {
            report.rows += 1;
            if let Value::Whole(samples) = row[self.samples] {
                report.samples += samples as u64;
            }
            if let Some(code) = row[self.error_code].text() {
                report.failed += 1;
                report.internal += u64::from(code == "internal");
            }
        }
    }
}

/// The files that the user named for something else than a recording: they may lie in a folder of recordings.
fn ours(job: &Job) -> Vec<PathBuf> {
    let mut ours: Vec<PathBuf> = outputs(job).cloned().collect();
    ours.extend(ours.clone().iter().map(|path| sink::with_suffix(path, ".partial")));
    ours.push(Parts::folder_of(&job.out));
    ours.extend([&job.list, &job.plan, &job.roster, &job.key].into_iter().flatten().cloned());
    ours
}

fn outputs(job: &Job) -> impl Iterator<Item = &PathBuf> {
    let others = [&job.bouts, &job.reps, &job.summary, &job.provenance].map(Option::as_ref);
    let [bouts, reps, summary, provenance] = others;
    [Some(&job.out), bouts, reps, summary, provenance].into_iter().flatten()
}

/// No output may be an input or another output.
fn refuse_clashes(job: &Job) -> Result<(), Failure> {
    let named = [&job.list, &job.plan, &job.roster, &job.key];
    let inputs: Vec<&Path> = named
        .into_iter()
        .flatten()
        .chain(job.paths.iter().filter(|path| path.is_file()))
        .map(PathBuf::as_path)
        .collect();
    let outputs: Vec<&PathBuf> = outputs(job).collect();
    for (at, out) in outputs.iter().enumerate() {
        files::refuse_inputs(out, &inputs)?;
        if outputs[..at].contains(out) {
            let what = format!("two results would go to {}", files::named(out));
            return Err(Failure::refused(what).hint("name another file"));
        }
    }
    Ok(())
}

fn unused(prescription: &Prescription) -> Option<Notice> {
    let lines = prescription.unused_lines();
    let first = lines.first()?;
    let lines = if lines.len() == 1 { "1 line".to_owned() } else { format!("{} lines", lines.len()) };
    let text = format!("{lines} of the roster without a recording; the first is line {first}.");
    Some(Notice::new(NoticeCode::RosterLinesUnused, text))
}
