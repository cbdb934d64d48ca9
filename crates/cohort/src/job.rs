//! What is asked of a run, and what it tells.

use std::num::NonZero;
use std::path::PathBuf;

use jogaudit_recording::notice::Notice;

/// What is to be done.
pub struct Job {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// A list of more, one path a line; `-` is standard input.
    pub list: Option<PathBuf>,
    /// The plan of all, or of the roster's lines without one. With neither, the paths are cases or folders of cases.
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
    /// Whether the SHA-256 of every file is wanted without a `provenance`, too.
    pub sha256: bool,
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
            sha256: false,
            key: None,
            resume: false,
            jobs: NonZero::<usize>::MIN,
            chunk: CHUNK,
        }
    }
}

/// What came of it.
#[derive(Debug, Default)]
pub struct Report {
    /// Rows of the table of recordings.
    pub rows: u64,
    /// Those of which nothing could be read.
    pub failed: u64,
    /// Those that are no session: of another sport, or recorded twice.
    pub left_out: u64,
    /// Those that met a bug of ours.
    pub internal: u64,
    /// Files taken up from an earlier run.
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
    /// So many files are listed; `None` when that is not known.
    fn begin(&mut self, total: Option<u64>);
    /// So many are done.
    fn advance(&mut self, done: u64);
}
