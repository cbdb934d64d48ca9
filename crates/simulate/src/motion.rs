//! How the runner truly moves: speed, cadence, position, altitude and heart rate, four times a second.

use std::f64::consts::TAU;

use super::faults::Scenario;
use super::heart::{Doing, Heart};
use super::person::Person;
use super::random::{Ar1, Stream, rng, uniform};
use super::rate::{PERIOD_S, SAMPLES_A_SECOND};
use super::timeline::{LegPart, Pacing, Timeline, has_distances, usual_durations_s};
use super::ways::{self, Wander, Ways};
use super::{Settings, SimulateError};
use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::Extent;
use jogaudit_recording::physiology::{running_cost_ratio, walking_cost_ratio};

/// Longest session, s: nothing on foot that a plan prescribes lasts longer.
const LONGEST_S: f64 = 48.0 * 3600.0;

/// Standard deviation of speed around its level, as a share, and its correlation time, s. Our choice.
const SPEED_RHYTHM: (f64, f64) = (0.02, 8.0);
/// The same of cadence. Stride times of healthy people vary by 1 to 3 % (from memory); the rest is our choice.
const CADENCE_RHYTHM: (f64, f64) = (0.01, 5.0);
/// Turning of the path, rad/s, and its correlation time, s: bends of some 100 m radius. Our choice.
const TURNING: (f64, f64) = (0.02, 20.0);
/// Steepest grades of the three waves that make the hills, as fractions, and their lengths, m. Our choice.
const HILL_WAVES: [(f64, f64, f64); 3] = [(0.02, 900.0, 1500.0), (0.025, 400.0, 700.0), (0.02, 150.0, 300.0)];
/// Altitude of the start, m. Our choice.
const BASE_ALTITUDE_M: f64 = 40.0;

/// What is true at one moment, of which a recorder measures a part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct TrueSample {
    pub(super) speed_mps: f64,
    pub(super) cadence_spm: f64,
    pub(super) distance_m: f64,
    pub(super) east_m: f64,
    pub(super) north_m: f64,
    pub(super) altitude_m: f64,
    pub(super) heart_rate_bpm: f64,
}

/// A session as it truly was, from the first movement on.
#[derive(Clone, Debug)]
pub(super) struct Motion {
    pub(super) timeline: Timeline,
    /// One every [`PERIOD_S`] from 0 to the end.
    pub(super) samples: Vec<TrueSample>,
}

impl Motion {
    /// State at a whole second; the last one known after the end.
    pub(super) fn at_second(&self, second: usize) -> TrueSample {
        let i = (second * SAMPLES_A_SECOND).min(self.samples.len().saturating_sub(1));
        self.samples.get(i).copied().unwrap_or_default()
    }

    /// Distance covered between two moments, m.
    pub(super) fn covered_m(&self, from_s: f64, to_s: f64) -> f64 {
        let at = |time_s: f64| {
            let i = (time_s / PERIOD_S).round() as usize;
            self.samples
                .get(i.min(self.samples.len().saturating_sub(1)))
                .map_or(0.0, |sample| sample.distance_m)
        };
        at(to_s) - at(from_s)
    }
}

/// Simulates the legs. Legs measured in metres are run again until their length fits.
pub(super) fn simulate(
    scenario: &Scenario,
    person: &Person,
    settings: &Settings,
) -> Result<Motion, SimulateError> {
    // At least and at most so many rounds, how near each distance comes where fewer than that are enough, and from which on they are
    // smaller. Our choice.
    const ROUNDS: (usize, usize) = (5, 40);
    const NEAR: f64 = 0.005;
    const SWINGS: usize = 10;
    let mut durations_s = usual_durations_s(&scenario.legs, person);
    let total: f64 = durations_s.iter().sum();
    if total > LONGEST_S || !total.is_finite() {
        return Err(SimulateError::TooLong);
    }
    let (least, most) = if has_distances(&scenario.legs) { ROUNDS } else { (1, 1) };
    let mut round = 1;
    loop {
        let timeline = Timeline::new(&scenario.legs, &durations_s, person, settings, scenario.unrecorded_s)?;
        let motion = travel(timeline, scenario, person, settings);
        let mut is_near = true;
        for (k, leg) in scenario.legs.iter().enumerate() {
            if let Extent::Distance(target) = leg.extent {
                let covered = motion.covered_m(motion.timeline.beeps[k], motion.timeline.beeps[k + 1]);
                let longer = target.get() / covered.max(1.0);
                is_near &= (longer - 1.0).abs() < NEAR;
                // Half of the way once whole steps go to and fro.
                let change = if round < SWINGS { longer } else { longer.sqrt() };
                durations_s[k] *= change.clamp(0.5, 2.0);
            }
        }
        if round == most || (round >= least && is_near) {
            return Ok(motion);
        }
        round += 1;
    }
}

fn travel(timeline: Timeline, scenario: &Scenario, person: &Person, settings: &Settings) -> Motion {
    let seed = settings.seed;
    let process = |(sd, tau): (f64, f64), stream| Ar1::with_time(sd, tau, PERIOD_S, rng(seed, stream));
    let mut speed_rhythm = process(SPEED_RHYTHM, Stream::SpeedRhythm);
    let mut cadence_rhythm = process(CADENCE_RHYTHM, Stream::CadenceRhythm);
    let mut path = rng(seed, Stream::Path);
    let mut heading = uniform(&mut path, 0.0, TAU);
    let mut turning = Ar1::with_time(TURNING.0, TURNING.1, PERIOD_S, path);
    let hills = settings.hills.then(|| Hills::draw(seed, ways::steepest(settings)));
    let mut wander = Ways::draw(settings).map(Wander::new);
    let rhythm_share = if wander.is_some() { ways::RHYTHM_SHARE } else { 1.0 };
    let mut heart = Heart::new(person, settings);

    let count = (timeline.end_s() / PERIOD_S).ceil() as usize + 1;
    let mut samples = Vec::with_capacity(count);
    let mut sample = TrueSample::default();
    let mut part = 0;
    for i in 0..count {
        let time_s = i as f64 * PERIOD_S;
        while part + 1 < timeline.parts.len() && time_s >= timeline.parts[part].end_s {
            part += 1;
        }
        let now = timeline.parts[part];
        let pacing = &timeline.pacings[now.leg];
        let meant_mps = blended(&timeline, part, time_s);
        let (faster, quicker) = match wander.as_mut().map(|w| w.step(now.gait, sample.distance_m)) {
            Some((faster, quicker)) if !pacing.ordered => {
                (faster.min(ways::most_wander(now.gait, pacing.level_mps, person)), quicker)
            }
            _ => (1.0, 1.0),
        };
        let effort_mps = meant_mps * (1.0 + rhythm_share * speed_rhythm.step()) * faster;
        let grade = hills.as_ref().map_or(0.0, |h| h.grade(sample.distance_m));
        let on_slope = on_slope(wander.as_ref(), pacing, now.gait, grade);
        // A slope never carries a careful runner over the ceiling; the rhythm of the steps may for a moment. What wanders
        // never goes over it.
        let most_mps = if wander.is_some() { pacing.cap_mps } else { pacing.cap_mps.max(effort_mps) };
        sample.speed_mps = (effort_mps * on_slope).min(most_mps);
        // The gait changes in one step, at the boundary; the speed around it does not.
        let offset = if matches!(now.gait, Gait::Run | Gait::Walk) { pacing.cadence_offset_spm } else { 0.0 };
        let cadence = person.cadence_spm(now.gait, effort_mps) * (1.0 + cadence_rhythm.step()) * quicker;
        sample.cadence_spm = (cadence + offset).max(0.0);
        if let Some(wander) = &wander {
            let going = meant_mps / pacing.level_mps;
            sample.cadence_spm = wander.kept_apart(now.gait, sample.cadence_spm, going, pacing.ordered);
        }
        sample.altitude_m = BASE_ALTITUDE_M + hills.as_ref().map_or(0.0, |h| h.altitude_m(sample.distance_m));
        sample.heart_rate_bpm = heart.step(&Doing {
            gait: now.gait,
            level_mps: pacing.level_mps,
            speed_mps: sample.speed_mps,
            grade,
            over_bpm: scenario.legs[now.leg].heart_rate_over_bpm,
            part_s: now.end_s - now.start_s,
        });
        samples.push(sample);
        sample.distance_m += sample.speed_mps * PERIOD_S;
        heading += turning.step() * PERIOD_S;
        sample.east_m += sample.speed_mps * PERIOD_S * heading.sin();
        sample.north_m += sample.speed_mps * PERIOD_S * heading.cos();
    }
    Motion { timeline, samples }
}

/// Speed on a slope over speed on the level.
fn on_slope(wander: Option<&Wander>, pacing: &Pacing, gait: Gait, grade: f64) -> f64 {
    match wander {
        _ if pacing.whatever_the_slope => 1.0,
        Some(wander) if pacing.cap_mps.is_infinite() => wander.on_slope(gait, grade),
        _ => slope_factor(gait, grade),
    }
}

/// Level-ground speed at a time with the changes at both ends of the part of a leg, m/s.
fn blended(timeline: &Timeline, part: usize, time_s: f64) -> f64 {
    let level = |i: usize| {
        let s = &timeline.parts[i];
        if s.gait == Gait::Unknown { 0.0 } else { timeline.pacings[s.leg].level_at_mps(time_s) }
    };
    let now = timeline.parts[part];
    // From the beginning of the change into a part to its end.
    let change = |s: &LegPart| {
        let middle_s = s.start_s + s.ramp_later * s.ramp_s;
        (middle_s - 0.5 * s.ramp_s, middle_s + 0.5 * s.ramp_s)
    };
    if part == 0 {
        if time_s < now.ramp_s {
            return smooth(time_s / now.ramp_s) * level(0);
        }
    } else if time_s < change(&now).1 {
        let share = smooth((time_s - change(&now).0) / now.ramp_s);
        return level(part - 1) * (1.0 - share) + level(part) * share;
    }
    match timeline.parts.get(part + 1) {
        Some(next) if time_s > change(next).0 => {
            let share = smooth((time_s - change(next).0) / next.ramp_s);
            level(part) * (1.0 - share) + level(part + 1) * share
        }
        _ => level(part),
    }
}

/// Goes from 0 to 1 with level ends.
fn smooth(share: f64) -> f64 {
    let x = share.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// The same of an ideal runner, and under a ceiling.
///
/// Uphill a runner keeps the metabolic cost of the level by Minetti et al. 2002 (J Appl Physiol 93:1039-46), by ratio;
/// downhill the gain is taken by a third only, and a walker changes half as much: our choice.
fn slope_factor(gait: Gait, grade: f64) -> f64 {
    let (ratio, share) = match gait {
        Gait::Run => (running_cost_ratio(grade), 1.0),
        Gait::Walk => (walking_cost_ratio(grade), 0.5),
        Gait::Stand | Gait::Unknown => (1.0, 0.0),
    };
    let share = if grade < 0.0 { share / 3.0 } else { share };
    ratio.powf(-share)
}

/// Rolling ground: the sum of three waves over the distance covered.
struct Hills {
    waves: Vec<(f64, f64, f64)>,
}

impl Hills {
    /// Waves as usual, or scaled so that all together are as steep as is said.
    fn draw(seed: u64, steepest: Option<f64>) -> Self {
        let mut draws = rng(seed, Stream::Hills);
        let mut waves: Vec<(f64, f64, f64)> = HILL_WAVES
            .iter()
            .map(|&(grade, short, long)| {
                let grade = grade * uniform(&mut draws, 0.7, 1.3);
                let per_metre = TAU / uniform(&mut draws, short, long);
                (grade, per_metre, uniform(&mut draws, 0.0, TAU))
            })
            .collect();
        if let Some(steepest) = steepest {
            let scale = steepest / waves.iter().map(|w| w.0).sum::<f64>();
            waves.iter_mut().for_each(|w| w.0 *= scale);
        }
        Self { waves }
    }

    /// Above the start, m.
    fn altitude_m(&self, distance_m: f64) -> f64 {
        let wave =
            |&(grade, k, phase): &(f64, f64, f64)| grade / k * ((k * distance_m + phase).sin() - phase.sin());
        self.waves.iter().map(wave).sum()
    }

    /// Rise over run.
    fn grade(&self, distance_m: f64) -> f64 {
        self.waves.iter().map(|&(grade, k, phase)| grade * (k * distance_m + phase).cos()).sum()
    }
}

/// Gait of the motion at a second.
pub(super) fn gait_at(motion: &Motion, second: usize) -> Gait {
    let parts = &motion.timeline.parts;
    let i = parts.partition_point(|s| s.end_s <= second as f64);
    parts.get(i).map_or(Gait::Unknown, |s| s.gait)
}

#[cfg(test)]
mod tests {
    use jogaudit_core::prescription::{Extent, Session};

    use super::super::faults::Leg;
    use super::*;
    use crate::{Realism, move_through, steps_of};

    /// Legs and motion of a realistic runner who does a session as prescribed.
    fn done(session: &str, seed: u64) -> (Vec<Leg>, Motion) {
        let settings = Settings { seed, realism: Realism::Realistic, ..Settings::default() };
        let steps = steps_of(&Session::parse(session).unwrap(), &settings);
        let (_, scenario, motion) = move_through(&steps, &[], &settings).unwrap();
        (scenario.legs, motion)
    }

    /// Every step in metres covers its distance, also where a realistic runner's lengths would swing from round to round
    /// (seed 8,800,014: off by 70 % without smaller steps).
    #[test]
    fn distances_come_within_half_a_per_cent() {
        for seed in 8_800_000..8_800_040 {
            let (legs, motion) = done("walk 400 m, 6 x (run 400 m, walk 200 m), walk 400 m", seed);
            for (leg, beeps) in legs.iter().zip(motion.timeline.beeps.windows(2)) {
                let Extent::Distance(prescribed) = leg.extent else { panic!("all steps are distances") };
                let off = motion.covered_m(beeps[0], beeps[1]) / prescribed.get() - 1.0;
                assert!(off.abs() < 0.006, "seed {seed}, {prescribed:?}: {off}");
            }
        }
    }

    /// A whole by distance of steps by time ends where it is over, at the speeds of the day and not at usual ones.
    #[test]
    fn a_whole_by_distance_covers_it() {
        let off = (0..40).map(|seed| {
            let (_, motion) = done("walk 5:00, for 3 km (run 2:00, walk 1:00), walk 3:00", seed);
            let beeps = &motion.timeline.beeps;
            (motion.covered_m(beeps[1], beeps[beeps.len() - 2]) / 3000.0 - 1.0).abs()
        });
        let mean_off = off.sum::<f64>() / 40.0;
        assert!(mean_off < 0.03, "{mean_off}");
    }

    /// A whole by time of steps by distance ends when its time is over. (Seed 8,870,053: 0.8 s less, which was no end, and so went on.)
    #[test]
    fn a_whole_by_time_takes_it() {
        for seed in (0..40).chain([8_870_053]) {
            let (_, motion) = done("walk 5:00, for 20:00 (run 400 m, walk 200 m), walk 3:00", seed);
            let beeps = &motion.timeline.beeps;
            let took_s = beeps[beeps.len() - 2] - beeps[1];
            assert!((took_s - 1200.0).abs() <= 2.0, "seed {seed}: {took_s} s");
        }
    }
}
