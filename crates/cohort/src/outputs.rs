//! What a run writes: the tables, the summary, the provenance. They get their names together, at the end.

use std::io::Write;
use std::path::PathBuf;

use jogaudit_case::Failure;
use jogaudit_files::{Output, Staged};

use super::claimed::Claimed;
use super::encode::Encode;
use super::job::Report;
use super::opened::{Opened, StandardOutput, failed};
use super::package::{self, Written};
use super::parts::Part;
use super::provenance::{MadeFrom, Provenance};
use super::sink::{Form, encoder};
use super::summary::{Summary, Tally};
use super::table::Table;
use super::value::Row;

/// The open outputs of a run.
pub(super) struct Outputs<'w> {
    /// One for each table.
    sinks: Vec<Sink<'w>>,
    tables: &'w [&'w Table],
    /// `None` when nothing is summed up.
    tally: Option<Tally>,
    provenance: Option<Provenance<'w>>,
    stdout: StandardOutput<'w>,
    columns: Columns,
    /// Whether finished chunks are kept.
    can_resume: bool,
}

impl<'w> Outputs<'w> {
    /// Opens the tables and the document of what they are made from; one of them may go to standard output.
    pub(super) fn open(
        claimed: &Claimed,
        tables: &'w [&'w Table],
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
            tables,
            tally: sum_up.then(|| Tally::new(recordings)),
            provenance,
            stdout,
            columns: Columns::of(recordings),
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
        self.columns.count(recordings, report);
        if let Some(tally) = &mut self.tally {
            tally.add(recordings);
        }
        if let Some(provenance) = &mut self.provenance {
            for (path, sha256) in &part.tables {
                provenance.input(path, Some(sha256), None)?;
            }
            for row in recordings {
                let [path, sha256, error_code] = self.columns.of_provenance.map(|at| row[at].text());
                provenance.input(path.unwrap_or_default(), sha256, error_code)?;
            }
        }
        Ok(())
    }

    /// Ends all outputs and gives them their names. The text of the summary and what is noticed go to the report.
    pub(super) fn publish(
        mut self,
        claimed: &Claimed,
        passed_over: &[String],
        report: &mut Report,
    ) -> Result<(), Failure> {
        let (mut staged, mut tables) = (Vec::new(), Vec::new());
        for (sink, table) in self.sinks.into_iter().zip(self.tables) {
            if let Some(written) = sink.finish().map_err(|failure| hinted(failure, self.can_resume))? {
                staged.push(written);
                tables.push(*table);
            }
        }
        let sums = self.tally.map(|tally| tally.summary());
        if let (Some(output), Some(sums)) = (&claimed.summary, &sums)
            && let Some(written) = write_summary(output, sums, &mut self.stdout)?
        {
            staged.push(written);
            tables.push(&sums.table);
        }
        if let Some(output) = &claimed.package {
            let written: Vec<_> =
                tables.iter().zip(&staged).map(|(table, staged)| Written::new(table, staged)).collect();
            let (package, notice) = package::write(output, &written)?;
            report.notices.extend(notice);
            staged.push(package);
        }
        if let Some(provenance) = self.provenance {
            let document = provenance.finish(&staged, passed_over)?;
            staged.extend(document);
        }
        // The main table comes last: once it is there, everything is.
        staged.into_iter().rev().try_for_each(Staged::publish_durably)?;
        report.summary = sums.map(|sums| sums.text());
        Ok(())
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

/// Where the columns stand that the report and the provenance need.
pub(super) struct Columns {
    error_code: usize,
    left_out: usize,
    samples: usize,
    of_provenance: [usize; 3],
}

impl Columns {
    pub(super) fn of(recordings: &Table) -> Self {
        let at = |name: &str| recordings.position(name).expect("the table has that column");
        let of_provenance = ["path", "sha256", "error_code"].map(at);
        Self { error_code: at("error_code"), left_out: at("left_out"), samples: at("samples"), of_provenance }
    }

    pub(super) fn count(&self, rows: &[Row], report: &mut Report) {
        for row in rows {
            report.rows += 1;
            report.left_out += u64::from(row[self.left_out].text().is_some());
            report.samples += row[self.samples].whole().unwrap_or(0) as u64;
            if let Some(code) = row[self.error_code].text() {
                report.failed += 1;
                report.internal += u64::from(code == "internal");
            }
        }
    }
}
