//! The whole chain on one screen.

use crate::audit::{Audit, AuditConfig, Matched, Prescription};
use crate::clean::{CleanConfig, Series, clean};
use crate::gait::{GaitConfig, Segmentation, segment};
use crate::prescription::{Plan, Stage};
use crate::review::{Diary, Given, PerformedSessions, Recorded, Review, ReviewConfig, review, sessions};
use jiff::civil::Date;
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::Recording;

/// Settings of every stage.
#[derive(Clone, Debug, Default)]
pub struct Config {
    /// Of cleaning.
    pub clean: CleanConfig,
    /// Of the gait model.
    pub gait: GaitConfig,
    /// Of the audit.
    pub audit: AuditConfig,
    /// Of the review of a case.
    pub review: ReviewConfig,
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

/// Recording → bouts.
pub fn segment_recording(recording: &Recording, config: &Config) -> Segmented {
    let mut notices = Vec::new();
    let series = clean(recording, &config.clean).take(&mut notices);
    let segmentation = segment(&series, &config.gait).take(&mut notices);
    Segmented { series, segmentation, notices }
}

/// Bouts and prescription → what was done, matched with what was prescribed.
pub fn match_recording<'a>(
    segmented: &'a Segmented,
    prescription: Prescription<'a>,
    config: &'a Config,
) -> Matched<'a> {
    Matched::new(&segmented.segmentation, &segmented.series, prescription, &config.audit)
}

/// Bouts and prescription → audit; what is noticed is added to `segmented.notices`.
pub fn audit_recording(segmented: &mut Segmented, plan: &Plan, stage: &Stage, config: &Config) -> Audit {
    let audit = match_recording(segmented, Prescription::of(plan, stage), config).audit();
    audit.take(&mut segmented.notices)
}

/// A case on one day.
#[derive(Clone, Debug)]
pub struct Reviewed {
    /// The sessions, and the recordings that were left out.
    pub sessions: PerformedSessions,
    /// Weeks, findings and the ruling.
    pub review: Review,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Recordings and diary of a case → review.
pub fn review_case(
    plan: &Plan,
    given: &Given,
    diary: &Diary,
    recorded: Vec<Recorded>,
    as_of: Date,
    config: &Config,
) -> Reviewed {
    let mut notices = Vec::new();
    let sessions = sessions(plan, given, recorded, as_of, &config.review, &config.audit).take(&mut notices);
    let review = review(plan, diary, &sessions.sessions, as_of, &config.review).take(&mut notices);
    Reviewed { sessions, review, notices }
}
