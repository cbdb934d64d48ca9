//! Recordings of a chunk → their rows, on several cores.

use rayon::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};

use jogaudit_case::Failure;
use jogaudit_core::pipeline::Config;

use super::columns::VERSION;
use super::file_input::FileInput;
use super::in_case::{self, CaseScored, score_case};
use super::inputs::Input;
use super::parts::{Part, Rows};
use super::plans::Plans;
use super::pseudonymise::Pseudonymiser;
use super::scored::{RowError, Scored, fingerprint, score, score_bytes};
use super::table::Table;

/// Makes the rows of recordings.
pub(super) struct Worker<'a> {
    pool: ThreadPool,
    pub(super) plans: &'a Plans,
    config: &'a Config,
    with_sha256: bool,
    pseudonymiser: Option<&'a Pseudonymiser>,
    pub(super) tables: &'a [&'a Table],
}

impl<'a> Worker<'a> {
    /// Starts `jobs` threads.
    pub(super) fn new(
        jobs: usize,
        plans: &'a Plans,
        config: &'a Config,
        with_sha256: bool,
        pseudonymiser: Option<&'a Pseudonymiser>,
        tables: &'a [&'a Table],
    ) -> Result<Self, Failure> {
        let pool = ThreadPoolBuilder::new().num_threads(jobs).build();
        let pool = pool.map_err(|error| Failure::refused("could not start the jobs").caused_by(&error))?;
        Ok(Self { pool, plans, config, with_sha256, pseudonymiser, tables })
    }

    /// What the rows depend on besides the recordings and their prescriptions.
    pub(super) fn settings(&self) -> String {
        let key = self.pseudonymiser.map(Pseudonymiser::key_fingerprint).unwrap_or_default();
        let schemas: Vec<&str> = self.tables.iter().map(|table| table.schema).collect();
        format!("{VERSION}\n{}\n{key}\n{}\n{:?}", schemas.join(" "), self.with_sha256, self.config)
    }

    /// Tries every recording of a chunk. The rows stand in its order.
    pub(super) fn part(&self, chunk: &[Input]) -> Part {
        self.part_of(chunk, |input| match input {
            Input::Case(case) => score_case(case, self.config, self.with_sha256),
            Input::File(file) => of_file(file, score(file, self.plans, self.config, self.with_sha256)),
        })
    }

    /// The same of files whose bytes are there, or the reason why they are not.
    pub(super) fn part_of_contents<'c, T: Sync>(
        &self,
        chunk: &'c [T],
        given: impl Fn(&'c T) -> (FileInput, Result<&'c [u8], RowError>) + Sync,
    ) -> Part {
        self.part_of(chunk, |content| {
            let (file, bytes) = given(content);
            let rows = score_bytes(&file, || bytes, self.plans, self.config, self.with_sha256);
            of_file(&file, rows)
        })
    }

    fn part_of<'c, T: Sync>(&self, chunk: &'c [T], score: impl Fn(&'c T) -> CaseScored + Sync) -> Part {
        let done: Vec<Part> =
            self.pool.install(|| chunk.par_iter().map(|tried| self.shaped(score(tried))).collect());
        let mut part = Part { rows: vec![Vec::new(); self.tables.len()], ..Part::default() };
        done.into_iter().for_each(|one| part.append(one));
        part
    }

    /// What one input gave, as rows.
    fn shaped(&self, scored: CaseScored) -> Part {
        let CaseScored { fingerprint, mut rows, mut tables, mut passed_over } = scored;
        if let Some(pseudonymiser) = self.pseudonymiser {
            rows.iter_mut().for_each(|row| pseudonymiser.apply(row));
            // The order of names would tell who is who.
            rows.sort_by(|a, b| (&a.path, a.activity).cmp(&(&b.path, b.activity)));
            for (path, hash) in &mut tables {
                (*path, *hash) = (pseudonymiser.path(path), pseudonymiser.content(hash));
            }
            passed_over.iter_mut().for_each(|path| *path = pseudonymiser.path(path));
        }
        let rows: Rows =
            self.tables.iter().map(|table| rows.iter().flat_map(|row| table.rows(row)).collect()).collect();
        Part { fingerprints: vec![self.shown(fingerprint)], rows, tables, passed_over }
    }

    /// What stands for the content of every input of a chunk, without their rows.
    pub(super) fn fingerprints(&self, chunk: &[Input]) -> Vec<String> {
        let of = |input: &Input| {
            self.shown(match input {
                Input::File(file) => fingerprint(file),
                Input::Case(case) => in_case::fingerprint(case),
            })
        };
        self.pool.install(|| chunk.par_iter().map(of).collect())
    }

    fn shown(&self, fingerprint: String) -> String {
        match self.pseudonymiser {
            // An error code stays as it is.
            Some(pseudonymiser) if fingerprint.len() == HASH_LETTERS => pseudonymiser.content(&fingerprint),
            _ => fingerprint,
        }
    }
}

fn of_file(file: &FileInput, rows: Vec<Scored>) -> CaseScored {
    let fingerprint = rows.first().map_or_else(|| fingerprint(file), Scored::fingerprint);
    let path = || file.path.to_string_lossy().into_owned();
    let passed_over = if rows.is_empty() { vec![path()] } else { Vec::new() };
    CaseScored { fingerprint, rows, tables: Vec::new(), passed_over }
}

/// Letters of a BLAKE3 in hexadecimal; no error code has as many.
const HASH_LETTERS: usize = 64;
