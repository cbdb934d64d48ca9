//! What a run writes: the tables, the summary, the provenance. They get their names together, at the end.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jogaudit_case::Failure;
use jogaudit_files::{Output, Staged, could_not_write};

use super::parts::Part;
use super::provenance::{MadeFrom, Provenance};
use super::sink::{Encode, Form, encoder};
use super::summary::{Summary, Tally};
use super::table::Table;
use super::value::Row;
use super::{Claimed, Report};

/// The open outputs of a run.
pub(super) struct Outputs<'w> {
    /// One for each table.
    sinks: Vec<Sink<'w>>,
    /// `None` when nothing is summed up.
    tally: Option<Tally>,
    provenance: Option<Provenance<'w>>,
    stdout: StandardOutput<'w>,
    counted: Counted,
    /// Whether finished chunks are kept.
    can_resume: bool,
}

/// Taken by the one output that goes there.
type StandardOutput<'w> = Option<&'w mut (dyn Write + Send)>;

impl<'w> Outputs<'w> {
    /// Opens the tables and the document of what they are made from; one of them may go to standard output.
    pub(super) fn open(
        claimed: &Claimed,
        tables: &[&Table],
        sum_up: bool,
        made_from: &MadeFrom<'_>,
        stdout: &'w mut (dyn Write + Send),
    ) -> Result<Self, Failure> {
        let mut stdout = Some(stdout);
        let mut sinks = Vec::new();
        for (output, table) in claimed.tables.iter().zip(tables) {
            sinks.push(Sink::open(output, table, &mut stdout)?);
        }
        let provenance = match &claimed.provenance {
            Some(output) => Some(Provenance::create(Opened::new(output, &mut stdout)?, made_from)?),
            None => None,
        };
        let recordings = tables[0];
        Ok(Self {
            sinks,
            tally: sum_up.then(|| Tally::new(recordings)),
            provenance,
            stdout,
            counted: Counted::new(recordings),
            can_resume: claimed.can_resume(),
        })
    }

    /// Adds the rows of a chunk.
    pub(super) fn add(&mut self, part: &Part, report: &mut Report) -> Result<(), Failure> {
        let can_resume = self.can_resume;
        for (sink, rows) in self.sinks.iter_mut().zip(&part.rows) {
            sink.rows(rows).map_err(|failure| hinted(failure, can_resume))?;
        }
        let recordings = &part.rows[0];
        self.counted.add(recordings, report);
        if let Some(tally) = &mut self.tally {
            tally.add(recordings);
        }
        if let Some(provenance) = &mut self.provenance {
            for (row, fingerprint) in recordings.iter().zip(&part.fingerprints) {
                provenance.input(row[0].text().unwrap_or_default(), fingerprint)?;
            }
        }
        Ok(())
    }

    /// Ends all outputs and gives them their names. `summary` is where the summary goes; its text is returned.
    pub(super) fn publish(mut self, summary: Option<&Output>) -> Result<Option<String>, Failure> {
        let mut staged = Vec::new();
        for sink in self.sinks {
            staged.extend(sink.finish().map_err(|failure| hinted(failure, self.can_resume))?);
        }
        let sums = self.tally.map(|tally| tally.summary());
        if let (Some(output), Some(sums)) = (summary, &sums) {
            staged.extend(write_summary(output, sums, &mut self.stdout)?);
        }
        if let Some(provenance) = self.provenance {
            let document = provenance.finish(&staged)?;
            staged.extend(document);
        }
        // The main table comes last: once it is there, everything is.
        staged.into_iter().rev().try_for_each(Staged::publish_durably)?;
        Ok(sums.map(|sums| sums.text()))
    }
}

/// An output that can be written to.
pub(super) struct Opened<'w> {
    pub(super) path: PathBuf,
    /// `None` for standard output.
    pub(super) staged: Option<Staged>,
    pub(super) to: Box<dyn Write + Send + 'w>,
}

impl<'w> Opened<'w> {
    fn new(output: &Output, stdout: &mut StandardOutput<'w>) -> Result<Self, Failure> {
        let path = output.named().to_owned();
        if output.is_standard_output() {
            let stdout = stdout.take().ok_or_else(|| Failure::internal("standard output is taken twice"))?;
            return Ok(Self { path, staged: None, to: Box::new(stdout) });
        }
        let staged = output.stage()?;
        let to = Box::new(staged.file()?);
        Ok(Self { path, staged: Some(staged), to })
    }
}

/// Says that an output could not be written.
pub(super) fn failed(path: &Path, error: io::Error) -> Failure {
    if path.as_os_str() == "-" { Failure::output(error) } else { could_not_write(path, &error) }
}

/// A table's output with its writer.
struct Sink<'w> {
    path: PathBuf,
    /// `None` for standard output.
    staged: Option<Staged>,
    encoder: Box<dyn Encode + 'w>,
}

impl<'w> Sink<'w> {
    fn open(output: &Output, table: &Table, stdout: &mut StandardOutput<'w>) -> Result<Self, Failure> {
        let form = Form::of(output.named())?;
        let Opened { path, staged, to } = Opened::new(output, stdout)?;
        let encoder = encoder(form, table, to).map_err(|error| failed(&path, error))?;
        Ok(Self { path, staged, encoder })
    }

    fn rows(&mut self, rows: &[Row]) -> Result<(), Failure> {
        self.encoder.rows(rows).map_err(|error| failed(&self.path, error))
    }

    fn finish(mut self) -> Result<Option<Staged>, Failure> {
        self.encoder.finish().map_err(|error| failed(&self.path, error))?;
        Ok(self.staged)
    }
}

fn write_summary(
    output: &Output,
    summary: &Summary,
    stdout: &mut StandardOutput<'_>,
) -> Result<Option<Staged>, Failure> {
    let mut sink = Sink::open(output, &summary.table, stdout)?;
    sink.rows(&summary.rows)?;
    sink.finish()
}

fn hinted(failure: Failure, can_resume: bool) -> Failure {
    if can_resume { with_resume_hint(failure) } else { failure }
}

/// Says that finished chunks are still there.
pub(super) fn with_resume_hint(failure: Failure) -> Failure {
    failure.hint("what is finished is kept: make room, then run the same command with --resume")
}

/// Where the columns stand that are counted for the report.
pub(super) struct Counted {
    error_code: usize,
    samples: usize,
}

impl Counted {
    pub(super) fn new(recordings: &Table) -> Self {
        let at = |name: &str| recordings.position(name).expect("the table has that column");
        Self { error_code: at("error_code"), samples: at("samples") }
    }

    pub(super) fn add(&self, rows: &[Row], report: &mut Report) {
        for row in rows {
            report.rows += 1;
            report.samples += row[self.samples].whole().unwrap_or(0) as u64;
            if let Some(code) = row[self.error_code].text() {
                report.failed += 1;
                report.internal += u64::from(code == "internal");
            }
        }
    }
}
