//! Lengths in the unit in which they were prescribed: a distance is less certain than a time.

use super::super::matched::Matched;
use super::super::measure::{self, BoutPart};
use super::Lengths;
use crate::gait::Gait;
use crate::prescription::Step;
use crate::range::Range;
use crate::statistics::median;
use jogaudit_recording::units::Unit;

/// So many steps of a gait by distance say what a recorder makes of distances. Our choice.
const LEAST_STEPS: usize = 3;

/// A length in the unit in which it was prescribed.
#[derive(Clone, Copy)]
pub(super) struct Length {
    pub(super) unit: Unit,
    pub(super) prescribed: Range,
    pub(super) achieved: f64,
    /// The same with holes counted as this gait.
    pub(super) at_most: f64,
    pub(super) tolerance: f64,
    /// Standard error of an excess and of what is missing.
    errors: (f64, f64),
    beside: Option<Beside>,
    /// Seconds to the unit.
    pub(super) per_second: f64,
}

/// How a distance stands beside the recorder's other distances of that gait.
#[derive(Clone, Copy)]
struct Beside {
    /// Theirs, recorded over prescribed, in the median.
    share: f64,
    /// Standard error of a distance that is held against theirs, m.
    error_m: f64,
}

/// What a recorder makes of the steps by distance of a gait.
#[derive(Clone, Copy)]
pub(super) struct Recorder {
    /// Recorded over prescribed, in the median.
    share: f64,
    /// Its standard error.
    error: f64,
}

impl Recorder {
    /// From the steps that are by one distance and were done, none joined with another or with a hole inside; `None` where too few are.
    pub(super) fn of(matched: &Matched, gait: Gait) -> Option<Self> {
        let steps = matched.layout.steps.iter().zip(&matched.done);
        let whole = steps.filter(|(step, done)| {
            is_by_distance(step)
                && done.gait == gait
                && !done.joined
                && !done.own.is_empty()
                && done.hole_s == 0.0
        });
        let (mut shares, mut variances) = (Vec::new(), 0.0);
        for (step, done) in whole {
            let prescribed = step.extent.amounts();
            let Some(recorded_m) =
                measure::distance_m(matched.series, &done.own).filter(|_| prescribed.is_exact())
            else {
                continue;
            };
            shares.push(recorded_m / prescribed.least);
            variances += matched.config.distance_chance_m.powi(2) / prescribed.least;
        }
        let count = shares.len();
        let share = median(&mut shares).filter(|_| count >= LEAST_STEPS)?;
        Some(Self { share, error: variances.sqrt() / count as f64 })
    }
}

fn is_by_distance(step: &Step) -> bool {
    !step.extent.is_time() && step.extent.most.amount() > 0.0
}

impl Length {
    /// Standard error of an excess that is too much.
    pub(super) fn error_of_long(&self, excess: f64) -> f64 {
        self.error_of(self.errors.0, excess, |share| (share - 1.0) * self.prescribed.most)
    }

    /// Standard error of what is missing.
    pub(super) fn error_of_short(&self, missing: f64) -> f64 {
        self.error_of(self.errors.1, missing, |share| (1.0 - share) * self.prescribed.least)
    }

    /// A recorder errs alike in all its distances. So what a step is off by beyond what most are off by in the same sense has but the error of
    /// chance. The error of the whole excess is then as great beside it as that of the rest is beside the rest.
    fn error_of(&self, alone: f64, excess: f64, recorders: impl Fn(f64) -> f64) -> f64 {
        match self.beside.map(|beside| (excess - recorders(beside.share).max(0.0), beside.error_m)) {
            Some((rest, error)) if rest > 0.0 => alone.min(error * excess / rest),
            _ => alone,
        }
    }
}

impl Lengths<'_> {
    /// Length of a step in its own unit; metres need a distance and fall back to seconds.
    pub(super) fn length(
        &self,
        step: usize,
        length_s: Range,
        known_s: f64,
        at_most_s: f64,
        parts: &[BoutPart],
        tolerance_s: f64,
    ) -> Length {
        let error_s = self.error_s(parts);
        let moving_s = measure::total_s(parts);
        let prescribed = &self.matched.layout.steps[step];
        let in_metres =
            is_by_distance(prescribed).then(|| measure::distance_m(self.matched.series, parts)).flatten();
        match in_metres.map(|distance| (distance, distance / moving_s)) {
            Some((distance, speed)) if speed > 0.0 && speed.is_finite() => {
                let prescribed = prescribed.extent.amounts();
                let config = self.matched.config;
                let whole_m = distance.max(prescribed.least);
                let chance = (error_s * speed).hypot(config.distance_chance_m * distance.sqrt());
                Length {
                    unit: Unit::Metres,
                    prescribed,
                    achieved: distance + speed * (known_s - moving_s),
                    at_most: distance + speed * (at_most_s - moving_s),
                    tolerance: tolerance_s * speed,
                    errors: (
                        chance.hypot(config.reads_high_error * whole_m),
                        chance.hypot(config.distance_error * whole_m),
                    ),
                    beside: self.recorder(self.matched.done[step].gait).map(|recorder| Beside {
                        share: recorder.share,
                        error_m: chance.hypot(recorder.error * distance),
                    }),
                    per_second: speed,
                }
            }
            _ => Length {
                unit: Unit::Seconds,
                prescribed: length_s,
                achieved: known_s,
                at_most: at_most_s,
                tolerance: tolerance_s,
                errors: (error_s, error_s),
                beside: None,
                per_second: 1.0,
            },
        }
    }

    fn recorder(&self, gait: Gait) -> Option<Recorder> {
        if gait == Gait::Run { self.runs_by_distance } else { self.walks_by_distance }
    }

    /// Standard error of the excess of all runs by distance together, s: what a recorder adds to one distance it adds to each, and what
    /// chance adds grows with the root of their length.
    pub(super) fn error_of_distances_s(&self) -> f64 {
        let steps = self.matched.layout.steps.iter().zip(&self.matched.done);
        let runs = steps.filter(|(step, done)| done.gait == Gait::Run && is_by_distance(step));
        let (mut total_s, mut total_m) = (0.0, 0.0);
        for (step, done) in runs {
            total_s += done.length_s.most.max(measure::total_s(&done.own));
            total_m += step.extent.amounts().most;
        }
        if total_m <= 0.0 {
            return 0.0;
        }
        let config = self.matched.config;
        total_s * config.reads_high_error.hypot(config.distance_chance_m / total_m.sqrt())
    }
}
