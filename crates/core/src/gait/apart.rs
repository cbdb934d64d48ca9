//! Stretches of a piece whose cadence lies well apart from the rest of it. The states of a recording are what it shows at length; a
//! short run that is faster than all others, or one between two of them, is as far from every state as a wrong reading is, so that
//! the path stays where it was. Such a stretch is given to the state on its side: what it is, is judged as of any piece.

use std::ops::Range;

use super::config::apart::{APART_SPM, DROP_OUT_SPM, LEAST_READINGS, LEAST_S, POSTERIOR};
use super::fit::Fit;
use super::observe::{Observed, Segment};
use super::state::State;
use crate::statistics::median;

/// Gives each such stretch to another state, in path and posterior.
pub(super) fn set_apart(observed: &Observed, fit: &mut Fit, paths: &mut [Vec<State>]) {
    for (k, (segment, path)) in observed.segments.iter().zip(paths).enumerate() {
        let mut start = 0;
        let mut found = Vec::new();
        for piece in path.chunk_by(|a, b| a == b) {
            let frames = start..start + piece.len();
            start = frames.end;
            if let State::Moving(_) = piece[0] {
                found.extend(stretches(segment, frames, observed.frame_s));
            }
        }
        for stretch in found {
            let Some(state) = state_beside(fit, path[stretch.frames.start], &stretch) else { continue };
            path[stretch.frames.clone()].fill(State::Moving(state));
            for frame in stretch.frames {
                let row = fit.posteriors[k].states.row_mut(frame);
                row.iter_mut().for_each(|p| *p *= 1.0 - POSTERIOR);
                row[state] += POSTERIOR;
            }
        }
    }
}

struct Stretch {
    frames: Range<usize>,
    mean_spm: f64,
    is_above: bool,
}

/// The stretches of a piece that lie apart from its middle cadence.
fn stretches(segment: &Segment, frames: Range<usize>, frame_s: f64) -> Vec<Stretch> {
    let known =
        frames.clone().filter_map(|t| Some((t, segment.cadence_spm[t].filter(|c| *c > DROP_OUT_SPM)?)));
    let readings: Vec<(usize, f64)> = known.collect();
    let mut cadences: Vec<f64> = readings.iter().map(|r| r.1).collect();
    let Some(middle_spm) = median(&mut cadences) else { return Vec::new() };
    let side =
        |spm: f64| if (spm - middle_spm).abs() < APART_SPM { 0 } else { (spm - middle_spm).signum() as i8 };
    let mut found = Vec::new();
    let mut next = 0;
    for part in readings.chunk_by(|a, b| side(a.1) == side(b.1)) {
        let (first, last) = (next, next + part.len() - 1);
        next += part.len();
        // Up to the middle between its readings and those around it.
        let from =
            if first == 0 { frames.start } else { (readings[first - 1].0 + readings[first].0).div_ceil(2) };
        let to = readings.get(last + 1).map_or(frames.end, |after| (readings[last].0 + after.0).div_ceil(2));
        let long = (to - from) as f64 * frame_s >= LEAST_S && part.len() >= LEAST_READINGS;
        if long && side(part[0].1) != 0 {
            let mean_spm = part.iter().map(|r| r.1).sum::<f64>() / part.len() as f64;
            found.push(Stretch { frames: from..to, mean_spm, is_above: mean_spm > middle_spm });
        }
    }
    found
}

/// The state nearest to a stretch among those on its side of its own.
fn state_beside(fit: &Fit, own: State, stretch: &Stretch) -> Option<usize> {
    let State::Moving(own) = own else { return None };
    let mean_spm = |k: usize| fit.states[k].cadence_spm.mean;
    let on_its_side = |k: &usize| *k != own && (mean_spm(*k) > mean_spm(own)) == stretch.is_above;
    let off = |k: &usize| (mean_spm(*k) - stretch.mean_spm).abs();
    (0..fit.states.len()).filter(on_its_side).min_by(|a, b| off(a).total_cmp(&off(b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reading every 5 s.
    fn piece(cadences: &[f64]) -> Segment {
        let frames = 5 * cadences.len();
        let at = |t: usize| t.is_multiple_of(5).then(|| cadences[t / 5]);
        Segment {
            start_s: 0.0,
            end_s: frames as f64 - 1.0,
            speed_mps: vec![None; frames],
            cadence_spm: (0..frames).map(at).collect(),
            slope: vec![0.0; frames],
        }
    }

    fn found(cadences: &[f64]) -> Vec<(Range<usize>, bool)> {
        let segment = piece(cadences);
        let stretches = stretches(&segment, 0..segment.frames(), 1.0);
        stretches.into_iter().map(|s| (s.frames, s.is_above)).collect()
    }

    #[test]
    fn a_stretch_reaches_half_way_to_the_readings_around_it() {
        let mut walk = vec![118.0; 30];
        assert_eq!(found(&walk), []);
        walk[10..14].copy_from_slice(&[139.0, 142.0, 141.0, 140.0]);
        assert_eq!(found(&walk), [(48..68, true)]);
        walk[20..].fill(100.0);
        assert_eq!(found(&walk), [(48..68, true), (98..150, false)]);
    }

    #[test]
    fn few_readings_drop_outs_and_slow_drifts_are_no_stretch() {
        let mut walk = vec![118.0; 30];
        walk[10..12].fill(170.0);
        walk[15..20].fill(0.0);
        walk[20..30].fill(129.0);
        assert_eq!(found(&walk), []);
    }
}
