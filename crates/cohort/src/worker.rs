//! Recordings of a chunk → their rows, on several cores.

use rayon::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};

use jogaudit_case::Failure;
use jogaudit_core::pipeline::Config;

use super::columns::VERSION;
use super::inputs::Input;
use super::parts::{Part, Rows};
use super::prescribed::Plans;
use super::pseudonymise::Pseudonymiser;
use super::scored::{Scored, fingerprint, score};
use super::table::Table;

/// Makes the rows of recordings.
pub(super) struct Worker<'a> {
    pool: ThreadPool,
    pub(super) plans: &'a Plans,
    config: &'a Config,
    pseudonymiser: Option<&'a Pseudonymiser>,
    pub(super) tables: &'a [&'a Table],
}

impl<'a> Worker<'a> {
    /// Starts `jobs` threads.
    pub(super) fn new(
        jobs: usize,
        plans: &'a Plans,
        config: &'a Config,
        pseudonymiser: Option<&'a Pseudonymiser>,
        tables: &'a [&'a Table],
    ) -> Result<Self, Failure> {
        let pool = ThreadPoolBuilder::new().num_threads(jobs).build();
        let pool = pool.map_err(|error| Failure::refused("could not start the jobs").caused_by(&error))?;
        Ok(Self { pool, plans, config, pseudonymiser, tables })
    }

    /// What the rows depend on besides the recordings and their prescriptions.
    pub(super) fn settings(&self) -> String {
        let key = self.pseudonymiser.map(Pseudonymiser::key_fingerprint).unwrap_or_default();
        let schemas: Vec<&str> = self.tables.iter().map(|table| table.schema).collect();
        format!("{VERSION}\n{}\n{key}\n{:?}", schemas.join(" "), self.config)
    }

    /// Tries every recording of a chunk. The rows stand in its order.
    pub(super) fn part(&self, chunk: &[Input]) -> Part {
        self.part_of(chunk, |input| score(input, self.plans, self.config))
    }

    /// The same of recordings that `score` tries.
    pub(super) fn part_of<T: Sync>(&self, chunk: &[T], score: impl Fn(&T) -> Scored + Sync) -> Part {
        let done: Vec<(String, Rows)> =
            self.pool.install(|| chunk.par_iter().map(|tried| self.rows(score(tried))).collect());
        let mut part = Part { fingerprints: Vec::new(), rows: vec![Vec::new(); self.tables.len()] };
        for (fingerprint, rows) in done {
            part.fingerprints.push(fingerprint);
            part.rows.iter_mut().zip(rows).for_each(|(all, mut rows)| all.append(&mut rows));
        }
        part
    }

    /// What stands for the content of a recording, and its rows of each table.
    fn rows(&self, mut scored: Scored) -> (String, Rows) {
        if let Some(pseudonymiser) = self.pseudonymiser {
            pseudonymiser.apply(&mut scored);
        }
        (scored.fingerprint(), self.tables.iter().map(|table| table.rows(&scored)).collect())
    }

    /// What stands for the content of every recording of a chunk, without their rows.
    pub(super) fn fingerprints(&self, chunk: &[Input]) -> Vec<String> {
        let pseudonymised = |plain: String| match self.pseudonymiser {
            // An error code stays as it is.
            Some(pseudonymiser) if plain.len() == SHA256_LETTERS => pseudonymiser.content(&plain),
            _ => plain,
        };
        let of = |input: &Input| pseudonymised(fingerprint(input));
        self.pool.install(|| chunk.par_iter().map(of).collect())
    }
}

/// Letters of a SHA-256 in hexadecimal; no error code has as many.
const SHA256_LETTERS: usize = 64;
