//! The made-up runner of a seed: size, usual speeds and cadences, heart.
//!
//! The ranges come from the published figures named beside them, not from the gait model.

use super::random::{Stream, normal, rng, uniform};
use super::{Form, Kept, Profile};
use jogaudit_core::gait::Gait;
use rand_chacha::ChaCha8Rng;

/// A normal distribution cut to a range.
#[derive(Clone, Copy, Debug)]
struct TruncatedNormal {
    mean: f64,
    sd: f64,
    least: f64,
    most: f64,
}

impl TruncatedNormal {
    const fn holds(&self, value: f64) -> bool {
        value >= self.least && value <= self.most
    }
}

/// What a profile draws its speeds from.
struct Speeds {
    walk: TruncatedNormal,
    jog: TruncatedNormal,
    /// Least difference between jogging and walking speed, m/s.
    gap: f64,
    /// The same when a pace ceiling holds the jog down.
    gap_under_ceiling: f64,
}

/// Clearly separated speeds. Walking: brisk 1.30–1.56, very brisk 1.79 m/s (Compendium of Physical Activities 2011,
/// labels). Jogging: 2.22–2.78 m/s as "slow speed" in return to running (Rambaud et al. 2018, secondary), self-chosen
/// mean 2.6 m/s of inexperienced runners (van Oeveren et al. 2017). The spreads' shape is our choice.
const STEADY: Speeds = Speeds {
    walk: TruncatedNormal { mean: 1.55, sd: 0.13, least: 1.30, most: 1.80 },
    jog: TruncatedNormal { mean: 2.55, sd: 0.28, least: 2.10, most: 3.20 },
    gap: 0.6,
    gap_under_ceiling: 0.4,
};

/// A slow jogger who walks fast: over people the two speeds overlap. Over ground both gaits occur between 1.9 and 3.0 m/s,
/// but a gap of speed separates the two of one person (Baker, Long, Srinivasan, arXiv 2501.00720); the preferred
/// transition ranges 1.30–2.55 m/s (Thorstensson & Roberthson 1987, from memory). The spreads and the least gap of
/// 0.3 m/s are our choice.
const OVERLAPPING: Speeds = Speeds {
    walk: TruncatedNormal { mean: 1.78, sd: 0.13, least: 1.50, most: 2.10 },
    jog: TruncatedNormal { mean: 2.20, sd: 0.14, least: 1.90, most: 2.50 },
    gap: 0.3,
    gap_under_ceiling: 0.2,
};

/// Someone whose jog is hardly faster than their walk, near what a recorder's speed can tell apart at all. Our choice.
const INDISTINCT: Speeds = Speeds {
    walk: TruncatedNormal { mean: 1.85, sd: 0.10, least: 1.70, most: 2.10 },
    jog: TruncatedNormal { mean: 2.12, sd: 0.12, least: 1.90, most: 2.30 },
    gap: 0.2,
    gap_under_ceiling: 0.2,
};

/// Correlation of a person's walking and jogging speed. Our choice: fit people do both faster.
const SPEED_CORRELATION: f64 = 0.5;

/// Walking cadence that occurs in a session, steps/min: 100 and 130 are the published marks of moderate and vigorous
/// walking (Tudor-Locke et al. 2019, IJBNPA 16:8); 135 is the lower edge of the transition band (Hum Mov Sci
/// 2023;90:103117).
const WALK_CADENCE_SPM: (f64, f64) = (100.0, 135.0);

/// Jogging cadence, steps/min. van Oeveren et al. 2017 (`PLoS ONE` 12:e0184273): 154, 158, 160 self-chosen; the edges
/// are our choice of how far a person may be from that.
const JOG_CADENCE_SPM: (f64, f64) = (145.0, 175.0);
/// Jogging cadence at [`JOG_REFERENCE_MPS`], steps/min (van Oeveren et al. 2017: 154 at 2.4 m/s).
const JOG_CADENCE_REFERENCE_SPM: f64 = 154.0;
/// Speed of that cadence, m/s.
const JOG_REFERENCE_MPS: f64 = 2.4;
/// Rise of jogging cadence with speed, steps/min per m/s: 154 → 160 over 2.4 → 2.9 m/s (van Oeveren et al. 2017).
const JOG_CADENCE_SLOPE: f64 = 12.0;
/// Standard deviation between people at one speed, steps/min. Our choice.
const JOG_CADENCE_SD_SPM: f64 = 7.0;

/// Walk ratio, step length over cadence, m per step/min: about 0.0065 (Sekiya & Nagasaki 1998, from memory), nearly
/// the same at every speed of one person. Mean and spread for brisk outdoor walking are our choice.
const WALK_RATIO: TruncatedNormal = TruncatedNormal { mean: 0.0068, sd: 0.0005, least: 0.0055, most: 0.0082 };

/// Standing height, m. Our choice of an adult population.
const HEIGHT_M: TruncatedNormal = TruncatedNormal { mean: 1.72, sd: 0.09, least: 1.50, most: 1.95 };
/// Leg length as a share of height (Drillis & Contini 1966, from memory).
const LEG_SHARE: f64 = 0.53;

/// Runner of one seed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Person {
    /// Standing height, m.
    pub height_m: f64,
    /// Leg length, m.
    pub leg_m: f64,
    /// Usual walking speed, m/s.
    pub walk_speed_mps: f64,
    /// Usual walking cadence, steps a minute.
    pub walk_cadence_spm: f64,
    /// Usual jogging speed, m/s; below the pace ceiling when there is one.
    pub jog_speed_mps: f64,
    /// Usual jogging cadence, steps a minute.
    pub jog_cadence_spm: f64,
    /// Heart rate at rest, beats a minute.
    pub rest_heart_rate_bpm: f64,
    /// Greatest heart rate, beats a minute.
    pub max_heart_rate_bpm: f64,
    /// Greatest oxygen uptake, mL/kg/min.
    pub vo2_max: f64,
    /// Time constant of the heart rate, s.
    pub heart_lag_s: f64,
}

impl Person {
    /// Draws the runner of `seed` who can keep the limits. `slowest_ceiling_mps` is the lowest ceiling of the
    /// session's runs: the walk stays below the jog under it.
    pub(super) fn draw(seed: u64, profile: Profile, kept: &Kept, slowest_ceiling_mps: Option<f64>) -> Self {
        let rng = &mut rng(seed, Stream::Person);
        let height_m = draw_within(rng, &HEIGHT_M);
        let leg_m = LEG_SHARE * height_m;
        let speeds = match profile {
            Profile::Steady => &STEADY,
            Profile::Overlapping => &OVERLAPPING,
            Profile::Indistinct => &INDISTINCT,
        };
        let (mut walk_speed_mps, mut jog_speed_mps) = draw_speeds(rng, speeds);
        // How far below the ceiling a careful runner jogs: 4 to 10 % (our choice).
        let margin = uniform(rng, 0.04, 0.10);
        if let Some(ceiling) = kept.pace_ceiling_mps {
            jog_speed_mps = jog_speed_mps.min(ceiling * (1.0 - margin));
        }
        if let Some(ceiling) = slowest_ceiling_mps.map(|c| c * (1.0 - margin)).filter(|c| *c < jog_speed_mps)
        {
            walk_speed_mps = walk_speed_mps.min(ceiling - speeds.gap_under_ceiling);
        }
        walk_speed_mps = walk_speed_mps.min(jog_speed_mps - speeds.gap_under_ceiling).max(1.0);
        let jog_cadence_spm = draw_jog_cadence(rng, jog_speed_mps, leg_m);
        let walk_cadence_spm = draw_walk_cadence(rng, walk_speed_mps, height_m, kept.walk_cadence_floor_spm);
        let mut person = Self {
            height_m,
            leg_m,
            walk_speed_mps,
            walk_cadence_spm,
            jog_speed_mps,
            jog_cadence_spm,
            rest_heart_rate_bpm: 0.0,
            max_heart_rate_bpm: 0.0,
            vo2_max: 0.0,
            heart_lag_s: 0.0,
        };
        person.draw_heart(rng, kept.heart_rate_ceiling_bpm);
        person
    }

    /// The same runner with the speeds of a day; the cadences go with them.
    pub(super) fn on_a_day(self, form: Form) -> Self {
        let (walk_speed_mps, jog_speed_mps) =
            (form.walk * self.walk_speed_mps, form.jog * self.jog_speed_mps);
        Self {
            walk_speed_mps,
            walk_cadence_spm: self.cadence_spm(Gait::Walk, walk_speed_mps),
            jog_speed_mps,
            jog_cadence_spm: self.cadence_spm(Gait::Run, jog_speed_mps),
            ..self
        }
    }

    /// Usual speed of a gait, m/s.
    pub(super) fn usual_speed_mps(&self, gait: Gait) -> f64 {
        match gait {
            Gait::Run => self.jog_speed_mps,
            Gait::Walk => self.walk_speed_mps,
            Gait::Stand | Gait::Unknown => 0.0,
        }
    }

    /// Cadence of a gait at a speed, steps a minute. Walking: step length is in proportion to cadence, so that speed
    /// is to its square. Jogging: a gentle line.
    pub(super) fn cadence_spm(&self, gait: Gait, speed_mps: f64) -> f64 {
        match gait {
            Gait::Walk => self.walk_cadence_spm * (speed_mps.max(0.0) / self.walk_speed_mps).sqrt(),
            Gait::Run => {
                (self.jog_cadence_spm + JOG_CADENCE_SLOPE * (speed_mps - self.jog_speed_mps)).max(130.0)
            }
            Gait::Stand | Gait::Unknown => 0.0,
        }
    }

    /// Walking speed at a cadence: the inverse of [`Person::cadence_spm`].
    pub(super) fn walk_speed_at_mps(&self, cadence_spm: f64) -> f64 {
        self.walk_speed_mps * (cadence_spm.max(0.0) / self.walk_cadence_spm).powi(2)
    }

    /// Heart rate that a gait at a level speed settles at, beats a minute.
    ///
    /// Oxygen uptake by the ACSM equations (Guidelines, 10th ed.: walking 3.5 + 0.1·S, running 3.5 + 0.2·S, S in
    /// m/min); the share of the reserve carries over to heart rate one to one (ACSM, from memory).
    pub(super) fn settled_heart_rate_bpm(&self, gait: Gait, speed_mps: f64) -> f64 {
        let metres_per_minute = 60.0 * speed_mps;
        self.heart_rate_bpm(match gait {
            Gait::Run => 0.2 * metres_per_minute,
            Gait::Walk => 0.1 * metres_per_minute,
            // Standing quietly is 1.3 METs (Compendium 2011); more after exercise, our choice.
            Gait::Stand | Gait::Unknown => 3.5,
        })
    }

    /// Heart rate that so much oxygen above rest settles at, mL/kg/min to beats a minute.
    pub(super) fn heart_rate_bpm(&self, above_rest: f64) -> f64 {
        let share = (above_rest / (self.vo2_max - 3.5)).clamp(0.0, 0.97);
        self.rest_heart_rate_bpm + share * (self.max_heart_rate_bpm - self.rest_heart_rate_bpm)
    }

    fn draw_heart(&mut self, rng: &mut ChaCha8Rng, ceiling_bpm: Option<f64>) {
        // Age 22 to 62: our choice. Greatest heart rate 208 − 0.7·age, ± 11 (Tanaka, Monahan, Seals 2001; the error
        // as quoted in Am J Lifestyle Med 2021), cut to ± 15.
        let age = uniform(rng, 22.0, 62.0);
        self.max_heart_rate_bpm = 208.0 - 0.7 * age + (7.0 * normal(rng)).clamp(-15.0, 15.0);
        self.rest_heart_rate_bpm = (62.0 + 7.0 * normal(rng)).clamp(46.0, 78.0);
        // Recreational adults: our choice.
        self.vo2_max = uniform(rng, 36.0, 52.0);
        // On-kinetics of moderate exercise: 30 to 40 s, our choice (no source at hand).
        self.heart_lag_s = uniform(rng, 30.0, 40.0);
        let below = uniform(rng, 6.0, 14.0);
        if let Some(ceiling) = ceiling_bpm {
            // A runner who can keep the ceiling: fit enough that jogging settles below it.
            let share = (ceiling - below - self.rest_heart_rate_bpm)
                / (self.max_heart_rate_bpm - self.rest_heart_rate_bpm);
            let needed = 0.2 * 60.0 * self.jog_speed_mps / share.max(0.2) + 3.5;
            self.vo2_max = self.vo2_max.max(needed);
        }
    }
}

fn draw_within(rng: &mut ChaCha8Rng, law: &TruncatedNormal) -> f64 {
    for _ in 0..1000 {
        let value = law.mean + law.sd * normal(rng);
        if law.holds(value) {
            return value;
        }
    }
    law.mean
}

/// Walking and jogging speed with their correlation, both inside their ranges and apart by the gap.
fn draw_speeds(rng: &mut ChaCha8Rng, speeds: &Speeds) -> (f64, f64) {
    for _ in 0..10_000 {
        let z = normal(rng);
        let own = normal(rng);
        let walk = speeds.walk.mean + speeds.walk.sd * z;
        let mixed = SPEED_CORRELATION * z + (1.0 - SPEED_CORRELATION * SPEED_CORRELATION).sqrt() * own;
        let jog = speeds.jog.mean + speeds.jog.sd * mixed;
        if speeds.walk.holds(walk) && speeds.jog.holds(jog) && jog - walk >= speeds.gap {
            return (walk, jog);
        }
    }
    (speeds.walk.mean, speeds.jog.mean)
}

/// Long legs step more slowly, as a pendulum of that length does (√(1/L)).
fn draw_jog_cadence(rng: &mut ChaCha8Rng, speed_mps: f64, leg_m: f64) -> f64 {
    let line = JOG_CADENCE_REFERENCE_SPM + JOG_CADENCE_SLOPE * (speed_mps - JOG_REFERENCE_MPS);
    let by_leg = line * (LEG_SHARE * HEIGHT_M.mean / leg_m).sqrt();
    let (least, most) = JOG_CADENCE_SPM;
    for _ in 0..1000 {
        let value = by_leg + JOG_CADENCE_SD_SPM * normal(rng);
        if (least..=most).contains(&value) {
            return value;
        }
    }
    by_leg.clamp(least, most)
}

fn draw_walk_cadence(rng: &mut ChaCha8Rng, speed_mps: f64, height_m: f64, floor_spm: Option<f64>) -> f64 {
    let (least, most) = WALK_CADENCE_SPM;
    let mut value = f64::NAN;
    for _ in 0..1000 {
        let ratio = draw_within(rng, &WALK_RATIO) * height_m / HEIGHT_M.mean;
        value = (60.0 * speed_mps / ratio).sqrt();
        if (least..=most).contains(&value) {
            break;
        }
    }
    // A brisk walker keeps a floor by 5 to 10 steps/min (our choice), with shorter steps where need be.
    let above = uniform(rng, 5.0, 10.0);
    let value = value.clamp(least, most);
    floor_spm.map_or(value, |floor| value.max(floor + above))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn people(profile: Profile) -> impl Iterator<Item = Person> {
        (0..2000).map(move |seed| Person::draw(seed, profile, &Kept::default(), None))
    }

    #[test]
    fn speeds_and_cadences_stay_within_the_published_ranges() {
        for profile in [Profile::Steady, Profile::Overlapping] {
            for p in people(profile) {
                assert!((1.3..=2.1).contains(&p.walk_speed_mps), "{p:?}");
                assert!((1.9..=3.2).contains(&p.jog_speed_mps), "{p:?}");
                assert!((100.0..=135.0).contains(&p.walk_cadence_spm), "{p:?}");
                assert!((145.0..=175.0).contains(&p.jog_cadence_spm), "{p:?}");
                assert!(p.jog_speed_mps - p.walk_speed_mps >= 0.2 - 1e-9, "{p:?}");
            }
        }
    }

    #[test]
    fn the_overlapping_profile_overlaps_and_the_steady_one_does_not() {
        let fastest_walk = |profile| people(profile).map(|p| p.walk_speed_mps).fold(0.0, f64::max);
        let slowest_jog = |profile| people(profile).map(|p| p.jog_speed_mps).fold(9.0, f64::min);
        assert!(fastest_walk(Profile::Steady) < slowest_jog(Profile::Steady));
        assert!(fastest_walk(Profile::Overlapping) > slowest_jog(Profile::Overlapping) + 0.05);
        let close = people(Profile::Indistinct).filter(|p| p.jog_speed_mps - p.walk_speed_mps < 0.25).count();
        assert!(close > 200, "only {close} of 2000 have a gap below 0.25 m/s");
    }

    #[test]
    fn mean_jogging_cadence_agrees_with_the_published_means() {
        // van Oeveren et al. 2017: 154, 158 and 160 steps/min at 2.4, 2.6 and 2.9 m/s. The line through the first and
        // the last misses the middle by 2; the mean of some 200 people has a standard error of 0.5.
        for (speed_mps, published_spm) in [(2.4, 154.0), (2.6, 158.0), (2.9, 160.0)] {
            let near: Vec<f64> = people(Profile::Steady)
                .filter(|p| (p.jog_speed_mps - speed_mps).abs() < 0.05)
                .map(|p| p.jog_cadence_spm)
                .collect();
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            assert!((mean - published_spm).abs() < 2.5, "{mean} of {} people at {speed_mps} m/s", near.len());
        }
    }

    #[test]
    fn the_form_of_a_day_changes_speeds_and_cadences_of_the_same_person() {
        for p in people(Profile::Overlapping).take(100) {
            // The bytes of whoever has no form of their own stay as they were.
            assert_eq!(p.on_a_day(Form::default()), p);
            let fast = p.on_a_day(Form { walk: 1.0, jog: 1.05 });
            assert_eq!((fast.walk_speed_mps, fast.walk_cadence_spm), (p.walk_speed_mps, p.walk_cadence_spm));
            assert!((fast.jog_speed_mps / p.jog_speed_mps - 1.05).abs() < 1e-12);
            assert!(fast.jog_cadence_spm > p.jog_cadence_spm && fast.height_m == p.height_m);
        }
    }

    #[test]
    fn limits_are_kept_by_the_person_drawn() {
        let kept = Kept {
            pace_ceiling_mps: Some(2.2),
            heart_rate_ceiling_bpm: Some(145.0),
            walk_cadence_floor_spm: Some(115.0),
            session_ceiling_s: None,
        };
        for seed in 0..500 {
            for profile in [Profile::Steady, Profile::Overlapping] {
                let p = Person::draw(seed, profile, &kept, Some(2.2));
                assert!(p.jog_speed_mps <= 2.2 * 0.96 + 1e-9);
                assert!(p.jog_speed_mps - p.walk_speed_mps >= 0.2 - 1e-9);
                assert!(p.walk_cadence_spm >= 120.0);
                assert!(p.settled_heart_rate_bpm(Gait::Run, p.jog_speed_mps) <= 139.5, "{p:?}");
            }
        }
    }
}
