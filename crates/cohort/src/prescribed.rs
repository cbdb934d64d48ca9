//! What is prescribed for which recording: one stage for all, or a roster.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use globset::{Glob, GlobBuilder, GlobSet, GlobSetBuilder};

use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_files::{self as files, Failure, named};
use jogaudit_recording::notice::Notice;

/// Larger rosters are refused: a line for each of a million recordings stays below.
const MAX_ROSTER_BYTES: u64 = 256 << 20;
/// So many bad lines are shown.
const SHOWN_FAULTS: usize = 10;

/// The plans of a run, each read once.
#[derive(Default)]
pub(super) struct Plans(Vec<LoadedPlan>);

struct LoadedPlan {
    path: PathBuf,
    sha256: String,
    plan: Plan,
}

/// A stage of a plan for a participant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Prescribed {
    pub(super) participant: Option<String>,
    plan: usize,
    stage: usize,
}

impl Plans {
    pub(super) fn plan(&self, prescribed: &Prescribed) -> &Plan {
        &self.0[prescribed.plan].plan
    }

    pub(super) fn stage(&self, prescribed: &Prescribed) -> &Stage {
        &self.plan(prescribed).stages[prescribed.stage]
    }

    /// SHA-256 of the plan's file.
    pub(super) fn sha256(&self, prescribed: &Prescribed) -> &str {
        &self.0[prescribed.plan].sha256
    }

    /// Title and SHA-256 of each plan.
    pub(super) fn listed(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|loaded| (loaded.plan.title.as_str(), loaded.sha256.as_str()))
    }

    /// Reads a plan unless it is there, and finds a stage of it.
    fn prescribe(
        &mut self,
        path: &Path,
        stage: Option<&str>,
        notices: &mut Vec<Notice>,
    ) -> Result<Prescribed, Failure> {
        let known = self.0.iter().position(|loaded| loaded.path == path);
        let index = if let Some(index) = known {
            index
        } else {
            let plan = files::plan(path, notices)?;
            let sha256 = files::sha256(&files::bytes(path, u64::MAX >> 1)?);
            self.0.push(LoadedPlan { path: path.to_owned(), sha256, plan });
            self.0.len() - 1
        };
        let plan = &self.0[index].plan;
        let name = files::stage(plan, stage)?.name.clone();
        let stage = plan.stage_names().position(|known| known == name).unwrap_or(0);
        Ok(Prescribed { participant: None, plan: index, stage })
    }
}

/// What says which stage a recording is held against.
pub(super) enum Prescription {
    /// The same for all.
    One(Prescribed),
    /// By path.
    Roster(Roster),
}

impl Prescription {
    pub(super) fn one(
        plan: &Path,
        stage: Option<&str>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        plans.prescribe(plan, stage, notices).map(Self::One)
    }

    /// What is prescribed for a recording; `None` when the roster does not name it.
    pub(super) fn of(&self, path: &Path) -> Option<&Prescribed> {
        match self {
            Self::One(prescribed) => Some(prescribed),
            Self::Roster(roster) => roster.of(path),
        }
    }

    /// Lines of the roster that no recording needed.
    pub(super) fn unused_lines(&self) -> Vec<u64> {
        let Self::Roster(roster) = self else { return Vec::new() };
        let unused = roster.lines.iter().filter(|line| !line.used.load(Ordering::Relaxed));
        unused.map(|line| line.number).collect()
    }
}

/// A table of paths or patterns with what is prescribed for each.
pub(super) struct Roster {
    pub(super) sha256: String,
    lines: Vec<Line>,
    exact: HashMap<String, usize>,
    patterns: GlobSet,
    /// The line of each pattern.
    pattern_lines: Vec<usize>,
}

struct Line {
    number: u64,
    prescribed: Prescribed,
    used: AtomicBool,
}

/// Where the columns of a roster stand.
struct Header {
    path: usize,
    participant: Option<usize>,
    stage: Option<usize>,
    plan: Option<usize>,
}

impl Header {
    fn read(record: &csv::StringRecord) -> Option<Self> {
        let at = |name: &str| record.iter().position(|cell| cell.trim_start_matches('\u{feff}') == name);
        let path = at("path")?;
        Some(Self { path, participant: at("participant"), stage: at("stage"), plan: at("plan") })
    }
}

impl Roster {
    /// Reads a roster; plans in it lie beside it unless their path says otherwise, `plan` is for lines without one.
    pub(super) fn read(
        path: &Path,
        plan: Option<&Path>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        let bytes = files::bytes(path, MAX_ROSTER_BYTES)?;
        let sha256 = files::sha256(&bytes);
        let first_line = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
        let delimiter = if first_line.contains(&b';') && !first_line.contains(&b',') { b';' } else { b',' };
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .delimiter(delimiter)
            .from_reader(bytes.as_slice());
        let mut records = reader.records();
        let refused = || Failure::refused(format!("could not use the roster {}", named(path)));
        let hint = "its first line names the columns: path,participant,stage,plan";
        let first = records.next().and_then(Result::ok);
        let header = first
            .as_ref()
            .and_then(Header::read)
            .ok_or_else(|| refused().lines(&["line 1: there is no column `path`".to_owned()]).hint(hint))?;
        let width = first.map_or(0, |record| record.len());

        let folder = path.parent().unwrap_or(Path::new(""));
        let (mut lines, mut exact, mut pattern_lines) = (Vec::new(), HashMap::new(), Vec::new());
        let mut patterns = GlobSetBuilder::new();
        let mut faults = Vec::new();
        for record in records {
            let record = match record {
                Ok(record) => record,
                Err(error) => {
                    let number = error.position().map_or(0, csv::Position::line);
                    faults.push(format!("line {number}: not UTF-8 text"));
                    continue;
                }
            };
            let number = record.position().map_or(0, csv::Position::line);
            if record.len() != width {
                faults.push(format!("line {number}: {} fields, the first line has {width}", record.len()));
                continue;
            }
            let cell = |at: Option<usize>| at.and_then(|at| record.get(at)).filter(|cell| !cell.is_empty());
            let Some(wanted) = cell(Some(header.path)) else {
                faults.push(format!("line {number}: the path is empty"));
                continue;
            };
            let Some(plan) = cell(header.plan).map(|plan| folder.join(plan)).or(plan.map(Path::to_owned))
            else {
                faults.push(format!("line {number}: no plan; name one here or with --plan"));
                continue;
            };
            let prescribed = match plans.prescribe(&plan, cell(header.stage), notices) {
                Ok(prescribed) => prescribed,
                Err(failure) => {
                    faults.push(format!("line {number}: {}", failure.with_hint_in_a_clause()));
                    continue;
                }
            };
            let participant = cell(header.participant).map(str::to_owned);
            let wanted = plain(wanted);
            if let Some(earlier) = exact.insert(wanted.to_owned(), lines.len()) {
                let earlier: &Line = &lines[earlier];
                faults.push(format!("line {number}: the same path as in line {}", earlier.number));
            }
            if wanted.contains(['*', '?', '[', '{']) {
                match pattern(wanted) {
                    Ok(glob) => {
                        patterns.add(glob);
                        pattern_lines.push(lines.len());
                    }
                    Err(error) => faults.push(format!("line {number}: {error}")),
                }
            }
            let prescribed = Prescribed { participant, ..prescribed };
            lines.push(Line { number, prescribed, used: AtomicBool::new(false) });
        }
        if !faults.is_empty() {
            let more = faults.len().saturating_sub(SHOWN_FAULTS);
            faults.truncate(SHOWN_FAULTS);
            if more > 0 {
                faults.push(format!("and {more} more"));
            }
            return Err(refused().lines(&faults).hint("mend these lines; nothing was read"));
        }
        let patterns = patterns.build().map_err(|error| refused().caused_by(&error))?;
        Ok(Self { sha256, lines, exact, patterns, pattern_lines })
    }

    /// The line for a path: one that names it, or its end from some folder on; else the first whose pattern fits.
    fn of(&self, path: &Path) -> Option<&Prescribed> {
        let text = path.to_string_lossy();
        let text = plain(&text);
        let after_folders = text.match_indices('/').map(|(at, _)| &text[at + 1..]);
        let named = std::iter::once(text).chain(after_folders).find_map(|end| self.exact.get(end).copied());
        let fitting = || self.patterns.matches(text).into_iter().map(|at| self.pattern_lines[at]).min();
        let line = &self.lines[named.or_else(fitting)?];
        line.used.store(true, Ordering::Relaxed);
        Some(&line.prescribed)
    }
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
    fn semicolons_and_other_columns_are_fine() {
        let roster = "site;path;participant;stage;plan\nOslo;a.fit;p1;2;plan.toml\n";
        assert_eq!(found(roster, "a.fit"), Some(("p1".to_owned(), "2".to_owned())));
    }

    #[test]
    fn bad_lines_are_said_with_their_number() {
        let roster = "path,participant,stage,plan\na.fit,p1,1,plan.toml\n,p1,1,plan.toml\nb.fit,p1,3,plan.toml\n\
                      c.fit,p1\na.fit,p2,1,plan.toml\nd.fit,p1,1,none.toml\n[.fit,p1,1,plan.toml\ne.fit,p1,1,\n";
        let said = read(roster).err().unwrap();
        for part in [
            "line 3: the path is empty",
            "line 4: the plan has no stage `3`",
            "line 5: 2 fields, the first line has 4",
            "line 6: the same path as in line 2",
            "line 7: could not read",
            "line 8: error parsing glob",
            "line 9: no plan",
        ] {
            assert!(said.contains(part), "{part}\n{said}");
        }
        assert!(read("file,stage\n").err().unwrap().contains("line 1: there is no column `path`"));
    }

    #[test]
    fn lines_without_a_recording_are_known() {
        let (_, roster) = read("path,stage,plan\na.fit,1,plan.toml\nb.fit,1,plan.toml\n").unwrap();
        roster.of(Path::new("b.fit"));
        assert_eq!(Prescription::Roster(roster).unused_lines(), [2]);
    }
}
