//! Why there is no plan within the limits that were asked for, in words that name the options.

use std::fmt;

use super::DraftStage;
use crate::prescription::lint::{BEGINNING_LONGEST_RUN_S, EARLY_SESSIONS_PER_WEEK, LONG_ABSENCE_WEEKS};
use crate::prescription::scan::write_time;
use jogaudit_recording::units::Seconds;

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
    /// No whole number of runs and walks ends between the least and the most of the first session.
    NoRoundInRange {
        /// What as many as fit take in all, s.
        takes_s: u32,
        /// The least, s.
        least_s: u32,
        /// The most, s.
        most_s: u32,
    },
    /// The range has more ends than a session may have.
    WideRange {
        /// The most that it may be wide, s.
        most_s: u32,
    },
    /// The least of a range is above its most.
    LeastAboveMost {
        /// The least, s.
        least_s: u32,
        /// The most, s.
        most_s: u32,
    },
    /// A count that rises has one length.
    RisingRange,
    /// A count cannot rise within one session.
    RisingInOneSession,
    /// A week of one session has no room for two kinds.
    KindsInOneSession,
    /// No session of the draft has two runs, so that it could not be told from a run without a walk.
    KindsAlike,
    /// The plan would be longer than a plan may be.
    TooLong,
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
        let clock = |seconds: &u32| write_time(Seconds::new(f64::from(*seconds)));
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
            Self::NoRoundInRange { takes_s, least_s, most_s } => write!(
                f,
                "--minutes contradicts the lengths: as many runs and walks as fit take {} with warm-up and cool-down, \
                 which is not from {} to {}",
                clock(takes_s),
                clock(least_s),
                clock(most_s)
            ),
            Self::WideRange { most_s } => write!(
                f,
                "--minutes has too wide a range: with runs and walks of these lengths it may be {} wide at most",
                clock(most_s)
            ),
            Self::LeastAboveMost { least_s, most_s } => {
                write!(f, "--minutes has its least, {}, above its most, {}", clock(least_s), clock(most_s))
            }
            Self::RisingRange => write!(
                f,
                "--rising and a range of --minutes contradict each other: a session whose count rises has one length \
                 each time"
            ),
            Self::RisingInOneSession => {
                write!(f, "--rising contradicts --sessions 1: a count rises from one session to the next")
            }
            Self::KindsInOneSession => {
                write!(f, "--kinds contradicts --per-week 1: two kinds of session need two sessions a week")
            }
            Self::KindsAlike => write!(
                f,
                "--kinds contradicts the lengths: no session of the draft has two runs, so that it could not be told from \
                 a run without a walk"
            ),
            Self::TooLong => write!(
                f,
                "the limits leave only a plan with more stages, or more runs and walks, than a plan may have: lengthen \
                 --run, narrow the range of --minutes or let the steps be larger"
            ),
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
