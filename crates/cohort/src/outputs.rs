//! What a run writes: the tables, the summary, the provenance. They get their names together, at the end.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jogaudit_files::{Failure, Staged, could_not_write};

use super::parts::Part;
use super::provenance::Provenance;
use super::sink::{Encode, Form, encoder};
use super::summary::{Summary, Tally};
use super::table::Table;
use super::value::Row;
use super::{Job, Report};

/// The open outputs of a run.
pub(super) struct Outputs<'w> {
    /// One for each table.
    sinks: Vec<Sink<'w>>,
    /// `None` when nothing is summed up.
    tally: Option<Tally>,
    provenance: Option<Provenance>,
    counted: Counted,
    /// Whether finished chunks are kept.
    can_resume: bool,
}

impl<'w> Outputs<'w> {
    /// Opens the files of the tables, of which the first may go to standard output.
    pub(super) fn open(
        job: &Job,
        wanted: &[(&Path, Table)],
        stdout: &'w mut (dyn Write + Send),
    ) -> Result<Self, Failure> {
        let mut stdout = job.is_piped().then_some(stdout);
        let mut sinks = Vec::new();
        for (path, table) in wanted {
            sinks.push(Sink::open(path, table, stdout.take())?);
        }
        let (_, recordings) = &wanted[0];
        Ok(Self {
            sinks,
            tally: job.sum_up.then(|| Tally::new(recordings)),
            provenance: None,
            counted: Counted::new(recordings),
            can_resume: !job.is_piped(),
        })
    }

    /// Writes what the tables are made from into this document.
    pub(super) fn document(&mut self, provenance: Provenance) {
        self.provenance = Some(provenance);
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

    /// Ends all outputs and gives them their names. `summary` is the file of the summary; its text is returned.
    pub(super) fn publish(self, summary: Option<&Path>) -> Result<Option<String>, Failure> {
        let mut staged = Vec::new();
        for sink in self.sinks {
            staged.extend(sink.finish().map_err(|failure| hinted(failure, self.can_resume))?);
        }
        let sums = self.tally.map(|tally| tally.summary());
        if let (Some(path), Some(sums)) = (summary, &sums) {
            staged.extend(write_summary(path, sums)?);
        }
        if let Some(provenance) = self.provenance {
            let document = provenance.finish(&staged)?;
            staged.push(document);
        }
        // The main table comes last: once it is there, everything is.
        staged.into_iter().rev().try_for_each(Staged::publish_durably)?;
        Ok(sums.map(|sums| sums.text()))
    }
}

/// A table's output with its writer.
struct Sink<'w> {
    path: PathBuf,
    /// `None` for standard output.
    staged: Option<Staged>,
    encoder: Box<dyn Encode + 'w>,
}

impl<'w> Sink<'w> {
    fn open(path: &Path, table: &Table, stdout: Option<&'w mut (dyn Write + Send)>) -> Result<Self, Failure> {
        let form = Form::of(path)?;
        let (staged, encoder) = if let Some(stdout) = stdout {
            (None, encoder(form, table, stdout).map_err(Failure::output)?)
        } else {
            let staged = Staged::partial(path)?;
            let encoder = encoder(form, table, staged.file()?);
            (Some(staged), encoder.map_err(|error| could_not_write(path, &error))?)
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

fn hinted(failure: Failure, can_resume: bool) -> Failure {
    if can_resume { with_resume_hint(failure) } else { failure }
}

/// Says that finished chunks are still there.
pub(super) fn with_resume_hint(failure: Failure) -> Failure {
    failure.hint("what is finished is kept: make room, then run the same command with --resume")
}

/// Where the columns stand that are counted for the report.
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
            report.samples += row[self.samples].whole().unwrap_or(0) as u64;
            if let Some(code) = row[self.error_code].text() {
                report.failed += 1;
                report.internal += u64::from(code == "internal");
            }
        }
    }
}
