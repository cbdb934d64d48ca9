//! What the heart does while its owner walks, runs and stands.
//!
//! "Measured" and the laws are to each other as in [`super::ways`]; the measured figures are in `docs/simulator.md`.

use std::ops::Range;

use super::person::Person;
use super::random::{Ar1, Stream, normal, rng, uniform};
use super::rate::PERIOD_S;
use super::ways::{Spread, runner_seed};
use super::{Realism, Settings};
use jogaudit_core::gait::Gait;

/// A runner without a heart-rate fault stays this far below a ceiling, beats/min. Our choice: faults come singly.
const HEART_MARGIN_BPM: f64 = 3.0;
/// Energy of walking and running at speeds, mph and MET (Compendium of Physical Activities 2011, Ainsworth et al., MSSE 2011;43:1575-81). The
/// equations of the ideal heart are not meant for quick walks: there people who walk and who run need the same.
const WALKING: [(f64, f64); 7] =
    [(2.0, 2.8), (2.5, 3.0), (3.0, 3.5), (3.5, 4.3), (4.0, 5.0), (4.5, 7.0), (5.0, 8.3)];
/// The same of running.
const RUNNING: [(f64, f64); 6] = [(4.0, 6.0), (5.0, 8.3), (5.2, 9.0), (6.0, 9.8), (6.7, 10.5), (7.0, 11.0)];
/// Metres a second of one mile an hour.
const MPH: f64 = 0.44704;
/// Oxygen of one MET, mL/kg/min.
const MET: f64 = 3.5;
/// MET of standing about between walks and runs. Our choice; quietly it is 1.3 (same table).
const STANDING: f64 = 2.0;
/// What a grade adds to the oxygen for each m/min walked and run, as a multiple of it (ACSM Guidelines, 10th ed.).
const OF_GRADE: (f64, f64) = (1.8, 0.9);
/// Downhill, where that does not hold, at least this share of the level's is needed. Our choice.
const DOWNHILL: f64 = 0.7;
/// Real hearts differ less between walking and running than the oxygen would have it, since a walk between runs is recovery:
/// this share of it is left. Measured: the end of a run lies 30 beats [6–65] above that of the walk beside it, 22 [11–29] for each m/s.
const CONTRAST: Range<f64> = 0.3..0.7;
/// Time constant of a real heart that speeds up, s. Measured, with the sensor's: 45 s [27–150].
const RISE_S: Range<f64> = 18.0..45.0;
/// The same of one that slows down, as a multiple. Our choice.
const FALL: Range<f64> = 1.0..1.5;
/// How far a heart wanders beside what is done, beats/min. Measured: a first-order heart leaves 5.9 [4.3–8.6].
const WANDER_BPM: Spread = Spread { median: 5.0, factor: 1.5 };
/// Correlation time of that, s. Measured: 59 s [31–187].
const WANDER_S: Spread = Spread { median: 55.0, factor: 1.8 };
/// By how much it rises in half an hour of the same, beats/min. Measured: 6 [-4–13].
const DRIFT_BPM: Range<f64> = 0.0..12.0;
/// Seconds of that.
const DRIFT_S: f64 = 1800.0;

/// What is done at one moment.
pub(super) struct Doing {
    pub(super) gait: Gait,
    /// Speed that is meant on the level, m/s.
    pub(super) level_mps: f64,
    /// Speed as it is, m/s.
    pub(super) speed_mps: f64,
    /// Rise over run.
    pub(super) grade: f64,
    /// How far above its ceiling the heart is ordered to go, beats/min.
    pub(super) over_bpm: Option<f64>,
    /// How long this part of the leg lasts, s.
    pub(super) part_s: f64,
}

/// The heart follows what is done with a lag.
pub(super) struct Heart<'a> {
    person: &'a Person,
    ceiling_bpm: Option<f64>,
    now_bpm: f64,
    ways: Option<HeartWays>,
}

/// What real hearts do and ideal ones do not.
struct HeartWays {
    /// The contrast is of what lies above and below this, beats/min.
    middle_bpm: f64,
    contrast: f64,
    rise_s: f64,
    fall_s: f64,
    drift_bpm: f64,
    wander: Ar1,
    now_s: f64,
}

impl HeartWays {
    fn draw(person: &Person, settings: &Settings) -> Option<Self> {
        if settings.realism == Realism::Ideal {
            return None;
        }
        let mut runner = rng(runner_seed(settings), Stream::RunnerHeart);
        let mut within = |range: &Range<f64>| uniform(&mut runner, range.start, range.end);
        let (contrast, rise_s, fall) = (within(&CONTRAST), within(&RISE_S), within(&FALL));
        let mut session = rng(settings.seed, Stream::SessionHeart);
        let drift_bpm = uniform(&mut session, DRIFT_BPM.start, DRIFT_BPM.end);
        let wander_bpm = WANDER_BPM.at(normal(&mut session));
        let wander_s = WANDER_S.at(normal(&mut session));
        let settled = |gait, speed_mps| person.heart_rate_bpm(above_rest(gait, speed_mps, 0.0));
        Some(Self {
            middle_bpm: f64::midpoint(
                settled(Gait::Walk, person.walk_speed_mps),
                settled(Gait::Run, person.jog_speed_mps),
            ),
            contrast,
            rise_s,
            fall_s: rise_s * fall,
            drift_bpm,
            wander: Ar1::with_time(wander_bpm, wander_s, PERIOD_S, session),
            now_s: 0.0,
        })
    }
}

/// Oxygen above rest, mL/kg/min.
fn above_rest(gait: Gait, speed_mps: f64, grade: f64) -> f64 {
    let (table, of_grade) = match gait {
        Gait::Walk => (&WALKING[..], OF_GRADE.0),
        Gait::Run => (&RUNNING[..], OF_GRADE.1),
        Gait::Stand | Gait::Unknown => return (STANDING - 1.0) * MET,
    };
    let level = (on_lines(table, speed_mps / MPH) - 1.0).max(0.0) * MET;
    (level + of_grade * grade * 60.0 * speed_mps).max(DOWNHILL * level)
}

/// Value at `x` on the lines between points, and on the first and last of these beyond them.
fn on_lines(points: &[(f64, f64)], x: f64) -> f64 {
    let next = points.partition_point(|point| point.0 < x).clamp(1, points.len() - 1);
    let ((x0, y0), (x1, y1)) = (points[next - 1], points[next]);
    y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}

impl<'a> Heart<'a> {
    pub(super) fn new(person: &'a Person, settings: &Settings) -> Self {
        let mut draws = rng(settings.seed, Stream::HeartRate);
        // Standing about before a session: our choice.
        let now_bpm = person.rest_heart_rate_bpm + 15.0 + 4.0 * normal(&mut draws);
        let ways = HeartWays::draw(person, settings);
        Self { person, ceiling_bpm: settings.kept.heart_rate_ceiling_bpm, now_bpm, ways }
    }

    /// Gives the present rate, beats/min, and moves one step on.
    pub(super) fn step(&mut self, doing: &Doing) -> f64 {
        let settled_bpm = match &self.ways {
            None => self.person.settled_heart_rate_bpm(doing.gait, doing.level_mps),
            Some(ways) => {
                let bpm = self.person.heart_rate_bpm(above_rest(doing.gait, doing.speed_mps, doing.grade));
                ways.middle_bpm + ways.contrast * (bpm - ways.middle_bpm)
            }
        };
        let allowed_bpm = self.ceiling_bpm.map_or(f64::INFINITY, |ceiling| ceiling - HEART_MARGIN_BPM);
        let over_bpm = doing.over_bpm.filter(|_| doing.gait == Gait::Run);
        let before = self.now_bpm;
        let target = match over_bpm {
            Some(over) => self.ceiling_bpm.unwrap_or(settled_bpm) + over,
            None => settled_bpm.min(allowed_bpm),
        };
        let usual_s = match &self.ways {
            None => self.person.heart_lag_s,
            Some(ways) if target > before => ways.rise_s,
            Some(ways) => ways.fall_s,
        };
        // Quick enough to get there within the rep.
        let lag_s = if over_bpm.is_some() { usual_s.min(doing.part_s / 8.0) } else { usual_s };
        self.now_bpm += (target - before) * (PERIOD_S / lag_s).min(1.0);
        let Some(ways) = &mut self.ways else { return before };
        let wandered = before + ways.wander.step() + ways.drift_bpm * ways.now_s / DRIFT_S;
        ways.now_s += PERIOD_S;
        // What is ordered does not wander, and what wanders keeps its limit.
        if over_bpm.is_some() { before } else { wandered.min(allowed_bpm.max(before)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Kept;

    const CEILING_BPM: f64 = 145.0;

    /// Beats a minute while 10 min are walked and 10 min run uphill, once a second.
    fn beats(seed: u64, realism: Realism, over_bpm: Option<f64>) -> Vec<f64> {
        let kept = Kept { heart_rate_ceiling_bpm: Some(CEILING_BPM), ..Kept::default() };
        let settings = Settings { seed, realism, kept, ..Settings::default() };
        let person = Person::draw(seed, settings.profile, &settings.kept, None);
        let mut heart = Heart::new(&person, &settings);
        let mut step = |gait, speed_mps| {
            let part_s = 600.0;
            heart.step(&Doing { gait, level_mps: speed_mps, speed_mps, grade: 0.05, over_bpm, part_s })
        };
        let walk: Vec<f64> = (0..2400).map(|_| step(Gait::Walk, person.walk_speed_mps)).collect();
        let run: Vec<f64> = (0..2400).map(|_| step(Gait::Run, person.jog_speed_mps)).collect();
        walk.into_iter().chain(run).step_by(4).collect()
    }

    #[test]
    fn effort_is_that_of_the_table() {
        // Compendium 2011: 17200 walking 3.5 mph 4.3 MET, 17231 walking 5.0 mph 8.3, 12030 running 5 mph 8.3, 12050 running 6 mph 9.8.
        for (gait, mph, met) in
            [(Gait::Walk, 3.5, 4.3), (Gait::Walk, 5.0, 8.3), (Gait::Run, 5.0, 8.3), (Gait::Run, 6.0, 9.8)]
        {
            assert!((above_rest(gait, mph * MPH, 0.0) / MET + 1.0 - met).abs() < 1e-9, "{gait:?} {mph}");
        }
        assert!(
            (on_lines(&WALKING, 3.25) - 3.9).abs() < 1e-9 && (on_lines(&WALKING, 1.0) - 2.4).abs() < 1e-9
        );
        // ACSM: 1.8 mL/kg/min for each m/min and grade.
        let up = above_rest(Gait::Walk, 1.5, 0.1) - above_rest(Gait::Walk, 1.5, 0.0);
        assert!((up - 16.2).abs() < 1e-9);
    }

    #[test]
    fn a_heart_keeps_its_ceiling_unless_ordered_over_it() {
        for seed in 0..40 {
            for realism in [Realism::Ideal, Realism::Realistic] {
                let most = |over| beats(seed, realism, over).into_iter().fold(0.0, f64::max);
                assert!(most(None) <= CEILING_BPM - HEART_MARGIN_BPM, "{seed} {realism:?}");
                let over = most(Some(12.0)) - CEILING_BPM;
                assert!((11.0..=12.0).contains(&over), "{seed} {realism:?}: {over} over");
            }
        }
    }

    #[test]
    fn real_hearts_differ_less_between_gaits_and_wander() {
        let settled = |beats: &[f64]| beats[480..600].iter().sum::<f64>() / 120.0;
        let apart = |realism| {
            (0..40)
                .map(|seed| beats(seed, realism, None))
                .map(|b| settled(&b[600..]) - settled(&b[..600]))
                .sum::<f64>()
                / 40.0
        };
        assert!(apart(Realism::Realistic) < 0.75 * apart(Realism::Ideal));
        let jitter = |realism| {
            let beats = beats(1, realism, None);
            beats[300..600].windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>()
        };
        assert!(jitter(Realism::Realistic) > 3.0 * jitter(Realism::Ideal));
    }
}
