//! Hand-made recordings for the audit's tests. Everything here is made up.

use jiff::Timestamp;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::clean::{Columns, Gap, GapKind, Series, SpeedSource};
use crate::gait::{Bout, Gait, Segmentation};
use crate::prescription::{Extent, Item, Limits, Move, Session, Stage};
use jogaudit_recording::units::{MetresPerSecond, Seconds};

/// A bout with usual errors and certainty.
pub(super) fn bout(gait: Gait, start_s: f64, end_s: f64) -> Bout {
    let start_error_s = if start_s == 0.0 { 0.0 } else { 0.7 };
    Bout { start_error_s, end_error_s: 0.7, certainty: 0.99, ..Bout::blank(gait, start_s, end_s) }
}

/// Reads `"w300 r60 s20 u30"`: walk, run, stand and unknown bouts in seconds.
pub(super) fn segmentation(text: &str) -> Segmentation {
    segmentation_of(&parse(text))
}

pub(super) fn parse(text: &str) -> Vec<(Gait, f64)> {
    text.split_whitespace()
        .map(|word| {
            let gait = match &word[..1] {
                "r" => Gait::Run,
                "w" => Gait::Walk,
                "s" => Gait::Stand,
                "u" => Gait::Unknown,
                other => panic!("no gait {other}"),
            };
            (gait, word[1..].parse().unwrap())
        })
        .collect()
}

pub(super) fn segmentation_of(parts: &[(Gait, f64)]) -> Segmentation {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut at = 0.0;
    for &(gait, length) in parts {
        match bouts.last_mut() {
            Some(last) if last.gait == gait => last.end_s = at + length,
            _ => bouts.push(bout(gait, at, at + length)),
        }
        at += length;
    }
    if let Some(last) = bouts.last_mut() {
        last.end_error_s = 0.0;
    }
    Segmentation::new(bouts).unwrap()
}

/// A series made of functions of time (and distance).
pub(super) struct Track {
    columns: Columns,
    step_s: f64,
}

impl Track {
    pub(super) fn new(length_s: f64) -> Self {
        Self::sampled(length_s, 1.0)
    }

    pub(super) fn sampled(length_s: f64, step_s: f64) -> Self {
        let n = (length_s / step_s).floor() as usize + 1;
        let time_s = (0..n).map(|i| i as f64 * step_s).collect();
        let columns = Columns::without_readings(Timestamp::UNIX_EPOCH, time_s);
        Self { columns, step_s }
    }

    /// Speeds and cadences of each bout; speeds 2.3 and 1.5 m/s, cadences 160 and 120 steps/min.
    pub(super) fn of(segmentation: &Segmentation) -> Self {
        let bouts = segmentation.bouts().to_vec();
        let at = move |t: f64| bouts.iter().find(|b| t < b.end_s).or(bouts.last()).map(|b| b.gait);
        let gait_at = at.clone();
        Self::new(segmentation.elapsed_s())
            .speed(move |t| match gait_at(t) {
                Some(Gait::Run) => 2.3,
                Some(Gait::Walk) => 1.5,
                _ => 0.0,
            })
            .cadence(move |t| match at(t) {
                Some(Gait::Run) => 160.0,
                Some(Gait::Walk) => 120.0,
                _ => 0.0,
            })
    }

    pub(super) fn speed(mut self, speed: impl Fn(f64) -> f64) -> Self {
        let mut distance = 0.0;
        for (i, t) in self.columns.time_s.iter().enumerate() {
            let v = speed(*t);
            self.columns.speed_mps[i] = Some(v);
            self.columns.distance_m[i] = Some(distance);
            distance += v * self.step_s;
        }
        self.columns.speed_source = SpeedSource::Recorder;
        self
    }

    pub(super) fn cadence(mut self, cadence: impl Fn(f64) -> f64) -> Self {
        self.columns.cadence_spm = self.columns.time_s.iter().map(|t| Some(cadence(*t))).collect();
        self
    }

    pub(super) fn heart(mut self, heart: impl Fn(f64) -> f64) -> Self {
        self.columns.heart_rate_bpm = self.columns.time_s.iter().map(|t| Some(heart(*t))).collect();
        self
    }

    pub(super) fn altitude(mut self, altitude: impl Fn(f64, f64) -> f64) -> Self {
        for i in 0..self.columns.time_s.len() {
            let distance = self.columns.distance_m[i].unwrap_or(0.0);
            self.columns.altitude_m[i] = Some(altitude(self.columns.time_s[i], distance));
        }
        self
    }

    pub(super) fn pause(mut self, start_s: f64, end_s: f64) -> Self {
        self.columns.gaps.push(Gap { start_s, end_s, kind: GapKind::Pause });
        self
    }

    /// Adds an error to the speed that hangs together over `correlation_s`, with standard deviation `sd_mps`.
    pub(super) fn speed_error(mut self, seed: u64, sd_mps: f64, correlation_s: f64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let keep = (-self.step_s / correlation_s).exp();
        let mut error = sd_mps * normal(&mut rng);
        let mut distance = 0.0;
        for i in 0..self.columns.time_s.len() {
            error = keep * error + (1.0 - keep * keep).sqrt() * sd_mps * normal(&mut rng);
            let v = (self.columns.speed_mps[i].unwrap_or(0.0) + error).max(0.0);
            self.columns.speed_mps[i] = Some(v);
            self.columns.distance_m[i] = Some(distance);
            distance += v * self.step_s;
        }
        self
    }

    pub(super) fn source(mut self, source: SpeedSource) -> Self {
        self.columns.speed_source = source;
        self
    }

    pub(super) fn build(self) -> Series {
        Series::new(self.columns).unwrap()
    }
}

/// A normal deviate (sum of twelve uniform ones: exact enough within ±3).
pub(super) fn normal(rng: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

fn item(motion: Move, seconds: f64) -> Item {
    Item::Interval { motion, extent: Extent::Time(Seconds::new(seconds)).into(), ceiling: None }
}

/// Reads `"w300 r60 w120"` as a session.
pub(super) fn session(text: &str) -> Session {
    let items = parse(text)
        .into_iter()
        .map(|(gait, seconds)| item(if gait == Gait::Run { Move::Run } else { Move::Walk }, seconds))
        .collect();
    Session { items }
}

pub(super) fn stage(text: &str) -> Stage {
    stage_of(session(text))
}

pub(super) fn stage_of(session: Session) -> Stage {
    Stage {
        place: 0,
        kind: None,
        weeks: None,
        name: "1".to_owned(),
        session,
        sessions: None,
        limits: Limits::default(),
        note: None,
        contact: None,
    }
}

pub(super) fn with_ceiling(mut stage: Stage, pace_s_per_km: f64) -> Stage {
    stage.limits.pace_ceiling = Some(MetresPerSecond::from_pace_s_per_km(pace_s_per_km));
    stage
}
