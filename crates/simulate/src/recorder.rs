//! What a recorder makes of the true motion: late, noisy, sometimes silent, sometimes wrong.

use std::f64::consts::TAU;

use rand::RngExt;

use super::cadence_faults;
use super::lag::Lag;
use super::motion::{Motion, TrueSample};
use super::random::{Ar1, Stream, normal, rng, uniform};
use super::rate::{PERIOD_S, SAMPLES_A_SECOND};
use super::timeline::place;
use super::watch::{Watch, intervals_s};
use super::{Gps, Realism, Settings, SimulateError};
use jogaudit_recording::geodesy::{LatLon, Plane};

/// Errors of one strength of reception.
struct Errors {
    /// Standard deviation of a position on each axis, m, and its correlation over 1 s.
    position: (f64, f64),
    /// Uncorrelated part on each axis, m.
    white_m: f64,
    /// Standard deviation of the recorder's own speed, m/s, and its correlation time, s.
    speed: (f64, f64),
    /// Jumps by multipath: mean time between two, s, and least and most distance, m; none when 0 s.
    spikes: (f64, f64, f64),
    /// Standard deviation of the speed inside a jump, m/s.
    spike_speed_mps: f64,
}

/// Our choice for all of them. Bounds of what is plausible: distances of eight consumer watches were off by 3.2 to
/// 6.1 % in the mean (Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118); errors of positions are strongly
/// autocorrelated (Ranacher et al. 2016, IJGIS 30:316-33), speed from Doppler is free of their bias.
fn errors(settings: &Settings) -> Errors {
    match settings.gps {
        Gps::Clean => Errors {
            position: (1.0, 0.99),
            white_m: 0.03,
            speed: (0.05, 3.0),
            spikes: (0.0, 0.0, 0.0),
            spike_speed_mps: 0.0,
        },
        Gps::Typical => Errors {
            position: (3.0, 0.99),
            white_m: 0.08,
            speed: (0.12, 4.0),
            spikes: (1800.0, 10.0, 30.0),
            spike_speed_mps: 0.0,
        },
        Gps::Bad => Errors {
            position: (6.0, 0.98),
            white_m: 0.2,
            speed: (0.25, 6.0),
            spikes: (240.0, 15.0, 60.0),
            spike_speed_mps: 0.8,
        },
        Gps::Coarse => {
            let mut draws = rng(settings.runner_seed.unwrap_or(settings.seed), Stream::Coarse);
            let (sd_m, time_s) = (uniform(&mut draws, 3.0, 6.0), uniform(&mut draws, 5.0, 40.0));
            Errors {
                position: (sd_m, (-1.0 / time_s).exp()),
                white_m: 0.3,
                speed: (0.25, 6.0),
                spikes: (0.0, 0.0, 0.0),
                spike_speed_mps: 0.0,
            }
        }
    }
}

/// Longest jump, s. Our choice.
const LONGEST_SPIKE_S: u32 = 5;
/// A recorder says 0 below this speed, m/s. Our choice.
const STANDSTILL_MPS: f64 = 0.3;
/// Scale error of an ideal recorder's distance, standard deviation as a share. Our choice. That of one as real ones is in its speed and positions too.
const DISTANCE_SCALE_SD: f64 = 0.01;
/// Error of cadence, standard deviation in steps/min, and its correlation time, s. Our choice (test noise ± 3
/// steps/min); watches are valid at running speeds (Adams et al. 2016, JOSPT 46:471-6, secondary).
const CADENCE_ERROR: (f64, f64) = (1.2, 2.0);
/// White error of a barometric altitude, m, and its drift, m a root second. Our choice.
const ALTITUDE_ERROR: (f64, f64) = (0.25, 0.02);
/// Error of a heart-rate sensor, beats/min, and its correlation time, s. Our choice.
const HEART_RATE_ERROR: (f64, f64) = (1.0, 5.0);
/// One recorded moment before it is rounded to what a file format can say. Missing is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Point {
    /// Whole seconds since the watch was started.
    pub(super) second: usize,
    pub(super) position: Option<LatLon>,
    pub(super) altitude_m: Option<f64>,
    pub(super) distance_m: Option<f64>,
    pub(super) speed_mps: Option<f64>,
    pub(super) cadence_spm: Option<f64>,
    pub(super) heart_rate_bpm: Option<f64>,
}

/// A recording before rounding. Times are whole seconds since the watch was started.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Track {
    pub(super) points: Vec<Point>,
    /// Timer stopped, timer started.
    pub(super) pauses: Vec<(usize, usize)>,
    /// Last point before and first after what was lost.
    pub(super) holes: Vec<(usize, usize)>,
    /// Seconds of the motion before the watch was started.
    pub(super) unrecorded_s: usize,
}

/// Records a motion.
pub(super) fn record(
    motion: &Motion,
    unrecorded_s: f64,
    settings: &Settings,
) -> Result<Track, SimulateError> {
    let first = unrecorded_s as usize;
    let last = motion.timeline.end_s().floor() as usize;
    if last < first + 2 {
        return Err(SimulateError::NothingRecorded);
    }
    let signals = Signals::all(motion, first, last, settings)?;
    let pauses: Vec<(usize, usize)> =
        motion.timeline.pauses.iter().map(|p| (p.0 as usize, p.1 as usize)).collect();
    let lost: Vec<(usize, usize)> =
        place(&settings.holes, &motion.timeline, settings.seed, Stream::Holes, unrecorded_s)?
            .into_iter()
            .map(|(at, length, _)| (at as usize, (at + length) as usize))
            .collect();
    let kept = kept_seconds(first, last, &pauses, &lost, settings);
    let holes = lost.iter().filter_map(|&(from, to)| around(&kept, from, to)).collect::<Vec<_>>();
    let early = |times: Vec<(usize, usize)>| times.into_iter().map(|(a, b)| (a - first, b - first)).collect();
    Ok(Track {
        points: kept.iter().map(|&s| signals.point(s, first)).collect(),
        pauses: early(pauses),
        holes: early(holes),
        unrecorded_s: first,
    })
}

/// Seconds that are written: by sampling, without what is lost. First, last and the edges of pauses always are.
fn kept_seconds(
    first: usize,
    last: usize,
    pauses: &[(usize, usize)],
    lost: &[(usize, usize)],
    settings: &Settings,
) -> Vec<usize> {
    let mut sampling = rng(settings.seed, Stream::Sampling);
    let mut missing = rng(settings.seed, Stream::Missing);
    let (least_s, most_s) = intervals_s(settings);
    let mut due = first;
    let mut kept = Vec::new();
    for second in first..=last {
        let is_missing = missing.random::<f64>() < settings.missing;
        if pauses.iter().any(|p| p.0 < second && second < p.1) {
            continue;
        }
        let edge = second == first || second == last || pauses.iter().any(|p| p.0 == second || p.1 == second);
        let is_due = second >= due;
        if is_due || edge {
            due = second + if least_s == most_s { least_s } else { sampling.random_range(least_s..=most_s) };
        }
        let is_lost = is_missing || lost.iter().any(|l| l.0 <= second && second < l.1);
        if edge || (is_due && !is_lost) {
            kept.push(second);
        }
    }
    kept
}

/// The kept seconds on both sides of a loss, when nothing lies between.
fn around(kept: &[usize], from: usize, to: usize) -> Option<(usize, usize)> {
    let after = kept.partition_point(|&s| s < to);
    let before = kept.partition_point(|&s| s < from);
    // An edge of a pause inside the loss was kept all the same: the loss is what lies before it.
    let end = if before < after { before } else { after };
    Some((*kept.get(before.checked_sub(1)?)?, *kept.get(end)?))
}

/// What the recorder measures, once a second of the motion from its first movement.
struct Signals {
    origin: LatLon,
    east_m: Vec<f64>,
    north_m: Vec<f64>,
    altitude_m: Vec<f64>,
    distance_m: Vec<f64>,
    speed_mps: Vec<f64>,
    cadence_spm: Vec<Option<f64>>,
    heart_rate_bpm: Vec<f64>,
    has: super::Channels,
}

impl Signals {
    fn all(motion: &Motion, first: usize, last: usize, settings: &Settings) -> Result<Self, SimulateError> {
        let seed = settings.seed;
        let errors = errors(settings);
        let watch = Watch::draw(settings);
        let seconds = last + 1;
        let mut lags = rng(seed, Stream::Lag);
        let mut ideal = || Lag::draw(settings.longest_lag_s, &mut lags);
        let (speed_lag, cadence_lag) =
            watch.as_ref().map_or_else(|| (ideal(), ideal()), |w| (w.speed_lag, w.cadence_lag));
        let mut late_speed = lagged(motion, |t| t.speed_mps, speed_lag, seconds);
        let late_cadence = lagged(motion, |t| t.cadence_spm, cadence_lag, seconds);
        let scale = watch.as_ref().map_or(1.0, |w| w.scale);
        if let Some(watch) = &watch {
            watch.restart(&mut late_speed, motion);
            late_speed.iter_mut().for_each(|mps| *mps *= scale);
        }
        let spikes = spikes(&errors, seconds, seed);
        let axis = |true_m: fn(&TrueSample) -> f64, jump: fn(&Spike) -> f64, [slow, white]: [Stream; 2]| {
            let mut slow = Ar1::new(errors.position.0, errors.position.1, rng(seed, slow));
            let mut white = Ar1::new(errors.white_m, 0.0, rng(seed, white));
            (0..seconds)
                .map(|s| {
                    let jumped: f64 = spikes.iter().filter(|p| p.covers(s)).map(jump).sum();
                    scale * true_m(&motion.at_second(s)) + slow.step() + white.step() + jumped
                })
                .collect::<Vec<f64>>()
        };
        let mut east_m = axis(|t| t.east_m, |p| p.east_m, [Stream::PositionEast, Stream::WhiteEast]);
        let mut north_m = axis(|t| t.north_m, |p| p.north_m, [Stream::PositionNorth, Stream::WhiteNorth]);
        if let Some(watch) = &watch {
            watch.drift(&mut east_m, &mut north_m);
            watch.freeze(&mut east_m, &mut north_m);
        }
        let speed_mps = shown_speed(&late_speed, &errors, watch.as_ref(), &spikes, seed);
        let mut cadence_spm = counted(&late_cadence, seed);
        if let Some(watch) = &watch {
            watch.spoil_cadence(&mut cadence_spm, motion);
        }
        cadence_faults::apply(&mut cadence_spm, motion, first, settings)?;
        let true_heart: Vec<f64> = (0..seconds).map(|s| motion.at_second(s).heart_rate_bpm).collect();
        Ok(Self {
            origin: origin(seed),
            east_m,
            north_m,
            altitude_m: altitude(motion, seconds, seed),
            distance_m: odometer(&speed_mps, motion, first, settings),
            speed_mps,
            cadence_spm,
            heart_rate_bpm: noisy(&true_heart, HEART_RATE_ERROR, seed, Stream::HeartSensor),
            has: settings.channels,
        })
    }

    fn point(&self, second: usize, first: usize) -> Point {
        let value = |has: bool, column: &[f64]| column.get(second).copied().filter(|_| has);
        Point {
            second: second - first,
            position: self.position(second).filter(|_| self.has.position),
            altitude_m: value(self.has.altitude, &self.altitude_m),
            distance_m: value(self.has.distance, &self.distance_m),
            speed_mps: value(self.has.speed, &self.speed_mps),
            cadence_spm: self.cadence_spm.get(second).copied().flatten().filter(|_| self.has.cadence),
            heart_rate_bpm: value(self.has.heart_rate, &self.heart_rate_bpm),
        }
    }

    /// On the plane that touches WGS 84 at the origin.
    fn position(&self, second: usize) -> Option<LatLon> {
        Plane::new(self.origin).position_at(*self.east_m.get(second)?, *self.north_m.get(second)?)
    }
}

/// A start in the open sea of the Gulf of Guinea, so that no real place appears.
fn origin(seed: u64) -> LatLon {
    let mut draws = rng(seed, Stream::Origin);
    let (lat, lon) = (uniform(&mut draws, 0.3, 0.7), uniform(&mut draws, 0.3, 0.7));
    LatLon::new(lat, lon).unwrap_or_else(|| unreachable!("0.3 to 0.7 degrees is a position"))
}

/// A true value as the recorder shows it, once a second.
fn lagged(motion: &Motion, value: fn(&TrueSample) -> f64, lag: Lag, seconds: usize) -> Vec<f64> {
    let back = (lag.delay_s / PERIOD_S).round() as usize;
    let weight = if lag.smoothing_s < 0.01 { 1.0 } else { 1.0 - (-PERIOD_S / lag.smoothing_s).exp() };
    let mut shown = motion.samples.first().map_or(0.0, value);
    let mut out = Vec::with_capacity(seconds);
    for i in 0..motion.samples.len() {
        shown += weight * (value(&motion.samples[i.saturating_sub(back)]) - shown);
        if i % SAMPLES_A_SECOND == 0 {
            out.push(shown);
        }
    }
    out.resize(seconds, shown);
    out
}

/// What a recorder makes of its late speed: with errors, and 0 at a standstill.
fn shown_speed(
    late_mps: &[f64],
    errors: &Errors,
    watch: Option<&Watch>,
    spikes: &[Spike],
    seed: u64,
) -> Vec<f64> {
    let (more, longer) = watch.map_or((1.0, 1.0), |w| (w.speed_error, w.speed_error_time));
    let (sd_mps, time_s) = (errors.speed.0 * more, errors.speed.1 * longer);
    let mut error = Ar1::with_time(sd_mps, time_s, 1.0, rng(seed, Stream::SpeedError));
    let show = |(s, late): (usize, &f64)| {
        let jumped: f64 = spikes.iter().filter(|p| p.covers(s)).map(|p| p.speed_mps).sum();
        let value = late + error.step() + jumped;
        if value < STANDSTILL_MPS { 0.0 } else { value }
    };
    late_mps.iter().enumerate().map(show).collect()
}

/// Counts the late cadence with errors.
fn counted(late_spm: &[f64], seed: u64) -> Vec<Option<f64>> {
    let counted_spm = noisy(late_spm, CADENCE_ERROR, seed, Stream::CadenceError);
    // Nothing is counted without steps.
    let count = |(value, late): (f64, &f64)| if *late < 20.0 { 0.0 } else { value.max(0.0) };
    counted_spm.into_iter().zip(late_spm).map(count).map(Some).collect()
}

fn noisy(values: &[f64], (sd, tau_s): (f64, f64), seed: u64, stream: Stream) -> Vec<f64> {
    let mut error = Ar1::with_time(sd, tau_s, 1.0, rng(seed, stream));
    values.iter().map(|v| v + error.step()).collect()
}

fn altitude(motion: &Motion, seconds: usize, seed: u64) -> Vec<f64> {
    let mut draws = rng(seed, Stream::Altitude);
    let (white, walk) = ALTITUDE_ERROR;
    let mut drift = 0.0;
    (0..seconds)
        .map(|s| {
            drift += walk * normal(&mut draws);
            motion.at_second(s).altitude_m + drift + white * normal(&mut draws)
        })
        .collect()
}

/// The recorder sums its own speed while its timer runs.
fn odometer(speed_mps: &[f64], motion: &Motion, first: usize, settings: &Settings) -> Vec<f64> {
    let scale = match settings.realism {
        Realism::Ideal => 1.0 + DISTANCE_SCALE_SD * normal(&mut rng(settings.seed, Stream::DistanceScale)),
        Realism::Realistic => 1.0,
    };
    let mut sum = 0.0;
    speed_mps
        .iter()
        .enumerate()
        .map(|(s, speed)| {
            let paused = motion.timeline.pauses.iter().any(|p| p.0 < s as f64 && s as f64 <= p.1);
            if s > first && !paused {
                sum += speed * scale;
            }
            sum
        })
        .collect()
}

/// A jump of the position for some seconds.
struct Spike {
    from: usize,
    to: usize,
    east_m: f64,
    north_m: f64,
    speed_mps: f64,
}

impl Spike {
    const fn covers(&self, second: usize) -> bool {
        self.from <= second && second < self.to
    }
}

fn spikes(errors: &Errors, seconds: usize, seed: u64) -> Vec<Spike> {
    let (every_s, least_m, most_m) = errors.spikes;
    if every_s == 0.0 {
        return Vec::new();
    }
    let mut draws = rng(seed, Stream::Spikes);
    let mut spikes = Vec::new();
    let mut at = 0.0;
    loop {
        // Times between rare events that know nothing of each other are exponential.
        at += -every_s * (1.0 - draws.random::<f64>()).ln();
        if at >= seconds as f64 {
            return spikes;
        }
        let (far, towards) = (uniform(&mut draws, least_m, most_m), uniform(&mut draws, 0.0, TAU));
        let from = at as usize;
        let to = from + draws.random_range(1..=LONGEST_SPIKE_S) as usize;
        let speed_mps = errors.spike_speed_mps * normal(&mut draws);
        spikes.push(Spike { from, to, east_m: far * towards.sin(), north_m: far * towards.cos(), speed_mps });
    }
}
