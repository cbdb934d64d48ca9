//! The document of a review, made from what the core found: rounded and worded.

use jiff::civil::Date;

use jogaudit_core::prescription::{DatedSession, Plan, Stage};
use jogaudit_core::range::Range;
use jogaudit_core::review::{
    Applied, Coming, Entry, LeftOut, LongestRun, OtherSession, PerformedSession, Review, ReviewConfig,
    RuleCode, Ruling, SessionKind, StageChoice, Visit, Week, WeeklyFinding, Zone,
};

use crate::card::CardView;
use crate::days;
use crate::ends;
use crate::lengths;
use crate::mark::Mark;
use crate::numbers::{certainty, known, rounded, tenths};
use crate::review_wording as wording;
use crate::view::{AmountView, bout, findings, notice, whole_steps};
use crate::wording::with_contact;

use super::{
    CandidateView, ComingView, DatedView, FindingRef, LeftOutView, OtherTimeView, OtherView, RangeView,
    ReviewParts, ReviewView, RuleView, RulingView, SessionView, StageView, VisitView, WeekView,
    WeeklyFindingView,
};

impl ComingView {
    fn new(plan: &Plan, coming: &Coming, as_of: Date) -> Self {
        Self {
            sessions: coming
                .sessions
                .iter()
                .map(|session| DatedView::new(plan, *session, as_of.year()))
                .collect(),
            moved_from: coming.moved_from.map(|date| date.to_string()),
            missed: coming.missed.iter().map(Date::to_string).collect(),
            text: wording::coming(plan, coming, as_of),
        }
    }
}

impl DatedView {
    /// Words a session with its day; a day of another than `this_year` has its year.
    pub(crate) fn new(plan: &Plan, session: DatedSession, this_year: i16) -> Self {
        let stage = stage_name(plan, Some(session.stage)).unwrap_or_default();
        let stage_of = &plan.stages[session.stage];
        let due = stage_of.session.due_after(session.kept);
        let figures = due.map_or_else(|| stage_of.session.figures(), |due| due.session.figures());
        let day = days::long_day(session.date, this_year);
        Self {
            date: session.date.to_string(),
            text: wording::dated(&day, &stage, figures.map(|f| f.session_s), figures.most.is_session_exact),
            stage,
            number: session.number,
        }
    }
}

impl ReviewView {
    /// Makes the document of `review`.
    pub fn new(parts: &ReviewParts<'_>) -> Self {
        let ReviewParts { plan, review, sessions, .. } = *parts;
        let contact = contact(plan, review, &sessions.sessions);
        Self {
            schema: "jogaudit.review/1",
            plan: plan.title.clone(),
            as_of: review.as_of.to_string(),
            day: days::with_year(review.as_of),
            timezone: Zone::of(plan).name().map(str::to_owned),
            clinician_overrides: review.overrides.clone(),
            ruling: ruling(parts),
            visits: review.visits.iter().map(|seen| visit(plan, seen, review.as_of)).collect(),
            coming: review.coming.as_ref().map(|coming| ComingView::new(plan, coming, review.as_of)),
            card: card(plan, &review.ruling),
            weeks: review.weeks.iter().map(|w| week(parts, w)).collect(),
            stages: stages(plan, review),
            findings: review.findings.iter().map(|f| weekly_finding(plan, f)).collect(),
            sessions: (0..sessions.sessions.len()).map(|index| session(parts, index)).collect(),
            other: parts.other.iter().map(other).collect(),
            left_out: sessions.left_out.iter().map(left_out).collect(),
            notices: parts.notices.iter().map(notice).collect(),
            cautions: with_contact(wording::CAUTIONS, contact.as_deref()),
            contact,
            units: plan.read_in(),
        }
    }
}

/// The card of the next session or, where none is due, of what is to be done instead.
fn card(plan: &Plan, ruling: &Ruling) -> Option<CardView> {
    let stage = plan.stages.get(ruling.stage.or(ruling.here).unwrap_or(0))?;
    let is_done = ruling.applied.first().is_some_and(|rule| rule.row().code == RuleCode::PlanComplete);
    let asked = Some(ruling.recommendation);
    match &ruling.due {
        _ if is_done => None,
        Some(due) => Some(CardView::due(plan, stage, due, asked)),
        None => Some(CardView::new(plan, stage, asked)),
    }
}

/// How to reach the professional: as the next stage says, else the one last done, else the plan.
fn contact(plan: &Plan, review: &Review, sessions: &[PerformedSession]) -> Option<String> {
    let last = || sessions.iter().rev().find_map(|session| session.stage.stage());
    let stage = review.ruling.stage.or_else(last).and_then(|stage| plan.stages.get(stage));
    let contact = stage.map_or(plan.contact.as_deref(), |stage| stage.contact.as_deref());
    contact.map(str::to_owned)
}

fn stage_name(plan: &Plan, stage: Option<usize>) -> Option<String> {
    stage.and_then(|stage| plan.stages.get(stage)).map(|stage| stage.name.clone())
}

fn ruling(parts: &ReviewParts<'_>) -> RulingView {
    let (plan, ruling) = (parts.plan, &parts.review.ruling);
    let stage = stage_name(plan, ruling.stage);
    RulingView {
        ruling: ruling.recommendation,
        session: ruling.stage.map(|stage| match &ruling.due {
            Some(due) => due.session.to_string(),
            None => plan.stages[stage].session.to_string(),
        }),
        repetitions: ruling.due.as_ref().map(|due| due.repetitions),
        not_before: ruling.not_before.map(|date| date.to_string()),
        text: wording::ruling(plan, ruling, parts.review.as_of),
        ends: wording::how_it_ends(ruling),
        rules: ruling.applied.iter().map(|applied| rule(parts.review, applied)).collect(),
        stage,
    }
}

fn visit(plan: &Plan, visit: &Visit, as_of: Date) -> VisitView {
    let stage =
        visit.stage.and_then(|stage| plan.stages.get(stage)).map(|stage| stage.stage_name().to_owned());
    VisitView {
        date: visit.date.to_string(),
        by: visit.by.clone(),
        text: wording::visit(visit, stage.as_deref(), as_of),
        note: visit.note.clone(),
        stage,
    }
}

fn rule(review: &Review, applied: &Applied) -> RuleView {
    let row = applied.row();
    let found = applied.findings.iter().filter_map(|index| review.findings.get(*index));
    RuleView {
        rule: row.code,
        ruling: applied.recommendation,
        says: row.says,
        because: applied.why.clone(),
        source: row.source,
        rest_until: applied.rest_until.map(|date| date.to_string()),
        findings: found.map(|f| FindingRef { code: f.code, date: f.date.to_string() }).collect(),
    }
}

fn week(parts: &ReviewParts<'_>, week: &Week) -> WeekView {
    let [kept, overdone, underdone, undecided] = week.outcomes;
    let (units, ceiling) = (parts.plan.read_in(), week.pace_ceiling_s_per_km);
    WeekView {
        monday: week.monday.to_string(),
        is_over: week.is_over,
        outcome: week.outcome,
        sessions: week.sessions,
        walks: week.walks,
        rest_days: week.rest_days,
        kept,
        overdone,
        underdone,
        undecided,
        kept_share: (week.sessions > 0).then(|| rounded(f64::from(kept) / f64::from(week.sessions), 100.0)),
        run_s: AmountView::new(week.planned_run_s, Some(week.run_s)),
        walk_s: tenths(week.walk_s),
        run_steps: whole_steps(week.run_steps),
        walk_steps: whole_steps(week.walk_steps),
        run_distance_m: known(week.run_distance_m, tenths),
        longest_run_s: tenths(week.longest_run_s),
        other: week
            .other_s
            .iter()
            .map(|(sport, time_s)| OtherTimeView { sport: sport.clone(), duration_s: *time_s })
            .collect(),
        rise_over_last_week: known(week.rise_over_last, thousandths),
        rise_over_mean: known(week.rise_over_mean, thousandths),
        easy_pace_s_per_km: known(week.easy_pace_s_per_km, tenths),
        easy_pace_ceiling_s_per_km: ceiling
            .map(|c| RangeView { least: tenths(c.least), most: tenths(c.most) }),
        easy_pace: week.easy_pace_s_per_km.map(|pace| lengths::pace(pace, units)),
        easy_pace_ceiling: ceiling.map(|c| ends::between(c, |pace| lengths::ceiling(pace, units))),
        greatest_pain: known(week.greatest_pain, tenths),
        greatest_effort: known(week.greatest_effort, tenths),
        load: known(week.effort.load, tenths),
        monotony: known(week.effort.monotony, hundredths),
        strain: known(week.effort.strain, tenths),
        estimated_loading_bw: week.loading_bw.map(|r| range(r, 0.1)),
        estimated_loading_ratio: week.loading_ratio.map(|r| range(r, 100.0)),
        days: std::array::from_fn(|day| day_mark(parts, week.monday, day)),
        empty_before: week.empty_before,
    }
}

/// The gravest mark of the sessions of a day.
fn day_mark(parts: &ReviewParts<'_>, monday: Date, day: usize) -> Mark {
    let Ok(date) = monday.checked_add(jiff::Span::new().days(i64::try_from(day).unwrap_or(0))) else {
        return Mark::NotYet;
    };
    if date > parts.review.as_of {
        return Mark::NotYet;
    }
    let sessions = &parts.sessions.sessions;
    let from = sessions.partition_point(|s| s.date < date);
    let marks = sessions[from..].iter().take_while(|s| s.date == date).map(|s| mark(s, parts.config));
    let has_other = parts.other.iter().any(|other| other.date == date);
    marks.max().unwrap_or(if has_other { Mark::Other } else { Mark::NoSession })
}

fn mark(session: &PerformedSession, config: &ReviewConfig) -> Mark {
    if !session.is_run(config) && session.stage.stage().is_none() {
        return Mark::Walk;
    }
    if session.is_unplanned(config) { Mark::Unplanned } else { session.outcome.into() }
}

fn stages(plan: &Plan, review: &Review) -> Vec<StageView> {
    let rows = plan.stages.iter().zip(&review.stages);
    rows.map(|(stage, tally)| StageView {
        stage: stage.name.clone(),
        session: stage.session.to_string(),
        needed: stage.sessions,
        needed_weeks: stage.weeks,
        attempts: tally.attempts,
        kept: tally.kept,
        overdone: tally.overdone,
        underdone: tally.underdone,
        undecided: tally.undecided,
    })
    .collect()
}

fn weekly_finding(plan: &Plan, finding: &WeeklyFinding) -> WeeklyFindingView {
    let left = finding.left.and_then(|left| plan.stages.get(left)).map(Stage::stage_name);
    let kind =
        finding.kind.and_then(|kind| plan.stages.get(kind)?.kind.as_ref()).map(|kind| kind.name.as_str());
    let stage = stage_name(plan, finding.stage);
    WeeklyFindingView {
        code: finding.code,
        date: finding.date.to_string(),
        prescribed: known(finding.prescribed, tenths),
        achieved: known(finding.achieved, tenths),
        unit: finding.unit,
        certainty: certainty(finding.certainty),
        text: wording::weekly_finding(finding, [stage.as_deref(), kind, left], plan.read_in()),
        kind: kind.map(str::to_owned),
        stage,
    }
}

fn session(parts: &ReviewParts<'_>, index: usize) -> SessionView {
    let session = &parts.sessions.sessions[index];
    let plan = parts.plan;
    let totals = &session.totals;
    let entry = parts.written.diary.on(session.date);
    let longest = parts.review.longest_runs.get(index).copied().flatten();
    let stage = session.stage.stage();
    let prescribed = session.audit.as_ref().and_then(|audit| audit.dose.run_s.prescribed);
    let kind = session.kind(parts.config);
    let stage_certainty = match &session.stage {
        StageChoice::Recognised { certainty, .. } => Some(*certainty),
        _ => None,
    };
    let candidates = match &session.stage {
        StageChoice::Ambiguous(candidates) => candidates.as_slice(),
        _ => &[],
    };
    SessionView {
        date: session.date.to_string(),
        start: session.start.to_string(),
        recordings: session.recordings.clone(),
        kind,
        stage: stage_name(plan, stage),
        stage_from: session.stage.source(),
        stage_certainty: stage_certainty.map(certainty),
        stage_candidates: candidates
            .iter()
            .map(|(stage, share)| CandidateView {
                stage: stage_name(plan, Some(*stage)).unwrap_or_default(),
                certainty: certainty(*share),
            })
            .collect(),
        repetitions: session.due.as_ref().map(|due| due.repetitions),
        outcome: (kind == SessionKind::Session).then_some(session.outcome),
        run_s: AmountView::new(prescribed, Some(totals.run_s)),
        walk_s: tenths(totals.walk_s),
        session_s: tenths(totals.session_s),
        run_steps: whole_steps(totals.run_steps),
        walk_steps: whole_steps(totals.walk_steps),
        run_distance_m: known(totals.run_distance_m, tenths),
        mean_pace_s_per_km: known(totals.pace_s_per_km(), tenths),
        mean_pace: totals.pace_s_per_km().map(|pace| lengths::pace(pace, plan.read_in())),
        bouts: session.bouts.iter().map(|b| bout(b, plan.read_in())).collect(),
        longest_run_s: tenths(totals.longest_run_s),
        longest_run_m: known(totals.longest_run_m, tenths),
        longest_run_rise: longest.map(|run| thousandths(run.rise())),
        longest_run_band: longest.as_ref().map(LongestRun::band),
        pain_during: entry.and_then(|e| e.pain_during),
        pain_pattern: entry.and_then(Entry::gravest_pattern),
        pain_next_morning: entry.and_then(|e| e.pain_next_morning),
        effort: entry.and_then(|e| e.effort),
        load: known(parts.review.loads.get(index).copied().flatten(), tenths),
        note: entry.map(|e| e.note.clone()).filter(|note| !note.is_empty()),
        findings: session.audit.as_ref().map(|audit| findings(audit, plan.read_in())).unwrap_or_default(),
        notices: session.notices.iter().map(notice).collect(),
    }
}

fn other(session: &OtherSession) -> OtherView {
    OtherView {
        date: session.date.to_string(),
        start: session.start.to_string(),
        recording: session.recording.clone(),
        sport: session.sport.clone(),
        duration_s: session.duration_s,
    }
}

fn left_out(left_out: &LeftOut) -> LeftOutView {
    LeftOutView { recording: left_out.name.clone(), code: left_out.code, text: left_out.text.clone() }
}

/// A range, rounded outwards so that it never looks narrower than it is.
fn range(range: Range, parts: f64) -> RangeView {
    RangeView { least: (range.least * parts).floor() / parts, most: (range.most * parts).ceil() / parts }
}

fn hundredths(value: f64) -> f64 {
    rounded(value, 100.0)
}

fn thousandths(value: f64) -> f64 {
    rounded(value, 1000.0)
}
