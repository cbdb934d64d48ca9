//! The pace ceiling: too fast beyond tolerance and beyond what the recorder's error explains.

use super::certainty::above_zero;
use super::gradient::{RATIO_PER_SLOPE, Slopes, cost_ratio};
use super::measure::{self, Done, Mean, Span};
use super::{AuditConfig, Code, Finding};
use crate::clean::{Series, SpeedSource};
use crate::gait::Gait;

/// Speed is averaged over blocks of this length to see how much its means vary, s: several times as long as a
/// satellite receiver's error hangs together.
const BLOCK_S: f64 = 15.0;
/// Step of the rolling windows, s.
const WINDOW_STEP_S: f64 = 5.0;
/// The assumed error counts as much as this many pairs of blocks.
const PRIOR_PAIRS: f64 = 4.0;
/// Certainty is held down to this where a level ceiling has to be judged on the ground.
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
        let speed = self.series.speed_mps.get(sample).copied().flatten()?;
        if self.level { Some(speed * cost_ratio(Gait::Run, self.slopes.at(sample)?)) } else { Some(speed) }
    }

    fn mean(&self, spans: &[Span]) -> Option<Mean> {
        measure::mean_by(&self.series.time_s, spans, |k| self.speed(k))
    }
}

/// Error of a mean speed over a time T: block variance · block length / T, and a share of the speed that no averaging
/// takes away.
#[derive(Clone, Copy, Debug)]
struct SpeedError {
    block_variance: f64,
    share: f64,
    /// Variance of single speeds, which makes speed from positions too great; 0 for other sources.
    bias_variance: f64,
}

impl SpeedError {
    /// Estimates it from the runs themselves: half the mean square of the differences of neighbouring 15 s means (von
    /// Neumann 1941), which a slow drift does not touch, together with an assumed value per source.
    fn estimate(basis: &Basis, runs: &[Vec<Span>]) -> Self {
        let (assumed_mps, share): (f64, f64) = match basis.series.speed_source {
            SpeedSource::Recorder => (0.06, 0.005),
            SpeedSource::Distance => (0.09, 0.01),
            SpeedSource::Positions | SpeedSource::Absent => (0.12, 0.015),
        };
        let (mut pairs, mut sum) = (PRIOR_PAIRS, PRIOR_PAIRS * 2.0 * assumed_mps.powi(2));
        for span in runs.iter().flatten() {
            let means = blocks(span).map(|b| basis.mean(&[b])).collect::<Vec<_>>();
            for pair in means.windows(2) {
                if let [Some(a), Some(b)] = pair {
                    pairs += 1.0;
                    sum += (b.value - a.value).powi(2);
                }
            }
        }
        let from_positions = basis.series.speed_source == SpeedSource::Positions;
        Self {
            block_variance: sum / (2.0 * pairs),
            share: if basis.level { share.hypot(RATIO_PER_SLOPE * basis.slopes.error()) } else { share },
            bias_variance: if from_positions { sample_variance(basis, runs) } else { 0.0 },
        }
    }

    fn of(&self, mean: Mean) -> f64 {
        (self.block_variance * BLOCK_S / mean.covered_s.max(1.0)).sqrt().hypot(self.share * mean.value)
    }

    /// A mean speed without the bias of positions: an error across the way lengthens every step (Ranacher et al.
    /// 2016, IJGIS 30:316–33), by its variance over twice the speed.
    fn unbiased(&self, mean: Mean) -> f64 {
        if mean.value > 0.0 { (mean.value - self.bias_variance / (2.0 * mean.value)).max(0.0) } else { 0.0 }
    }
}

fn blocks(span: &Span) -> impl Iterator<Item = Span> {
    let count = (span.length_s() / BLOCK_S).floor() as usize;
    let span = *span;
    (0..count).map(move |i| {
        let start_s = span.start_s + i as f64 * BLOCK_S;
        Span { start_s, end_s: start_s + BLOCK_S, ..span }
    })
}

/// Variance of single speeds about their trend: half the mean square of neighbours' differences.
fn sample_variance(basis: &Basis, runs: &[Vec<Span>]) -> f64 {
    let (mut pairs, mut sum) = (0.0, 0.0);
    for span in runs.iter().flatten() {
        let mut last: Option<f64> = None;
        measure::cells(&basis.series.time_s, span, |k, _| {
            let speed = basis.speed(k);
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
    /// Runs with a ceiling whose speed is not known for at least half.
    pub(super) unjudged: usize,
}

/// Holds every run against its ceiling. `ceilings_mps` has one entry a step.
pub(super) fn check(
    basis: &Basis,
    done: &[Done],
    ceilings_mps: &[Option<f64>],
    tolerance: f64,
    config: &AuditConfig,
) -> PaceAudit {
    let cores: Vec<Vec<Span>> = done
        .iter()
        .map(|d| d.own.iter().map(|s| s.trimmed(config.pace_trim_s)).collect::<Vec<_>>())
        .zip(done)
        .map(|(core, d)| if d.gait == Gait::Run { core } else { Vec::new() })
        .collect();
    let error = SpeedError::estimate(basis, &cores);
    let judge = Judge { basis, error, tolerance, config };
    let mut audit = PaceAudit { over_ceiling_s: vec![None; done.len()], ..PaceAudit::default() };
    let mut pooled = Pool::default();
    for (step, (core, done)) in cores.iter().zip(done).enumerate() {
        let (Some(ceiling), false) = (ceilings_mps[step], core.is_empty()) else {
            continue;
        };
        let whole = basis.mean(core).filter(|m| m.covered_s >= 0.5 * measure::total_s(core));
        let Some(whole) = whole else {
            audit.unjudged += 1;
            continue;
        };
        pooled.add(core, whole, error.unbiased(whole), ceiling);
        let finding = judge.run(done, core, whole, ceiling);
        let over_s = finding.as_ref().map_or(0.0, |_| judge.over_ceiling_s(core, ceiling));
        audit.over_ceiling_s[step] = Some(over_s);
        audit.findings.extend(finding);
    }
    if audit.findings.is_empty() {
        audit.findings.extend(judge.all_runs(&pooled));
    }
    audit
}

/// All runs with a ceiling together.
#[derive(Default)]
struct Pool {
    spans: Vec<Span>,
    covered_s: f64,
    /// Sums of speed, and of what is above the ceiling, times time.
    speed: f64,
    above: f64,
    runs: usize,
}

impl Pool {
    fn add(&mut self, core: &[Span], whole: Mean, speed: f64, ceiling: f64) {
        self.spans.extend_from_slice(core);
        self.covered_s += whole.covered_s;
        self.speed += speed * whole.covered_s;
        self.above += (speed - ceiling) * whole.covered_s;
        self.runs += 1;
    }
}

struct Judge<'a> {
    basis: &'a Basis<'a>,
    error: SpeedError,
    tolerance: f64,
    config: &'a AuditConfig,
}

impl Judge<'_> {
    /// The whole run, else the rolling windows that are too fast.
    fn run(&self, done: &Done, core: &[Span], whole: Mean, ceiling: f64) -> Option<Finding> {
        if self.is_over(whole, ceiling, self.config.pace_run_errors) {
            return Some(self.finding(Some(done.rep), core, whole, ceiling));
        }
        let fast = self.fast_windows(core, ceiling);
        let mean = self.basis.mean(&fast)?;
        Some(self.finding(Some(done.rep), &fast, mean, ceiling))
    }

    fn is_over(&self, mean: Mean, ceiling: f64, errors: f64) -> bool {
        let above = self.error.unbiased(mean) - ceiling;
        above > self.tolerance * ceiling && above > errors * self.error.of(mean)
    }

    /// The union of the windows that are too fast.
    fn fast_windows(&self, core: &[Span], ceiling: f64) -> Vec<Span> {
        let mut fast: Vec<Span> = Vec::new();
        for window in core.iter().flat_map(|s| windows(s, self.config.pace_window_s)) {
            let mean = self.basis.mean(&[window]).filter(|m| m.covered_s >= 0.7 * window.length_s());
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
    fn over_ceiling_s(&self, core: &[Span], ceiling: f64) -> f64 {
        let limit = ceiling * (1.0 + self.tolerance);
        let half = 0.5 * self.config.pace_smoothing_s;
        let mut over_s = 0.0;
        for span in core {
            let tiles = (span.length_s() / WINDOW_STEP_S).ceil().max(1.0) as usize;
            let tile_s = span.length_s() / tiles as f64;
            for i in 0..tiles {
                let centre = span.start_s + (i as f64 + 0.5) * tile_s;
                let start_s = (centre - half).max(span.start_s);
                let around = Span { start_s, end_s: (centre + half).min(span.end_s), ..*span };
                if self.basis.mean(&[around]).is_some_and(|m| self.error.unbiased(m) > limit) {
                    over_s += tile_s;
                }
            }
        }
        over_s
    }

    /// Many runs a little too fast: none stands out, all together do.
    fn all_runs(&self, pool: &Pool) -> Option<Finding> {
        if pool.runs < 2 {
            return None;
        }
        let speed = pool.speed / pool.covered_s;
        let ceiling = speed - pool.above / pool.covered_s;
        let mean = Mean { value: speed, covered_s: pool.covered_s };
        let above = speed - ceiling;
        let over =
            above > self.tolerance * ceiling && above > self.config.pace_window_errors * self.error.of(mean);
        over.then(|| self.finding_at(None, &pool.spans, speed, self.error.of(mean), ceiling))
    }

    fn finding(&self, rep: Option<u32>, spans: &[Span], mean: Mean, ceiling: f64) -> Finding {
        self.finding_at(rep, spans, self.error.unbiased(mean), self.error.of(mean), ceiling)
    }

    fn finding_at(&self, rep: Option<u32>, spans: &[Span], speed: f64, error: f64, ceiling: f64) -> Finding {
        let allowed = ceiling * (1.0 + self.config.pace_share * self.tolerance);
        let certainty = above_zero(speed - allowed, error) * measure::certainty(spans);
        let (prescribed, achieved) = (1000.0 / ceiling, 1000.0 / speed);
        Finding {
            code: Code::RunTooFast,
            rep,
            start_s: spans.first().map(|s| s.start_s),
            end_s: spans.last().map(|s| s.end_s),
            prescribed: Some(prescribed),
            achieved: Some(achieved),
            unit: "s/km",
            excess: Some(prescribed - achieved),
            certainty: if self.basis.stand_in { certainty.min(ON_GROUND_CERTAINTY) } else { certainty },
        }
    }
}

/// Windows of a length, each some seconds after the last, that lie within a span.
fn windows(span: &Span, length_s: f64) -> impl Iterator<Item = Span> {
    let span = *span;
    let room = span.length_s() - length_s;
    let count = if room < 0.0 { 0 } else { (room / WINDOW_STEP_S).floor() as usize + 1 };
    (0..count).map(move |i| {
        let start_s = span.start_s + i as f64 * WINDOW_STEP_S;
        Span { start_s, end_s: start_s + length_s, ..span }
    })
}
