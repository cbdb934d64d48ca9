//! Reads what the user named: a recording, a plan, one of its stages. `-` is standard input.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest, Sha256};

use jogaudit_core::audit::Prescription;
use jogaudit_core::gait::Segmentation;
use jogaudit_core::pipeline::{Config, Segmented, match_recording, segment_recording};
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::read::{ReadConfig, Recording, Sport, read};
use jogaudit_report::{Charts, CheckView, RecordingFacts};

use super::failure::{Failure, named};

/// Larger recordings are refused rather than read into memory: days of samples many times a second stay below.
pub const MAX_RECORDING_BYTES: u64 = 512 << 20;
/// Larger plans are refused: the longest plan that makes sense has a few hundred stages.
const MAX_PLAN_BYTES: u64 = 1 << 20;

/// What zipped input may unfold to, MiB, unless the user says otherwise.
pub const MAX_UNZIPPED_MIB: u64 = 512;

/// One activity of an input with its bouts.
pub struct Session {
    /// What the reports say of it.
    pub facts: RecordingFacts,
    /// What the file says was done.
    pub sport: Sport,
    /// What was noticed while reading and choosing.
    pub notices: Vec<Notice>,
    /// Clean series and bouts; `None` when the sport is not on foot and nothing is scored.
    pub segmented: Option<Segmented>,
    /// The bouts: one `unknown` when nothing is scored.
    pub segmentation: Segmentation,
}

/// A check and what is drawn of it.
pub struct CheckReport {
    /// The check.
    pub view: CheckView,
    /// Its curves; `None` when nothing is scored.
    pub charts: Option<Charts>,
}

/// Reads the chosen activity of a recording (one-based; by default the first on foot) and works out its bouts.
pub fn session(
    path: &Path,
    activity: Option<usize>,
    max_unzipped_mib: u64,
    config: &Config,
) -> Result<Session, Failure> {
    let bytes = bytes(path, MAX_RECORDING_BYTES)?;
    session_in(&bytes, path, activity, max_unzipped_mib, config)
}

/// The same from the bytes of a recording; `path` only names it in errors.
pub fn session_in(
    bytes: &[u8],
    path: &Path,
    activity: Option<usize>,
    max_unzipped_mib: u64,
    config: &Config,
) -> Result<Session, Failure> {
    let recordings = read(bytes, &ReadConfig { max_unzipped_bytes: max_unzipped_mib << 20 })
        .map_err(|error| Failure::recording(path, &error))?;
    session_of(bytes, recordings, path, activity, config)
}

/// The same from the activities that were read of those bytes.
pub fn session_of(
    bytes: &[u8],
    recordings: Noted<Vec<Recording>>,
    path: &Path,
    activity: Option<usize>,
    config: &Config,
) -> Result<Session, Failure> {
    let mut notices = Vec::new();
    let recordings = recordings.take(&mut notices);
    let recording = chosen(path, recordings, activity, &mut notices)?;
    let facts = facts(bytes, &recording);
    let sport = recording.sport().clone();
    if let Sport::Other(sport_word) = &sport {
        notices.push(Notice::new(
            NoticeCode::NotOnFoot,
            format!(
                "The sport of this recording is “{sport_word}”, not running or walking: nothing is scored."
            ),
        ));
        let segmentation = unknown_throughout(&recording);
        return Ok(Session { facts, sport, notices, segmented: None, segmentation });
    }
    let mut segmented = segment_recording(&recording, config);
    notices.append(&mut segmented.notices);
    let segmentation = segmented.segmentation.clone();
    Ok(Session { facts, sport, notices, segmented: Some(segmented), segmentation })
}

impl Session {
    /// Holds the session against a stage, with what is drawn of it.
    pub fn report(self, plan: &Plan, stage: &Stage, config: &Config) -> CheckReport {
        self.checked(plan, stage, config, true)
    }

    /// Holds the session against a stage.
    pub fn check(self, plan: &Plan, stage: &Stage, config: &Config) -> CheckView {
        self.checked(plan, stage, config, false).view
    }

    fn checked(mut self, plan: &Plan, stage: &Stage, config: &Config, with_charts: bool) -> CheckReport {
        let (mut audit, mut charts) = (None, None);
        if let Some(segmented) = &self.segmented {
            let matched = match_recording(segmented, Prescription::of(plan, stage), config);
            self.notices.extend(segmented.notices.iter().cloned());
            audit = Some(matched.audit().take(&mut self.notices));
            charts = with_charts
                .then(|| Charts::new(&segmented.series, &segmented.segmentation, stage, &matched.trace()));
        }
        let view =
            CheckView::new(&self.facts, &self.segmentation, plan, stage, audit.as_ref(), &self.notices);
        CheckReport { view, charts }
    }
}

/// Reads a plan.
pub fn plan(path: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let bytes = bytes(path, MAX_PLAN_BYTES)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes().iter().take(good).filter(|byte| **byte == b'\n').count() + 1;
        Failure::refused(format!("could not read {}: line {line} is not UTF-8 text", named(path)))
            .hint("PLAN is a TOML file, saved as UTF-8; the recording is named without an option")
    })?;
    Ok(Plan::parse(&text).map_err(|error| Failure::plan(path, &error))?.take(notices))
}

/// Finds the stage that was asked for; a plan's only stage need not be named.
pub fn stage<'plan>(plan: &'plan Plan, wanted: Option<&str>) -> Result<&'plan Stage, Failure> {
    let names = plan.stage_names().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    match (wanted, plan.stages.as_slice()) {
        (None, [only]) => Ok(only),
        (None, _) => {
            Err(Failure::refused("the plan has several stages")
                .hint(format!("add --stage with one of {names}")))
        }
        (Some(wanted), _) => plan.stage(wanted).ok_or_else(|| {
            let failure = Failure::refused(format!("the plan has no stage `{wanted}`"));
            match plan.closest_stage(wanted) {
                Some(near) => failure.hint(format!("did you mean `{}`? The stages are {names}", near.name)),
                None => failure.hint(format!("the stages are {names}")),
            }
        }),
    }
}

/// Reads a whole input of at most `limit` bytes.
pub fn bytes(path: &Path, limit: u64) -> Result<Vec<u8>, Failure> {
    at_most(path, limit).map_err(|error| match error.kind() {
        io::ErrorKind::FileTooLarge => Failure::refused(format!("{} {error}", named(path))),
        _ => Failure::input(path, &error),
    })
}

/// Reads a whole input, or fails with [`io::ErrorKind::FileTooLarge`] when it has more than `limit` bytes.
pub fn at_most(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        io::stdin().lock().take(limit + 1).read_to_end(&mut bytes)?;
    } else {
        File::open(path)?.take(limit + 1).read_to_end(&mut bytes)?;
    }
    if bytes.len() as u64 > limit {
        let text = format!("is larger than {} MiB", limit >> 20);
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, text));
    }
    Ok(bytes)
}

/// SHA-256, lower-case hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Lower-case hexadecimal.
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn chosen(
    path: &Path,
    mut recordings: Vec<Recording>,
    activity: Option<usize>,
    notices: &mut Vec<Notice>,
) -> Result<Recording, Failure> {
    let count = recordings.len();
    let first_on_foot = recordings.iter().position(|recording| recording.sport().on_foot());
    let index = match activity {
        Some(number) => number.checked_sub(1).filter(|index| *index < count).ok_or_else(|| {
            let what = format!("{} has no activity {number}", named(path));
            Failure::refused(what).hint(format!("--activity takes 1 to {count} here"))
        })?,
        None => first_on_foot.unwrap_or(0),
    };
    if count > 1 && activity.is_none() {
        notices.push(Notice::new(
            NoticeCode::SeveralActivities,
            format!(
                "The input holds {count} activities; number {} is taken. Choose with --activity N.",
                index + 1
            ),
        ));
    }
    Ok(recordings.swap_remove(index))
}

/// What the reports say of a recording.
pub(crate) fn facts(bytes: &[u8], recording: &Recording) -> RecordingFacts {
    let samples = recording.samples();
    let has = [
        ("speed", samples.iter().any(|sample| sample.speed.is_some())),
        ("cadence", samples.iter().any(|sample| sample.cadence.is_some())),
        ("heart_rate", samples.iter().any(|sample| sample.heart_rate.is_some())),
        ("position", samples.iter().any(|sample| sample.position.is_some())),
        ("altitude", samples.iter().any(|sample| sample.altitude.is_some())),
    ];
    RecordingFacts {
        format: recording.format().name(),
        sha256: sha256(bytes),
        start: recording.start(),
        samples: samples.len(),
        has: has.into_iter().filter(|(_, given)| *given).map(|(name, _)| name).collect(),
    }
}

/// One stretch of which nothing is said.
fn unknown_throughout(recording: &Recording) -> Segmentation {
    let end_s = recording.samples().iter().map(|sample| sample.time_s).fold(0.0, f64::max);
    Segmentation::unknown(end_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jogaudit_recording::read::{Format, RecordingParts, Sample};

    fn recording(sport: Sport) -> Recording {
        Recording::new(RecordingParts {
            format: Format::Tcx,
            sport,
            start: "2026-03-02T07:10:00Z".parse().unwrap(),
            utc_offset_s: None,
            samples: vec![Sample::default(), Sample { time_s: 90.0, ..Sample::default() }],
            laps: vec![],
            timer: vec![],
            guesses: vec![],
        })
        .unwrap()
    }

    fn choose(sports: &[Sport], activity: Option<usize>) -> Result<(Sport, usize), String> {
        let mut notices = Vec::new();
        let recordings = sports.iter().cloned().map(recording).collect();
        chosen(Path::new("a.tcx"), recordings, activity, &mut notices)
            .map(|recording| (recording.sport().clone(), notices.len()))
            .map_err(|failure| failure.to_string())
    }

    #[test]
    fn the_first_activity_on_foot_is_taken_and_said() {
        let cycling = Sport::Other("cycling".into());
        assert_eq!(choose(&[Sport::Running], None), Ok((Sport::Running, 0)));
        assert_eq!(choose(&[cycling.clone(), Sport::Walking], None), Ok((Sport::Walking, 1)));
        assert_eq!(choose(&[cycling.clone(), cycling.clone()], None), Ok((cycling.clone(), 1)));
        assert_eq!(choose(&[cycling.clone(), Sport::Walking], Some(1)), Ok((cycling, 0)));
        assert!(choose(&[Sport::Running], Some(2)).unwrap_err().contains("1 to 1"));
        assert!(choose(&[Sport::Running], Some(0)).is_err());
    }

    #[test]
    fn the_hash_is_of_the_bytes_as_given() {
        // FIPS 180-2, appendix B.1: the message "abc".
        let facts = facts(b"abc", &recording(Sport::Running));
        assert_eq!(facts.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!((facts.samples, facts.has.len()), (2, 0));
    }

    #[test]
    fn what_is_not_scored_is_unknown_to_its_end() {
        let segmentation = unknown_throughout(&recording(Sport::Other("cycling".into())));
        assert_eq!(segmentation.elapsed_s(), 90.0);
        assert_eq!(segmentation.bouts().len(), 1);
    }
}
