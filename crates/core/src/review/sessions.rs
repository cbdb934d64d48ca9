//! Recordings → [`PerformedSession`]s in order of time, each held against its stage.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::audit::{
    Audit, AuditConfig, Judged, Matched, Outcome, Prescription, holds_with_others, note_others,
    others_may_help,
};
use crate::gait::{GaitConfig, NOTICES, RunnerEvidence, RunnerPrior, Segmentation, segment};
use crate::prescription::Plan;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::calendar::Zone;
use super::config::ReviewConfig;
use super::given::{Given, Said};
use super::left_out::{LeftOut, LeftOutCode};
use super::performed::{PerformedSession, StageChoice};
use super::progress::{Progress, counted};
use super::recorded::{Recorded, Totals, without_duplicates};
use super::spacing::Spacing;
use super::stages::{asked, recognise};
use super::written::Written;

/// The sessions of a case and what is not reviewed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PerformedSessions {
    /// In order of time.
    pub sessions: Vec<PerformedSession>,
    /// Duplicates and recordings after the day of the review, by name.
    pub left_out: Vec<LeftOut>,
}

impl PerformedSessions {
    /// Puts what could not be read, or is of another sport, to what is left out.
    #[must_use]
    pub fn with_unread(mut self, unread: Vec<LeftOut>) -> Self {
        self.left_out.extend(unread);
        self.left_out.sort_by(|a, b| a.name.cmp(&b.name));
        self
    }
}

/// What sessions are judged by.
#[derive(Clone, Copy, Debug)]
pub struct SessionConfig<'c> {
    /// Of the review.
    pub review: &'c ReviewConfig,
    /// Of the audit.
    pub audit: &'c AuditConfig,
    /// Of the gait model, for recordings that the runner's others may tell more of; `None` to take each by itself.
    pub gait: Option<&'c GaitConfig>,
}

/// Makes sessions of the recordings of a case: leaves duplicates and those after `as_of` out, joins parts, finds each
/// session's stage and audits it, with what the others tell of the runner where it leaves the verdict open or has no cadence.
/// Each recording is segmented once more at most.
pub fn sessions(
    plan: &Plan,
    written: &Written,
    recorded: Vec<Recorded>,
    as_of: Date,
    config: SessionConfig<'_>,
) -> Noted<PerformedSessions> {
    sessions_with_recordings(plan, written, recorded, as_of, config, &mut |_, _| {})
}

/// The same, and gives each session with its recordings, which have the bouts and notices that it is judged by.
pub fn sessions_with_recordings(
    plan: &Plan,
    written: &Written,
    recorded: Vec<Recorded>,
    as_of: Date,
    config: SessionConfig<'_>,
    each: &mut dyn FnMut(&PerformedSession, Vec<Recorded>),
) -> Noted<PerformedSessions> {
    let given = &written.given;
    let zone = Zone::of(plan);
    let day = |r: &Recorded| zone.date(r.start(), r.series.utc_offset_s());
    let mut left_out = Vec::new();
    let known: Vec<(String, Date)> = recorded.iter().map(|r| (r.name.clone(), day(r))).collect();
    let mut notices = given.unused(&known);
    let (now, later): (Vec<_>, Vec<_>) = recorded.into_iter().partition(|r| day(r) <= as_of);
    for recording in later {
        let text = format!("Its day, {}, lies after {as_of}, the day of this review.", day(&recording));
        left_out.push(LeftOut::new(recording.name, LeftOutCode::AfterAsOf, text));
    }
    left_out.sort_by(|a, b| a.name.cmp(&b.name));
    let kept = without_duplicates(now, config.review.overlap_s, &mut left_out);
    let evidence: Vec<RunnerEvidence> = match config.gait {
        Some(_) => kept.iter().filter_map(|r| RunnerEvidence::of(&r.series, &r.segmentation)).collect(),
        None => Vec::new(),
    };
    let (mut progress, mut spacing) = (Progress::new(plan), Spacing::new(plan));
    let mut sessions = Vec::new();
    let mut visits = written.seen.in_turn();
    for mut parts in parts(kept, config.review) {
        let date = parts.first().map(&day).unwrap_or_default();
        progress.visited(visits.until(date));
        let judge = Judge { plan, given, date, progress: &progress, config };
        let session = judge.with_others(&mut parts, &evidence);
        let is_improper = spacing.take(&session, config.review).is_improper();
        progress.take(&session.stage, counted(&session, is_improper, config.review), session.date);
        if let StageChoice::InParts = session.stage {
            notices.push(Notice::new(NoticeCode::SessionInParts, format!(
                "{}: {} are taken for parts of one session, so its runs and walks are not held against a stage.",
                session.date,
                session.recordings.join(", ")
            )));
        }
        each(&session, parts);
        sessions.push(session);
    }
    Noted { value: PerformedSessions { sessions, left_out }, notices }
}

/// Puts recordings with running that follow each other closely together.
fn parts(recorded: Vec<Recorded>, config: &ReviewConfig) -> Vec<Vec<Recorded>> {
    let has_run = |r: &Recorded| Totals::of(&r.segmentation).sure_run_s >= config.least_run_s;
    let mut groups: Vec<Vec<Recorded>> = Vec::new();
    for recording in recorded {
        let follows = |last: &Recorded| {
            recording.start().duration_since(last.end()).as_secs_f64() <= config.part_gap_s
                && has_run(last)
                && has_run(&recording)
        };
        match groups.last_mut() {
            Some(group) if group.last().is_some_and(follows) => group.push(recording),
            _ => groups.push(vec![recording]),
        }
    }
    groups
}

/// By what one session is judged.
struct Judge<'a> {
    plan: &'a Plan,
    given: &'a Given,
    date: Date,
    progress: &'a Progress<'a>,
    config: SessionConfig<'a>,
}

impl Judge<'_> {
    /// The session by itself or, where that says more or is more careful, with what the others tell of the runner. Its recording
    /// is left with the bouts and notices that it is judged by.
    fn with_others(&self, parts: &mut [Recorded], evidence: &[RunnerEvidence]) -> PerformedSession {
        let alone = self.session(parts);
        let ([only], Some(gait)) = (&mut *parts, self.config.gait) else { return alone };
        if !others_may_help(&only.series, &only.segmentation, alone.outcome) {
            return alone;
        }
        let Some(runner) = RunnerPrior::of(evidence, only.start(), only.end()) else { return alone };
        let own_notices = only.notices.clone();
        only.notices.retain(|notice| !NOTICES.contains(&notice.code));
        let known = segment(&only.series, gait, Some(&runner)).take(&mut only.notices);
        let own = std::mem::replace(&mut only.segmentation, known);
        let mut with_others = self.session(parts);
        let [only] = parts else { return alone };
        let (was, is) = (self.judged(&own, &alone), self.judged(&only.segmentation, &with_others));
        if !holds_with_others(&only.series, was, is, self.config.audit) {
            (only.segmentation, only.notices) = (own, own_notices);
            return alone;
        }
        with_others.notices.push(note_others(&runner, alone.outcome, with_others.outcome));
        with_others
    }

    fn judged<'s>(&'s self, bouts: &'s Segmentation, session: &'s PerformedSession) -> Judged<'s> {
        let due = session.due.as_ref();
        let against = |stage: usize| {
            let of = Prescription::of(self.plan, &self.plan.stages[stage]);
            Prescription { session: due.map_or(of.session, |due| &due.session), ..of }
        };
        let audit = session.audit.as_ref().zip(session.stage.stage().map(against));
        Judged { bouts, outcome: session.outcome, audit }
    }

    fn session(&self, parts: &[Recorded]) -> PerformedSession {
        let mut totals = Totals::default();
        let mut end: Option<Timestamp> = None;
        for part in parts {
            let own = Totals::of(&part.segmentation);
            match end {
                None => totals = own,
                Some(end) => totals.join(&own, part.start().duration_since(end).as_secs_f64().max(0.0)),
            }
            end = Some(part.end());
        }
        let start = parts.first().map(Recorded::start).unwrap_or_default();
        let recordings: Vec<String> = parts.iter().map(|part| part.name.clone()).collect();
        let mut notices = Vec::new();
        let (stage, audit, outcome) = match parts {
            [only] => self.verdict(only, &totals, &mut notices),
            _ => (StageChoice::InParts, None, Outcome::Undecided),
        };
        let due = stage.stage().and_then(|stage| self.progress.due(stage));
        let bouts = match parts {
            [only] if audit.is_none() => only.segmentation.bouts().to_vec(),
            _ => Vec::new(),
        };
        PerformedSession {
            recordings,
            start,
            date: self.date,
            totals,
            stage,
            due,
            outcome,
            audit,
            notices,
            bouts,
        }
    }

    /// The stage of a recording, the audit against it, and the outcome.
    fn verdict(
        &self,
        only: &Recorded,
        totals: &Totals,
        notices: &mut Vec<Notice>,
    ) -> (StageChoice, Option<Audit>, Outcome) {
        let Self { plan, given, date, progress, config } = *self;
        notices.extend(only.notices.iter().cloned());
        let stage = match given.of(&only.name, date) {
            Some(Said::Stage(stage)) => StageChoice::Given(stage),
            Some(Said::NoSession) => StageChoice::NoSession,
            None => recognise(only, totals, plan, progress, config.review, config.audit),
        };
        let against = |stage: usize| {
            let session = asked(plan, stage, progress);
            let prescription =
                Prescription { session: &session, ..Prescription::of(plan, &plan.stages[stage]) };
            Matched::new(&only.segmentation, &only.series, prescription, config.audit).audit()
        };
        let audit = stage.stage().map(|stage| against(stage).take(notices));
        let outcome = match (&audit, &stage) {
            (Some(audit), _) => audit.outcome,
            (None, StageChoice::Ambiguous(candidates)) => {
                let beyond_each = !candidates.is_empty()
                    && candidates.iter().all(|(s, _)| against(*s).value.outcome == Outcome::Overdone);
                if beyond_each { Outcome::Overdone } else { Outcome::Undecided }
            }
            _ => Outcome::Undecided,
        };
        (stage, audit, outcome)
    }
}

#[cfg(test)]
mod tests {
    use super::super::recorded::testing::recorded;
    use super::*;

    const PLAN: &str = "
timezone = 'Europe/Oslo'
[[stage]]
name = '1'
session = 'walk 5:00, 4 x (run 1:00, walk 2:00)'
[[stage]]
name = '2'
session = 'walk 5:00, 4 x (run 2:00, walk 2:00)'
";
    const ONE: &str = "w300 r60 w120 r60 w120 r60 w120 r60 w120";

    fn made(recorded: Vec<Recorded>, given: &str) -> Noted<PerformedSessions> {
        let plan = Plan::parse(PLAN).unwrap().value;
        let given = Given::parse(given, &plan).value;
        let written = Written { given, ..Written::default() };
        {
            let as_of = "2026-03-10".parse().unwrap();
            let (review, audit, gait) =
                (&ReviewConfig::default(), &AuditConfig::default(), &GaitConfig::default());
            sessions(&plan, &written, recorded, as_of, SessionConfig { review, audit, gait: Some(gait) })
        }
    }

    #[test]
    fn a_session_over_midnight_belongs_to_the_day_of_its_start() {
        // 23:50 in Oslo on the 2nd is 22:50 UTC; the session ends after midnight.
        let made = made(vec![recorded("a", "2026-03-02T22:50:00Z", ONE)], "").value;
        assert_eq!(made.sessions.len(), 1);
        assert_eq!(made.sessions[0].date.to_string(), "2026-03-02");
        assert_eq!(made.sessions[0].outcome, Outcome::Kept);
    }

    #[test]
    fn what_was_given_stands_before_what_is_recognised() {
        let one = || vec![recorded("a", "2026-03-02T07:00:00Z", ONE)];
        assert_eq!(made(one(), "").value.sessions[0].stage.stage(), Some(0));
        let given = made(one(), "a,2").value;
        assert_eq!(given.sessions[0].stage, StageChoice::Given(1));
        assert_eq!(given.sessions[0].outcome, Outcome::Underdone);
        assert_eq!(made(one(), "2026-03-02,-").value.sessions[0].stage, StageChoice::NoSession);
    }

    #[test]
    fn a_session_in_two_parts_is_one_session() {
        let parts = vec![
            recorded("a", "2026-03-02T07:00:00Z", "w300 r60 w120 r60 w60"),
            recorded("b", "2026-03-02T07:12:00Z", "w60 r60 w120 r60 w120"),
        ];
        let made = made(parts, "");
        assert_eq!(made.notices[0].code, NoticeCode::SessionInParts);
        let [session] = made.value.sessions.as_slice() else { panic!() };
        assert_eq!((session.recordings.len(), session.outcome), (2, Outcome::Undecided));
        assert_eq!(session.totals.run_s, 240.0);
        // 600 s and 420 s of moving with 120 s between them.
        assert_eq!(session.totals.session_s, 600.0 + 120.0 + 420.0);
    }

    #[test]
    fn a_walk_before_a_session_is_no_part_of_it() {
        let both = vec![
            recorded("walk", "2026-03-02T06:50:00Z", "w500"),
            recorded("run", "2026-03-02T07:00:00Z", ONE),
        ];
        let made = made(both, "").value;
        let stages: Vec<Option<usize>> = made.sessions.iter().map(|s| s.stage.stage()).collect();
        assert_eq!(stages, [None, Some(0)]);
    }

    #[test]
    fn what_lies_after_the_day_of_the_review_is_left_out_and_said() {
        let made = made(vec![recorded("later", "2026-03-11T07:00:00Z", ONE)], "").value;
        assert!(made.sessions.is_empty());
        assert_eq!(made.left_out[0].code, LeftOutCode::AfterAsOf);
    }

    #[test]
    fn overdone_whichever_stage_it_was_is_overdone() {
        // One run of 3:20 is beyond 1:00 and 2:00; the others lie between the two.
        let bouts = "w300 r200 w120 r90 w120 r90 w120 r90 w120";
        let beyond = made(vec![recorded("a", "2026-03-02T07:00:00Z", bouts)], "").value;
        let session = &beyond.sessions[0];
        assert!(matches!(session.stage, StageChoice::Ambiguous(_)), "{:?}", session.stage);
        assert_eq!(session.outcome, Outcome::Overdone);
        let within = "w300 r90 w120 r90 w120 r90 w120 r90 w120";
        let open = made(vec![recorded("a", "2026-03-02T07:00:00Z", within)], "").value;
        assert_ne!(open.sessions[0].outcome, Outcome::Kept);
    }
}
