//! Where the search for a recording's moving states begins.

use super::config::fit::{
    CADENCE_SD_SPM, LEAST_READINGS as LEAST_SEEN, SPEED_SD_MPS, UNSEEN_CADENCE_SPM, UNSEEN_SPEED_MPS,
};
use super::config::initial::{
    CADENCE_REACH, LEAST_READINGS, MOVING_MPS, ROUNDS, SPEED_REACH, SPLIT_REACH_S, STEPPING_SHARE,
    STEPPING_SPM,
};
use super::fit::Fit;
use super::gaussian::Gaussian;
use super::moving::{MovingState, Seen, SlopeEffect};
use super::observe::Observed;

/// Speed and cadence of a moving person.
type Reading = (Option<f64>, Option<f64>);

/// A state with the spreads and the slope effect that are believed before anything is seen.
fn state((speed_mps, cadence_spm): Reading) -> MovingState {
    let around =
        |mean: Option<f64>, sd: f64, unseen: Gaussian| mean.map_or(unseen, |mean| Gaussian { mean, sd });
    MovingState {
        speed_mps: around(speed_mps, SPEED_SD_MPS, UNSEEN_SPEED_MPS),
        slope_effect: SlopeEffect::USUAL,
        cadence_spm: around(cadence_spm, CADENCE_SD_SPM, UNSEEN_CADENCE_SPM),
        seen: Seen::default(),
    }
}

/// States by k-means on what the recording shows most of, started from evenly spaced quantiles. `None` with too few readings.
pub(super) fn from_quantiles(observed: &Observed, count: usize) -> Option<Vec<MovingState>> {
    let cadences = observed.readings(|s| &s.cadence_spm);
    let speeds: usize = observed.segments.iter().map(|s| s.speed_mps.iter().flatten().count().max(1)).sum();
    // Hills and fatigue move the speed, hardly the cadence: it leads where most readings have one.
    let cadence_leads = 2 * cadences > speeds;
    let readings = moving_readings(observed, if cadence_leads { CADENCE_REACH } else { SPEED_REACH });
    let leading: Vec<(f64, Reading)> = readings
        .iter()
        .filter_map(|&(v, c)| (if cadence_leads { c } else { v }).map(|leading| (leading, (v, c))))
        .collect();
    if leading.len() < LEAST_READINGS * count {
        return None;
    }
    let mut sorted: Vec<f64> = leading.iter().map(|r| r.0).collect();
    sorted.sort_by(f64::total_cmp);
    // The order statistic at or below each quantile: where exactly a centre starts does not matter.
    let quantile = |q: f64| sorted[((sorted.len() - 1) as f64 * q) as usize];
    let centres: Vec<f64> = (0..count).map(|l| quantile((l as f64 + 0.5) / count as f64)).collect();
    Some(k_means(&leading, centres, cadence_leads))
}

/// The states of a fit and one more where the fit explains the readings worst for some seconds: so that a short bout of
/// something else in a long recording is found.
pub(super) fn split(observed: &Observed, fit: &Fit) -> Option<Vec<MovingState>> {
    let reach = (SPLIT_REACH_S / observed.frame_s).round() as usize;
    let mut worst: Option<(f64, Reading)> = None;
    for segment in &observed.segments {
        let best: Vec<Option<f64>> = fit
            .emission(segment)
            .iter()
            .enumerate()
            .map(|(k, row)| {
                let seen = segment.speed_mps[k].is_some() || segment.cadence_spm[k].is_some();
                seen.then(|| row.iter().copied().fold(f64::NEG_INFINITY, f64::max))
            })
            .collect();
        let (best, speed, cadence) = (
            smoothed(&best, reach),
            smoothed(&segment.speed_mps, reach),
            smoothed(&segment.cadence_spm, reach),
        );
        for k in 0..segment.frames() {
            let Some(score) = best[k] else { continue };
            let moving =
                cadence[k].is_some_and(|c| c > STEPPING_SPM) || speed[k].is_some_and(|v| v > MOVING_MPS);
            if moving && worst.is_none_or(|(least, _)| score < least) {
                worst = Some((score, (speed[k], cadence[k])));
            }
        }
    }
    let (_, reading) = worst?;
    let mut states = fit.states.clone();
    states.push(state(reading));
    Some(states)
}

/// The states of a fit with the widest of them, by cadence where every state has one, else by speed, taken apart into two. `None`
/// of no states.
pub(super) fn halved(observed: &Observed, fit: &Fit) -> Option<Vec<MovingState>> {
    let by_cadence = fit.states.iter().all(|state| state.seen.cadences >= LEAST_SEEN);
    let seconds = observed.frame_s;
    let width = |state: &MovingState| {
        let (sd, usual, seen) = if by_cadence {
            (state.cadence_spm.sd, CADENCE_SD_SPM, state.seen.cadences)
        } else {
            (state.speed_mps.sd, SPEED_SD_MPS, state.seen.speeds)
        };
        sd / usual * (seen * seconds).sqrt()
    };
    let (widest, _) = fit.states.iter().enumerate().max_by(|a, b| width(a.1).total_cmp(&width(b.1)))?;
    let mut states = fit.states.clone();
    let low = &mut states[widest];
    let mut high = *low;
    let apart =
        |gaussian: Gaussian, way: f64| Gaussian { mean: gaussian.mean + way * gaussian.sd, ..gaussian };
    (low.speed_mps, high.speed_mps) = (apart(low.speed_mps, -1.0), apart(low.speed_mps, 1.0));
    (low.cadence_spm, high.cadence_spm) = (apart(low.cadence_spm, -1.0), apart(low.cadence_spm, 1.0));
    states.push(high);
    Some(states)
}

/// Readings of a moving person, each averaged with its neighbours within `reach` frames.
fn moving_readings(observed: &Observed, reach: usize) -> Vec<Reading> {
    let mut out = Vec::new();
    for segment in &observed.segments {
        let (speed, cadence) = (smoothed(&segment.speed_mps, reach), smoothed(&segment.cadence_spm, reach));
        for at in 0..segment.frames() {
            if segment.speed_mps[at].is_none() && segment.cadence_spm[at].is_none() {
                continue;
            }
            let (v, c) = (speed[at], cadence[at]);
            let moving = match (v, c) {
                (Some(v), Some(c)) => v > MOVING_MPS || c > STEPPING_SPM && v > STEPPING_SHARE * MOVING_MPS,
                (Some(v), None) => v > MOVING_MPS,
                (None, Some(c)) => c > STEPPING_SPM,
                (None, None) => false,
            };
            if moving {
                out.push((v, c));
            }
        }
    }
    out
}

/// Mean of the known values within `reach` places of each.
fn smoothed(column: &[Option<f64>], reach: usize) -> Vec<Option<f64>> {
    let mut sums = vec![(0.0, 0_u32)];
    for value in column {
        let (sum, n) = sums[sums.len() - 1];
        sums.push(value.map_or((sum, n), |v| (sum + v, n + 1)));
    }
    (0..column.len())
        .map(|at| {
            let (low, high) = (sums[at.saturating_sub(reach)], sums[(at + reach + 1).min(column.len())]);
            (high.1 > low.1).then(|| (high.0 - low.0) / f64::from(high.1 - low.1))
        })
        .collect()
}

/// Some rounds of k-means on the leading reading, and the states of the groups.
fn k_means(leading: &[(f64, Reading)], mut centres: Vec<f64>, cadence_leads: bool) -> Vec<MovingState> {
    let nearest = |centres: &[f64], value: f64| {
        (0..centres.len())
            .min_by(|&a, &b| (centres[a] - value).abs().total_cmp(&(centres[b] - value).abs()))
            .unwrap_or(0)
    };
    for _ in 0..ROUNDS {
        let mut sums = vec![(0.0, 0.0); centres.len()];
        for &(value, _) in leading {
            let group = &mut sums[nearest(&centres, value)];
            *group = (group.0 + value, group.1 + 1.0);
        }
        let before = centres.clone();
        for (centre, (sum, n)) in centres.iter_mut().zip(sums) {
            if n > 0.0 {
                *centre = sum / n;
            }
        }
        if centres == before {
            break;
        }
    }
    let mut others = vec![(0.0, 0.0); centres.len()];
    for &(value, (v, c)) in leading {
        if let Some(other) = if cadence_leads { v } else { c } {
            let group = &mut others[nearest(&centres, value)];
            *group = (group.0 + other, group.1 + 1.0);
        }
    }
    let with_other = |(&centre, (sum, n)): (&f64, (f64, f64))| {
        let other = (n > 0.0).then(|| sum / n);
        state(if cadence_leads { (other, Some(centre)) } else { (Some(centre), other) })
    };
    centres.iter().zip(others).map(with_other).collect()
}
