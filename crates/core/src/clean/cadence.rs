//! Cadence faults of recorders: drop-outs to zero while moving, held values, and locks onto half or double.

use super::order::Row;
use super::{Change, ChangeKind, CleanConfig};

/// Steps that are longer than this, m, at a cadence below [`HALF_BELOW_SPM`] are two steps counted as one: an adult walks with
/// steps of 0.5 to 0.9 m and jogs with 0.7 to 1.2 m (facts of van Oeveren et al. 2017: 0.94 to 1.09 m at 154 to 160 steps/min).
const HALF_STEP_M: f64 = 1.30;
const HALF_BELOW_SPM: f64 = 105.0;
/// Steps shorter than this, m, at a cadence above [`DOUBLE_ABOVE_SPM`] are one step counted twice.
const DOUBLE_STEP_M: f64 = 0.60;
const DOUBLE_ABOVE_SPM: f64 = 195.0;
/// A person who moves at this speed, m/s, takes steps.
const MOVING_MPS: f64 = 0.9;
/// A person who is slower than this, m/s, does not step at a steady rate.
const STILL_MPS: f64 = 0.35;
/// A cadence that stays the same for this long, s, is held if the speed changes by more than this, m/s, meanwhile: cadence wanders
/// by 1 to 3 % from stride to stride (from memory), so even whole strides a minute seldom repeat for 20 s.
const HELD_S: f64 = 15.0;
const HELD_CHANGE_MPS: f64 = 0.35;
const EDGE_S: f64 = 4.0;
/// A lock lasts; shorter ones are noise.
const LOCK_S: f64 = 4.0;

/// Cadence by row, both feet; faults are mended where the speed tells how, else left out.
pub(super) fn mend(
    rows: &[Row],
    time_s: &[f64],
    speed_mps: &[Option<f64>],
    config: &CleanConfig,
    ledger: &mut Vec<Change>,
) -> Vec<Option<f64>> {
    let mut cadence: Vec<Option<f64>> =
        rows.iter().map(|r| r.sample.cadence.map(jogaudit_recording::units::StepsPerMinute::get)).collect();
    let mut change = |at: usize, kind| ledger.push(Change { sample: rows[at].index, kind });
    let smooth = |at: usize| local_mean(speed_mps, time_s, at, 2.5);
    for at in 0..cadence.len() {
        let Some(spm) = cadence[at] else { continue };
        let dropped = spm < 20.0 && smooth(at).is_some_and(|v| v > MOVING_MPS);
        let locked_double_run = spm > config.max_cadence_spm && spm <= 2.0 * 200.0;
        if dropped || !(0.0..=config.max_cadence_spm).contains(&spm) && !locked_double_run {
            cadence[at] = None;
            change(at, ChangeKind::CadenceRefused);
        }
    }
    for (factor, kind) in [(2.0, ChangeKind::CadenceDoubled), (0.5, ChangeKind::CadenceHalved)] {
        let wrong = |at: usize| {
            let Some(spm) = cadence[at].filter(|spm| *spm >= 20.0) else { return false };
            let step_m = || smooth(at).map(|speed| 60.0 * speed / spm);
            if factor > 1.0 {
                spm < HALF_BELOW_SPM && step_m().is_some_and(|m| m > HALF_STEP_M)
            } else {
                let impossible = spm > config.max_cadence_spm;
                (impossible || spm > DOUBLE_ABOVE_SPM)
                    && step_m().is_some_and(|m| impossible || m < DOUBLE_STEP_M)
            }
        };
        for (from, to) in stretches(cadence.len(), wrong) {
            if time_s[to - 1] - time_s[from] < LOCK_S {
                continue;
            }
            for at in from..to {
                cadence[at] = cadence[at].map(|spm| spm * factor);
                change(at, kind);
            }
        }
    }
    // One and the same value while the speed goes from one gait's to another's was held.
    for (from, to) in equal_stretches(&cadence) {
        // The ends may belong to a change of gait.
        let inner =
            |at: &usize| time_s[*at] - time_s[from] >= EDGE_S && time_s[to - 1] - time_s[*at] >= EDGE_S;
        let speeds = (from..to).filter(inner).filter_map(smooth);
        let (least, most) =
            speeds.fold((f64::INFINITY, 0.0_f64), |(least, most), v| (least.min(v), most.max(v)));
        if time_s[to - 1] - time_s[from] >= HELD_S && most - least > HELD_CHANGE_MPS {
            for at in from..to {
                cadence[at] = None;
                change(at, ChangeKind::CadenceRefused);
            }
        }
    }
    // A steady cadence while standing was held from before the stop.
    let held =
        |at: usize| cadence[at].is_some_and(|spm| spm > 60.0) && smooth(at).is_some_and(|v| v < STILL_MPS);
    let stops: Vec<(usize, usize)> = stretches(cadence.len(), held);
    for (from, to) in stops {
        let same = |at: usize| match (cadence[at], cadence[from]) {
            (Some(a), Some(b)) => (a - b).abs() < 1e-6,
            _ => false,
        };
        if to - from >= 3 && (from..to).all(same) {
            for at in from..to {
                cadence[at] = None;
                change(at, ChangeKind::CadenceRefused);
            }
        }
    }
    for (at, spm) in cadence.iter_mut().enumerate() {
        if spm.is_some_and(|spm| spm > config.max_cadence_spm) {
            *spm = None;
            change(at, ChangeKind::CadenceRefused);
        }
    }
    cadence
}

/// Stretches of rows with one and the same cadence above 0, as half-open index ranges; rows without one do not end them.
fn equal_stretches(cadence: &[Option<f64>]) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    let mut value = f64::NAN;
    for (at, spm) in cadence.iter().enumerate() {
        match (spm, out.last_mut()) {
            (Some(spm), Some(last)) if *spm == value => last.1 = at + 1,
            (Some(spm), _) => {
                value = *spm;
                out.push((at, at + 1));
            }
            (None, _) => {}
        }
    }
    out.retain(|s| cadence[s.0].is_some_and(|spm| spm > 0.0));
    out
}

/// Longest stretches of rows for which `test` holds, as half-open index ranges.
fn stretches(n: usize, test: impl Fn(usize) -> bool) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut from = None;
    for at in 0..=n {
        match (at < n && test(at), from) {
            (true, None) => from = Some(at),
            (false, Some(start)) => {
                out.push((start, at));
                from = None;
            }
            _ => {}
        }
    }
    out
}

/// Mean of the known values within `half_s` of row `at`.
fn local_mean(column: &[Option<f64>], time_s: &[f64], at: usize, half_s: f64) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    let before = (0..=at).rev().take_while(|&j| time_s[at] - time_s[j] <= half_s);
    let after = (at + 1..column.len()).take_while(|&j| time_s[j] - time_s[at] <= half_s);
    for j in before.chain(after) {
        if let Some(value) = column[j] {
            sum += value;
            n += 1.0;
        }
    }
    (n > 0.0).then(|| sum / n)
}
