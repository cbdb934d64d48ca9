//! The plan file and the session language → [`Plan`], [`Stage`], [`Step`].
//!
//! A plan exists before any run: nothing here knows recordings.

mod bounds;
mod calendar;
mod dose;
pub mod draft;
mod error;
mod expand;
pub mod figures;
mod language;
pub mod lint;
mod plan;
mod scan;
mod source;
pub(crate) mod suggest;
mod weeks;

pub(crate) use calendar::monday;
pub use calendar::{Calendar, CalendarStart, DatedSession, LEAST_REST_DAYS};
pub use dose::PrescribedDose;
pub use error::{Fault, LanguageError, MOST_FAULTS, PlanError};
pub use expand::{Block, Candidate, Expansion, step_counts};
pub use figures::Figures;
pub use plan::{parse_weekdays, weekday_word};
pub use scan::{pace_unit, parse_duration, parse_percent, written_pace};
pub use weeks::{ASSUMED_SESSIONS_PER_WEEK, PlannedWeek};

use jiff::civil::{Date, Weekday};

use jogaudit_recording::read::Sport;
use jogaudit_recording::units::{
    BeatsPerMinute, LengthUnit, Metres, MetresPerSecond, Seconds, StepsPerMinute,
};

/// What a step of a session asks for. (Standing is never prescribed.)
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Run or jog.
    Run,
    /// Walk, briskly.
    Walk,
}

/// How far or how long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// For a time.
    Time(Seconds),
    /// For a distance.
    Distance(Metres),
}

/// An item of a session, as written.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// `run 1:00`, `walk 400 m`, `run 3:00 @ 7:00 /km`.
    Interval {
        /// Run or walk.
        motion: Move,
        /// How long or far.
        extent: Extent,
        /// Its own ceiling: never faster.
        ceiling: Option<MetresPerSecond>,
    },
    /// `6 x ( … )`.
    Repeat {
        /// How often.
        times: u32,
        /// What.
        items: Vec<Item>,
    },
    /// `for 30:00 ( … )`: alternate until the time or distance is reached; the last bout is cut there.
    Until {
        /// The whole.
        extent: Extent,
        /// What alternates.
        items: Vec<Item>,
    },
}

/// A session as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Its items in order.
    pub items: Vec<Item>,
}

/// One run or walk to do, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Run or walk.
    pub motion: Move,
    /// How long or far.
    pub extent: Extent,
    /// Its own ceiling, else the stage's.
    pub ceiling: Option<MetresPerSecond>,
}

impl Step {
    /// The pace ceiling of a run: its own, else the stage's. A walk has none.
    pub fn pace_ceiling(&self, limits: &Limits) -> Option<MetresPerSecond> {
        let ceiling = self.ceiling.or(limits.pace_ceiling);
        ceiling.filter(|_| self.motion == Move::Run)
    }
}

/// What the pace ceiling holds for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PaceBasis {
    /// Pace over the ground as run.
    #[default]
    Ground,
    /// Level-ground pace of the same cost (Minetti et al. 2002).
    Level,
}

impl PaceBasis {
    /// The word as in plans and in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ground => "ground",
            Self::Level => "level",
        }
    }
}

/// Limits of a stage; a stage's own stand before the plan's.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    /// Never run faster.
    pub pace_ceiling: Option<MetresPerSecond>,
    /// What the pace ceiling holds for.
    pub pace_basis: PaceBasis,
    /// Never above.
    pub heart_rate_ceiling: Option<BeatsPerMinute>,
    /// A walk below this is not brisk.
    pub walk_cadence_floor: Option<StepsPerMinute>,
    /// The whole session no longer than this.
    pub session_ceiling: Option<Seconds>,
    /// Run-walk sessions in a week.
    pub sessions_per_week: Option<u32>,
    /// Days without a run-walk session between two.
    pub rest_days_between: Option<u32>,
    /// Rise of the week's running time, as a fraction (0.25 for "25 %").
    pub weekly_running_increase: Option<f64>,
    /// Pain that is allowed, 0 to 10; without it any pain counts.
    pub pain_limit: Option<f64>,
    /// Greatest effort of a session, 0 to 10, as the diary has it.
    pub effort_ceiling: Option<f64>,
    /// Days from one session to the next from which on the stage is repeated.
    pub break_repeat_days: Option<u32>,
    /// Days from one session to the next from which on a stage is stepped back.
    pub break_step_back_days: Option<u32>,
    /// Why a clinician lets limits hold that are looser than the rules of the review.
    pub clinician_override: Option<String>,
}

/// How much more than prescribed is let pass; defaults and reasons in `docs/method.md`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// For the length of a run.
    pub run: Seconds,
    /// For the length of a walk.
    pub walk: Seconds,
    /// For the pace, as a fraction (0.03 for "3 %").
    pub pace: f64,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self { run: Seconds::new(10.0), walk: Seconds::new(10.0), pace: 0.03 }
    }
}

/// What is known of the runner.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Runner {
    /// Usual running cadence, both feet.
    pub usual_run_cadence: Option<StepsPerMinute>,
    /// Greatest heart rate.
    pub max_heart_rate: Option<BeatsPerMinute>,
}

/// A stage of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its name, unique in the plan.
    pub name: String,
    /// What to do.
    pub session: Session,
    /// Sessions kept before moving on.
    pub sessions: Option<u32>,
    /// Its limits: its own, else the plan's.
    pub limits: Limits,
    /// The prescriber's words to the runner for this stage, besides those for every session.
    pub note: Option<String>,
    /// How to reach the professional: its own, else the plan's.
    pub contact: Option<String>,
}

/// A whole prescription.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Title.
    pub title: String,
    /// Time zone name in which days and weeks are counted.
    pub timezone: Option<String>,
    /// What people read distances and paces by; `None` where the plan does not say.
    pub units: Option<LengthUnit>,
    /// The first day of the first stage.
    pub start: Option<Date>,
    /// Weekdays that sessions are meant for, in the order of the week; empty where any day is.
    pub weekdays: Vec<Weekday>,
    /// The prescriber's words to the runner, for every session.
    pub note: Option<String>,
    /// How to reach the professional.
    pub contact: Option<String>,
    /// What is known of the runner.
    pub runner: Runner,
    /// What is let pass.
    pub tolerance: Tolerance,
    /// Stages in order, at least one.
    pub stages: Vec<Stage>,
    /// Training besides running that is agreed.
    pub other: Vec<OtherTraining>,
}

/// Training besides running that is agreed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OtherTraining {
    /// The sport in the prescriber's word.
    pub sport: String,
}

impl Plan {
    /// What people read distances and paces by: kilometres where the plan does not say.
    pub fn read_in(&self) -> LengthUnit {
        self.units.unwrap_or_default()
    }

    /// Gives the plan's word for a sport that is agreed besides running.
    pub fn agreed_sport(&self, word: &str) -> Option<&str> {
        self.other.iter().map(|other| other.sport.as_str()).find(|sport| Sport::is_same(sport, word))
    }

    /// Finds a stage by its name.
    pub fn stage(&self, name: &str) -> Option<&Stage> {
        self.stages.iter().find(|stage| stage.name == name)
    }

    /// The names of the stages in order.
    pub fn stage_names(&self) -> impl Iterator<Item = &str> {
        self.stages.iter().map(|stage| stage.name.as_str())
    }

    /// Gives the stage that is most likely meant by a name that is none, if one is near.
    pub fn closest_stage(&self, name: &str) -> Option<&Stage> {
        suggest::closest(name, self.stage_names()).and_then(|name| self.stage(name))
    }
}
