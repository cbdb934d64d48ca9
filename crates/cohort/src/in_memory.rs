//! The rows of a run in memory, as columns, for whoever wants no files: no summary, nothing kept of a killed run.

use std::path::PathBuf;

use jogaudit_case::{Failure, MAX_RECORDING_BYTES};
use jogaudit_core::pipeline::Config;
use jogaudit_files::Claims;

use super::file_input::FileInput;
use super::inputs::Own;
use super::outputs;
use super::parts::Part;
use super::prescribed::Prescription;
use super::scored::{ERROR_CODES, RowError};
use super::table::{Field, Table};
use super::value::{CellKind, Row, Value};
use super::worker::Worker;
use super::{Asked, Job, Progress, Report, each_chunk, note_passed_over, read_besides, tables, unused};

/// Which tables are wanted besides that of the recordings.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    /// One line a bout.
    pub bouts: bool,
    /// One line a prescribed run or walk.
    pub reps: bool,
}

/// Lines of one table.
pub struct Columns {
    /// Name and version of the schema.
    pub schema: &'static str,
    /// All of one length, in the order of `docs/columns.md`.
    pub columns: Vec<Column>,
}

/// A column of a table.
pub struct Column {
    /// Its name, which ends in its unit.
    pub name: String,
    /// Empty for what has none.
    pub unit: &'static str,
    /// What it says, in one sentence without a full stop.
    pub about: String,
    /// One for each line.
    pub cells: Cells,
}

/// The cells of a column; `None` for what is not known.
pub enum Cells {
    /// Texts.
    Text(Vec<Option<String>>),
    /// Whole numbers.
    Whole(Vec<Option<i64>>),
    /// Numbers.
    Real(Vec<Option<f64>>),
    /// True or false.
    Flag(Vec<Option<bool>>),
    /// Microseconds since 1970, UTC.
    Instant(Vec<Option<i64>>),
}

/// A recording whose bytes the caller has.
pub struct Content<'a> {
    /// What it is called: the roster's lines are for such names.
    pub path: &'a str,
    /// What it holds, or the `error_code` of why that could not be had; a code that is none of ours is `not_readable`.
    pub bytes: Result<&'a [u8], &'a str>,
}

/// Takes the next lines of the tables that are wanted, that of the recordings first; its error ends the run.
pub type Take<'a> = dyn FnMut(Vec<Columns>) -> Result<(), Failure> + 'a;

/// Tries the recordings of a job, as [`run`](super::run) does, and gives its rows chunk by chunk, at least once. What the job says
/// of outputs and of resuming is not looked at.
///
/// # Errors
///
/// As with [`run`](super::run), and those of `take`. A recording that cannot be read is a row that says so.
pub fn gather(job: &Job, wanted: Wanted, take: &mut Take<'_>) -> Result<Report, Failure> {
    gather_from(job, wanted, take, |asked, gathering| {
        let claims = Claims::of(&[])?;
        let own = Own { claims: &claims, others: &read_besides(job, &asked.plans) };
        let mut inputs = asked.inputs(job, &own, &mut gathering.report.notices)?;
        each_chunk(&mut inputs, job, &mut Unseen, |chunk| gathering.take(gathering.worker.part(chunk)))?;
        gathering.passed_over.extend(asked.shown(&inputs.passed_over));
        Ok(())
    })
}

/// The same of recordings whose bytes the caller has. The job's paths and list are not looked at.
///
/// # Errors
///
/// As with [`gather`].
pub fn gather_contents(
    job: &Job,
    contents: &[Content<'_>],
    wanted: Wanted,
    take: &mut Take<'_>,
) -> Result<Report, Failure> {
    gather_from(job, wanted, take, |asked, gathering| {
        contents.chunks(job.chunk.get()).try_for_each(|chunk| {
            let given = |content| (named(content, &asked.prescription), usable(content));
            gathering.take(gathering.worker.part_of_contents(chunk, given))
        })
    })
}

fn named(content: &Content<'_>, prescription: &Prescription) -> FileInput {
    let path = PathBuf::from(content.path);
    FileInput { prescribed: prescription.of(&path).cloned(), path, is_found: false }
}

/// The bytes of a recording, unless there are none or too many.
fn usable<'a>(content: &Content<'a>) -> Result<&'a [u8], RowError> {
    match content.bytes {
        Ok(bytes) if bytes.len() as u64 > MAX_RECORDING_BYTES => Err(RowError::standard("file_too_large")),
        Ok(bytes) => Ok(bytes),
        Err(why) => {
            let known = ERROR_CODES.iter().find(|(code, _)| *code == why);
            Err(RowError::standard(known.map_or("not_readable", |(code, _)| code)))
        }
    }
}

/// Nobody sees how far it has come.
struct Unseen;

impl Progress for Unseen {
    fn begin(&mut self, _: Option<u64>) {}
    fn advance(&mut self, _: u64) {}
}

/// A run under way.
struct Gathering<'a, 't> {
    worker: &'a Worker<'a>,
    counted: outputs::Columns,
    report: Report,
    passed_over: Vec<String>,
    take: &'a mut Take<'t>,
}

impl Gathering<'_, '_> {
    fn take(&mut self, mut part: Part) -> Result<(), Failure> {
        self.counted.count(&part.rows[0], &mut self.report);
        self.passed_over.append(&mut part.passed_over);
        (self.take)(columns_of(self.worker.tables, &part.rows))
    }
}

fn gather_from(
    job: &Job,
    wanted: Wanted,
    take: &mut Take<'_>,
    each: impl FnOnce(&Asked, &mut Gathering<'_, '_>) -> Result<(), Failure>,
) -> Result<Report, Failure> {
    let mut report = Report::default();
    let asked = Asked::read(job, &mut report.notices)?;
    let tables = tables(wanted.bouts, wanted.reps);
    let tables: Vec<&Table> = tables.iter().collect();
    let config = Config::default();
    let worker = asked.worker(job, &config, &tables)?;
    let counted = outputs::Columns::of(tables[0]);
    let mut gathering = Gathering { worker: &worker, counted, report, passed_over: Vec::new(), take };
    each(&asked, &mut gathering)?;
    let Gathering { mut report, mut passed_over, take, .. } = gathering;
    if report.rows == 0 {
        take(columns_of(&tables, &vec![Vec::new(); tables.len()]))?;
    }
    report.notices.extend(note_passed_over(&mut passed_over, asked.pseudonymiser.is_some()));
    report.notices.extend(unused(&asked.prescription));
    Ok(report)
}

fn columns_of(tables: &[&Table], rows: &[Vec<Row>]) -> Vec<Columns> {
    let column = |field: &Field, at: usize, rows: &[Row]| Column {
        name: field.name.clone(),
        unit: field.unit,
        about: field.about.clone(),
        cells: cells(field.kind, rows, at),
    };
    let columns = |(table, rows): (&&Table, &Vec<Row>)| Columns {
        schema: table.schema,
        columns: table.fields.iter().enumerate().map(|(at, field)| column(field, at, rows)).collect(),
    };
    tables.iter().zip(rows).map(columns).collect()
}

fn cells(kind: CellKind, rows: &[Row], at: usize) -> Cells {
    let cells = rows.iter().map(|row| &row[at]);
    match kind {
        CellKind::Text => Cells::Text(cells.map(|cell| cell.text().map(str::to_owned)).collect()),
        CellKind::Whole => Cells::Whole(cells.map(Value::whole).collect()),
        CellKind::Real => Cells::Real(cells.map(Value::real).collect()),
        CellKind::Flag => Cells::Flag(cells.map(Value::flag).collect()),
        CellKind::Instant => {
            Cells::Instant(cells.map(|cell| cell.instant().map(jiff::Timestamp::as_microsecond)).collect())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "title = 'x'\n[[stage]]\nname = '1'\nsession = 'run 0:20'\n";
    const RECORDING: &str = r#"<gpx><trk><type>running</type><trkseg>
        <trkpt lat="0.5000" lon="0.5"><time>2026-03-02T07:10:00Z</time></trkpt>
        <trkpt lat="0.5006" lon="0.5"><time>2026-03-02T07:10:20Z</time></trkpt>
        </trkseg></trk></gpx>"#;

    fn job(folder: &std::path::Path) -> Job {
        std::fs::write(folder.join("plan.toml"), PLAN).unwrap();
        Job { plan: Some(folder.join("plan.toml")), chunk: 2.try_into().unwrap(), ..Job::default() }
    }

    /// Lines of each table in each chunk, and the texts of a column of the first one.
    fn taken(
        column: &str,
        run: impl FnOnce(&mut Take<'_>) -> Result<Report, Failure>,
    ) -> (Vec<Vec<usize>>, Vec<Option<String>>, Report) {
        let (mut lines, mut texts) = (Vec::new(), Vec::new());
        let report = run(&mut |tables| {
            let of = |cells: &Cells| match cells {
                Cells::Text(cells) => cells.len(),
                Cells::Whole(cells) | Cells::Instant(cells) => cells.len(),
                Cells::Real(cells) => cells.len(),
                Cells::Flag(cells) => cells.len(),
            };
            lines.push(tables.iter().map(|table| of(&table.columns[0].cells)).collect());
            let wanted = tables[0].columns.iter().find(|known| known.name == column).unwrap();
            let Cells::Text(cells) = &wanted.cells else { panic!("{column} is no text") };
            texts.extend(cells.iter().cloned());
            Ok(())
        });
        (lines, texts, report.unwrap())
    }

    #[test]
    fn files_and_contents_give_the_same_rows_chunk_by_chunk() {
        let folder = tempfile::tempdir().unwrap();
        let mut job = job(folder.path());
        let contents = [RECORDING, "", RECORDING];
        let paths: Vec<String> =
            (0..3).map(|n| folder.path().join(format!("{n}.gpx")).to_str().unwrap().to_owned()).collect();
        for (path, content) in paths.iter().zip(contents) {
            std::fs::write(path, content).unwrap();
        }
        job.paths = paths.iter().map(PathBuf::from).collect();
        let wanted = Wanted { bouts: true, reps: true };
        let given: Vec<Content> = paths
            .iter()
            .zip(contents)
            .map(|(path, content)| Content { path, bytes: Ok(content.as_bytes()) })
            .collect();
        for column in ["path", "blake3", "error_code"] {
            let (lines, texts, report) = taken(column, |take| gather(&job, wanted, take));
            assert_eq!(lines, [[2, 1, 0], [1, 1, 0]]);
            assert_eq!((report.rows, report.failed), (3, 1));
            assert_eq!((lines, texts), {
                let (lines, texts, _) = taken(column, |take| gather_contents(&job, &given, wanted, take));
                (lines, texts)
            });
        }
    }

    #[test]
    fn what_could_not_be_had_is_a_row_and_nothing_has_its_columns_too() {
        let folder = tempfile::tempdir().unwrap();
        let job = job(folder.path());
        let lost = ["", "file_too_large"].map(|why| Content { path: "a.gpx", bytes: Err(why) });
        let (_, codes, _) = taken("error_code", |take| gather_contents(&job, &lost, Wanted::default(), take));
        assert_eq!(codes, ["not_readable", "file_too_large"].map(|code| Some(code.to_owned())));
        let (lines, _, _) = taken("path", |take| gather(&job, Wanted::default(), take));
        assert_eq!(lines, [[0]]);
    }

    #[test]
    fn who_takes_the_rows_can_end_the_run() {
        let folder = tempfile::tempdir().unwrap();
        let contents: Vec<Content> = (0..5).map(|_| Content { path: "x", bytes: Ok(b"") }).collect();
        let mut taken = 0;
        let ended = gather_contents(&job(folder.path()), &contents, Wanted::default(), &mut |_| {
            taken += 1;
            Err(Failure::refused("enough"))
        });
        assert!(ended.err().unwrap().to_string().contains("enough"));
        assert_eq!(taken, 1);
    }
}
