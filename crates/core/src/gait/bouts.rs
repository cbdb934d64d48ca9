//! Paths of states → bouts with places, certainties and means.

use crate::clean::Series;
use crate::statistics::{mean_of_known, median};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::boundary::{Placed, Side, ToldBy, place};
use super::certainty;
use super::config::boundary::{
    DELAY_SD_KNOWN_S, DELAY_SD_UNKNOWN_S, LEAST_BESIDE_START_S, LEAST_BOUT_S, MOST_CADENCE_DELAY_S,
};
use super::config::bouts::{
    DOUBTFUL, END_DOUBT_S, END_S, END_SHARE, SPEED_FROM_DISTANCE_S, STANDING_CADENCE_SD_SPM, UNSEEN_SLOPES,
    WORTH_SAYING,
};
use super::config::pieces::BOUT_FEATURES;
use super::delay::Delays;
use super::gaussian::Gaussian;
use super::model::Model;
use super::moving::MovingState;
use super::observe::Observed;
use super::piece::{Piece, frames_of};
use super::segmentation::{Bout, Gait, Segmentation};
use super::state::{State, split_row};

/// A bout of a recording without cadence there, and what its certainty is reckoned from.
#[doc(hidden)]
#[derive(Clone, Copy, Debug)]
pub struct LookedAt {
    /// Run or walk.
    pub gait: Gait,
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// What it looks like.
    pub features: [f64; BOUT_FEATURES],
}

/// A bout as its path has it, before its ends are placed.
struct DecodedBout {
    gait: Gait,
    start_s: f64,
    end_s: f64,
    certainty: f64,
    /// Frames from, to.
    frames: std::ops::Range<usize>,
    /// For how long around its end it is open whether it goes on, s.
    end_doubt_s: f64,
    /// Whether most of its frames have a cadence.
    has_cadence: bool,
    /// Mean of the bout's states, for placing its ends.
    speed_mps: Gaussian,
    cadence_spm: Gaussian,
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
pub(super) fn assemble(series: &Series, observed: &Observed, model: &Model) -> Noted<Segmentation> {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut end_s = 0.0;
    let mut hidden = 0;
    let mut all: Vec<Vec<DecodedBout>> =
        (0..observed.segments.len()).map(|index| decoded(observed, model, index)).collect();
    let delays = by_starts_of_runs(series, observed, model, &all);
    for (segment, decoded) in observed.segments.iter().zip(&mut all) {
        if segment.start_s > end_s {
            bouts.push(Bout::blank(Gait::Unknown, end_s, segment.start_s));
        }
        if model.pieces.slopes_unseen {
            for bout in decoded.iter_mut() {
                let most = most_certain(model, bout);
                hidden += usize::from(most < bout.certainty - WORTH_SAYING);
                bout.certainty = bout.certainty.min(most);
            }
        }
        bouts.extend(with_ends(series, delays, model, decoded));
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
/// changes the speed of a whole bout, so that more readings make nothing surer. A speed at that of its state speaks against another
/// gait whose speed differs by d with odds of e^(d²/2s²), s being the spread by slopes.
fn most_certain(model: &Model, bout: &DecodedBout) -> f64 {
    if bout.gait == Gait::Stand || bout.has_cadence {
        return 1.0;
    }
    let speed_mps = bout.speed_mps.mean;
    let states = model.fit.states.iter().enumerate();
    let others = states.filter(|(k, _)| model.gait_of(State::Moving(*k)) != bout.gait);
    let steps = others.map(|(_, state)| (state.speed_mps.mean - speed_mps).abs());
    let least = steps.fold(f64::INFINITY, f64::min) / (UNSEEN_SLOPES * speed_mps);
    1.0 / (1.0 + (-0.5 * least * least).exp())
}

/// Probability of a gait at a frame of a piece, over states and over what the states may be. What the piece's own state is has
/// been judged for the piece.
fn probability(model: &Model, row: &[f64], gait: Gait, piece: &Piece) -> f64 {
    let (moving, standing) = split_row(row);
    let run_of = |k: usize| if piece.state == State::Moving(k) { piece.run } else { model.labels.run[k] };
    let of = |own: fn(f64) -> f64| moving.iter().enumerate().map(|(k, p)| p * own(run_of(k))).sum();
    match gait {
        Gait::Stand => standing,
        Gait::Run => of(|run| run),
        Gait::Walk => of(|run| 1.0 - run),
        Gait::Unknown => 0.0,
    }
}

/// The bouts of one segment.
fn decoded(observed: &Observed, model: &Model, index: usize) -> Vec<DecodedBout> {
    let mut out: Vec<DecodedBout> =
        by_bout(model, index).map(|pieces| decoded_bout(observed, model, index, pieces)).collect();
    let posterior = &model.fit.posteriors[index].states;
    for k in 1..out.len() {
        let (before, after) = (&out[k - 1], &out[k]);
        let other = |t: usize, gait: Gait| -> f64 {
            let states = State::all(model.labels.run.len()).zip(posterior.row(t));
            states.filter(|(state, _)| model.gait_of(*state) != gait).map(|(_, p)| p).sum()
        };
        let reach = (END_DOUBT_S / observed.frame_s) as usize;
        let at = after.frames.start;
        let early = (before.frames.start.max(at.saturating_sub(reach))..at).map(|t| other(t, before.gait));
        let late = (at..after.frames.end.min(at + reach)).map(|t| other(t, after.gait));
        out[k - 1].end_doubt_s = observed.frame_s * early.chain(late).sum::<f64>();
    }
    out
}

/// The pieces of a segment, those of each bout together.
fn by_bout(model: &Model, index: usize) -> impl Iterator<Item = &[Piece]> {
    model.pieces.segments[index].chunk_by(|a, b| a.gait() == b.gait())
}

/// What a bout of some pieces of a segment looks like.
fn looks(observed: &Observed, model: &Model, index: usize, pieces: &[Piece]) -> [f64; BOUT_FEATURES] {
    let of = (&model.fit, &model.labels);
    certainty::features(&observed.segments[index], observed.frame_s, of, &model.pieces, pieces)
}

/// The bouts of walking and running that cadence does not tell, by what each looks like.
pub(super) fn looked_at(observed: &Observed, model: &Model) -> Vec<LookedAt> {
    let mut out = Vec::new();
    for (index, segment) in observed.segments.iter().enumerate() {
        for pieces in by_bout(model, index) {
            let (gait, frames) = (pieces[0].gait(), frames_of(pieces));
            if gait == Gait::Stand || segment.has_cadence(&frames) {
                continue;
            }
            let at_s = |frame: usize| segment.edge_s(frame, observed.frame_s);
            let features = looks(observed, model, index, pieces);
            out.push(LookedAt { gait, start_s: at_s(frames.start), end_s: at_s(frames.end), features });
        }
    }
    out
}

/// The bout of some pieces of a segment.
fn decoded_bout(observed: &Observed, model: &Model, index: usize, pieces: &[Piece]) -> DecodedBout {
    let (gait, frames) = (pieces[0].gait(), frames_of(pieces));
    let segment = &observed.segments[index];
    let posterior = &model.fit.posteriors[index].states;
    let path = &model.paths[index];
    let n = frames.len();
    // The frames at the ends are uncertain by nature: that is the ends' error, not the bout's certainty.
    let margin = ((END_S / observed.frame_s) as usize).min(n.saturating_sub(1) / END_SHARE);
    let inner = frames.start + margin..frames.end - margin;
    let has_cadence = segment.has_cadence(&frames);
    let certainty = if has_cadence || gait == Gait::Stand {
        let at = |piece: &Piece| {
            let frames = piece.frames.start.max(inner.start)..piece.frames.end.min(inner.end);
            frames.map(|t| probability(model, posterior.row(t), gait, piece)).sum::<f64>()
        };
        pieces.iter().map(at).sum::<f64>() / inner.len() as f64
    } else {
        certainty::certainty(&looks(observed, model, index, pieces))
    };
    let mean = |pick: fn(&MovingState) -> f64, standing: f64| {
        let of = |state: &State| match state {
            State::Moving(k) => pick(&model.fit.states[*k]),
            State::Standing => standing,
        };
        path[frames.clone()].iter().map(of).sum::<f64>() / n as f64
    };
    let edge_s = |frame: usize| segment.edge_s(frame, observed.frame_s);
    DecodedBout {
        gait,
        start_s: if frames.start == 0 { segment.start_s } else { edge_s(frames.start) },
        end_s: if frames.end == path.len() { segment.end_s } else { edge_s(frames.end) },
        certainty,
        end_doubt_s: 0.0,
        has_cadence,
        speed_mps: Gaussian {
            mean: mean(|s| s.speed_mps.mean, 0.0),
            sd: mean(|s| s.speed_mps.sd, model.fit.standing_sd_mps),
        },
        cadence_spm: Gaussian {
            mean: mean(|s| s.cadence_spm.mean, 0.0),
            sd: mean(|s| s.cadence_spm.sd, STANDING_CADENCE_SD_SPM),
        },
        frames,
    }
}

/// Where one bout gives way to the next, told by cadence or by speed.
fn change_of(
    series: &Series,
    delays: Delays,
    model: &Model,
    pair: &[DecodedBout],
    told_by: ToldBy,
) -> Placed {
    let side = |bout: &DecodedBout| Side {
        reach_s: bout.end_s - bout.start_s,
        speed_mps: bout.speed_mps,
        cadence_spm: bout.cadence_spm,
    };
    place(series, pair[0].end_s, (side(&pair[0]), side(&pair[1])), model.fit.weights, delays, told_by)
}

/// Delays with that of the cadence made better. Sliding cadence over speed takes them to change together; but people slow down
/// before they walk, so that only where they begin to run does the middle of the change of speed tell when the gait changed.
fn by_starts_of_runs(
    series: &Series,
    observed: &Observed,
    model: &Model,
    decoded: &[Vec<DecodedBout>],
) -> Delays {
    let delays = observed.delays;
    if !delays.known {
        return delays;
    }
    let starts = decoded.iter().flat_map(|bouts| bouts.windows(2)).filter(|pair| {
        (pair[0].gait, pair[1].gait) == (Gait::Walk, Gait::Run)
            && pair.iter().all(|bout| bout.end_s - bout.start_s >= LEAST_BESIDE_START_S && bout.has_cadence)
    });
    let mut late_s: Vec<f64> = starts
        .map(|pair| {
            let at_s = |told_by| change_of(series, delays, model, pair, told_by).at_s;
            at_s(ToldBy::Speed) - at_s(ToldBy::Any)
        })
        .collect();
    let n = late_s.len() as f64;
    let late_s = median(&mut late_s).unwrap_or(0.0) * n / (n + 1.0);
    Delays { cadence_s: (delays.cadence_s - late_s).clamp(0.0, MOST_CADENCE_DELAY_S), ..delays }
}

/// Places the inner ends of a segment's bouts and keeps them in order.
fn with_ends(series: &Series, delays: Delays, model: &Model, decoded: &[DecodedBout]) -> Vec<Bout> {
    let delay_sd_s = if delays.known { DELAY_SD_KNOWN_S } else { DELAY_SD_UNKNOWN_S };
    let placed: Vec<Placed> = decoded
        .windows(2)
        .map(|pair| {
            let placed = change_of(series, delays, model, pair, ToldBy::Any);
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
