//! Drafts a steady plan from a start, a goal and limits: the fewest stages in which the linter finds nothing.
//!
//! A stage alternates equal runs with walks of one length; the last run may be shorter, so that the running of a
//! session can be set freely. The walks keep their length throughout: only the running grows. Among the plans with the
//! fewest stages the one with the evenest steps is taken.

mod search;

use std::fmt;

use jiff::civil::{Date, Weekday};

use super::calendar::least_between;
use super::lint::{BEGINNING_LONGEST_RUN_S, EARLY_SESSIONS_PER_WEEK, Increments, LONG_ABSENCE_WEEKS};
use super::{Extent, Item, Limits, Move, Plan, Runner, Session, Stage, Tolerance};
use crate::range::Range;
use jogaudit_recording::units::Seconds;

/// What a draft says to the runner, who has no ceiling in it: common practice, no source.
const NOTE: &str = "Run so slowly that you can talk in whole sentences.";

/// What a draft starts from, where it goes and within which limits. Times in whole seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftRequest {
    /// Title of the plan.
    pub title: String,
    /// Run of the first stage, s.
    pub run_s: u32,
    /// Walk between two runs, s.
    pub walk_s: u32,
    /// Most that the first session may take, warm-up and cool-down included, s.
    pub session_s: u32,
    /// The run without a walk that the plan ends with, s.
    pub goal_run_s: u32,
    /// Walk before the first run, s; 0 for none.
    pub warm_up_s: u32,
    /// Walk after the last run, s; 0 for none.
    pub cool_down_s: u32,
    /// Sessions kept before moving on.
    pub sessions: u32,
    /// Sessions of a week.
    pub sessions_per_week: u32,
    /// Days without a session between two.
    pub rest_days: u32,
    /// Largest increments from stage to stage; not looser than the linter's.
    pub increments: Increments,
    /// The plan's own limit on the rise of a week's running, as a fraction.
    pub weekly_increase: Option<f64>,
    /// The plan's limit on the time of a session, s.
    pub session_ceiling_s: Option<u32>,
    /// Most weeks that the plan may take.
    pub most_weeks: Option<u32>,
    /// Weeks since the runner last ran; unknown is taken for long.
    pub weeks_away: Option<u32>,
    /// The first day, if sessions are to have days.
    pub start: Option<Date>,
    /// Weekdays that sessions are meant for, in the order of the week; empty for any.
    pub weekdays: Vec<Weekday>,
}

impl Default for DraftRequest {
    fn default() -> Self {
        Self {
            title: "Drafted plan".to_owned(),
            run_s: 60,
            walk_s: 120,
            session_s: 25 * 60,
            goal_run_s: 30 * 60,
            warm_up_s: 5 * 60,
            cool_down_s: 5 * 60,
            sessions: 3,
            sessions_per_week: 3,
            rest_days: 1,
            increments: Increments::default(),
            weekly_increase: None,
            session_ceiling_s: None,
            most_weeks: None,
            weeks_away: None,
            start: None,
            weekdays: Vec::new(),
        }
    }
}

/// What a session of the draft holds, s.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DraftStage {
    /// Running in all.
    pub total_s: u32,
    /// Longest run: all runs but perhaps the last are this long.
    pub run_s: u32,
}

impl DraftStage {
    /// Runs of a session, those without a walk between them counted as one.
    fn runs(self) -> u32 {
        self.total_s.div_ceil(self.run_s)
    }
}

/// A drafted plan.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftedPlan {
    /// The plan, as it reads from its file.
    pub plan: Plan,
    /// Its stages' running.
    pub stages: Vec<DraftStage>,
    /// Weeks that it takes when every session is kept.
    pub weeks: u32,
}

/// Why there is no such plan. The wording names the options of the command line.
#[derive(Clone, Debug, PartialEq)]
pub enum Contradiction {
    /// A value is outside its range, both ends as they are typed.
    OutOfRange {
        /// Name of the option.
        option: &'static str,
        /// Least value.
        least: &'static str,
        /// Greatest value.
        most: &'static str,
    },
    /// The first run is as long as the goal already.
    GoalReached {
        /// First run, s.
        run_s: u32,
        /// The goal, s.
        goal_s: u32,
    },
    /// The first session has more running than the goal.
    StartAboveGoal {
        /// Running of the first session, s.
        total_s: u32,
        /// The goal, s.
        goal_s: u32,
    },
    /// The first session has no room for one run and walk.
    NoRoom {
        /// What these take with warm-up and cool-down, s.
        needed_s: u32,
        /// What the session has, s.
        session_s: u32,
    },
    /// The first run is too long for a start from the beginning.
    StartTooLong {
        /// First run, s.
        run_s: u32,
    },
    /// More sessions a week than in the early stages of a return.
    ManySessions {
        /// Sessions a week.
        per_week: u32,
    },
    /// No day of rest between two sessions.
    NoRestDay,
    /// Sessions and days of rest do not fit a week.
    RestDoesNotFit {
        /// Sessions a week.
        per_week: u32,
        /// Days of rest between two.
        rest_days: u32,
        /// Sessions a week that have room.
        most: u32,
    },
    /// Weekdays are nearer to each other than the days of rest.
    WeekdaysTooNear {
        /// Days of rest between two sessions.
        rest_days: u32,
        /// The fewest days between two of the weekdays.
        least: u32,
    },
    /// There are more sessions a week than weekdays.
    TooFewWeekdays {
        /// Sessions a week.
        per_week: u32,
        /// Weekdays.
        weekdays: usize,
    },
    /// An increment is larger than the linter's.
    LooserThanLinter {
        /// Name of the option.
        option: &'static str,
    },
    /// A session takes longer than the ceiling.
    Ceiling {
        /// What it takes, s.
        needed_s: u32,
        /// The ceiling, s.
        ceiling_s: u32,
        /// `first` or `last`.
        which: &'static str,
    },
    /// The fewest stages take more weeks than there are.
    TooManyWeeks {
        /// Weeks that are needed.
        needed: u32,
        /// Weeks that there are.
        most: u32,
        /// The fewest stages.
        stages: u32,
    },
    /// The limits leave no way to the goal.
    NoWay {
        /// Which: each alone, or all together.
        options: Vec<&'static str>,
        /// Whether only lifting all of them would open it.
        are_together: bool,
        /// The stage with most running that can be reached.
        reached: DraftStage,
    },
}

/// Why there is no such plan: every reason that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftError {
    /// At least one.
    pub contradictions: Vec<Contradiction>,
}

impl std::error::Error for DraftError {}

impl std::error::Error for Contradiction {}

impl fmt::Display for DraftError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, contradiction) in self.contradictions.iter().enumerate() {
            let separator = if n > 0 { "; " } else { "" };
            write!(f, "{separator}{contradiction}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Contradiction {
    #[expect(clippy::too_many_lines, reason = "a table: one sentence a variant")]
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let clock = |seconds: &u32| super::scan::write_time(Seconds::new(f64::from(*seconds)));
        match self {
            Self::OutOfRange { option, least, most } => {
                write!(f, "{option} is outside its range from {least} to {most}")
            }
            Self::GoalReached { run_s, goal_s } => write!(
                f,
                "--run {} is not shorter than --goal-run {}: nothing is left to draft",
                clock(run_s),
                clock(goal_s)
            ),
            Self::StartAboveGoal { total_s, goal_s } => write!(
                f,
                "--minutes and --goal-run contradict each other: the first session has {} of running in all, more \
                 than the goal of {}",
                clock(total_s),
                clock(goal_s)
            ),
            Self::NoRoom { needed_s, session_s } => write!(
                f,
                "--minutes contradicts the lengths: one run and walk with warm-up and cool-down take {}, the session \
                 has {}",
                clock(needed_s),
                clock(session_s)
            ),
            Self::StartTooLong { run_s } => write!(
                f,
                "--run {} contradicts a start from the beginning, runs of {} at most; if the runner was away for less \
                 than {LONG_ABSENCE_WEEKS} weeks, say so with --weeks-away",
                clock(run_s),
                clock(&(BEGINNING_LONGEST_RUN_S as u32))
            ),
            Self::ManySessions { per_week } => write!(
                f,
                "--per-week {per_week} contradicts at most {EARLY_SESSIONS_PER_WEEK} sessions a week in the early \
                 stages (common practice, no source)"
            ),
            Self::NoRestDay => write!(f, "--rest-days 0 contradicts a rest day between two sessions"),
            Self::RestDoesNotFit { per_week, rest_days, most } => write!(
                f,
                "--per-week {per_week} and --rest-days {rest_days} contradict each other: a week of 7 days then has \
                 room for {most}"
            ),
            Self::WeekdaysTooNear { rest_days, least } => write!(
                f,
                "--weekdays and --rest-days {rest_days} contradict each other: two of the weekdays have {least} days between"
            ),
            Self::TooFewWeekdays { per_week, weekdays } => {
                write!(f, "--per-week {per_week} contradicts --weekdays, which are {weekdays}")
            }
            Self::LooserThanLinter { option } => write!(
                f,
                "{option} is looser than the linter's own limit: `plan check` would find something in the plan"
            ),
            Self::Ceiling { needed_s, ceiling_s, which } => write!(
                f,
                "--session-ceiling {} contradicts the {which} session, which takes {}",
                clock(ceiling_s),
                clock(needed_s)
            ),
            Self::TooManyWeeks { needed, most, stages } => write!(
                f,
                "--max-weeks {most} contradicts the other limits: the fewest stages are {stages}, which take {needed} \
                 weeks"
            ),
            Self::NoWay { options, are_together, reached } => {
                let bar = match (options.len(), are_together) {
                    (1, _) => format!("{} bars the way to the goal", options.join("")),
                    (_, true) => format!("{} together bar the way to the goal", options.join(" and ")),
                    (_, false) => {
                        format!(
                            "{} bar the way to the goal, and lifting either opens it",
                            options.join(" and ")
                        )
                    }
                };
                let (total, run) = (clock(&reached.total_s), clock(&reached.run_s));
                write!(f, "{bar}: it ends at {total} of running with runs of {run}")
            }
        }
    }
}

/// Drafts the plan.
///
/// # Errors
/// When the limits contradict each other: says which.
pub fn draft(request: &DraftRequest) -> Result<DraftedPlan, DraftError> {
    let contradictions = request.contradictions();
    if !contradictions.is_empty() {
        return Err(DraftError { contradictions });
    }
    let one = |contradiction| DraftError { contradictions: vec![contradiction] };
    let stages = search::fewest(request).map_err(one)?;
    let count = stages.len() as u32;
    let weeks = (count * request.sessions).div_ceil(request.sessions_per_week);
    if let Some(most) = request.most_weeks.filter(|most| weeks > *most) {
        return Err(one(Contradiction::TooManyWeeks { needed: weeks, most, stages: count }));
    }
    Ok(DraftedPlan { plan: request.plan(&stages), stages, weeks })
}

impl DraftRequest {
    /// Repetitions of the first session.
    fn first_repetitions(&self) -> u32 {
        let cycle_s = self.run_s + self.walk_s;
        self.session_s.saturating_sub(self.warm_up_s + self.cool_down_s) / cycle_s.max(1)
    }

    fn first(&self) -> DraftStage {
        DraftStage { total_s: self.run_s * self.first_repetitions(), run_s: self.run_s }
    }

    fn goal(&self) -> DraftStage {
        DraftStage { total_s: self.goal_run_s, run_s: self.goal_run_s }
    }

    /// What can be told to be contradictory without searching.
    fn contradictions(&self) -> Vec<Contradiction> {
        let ranges = self.out_of_range();
        if !ranges.is_empty() {
            return ranges;
        }
        let mut found = Vec::new();
        if self.run_s >= self.goal_run_s {
            found.push(Contradiction::GoalReached { run_s: self.run_s, goal_s: self.goal_run_s });
        }
        let needed_s = self.warm_up_s + self.run_s + self.walk_s + self.cool_down_s;
        if self.first_repetitions() == 0 {
            found.push(Contradiction::NoRoom { needed_s, session_s: self.session_s });
        } else if self.run_s < self.goal_run_s && self.first().total_s > self.goal_run_s {
            let total_s = self.first().total_s;
            found.push(Contradiction::StartAboveGoal { total_s, goal_s: self.goal_run_s });
        }
        let was_away_long = self.weeks_away.is_none_or(|weeks| weeks >= LONG_ABSENCE_WEEKS);
        if was_away_long && f64::from(self.run_s) > BEGINNING_LONGEST_RUN_S {
            found.push(Contradiction::StartTooLong { run_s: self.run_s });
        }
        if self.sessions_per_week > EARLY_SESSIONS_PER_WEEK {
            found.push(Contradiction::ManySessions { per_week: self.sessions_per_week });
        }
        self.rest(&mut found);
        if let Some(least) = least_between(&self.weekdays).filter(|least| *least < self.rest_days) {
            found.push(Contradiction::WeekdaysTooNear { rest_days: self.rest_days, least });
        }
        if !self.weekdays.is_empty() && (self.weekdays.len() as u32) < self.sessions_per_week {
            let (per_week, weekdays) = (self.sessions_per_week, self.weekdays.len());
            found.push(Contradiction::TooFewWeekdays { per_week, weekdays });
        }
        self.looser(&mut found);
        if let Some(ceiling_s) = self.session_ceiling_s {
            for (which, stage) in [("first", self.first()), ("last", self.goal())] {
                let needed_s = self.takes_s(stage);
                if needed_s > ceiling_s {
                    found.push(Contradiction::Ceiling { needed_s, ceiling_s, which });
                }
            }
        }
        found
    }

    fn out_of_range(&self) -> Vec<Contradiction> {
        const HOUR: u32 = 3600;
        let cases = [
            ("--run", self.run_s, 10..=HOUR, "0:10", "1:00:00"),
            ("--walk", self.walk_s, 10..=HOUR, "0:10", "1:00:00"),
            ("--goal-run", self.goal_run_s, 60..=2 * HOUR, "1:00", "2:00:00"),
            ("--minutes", self.session_s, 60..=4 * HOUR, "1", "240"),
            ("--warm-up", self.warm_up_s, 0..=HOUR, "0:00", "1:00:00"),
            ("--cool-down", self.cool_down_s, 0..=HOUR, "0:00", "1:00:00"),
            ("--sessions", self.sessions, 1..=100, "1", "100"),
            ("--per-week", self.sessions_per_week, 1..=14, "1", "14"),
            ("--rest-days", self.rest_days, 0..=13, "0", "13"),
        ];
        let out = cases.into_iter().filter(|(_, value, range, ..)| !range.contains(value));
        let mut found: Vec<_> = out
            .map(|(option, _, _, least, most)| Contradiction::OutOfRange { option, least, most })
            .collect();
        if self.session_ceiling_s.is_some_and(|s| !(60..=24 * HOUR).contains(&s)) {
            let (least, most) = ("1:00", "24:00:00");
            found.push(Contradiction::OutOfRange { option: "--session-ceiling", least, most });
        }
        if self.weekly_increase.is_some_and(|share| !(0.0..=5.0).contains(&share)) {
            let (least, most) = ("0 %", "500 %");
            found.push(Contradiction::OutOfRange { option: "--weekly-increase", least, most });
        }
        found
    }

    fn rest(&self, found: &mut Vec<Contradiction>) {
        if self.rest_days == 0 {
            found.push(Contradiction::NoRestDay);
            return;
        }
        let most = (7 + self.rest_days) / (1 + self.rest_days);
        if self.sessions_per_week > most {
            let (per_week, rest_days) = (self.sessions_per_week, self.rest_days);
            found.push(Contradiction::RestDoesNotFit { per_week, rest_days, most });
        }
    }

    fn looser(&self, found: &mut Vec<Contradiction>) {
        let (own, linter) = (&self.increments, Increments::default());
        for (option, own, most) in [
            ("--session-increase", own.session_share, linter.session_share),
            ("--session-step", own.session_s, linter.session_s),
            ("--longest-increase", own.longest_share, linter.longest_share),
            ("--longest-step", own.longest_s, linter.longest_s),
        ] {
            let is_within = (0.0..=most).contains(&own);
            if !is_within {
                found.push(Contradiction::LooserThanLinter { option });
            }
        }
        let is_factor = (1.0..=linter.run_to_walk).contains(&own.run_to_walk);
        if !is_factor {
            let (least, most) = ("1", "2, the linter's own limit");
            found.push(Contradiction::OutOfRange { option: "--run-walk-factor", least, most });
        }
    }

    /// Time of a stage's session, s.
    fn takes_s(&self, stage: DraftStage) -> u32 {
        let DraftStage { total_s, run_s } = stage;
        let runs = stage.runs();
        if stage == self.first() {
            return self.warm_up_s + total_s + runs * self.walk_s + self.cool_down_s;
        }
        let is_even = total_s == runs * run_s;
        // After equal runs each has its walk; a shorter last one is followed by the cool-down.
        let walks = if runs == 1 || !is_even { runs - 1 } else { runs };
        self.warm_up_s + total_s + walks * self.walk_s + self.cool_down_s
    }

    fn session(&self, stage: DraftStage) -> Session {
        let DraftStage { total_s, run_s } = stage;
        let bout = |motion, seconds: u32| Item::Interval {
            motion,
            extent: Extent::Time(Seconds::new(f64::from(seconds))).into(),
            ceiling: None,
        };
        let mut items = Vec::new();
        if self.warm_up_s > 0 {
            items.push(bout(Move::Walk, self.warm_up_s));
        }
        let (full, rest_s) = (total_s / run_s, total_s % run_s);
        let cycle = vec![bout(Move::Run, run_s), bout(Move::Walk, self.walk_s)];
        match (full, rest_s) {
            (1, 0) if stage != self.first() => items.push(bout(Move::Run, run_s)),
            (1, _) => items.extend(cycle),
            _ => items.push(Item::Repeat { times: full.into(), items: cycle }),
        }
        if rest_s > 0 {
            items.push(bout(Move::Run, rest_s));
        }
        if self.cool_down_s > 0 {
            items.push(bout(Move::Walk, self.cool_down_s));
        }
        Session { items }
    }

    fn plan(&self, stages: &[DraftStage]) -> Plan {
        let limits = Limits {
            sessions_per_week: Some(Range::exactly(self.sessions_per_week)),
            rest_days_between: Some(self.rest_days),
            weekly_running_increase: self.weekly_increase,
            session_ceiling: self.session_ceiling_s.map(|s| Seconds::new(f64::from(s))),
            ..Limits::default()
        };
        let stages = stages.iter().enumerate().map(|(index, stage)| Stage {
            place: index,
            kind: None,
            weeks: None,
            name: (index + 1).to_string(),
            session: self.session(*stage),
            sessions: Some(self.sessions),
            limits: limits.clone(),
            note: None,
            contact: None,
        });
        Plan {
            title: self.title.clone(),
            timezone: None,
            units: None,
            start: self.start,
            weekdays: self.weekdays.clone(),
            note: Some(NOTE.to_owned()),
            contact: None,
            runner: Runner::default(),
            tolerance: Tolerance::default(),
            stages: stages.collect(),
            other: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests;
