//! The rule table: what the next session should be, and why.
//!
//! Every rule that applies is kept and printed; the most cautious decides, among equals the first of the table.
//! So adding a reason for caution never makes the recommendation bolder.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::codes::codes;
use crate::prescription::DueSession;

use super::bounds::BREAK_BEGINNING_DAYS;
use super::calendar::{joined, plus};
use super::diary::Pattern;
use super::findings::WeeklyCode;
use super::situation::{Done, NotedPain, Situation};
use super::unread::Unread;

codes! {
    /// What is recommended for the next session, from the boldest to the most cautious.
    pub enum Recommendation {
        /// Go on to the next stage.
        Advance = "advance",
        /// Do the stage again.
        Repeat = "repeat",
        /// Go back a stage.
        StepBack = "step_back",
        /// No session for now.
        Rest = "rest",
        /// Ask a health professional before the next session.
        SeeClinician = "see_clinician",
    }
}

/// Source of a rule for which there is none.
pub const COMMON_PRACTICE: &str = "common practice, no source";
const NOT_TAKEN_FOR_NONE: &str = "what can't be read is not taken for nothing";
const SORENESS_RULES: &str = "soreness rules: Int J Sports Phys Ther 2018;13(3):422-431, citing Adams et al. 2012; \
    that a whole run-walk day is skipped is common practice, no source";
const SORENESS_TWO_DAYS: &str = "soreness rules: Fees et al. 1998, Am J Sports Med 26:732-742 (from memory), and Int J \
    Sports Phys Ther 2018;13(3):422-431";
const PAIN_MODEL: &str = "pain-monitoring model: Thomeé 1997, Phys Ther 77:1690; Silbernagel et al. 2007, Am J Sports \
    Med 35:897-906 (its rules from memory)";
const STEP_COUNT: &str = "each stage's own number of sessions in the plan; where it has none, one is taken (common \
    practice, no source)";

/// The stage that a rule leads to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Target {
    /// As recommended: the next stage, the same, the one before.
    #[default]
    AsRecommended,
    /// The stage that was left too early.
    Owed,
    /// The first stage.
    First,
}

/// Why a rule applies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Why {
    text: String,
    /// For [`Recommendation::Rest`]: the first day after it. From that day on [`Rule::then`] holds. Without it the rest has no
    /// end of its own: something is to be mended first.
    rest_until: Option<Date>,
    /// Findings it rests on, by index.
    findings: Vec<usize>,
}

impl Why {
    fn plain(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }
}

/// One row of the table.
pub struct Rule {
    /// Which.
    pub code: RuleCode,
    /// What it says, in one sentence.
    pub says: &'static str,
    /// What it recommends.
    pub recommendation: Recommendation,
    /// After a rest, what it recommends then.
    pub then: Option<Recommendation>,
    /// Where it comes from.
    pub source: &'static str,
    target: Target,
    applies: fn(&Situation<'_>) -> Option<Why>,
}

/// Makes the codes and the table from one list: `Variant = "code": recommendation, what it says, source, when it applies`.
macro_rules! rules {
    ($($variant:ident = $code:literal: $asks:ident $(then $then:ident)? $(to $target:ident)?, $says:literal, $source:expr, $applies:expr;)*) => {
        codes! {
            /// Which rule, in the order of the table; `docs/review.md` explains each.
            pub enum RuleCode {
                $($variant = $code,)*
            }
        }

        /// The table, from grave to light.
        pub const RULES: &[Rule] = &[$(Rule {
            code: RuleCode::$variant,
            says: $says,
            recommendation: Recommendation::$asks,
            then: { #[allow(unused_mut, unused_assignments)] let mut then = None; $(then = Some(Recommendation::$then);)? then },
            source: $source,
            target: { #[allow(unused_mut, unused_assignments)] let mut to = Target::AsRecommended; $(to = Target::$target;)? to },
            applies: $applies,
        }),*];
    };
}

rules! {
    NightPain = "night_pain": SeeClinician,
        "There was pain at night.",
        "night pain: total rest (pain types of a physiotherapy handout); the visit is common practice, no source",
        |s| for_a_clinician(s, |p| p.pain.night, "pain at night was noted on");
    PainTwice = "pain_twice": SeeClinician,
        "There was pain in two sessions in a row.",
        COMMON_PRACTICE,
        |s| for_a_clinician(s, |p| p.also_before, "there was pain in two sessions in a row, the last on");
    DiaryNotReadable = "diary_not_readable": Rest,
        "The diary is there and can't be read, so there may be pain in it.",
        NOT_TAKEN_FOR_NONE,
        |s| (s.history.diary.unread() == Unread::Whole).then(|| Why::plain("the diary is there and can't be read, so there may be pain in it"));
    StagesNotReadable = "stages_not_readable": Rest,
        "The list of stages is there and can't be read.",
        NOT_TAKEN_FOR_NONE,
        |s| (s.history.given.unread() == Unread::Whole).then(|| Why::plain("the list of stages is there and can't be read"));
    SeenNotReadable = "seen_not_readable": Rest,
        "The list of visits is there and can't be read, so it may say to go back.",
        NOT_TAKEN_FOR_NONE,
        |s| (s.history.seen.unread() == Unread::Whole).then(|| Why::plain("the list of visits is there and can't be read, so it may say to go back"));
    PainAboveFive = "pain_above_five": Rest then StepBack,
        "There was pain above 5 of 10.",
        PAIN_MODEL,
        |s| resting(s, 0, |_, p| p.pain.above_five, "pain above 5 of 10 was noted on");
    PainStays = "pain_stays": Rest then StepBack,
        "Pain in the warm-up did not go away.",
        SORENESS_TWO_DAYS,
        |s| resting(s, 2, |s, p| has_pattern(s, p, Pattern::WarmUpStays), "pain in the warm-up did not go away on");
    PainReturns = "pain_returns": Rest then StepBack,
        "Pain went away in the session and came back.",
        SORENESS_TWO_DAYS,
        |s| resting(s, 2, |s, p| has_pattern(s, p, Pattern::Returns), "pain went away and came back on");
    PainNextMorning = "pain_next_morning": Rest then Repeat,
        "There was pain on the morning after.",
        SORENESS_RULES,
        |s| resting(s, 1, |_, p| p.pain.next_morning, "there was pain on the morning after the session of");
    PainAfter = "pain_after": Rest then Repeat,
        "There was pain after the session.",
        SORENESS_RULES,
        |s| resting(s, 1, |s, p| has_pattern(s, p, Pattern::After), "there was pain after the session of");
    PainDuring = "pain_during": Rest then Repeat,
        "There was pain in the session, of the kind that counts.",
        COMMON_PRACTICE,
        pain_during;
    SpacingTwice = "spacing_twice": Rest then Repeat,
        "Twice within seven days there were too many sessions, or sessions too close together.",
        COMMON_PRACTICE,
        spacing_twice;
    AwayMonths = "away_months": StepBack to First,
        "The last session was three months ago, or more.",
        COMMON_PRACTICE,
        |s| away(s, BREAK_BEGINNING_DAYS);
    BreakStepBack = "break_step_back": StepBack,
        "There was a long break. The number of days is the plan's, at most 14.",
        COMMON_PRACTICE,
        |s| away(s, s.bounds.break_step_back_days);
    MovedOnEarly = "moved_on_early": StepBack to Owed,
        "A stage was skipped, or left before its sessions were done as prescribed.",
        COMMON_PRACTICE,
        moved_on_early;
    OverdoneTwice = "overdone_twice": StepBack,
        "The last two runs both went beyond the plan.",
        COMMON_PRACTICE,
        |s| s.overdone_twice().then(|| about_last(s, "your last two runs both went beyond the plan, the second on"));
    BreakRepeat = "break_repeat": Repeat,
        "There was a break. The number of days is the plan's, at most 7.",
        COMMON_PRACTICE,
        |s| away(s, s.bounds.break_repeat_days);
    Overdone = "overdone": Repeat,
        "The last session went beyond the plan.",
        COMMON_PRACTICE,
        overdone;
    OverdoneThisWeek = "overdone_this_week": Repeat,
        "Something went beyond the plan within the last seven days.",
        COMMON_PRACTICE,
        overdone_this_week;
    EffortTooHigh = "effort_too_high": Repeat,
        "A session within the last seven days was harder than prescribed.",
        COMMON_PRACTICE,
        effort_too_high;
    PainLasting = "pain_lasting": Repeat,
        "There was pain within the limit, and not only while warming up.",
        SORENESS_RULES,
        |s| pain(s, |p| p.pain.lasting_within_limit, "there was pain within the limit, and not only while warming up, on");
    PainRising = "pain_rising": Repeat,
        "There was more pain than in the week before.",
        PAIN_MODEL,
        pain_rising;
    Undecided = "undecided": Repeat,
        "The recording of the last session can't tell whether it went as prescribed.",
        "what can't be told is not taken for done as prescribed",
        |s| last_was(s, Outcome::Undecided, "it can't be told whether the session went as prescribed on");
    StageNotKnown = "stage_not_known": Repeat,
        "The last session's stage can't be told.",
        "what can't be told is not taken for done as prescribed",
        |s| s.last().filter(|last| last.is_ambiguous).map(|_| about_last(s, "it can't be told which stage was done on"));
    Underdone = "underdone": Repeat,
        "Less than prescribed was done in the last session.",
        COMMON_PRACTICE,
        |s| last_was(s, Outcome::Underdone, "less than prescribed was done on");
    Seen = "seen": Repeat,
        "A health professional has seen you and let you go on.",
        "the clinician's word takes precedence over the rules",
        seen;
    TooFewKept = "too_few_kept": Repeat,
        "The stage is not finished yet.",
        STEP_COUNT,
        too_few_kept;
    DiaryLineNotReadable = "diary_line_not_readable": Repeat,
        "Something in the diary can't be read, and it may be pain.",
        NOT_TAKEN_FOR_NONE,
        diary_line_unread;
    StagesLineNotReadable = "stages_line_not_readable": Repeat,
        "A line of the list of stages can't be used.",
        NOT_TAKEN_FOR_NONE,
        |s| (s.history.given.unread() == Unread::Lines).then(|| Why::plain("a line of stages.csv can't be used"));
    SeenLineNotReadable = "seen_line_not_readable": Repeat,
        "A line of the list of visits can't be used, and it may say to go back.",
        NOT_TAKEN_FOR_NONE,
        |s| (s.history.seen.unread() == Unread::Lines).then(|| Why::plain("a line of seen.csv can't be used, and it may say to go back"));
    PainNotKnown = "pain_not_known": Repeat,
        "Whether there was pain in the last session is not noted.",
        "the published rules advance only after a session without pain: what is not known is not taken for none",
        |s| s.last().filter(|_| !s.pain_is_known()).map(|_| about_last(s, "the diary does not say whether there was pain on"));
    NothingDone = "nothing_done": Repeat to First,
        "No session of the plan is on record yet.",
        "the plan's own order",
        |s| s.stage.is_none().then(|| Why::plain("no session of the plan is on record yet"));
    PlanComplete = "plan_complete": Repeat,
        "The last stage is done.",
        "the plan's own order",
        |s| is_complete(s).then(|| Why::plain("the last stage is done as prescribed"));
    AsPlanned = "as_planned": Advance,
        "The stage's sessions are done as prescribed, and nothing recorded or noted calls for holding back.",
        "the plan's own order; the published programmes (e.g. University of Delaware progression, Ann Joint 2018;3:40) \
         advance after sessions without pain",
        |s| s.stage.map(|_| about_last(s, "the stage's sessions are done as prescribed and nothing recorded or noted calls for holding back; the last was on"));
}

/// A rule that applies, with its evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Applied {
    /// Its place in [`RULES`].
    pub rule: usize,
    /// What it asks for on the day of the review: after a rest what comes then.
    pub recommendation: Recommendation,
    /// The evidence, one clause.
    pub why: String,
    /// Findings it rests on, by index into those of the review.
    pub findings: Vec<usize>,
    /// The first day after the rest that it asks for; none where something is to be mended first.
    pub rest_until: Option<Date>,
}

impl Applied {
    /// The row of the table.
    pub fn row(&self) -> &'static Rule {
        &RULES[self.rule]
    }
}

/// The ruling for the next session.
#[derive(Clone, Debug, PartialEq)]
pub struct Ruling {
    /// What is recommended.
    pub recommendation: Recommendation,
    /// The stage that the runner is at, by index; `None` before the first session.
    pub here: Option<usize>,
    /// The stage of the next session, by index; `None` when a health professional is to be asked first, or a table of the case
    /// to be mended. With [`Recommendation::Rest`] the stage after the rest.
    pub stage: Option<usize>,
    /// The session that is due, where a count rises from session to session: with its number.
    pub due: Option<DueSession>,
    /// The first day for it; `None` likewise.
    pub not_before: Option<Date>,
    /// The rules that apply, the deciding one first, then in the order of the table.
    pub applied: Vec<Applied>,
}

/// Rules on the next session.
pub(super) fn rule(situation: &Situation<'_>) -> Ruling {
    let today = situation.history.as_of;
    let mut applied: Vec<Applied> = RULES
        .iter()
        .enumerate()
        .filter_map(|(rule, row)| {
            let why = (row.applies)(situation)?;
            let is_over = why.rest_until.is_some_and(|until| until <= today);
            let recommendation =
                if is_over { row.then.unwrap_or(row.recommendation) } else { row.recommendation };
            let rest_until = why.rest_until.filter(|_| !is_over);
            Some(Applied { rule, recommendation, why: why.text, findings: why.findings, rest_until })
        })
        .collect();
    // It goes on as planned only where nothing else is to be said, and one fact is said once, by the gravest rule.
    if applied.len() > 1 {
        applied.retain(|a| a.row().code != RuleCode::AsPlanned);
    }
    let mut applied = told_once(applied);
    let recommendation = applied.iter().map(|a| a.recommendation).max().unwrap_or(Recommendation::Repeat);
    if let Some(at) = applied.iter().position(|a| a.recommendation == recommendation) {
        let deciding = applied.remove(at);
        applied.insert(0, deciding);
    }
    let here = situation.stage;
    let is_to_mend =
        applied.iter().any(|a| a.recommendation == Recommendation::Rest && a.rest_until.is_none());
    if recommendation == Recommendation::SeeClinician || is_to_mend {
        return Ruling { recommendation, here, stage: None, due: None, not_before: None, applied };
    }
    let rested = applied.iter().filter_map(|a| a.rest_until).max().unwrap_or(today);
    let place = place_after(situation, &applied);
    let not_before = situation.unrested(place).max(rested);
    let meant = situation.meant_day(place, not_before);
    let stage = situation.due_kind(place, meant);
    let due = situation.progress.due(stage);
    if recommendation == Recommendation::Repeat
        && situation.is_here(place)
        && situation.history.in_this_week(meant)
    {
        say_still_due(situation, &mut applied);
    }
    Ruling { recommendation, here, stage: Some(stage), due, not_before: Some(not_before), applied }
}

/// Joins rules that rest on the same fact under the first of them, which is the gravest; nothing that they ask for is lost.
fn told_once(applied: Vec<Applied>) -> Vec<Applied> {
    let mut told: Vec<Applied> = Vec::new();
    for rule in applied {
        match told.iter_mut().find(|known| known.why == rule.why) {
            Some(known) => {
                known.recommendation = known.recommendation.max(rule.recommendation);
                known.rest_until = known.rest_until.max(rule.rest_until);
                known.findings.extend(rule.findings);
                known.findings.sort_unstable();
                known.findings.dedup();
            }
            None => told.push(rule),
        }
    }
    told
}

/// The lowest place in the plan that any of the rules leads to, once all rest is over.
fn place_after(situation: &Situation<'_>, applied: &[Applied]) -> usize {
    let plan = situation.history.plan;
    let place = |stage: usize| plan.stages[stage].place;
    let Some(here) = situation.stage.map(place) else { return 0 };
    let last = plan.places() - 1;
    let leads_to = |a: &Applied| {
        let asks = match a.recommendation {
            Recommendation::Rest => a.row().then.unwrap_or(Recommendation::Repeat),
            other => other,
        };
        match (a.row().target, asks) {
            (Target::First, _) => 0,
            (Target::Owed, _) => situation.owed.map_or(here, |(owed, _)| place(owed)),
            (_, Recommendation::Advance) => (here + 1).min(last),
            (_, Recommendation::StepBack) => here.saturating_sub(1),
            _ => here,
        }
    };
    applied.iter().map(leads_to).min().unwrap_or(here)
}

fn seen(s: &Situation<'_>) -> Option<Why> {
    let visit = s.fresh_visit()?;
    let by = if visit.by.is_empty() { String::new() } else { format!(": {}", visit.by) };
    Some(Why::plain(format!("a health professional saw you on {}{by}", s.spoken(visit.date))))
}

fn for_a_clinician(s: &Situation<'_>, is_it: fn(&NotedPain) -> bool, what: &str) -> Option<Why> {
    s.for_a_clinician().find(|p| is_it(p)).map(|pain| about_pain(s, pain, what))
}

fn pain(s: &Situation<'_>, is_it: fn(&NotedPain) -> bool, what: &str) -> Option<Why> {
    s.open_pains().rev().find(|p| is_it(p)).map(|pain| about_pain(s, pain, what))
}

fn about_pain(s: &Situation<'_>, pain: &NotedPain, what: &str) -> Why {
    Why {
        text: format!("{what} {}", s.spoken(pain.date)),
        rest_until: None,
        findings: s.pain_findings(pain.date),
    }
}

fn pain_during(s: &Situation<'_>) -> Option<Why> {
    let during = resting(s, 0, |_, p| p.pain.during, "there was pain in the session of")?;
    let date = s.open_pains().rev().find(|p| p.pain.counts() && p.pain.during)?.date;
    let noted = s.history.diary.on(date).and_then(|entry| entry.pain_during).filter(|pain| *pain > 0.0);
    let limit = match (noted, s.history.bounds_on(date).pain_limit) {
        (None, _) => "; how much is not noted".to_owned(),
        (_, Some(limit)) => format!(", more than the limit of {limit}"),
        (_, None) => "; the plan sets no pain limit, so any pain counts".to_owned(),
    };
    Some(Why { text: during.text + &limit, ..during })
}

/// Pain that asks for rest: the next run-walk day is skipped, and at least `days_off` days.
fn resting(
    s: &Situation<'_>,
    days_off: i64,
    is_it: fn(&Situation<'_>, &NotedPain) -> bool,
    what: &str,
) -> Option<Why> {
    let pain = s.open_pains().rev().find(|p| p.pain.counts() && is_it(s, p))?;
    let until = pain.skipped_until.max(plus(pain.date, days_off + 1));
    Some(Why { rest_until: Some(until), ..about_pain(s, pain, what) })
}

fn diary_line_unread(s: &Situation<'_>) -> Option<Why> {
    if s.history.diary.unread() == Unread::Lines {
        return Some(Why::plain("a line of diary.csv can't be read, and it may be about pain"));
    }
    s.unread_pain()
        .map(|date| Why::plain(format!("what diary.csv says of pain on {} can't be read", s.spoken(date))))
}

fn has_pattern(s: &Situation<'_>, pain: &NotedPain, pattern: Pattern) -> bool {
    pain.pain.during && s.history.diary.on(pain.date).is_some_and(|entry| entry.patterns.contains(&pattern))
}

fn spacing_twice(s: &Situation<'_>) -> Option<Why> {
    let findings = s.recent(&[WeeklyCode::TooManySessions, WeeklyCode::NoRestDay]);
    let days = s.recent_improper();
    let last = s.last().filter(|_| days.len() >= 2)?;
    let until = plus(last.date, 2 * (i64::from(s.bounds.rest_before_next) + 1));
    let text = format!("{TOO_CLOSE} on {}", s.listed(&days));
    Some(Why { text, rest_until: Some(until), findings })
}

fn away(s: &Situation<'_>, from_days: i64) -> Option<Why> {
    let (since, days) = s.away_since().filter(|(_, days)| *days >= from_days)?;
    Some(Why::plain(format!("it has been {days} days since {}", s.spoken(since))))
}

fn moved_on_early(s: &Situation<'_>) -> Option<Why> {
    let (owed, finding) = s.owed?;
    let name = &s.history.plan.stages[owed].name;
    let text =
        format!("stage “{name}” was not done as prescribed before {}", s.spoken(s.findings[finding].date));
    Some(Why { text, rest_until: None, findings: vec![finding] })
}

fn overdone_this_week(s: &Situation<'_>) -> Option<Why> {
    let mut findings = s.recent(&[
        WeeklyCode::StageSkipped,
        WeeklyCode::StageRushed,
        WeeklyCode::RunningTimeJump,
        WeeklyCode::LongestRunJump,
        WeeklyCode::UnplannedRun,
    ]);
    let mut said: BTreeMap<Date, Vec<&str>> = BTreeMap::new();
    for finding in findings.iter().map(|i| &s.findings[*i]) {
        said.entry(finding.date).or_default().push(went_beyond(finding.code));
    }
    s.recent_improper().into_iter().for_each(|day| said.entry(day).or_default().push(TOO_CLOSE));
    findings.extend(s.recent(&[WeeklyCode::TooManySessions, WeeklyCode::NoRestDay]));
    let mut told: Vec<(Vec<&str>, Vec<Date>)> = Vec::new();
    for (date, mut what) in said {
        // A run outside the plan is named once, not by each limit that it broke.
        if what.contains(&MATCHED_NONE) {
            what = vec![MATCHED_NONE];
        }
        what.dedup();
        match told.iter_mut().find(|(known, _)| *known == what) {
            Some((_, days)) => days.push(date),
            None => told.push((what, vec![date])),
        }
    }
    let days: Vec<String> =
        told.iter().map(|(what, days)| format!("{} on {}", joined(what), s.listed(days))).collect();
    (!days.is_empty()).then(|| Why { text: days.join("; "), rest_until: None, findings })
}

const TOO_CLOSE: &str = "there were too many sessions, or sessions too close together,";

const MATCHED_NONE: &str = "a run matched no session of the plan";

/// What happened on a day, in a clause.
fn went_beyond(code: WeeklyCode) -> &'static str {
    match code {
        WeeklyCode::StageSkipped => "a stage was skipped",
        WeeklyCode::StageRushed => "a stage was left early",
        WeeklyCode::RunningTimeJump => "weekly running rose too much",
        WeeklyCode::LongestRunJump => "a run was far longer than usual",
        WeeklyCode::UnplannedRun => MATCHED_NONE,
        WeeklyCode::EffortTooHigh => "a session was too hard",
        WeeklyCode::RanInPain | WeeklyCode::PainNextMorning => "there was pain",
        WeeklyCode::TooManySessions | WeeklyCode::NoRestDay => TOO_CLOSE,
    }
}

fn effort_too_high(s: &Situation<'_>) -> Option<Why> {
    let findings = s.recent(&[WeeklyCode::EffortTooHigh]);
    let days: Vec<Date> = findings.iter().map(|i| s.findings[*i].date).collect();
    let text = format!("the effort noted was above its ceiling on {}", s.listed(&days));
    (!days.is_empty()).then_some(Why { text, rest_until: None, findings })
}

fn pain_rising(s: &Situation<'_>) -> Option<Why> {
    let (Some(now), Some(before)) = s.pain_by_week() else { return None };
    let text = format!(
        "the greatest pain of the last seven days is {now} of 10; in the seven days before that it was {before}"
    );
    (now > before).then(|| Why::plain(text))
}

fn overdone(s: &Situation<'_>) -> Option<Why> {
    let last = s.last().filter(|last| last.outcome == Outcome::Overdone)?;
    let what = match last {
        Done { is_unplanned: true, .. } => MATCHED_NONE,
        Done { is_improper: true, by_itself, .. } if by_itself != Outcome::Overdone => {
            "the session went beyond the plan"
        }
        _ => "more than prescribed was done",
    };
    Some(Why::plain(format!("{what} on {}", s.spoken(last.date))))
}

fn last_was(s: &Situation<'_>, outcome: Outcome, what: &str) -> Option<Why> {
    s.last().filter(|last| last.outcome == outcome && !last.is_ambiguous).map(|_| about_last(s, what))
}

fn too_few_kept(s: &Situation<'_>) -> Option<Why> {
    let stage = s.stage?;
    let (kept, needed, here) = (s.kept_here(), s.needed_here(), &s.history.plan.stages[stage]);
    let (name, what) = (here.stage_name(), if here.weeks.is_some() { "weeks" } else { "sessions" });
    let done = if kept == 1 { "is" } else { "are" };
    let text = format!("{kept} of {needed} {what} of stage “{name}” {done} done as prescribed");
    (kept < needed).then(|| Why::plain(text))
}

/// Adds what this week still asks for to how many sessions are kept.
fn say_still_due(s: &Situation<'_>, applied: &mut [Applied]) {
    let too_few = applied.iter_mut().find(|applied| applied.row().code == RuleCode::TooFewKept);
    if let Some((applied, due)) = too_few.zip(s.due_this_week()) {
        applied.why = format!("{}; still due this week: {due}", applied.why);
    }
}

/// Whether the last stage is kept.
pub(super) fn is_complete(s: &Situation<'_>) -> bool {
    let plan = s.history.plan;
    s.stage.is_some_and(|stage| plan.stages[stage].place + 1 == plan.places())
        && s.kept_here() >= s.needed_here()
}

/// A clause that ends with the last day with running.
fn about_last(s: &Situation<'_>, what: &str) -> Why {
    Why::plain(s.last().map_or_else(|| what.to_owned(), |last| format!("{what} {}", s.spoken(last.date))))
}
