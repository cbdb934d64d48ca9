//! Heart rate against its ceiling and walking cadence against its floor.

use super::certainty::above_zero;
use super::measure::{self, BoutPart, Done};
use super::{AuditConfig, Code, Finding, Prescription};
use crate::clean::Series;
use crate::gait::Gait;
use jogaudit_recording::units::{StepsPerMinute, Unit};

/// A shorter dip below the ceiling does not end an exceedance, s: sparse samples are up to 8 s apart. Our choice.
const DIP_S: f64 = 10.0;
/// Exceedances closer than this are one finding, s. Our choice.
const SAME_FINDING_S: f64 = 60.0;
/// Heart rate this close to the cadence may be the cadence, a known fault of optical sensors, per minute. Our choice.
const CADENCE_LOCK: f64 = 3.0;
/// Share of an exceedance that has to be that close. Our choice.
const LOCK_SHARE: f64 = 0.8;
/// A heart rate that comes to the cadence by as great a change, beats a minute, as fast as this, beats a minute a
/// second, is no heart's: that rises with a time constant of some 30 s and slows down as it settles. Our choice.
const JUMP: (f64, f64) = (10.0, 2.0);
/// Two samples further apart than this do not show a jump, s. Our choice.
const JUMP_WITHIN_S: f64 = 10.0;
/// How long before and after an exceedance a jump is looked for, s. Our choice.
const JUMP_AROUND_S: f64 = 20.0;
/// Certainty is multiplied by this where heart rate follows cadence. Our choice.
const LOCK_CERTAINTY: f64 = 0.6;

/// What the heart-rate ceiling gave.
#[derive(Default)]
pub(super) struct HeartAudit {
    pub(super) findings: Vec<Finding>,
    /// Share of the session with a heart rate.
    pub(super) covered: f64,
    /// Runs whose heart rate is not known for at least half, by number.
    pub(super) unjudged: Vec<u32>,
    /// Runs that were done.
    pub(super) runs: usize,
    /// Whether heart rate follows cadence in a finding.
    pub(super) follows_cadence: bool,
}

/// A time above the ceiling.
#[derive(Clone, Copy, Debug)]
struct Exceedance {
    start_s: f64,
    end_s: f64,
    most_bpm: f64,
    sum_bpm: f64,
    count: f64,
    /// Samples as close to the cadence as [`CADENCE_LOCK`].
    locked: f64,
}

/// Holds heart rate against its ceiling from `start_s` to `end_s`.
pub(super) fn heart_rate(
    series: &Series,
    (start_s, end_s): (f64, f64),
    ceiling_bpm: f64,
    done: &[Done],
    config: &AuditConfig,
) -> HeartAudit {
    let whole = whole(start_s, end_s);
    let covered_s = measure::mean(series, &[whole], series.heart_rate_bpm()).map_or(0.0, |m| m.covered_s);
    let runs = || done.iter().filter(|d| d.gait == Gait::Run && !d.own.is_empty());
    let is_known = |run: &Done| {
        let mean = measure::mean(series, &run.own, series.heart_rate_bpm());
        mean.is_some_and(|m| m.is_most_of(measure::total_s(&run.own)))
    };
    let mut audit = HeartAudit {
        covered: covered_s / whole.length_s().max(1.0),
        unjudged: runs().filter(|run| !is_known(run)).map(|run| run.rep).collect(),
        runs: runs().count(),
        ..HeartAudit::default()
    };
    let sustained = exceedances(series, (start_s, end_s), ceiling_bpm + config.heart_margin_bpm, DIP_S)
        .into_iter()
        .filter(|s| s.end_s - s.start_s >= config.heart_sustained_s);
    for exceedance in merged(sustained) {
        let mean_bpm = exceedance.sum_bpm / exceedance.count;
        let locked =
            exceedance.locked >= LOCK_SHARE * exceedance.count && jumps_with_cadence(series, &exceedance);
        audit.follows_cadence |= locked;
        let certainty = above_zero(mean_bpm - ceiling_bpm, config.heart_error_bpm);
        audit.findings.push(Finding {
            code: Code::HeartRateTooHigh,
            rep: rep_at(done, exceedance.start_s),
            start_s: Some(exceedance.start_s),
            end_s: Some(exceedance.end_s),
            prescribed: Some(ceiling_bpm),
            range: None,
            achieved: Some(exceedance.most_bpm),
            unit: Unit::BeatsPerMinute,
            excess: Some(exceedance.most_bpm - ceiling_bpm),
            certainty: if locked { certainty * LOCK_CERTAINTY } else { certainty },
        });
    }
    audit
}

/// Whether heart rate at a sample is as close to the cadence as [`CADENCE_LOCK`].
fn is_at_cadence(series: &Series, sample: usize) -> bool {
    let at = |column: &[Option<f64>]| column.get(sample).copied().flatten();
    match (at(series.heart_rate_bpm()), at(series.cadence_spm())) {
        (Some(bpm), Some(spm)) => (bpm - spm).abs() <= CADENCE_LOCK,
        _ => false,
    }
}

/// Whether heart rate jumps onto the cadence, or jumps as the cadence does, around an exceedance, as when the sensor counts
/// steps. One that merely comes to equal it gets there slowly: ceilings, heart rates and cadences of running often
/// meet. How it leaves the cadence tells nothing: at the end of a run that falls at once, and a heart rate fast enough.
fn jumps_with_cadence(series: &Series, exceedance: &Exceedance) -> bool {
    let around = series.range(exceedance.start_s - JUMP_AROUND_S, exceedance.end_s + JUMP_AROUND_S);
    let known: Vec<(usize, f64)> =
        around.filter_map(|k| Some((k, series.heart_rate_bpm().get(k).copied().flatten()?))).collect();
    let is_jump = |&(a, from_bpm): &(usize, f64), &(b, to_bpm): &(usize, f64)| {
        let (change, seconds) = ((to_bpm - from_bpm).abs(), series.time_s()[b] - series.time_s()[a]);
        change >= JUMP.0 && change >= JUMP.1 * seconds && is_at_cadence(series, b)
    };
    known.iter().enumerate().any(|(i, from)| {
        let near = |to: &&(usize, f64)| series.time_s()[to.0] - series.time_s()[from.0] <= JUMP_WITHIN_S;
        known[i + 1..].iter().take_while(near).any(|to| is_jump(from, to))
    })
}

fn whole(start_s: f64, end_s: f64) -> BoutPart {
    BoutPart {
        start_s,
        end_s,
        start_error_s: 0.0,
        end_error_s: 0.0,
        certainty: 1.0,
        bout_speed_mps: None,
        bout_cadence_spm: None,
    }
}

/// Exceedances of samples above a limit; dips and missing values up to `dip_s` do not end one.
fn exceedances(series: &Series, (start_s, end_s): (f64, f64), limit_bpm: f64, dip_s: f64) -> Vec<Exceedance> {
    let mut found: Vec<Exceedance> = Vec::new();
    for (k, &t) in series.time_s().iter().enumerate() {
        if t < start_s || t > end_s {
            continue;
        }
        let Some(bpm) = series.heart_rate_bpm().get(k).copied().flatten().filter(|b| *b > limit_bpm) else {
            continue;
        };
        let locked = if is_at_cadence(series, k) { 1.0 } else { 0.0 };
        match found.last_mut() {
            Some(last) if t - last.end_s <= dip_s => {
                last.end_s = t;
                last.most_bpm = last.most_bpm.max(bpm);
                last.sum_bpm += bpm;
                last.count += 1.0;
                last.locked += locked;
            }
            _ => {
                let exceedance =
                    Exceedance { start_s: t, end_s: t, most_bpm: bpm, sum_bpm: bpm, count: 1.0, locked };
                found.push(exceedance);
            }
        }
    }
    found
}

fn merged(exceedances: impl Iterator<Item = Exceedance>) -> Vec<Exceedance> {
    let mut found: Vec<Exceedance> = Vec::new();
    for next in exceedances {
        match found.last_mut() {
            Some(last) if next.start_s - last.end_s <= SAME_FINDING_S => {
                last.end_s = next.end_s;
                last.most_bpm = last.most_bpm.max(next.most_bpm);
                last.sum_bpm += next.sum_bpm;
                last.count += next.count;
                last.locked += next.locked;
            }
            _ => found.push(next),
        }
    }
    found
}

/// The run in which a moment lies.
fn rep_at(done: &[Done], t: f64) -> Option<u32> {
    done.iter()
        .find(|d| d.gait == Gait::Run && d.range_s.is_some_and(|(from, to)| from <= t && t <= to))
        .map(|d| d.rep)
}

/// The cadence a walk has to keep: the prescribed floor, else what common practice makes of the usual running
/// cadence.
pub(super) fn walk_floor_spm(prescription: &Prescription<'_>, config: &AuditConfig) -> Option<f64> {
    let prescribed = prescription.limits.walk_cadence_floor.map(StepsPerMinute::get);
    let by_running = || prescription.runner.usual_run_cadence.map(|c| c.get() - config.brisk_below_run_spm);
    prescribed.or_else(by_running)
}

/// Holds what was done of every prescribed walk against the floor. Also says how many walks have no cadence.
pub(super) fn walk_cadence<'d>(
    series: &Series,
    walks: impl Iterator<Item = &'d Done>,
    floor_spm: f64,
    config: &AuditConfig,
) -> (Vec<Finding>, usize) {
    /// Left out at both ends of a walk: slowing down from the run and speeding up to it, s. Our choice.
    const TRIM_S: f64 = 5.0;
    let (mut findings, mut unjudged) = (Vec::new(), 0);
    for walk in walks.filter(|walk| !walk.own.is_empty()) {
        let core: Vec<BoutPart> = walk.own.iter().map(|s| s.trimmed(TRIM_S, TRIM_S)).collect();
        let Some(cadence_spm) = measure::mean_cadence(series, &core) else {
            unjudged += 1;
            continue;
        };
        let below = floor_spm - cadence_spm;
        if below <= config.cadence_margin_spm {
            continue;
        }
        findings.push(Finding {
            code: Code::WalkTooSlow,
            rep: Some(walk.rep),
            start_s: core.first().map(|s| s.start_s),
            end_s: core.last().map(|s| s.end_s),
            prescribed: Some(floor_spm),
            range: None,
            achieved: Some(cadence_spm),
            unit: Unit::StepsPerMinute,
            excess: Some(below),
            certainty: above_zero(below, config.cadence_error_spm) * measure::certainty(&core),
        });
    }
    (findings, unjudged)
}
