//! What the report of a whole return says: rounded once, worded once, the same in every format.
//!
//! Field names and their order are those of the document `jogaudit.review/1`; fields that only the text report shows are
//! left out there. What is not known is `None`.

mod made;

use serde::Serialize;

use jogaudit_core::audit::Outcome;
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{
    LeftOutCode, OtherSession, Pattern, PerformedSessions, Recommendation, Review, ReviewConfig, RiseBand,
    RuleCode, SessionKind, StageSource, WeekOutcome, WeeklyCode, Written,
};
use jogaudit_recording::notice::Notice;
use jogaudit_recording::units::{LengthUnit, Unit};

use super::card::CardView;
use super::mark::Mark;
use super::view::{AmountView, BoutView, FindingView, NoticeView};
use super::word::{as_word, as_word_or_null};
use super::wording::{clock, needed};

/// The document `jogaudit.review/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct ReviewView {
    pub schema: &'static str,
    pub plan: String,
    pub as_of: String,
    /// The same in words.
    #[serde(skip)]
    pub day: String,
    pub timezone: Option<String>,
    pub clinician_overrides: Vec<String>,
    pub ruling: RulingView,
    pub visits: Vec<VisitView>,
    pub coming: Option<ComingView>,
    /// The card of the next session, for the text report; programs take it from `plan show`.
    #[serde(skip)]
    pub card: Option<CardView>,
    pub weeks: Vec<WeekView>,
    pub stages: Vec<StageView>,
    pub findings: Vec<WeeklyFindingView>,
    pub sessions: Vec<SessionView>,
    pub other: Vec<OtherView>,
    pub left_out: Vec<LeftOutView>,
    pub notices: Vec<NoticeView>,
    pub cautions: String,
    pub contact: Option<String>,
    /// What paces and distances are read by.
    #[serde(skip)]
    pub units: LengthUnit,
}

/// The ruling for the next session.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RulingView {
    #[serde(serialize_with = "as_word")]
    pub ruling: Recommendation,
    pub stage: Option<String>,
    pub session: Option<String>,
    /// Repetitions that are due, where their number rises from session to session.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repetitions: Option<u32>,
    pub not_before: Option<String>,
    pub text: String,
    /// How it ends, where it does not end by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ends: Option<&'static str>,
    pub rules: Vec<RuleView>,
}

/// A visit to a clinician.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct VisitView {
    pub date: String,
    pub by: String,
    pub stage: Option<String>,
    pub note: String,
    /// In one sentence.
    #[serde(skip)]
    pub text: String,
}

/// Which sessions come next and when.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct ComingView {
    pub sessions: Vec<DatedView>,
    pub moved_from: Option<String>,
    pub missed: Vec<String>,
    pub text: Vec<String>,
}

/// A session with its day.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct DatedView {
    pub date: String,
    pub stage: String,
    pub number: u32,
    pub text: String,
}

/// A rule that applies.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RuleView {
    #[serde(serialize_with = "as_word")]
    pub rule: RuleCode,
    #[serde(serialize_with = "as_word")]
    pub ruling: Recommendation,
    pub says: &'static str,
    pub because: String,
    pub source: &'static str,
    pub rest_until: Option<String>,
    pub findings: Vec<FindingRef>,
}

/// A finding that led to a ruling.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct FindingRef {
    #[serde(serialize_with = "as_word")]
    pub code: WeeklyCode,
    pub date: String,
}

/// An estimate between two bounds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RangeView {
    pub least: f64,
    pub most: f64,
}

/// One week.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct WeekView {
    pub monday: String,
    pub is_over: bool,
    /// What became of it, where the plan goes by weeks or has several kinds of session in one.
    #[serde(skip_serializing_if = "Option::is_none", serialize_with = "as_word_or_null")]
    pub outcome: Option<WeekOutcome>,
    pub sessions: u32,
    pub walks: u32,
    pub rest_days: u32,
    pub kept: u32,
    pub overdone: u32,
    pub underdone: u32,
    pub undecided: u32,
    pub kept_share: Option<f64>,
    pub run_s: AmountView,
    pub walk_s: f64,
    pub run_steps: Option<u64>,
    pub walk_steps: Option<u64>,
    pub run_distance_m: Option<f64>,
    pub longest_run_s: f64,
    pub other: Vec<OtherTimeView>,
    pub rise_over_last_week: Option<f64>,
    pub rise_over_mean: Option<f64>,
    pub easy_pace_s_per_km: Option<f64>,
    pub easy_pace_ceiling_s_per_km: Option<RangeView>,
    pub greatest_pain: Option<f64>,
    pub greatest_effort: Option<f64>,
    pub load: Option<f64>,
    pub monotony: Option<f64>,
    pub strain: Option<f64>,
    pub estimated_loading_bw: Option<RangeView>,
    pub estimated_loading_ratio: Option<RangeView>,
    /// The pace of the easy running and its ceiling, in the report's units.
    #[serde(skip)]
    pub easy_pace: Option<String>,
    #[serde(skip)]
    pub easy_pace_ceiling: Option<String>,
    /// A mark a day.
    #[serde(skip)]
    pub days: [Mark; 7],
    /// Weeks without anything before this one.
    #[serde(skip)]
    pub empty_before: u32,
}

/// What was done at one stage.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct StageView {
    pub stage: String,
    pub session: String,
    pub needed: Option<u32>,
    /// Where the stage goes by weeks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed_weeks: Option<u32>,
    pub attempts: u32,
    pub kept: u32,
    pub overdone: u32,
    pub underdone: u32,
    pub undecided: u32,
}

/// What went beyond the prescription over days and weeks.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct WeeklyFindingView {
    #[serde(serialize_with = "as_word")]
    pub code: WeeklyCode,
    pub date: String,
    pub stage: Option<String>,
    /// The kind of session, of several in a week, that it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    pub prescribed: Option<f64>,
    pub achieved: Option<f64>,
    #[serde(serialize_with = "as_word")]
    pub unit: Unit,
    pub certainty: f64,
    pub text: String,
}

/// A stage that a session may have been.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct CandidateView {
    pub stage: String,
    pub certainty: f64,
}

/// One session.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct SessionView {
    pub date: String,
    pub start: String,
    pub recordings: Vec<String>,
    #[serde(serialize_with = "as_word")]
    pub kind: SessionKind,
    pub stage: Option<String>,
    #[serde(serialize_with = "as_word_or_null")]
    pub stage_from: Option<StageSource>,
    pub stage_certainty: Option<f64>,
    pub stage_candidates: Vec<CandidateView>,
    /// Repetitions that were due, where their number rises from session to session.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repetitions: Option<u32>,
    #[serde(serialize_with = "as_word_or_null")]
    pub outcome: Option<Outcome>,
    pub run_s: AmountView,
    pub walk_s: f64,
    pub session_s: f64,
    pub run_steps: Option<u64>,
    pub walk_steps: Option<u64>,
    pub run_distance_m: Option<f64>,
    pub mean_pace_s_per_km: Option<f64>,
    pub longest_run_s: f64,
    pub longest_run_m: Option<f64>,
    pub longest_run_rise: Option<f64>,
    #[serde(serialize_with = "as_word_or_null")]
    pub longest_run_band: Option<RiseBand>,
    pub pain_during: Option<f64>,
    #[serde(serialize_with = "as_word_or_null")]
    pub pain_pattern: Option<Pattern>,
    pub pain_next_morning: Option<f64>,
    pub effort: Option<f64>,
    pub load: Option<f64>,
    pub note: Option<String>,
    pub findings: Vec<FindingView>,
    pub notices: Vec<NoticeView>,
    /// Mean pace of the running in the report's units.
    #[serde(skip)]
    pub mean_pace: Option<String>,
    /// Its bouts, where it is held against no stage.
    #[serde(skip)]
    pub bouts: Vec<BoutView>,
}

/// Agreed training besides running.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct OtherView {
    pub date: String,
    pub start: String,
    pub recording: String,
    pub sport: String,
    pub duration_s: u32,
}

/// Time of one agreed sport in a week.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct OtherTimeView {
    pub sport: String,
    pub duration_s: u32,
}

/// A recording that is not reviewed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct LeftOutView {
    pub recording: String,
    #[serde(serialize_with = "as_word")]
    pub code: LeftOutCode,
    pub text: String,
}

/// What the view is made from.
#[derive(Clone, Copy, Debug)]
pub struct ReviewParts<'a> {
    /// The prescription.
    pub plan: &'a Plan,
    /// Diary, stages and visits.
    pub written: &'a Written,
    /// The sessions, and what the review left out.
    pub sessions: &'a PerformedSessions,
    /// Agreed training besides, in order of time.
    pub other: &'a [OtherSession],
    /// The review.
    pub review: &'a Review,
    /// The parameters it was made with.
    pub config: &'a ReviewConfig,
    /// What was noticed about the case as a whole.
    pub notices: &'a [Notice],
}

impl StageView {
    /// `3`, `2 weeks`.
    pub(super) fn needed_in_words(&self) -> Option<String> {
        needed(self.needed, self.needed_weeks)
    }
}

impl WeekView {
    /// What stands below a week's row: what became of it, and other training.
    pub(super) fn in_words(&self) -> Option<String> {
        let outcome = self.outcome.map(|outcome| match outcome {
            WeekOutcome::Kept => "week as prescribed".to_owned(),
            other => format!("week {other}"),
        });
        let told: Vec<String> = outcome.into_iter().chain(self.other_in_words()).collect();
        (!told.is_empty()).then(|| told.join("; "))
    }

    /// `cycling 45:00, swimming 30:00`; nothing without other training.
    fn other_in_words(&self) -> Option<String> {
        let told: Vec<String> =
            self.other.iter().map(|o| format!("{} {}", o.sport, clock(f64::from(o.duration_s)))).collect();
        (!told.is_empty()).then(|| told.join(", "))
    }
}

impl ReviewView {
    /// How to reach the professional whom the ruling sends the runner to.
    pub fn contact_now(&self) -> Option<&str> {
        let asks = self.ruling.ruling == Recommendation::SeeClinician;
        self.contact.as_deref().filter(|_| asks)
    }
}
