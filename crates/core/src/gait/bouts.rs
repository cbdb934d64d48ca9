//! Paths of gaits → bouts with places, certainties and means.

use crate::clean::Series;
use crate::statistics::{mean_of_known, median};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::boundary::{Placed, Side, ToldBy, place};
use super::certainty::{self, features};
use super::config::boundary::{
    DELAY_SD_KNOWN_S, DELAY_SD_UNKNOWN_S, LEAST_BESIDE_START_S, LEAST_BOUT_S, MOST_CADENCE_DELAY_S,
};
use super::config::bouts::{
    DOUBTFUL, END_DOUBT_S, END_S, END_SHARE, HIDDEN_S, LEAST_DOUBT, PLACED_S, SPEED_FROM_DISTANCE_S,
    UNSEEN_SLOPES, WORTH_SAYING,
};
use super::config::certainty::FEATURES;
use super::delay::Delays;
use super::judged::Judged;
use super::levels::Level;
use super::observe::Observed;
use super::segmentation::{Bout, Gait, Segmentation};
use super::side_information::after_beep_s;

/// A bout, and what its certainty is reckoned from.
#[doc(hidden)]
#[derive(Clone, Copy, Debug)]
pub struct LookedAt {
    /// Run or walk.
    pub gait: Gait,
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// Whether most of its readings come with a cadence that tells.
    pub has_cadence: bool,
    /// What it looks like.
    pub features: [f64; FEATURES],
}

/// A bout as its path has it, before its ends are placed.
struct DecodedBout {
    gait: Gait,
    start_s: f64,
    end_s: f64,
    certainty: f64,
    /// Frames from, to.
    frames: std::ops::Range<usize>,
    /// How far its end may lie elsewhere, s.
    end_doubt_s: f64,
    /// Whether it has a cadence that tells: at most of its frames, and never away for long.
    has_cadence: bool,
    /// What its certainty is reckoned from.
    features: [f64; FEATURES],
    /// For placing its ends.
    level: Level,
}

/// Everything unknown, and said.
pub(super) fn nothing_known(series: &Series) -> Noted<Segmentation> {
    Noted {
        value: Segmentation::unknown(series.elapsed_s()),
        notices: vec![Notice::new(
            NoticeCode::GaitUnknown,
            "there is too little speed or cadence to tell running from walking; nothing was worked out",
        )],
    }
}

/// Puts the bouts together.
pub(super) fn assemble(series: &Series, observed: &Observed, judged: &Judged) -> Noted<Segmentation> {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut end_s = 0.0;
    let mut hidden = 0;
    let mut all: Vec<Vec<DecodedBout>> =
        (0..observed.segments.len()).map(|index| decoded(observed, judged, index)).collect();
    let delays = by_starts_of_runs(series, observed, judged, &all);
    let delays = by_beeps(series, judged, &all, delays);
    let is_there = |gait: Gait| all.iter().flatten().any(|bout| bout.gait == gait);
    let both = is_there(Gait::Run) && is_there(Gait::Walk);
    for (segment, decoded) in observed.segments.iter().zip(&mut all) {
        if segment.start_s > end_s {
            bouts.push(Bout::blank(Gait::Unknown, end_s, segment.start_s));
        }
        if observed.slopes_unseen && both {
            for bout in decoded.iter_mut() {
                let most = most_certain(judged, bout);
                hidden += usize::from(most < bout.certainty - WORTH_SAYING);
                bout.certainty = bout.certainty.min(most);
            }
        }
        bouts.extend(with_ends(series, delays, judged, decoded));
        end_s = segment.end_s;
    }
    let elapsed_s = series.elapsed_s();
    if elapsed_s > end_s || bouts.is_empty() {
        bouts.push(Bout::blank(Gait::Unknown, end_s, elapsed_s));
    }
    for bout in &mut bouts {
        sum_up(series, bout);
    }
    let doubtful = bouts.iter().filter(|b| b.certainty < DOUBTFUL).count();
    Noted { value: Segmentation { bouts }, notices: notices(doubtful, hidden) }
}

/// Says how many bouts are doubtful, and how many are so for slopes that nobody recorded.
fn notices(doubtful: usize, hidden: usize) -> Vec<Notice> {
    let mut notices = Vec::new();
    if doubtful > 0 {
        let text = if doubtful == 1 {
            "1 bout is less than 0.8 certain".to_owned()
        } else {
            format!("{doubtful} bouts are less than 0.8 certain")
        };
        notices.push(Notice::new(
            NoticeCode::GaitDoubtful,
            format!("{text}: speed and cadence do not tell the gaits apart there"),
        ));
    }
    if hidden > 0 {
        let bouts = if hidden == 1 { "1 bout is".to_owned() } else { format!("{hidden} bouts are") };
        notices.push(Notice::new(
            NoticeCode::SlopesUnknown,
            format!(
                "neither cadence nor altitude tells a climb, which slows a jog, from a walk: {bouts} less certain for it"
            ),
        ));
    }
    notices
}

/// The most that a bout can be certain where nothing tells how steep the ground was and cadence does not tell the gait: a slope
/// changes the speed of a whole bout, so that more readings make nothing surer. A speed at that of its gait speaks against the other
/// gait whose speed differs by d with odds of e^(d²/2s²), s being the spread by slopes. The recording has both.
fn most_certain(judged: &Judged, bout: &DecodedBout) -> f64 {
    let other = match bout.gait {
        Gait::Run => Gait::Walk,
        Gait::Walk => Gait::Run,
        Gait::Stand | Gait::Unknown => return 1.0,
    };
    if bout.has_cadence {
        return 1.0;
    }
    let speed_mps = bout.level.speed_mps.mean;
    let step = (judged.levels.of_gait(other).speed_mps.mean - speed_mps) / (UNSEEN_SLOPES * speed_mps);
    1.0 / (1.0 + (-0.5 * step * step).exp())
}

/// The bouts of one segment.
fn decoded(observed: &Observed, judged: &Judged, index: usize) -> Vec<DecodedBout> {
    let mut from = 0;
    let of = |same: &[Gait]| {
        let frames = from..from + same.len();
        from = frames.end;
        decoded_bout(observed, judged, index, same[0], frames)
    };
    let mut out: Vec<DecodedBout> = judged.paths[index].chunk_by(|a, b| a == b).map(of).collect();
    let probabilities = &judged.probabilities[index];
    for k in 1..out.len() {
        let (before, after) = (&out[k - 1], &out[k]);
        let other = |t: usize, gait: Gait| 1.0 - probabilities[t][gait as usize];
        let reach = (END_DOUBT_S / observed.frame_s) as usize;
        let at = after.frames.start;
        let early =
            (before.frames.start.max(at.saturating_sub(reach))..at).rev().map(|t| other(t, before.gait));
        let late = (at..after.frames.end.min(at + reach)).map(|t| other(t, after.gait));
        // Cadence places an end between the frames near it.
        let is_placed = before.has_cadence && after.has_cadence;
        let (near, least) =
            if is_placed { ((PLACED_S / observed.frame_s) as usize, LEAST_DOUBT) } else { (0, 0.0) };
        let (near_early, far_early) = off(early, near, least);
        let (near_late, far_late) = off(late, near, least);
        out[k - 1].end_doubt_s =
            observed.frame_s * (near_early + near_late).hypot((far_early + far_late).sqrt());
    }
    out
}

/// How far, in frames, an end may lie off to one side, of the doubts of the frames there from the end on: the sum of those of the first
/// `near` frames, and the expected square of how far it lies beyond them, where doubts up to `least_doubt` are none. It lies beyond a
/// frame only if all up to that are of the other gait, which is no more probable than it is of any of them.
fn off(doubts: impl Iterator<Item = f64>, near: usize, least_doubt: f64) -> (f64, f64) {
    let (mut sum, mut square, mut least) = (0.0, 0.0, 1.0_f64);
    for (frame, doubt) in doubts.enumerate() {
        least = least.min(doubt);
        if frame < near {
            sum += doubt;
        } else {
            square += (2 * frame + 1) as f64 * (least - least_doubt).max(0.0);
        }
    }
    (sum, square)
}

/// Frames of a bout without those at its ends, which are uncertain by nature: that is the ends' error, not the bout's certainty.
fn inner(observed: &Observed, frames: &std::ops::Range<usize>) -> std::ops::Range<usize> {
    let margin = ((END_S / observed.frame_s) as usize).min(frames.len().saturating_sub(1) / END_SHARE);
    frames.start + margin..frames.end - margin
}

/// The bouts of walking and running, by what each looks like.
pub(super) fn looked_at(observed: &Observed, judged: &Judged) -> Vec<LookedAt> {
    let mut out = Vec::new();
    for (index, segment) in observed.segments.iter().enumerate() {
        for bout in decoded(observed, judged, index) {
            if bout.gait == Gait::Stand {
                continue;
            }
            let at_s = |frame: usize| segment.edge_s(frame, observed.frame_s);
            let DecodedBout { gait, has_cadence, features, .. } = bout;
            let (start_s, end_s) = (at_s(bout.frames.start), at_s(bout.frames.end));
            out.push(LookedAt { gait, start_s, end_s, has_cadence, features });
        }
    }
    out
}

/// The bout of some frames of a segment.
fn decoded_bout(
    observed: &Observed,
    judged: &Judged,
    index: usize,
    gait: Gait,
    frames: std::ops::Range<usize>,
) -> DecodedBout {
    let segment = &observed.segments[index];
    let inner = inner(observed, &frames);
    // Where cadence is away for half as long as what a bout may not hide, it does not tell that nothing is hidden.
    let away = (0.5 * HIDDEN_S / observed.frame_s) as usize;
    let has_cadence = segment.has_cadence(&frames, away) && judged.levels.are_told_by_cadence();
    let own: Vec<f64> =
        judged.probabilities[index][inner.clone()].iter().map(|row| row[gait as usize]).collect();
    let features = features(observed, gait, &own, has_cadence, frames.len() as f64 * observed.frame_s);
    let certainty = match gait {
        Gait::Stand => own.iter().sum::<f64>() / own.len() as f64,
        _ => certainty::certainty(&features, has_cadence),
    };
    let edge_s = |frame: usize| segment.edge_s(frame, observed.frame_s);
    DecodedBout {
        gait,
        start_s: if frames.start == 0 { segment.start_s } else { edge_s(frames.start) },
        end_s: if frames.end == segment.frames() { segment.end_s } else { edge_s(frames.end) },
        certainty,
        end_doubt_s: 0.0,
        has_cadence,
        features,
        level: judged.levels.of_frames(segment, inner, gait),
        frames,
    }
}

/// Where one bout gives way to the next, told by cadence or by speed.
fn change_of(
    series: &Series,
    delays: Delays,
    judged: &Judged,
    pair: &[DecodedBout],
    told_by: ToldBy,
) -> Placed {
    let side = |bout: &DecodedBout| Side { reach_s: bout.end_s - bout.start_s, level: bout.level };
    place(series, pair[0].end_s, (side(&pair[0]), side(&pair[1])), judged.weights, delays, told_by)
}

/// Delays with that of the cadence made better. Sliding cadence over speed takes them to change together; but people slow down
/// before they walk, so that only where they begin to run does the middle of the change of speed tell when the gait changed.
fn by_starts_of_runs(
    series: &Series,
    observed: &Observed,
    judged: &Judged,
    decoded: &[Vec<DecodedBout>],
) -> Delays {
    let delays = observed.delays.with_usual();
    if !delays.known {
        return delays;
    }
    let starts = decoded.iter().flat_map(|bouts| bouts.windows(2)).filter(|pair| {
        (pair[0].gait, pair[1].gait) == (Gait::Walk, Gait::Run)
            && pair.iter().all(|bout| bout.end_s - bout.start_s >= LEAST_BESIDE_START_S && bout.has_cadence)
    });
    let late_s = usually(starts.map(|pair| {
        let at_s = |told_by| change_of(series, delays, judged, pair, told_by).at_s;
        at_s(ToldBy::Speed) - at_s(ToldBy::Readings)
    }));
    Delays { cadence_s: (delays.cadence_s - late_s).clamp(0.0, MOST_CADENCE_DELAY_S), ..delays }
}

/// The median of some differences, drawn to none the more the fewer they are.
fn usually(differences_s: impl Iterator<Item = f64>) -> f64 {
    let mut differences_s: Vec<f64> = differences_s.collect();
    let n = differences_s.len() as f64;
    median(&mut differences_s).unwrap_or(0.0) * n / (n + 1.0)
}

/// Delays made better by the beeps of a workout: what all changes beside one come too late by is the recorder's delay, not the answer.
fn by_beeps(series: &Series, judged: &Judged, decoded: &[Vec<DecodedBout>], delays: Delays) -> Delays {
    if series.beeps_s().is_empty() {
        return delays;
    }
    let late_s = |told_by| {
        usually(decoded.iter().flat_map(|bouts| bouts.windows(2)).filter_map(|pair| {
            let at_s = change_of(series, delays, judged, pair, told_by).at_s;
            after_beep_s(series.beeps_s(), at_s)
        }))
    };
    Delays {
        speed_s: delays.speed_s + late_s(ToldBy::Speed),
        cadence_s: delays.cadence_s + late_s(ToldBy::Readings),
        ..delays
    }
}

/// Places the inner ends of a segment's bouts and keeps them in order.
fn with_ends(series: &Series, delays: Delays, judged: &Judged, decoded: &[DecodedBout]) -> Vec<Bout> {
    let delay_sd_s = if delays.known { DELAY_SD_KNOWN_S } else { DELAY_SD_UNKNOWN_S };
    let placed: Vec<Placed> = decoded
        .windows(2)
        .map(|pair| {
            let placed = change_of(series, delays, judged, pair, ToldBy::All);
            let error_s = placed.error_s.hypot(delay_sd_s).hypot(pair[0].end_doubt_s);
            Placed { error_s, ..placed }
        })
        .collect();
    let mut bouts = Vec::with_capacity(decoded.len());
    let mut start = Placed { at_s: decoded.first().map_or(0.0, |d| d.start_s), error_s: 0.0 };
    for (k, bout) in decoded.iter().enumerate() {
        let last_s = decoded.last().map_or(bout.end_s, |d| d.end_s);
        let end = placed.get(k).map_or(Placed { at_s: bout.end_s, error_s: 0.0 }, |p| Placed {
            at_s: p.at_s.clamp((start.at_s + LEAST_BOUT_S).min(last_s), last_s),
            error_s: p.error_s,
        });
        bouts.push(Bout {
            start_error_s: start.error_s,
            end_error_s: end.error_s,
            certainty: bout.certainty.clamp(0.0, 1.0),
            ..Bout::blank(bout.gait, start.at_s, end.at_s)
        });
        start = end;
    }
    bouts
}

/// Means and distance over the bout's time.
fn sum_up(series: &Series, bout: &mut Bout) {
    let range = series.range(bout.start_s, bout.end_s.next_up());
    if bout.gait != Gait::Unknown {
        let mean = |column: &[Option<f64>]| mean_of_known(&column[range.clone()], 1);
        bout.mean_cadence_spm = mean(series.cadence_spm());
        bout.mean_speed_mps = mean(series.speed_mps());
        bout.mean_heart_rate_bpm = mean(series.heart_rate_bpm());
    }
    bout.distance_m = match (series.distance_at(bout.start_s), series.distance_at(bout.end_s)) {
        (Some(from_m), Some(to_m)) => Some((to_m - from_m).max(0.0)),
        _ => None,
    };
    if let (Some(distance_m), true) =
        (bout.distance_m, bout.duration_s() >= SPEED_FROM_DISTANCE_S && bout.gait != Gait::Unknown)
    {
        bout.mean_speed_mps = Some(distance_m / bout.duration_s());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_lies_elsewhere_as_probably_as_all_up_to_there_are_of_the_other_gait() {
        // One chance in ten of 15 frames: 0.1 · 15².
        let (sum, square) = off([0.1; 15].into_iter(), 0, 0.0);
        assert_eq!(sum, 0.0);
        assert!((square - 22.5).abs() < 1e-9);
        // What lies behind a sure frame is no doubt.
        assert_eq!(off([0.5, 0.0, 0.9, 0.9].into_iter(), 0, 0.0), (0.0, 0.5));
        // Near it doubts are summed; farther away small ones are none.
        let (sum, square) = off([0.4, 0.2, 0.05, 0.01].into_iter(), 2, 0.02);
        assert!((sum - 0.6).abs() < 1e-12 && (square - 5.0 * 0.03).abs() < 1e-12);
        assert_eq!(off(std::iter::empty(), 0, 0.0), (0.0, 0.0));
    }
}
