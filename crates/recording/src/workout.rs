//! A workout as a watch runs it: what the FIT messages `workout` and `workout_step` hold of it.

use crate::read::lap::LapIntensity;
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, Seconds, StepsPerMinute};

/// Steps to run through, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Workout {
    /// Its name; empty where it has none.
    pub name: String,
    /// Its steps.
    pub steps: Vec<WorkoutStep>,
}

/// One step of a workout: something to do, or a way back to an earlier one.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkoutStep {
    /// Its name; empty where it has none.
    pub name: String,
    /// Words beside it; empty where there are none.
    pub notes: String,
    /// What it is meant for.
    pub intensity: LapIntensity,
    /// What ends it.
    pub end: StepEnd,
    /// What to keep to, the first before the second.
    pub targets: [Option<StepTarget>; 2],
}

/// What ends a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StepEnd {
    /// A time.
    Time(Seconds),
    /// A distance.
    Distance(Metres),
    /// The button.
    Open,
    /// It is done at once: back to step `first`, until the steps from there on are done so often.
    Repeat {
        /// The step to go back to, from 0.
        first: usize,
        /// How often in all.
        times: u32,
    },
    /// Back to step `first`, until the time from there on is over.
    RepeatForTime {
        /// The step to go back to, from 0.
        first: usize,
        /// The time of all rounds together.
        time: Seconds,
    },
    /// Back to step `first`, until the distance from there on is covered.
    RepeatForDistance {
        /// The step to go back to, from 0.
        first: usize,
        /// The distance of all rounds together.
        distance: Metres,
    },
    /// Something else that the format knows and we do not use.
    Other,
}

/// A range to keep to. An end that is open is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StepTarget {
    /// No faster.
    SpeedAtMost(MetresPerSecond),
    /// Never above.
    HeartRateAtMost(BeatsPerMinute),
    /// Cadence from a least to a most, both feet.
    Cadence {
        /// No lower.
        least: StepsPerMinute,
        /// No higher, where there is a most.
        most: Option<StepsPerMinute>,
    },
}

/// Steps of an unrolled workout that are looked at; a workout that takes more is told no further. Our choice: as many as a
/// session may have.
pub const MOST_UNROLLED: usize = 10_000;

impl Workout {
    /// Its steps in the order in which they are done, by index: repeats by count are unrolled. `None` where how often something is
    /// done hangs on speeds, the steps refer to none before them, or there are more than [`MOST_UNROLLED`].
    pub fn unrolled(&self) -> Option<Vec<usize>> {
        // Steps so far, and where in them each step of the workout begins.
        let (mut done, mut begins) = (Vec::new(), Vec::new());
        for (index, step) in self.steps.iter().enumerate() {
            begins.push(done.len());
            match step.end {
                StepEnd::Repeat { first, times } => {
                    let round: Vec<usize> =
                        done.get(*begins.get(first).filter(|_| first < index)?..)?.to_vec();
                    let more = (times as usize).saturating_sub(1);
                    if done.len().saturating_add(round.len().saturating_mul(more)) > MOST_UNROLLED {
                        return None;
                    }
                    (0..more).for_each(|_| done.extend_from_slice(&round));
                }
                StepEnd::RepeatForTime { .. } | StepEnd::RepeatForDistance { .. } => return None,
                _ if done.len() < MOST_UNROLLED => done.push(index),
                _ => return None,
            }
        }
        Some(done)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn workout(ends: &[StepEnd]) -> Workout {
        let step = |end: &StepEnd| WorkoutStep {
            name: String::new(),
            notes: String::new(),
            intensity: LapIntensity::Unknown,
            end: *end,
            targets: [None; 2],
        };
        Workout { name: String::new(), steps: ends.iter().map(step).collect() }
    }

    #[test]
    fn repeats_are_unrolled_and_those_inside_them() {
        use StepEnd::{Open, Repeat, RepeatForTime};
        let unrolled = |ends: &[StepEnd]| workout(ends).unrolled();
        assert_eq!(unrolled(&[Open, Open, Open, Repeat { first: 1, times: 2 }]), Some(vec![0, 1, 2, 1, 2]));
        // Worked by hand: 2 x (a, 3 x (b)) are a b b b a b b b.
        let nested = [Open, Open, Repeat { first: 1, times: 3 }, Repeat { first: 0, times: 2 }];
        assert_eq!(unrolled(&nested), Some(vec![0, 1, 1, 1, 0, 1, 1, 1]));
        assert_eq!(unrolled(&[Open, Repeat { first: 0, times: 0 }]), Some(vec![0]), "what is done is done");
        assert_eq!(unrolled(&[Open, Repeat { first: 1, times: 2 }]), None, "a way back to itself");
        assert_eq!(unrolled(&[Open, Repeat { first: 7, times: 2 }]), None);
        assert_eq!(unrolled(&[Open, RepeatForTime { first: 0, time: Seconds::new(9.0) }]), None);
    }

    #[test]
    fn no_workout_unrolls_without_an_end() {
        use StepEnd::{Open, Repeat};
        let times = |times| Repeat { first: 0, times };
        let ends: Vec<StepEnd> = std::iter::once(Open).chain((0..60).map(|_| times(2))).collect();
        assert_eq!(workout(&ends).unrolled(), None);
        assert_eq!(workout(&[Open, times(u32::MAX)]).unrolled(), None);
        assert_eq!(workout(&[Open, times(10_000)]).unrolled().map(|steps| steps.len()), Some(MOST_UNROLLED));
    }
}
