//! The roster: a table that says which stage each recording is held against.

use std::collections::HashMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use csv::StringRecord;
use globset::{Glob, GlobBuilder, GlobSet, GlobSetBuilder};

use jogaudit_case::{Failure, named, sha256};
use jogaudit_core::separator::separator;
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;

use super::plans::{Plans, Prescribed};

/// Larger rosters are refused, our choice: a line for each of a million recordings stays below.
const MAX_ROSTER_BYTES: u64 = 256 << 20;
/// Patterns of a roster, our choice: every path is held against all of them. Lines that name a path are not bounded.
const MOST_PATTERNS: usize = 5_000;
/// So many bad lines are shown, our choice.
const SHOWN_FAULTS: usize = 10;

/// A table of paths or patterns with what is prescribed for each.
pub(super) struct Roster {
    pub(super) sha256: String,
    lines: Vec<RosterLine>,
    /// The line of each path that is named.
    named: HashMap<String, usize>,
    patterns: GlobSet,
    /// The line of each pattern.
    pattern_lines: Vec<usize>,
}

struct RosterLine {
    number: u64,
    prescribed: Prescribed,
    used: AtomicBool,
}

impl Roster {
    /// Reads a roster; plans in it lie beside it unless their path says otherwise, `plan` is for lines without one.
    pub(super) fn read(
        path: &Path,
        plan: Option<&Path>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        Self::parse(&files::bytes(path, MAX_ROSTER_BYTES)?, path, plan, plans, notices)
    }

    /// The same of the bytes of a roster that lies at `path`.
    pub(super) fn parse(
        bytes: &[u8],
        path: &Path,
        plan: Option<&Path>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        let refused = || Failure::refused(format!("could not use the roster {}", named(path)));
        let mut csv = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .delimiter(delimiter(bytes))
            .from_reader(bytes);
        let mut records = csv.records();
        let header =
            records.next().and_then(Result::ok).as_ref().and_then(Header::read).ok_or_else(|| {
                refused()
                    .lines(&["line 1: there is no column `path`".to_owned()])
                    .hint("its first line names the columns: path,participant,stage,plan")
            })?;
        let mut reader = RosterReader {
            header,
            folder: path.parent().unwrap_or(Path::new("")),
            plan,
            lines: Vec::new(),
            named: HashMap::new(),
            patterns: GlobSetBuilder::new(),
            pattern_lines: Vec::new(),
        };
        let mut faults = Vec::new();
        for record in records {
            if let Err(fault) = reader.add(record, plans, notices) {
                faults.push(format!("line {}: {}", fault.line, fault.what));
            }
        }
        if !faults.is_empty() {
            return Err(refused().lines(&shown(faults)).hint("mend these lines; nothing was read"));
        }
        let RosterReader { lines, named, patterns, pattern_lines, .. } = reader;
        let patterns = patterns.build().map_err(|error| refused().caused_by(&error))?;
        Ok(Self { sha256: sha256(bytes), lines, named, patterns, pattern_lines })
    }

    /// The line for a path: one that names it, or its end from some folder on; else the first whose pattern fits.
    pub(super) fn of(&self, path: &Path) -> Option<&Prescribed> {
        let text = path.to_string_lossy();
        let text = plain(&text);
        let after_folders = text.match_indices('/').map(|(at, _)| &text[at + 1..]);
        let named = std::iter::once(text).chain(after_folders).find_map(|end| self.named.get(end).copied());
        let fitting = || self.patterns.matches(text).into_iter().map(|at| self.pattern_lines[at]).min();
        let line = &self.lines[named.or_else(fitting)?];
        line.used.store(true, Ordering::Relaxed);
        Some(&line.prescribed)
    }

    /// Numbers of the lines that no recording needed.
    pub(super) fn unused_lines(&self) -> Vec<u64> {
        let unused = self.lines.iter().filter(|line| !line.used.load(Ordering::Relaxed));
        unused.map(|line| line.number).collect()
    }
}

/// Where the columns of a roster stand.
struct Header {
    /// Columns in all.
    width: usize,
    path: usize,
    participant: Option<usize>,
    stage: Option<usize>,
    plan: Option<usize>,
}

impl Header {
    fn read(record: &StringRecord) -> Option<Self> {
        let at = |name: &str| record.iter().position(|cell| cell.trim_start_matches('\u{feff}') == name);
        let (participant, stage, plan) = (at("participant"), at("stage"), at("plan"));
        Some(Self { width: record.len(), path: at("path")?, participant, stage, plan })
    }
}

/// Why a line of the roster cannot be used.
struct Fault {
    line: u64,
    what: String,
}

/// A roster while it is read.
struct RosterReader<'a> {
    header: Header,
    /// Where plans lie.
    folder: &'a Path,
    /// The plan of lines without one.
    plan: Option<&'a Path>,
    lines: Vec<RosterLine>,
    named: HashMap<String, usize>,
    patterns: GlobSetBuilder,
    pattern_lines: Vec<usize>,
}

impl RosterReader<'_> {
    /// Adds a line.
    fn add(
        &mut self,
        record: csv::Result<StringRecord>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<(), Fault> {
        let record = record.map_err(|error| Fault {
            line: error.position().map_or(0, csv::Position::line),
            what: "not UTF-8 text".to_owned(),
        })?;
        let number = record.position().map_or(0, csv::Position::line);
        let fault = |what: String| Fault { line: number, what };
        let header = &self.header;
        if record.len() != header.width {
            return Err(fault(format!("{} fields, the first line has {}", record.len(), header.width)));
        }
        let cell = |at: Option<usize>| at.and_then(|at| record.get(at)).filter(|cell| !cell.is_empty());
        let wanted = cell(Some(header.path)).ok_or_else(|| fault("the path is empty".to_owned()))?;
        let beside = cell(header.plan).map(|plan| self.folder.join(plan));
        let plan = beside.or(self.plan.map(Path::to_owned));
        let plan = plan.ok_or_else(|| fault("no plan; name one here or with --plan".to_owned()))?;
        let mut prescribed = plans
            .prescribe(&plan, cell(header.stage), notices)
            .map_err(|failure| fault(failure.with_hint_in_a_clause()))?;
        prescribed.participant = cell(header.participant).map(str::to_owned);
        self.put(plain(wanted), prescribed, number).map_err(fault)
    }

    /// Puts a line under its path, and under its pattern if it is one.
    fn put(&mut self, wanted: &str, prescribed: Prescribed, number: u64) -> Result<(), String> {
        if let Some(earlier) = self.named.get(wanted) {
            return Err(format!("the same path as in line {}", self.lines[*earlier].number));
        }
        let line = self.lines.len();
        if wanted.contains(['*', '?', '[', '{']) {
            if self.pattern_lines.len() == MOST_PATTERNS {
                return Err(format!("more than {MOST_PATTERNS} patterns; name the paths themselves"));
            }
            self.patterns.add(pattern(wanted).map_err(|error| error.to_string())?);
            self.pattern_lines.push(line);
        }
        self.named.insert(wanted.to_owned(), line);
        self.lines.push(RosterLine { number, prescribed, used: AtomicBool::new(false) });
        Ok(())
    }
}

/// The mark between cells, told from the first line that is not blank.
fn delimiter(bytes: &[u8]) -> u8 {
    let mut lines = bytes.split(|byte| *byte == b'\n');
    let first = lines.find(|line| !line.trim_ascii().is_empty()).unwrap_or_default();
    u8::try_from(separator(&String::from_utf8_lossy(first))).unwrap_or(b',')
}

/// The first faults, and how many there are besides.
fn shown(mut faults: Vec<String>) -> Vec<String> {
    let more = faults.len().saturating_sub(SHOWN_FAULTS);
    faults.truncate(SHOWN_FAULTS);
    if more > 0 {
        faults.push(format!("and {more} more"));
    }
    faults
}

/// A path without a leading `./`.
fn plain(path: &str) -> &str {
    path.trim_start_matches("./")
}

/// A pattern that fits whole paths, or their end from some folder on.
fn pattern(text: &str) -> Result<Glob, globset::Error> {
    let anywhere = if text.starts_with('/') { text.to_owned() } else { format!("**/{text}") };
    GlobBuilder::new(&anywhere).literal_separator(true).build()
}

#[cfg(test)]
mod tests {
    use super::super::prescribed::Prescription;
    use super::*;

    const PLAN: &str = "title = 'x'\n[[stage]]\nname = '1'\nsession = 'run 1:00'\n[[stage]]\nname = '2'\nsession = 'run 2:00'\n";

    fn read(roster: &str) -> Result<(Plans, Roster), String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("plan.toml"), PLAN).unwrap();
        std::fs::write(folder.path().join("roster.csv"), roster).unwrap();
        let mut plans = Plans::default();
        Roster::read(&folder.path().join("roster.csv"), None, &mut plans, &mut Vec::new())
            .map(|roster| (plans, roster))
            .map_err(|failure| failure.to_string())
    }

    fn found(roster: &str, path: &str) -> Option<(String, String)> {
        let (plans, roster) = read(roster).unwrap();
        let prescribed = roster.of(Path::new(path))?;
        Some((prescribed.participant.clone().unwrap(), plans.stage(prescribed).name.clone()))
    }

    #[test]
    fn a_named_path_goes_before_patterns_and_the_first_pattern_wins() {
        let roster = "\u{feff}path,participant,stage,plan\nP1/*.fit,p1,1,plan.toml\nP1/**,all,1,plan.toml\n\
                      P1/a.fit,a,2,plan.toml\n";
        let found = |path| found(roster, path).map(|(participant, stage)| format!("{participant} {stage}"));
        assert_eq!(found("P1/a.fit").as_deref(), Some("a 2"));
        assert_eq!(found("./P1/a.fit").as_deref(), Some("a 2"));
        assert_eq!(found("/data/P1/a.fit").as_deref(), Some("a 2"));
        assert_eq!(found("P1/b.fit").as_deref(), Some("p1 1"));
        assert_eq!(found("x/P1/deep/b.fit").as_deref(), Some("all 1"));
        assert_eq!(found("P2/a.fit"), None);
        assert_eq!(found("XP1/a.fit"), None);
    }

    #[test]
    fn semicolons_tabs_and_other_columns_are_fine() {
        for mark in [";", "\t"] {
            let roster =
                "\nsite;path;participant;stage;plan\nOslo, north;a.fit;p1;2;plan.toml\n".replace(';', mark);
            assert_eq!(found(&roster, "a.fit"), Some(("p1".to_owned(), "2".to_owned())));
        }
    }

    #[test]
    fn bad_lines_are_said_with_their_number() {
        let roster = "path,participant,stage,plan\na.fit,p1,1,plan.toml\n,p1,1,plan.toml\nb.fit,p1,3,plan.toml\n\
                      c.fit,p1\na.fit,p2,1,plan.toml\nd.fit,p1,1,none.toml\n[.fit,p1,1,plan.toml\ne.fit,p1,1,\n\
                      a.fit,p3,1,plan.toml\n[.fit,p1,1,plan.toml\n";
        let said = read(roster).err().unwrap();
        for part in [
            "line 3: the path is empty",
            "line 4: the plan has no stage `3`",
            "line 5: 2 fields, the first line has 4",
            "line 6: the same path as in line 2",
            "line 7: could not read",
            "line 8: error parsing glob",
            "line 9: no plan",
            "line 10: the same path as in line 2",
            "line 11: error parsing glob",
        ] {
            assert!(said.contains(part), "{part}\n{said}");
        }
        assert!(read("file,stage\n").err().unwrap().contains("line 1: there is no column `path`"));
    }

    #[test]
    fn patterns_are_bounded_and_named_paths_are_not() {
        let line = |n: usize| format!("P{n}/a.fit,1,plan.toml\n");
        let head = "path,stage,plan\n";
        assert!(read(&(head.to_owned() + &(0..6_000).map(line).collect::<String>())).is_ok());
        let pattern = |n: usize| format!("P{n}/*.fit,1,plan.toml\n");
        let said = read(&(head.to_owned() + &(0..5_002).map(pattern).collect::<String>())).err().unwrap();
        assert!(said.contains("line 5002: more than 5000 patterns"), "{said}");
    }

    #[test]
    fn lines_without_a_recording_are_known() {
        let (_, roster) = read("path,stage,plan\na.fit,1,plan.toml\nb.fit,1,plan.toml\n").unwrap();
        roster.of(Path::new("b.fit"));
        assert_eq!(Prescription::Roster(roster).unused_lines(), [2]);
    }
}
