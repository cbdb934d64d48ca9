//! What the reports say: rounded once, worded once, the same in every format.
//!
//! Field names and their order are those of the JSON documents; fields that only the text report shows are left out
//! there. Seconds and metres have one decimal, speeds two. Certainties are rounded down to three decimals, so that a
//! finding never looks more certain than it is. What is not known is `None`.

use serde::Serialize;

use jogaudit_core::audit::{Audit, Code, Dose, Finding, Outcome, Rep};
use jogaudit_core::gait::{Bout, Gait, Segmentation};
use jogaudit_core::pipeline::{Activity, Checked};
use jogaudit_core::prescription::{Move, Plan, Session, Stage};
use jogaudit_core::range::Range;
use jogaudit_core::review::Zone;
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::read::Facts;
use jogaudit_recording::units::{LengthUnit, Metres, Seconds, Unit};

use super::chart::Charts;
use super::ends::{self, Most};
use super::lengths;
pub use super::numbers::{certainty, hundredths, known, tenths};
use super::word::as_word;
use super::wording::{self, clock};

/// Which recording a report is of.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// What the recording says of itself.
    pub facts: &'a Facts,
    /// SHA-256 of the input's bytes as given (zipped if it was zipped), lower-case hexadecimal.
    pub sha256: &'a str,
}

/// The `recording` of the documents.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RecordingView {
    pub format: &'static str,
    pub sport: Option<String>,
    pub sha256: String,
    pub start: String,
    pub elapsed_s: f64,
    pub samples: usize,
    pub has: Vec<&'static str>,
    /// When it began, on the runner's clock.
    #[serde(skip)]
    pub began: String,
}

/// One of the `bouts` of the documents.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct BoutView {
    #[serde(serialize_with = "as_word")]
    pub gait: Gait,
    pub start_s: f64,
    pub end_s: f64,
    pub certainty: f64,
    pub distance_m: Option<f64>,
    pub mean_speed_mps: Option<f64>,
    pub mean_cadence_spm: Option<f64>,
    pub mean_heart_rate_bpm: Option<f64>,
    /// Mean pace in the report's units, without them; `None` where the bout hardly moves.
    #[serde(skip)]
    pub mean_pace: Option<String>,
    /// Distance in the report's units.
    #[serde(skip)]
    pub distance: Option<String>,
}

/// One of the `notices` of the documents.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct NoticeView {
    #[serde(serialize_with = "as_word")]
    pub code: NoticeCode,
    pub text: String,
}

/// Bouts that a report for people shows, the first ones; the documents for programs hold all. A session has some dozens, a day on
/// foot some hundreds. Our choice.
pub const MOST_BOUTS: usize = 2_000;

/// What is said in place of the bouts beyond [`MOST_BOUTS`].
pub(super) fn bouts_left_out(bouts: usize) -> Option<String> {
    let more = bouts.checked_sub(MOST_BOUTS).filter(|more| *more > 0)?;
    Some(format!(
        "The first {MOST_BOUTS} bouts are shown; {more} more are left out of this report. `jogaudit bouts --format csv` has them all."
    ))
}

/// The document `jogaudit.bouts/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct BoutsView {
    pub schema: &'static str,
    pub recording: RecordingView,
    pub bouts: Vec<BoutView>,
    pub notices: Vec<NoticeView>,
    /// What paces and distances are read by.
    #[serde(skip)]
    pub units: LengthUnit,
}

/// One of the `reps` of a check.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RepView {
    pub rep: u32,
    /// What it was to be.
    #[serde(rename = "gait", serialize_with = "as_word")]
    pub motion: Move,
    pub prescribed_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prescribed_least_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prescribed_most_s: Option<Most>,
    pub achieved_s: f64,
    pub error_s: f64,
    pub start_s: Option<f64>,
    pub end_s: Option<f64>,
    pub mean_pace_s_per_km: Option<f64>,
    pub level_pace_s_per_km: Option<f64>,
    pub over_ceiling_s: Option<f64>,
    pub mean_cadence_spm: Option<f64>,
    pub max_heart_rate_bpm: Option<f64>,
    /// Prescribed time, s.
    #[serde(skip)]
    pub prescribed_time_s: Option<Range>,
    /// What was prescribed, a time or a distance in the report's units.
    #[serde(skip)]
    pub prescribed: Option<String>,
    /// What was done, likewise: `1:14`, `412 m`, `not seen`.
    #[serde(skip)]
    pub done: String,
    /// Standing inside, s.
    #[serde(skip)]
    pub stand_s: f64,
    /// Mean pace in the report's units, without them.
    #[serde(skip)]
    pub mean_pace: Option<String>,
    /// Mean pace on level ground for the same cost, likewise.
    #[serde(skip)]
    pub level_pace: Option<String>,
}

impl RepView {
    /// What a bout in it is: a rest is anything but running.
    pub(super) fn gait(&self) -> Gait {
        if self.motion == Move::Run { Gait::Run } else { Gait::Walk }
    }
}

#[cfg(test)]
impl RepView {
    /// A made-up part of a session, done to the second where it was done at all.
    pub(crate) fn made_up(rep: u32, gait: Gait, prescribed_s: f64, within_s: Option<(f64, f64)>) -> Self {
        Self {
            rep,
            motion: if gait == Gait::Run { Move::Run } else { Move::Walk },
            prescribed_s: Some(prescribed_s),
            prescribed_least_s: None,
            prescribed_most_s: None,
            prescribed_time_s: Some(prescribed_s.into()),
            achieved_s: within_s.map_or(0.0, |(start_s, end_s)| end_s - start_s),
            error_s: 1.0,
            start_s: within_s.map(|(start_s, _)| start_s),
            end_s: within_s.map(|(_, end_s)| end_s),
            mean_pace_s_per_km: None,
            level_pace_s_per_km: None,
            over_ceiling_s: None,
            mean_cadence_spm: None,
            max_heart_rate_bpm: None,
            prescribed: None,
            done: String::new(),
            stand_s: 0.0,
            mean_pace: None,
            level_pace: None,
        }
    }
}

/// Prescribed and achieved.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct AmountView {
    pub prescribed: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prescribed_least_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prescribed_most_s: Option<Most>,
    pub achieved: Option<f64>,
    /// What is prescribed, whether one figure or a range.
    #[serde(skip)]
    pub range: Option<Range>,
}

impl AmountView {
    pub(super) fn new(range: Option<Range>, achieved: Option<f64>) -> Self {
        Self {
            prescribed: ends::one(range),
            prescribed_least_s: ends::least(range),
            prescribed_most_s: ends::most(range),
            achieved: known(achieved, tenths),
            range,
        }
    }

    /// The most that is prescribed, where it is known.
    pub fn most(&self) -> Option<f64> {
        known(self.range.map(|range| range.most), tenths)
    }
}

/// The `dose` of a check.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct DoseView {
    pub run_s: AmountView,
    pub walk_s: AmountView,
    pub session_s: AmountView,
    pub run_steps: Option<u64>,
    pub run_distance_m: Option<f64>,
    /// Running distance in the report's units, of what is prescribed where every run is by distance.
    #[serde(skip)]
    pub run_distance: Option<String>,
}

/// One of the `findings` of a check.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct FindingView {
    #[serde(serialize_with = "as_word")]
    pub code: Code,
    pub rep: Option<u32>,
    pub start_s: Option<f64>,
    pub end_s: Option<f64>,
    pub prescribed: Option<f64>,
    pub achieved: Option<f64>,
    #[serde(serialize_with = "as_word")]
    pub unit: Unit,
    pub excess: Option<f64>,
    pub certainty: f64,
    pub text: String,
    /// Whether it means that too much was done.
    #[serde(skip)]
    pub is_overdoing: bool,
    /// Whether it does and is certain enough to decide the outcome.
    #[serde(skip)]
    pub decides: bool,
    /// Run or walk when it is about a rep.
    #[serde(skip)]
    pub gait: Option<Gait>,
}

/// A check and what is drawn of it.
#[derive(Clone, Debug)]
pub struct CheckReport {
    /// The check.
    pub view: CheckView,
    /// Its curves; `None` when nothing is scored, or when they were not asked for.
    pub charts: Option<Charts>,
}

impl CheckReport {
    /// Makes the report of an activity that was held against a stage; `sha256` is that of the input's bytes.
    pub fn new(activity: &Activity, sha256: &str, plan: &Plan, stage: &Stage, checked: &Checked) -> Self {
        let (source, segmentation) = (Source { facts: &activity.facts, sha256 }, &activity.segmentation);
        let drawn = activity.series.as_ref().zip(checked.trace.as_ref());
        Self {
            view: CheckView::new(source, segmentation, plan, stage, checked.audit.as_ref(), &checked.notices),
            charts: drawn
                .map(|(series, trace)| Charts::new(series, segmentation, stage, trace, plan.read_in())),
        }
    }
}

/// The document `jogaudit.check/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct CheckView {
    pub schema: &'static str,
    pub plan: String,
    pub stage: String,
    /// Repetitions that were due, where their number rises from session to session and the case tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repetitions: Option<u32>,
    pub recording: RecordingView,
    pub bouts: Vec<BoutView>,
    #[serde(serialize_with = "as_word")]
    pub outcome: Outcome,
    pub reps: Vec<RepView>,
    pub dose: DoseView,
    pub findings: Vec<FindingView>,
    pub notices: Vec<NoticeView>,
    /// The outcome in one sentence.
    #[serde(skip)]
    pub summary: String,
    /// Why nothing was decided; empty for every other outcome.
    #[serde(skip)]
    pub reasons: Vec<NoticeView>,
    /// How far the outcome can be trusted, where the recording tells less than usual.
    #[serde(skip)]
    pub trust: Option<&'static str>,
    /// The stage's session, as the session language writes it.
    #[serde(skip)]
    pub session: String,
    /// What the stage limits, in words.
    #[serde(skip)]
    pub limits: Option<String>,
    /// What paces and distances are read by.
    #[serde(skip)]
    pub units: LengthUnit,
    /// What the report ends with.
    #[serde(skip)]
    pub cautions: String,
}

impl BoutsView {
    /// Makes the document of `bouts`.
    pub fn new(
        source: Source<'_>,
        segmentation: &Segmentation,
        notices: &[Notice],
        units: LengthUnit,
    ) -> Self {
        Self {
            schema: "jogaudit.bouts/1",
            recording: recording(source, segmentation, &Zone::none()),
            bouts: segmentation.bouts().iter().map(|b| bout(b, units)).collect(),
            notices: notices.iter().map(notice).collect(),
            units,
        }
    }
}

impl CheckView {
    /// How often was due, in a sentence, where the number rises from session to session and the case tells it.
    pub(super) fn due_in_words(&self) -> Option<String> {
        let due = self.repetitions?;
        Some(format!("Going by the earlier sessions of the case, {} due.", super::wording::were_due(due)))
    }

    /// Makes the document of `check`. Without an audit (a recording that is not scored) the outcome is `undecided` and
    /// nothing counts as achieved or not achieved.
    pub fn new(
        source: Source<'_>,
        segmentation: &Segmentation,
        plan: &Plan,
        stage: &Stage,
        audit: Option<&Audit>,
        notices: &[Notice],
    ) -> Self {
        let units = plan.read_in();
        let outcome = audit.map_or(Outcome::Undecided, |audit| audit.outcome);
        let findings = audit.map(|audit| findings(audit, units)).unwrap_or_default();
        let name = stage.name.clone();
        let notices: Vec<NoticeView> = notices.iter().map(notice).collect();
        let is_reason = |n: &&NoticeView| outcome == Outcome::Undecided && wording::is_reason(n.code);
        Self {
            schema: "jogaudit.check/1",
            plan: plan.title.clone(),
            summary: match audit {
                Some(_) => {
                    let deciding = findings.iter().filter(|finding| finding.decides).count();
                    wording::summary(outcome, &name, deciding)
                }
                None => wording::not_scored(&name),
            },
            reasons: notices.iter().filter(is_reason).cloned().collect(),
            trust: wording::trust(outcome, &|code| notices.iter().any(|notice| notice.code == code)),
            stage: name,
            recording: recording(source, segmentation, &Zone::of(plan)),
            bouts: segmentation.bouts().iter().map(|b| bout(b, units)).collect(),
            outcome,
            reps: audit.iter().flat_map(|a| &a.reps).map(|r| rep(r, units)).collect(),
            dose: dose(&stage.session, audit.map(|audit| &audit.dose), units),
            findings,
            notices,
            repetitions: None,
            session: stage.session.to_string(),
            limits: wording::limits(&stage.session, &stage.limits, units),
            units,
            cautions: wording::with_contact(wording::CAUTIONS, stage.contact.as_deref()),
        }
    }
}

fn recording(source: Source<'_>, segmentation: &Segmentation, zone: &Zone) -> RecordingView {
    let Source { facts, sha256 } = source;
    RecordingView {
        format: facts.format.name(),
        sport: facts.sport.word().map(str::to_owned),
        sha256: sha256.to_owned(),
        start: facts.start.to_string(),
        elapsed_s: tenths(segmentation.elapsed_s()),
        samples: facts.samples,
        has: facts.channels.iter().map(|channel| channel.word()).collect(),
        began: wording::began(zone, facts.start, facts.utc_offset_s),
    }
}

/// Slower than this is no pace, m/s. Our choice.
const SLOWEST_PACE_MPS: f64 = 0.2;

pub(super) fn bout(bout: &Bout, units: LengthUnit) -> BoutView {
    let pace_mps = bout.mean_speed_mps.filter(|speed| speed.is_finite() && *speed > SLOWEST_PACE_MPS);
    BoutView {
        gait: bout.gait,
        start_s: tenths(bout.start_s),
        end_s: tenths(bout.end_s),
        certainty: certainty(bout.certainty),
        distance_m: known(bout.distance_m, tenths),
        mean_speed_mps: known(bout.mean_speed_mps, hundredths),
        mean_cadence_spm: known(bout.mean_cadence_spm, tenths),
        mean_heart_rate_bpm: known(bout.mean_heart_rate_bpm, tenths),
        distance: bout.distance_m.filter(|m| m.is_finite()).map(|m| lengths::distance(m, units)),
        mean_pace: pace_mps.map(|speed| lengths::bare_pace(1000.0 / speed, units)),
    }
}

fn rep(rep: &Rep, units: LengthUnit) -> RepView {
    let pace =
        |s_per_km: Option<f64>| s_per_km.filter(|s| s.is_finite()).map(|s| lengths::bare_pace(s, units));
    RepView {
        rep: rep.rep,
        motion: rep.motion,
        prescribed_s: ends::one(rep.prescribed_s),
        prescribed_least_s: ends::least(rep.prescribed_s),
        prescribed_most_s: ends::most(rep.prescribed_s),
        prescribed_time_s: rep.prescribed_s,
        achieved_s: tenths(rep.achieved_s),
        error_s: tenths(rep.error_s),
        start_s: known(rep.start_s, tenths),
        end_s: known(rep.end_s, tenths),
        mean_pace_s_per_km: known(rep.mean_pace_s_per_km, tenths),
        level_pace_s_per_km: known(rep.level_pace_s_per_km, tenths),
        over_ceiling_s: known(rep.over_ceiling_s, tenths),
        mean_cadence_spm: known(rep.mean_cadence_spm, tenths),
        max_heart_rate_bpm: known(rep.max_heart_rate_bpm, tenths),
        prescribed: match (rep.prescribed_s, rep.prescribed_m) {
            (Some(s), _) => Some(ends::times(s)),
            (None, m) => m.map(|m| ends::between(m, |m| lengths::distance(m, units))),
        },
        done: match rep.start_s {
            None => "not seen".to_owned(),
            Some(_) if rep.prescribed_s.is_some() => clock(rep.achieved_s),
            Some(_) => rep.achieved_m.map_or_else(|| clock(rep.achieved_s), |m| lengths::distance(m, units)),
        },
        stand_s: tenths(rep.stand_s),
        mean_pace: pace(rep.mean_pace_s_per_km),
        level_pace: pace(rep.level_pace_s_per_km),
    }
}

/// What the stage prescribes, `None` where its words leave it open, and what was done of it.
fn dose(session: &Session, done: Option<&Dose>, units: LengthUnit) -> DoseView {
    let prescribed = session.dose();
    let of = prescribed.run_distance.map(|m| m.map(Metres::get)).filter(|m| m.most > 0.0);
    let of = of.map(|m| ends::between(m, |m| lengths::distance(m, units)));
    let of = of.map(|of| format!(" of {of}")).unwrap_or_default();
    let run_distance = |m: f64| format!("{}{of}", lengths::distance(m, units));
    let amount = |time: Option<Range<Seconds>>, achieved: fn(&Dose) -> Option<f64>| {
        AmountView::new(time.map(|time| time.map(Seconds::get)), done.and_then(achieved))
    };
    DoseView {
        run_s: amount(prescribed.run, |dose| dose.run_s.achieved),
        walk_s: amount(prescribed.walk, |dose| dose.walk_s.achieved),
        session_s: amount(prescribed.session, |dose| dose.session_s.achieved),
        run_steps: whole_steps(done.and_then(|dose| dose.run_steps)),
        run_distance_m: known(done.and_then(|dose| dose.run_distance_m), tenths),
        run_distance: done.and_then(|dose| dose.run_distance_m).filter(|m| m.is_finite()).map(run_distance),
    }
}

/// The findings of an audit.
pub(super) fn findings(audit: &Audit, units: LengthUnit) -> Vec<FindingView> {
    audit.findings.iter().map(|f| finding(f, audit, units)).collect()
}

fn finding(finding: &Finding, audit: &Audit, units: LengthUnit) -> FindingView {
    let is_rest = audit.reps.iter().any(|rep| {
        rep.motion == Move::Rest
            && Some(rep.rep) == finding.rep
            && wording::gait_of(finding.code) == Gait::Walk
    });
    FindingView {
        code: finding.code,
        rep: finding.rep,
        start_s: known(finding.start_s, tenths),
        end_s: known(finding.end_s, tenths),
        prescribed: known(finding.prescribed, tenths),
        achieved: known(finding.achieved, tenths),
        unit: finding.unit,
        excess: known(finding.excess, tenths),
        certainty: certainty(finding.certainty),
        text: wording::finding(finding, audit.is_level, is_rest, units),
        is_overdoing: finding.code.is_overdoing(),
        decides: finding.is_overdoing_for_sure(),
        gait: finding.rep.map(|_| wording::gait_of(finding.code)),
    }
}

/// Steps, whole.
pub fn whole_steps(steps: Option<f64>) -> Option<u64> {
    steps.filter(|steps| steps.is_finite() && *steps >= 0.0).map(|steps| steps.round() as u64)
}

/// Words a notice with its place.
pub fn notice(notice: &Notice) -> NoticeView {
    let place = notice.place.as_ref().map(ToString::to_string).unwrap_or_default();
    NoticeView { code: notice.code, text: wording::sentence(&notice.text, &place) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certainty_never_gains_by_rounding() {
        assert_eq!(certainty(0.8999), 0.899);
        assert_eq!(certainty(0.9), 0.9);
        assert_eq!(certainty(0.9999), 0.999);
        assert_eq!(certainty(1.0), 1.0);
        for thousandth in 0..=1000 {
            let value = f64::from(thousandth) / 1000.0;
            assert_eq!(certainty(value), value);
        }
    }

    #[test]
    fn what_is_not_a_number_is_not_known() {
        assert_eq!(known(Some(f64::NAN), tenths), None);
        assert_eq!(known(Some(f64::INFINITY), tenths), None);
        assert_eq!(known(Some(0.04), tenths), Some(0.0));
        assert!(tenths(-0.01).is_sign_positive());
    }

    #[test]
    fn a_notice_keeps_its_place_and_its_text() {
        let place = jogaudit_recording::notice::Place { line: Some(3), ..Default::default() };
        let view = notice(&Notice::new(NoticeCode::NotOnFoot, "sport \u{1b}[31m").at(place));
        assert_eq!(view.text, "Sport \u{1b}[31m (line 3).");
    }
}
