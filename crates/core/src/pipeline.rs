//! The whole chain on one screen: bytes → recording → series → bouts → matched → audit, and recordings → review.

use jiff::civil::Date;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::read::{Facts, ReadConfig, ReadError, Recording, read};

use crate::audit::{
    Audit, AuditConfig, Judged, Matched, Prescription, Trace, holds_with_others, note_others, others_may_help,
};
use crate::clean::{CleanConfig, Series, clean};
use crate::gait::{GaitConfig, NOTICES, RunnerEvidence, RunnerPrior, Segmentation, segment};
use crate::on_foot::OffFoot;
use crate::prescription::{DueSession, Plan, Stage};
use crate::review::{
    OtherSession, PerformedSession, PerformedSessions, Recorded, Review, ReviewConfig, SessionConfig,
    Written, Zone, due_on, review, sessions, sessions_with_recordings,
};

/// Settings of every stage.
#[derive(Clone, Debug, Default, serde::Serialize)]
pub struct Config {
    /// Of reading.
    pub read: ReadConfig,
    /// Of cleaning.
    pub clean: CleanConfig,
    /// Of the gait model.
    pub gait: GaitConfig,
    /// Of the audit.
    pub audit: AuditConfig,
    /// Of the review of a case.
    pub review: ReviewConfig,
    /// Whether each recording is taken by itself, without what the runner's others tell.
    pub alone: bool,
}

impl Config {
    /// What the sessions of a case are judged by.
    const fn of_sessions(&self) -> SessionConfig<'_> {
        let gait = if self.alone { None } else { Some(&self.gait) };
        SessionConfig { review: &self.review, audit: &self.audit, gait }
    }
}

/// A recording with its bouts.
#[derive(Clone, Debug)]
pub struct Segmented {
    /// Clean columns.
    pub series: Series,
    /// Bouts.
    pub segmentation: Segmentation,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// One activity of an input with its bouts.
#[derive(Clone, Debug)]
pub struct Activity {
    /// What the file says of it.
    pub facts: Facts,
    /// Clean columns; `None` when it is of no one on foot ([`OffFoot`]) and nothing is scored.
    pub series: Option<Series>,
    /// Bouts: one `unknown` when nothing is scored.
    pub segmentation: Segmentation,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Why an input gives no activity.
#[derive(Debug, thiserror::Error)]
pub enum ActivityError {
    /// Nothing usable can be made of the bytes.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The input has fewer activities.
    #[error("there is no activity {number}; the input holds {count}")]
    NoSuchActivity {
        /// The one that was asked for, from 1.
        number: usize,
        /// How many there are.
        count: usize,
    },
}

/// Bytes → one activity with its bouts: the one of that number, from 1, else the first on foot.
///
/// # Errors
/// When the bytes are no recording, or hold no activity of that number.
pub fn activity(bytes: &[u8], number: Option<usize>, config: &Config) -> Result<Activity, ActivityError> {
    let mut notices = Vec::new();
    let recordings = read(bytes, &config.read)?.take(&mut notices);
    let recording = chosen(recordings, number)?.take(&mut notices);
    Ok(activity_of(&recording, notices, config))
}

/// Bytes → every activity with its bouts, as they stand in the input.
///
/// # Errors
/// When the bytes are no recording.
pub fn activities(bytes: &[u8], config: &Config) -> Result<Vec<Activity>, ReadError> {
    let Noted { value, notices } = read(bytes, &config.read)?;
    Ok(value.iter().map(|recording| activity_of(recording, notices.clone(), config)).collect())
}

/// A recording with its bouts; `notices` are those of reading it.
fn activity_of(recording: &Recording, mut notices: Vec<Notice>, config: &Config) -> Activity {
    let facts = recording.facts();
    if let Some(off_foot) = OffFoot::of(recording, &config.clean) {
        notices.push(off_foot.notice());
        let end_s = recording.samples().iter().map(|sample| sample.time_s).fold(0.0, f64::max);
        return Activity { facts, series: None, segmentation: Segmentation::unknown(end_s), notices };
    }
    let segmented = segment_recording(recording, config);
    notices.extend(segmented.notices);
    Activity { facts, series: Some(segmented.series), segmentation: segmented.segmentation, notices }
}

/// The readings of one activity of an input, of whatever sport, with nothing made of them.
#[derive(Clone, Debug)]
pub struct Readings {
    /// Clean columns.
    pub series: Series,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Bytes → the readings of one activity, chosen as by [`activity`]. No gait is worked out.
///
/// # Errors
/// When the bytes are no recording, or hold no activity of that number.
pub fn readings(bytes: &[u8], number: Option<usize>, config: &Config) -> Result<Readings, ActivityError> {
    let mut notices = Vec::new();
    let recordings = read(bytes, &config.read)?.take(&mut notices);
    let recording = chosen(recordings, number)?.take(&mut notices);
    let series = clean(&recording, &config.clean).take(&mut notices);
    Ok(Readings { series, notices })
}

/// Recording → bouts.
pub fn segment_recording(recording: &Recording, config: &Config) -> Segmented {
    let mut notices = Vec::new();
    let series = clean(recording, &config.clean).take(&mut notices);
    let segmentation = segment(&series, &config.gait, None).take(&mut notices);
    Segmented { series, segmentation, notices }
}

/// An activity held against a stage.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The verdict; `None` when nothing is scored.
    pub audit: Option<Audit>,
    /// What is drawn besides; `None` when nothing is scored, or when it was not asked for.
    pub trace: Option<Trace>,
    /// What was noticed from the bytes to the verdict.
    pub notices: Vec<Notice>,
}

impl Activity {
    /// Bouts and prescription → what was done, matched with what was prescribed; `None` when nothing is scored.
    pub fn matched<'a>(&'a self, prescription: Prescription<'a>, config: &'a Config) -> Option<Matched<'a>> {
        let series = self.series.as_ref()?;
        Some(Matched::new(&self.segmentation, series, prescription, &config.audit))
    }

    /// The activity with the bouts that hold against a prescription when the runner's other recordings are known too: its own,
    /// unless these decide what it leaves open. That they do is noticed.
    #[must_use]
    pub fn with_others(
        mut self,
        evidence: &[RunnerEvidence],
        prescription: Prescription<'_>,
        config: &Config,
    ) -> Self {
        let Some((series, evidence)) = self.series.as_ref().zip((!config.alone).then_some(evidence)) else {
            return self;
        };
        let audit = |bouts| Matched::new(bouts, series, prescription, &config.audit).audit().value;
        let alone = audit(&self.segmentation);
        let runner = RunnerPrior::of(evidence, series.start(), series.end());
        let Some(runner) = runner.filter(|_| others_may_help(series, &self.segmentation, alone.outcome))
        else {
            return self;
        };
        let known = segment(series, &config.gait, Some(&runner));
        let with_others = audit(&known.value);
        let judged = |bouts, audit| Judged::new(bouts, audit, prescription);
        let (was, is) = (judged(&self.segmentation, &alone), judged(&known.value, &with_others));
        if holds_with_others(series, was, is, &config.audit) {
            self.notices.retain(|notice| !NOTICES.contains(&notice.code));
            self.segmentation = known.take(&mut self.notices);
            self.notices.push(note_others(&runner, alone.outcome, with_others.outcome));
        }
        self
    }

    /// Bouts and prescription → audit, and what is drawn besides if `with_trace`.
    pub fn check(&self, prescription: Prescription<'_>, config: &Config, with_trace: bool) -> Checked {
        let matched = self.matched(prescription, config);
        let mut notices = self.notices.clone();
        let audit = matched.as_ref().map(|matched| matched.audit().take(&mut notices));
        let trace = matched.filter(|_| with_trace).map(|matched| matched.trace());
        Checked { audit, trace, notices }
    }
}

/// Bouts and prescription → audit; what is noticed is added to `segmented.notices`.
pub fn audit_recording(segmented: &mut Segmented, plan: &Plan, stage: &Stage, config: &Config) -> Audit {
    let Segmented { series, segmentation, notices } = segmented;
    Matched::new(segmentation, series, Prescription::of(plan, stage), &config.audit).audit().take(notices)
}

/// A case on one day.
#[derive(Clone, Debug)]
pub struct Reviewed {
    /// The sessions, and the recordings that were left out.
    pub sessions: PerformedSessions,
    /// Agreed training besides.
    pub other: Vec<OtherSession>,
    /// Weeks, findings and the ruling.
    pub review: Review,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Recordings and diary of a case → review. `other` is the agreed training besides, up to that day, in order of time.
pub fn review_case(
    plan: &Plan,
    written: &Written,
    recorded: Vec<Recorded>,
    other: Vec<OtherSession>,
    as_of: Date,
    config: &Config,
) -> Reviewed {
    let mut notices = Vec::new();
    let sessions = sessions(plan, written, recorded, as_of, config.of_sessions()).take(&mut notices);
    let review = review(plan, written, &sessions.sessions, &other, as_of, &config.review).take(&mut notices);
    Reviewed { sessions, other, review, notices }
}

/// Recordings of a case → its sessions, as a review has them; each is given to `each` with its recordings, which have the bouts that it
/// is judged by.
pub fn case_sessions(
    plan: &Plan,
    written: &Written,
    recorded: Vec<Recorded>,
    as_of: Date,
    config: &Config,
    each: &mut dyn FnMut(&PerformedSession, Vec<Recorded>),
) -> Noted<PerformedSessions> {
    sessions_with_recordings(plan, written, recorded, as_of, config.of_sessions(), each)
}

/// What a stage of a plan, by index, asked for when a recording began, where a count rises from session to session: with the number
/// that was due after the sessions of a case that ended before it.
pub fn due_at(
    plan: &Plan,
    stage: usize,
    written: &Written,
    recorded: Vec<Recorded>,
    series: &Series,
    config: &Config,
) -> Option<DueSession> {
    plan.stages.get(stage)?.session.rise()?;
    let day = Zone::of(plan).date(series.start(), series.utc_offset_s());
    let earlier = recorded.into_iter().filter(|earlier| earlier.end() <= series.start()).collect();
    let done = sessions(plan, written, earlier, day, config.of_sessions()).value.sessions;
    due_on(plan, stage, &written.seen, &done, day, &config.review)
}

/// The recording of that number, from 1, else the first on foot, else the first.
fn chosen(mut recordings: Vec<Recording>, number: Option<usize>) -> Result<Noted<Recording>, ActivityError> {
    let count = recordings.len();
    let index = match number {
        Some(number) => number
            .checked_sub(1)
            .filter(|index| *index < count)
            .ok_or(ActivityError::NoSuchActivity { number, count })?,
        None => recordings.iter().position(|recording| recording.sport().on_foot()).unwrap_or(0),
    };
    let mut notices = Vec::new();
    if count > 1 && number.is_none() {
        let number = index + 1;
        let text = format!(
            "The input holds {count} activities; number {number} is taken. Choose with --activity N."
        );
        notices.push(Notice::new(NoticeCode::SeveralActivities, text));
    }
    Ok(Noted { value: recordings.swap_remove(index), notices })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audit::Outcome;
    use jogaudit_recording::read::{Format, RecordingParts, Sample, Sport};

    fn recording(sport: Sport) -> Recording {
        Recording::new(RecordingParts {
            format: Format::Tcx,
            sport,
            start: jiff::Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples: vec![Sample::default()],
            laps: vec![],
            timer: vec![],
            guesses: vec![],
            workout: None,
        })
        .unwrap()
    }

    fn choose(sports: &[Sport], number: Option<usize>) -> Result<(Sport, usize), String> {
        chosen(sports.iter().cloned().map(recording).collect(), number)
            .map(|noted| (noted.value.sport().clone(), noted.notices.len()))
            .map_err(|error| error.to_string())
    }

    #[test]
    fn the_first_activity_on_foot_is_taken_and_said() {
        let cycling = Sport::Other("cycling".into());
        assert_eq!(choose(&[Sport::Running], None), Ok((Sport::Running, 0)));
        assert_eq!(choose(&[cycling.clone(), Sport::Walking], None), Ok((Sport::Walking, 1)));
        assert_eq!(choose(&[cycling.clone(), cycling.clone()], None), Ok((cycling.clone(), 1)));
        assert_eq!(choose(&[cycling.clone(), Sport::Walking], Some(1)), Ok((cycling, 0)));
        let refused = "there is no activity 2; the input holds 1";
        assert_eq!(choose(&[Sport::Running], Some(2)), Err(refused.to_owned()));
        assert!(choose(&[Sport::Running], Some(0)).is_err());
    }

    #[test]
    fn nothing_is_judged_where_the_order_in_time_tells_nothing() {
        use jogaudit_recording::units::{MetresPerSecond, StepsPerMinute};
        let plan = Plan::parse("[[stage]]\nname = '1'\nsession = 'run 5:00'").unwrap().value;
        let check = |mixed: bool| {
            let mut parts = recording(Sport::Running).into_parts();
            let sample = |t: u32| Sample {
                time_s: f64::from(t),
                speed: Some(MetresPerSecond::new(2.6 + 0.1 * f64::from(t % 3))),
                cadence: Some(StepsPerMinute::new(160.0 + f64::from(t % 2))),
                ..Sample::default()
            };
            parts.samples = (0..900).map(sample).collect();
            for at in (3..800).step_by(6).filter(|_| mixed) {
                let (near_s, far_s) = (parts.samples[at].time_s, parts.samples[at + 40].time_s);
                (parts.samples[at].time_s, parts.samples[at + 40].time_s) = (far_s, near_s);
            }
            let config = Config::default();
            let mut segmented = segment_recording(&Recording::new(parts).unwrap(), &config);
            let audit = audit_recording(&mut segmented, &plan, &plan.stages[0], &config);
            let is_said = segmented.notices.iter().any(|notice| notice.code == NoticeCode::OrderDoubtful);
            (audit.outcome, audit.findings.is_empty(), is_said)
        };
        assert_eq!(check(false), (Outcome::Overdone, false, false));
        assert_eq!(check(true), (Outcome::Undecided, true, true));
    }

    #[test]
    fn what_no_one_on_foot_can_have_made_is_not_scored() {
        // By positions alone, 20 minutes at 2:00 /km and at 5:00 /km; the sport is not said.
        let of = |step_m: f64| {
            let points: Vec<String> = (0..=20)
                .map(|minute| {
                    let lat = f64::from(minute) * step_m / 110_574.3;
                    format!("<trkpt lat='{lat}' lon='0'><time>2026-03-02T07:{minute:02}:00Z</time></trkpt>")
                })
                .collect();
            let file = format!(
                "<gpx xmlns='http://www.topografix.com/GPX/1/1' version='1.1' creator='x'><trk><trkseg>{}\
                 </trkseg></trk></gpx>",
                points.concat()
            );
            activity(file.as_bytes(), None, &Config::default()).unwrap()
        };
        let ride = of(500.0);
        assert!(ride.series.is_none());
        assert!(ride.notices.iter().any(|notice| notice.code == NoticeCode::SportDoubtful));
        let run = of(200.0);
        assert!(run.series.is_some());
        assert!(run.notices.iter().all(|notice| notice.code != NoticeCode::SportDoubtful));
    }

    #[test]
    fn what_is_not_on_foot_is_unknown_to_its_end() {
        let ride = br#"<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><type>cycling</type>
            <trkseg><trkpt lat="0" lon="0"><time>2026-03-02T07:10:00Z</time></trkpt>
            <trkpt lat="0" lon="0"><time>2026-03-02T07:11:30Z</time></trkpt></trkseg></trk></gpx>"#;
        let activity = activity(ride, None, &Config::default()).unwrap();
        assert!(activity.series.is_none() && activity.segmentation.bouts().len() == 1);
        assert_eq!(activity.segmentation.elapsed_s(), 90.0);
        assert!(activity.notices.iter().any(|notice| notice.code == NoticeCode::NotOnFoot));
        let plan = Plan::parse("[[stage]]\nname = '1'\nsession = 'run 1:00'").unwrap().value;
        let prescription = Prescription::of(&plan, &plan.stages[0]);
        let checked = activity.check(prescription, &Config::default(), true);
        assert!(checked.audit.is_none() && checked.trace.is_none());
    }
}
