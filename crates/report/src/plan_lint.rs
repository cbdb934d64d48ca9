//! The linter's remarks → sentences with a proposal, as text and JSON.

use serde::Serialize;

use jogaudit_core::prescription::Plan;
use jogaudit_core::prescription::lint::{LintCode, Remark, RemarkUnit};
use jogaudit_recording::units::LengthUnit;

use super::document::document;
use super::lengths;
use super::text::Page;
use super::text::{HEADING, QUIET};
use super::word::as_word;
use super::wording::clock;

/// What the list ends with.
pub const NOTE: &str = "These are remarks to think about, not errors: published graded programmes are not even either, and \
    a plan file does not hold the prescriber's reasons. That nothing is remarked does not make a plan right for a \
    person.";

/// The document `jogaudit.plan-lint/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct LintView {
    pub schema: &'static str,
    pub plan: String,
    pub stages: Vec<String>,
    pub remarks: Vec<RemarkView>,
}

/// One of the `remarks`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RemarkView {
    #[serde(serialize_with = "as_word")]
    pub code: LintCode,
    pub stages: Vec<String>,
    pub after: Option<String>,
    pub week: Option<usize>,
    pub value: Option<f64>,
    pub limit: Option<f64>,
    pub base: Option<f64>,
    #[serde(serialize_with = "as_word")]
    pub unit: RemarkUnit,
    pub between: Vec<f64>,
    pub estimated: bool,
    pub text: String,
    pub proposal: String,
    pub basis: &'static str,
}

impl LintView {
    /// Words the remarks.
    pub fn new(plan: &Plan, remarks: &[Remark]) -> Self {
        Self {
            schema: "jogaudit.plan-lint/1",
            plan: plan.title.clone(),
            stages: plan.stage_names().map(str::to_owned).collect(),
            remarks: remarks.iter().map(|remark| RemarkView::new(remark, plan.read_in())).collect(),
        }
    }
}

impl RemarkView {
    fn new(remark: &Remark, units: LengthUnit) -> Self {
        let rounded = |value: f64| (value * 100.0).round() / 100.0;
        Self {
            code: remark.code,
            stages: remark.stages.clone(),
            after: remark.after.clone(),
            week: remark.week,
            value: remark.value.map(rounded),
            limit: remark.limit.map(rounded),
            base: remark.base.map(rounded),
            unit: remark.unit,
            between: remark.between.iter().copied().map(rounded).collect(),
            estimated: remark.is_estimated,
            text: text_of(remark, units),
            proposal: proposal_of(remark, units),
            basis: remark.code.basis(),
        }
    }
}

/// Writes the document, ending in a newline.
pub fn json(view: &LintView) -> String {
    document(view)
}

/// Writes the remarks for reading.
pub fn text(view: &LintView) -> String {
    let mut page = Page::default();
    let count = match view.remarks.len() {
        0 => format!("Nothing to remark on “{}”.", view.plan),
        1 => format!("One remark on “{}”.", view.plan),
        n => format!("{n} remarks on “{}”.", view.plan),
    };
    page.styled_paragraph(HEADING, &count);
    for remark in &view.remarks {
        page.line("");
        page.hanging("- ", "  ", &format!("{} [{}]", remark.text, remark.code));
        page.hanging("  Try: ", "       ", &remark.proposal);
    }
    let mut codes: Vec<(LintCode, &str)> = view.remarks.iter().map(|r| (r.code, r.basis)).collect();
    codes.dedup();
    let mut told: Vec<LintCode> = Vec::new();
    if !codes.is_empty() {
        page.heading("Where the limits come from");
    }
    for (code, basis) in codes {
        if !told.contains(&code) {
            told.push(code);
            page.hanging("  ", "    ", &format!("{code}: {basis}."));
        }
    }
    page.line("");
    page.styled_paragraph(QUIET, NOTE);
    page.0
}

/// `Stage “1”`, `Stages “1” to “6”`, `Stages “1”, “3” and “4”`.
fn stages(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("“{name}”")).collect();
    match quoted.as_slice() {
        [] => "The plan".to_owned(),
        [one] => format!("Stage {one}"),
        [first, .., last] if quoted.len() > 3 => {
            format!("{} stages, from {first} to {last}", quoted.len())
        }
        several => format!("Stages {}", list(several)),
    }
}

fn list(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// An amount in the remark's unit.
fn amount(value: f64, unit: RemarkUnit, units: LengthUnit) -> String {
    match unit {
        RemarkUnit::Seconds => clock(value),
        RemarkUnit::Metres => lengths::distance(value, units),
        RemarkUnit::Ratio => ratio(value),
        RemarkUnit::MetresPerSecond => lengths::ceiling(1000.0 / value, units),
        RemarkUnit::BeatsPerMinute => format!("{value:.0} bpm"),
        RemarkUnit::StepsPerMinute => format!("{value:.0} steps a minute"),
        RemarkUnit::Days | RemarkUnit::Sessions | RemarkUnit::Weeks | RemarkUnit::Pain => format!("{value}"),
    }
}

/// Run to walk as people write it: `1:2`, `1.5:1`.
pub(super) fn ratio(run_to_walk: f64) -> String {
    let short = |value: f64| format!("{}", (value * 10.0).round() / 10.0);
    if run_to_walk >= 1.0 {
        format!("{}:1", short(run_to_walk))
    } else {
        format!("1:{}", short(1.0 / run_to_walk))
    }
}

/// What was found, in one sentence with its figures.
#[expect(clippy::too_many_lines, reason = "a table: one sentence a code")]
fn text_of(remark: &Remark, units: LengthUnit) -> String {
    let who = stages(&remark.stages);
    let is_one = remark.stages.len() == 1;
    let verb = |one: &'static str, several: &'static str| if is_one { one } else { several };
    let about = if remark.is_estimated { "about " } else { "" };
    let shown = |value: Option<f64>| {
        value.map_or_else(String::new, |v| format!("{about}{}", amount(v, remark.unit, units)))
    };
    let (value, limit, base) = (shown(remark.value), shown(remark.limit), shown(remark.base));
    let after = remark.after.as_deref().map_or_else(String::new, |after| format!("stage “{after}”"));
    match remark.code {
        LintCode::StartNotAtBeginning => {
            format!("{who} is the first to run and begins with runs of {value}, longer than {limit}.")
        }
        LintCode::SessionRunningJump => format!(
            "{who} has {value} of running a session, {}after {base} in {after}; an even step goes to {limit}.",
            rise(remark)
        ),
        LintCode::LongestRunJump => format!(
            "{who} has a longest run of {value}, {}after {base} in {after}; an even step goes to {limit}.",
            rise(remark)
        ),
        LintCode::RunWalkJump => {
            format!(
                "{who} goes to a run:walk of {value}, after {base} in {after}; an even step goes to {limit}."
            )
        }
        LintCode::WeeklyRunningJump => {
            let week = remark.week.unwrap_or_default();
            format!(
                "Week {week}, up to {}, has {value} of running, {}after {base} the week before; the limit is {limit}.",
                lower(&who),
                rise(remark)
            )
        }
        LintCode::RunningFalls => {
            format!("{who} has less running a session than the stage before: {value} after {base}.")
        }
        LintCode::LongestRunFalls => {
            format!("{who} has a shorter longest run than the stage before: {value} after {base}.")
        }
        LintCode::SessionsPerWeekMissing => {
            format!("{who} {} not say how many sessions a week has; three are assumed.", verb("does", "do"))
        }
        LintCode::ManySessionsEarly => {
            format!("{who} {} {value} sessions a week, more than {limit}.", verb("allows", "allow"))
        }
        LintCode::RestDaysMissing => {
            format!("{who} {} no rest day between two sessions.", verb("prescribes", "prescribe"))
        }
        LintCode::RestDaysDoNotFit => format!(
            "{who} {} {value} sessions a week and {base} rest days between two; 7 days have room for {limit}.",
            verb("has", "have")
        ),
        LintCode::StageSessionsMissing => {
            format!("{who} {} not say how many sessions come before moving on.", verb("does", "do"))
        }
        LintCode::SessionOverItsCeiling => {
            format!(
                "{who} {} {value} a session, longer than the session ceiling of {limit}.",
                verb("takes", "take")
            )
        }
        LintCode::PaceCeilingIsWalking => {
            format!("{who} {} to run no faster than {value}, which is brisk walking.", verb("asks", "ask"))
        }
        LintCode::PaceCeilingIsSlow => {
            format!("{who} {} to run no faster than {value}, where most people walk.", verb("asks", "ask"))
        }
        LintCode::HeartRateCeilingAboveMax => format!(
            "{who} {} a heart-rate ceiling of {value}; the runner's greatest heart rate is {limit}, so it never acts.",
            verb("has", "have")
        ),
        LintCode::HeartRateCeilingTooLow => format!(
            "{who} {} a heart-rate ceiling of {value}, below {limit}, where moderate effort begins for a greatest \
             heart rate of {base}: running will hardly keep it.",
            verb("has", "have")
        ),
        LintCode::RunCadenceIsWalking => {
            format!("The runner's usual running cadence of {value} is below {limit}, where running begins.")
        }
        LintCode::WalkCadenceFloorIsRunning => {
            format!(
                "{who} {} walks of at least {value}, where running begins ({limit}).",
                verb("asks", "ask")
            )
        }
        LintCode::WalkCadenceFloorNotBrisk => {
            format!(
                "{who} {} walks of at least {value} brisk; moderate walking has {limit}.",
                verb("calls", "call")
            )
        }
        LintCode::WeekdaysBreakRest => format!(
            "{who} {} rest days between two sessions: {limit}. The nearest of the plan's weekdays leave {value}.",
            verb("asks for", "ask for")
        ),
        LintCode::FirstStageWithoutCeiling => format!(
            "{who} is the first to run and has no ceiling for pace, heart rate or effort, and no note says how hard to run."
        ),
        LintCode::RangesOutOfOrder => {
            format!("{who} has at most {value} of running a session; {after} has {limit} at the least.")
        }
        LintCode::TwoChangesAtOnce => {
            format!("{who} begins {} at once, after {after}.", list(&remark.named))
        }
        LintCode::RisingNeverEnds => {
            format!(
                "{who} is over before its count has risen to its end: that takes {limit} {}, the stage has {value}.",
                remark.unit
            )
        }
        LintCode::KindsAlike => format!(
            "{who} cannot be told from {after} by a recording: both may be {}, whose lengths differ by {value} in all.",
            list(&remark.named)
        ),
        LintCode::PainLimitAbovePublished => {
            format!(
                "{who} {} pain up to {value} of 10; the published model's most is {limit}.",
                verb("allows", "allow")
            )
        }
    }
}

/// `2.5 times as much ` or `30 % more `.
fn rise(remark: &Remark) -> String {
    match (remark.value, remark.base) {
        (Some(value), Some(base)) if base > 0.0 && value / base >= 2.0 => {
            format!("{:.1} times as much, ", value / base)
        }
        (Some(value), Some(base)) if base > 0.0 => format!("{:.0} % more, ", (value / base - 1.0) * 100.0),
        _ => String::new(),
    }
}

fn lower(who: &str) -> String {
    let mut letters = who.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// What to do about it.
#[expect(clippy::too_many_lines, reason = "a table: one sentence a code")]
fn proposal_of(remark: &Remark, units: LengthUnit) -> String {
    let shown = |value: Option<f64>| value.map_or_else(String::new, |v| amount(v, remark.unit, units));
    let limit = shown(remark.limit);
    let after = remark.after.as_deref().unwrap_or_default();
    let first = remark.stages.first().map_or("", String::as_str);
    match remark.code {
        LintCode::StartNotAtBeginning => format!(
            "after three months or more away, put stages before it that begin with short runs and walks between, 1:00 \
             and 2:00 for instance; `plan check --weeks-away N` says that it was less. Runs of {limit} are not remarked."
        ),
        LintCode::SessionRunningJump => between(remark, "of running", after, units),
        LintCode::LongestRunJump => between(remark, "for the longest run", after, units),
        LintCode::RunWalkJump => between(remark, "run:walk", after, units),
        LintCode::WeeklyRunningJump => format!(
            "keep the stage before for more sessions, or bring the running of that week down to {limit} with fewer \
             repetitions or a stage between."
        ),
        LintCode::RunningFalls | LintCode::LongestRunFalls => format!(
            "if no easier stage is meant, move it before stage “{after}” or raise it to what the stage before has, {}.",
            shown(remark.base)
        ),
        LintCode::SessionsPerWeekMissing => "write `sessions_per_week = 3` under [limits].".to_owned(),
        LintCode::ManySessionsEarly => {
            format!(
                "write `sessions_per_week = {limit}` in the early stages, and more later if it goes well."
            )
        }
        LintCode::RestDaysMissing => "write `rest_days_between = 1` under [limits].".to_owned(),
        LintCode::RestDaysDoNotFit => {
            format!("write `sessions_per_week = {limit}`, or fewer rest days between.")
        }
        LintCode::StageSessionsMissing => {
            let which = if remark.stages.len() > 1 {
                "each of them".to_owned()
            } else {
                format!("[[stage]] “{first}”")
            };
            format!("write `sessions = 2`, or how many it is to be, in {which}.")
        }
        LintCode::SessionOverItsCeiling => {
            format!("raise `session_ceiling` to {} or take repetitions out.", shown(remark.value))
        }
        LintCode::PaceCeilingIsWalking | LintCode::PaceCeilingIsSlow => {
            format!("check the unit (`/km` or `/mi`); a ceiling for jogging is faster than {limit}.")
        }
        LintCode::HeartRateCeilingAboveMax => {
            format!("check both values; a ceiling that acts is below {limit}.")
        }
        LintCode::HeartRateCeilingTooLow => {
            let least = remark.limit.map_or_else(String::new, |bpm| format!("{:.0} bpm", bpm.ceil()));
            format!("check both values; with these, a ceiling from {least} on leaves room for running.")
        }
        LintCode::RunCadenceIsWalking => {
            "count both feet, or write `rpm` for the strides of one leg: 84 of them are 168 steps a minute."
                .to_owned()
        }
        LintCode::WalkCadenceFloorIsRunning => {
            format!("lower `walk_cadence_floor` well below {limit}, to 110 steps a minute for instance.")
        }
        LintCode::WalkCadenceFloorNotBrisk => {
            format!("raise `walk_cadence_floor` to {limit} or more, if the walks are to be brisk.")
        }
        LintCode::WeekdaysBreakRest => "take other `weekdays`, such as `[\"tue\", \"thu\", \"sun\"]`, or fewer of them.".to_owned(),
        LintCode::FirstStageWithoutCeiling => {
            "write `effort_ceiling = 4` under [limits], a pace or a heart rate, or a `note` such as \"You can talk in whole \
             sentences while you run.\"."
                .to_owned()
        }
        LintCode::RangesOutOfOrder => {
            format!("raise the most of “{first}” to {limit} or more, or lower the least of “{after}”.")
        }
        LintCode::TwoChangesAtOnce => {
            "begin one of them and keep it for a stage, then the other; or say why in a `note`.".to_owned()
        }
        LintCode::RisingNeverEnds => {
            format!("write `{} = {limit}` in [[stage]] “{first}”, or let the count rise less far.", remark.unit)
        }
        LintCode::KindsAlike => format!(
            "make their runs, or their number, differ by more than {limit} in all, or make one kind of the two; else say \
             in stages.csv which each session was."
        ),
        LintCode::PainLimitAbovePublished => {
            format!("write `pain_limit = {limit}` or less, or leave it out: then any pain counts.")
        }
    }
}

/// The stages that would make even steps of a jump.
fn between(remark: &Remark, what: &str, after: &str, units: LengthUnit) -> String {
    let limit = remark.limit.map_or_else(String::new, |v| amount(v, remark.unit, units));
    let amounts: Vec<String> = remark.between.iter().map(|v| amount(*v, remark.unit, units)).collect();
    let here = format!("or stay at {limit} at most here");
    match amounts.as_slice() {
        [] => format!("stay at {limit} at most here."),
        [one] => format!("a stage between it and stage “{after}” with {one} {what}, {here}."),
        several if several.len() > 6 => {
            let (first, last) = (&several[0], &several[several.len() - 1]);
            format!(
                "{} stages between it and stage “{after}”, from {first} to {last} {what}, {here}; `plan draft` makes \
                 such steps.",
                several.len()
            )
        }
        several => format!(
            "{} stages between it and stage “{after}” with {} {what}, {here}.",
            several.len(),
            list(several)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jogaudit_core::prescription::lint::{LintConfig, lint};

    fn view(text: &str) -> LintView {
        let plan = Plan::parse(text).unwrap().value;
        LintView::new(&plan, &lint(&plan, LintConfig::default()))
    }

    const JUMP: &str = "title = 'T'\nnote = 'Talk.'\n[limits]\nsessions_per_week = 3\nrest_days_between = 1\n\
        [[stage]]\nname = 'a'\nsession = '6 x (run 1:00, walk 2:00)'\nsessions = 3\n\
        [[stage]]\nname = 'b'\nsession = '6 x (run 2:00, walk 2:00)'\n";

    #[test]
    fn a_jump_has_its_figures_and_a_proposal() {
        let view = view(JUMP);
        let codes: Vec<_> = view.remarks.iter().map(|r| r.code).collect();
        assert_eq!(codes, [LintCode::SessionRunningJump, LintCode::WeeklyRunningJump]);
        assert_eq!(
            view.remarks[0].text,
            "Stage “b” has 12:00 of running a session, 2.0 times as much, after 6:00 in stage “a”; an even step goes \
             to 8:00."
        );
        assert_eq!(
            view.remarks[0].proposal,
            "2 stages between it and stage “a” with 8:00 and 10:00 of running, or stay at 8:00 at most here."
        );
        assert_eq!(
            view.remarks[1].text,
            "Week 2, up to stage “b”, has 36:00 of running, 2.0 times as much, after 18:00 the week before; the limit \
             is 24:00."
        );
        let text = text(&view);
        assert!(text.lines().all(|line| line.chars().count() <= 80 || line.contains('\u{1b}')), "{text}");
        assert!(text.contains("Where the limits come from"));
    }

    #[test]
    fn nothing_found_is_said_without_calling_it_right() {
        let quiet = view(&JUMP.replace("6 x (run 2:00", "4 x (run 2:00"));
        assert_eq!(quiet.remarks, []);
        let text = text(&quiet);
        assert!(text.contains("Nothing to remark on “T”."));
        assert!(text.replace('\n', " ").contains("does not make a plan right for a person"));
        assert!(!text.contains("safe"));
    }

    #[test]
    fn ratios_read_as_people_write_them() {
        assert_eq!([ratio(0.5), ratio(1.0), ratio(1.5), ratio(4.0)], ["1:2", "1:1", "1.5:1", "4:1"]);
    }

    #[test]
    fn many_stages_are_named_by_their_ends() {
        let names = |n: usize| (1..=n).map(|i| i.to_string()).collect::<Vec<_>>();
        assert_eq!(stages(&names(1)), "Stage “1”");
        assert_eq!(stages(&names(3)), "Stages “1”, “2” and “3”");
        assert_eq!(stages(&names(9)), "9 stages, from “1” to “9”");
    }
}
