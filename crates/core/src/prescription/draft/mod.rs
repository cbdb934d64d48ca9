//! Drafts a steady plan from a start, a goal and limits: the fewest stages in which the linter finds nothing.
//!
//! A stage alternates equal runs with walks of one length; the last run may be shorter, so that the running of a
//! session can be set freely. The walks keep their length throughout: only the running grows. Among the plans with the
//! fewest stages the one with the evenest steps is taken.

mod contradiction;
mod search;
mod stages;

pub use contradiction::{Contradiction, DraftError};

use jiff::civil::{Date, Weekday};

use super::Plan;
use super::calendar::least_between;
use super::lint::{BEGINNING_LONGEST_RUN_S, EARLY_SESSIONS_PER_WEEK, Increments, LONG_ABSENCE_WEEKS};

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
    /// The least that it may take, if it may take less than its most; a session is then a range as wide as that, s.
    pub session_least_s: Option<u32>,
    /// Whether a stage's count rises by one repetition after each session kept, where it may.
    pub is_rising: bool,
    /// Whether, towards the end, one session of a week is a run without a walk and the others still have walks.
    pub has_kinds: bool,
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
            session_least_s: None,
            is_rising: false,
            has_kinds: false,
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
    /// The most running of each stage, by its place in the plan.
    pub stages: Vec<DraftStage>,
    /// Weeks that it takes when every session is kept.
    pub weeks: u32,
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
    let plan = request.plan(&stages).map_err(one)?;
    let (count, weeks) = (stages.len() as u32, plan.weeks().len() as u32);
    if let Some(most) = request.most_weeks.filter(|most| weeks > *most) {
        return Err(one(Contradiction::TooManyWeeks { needed: weeks, most, stages: count }));
    }
    Ok(DraftedPlan { plan, stages, weeks })
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
        self.form(&mut found);
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

    /// Ranges, rising counts and kinds of session.
    fn form(&self, found: &mut Vec<Contradiction>) {
        if let Some(least_s) = self.session_least_s {
            let most_s = self.session_s;
            let takes_s = self.takes_s(self.first());
            let widest_s = stages::widest_s(self.run_s, self.walk_s);
            if least_s > most_s {
                found.push(Contradiction::LeastAboveMost { least_s, most_s });
            } else if self.first_repetitions() > 0 && takes_s < least_s {
                found.push(Contradiction::NoRoundInRange { takes_s, least_s, most_s });
            } else if most_s - least_s > widest_s {
                found.push(Contradiction::WideRange { most_s: widest_s });
            } else if least_s < self.warm_up_s + self.run_s + self.cool_down_s {
                let needed_s = self.warm_up_s + self.run_s + self.cool_down_s;
                found.push(Contradiction::NoRoom { needed_s, session_s: least_s });
            }
        }
        if self.is_rising && self.session_least_s.is_some() {
            found.push(Contradiction::RisingRange);
        }
        if self.is_rising && self.sessions == 1 {
            found.push(Contradiction::RisingInOneSession);
        }
        if self.has_kinds && self.sessions_per_week == 1 {
            found.push(Contradiction::KindsInOneSession);
        }
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
}

#[cfg(test)]
mod tests;
