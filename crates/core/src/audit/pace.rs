//! The pace ceiling: too fast beyond tolerance and beyond what the recorder's error explains.

use super::certainty::above_zero;
use super::gradient::{Slopes, cost_ratio};
use super::measure::{self, BoutPart, Done, Mean};
use super::{AuditConfig, Code, Finding};
use crate::clean::{Series, SpeedSource};
use crate::gait::Gait;
use jogaudit_recording::physiology::RUNNING_RATIO_PER_SLOPE;
use jogaudit_recording::units::Unit;

/// A mean speed around a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PacePoint {
    /// The moment, s.
    pub at_s: f64,
    /// Mean speed, m/s, as held against the ceiling.
    pub speed_mps: f64,
    /// Standard error of that mean beside the ceiling, m/s.
    pub error_mps: f64,
}

/// Speed is averaged over blocks of this length to see how its error hangs together, s. Our choice.
const BLOCK_S: f64 = 5.0;
/// Blocks this many apart are taken as independent: 25 to 35 s. Our choice.
const FAR_BLOCKS: std::ops::RangeInclusive<usize> = 5..=7;
/// Step of the rolling windows, s. Our choice.
const WINDOW_STEP_S: f64 = 5.0;
/// Share of a rolling window whose speed has to be known. Our choice.
const WINDOW_COVERED: f64 = 0.7;
/// The assumed error counts as much as this many pairs of blocks. Our choice.
const PRIOR_PAIRS: f64 = 20.0;
/// Assumed correlation of neighbouring blocks. Our choice.
const PRIOR_CORRELATION: f64 = 0.4;
/// Neighbouring blocks are taken to hang together no more than this. Our choice.
const MOST_CORRELATION: f64 = 0.9;
/// Certainty is held down to this where a level ceiling has to be judged on the ground. Our choice.
const ON_GROUND_CERTAINTY: f64 = 0.8;

/// Which speed the ceiling holds for.
pub(super) struct Basis<'a> {
    pub(super) series: &'a Series,
    pub(super) slopes: &'a Slopes,
    /// Level-ground speed instead of speed over ground.
    pub(super) level: bool,
    /// A level ceiling is held against speed over ground, for want of altitude.
    pub(super) stand_in: bool,
}

impl Basis<'_> {
    /// Speed of running at a sample, m/s.
    fn speed(&self, sample: usize) -> Option<f64> {
        let speed = self.series.speed_mps().get(sample).copied().flatten()?;
        if self.level { Some(speed * cost_ratio(Gait::Run, self.slopes.at(sample)?)) } else { Some(speed) }
    }

    fn mean(&self, parts: &[BoutPart]) -> Option<Mean> {
        measure::mean_by(self.series.time_s(), parts, |k| self.speed(k))
    }
}

/// Error of a mean speed.
#[derive(Clone, Copy, Debug)]
struct SpeedError {
    /// Variance of the mean of one block.
    block_variance: f64,
    /// Correlation of neighbouring blocks; it falls off geometrically.
    correlation: f64,
    /// Share of the speed that no averaging takes away.
    share: f64,
    /// Variance of single speeds, which makes speed from positions too great; 0 for other sources.
    bias_variance: f64,
}

/// Assumed standard deviation of the error of a 5 s mean, m/s, and the share of the speed that no averaging takes away, by
/// where the speed comes from. Our choice.
const fn assumed_error(source: SpeedSource) -> (f64, f64) {
    match source {
        SpeedSource::Recorder => (0.10, 0.005),
        SpeedSource::Distance => (0.15, 0.01),
        SpeedSource::Positions | SpeedSource::Absent => (0.20, 0.015),
    }
}

impl SpeedError {
    /// Estimates it from all running and walking of the recording, by the variogram of the 5 s means of speed over
    /// ground: half the mean square of differences of means 25–35 s apart is their variance, that of neighbours says
    /// how they hang together. Assumed values per source count as a few pairs. The runner's own unevenness is in it
    /// too, on the careful side.
    fn estimate(basis: &Basis, moving: &[Vec<BoutPart>]) -> Self {
        let series = basis.series;
        let (assumed_mps, share) = assumed_error(series.speed_source());
        let assumed = assumed_mps.powi(2);
        let mut far = Pairs { count: PRIOR_PAIRS, sum: PRIOR_PAIRS * assumed };
        let mut near = Pairs { count: PRIOR_PAIRS, sum: PRIOR_PAIRS * assumed * (1.0 - PRIOR_CORRELATION) };
        for part in moving.iter().flatten() {
            let mean_of = |block| measure::mean(series, &[block], series.speed_mps()).map(|m| m.value);
            let means: Vec<Option<f64>> = blocks(part).map(mean_of).collect();
            near.add(&means, 1);
            FAR_BLOCKS.for_each(|lag| far.add(&means, lag));
        }
        let from_positions = series.speed_source() == SpeedSource::Positions;
        Self {
            block_variance: far.mean(),
            correlation: (1.0 - near.mean() / far.mean()).clamp(0.0, MOST_CORRELATION),
            share: if basis.level {
                share.hypot(RUNNING_RATIO_PER_SLOPE * basis.slopes.error())
            } else {
                share
            },
            bias_variance: if from_positions { sample_variance(series, moving) } else { 0.0 },
        }
    }

    /// Standard error of a mean: variance of the mean of n neighbours of a first-order autoregressive process,
    /// together with the share.
    fn of(&self, mean: Mean) -> f64 {
        let (r, n) = (self.correlation, (mean.covered_s / BLOCK_S).max(1.0));
        let inflation = (1.0 + r) / (1.0 - r) - 2.0 * r * (1.0 - r.powf(n)) / (n * (1.0 - r).powi(2));
        (self.block_variance / n * inflation).sqrt().hypot(self.share * mean.value)
    }

    /// The same with what a recorder is off by as a whole, as a share of the speed.
    fn with_recorder(&self, mean: Mean, share: f64) -> f64 {
        self.of(mean).hypot(share * mean.value)
    }

    /// A mean speed without the bias of positions: an error across the way lengthens every step (Ranacher et al.
    /// 2016, IJGIS 30:316–33), by its variance over twice the speed.
    fn unbiased(&self, mean: Mean) -> f64 {
        if mean.value > 0.0 { (mean.value - self.bias_variance / (2.0 * mean.value)).max(0.0) } else { 0.0 }
    }
}

/// Half the mean square of differences.
#[derive(Clone, Copy, Debug)]
struct Pairs {
    count: f64,
    sum: f64,
}

impl Pairs {
    fn add(&mut self, means: &[Option<f64>], lag: usize) {
        for (a, b) in means.iter().zip(means.iter().skip(lag)) {
            if let (Some(a), Some(b)) = (a, b) {
                self.count += 1.0;
                self.sum += 0.5 * (b - a).powi(2);
            }
        }
    }

    fn mean(&self) -> f64 {
        self.sum / self.count
    }
}

fn blocks(part: &BoutPart) -> impl Iterator<Item = BoutPart> {
    let count = (part.length_s() / BLOCK_S).floor() as usize;
    let part = *part;
    (0..count).map(move |i| {
        let start_s = part.start_s + i as f64 * BLOCK_S;
        BoutPart { start_s, end_s: start_s + BLOCK_S, ..part }
    })
}

/// Variance of single speeds about their trend: half the mean square of neighbours' differences.
fn sample_variance(series: &Series, moving: &[Vec<BoutPart>]) -> f64 {
    let (mut pairs, mut sum) = (0.0, 0.0);
    for part in moving.iter().flatten() {
        let mut last: Option<f64> = None;
        measure::cells(series.time_s(), part, |k, _| {
            let speed = series.speed_mps().get(k).copied().flatten();
            if let (Some(a), Some(b)) = (last, speed) {
                pairs += 1.0;
                sum += (b - a).powi(2);
            }
            last = speed;
        });
    }
    if pairs > 0.0 { sum / (2.0 * pairs) } else { 0.0 }
}

/// What the ceiling gave.
#[derive(Default)]
pub(super) struct PaceAudit {
    pub(super) findings: Vec<Finding>,
    /// Per step: time above the ceiling; `None` without a ceiling or speed.
    pub(super) over_ceiling_s: Vec<Option<f64>>,
    /// Runs that may have been too fast for all that a recorder tells, by number.
    pub(super) at_ceiling: Vec<u32>,
    /// Runs with a ceiling whose speed is not known for at least half, by number.
    pub(super) unjudged: Vec<u32>,
    /// Runs with a ceiling.
    pub(super) runs: usize,
}

/// Holds every run against its ceiling. `ceilings_mps` has one entry a step.
pub(super) fn check(
    basis: &Basis,
    done: &[Done],
    ceilings_mps: &[Option<f64>],
    tolerance: f64,
    config: &AuditConfig,
) -> PaceAudit {
    let cores = cores(done, config);
    let error = SpeedError::estimate(basis, &cores);
    let judge = Judge { basis, error, tolerance, config };
    let mut audit = PaceAudit { over_ceiling_s: vec![None; done.len()], ..PaceAudit::default() };
    for (step, (core, done)) in cores.iter().zip(done).enumerate() {
        let (Some(ceiling), false) = (ceilings_mps[step], core.is_empty()) else {
            continue;
        };
        audit.runs += 1;
        let whole = basis.mean(core).filter(|m| m.is_most_of(measure::total_s(core)));
        let Some(whole) = whole else {
            audit.unjudged.push(done.rep);
            continue;
        };
        let finding = judge.run(done, core, whole, ceiling);
        let over_s = finding.as_ref().map_or(0.0, |_| judge.over_ceiling_s(&done.own, ceiling));
        audit.over_ceiling_s[step] = Some(over_s);
        if finding.is_none() && judge.may_be_over(whole, ceiling) {
            audit.at_ceiling.push(done.rep);
        }
        audit.findings.extend(finding);
    }
    audit
}

/// What each step is judged by: its stretches without the seconds at their ends.
pub(super) fn cores(done: &[Done], config: &AuditConfig) -> Vec<Vec<BoutPart>> {
    done.iter()
        .map(|d| d.own.iter().map(|s| s.trimmed(config.pace_lead_s, config.pace_trail_s)).collect())
        .collect()
}

/// Smoothed speeds along parts, as they are held against a ceiling, with their errors. `cores` are what the error is
/// estimated from.
pub(super) fn along<'a>(
    parts: impl Iterator<Item = (&'a Basis<'a>, BoutPart)>,
    cores: &[Vec<BoutPart>],
    config: &AuditConfig,
) -> impl Iterator<Item = Vec<PacePoint>> {
    let mut errors: Vec<(bool, SpeedError)> = Vec::new();
    parts.map(move |(basis, part)| {
        let known = errors.iter().find(|(level, _)| *level == basis.level).map(|(_, error)| *error);
        let error = known.unwrap_or_else(|| {
            let error = SpeedError::estimate(basis, cores);
            errors.push((basis.level, error));
            error
        });
        let points = tiles(part, config.pace_smoothing_s).filter_map(|tile| {
            let mean = basis.mean(&[tile.around]).filter(|m| m.is_most_of(tile.around.length_s()))?;
            let (speed_mps, error_mps) =
                (error.unbiased(mean), error.with_recorder(mean, config.reads_high_error));
            Some(PacePoint { at_s: tile.centre_s, speed_mps, error_mps })
        });
        points.collect()
    })
}

/// A short piece of time and the longer one around it over which its speed is averaged.
struct Tile {
    centre_s: f64,
    length_s: f64,
    around: BoutPart,
}

fn tiles(part: BoutPart, smoothing_s: f64) -> impl Iterator<Item = Tile> {
    let count = (part.length_s() / WINDOW_STEP_S).ceil().max(1.0) as usize;
    let length_s = part.length_s() / count as f64;
    (0..count).map(move |i| {
        let centre_s = part.start_s + (i as f64 + 0.5) * length_s;
        let start_s = (centre_s - 0.5 * smoothing_s).max(part.start_s);
        let end_s = (centre_s + 0.5 * smoothing_s).min(part.end_s);
        Tile { centre_s, length_s, around: BoutPart { start_s, end_s, ..part } }
    })
}

struct Judge<'a> {
    basis: &'a Basis<'a>,
    error: SpeedError,
    tolerance: f64,
    config: &'a AuditConfig,
}

impl Judge<'_> {
    /// The whole run, else the rolling windows that are too fast.
    fn run(&self, done: &Done, core: &[BoutPart], whole: Mean, ceiling: f64) -> Option<Finding> {
        if self.is_over(whole, ceiling, self.config.pace_run_errors) {
            return Some(self.finding(done.rep, core, whole, ceiling));
        }
        let fast = self.fast_windows(core, ceiling);
        let mean = self.basis.mean(&fast)?;
        Some(self.finding(done.rep, &fast, mean, ceiling))
    }

    fn is_over(&self, mean: Mean, ceiling: f64, errors: f64) -> bool {
        let above = self.error.unbiased(mean) - ceiling;
        above > self.tolerance * ceiling && above > errors * self.error.of(mean)
    }

    /// Whether a run in which nothing is beyond ceiling and tolerance is, with what recorders read too low in the mean put right: then it
    /// was too fast as probably as not.
    fn may_be_over(&self, whole: Mean, ceiling: f64) -> bool {
        self.error.unbiased(whole) * (1.0 + self.config.reads_low) > ceiling * (1.0 + self.tolerance)
    }

    /// The union of the windows that are too fast.
    fn fast_windows(&self, core: &[BoutPart], ceiling: f64) -> Vec<BoutPart> {
        let mut fast: Vec<BoutPart> = Vec::new();
        for window in core.iter().flat_map(|s| windows(s, self.config.pace_window_s)) {
            let mean =
                self.basis.mean(&[window]).filter(|m| m.covered_s >= WINDOW_COVERED * window.length_s());
            if !mean.is_some_and(|m| self.is_over(m, ceiling, self.config.pace_window_errors)) {
                continue;
            }
            match fast.last_mut() {
                Some(last) if window.start_s <= last.end_s => last.end_s = window.end_s,
                _ => fast.push(window),
            }
        }
        fast
    }

    /// Time in which the smoothed speed is above ceiling and tolerance.
    fn over_ceiling_s(&self, run: &[BoutPart], ceiling: f64) -> f64 {
        let limit = ceiling * (1.0 + self.tolerance);
        let mut over_s = 0.0;
        let parts = run.iter().map(|part| part.trimmed(self.config.pace_trail_s, self.config.pace_trail_s));
        for tile in parts.flat_map(|part| tiles(part, self.config.pace_smoothing_s)) {
            if self.basis.mean(&[tile.around]).is_some_and(|m| self.error.unbiased(m) > limit) {
                over_s += tile.length_s;
            }
        }
        over_s
    }

    fn finding(&self, rep: u32, parts: &[BoutPart], mean: Mean, ceiling: f64) -> Finding {
        let speed = self.error.unbiased(mean);
        let allowed = ceiling * (1.0 + self.config.pace_share * self.tolerance);
        let error = self.error.with_recorder(mean, self.config.reads_high_error);
        let certainty = above_zero(speed - allowed, error) * measure::certainty(parts);
        let (prescribed, achieved) = (1000.0 / ceiling, 1000.0 / speed);
        Finding {
            code: Code::RunTooFast,
            rep: Some(rep),
            start_s: parts.first().map(|s| s.start_s),
            end_s: parts.last().map(|s| s.end_s),
            prescribed: Some(prescribed),
            range: None,
            achieved: Some(achieved),
            unit: Unit::SecondsPerKilometre,
            excess: Some(prescribed - achieved),
            certainty: if self.basis.stand_in { certainty.min(ON_GROUND_CERTAINTY) } else { certainty },
        }
    }
}

/// Windows of a length, each some seconds after the last, that lie within a part.
fn windows(part: &BoutPart, length_s: f64) -> impl Iterator<Item = BoutPart> {
    let part = *part;
    let room = part.length_s() - length_s;
    let count = if room < 0.0 { 0 } else { (room / WINDOW_STEP_S).floor() as usize + 1 };
    (0..count).map(move |i| {
        let start_s = part.start_s + i as f64 * WINDOW_STEP_S;
        BoutPart { start_s, end_s: start_s + length_s, ..part }
    })
}
