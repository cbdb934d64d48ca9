//! The plan file and the session language → [`Plan`], [`Stage`], [`Step`].
//!
//! A plan exists before any run: nothing here knows recordings.

mod bounds;
mod calendar;
mod dose;
pub mod draft;
pub mod edit;
mod error;
mod expand;
pub mod figures;
mod language;
pub mod lint;
mod plan;
mod scan;
mod source;
pub(crate) mod suggest;
mod watch;
mod weeks;

pub(crate) use calendar::monday;
pub use calendar::{Calendar, CalendarStart, DatedSession, LEAST_REST_DAYS, WeekSoFar};
pub use dose::PrescribedDose;
pub use error::{Excerpt, Fault, LanguageError, MOST_FAULTS, PlanError};
pub use expand::{Block, DueSession, End, Expansion, WholeByTime};
pub use figures::Figures;
pub use plan::{parse_weekdays, weekday_word};
pub use scan::{pace_unit, parse_duration, parse_percent, written_pace};
pub use watch::{WatchStep, Whole};
pub use weeks::{ASSUMED_SESSIONS_PER_WEEK, PlannedWeek};

use jiff::civil::{Date, Weekday};

use crate::range::Range;
use jogaudit_recording::read::Sport;
use jogaudit_recording::units::{
    BeatsPerMinute, LengthUnit, Metres, MetresPerSecond, Seconds, StepsPerMinute,
};

/// What a step of a session asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Run or jog.
    Run,
    /// Walk, briskly.
    Walk,
    /// Anything but running.
    Rest,
}

/// How far or how long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// For a time.
    Time(Seconds),
    /// For a distance.
    Distance(Metres),
}

impl Extent {
    /// Seconds or metres.
    pub const fn amount(self) -> f64 {
        match self {
            Self::Time(time) => time.get(),
            Self::Distance(distance) => distance.get(),
        }
    }

    /// Whether it is a time.
    pub const fn is_time(self) -> bool {
        matches!(self, Self::Time(_))
    }

    /// Seconds at a speed, m/s.
    pub fn seconds_at(self, speed_mps: f64) -> f64 {
        match self {
            Self::Time(time) => time.get(),
            Self::Distance(distance) => distance.get() / speed_mps,
        }
    }

    /// So many seconds, or metres, as this one is.
    #[must_use]
    pub const fn with_amount(self, amount: f64) -> Self {
        match self {
            Self::Time(_) => Self::Time(Seconds::new(amount)),
            Self::Distance(_) => Self::Distance(Metres::new(amount)),
        }
    }
}

impl Range<Extent> {
    /// Seconds or metres at both ends, which are always of one kind. Without an upper end it is infinite.
    pub fn amounts(self) -> Range<f64> {
        self.map(Extent::amount)
    }

    /// Whether it is a time.
    pub const fn is_time(self) -> bool {
        self.least.is_time()
    }
}

/// How often a repeat is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Count {
    /// So often: `6 x`, `5 to 6 x`.
    Times(Range<u32>),
    /// Once more after each session of the stage that was kept: `4 rising to 7 x`.
    Rising {
        /// In the first session.
        first: u32,
        /// From then on that often.
        last: u32,
    },
}

impl Count {
    /// How often it may be, whichever session of the stage it is.
    pub const fn range(self) -> Range<u32> {
        match self {
            Self::Times(range) => range,
            Self::Rising { first, last } => Range { least: first, most: last },
        }
    }
}

impl From<u32> for Count {
    fn from(times: u32) -> Self {
        Self::Times(Range::exactly(times))
    }
}

/// An item of a session, as written.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// `run 1:00`, `walk 400 m`, `run 3:00 @ 7:00 /km`.
    Interval {
        /// Run, walk or rest.
        motion: Move,
        /// How long or far.
        extent: Range<Extent>,
        /// Its own ceiling: never faster.
        ceiling: Option<MetresPerSecond>,
    },
    /// `6 x ( … )`.
    Repeat {
        /// How often.
        times: Count,
        /// What.
        items: Vec<Item>,
    },
    /// `for 30:00 ( … )`: alternate until the time or distance is reached; the last bout is cut there.
    Until {
        /// The whole.
        extent: Range<Extent>,
        /// What alternates: exact figures.
        items: Vec<Item>,
    },
}

/// A session as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Its items in order.
    pub items: Vec<Item>,
}

/// One run, walk or rest to do, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Run, walk or rest.
    pub motion: Move,
    /// How long or far.
    pub extent: Range<Extent>,
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
    /// Run-walk sessions in a week: beyond the least they are optional.
    pub sessions_per_week: Option<Range<u32>>,
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

/// A kind of session of a stage. Most stages hold one.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its name, unique in the plan: the stage's or, where it holds several kinds, `STAGE/KIND`.
    pub name: String,
    /// Place of the stage in the plan, from 0: the kinds of one stage share it and stand together.
    pub place: usize,
    /// Which kind it is, where the stage holds several.
    pub kind: Option<Kind>,
    /// What to do.
    pub session: Session,
    /// Sessions kept before moving on, of all kinds together.
    pub sessions: Option<u32>,
    /// Weeks kept before moving on, instead of sessions.
    pub weeks: Option<u32>,
    /// Its limits: its own, else the plan's.
    pub limits: Limits,
    /// The prescriber's words to the runner for this stage, besides those for every session.
    pub note: Option<String>,
    /// How to reach the professional: its own, else the plan's.
    pub contact: Option<String>,
}

/// One of several kinds of session in a week.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kind {
    /// Its name, unique in its stage.
    pub name: String,
    /// How often a week: beyond the least it is optional.
    pub a_week: Range<u32>,
}

impl Stage {
    /// The name of the stage, without that of the kind.
    pub fn stage_name(&self) -> &str {
        let kind = self.kind.as_ref().map_or(0, |kind| kind.name.len() + 1);
        self.name.get(..self.name.len() - kind).unwrap_or(&self.name)
    }

    /// The pace ceilings of its runs, each once.
    pub fn pace_ceilings(&self) -> Vec<MetresPerSecond> {
        let mut ceilings: Vec<MetresPerSecond> = Vec::new();
        for step in self.session.expand().kinds_of_step() {
            if let Some(ceiling) = step.pace_ceiling(&self.limits)
                && !ceilings.contains(&ceiling)
            {
                ceilings.push(ceiling);
            }
        }
        ceilings
    }

    /// How often a week it is meant; `None` where the plan does not say.
    pub fn a_week(&self) -> Option<Range<u32>> {
        self.kind.as_ref().map(|kind| kind.a_week).or(self.limits.sessions_per_week)
    }
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

    /// The kinds of session at a place, by index.
    pub fn kinds_at(&self, place: usize) -> std::ops::Range<usize> {
        let start = self.stages.partition_point(|stage| stage.place < place);
        start..self.stages.partition_point(|stage| stage.place <= place)
    }

    /// How many stages there are, whatever kinds of session they hold.
    pub fn places(&self) -> usize {
        self.stages.last().map_or(0, |last| last.place + 1)
    }

    /// The names of the stages in order, of each kind one.
    pub fn stage_names(&self) -> impl Iterator<Item = &str> {
        self.stages.iter().map(|stage| stage.name.as_str())
    }

    /// Gives the stage that is most likely meant by a name that is none, if one is near.
    pub fn closest_stage(&self, name: &str) -> Option<&Stage> {
        suggest::closest(name, self.stage_names()).and_then(|name| self.stage(name))
    }
}
