//! How real runners move and ideal ones do not: laws drawn for each runner and session.
//!
//! "Measured" means the table in `docs/simulator.md`: figures that we measured over sample files of public parser
//! libraries, as recordings show them. The laws here are of what is true and of what a recorder does to it; they were set so
//! that made-up recordings, measured in the same way, give those figures. The test `realism` holds them to it.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::person::Person;
use super::random::{Ar1, Smooth, Stream, normal, rng, uniform};
use super::rate::PERIOD_S;
use super::{Realism, Settings};
use jogaudit_core::gait::Gait;

/// A quantity that differs by a factor from case to case: log-normal, cut at 2 standard deviations.
pub(super) struct Spread {
    pub(super) median: f64,
    /// 10th and 90th percentile over the median are one over this and this.
    pub(super) factor: f64,
}

impl Spread {
    /// The value of a standard normal draw.
    pub(super) fn at(&self, z: f64) -> f64 {
        /// 90th percentile of the standard normal law.
        const Z90: f64 = 1.2816;
        self.median * self.factor.powf(z.clamp(-2.0, 2.0) / Z90)
    }
}

/// Speed of one bout from the usual, standard deviation as a share. Measured from bout to bout: runs 0.127 [.06–.23].
const RUN_LEVELS: Spread = Spread { median: 0.19, factor: 1.9 };
/// The same of walks. Measured: 0.093.
const WALK_LEVELS: Spread = Spread { median: 0.070, factor: 1.8 };
/// Slow wander of speed within a bout, standard deviation as a share. Measured within runs, the recorder's own error
/// included: 0.081 [.025–.170].
const RUN_WANDER: Spread = Spread { median: 0.085, factor: 2.6 };
/// The same of walks. Measured: 0.087 [.044–.197].
const WALK_WANDER: Spread = Spread { median: 0.085, factor: 2.4 };
/// Time constant of that wander, s: its autocorrelation is (1 + t/T)·e^(−t/T), which falls to 1/e at 2.15 T. Measured after
/// detrending, which shortens it: 25 s and 21 s.
const WANDER_S: Spread = Spread { median: 30.0, factor: 1.5 };
/// Wander of cadence beyond what follows from speed, standard deviation as a share: runs, walks. Measured with what
/// follows: 0.018 and 0.050.
const CADENCE_WANDER: (f64, f64) = (0.008, 0.042);
/// Correlation time of that, s. Our choice.
const CADENCE_WANDER_S: f64 = 12.0;
/// Of the quick rhythm of an ideal runner's speed a real one has this share: the wander has the rest. Our choice.
pub(super) const RHYTHM_SHARE: f64 = 0.3;
/// Cadence of one bout from the usual beyond what follows from speed, standard deviation as a share: runs, walks.
/// Measured with what follows: 0.028 and 0.037.
const LEG_CADENCE: (f64, f64) = (0.018, 0.010);
/// A walk that is faster by a factor as a whole has a cadence higher by its power of this; moment by moment 0.5. Our
/// choice: both together give the measured spreads.
const LEG_CADENCE_POWER: f64 = 0.2;
/// Length of a true change of speed from walk to run, s. Measured on the recorder's smoothed speed: 10 s [3–15].
const SPEED_UP: Spread = Spread { median: 7.5, factor: 2.0 };
/// The same from run to walk. Measured: 10 s [0.5–20].
const SLOW_DOWN: Spread = Spread { median: 5.0, factor: 8.0 };
/// How much later than the change of gait the middle of the change of speed is, as a share of its length: a runner steps off
/// and gets faster, but slows down and then walks. Measured with the recorder's lag: its speed is later than its cadence
/// by 4 s and 1.5 s.
const SPEED_UP_LATER: f64 = 0.0;
/// The same from run to walk.
const SLOW_DOWN_LATER: f64 = -0.4;
/// A run's level stays above the usual walk by this share of the difference of the usual speeds, and a walk's below the usual
/// run. Our choice: over ground a gap of speed separates the gaits of one person (Baker, Long, Srinivasan, arXiv 2501.00720).
const LEVELS_APART: f64 = 0.4;
/// Fastest level of a run as a share of the usual one. Our choice: a runner who comes back jogs, and does not race.
const MOST_LEVEL: f64 = 1.4;
/// Froude number v²/(g·L), L the leg's length, at which people change from walking to running (Alexander 1989; Kram, Domingo, Ferris
/// 1997): walks do not wander above that speed.
const TRANSITION_FROUDE: f64 = 0.5;
/// Standard gravity.
const GRAVITY_MPS2: f64 = 9.81;
/// Slowest level of a walk, m/s. Our choice.
const SLOWEST_WALK_MPS: f64 = 0.9;
/// Candidates that a bout's level is taken from, the first that stays apart.
const CANDIDATES: usize = 8;
/// Highest true cadence of a walk and lowest of a run, steps/min. Our choice: the measured files are those whose cadence
/// tells the gaits apart.
const CADENCES_APART_SPM: (f64, f64) = (138.0, 142.0);
/// Walking cadence stays this far above a floor that is kept, steps/min. Our choice.
const FLOOR_MARGIN_SPM: f64 = 2.0;
/// Mean length of a stretch of one surface, m, the share that is soft, and the speed on it as a share. Our choice.
const SURFACE_M: f64 = 250.0;
/// Share of the stretches that are soft.
const SOFT_SHARE: f64 = 0.25;
/// Speed on soft ground as a share of that on hard ground.
const SOFT: (f64, f64) = (0.90, 0.98);
/// Mean time between two moments at which the runner is held up (a gate, a crossing, company), s, how long they last, s, and
/// the share of speed that is left. Our choice, so that the quick runners too have slow seconds: measured are 3.7 % [.9–12] of
/// running below 1.9 m/s.
const HELD_UP: (f64, (f64, f64), (f64, f64)) = (600.0, (5.0, 15.0), (0.5, 0.8));
/// How fast a runner slows down and gets going there, time constant in s. Our choice.
const HELD_UP_TIME_S: f64 = 1.5;
/// Steepest grade of a session on hills. Our choice: from rolling to as steep as is still run.
const STEEPEST: (f64, f64) = (0.06, 0.25);
/// Share of the speed that is lost for each unit of slope uphill, in the log: runs. Measured: 3.1 [1.0–4.0].
const RUN_UP: Spread = Spread { median: 2.7, factor: 1.7 };
/// The same of walks. Measured: 2.2 [1.2–4.3].
const WALK_UP: Spread = Spread { median: 2.2, factor: 1.5 };
/// What is gained downhill, mean and standard deviation: runs, walks. Measured: -0.2 [-2.3–1.1], -1.9
/// [-5.5–-0.1].
const RUN_DOWN: (f64, f64) = (-0.4, 1.3);
/// The same of walks.
const WALK_DOWN: (f64, f64) = (-1.0, 1.2);
/// On a slope speed keeps at least this share. Our choice.
const LEAST_ON_SLOPE: f64 = 0.5;

/// How far a share of the spread between sessions comes from the runner: 0.8² + 0.6² = 1. Our choice.
const OF_RUNNER: f64 = 0.8;
/// The share that comes from the day.
const OF_SESSION: f64 = 0.6;

/// Seed of what stays with the person: body, habits and watch.
pub(super) fn runner_seed(settings: &Settings) -> u64 {
    settings.runner_seed.unwrap_or(settings.seed)
}

/// The habits of a runner on a day.
#[derive(Clone, Debug)]
pub(super) struct Ways {
    run_levels: f64,
    walk_levels: f64,
    run_wander: f64,
    walk_wander: f64,
    wander_s: f64,
    run_slopes: Slopes,
    walk_slopes: Slopes,
    seed: u64,
    floor_spm: Option<f64>,
}

/// What a slope does to somebody's speed, as the change of its log for a unit of slope.
#[derive(Clone, Copy, Debug)]
struct Slopes {
    /// Lost uphill.
    up: f64,
    /// Gained downhill.
    down: f64,
}

impl Slopes {
    fn factor(self, grade: f64) -> f64 {
        let change = if grade > 0.0 { -self.up * grade } else { -self.down * grade };
        change.exp().max(LEAST_ON_SLOPE)
    }
}

/// What chance gives a leg.
pub(super) struct LegDraws {
    level: [f64; CANDIDATES],
    cadence: f64,
    ramp: f64,
}

impl Ways {
    /// None for ideal sessions.
    pub(super) fn draw(settings: &Settings) -> Option<Self> {
        if settings.realism == Realism::Ideal {
            return None;
        }
        let mut runner = rng(runner_seed(settings), Stream::RunnerWays);
        let mut session = rng(settings.seed, Stream::SessionWays);
        let mut z = || OF_RUNNER * normal(&mut runner) + OF_SESSION * normal(&mut session);
        Some(Self {
            run_levels: RUN_LEVELS.at(z()),
            walk_levels: WALK_LEVELS.at(z()),
            run_wander: RUN_WANDER.at(z()),
            walk_wander: WALK_WANDER.at(z()),
            wander_s: WANDER_S.at(z()),
            run_slopes: Slopes { up: RUN_UP.at(z()), down: RUN_DOWN.0 + RUN_DOWN.1 * z() },
            walk_slopes: Slopes { up: WALK_UP.at(z()), down: WALK_DOWN.0 + WALK_DOWN.1 * z() },
            seed: settings.seed,
            floor_spm: settings.kept.walk_cadence_floor_spm,
        })
    }

    /// Draws of every leg.
    pub(super) fn legs(&self, count: usize) -> Vec<LegDraws> {
        let mut draws = rng(self.seed, Stream::LegWays);
        (0..count)
            .map(|_| LegDraws {
                level: std::array::from_fn(|_| normal(&mut draws).clamp(-2.5, 2.5)),
                cadence: normal(&mut draws).clamp(-2.5, 2.5),
                ramp: normal(&mut draws),
            })
            .collect()
    }

    /// Level speed of a leg around what is meant, m/s.
    pub(super) fn level_mps(&self, gait: Gait, meant_mps: f64, person: &Person, draws: &LegDraws) -> f64 {
        let apart_mps = LEVELS_APART * (person.jog_speed_mps - person.walk_speed_mps);
        let (sd, range) = if gait == Gait::Run {
            let least = (person.walk_speed_mps + apart_mps).min(0.98 * meant_mps);
            (self.run_levels, least..MOST_LEVEL * meant_mps)
        } else {
            let most = (person.jog_speed_mps - apart_mps).max(1.02 * meant_mps);
            (self.walk_levels, SLOWEST_WALK_MPS..most)
        };
        let levels = draws.level.iter().map(|z| meant_mps * (1.0 + sd * z));
        levels.clone().find(|v| range.contains(v)).unwrap_or(meant_mps)
    }

    /// Cadence of a leg above what its speed alone would give, steps/min.
    pub(super) fn cadence_offset_spm(gait: Gait, level_mps: f64, person: &Person, draws: &LegDraws) -> f64 {
        match gait {
            Gait::Run => LEG_CADENCE.0 * draws.cadence * person.jog_cadence_spm,
            Gait::Walk => {
                let faster = level_mps / person.walk_speed_mps;
                let by_speed = faster.powf(LEG_CADENCE_POWER) - faster.sqrt();
                (by_speed + LEG_CADENCE.1 * draws.cadence) * person.walk_cadence_spm
            }
            Gait::Stand | Gait::Unknown => 0.0,
        }
    }

    /// How long a change into a gait takes, s, and how much later than the change of gait its middle is, as a share of that.
    pub(super) fn ramp(into: Gait, draws: &LegDraws) -> (f64, f64) {
        if into == Gait::Run {
            (SPEED_UP.at(draws.ramp).clamp(1.0, 15.0), SPEED_UP_LATER)
        } else {
            (SLOW_DOWN.at(draws.ramp).clamp(0.5, 20.0), SLOW_DOWN_LATER)
        }
    }
}

/// How far above its level a speed may wander, as a factor: a walk not above the speed at which people begin to run.
pub(super) fn most_wander(gait: Gait, level_mps: f64, person: &Person) -> f64 {
    let transition_mps = (TRANSITION_FROUDE * GRAVITY_MPS2 * person.leg_m).sqrt();
    if gait == Gait::Walk { (transition_mps / level_mps).max(1.0) } else { f64::INFINITY }
}

/// The steepest grade of a session on hills; none for an ideal one.
pub(super) fn steepest(settings: &Settings) -> Option<f64> {
    (settings.realism == Realism::Realistic)
        .then(|| uniform(&mut rng(settings.seed, Stream::Steepness), STEEPEST.0, STEEPEST.1))
}

/// The slow wander of a session, and the ground it goes over.
pub(super) struct Wander {
    ways: Ways,
    speed: Smooth,
    cadence: Ar1,
    surfaces: ChaCha8Rng,
    surface: f64,
    surface_until_m: f64,
    held_up: HeldUp,
}

impl Wander {
    pub(super) fn new(ways: Ways) -> Self {
        let cadence = rng(ways.seed, Stream::CadenceWander);
        Self {
            speed: Smooth::new(ways.wander_s, PERIOD_S, rng(ways.seed, Stream::SpeedWander)),
            cadence: Ar1::with_time(1.0, CADENCE_WANDER_S, PERIOD_S, cadence),
            surfaces: rng(ways.seed, Stream::Surfaces),
            surface: 1.0,
            surface_until_m: 0.0,
            held_up: HeldUp::new(ways.seed),
            ways,
        }
    }

    /// Factor of the speed, and factor of the cadence beyond it, for the next moment.
    pub(super) fn step(&mut self, gait: Gait, distance_m: f64) -> (f64, f64) {
        while distance_m >= self.surface_until_m {
            // Where stretches end is independent of where they began.
            self.surface_until_m -= SURFACE_M * (1.0 - self.surfaces.random::<f64>()).ln();
            let soft = self.surfaces.random::<f64>() < SOFT_SHARE;
            let factor = uniform(&mut self.surfaces, SOFT.0, SOFT.1);
            self.surface = if soft { factor } else { 1.0 };
        }
        let run = gait == Gait::Run;
        let sd = if run { self.ways.run_wander } else { self.ways.walk_wander };
        let cadence_sd = if run { CADENCE_WANDER.0 } else { CADENCE_WANDER.1 };
        // A walker is less in anyone's way.
        let held_up = self.held_up.step();
        let held_up = if run { held_up } else { f64::midpoint(held_up, 1.0) };
        let speed = 1.0 + sd * self.speed.step().clamp(-2.5, 2.5);
        (speed.max(0.5) * self.surface * held_up, 1.0 + cadence_sd * self.cadence.step())
    }

    /// Speed on a slope over speed on the level, where no ceiling is kept.
    pub(super) fn on_slope(&self, gait: Gait, grade: f64) -> f64 {
        match gait {
            Gait::Run => self.ways.run_slopes.factor(grade),
            Gait::Walk => self.ways.walk_slopes.factor(grade),
            Gait::Stand | Gait::Unknown => 1.0,
        }
    }

    /// The cadence kept to what tells the gaits apart, and a walk's above a floor that is kept. `going` is how much of the leg's
    /// level the speed has, 0 to 1.
    pub(super) fn kept_apart(&self, gait: Gait, cadence_spm: f64, going: f64, ordered: bool) -> f64 {
        match gait {
            Gait::Run => cadence_spm.max(CADENCES_APART_SPM.1),
            Gait::Walk => {
                let floor = self.ways.floor_spm.filter(|_| !ordered);
                let least = floor.map_or(0.0, |spm| (spm + FLOOR_MARGIN_SPM) * going.clamp(0.0, 1.0).sqrt());
                cadence_spm.min(CADENCES_APART_SPM.0).max(least)
            }
            Gait::Stand | Gait::Unknown => cadence_spm,
        }
    }
}

/// Moments at which something is in the runner's way.
struct HeldUp {
    draws: ChaCha8Rng,
    now_s: f64,
    from_s: f64,
    until_s: f64,
    left: f64,
    factor: f64,
}

impl HeldUp {
    fn new(seed: u64) -> Self {
        let mut new = Self {
            draws: rng(seed, Stream::Slowed),
            now_s: 0.0,
            from_s: 0.0,
            until_s: 0.0,
            left: 1.0,
            factor: 1.0,
        };
        new.draw();
        new
    }

    fn draw(&mut self) {
        let (mean_s, (least_s, most_s), (least, most)) = HELD_UP;
        // Times between rare events that know nothing of each other are exponential.
        self.from_s = self.until_s - mean_s * (1.0 - self.draws.random::<f64>()).ln();
        self.until_s = self.from_s + uniform(&mut self.draws, least_s, most_s);
        self.left = uniform(&mut self.draws, least, most);
    }

    /// Factor of the speed for the next moment.
    fn step(&mut self) -> f64 {
        if self.now_s >= self.until_s {
            self.draw();
        }
        let target = if self.now_s >= self.from_s { self.left } else { 1.0 };
        self.factor += (target - self.factor) * PERIOD_S / HELD_UP_TIME_S;
        self.now_s += PERIOD_S;
        self.factor
    }
}
