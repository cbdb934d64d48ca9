//! Where the search for a recording's levels begins.

use super::adapt::{CADENCE_SD_SPM, Fit, SPEED_SD_MPS, USUAL_HILL};
use super::emission::{Bell, Level};
use super::observe::Observed;

/// Slower than this, and without steps, is taken for standing when levels are first guessed.
const MOVING_MPS: f64 = 0.7;
const STEPPING_SPM: f64 = 60.0;

/// A reading of a moving person.
type Reading = (Option<f64>, Option<f64>);

/// Levels by k-means on what the recording shows most of, started from evenly spaced quantiles. `None` with too few readings.
pub(super) fn spaced(observed: &Observed, count: usize) -> Option<Vec<Level>> {
    let all: usize = observed.stretches.iter().map(|s| s.cadence_spm.iter().flatten().count()).sum();
    let ticks: usize = observed.stretches.iter().map(|s| s.speed_mps.iter().flatten().count().max(1)).sum();
    // Hills and fatigue move the speed, hardly the cadence: it leads where most readings have one.
    let cadence_leads = 2 * all > ticks;
    let readings = moving_readings(observed, if cadence_leads { 3 } else { 8 });
    let leading: Vec<(f64, Reading)> = readings
        .iter()
        .filter_map(|&(v, c)| (if cadence_leads { c } else { v }).map(|leading| (leading, (v, c))))
        .collect();
    if leading.len() < 5 * count {
        return None;
    }
    let mut sorted: Vec<f64> = leading.iter().map(|r| r.0).collect();
    sorted.sort_by(f64::total_cmp);
    let quantile = |q: f64| sorted[((sorted.len() - 1) as f64 * q) as usize];
    let spaced: Vec<f64> = (0..count).map(|l| quantile((l as f64 + 0.5) / count as f64)).collect();
    Some(gathered(&leading, spaced, cadence_leads))
}

/// The levels of a fit and one more where the fit explains the readings worst for some seconds: so that a short bout of
/// something else in a long recording is found.
pub(super) fn grown(observed: &Observed, fit: &Fit) -> Option<Vec<Level>> {
    const REACH_S: f64 = 6.0;
    let reach = (REACH_S / observed.tick_s).round() as usize;
    let width = fit.levels.len() + 1;
    let mut worst: Option<(f64, Reading)> = None;
    for stretch in &observed.stretches {
        let table = fit.emission(stretch);
        let best: Vec<Option<f64>> = table
            .chunks_exact(width)
            .enumerate()
            .map(|(k, row)| {
                let seen = stretch.speed_mps[k].is_some() || stretch.cadence_spm[k].is_some();
                seen.then(|| row.iter().copied().fold(f64::NEG_INFINITY, f64::max))
            })
            .collect();
        let (best, speed, cadence) = (
            smoothed(&best, reach),
            smoothed(&stretch.speed_mps, reach),
            smoothed(&stretch.cadence_spm, reach),
        );
        for k in 0..stretch.ticks() {
            let Some(score) = best[k] else { continue };
            let moving =
                cadence[k].is_some_and(|c| c > STEPPING_SPM) || speed[k].is_some_and(|v| v > MOVING_MPS);
            if moving && worst.is_none_or(|(least, _)| score < least) {
                worst = Some((score, (speed[k], cadence[k])));
            }
        }
    }
    let (_, (speed, cadence)) = worst?;
    let mut levels = fit.levels.clone();
    levels.push(Level {
        speed_mps: Bell { mean: speed.unwrap_or(0.0), sd: SPEED_SD_MPS },
        hill: USUAL_HILL,
        cadence_spm: Bell { mean: cadence.unwrap_or(0.0), sd: CADENCE_SD_SPM },
    });
    Some(levels)
}

/// Readings of a moving person, each averaged with its neighbours within `reach` ticks.
fn moving_readings(observed: &Observed, reach: usize) -> Vec<Reading> {
    let mut out = Vec::new();
    for stretch in &observed.stretches {
        let (speed, cadence) = (smoothed(&stretch.speed_mps, reach), smoothed(&stretch.cadence_spm, reach));
        for at in 0..stretch.ticks() {
            if stretch.speed_mps[at].is_none() && stretch.cadence_spm[at].is_none() {
                continue;
            }
            let (v, c) = (speed[at], cadence[at]);
            let moving = match (v, c) {
                (Some(v), Some(c)) => v > MOVING_MPS || c > STEPPING_SPM && v > 0.5 * MOVING_MPS,
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

/// Some rounds of k-means on the leading reading, and the levels of the groups.
fn gathered(leading: &[(f64, Reading)], mut centres: Vec<f64>, cadence_leads: bool) -> Vec<Level> {
    const ROUNDS: usize = 12;
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
    centres
        .iter()
        .zip(others)
        .map(|(&centre, (sum, n))| {
            let other = if n > 0.0 { sum / n } else { 0.0 };
            let (speed, cadence) = if cadence_leads { (other, centre) } else { (centre, other) };
            Level {
                speed_mps: Bell { mean: speed, sd: SPEED_SD_MPS },
                hill: USUAL_HILL,
                cadence_spm: Bell { mean: cadence, sd: CADENCE_SD_SPM },
            }
        })
        .collect()
}
