//! Paths of levels → bouts with places, certainties and means.

use crate::clean::Series;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::adapt::Fit;
use super::boundary::{Placed, Side, place};
use super::emission::Level;
use super::labels::Sharpness;
use super::observe::Observed;
use super::{Bout, Gait, Model, Segmentation};

/// A stretch of one gait in ticks, before its ends are placed.
struct Draft {
    gait: Gait,
    start_s: f64,
    end_s: f64,
    certainty: f64,
    /// Ticks from, to.
    ticks: std::ops::Range<usize>,
    /// For how long around its end it is open whether it goes on, s.
    end_doubt_s: f64,
    /// Mean level of the bout, for placing its ends.
    speed_mps: f64,
    cadence_spm: f64,
    speed_sd_mps: f64,
    cadence_sd_spm: f64,
}

/// How far around an end its doubt is summed, s.
const END_DOUBT_S: f64 = 30.0;
/// Spread of the speed by slopes that nobody recorded, as a share of it: slopes of 2.5 % where the effort is kept (Minetti et al.
/// 2002: 4.6 times the slope). Our choice.
const UNSEEN_SLOPES: f64 = 0.12;
/// A loss of certainty that is worth a notice.
const WORTH_SAYING: f64 = 0.02;

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

pub(super) fn blank(gait: Gait, start_s: f64, end_s: f64) -> Bout {
    Bout {
        gait,
        start_s,
        end_s,
        start_error_s: 0.0,
        end_error_s: 0.0,
        certainty: 1.0,
        distance_m: None,
        mean_speed_mps: None,
        mean_cadence_spm: None,
        mean_heart_rate_bpm: None,
    }
}

/// Puts the bouts together.
pub(super) fn assemble(series: &Series, observed: &Observed, model: &Model) -> Noted<Segmentation> {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut notices = Vec::new();
    let mut end_s = 0.0;
    let mut hidden = 0;
    for (index, stretch) in observed.stretches.iter().enumerate() {
        if stretch.start_s > end_s {
            bouts.push(blank(Gait::Unknown, end_s, stretch.start_s));
        }
        let mut drafts = drafts(observed, model, index);
        if slopes_are_unseen(series) {
            for draft in &mut drafts {
                let most = most_certain(observed, model, index, draft);
                hidden += usize::from(most < draft.certainty - WORTH_SAYING);
                draft.certainty = draft.certainty.min(most);
            }
        }
        bouts.extend(with_ends(series, observed, model, &drafts));
        end_s = stretch.end_s;
    }
    let elapsed_s = series.elapsed_s();
    if elapsed_s > end_s || bouts.is_empty() {
        bouts.push(blank(Gait::Unknown, end_s, elapsed_s));
    }
    for bout in &mut bouts {
        sum_up(series, bout);
    }
    let doubtful = bouts.iter().filter(|b| b.certainty < 0.8).count();
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
    Noted { value: Segmentation { bouts }, notices }
}

/// Whether the person moved over ground of which nothing tells how steep it was.
fn slopes_are_unseen(series: &Series) -> bool {
    series.has_position() && 2 * series.altitude_m().iter().flatten().count() < series.altitude_m().len()
}

/// The most that a bout can be certain where nothing tells how steep the ground was and cadence does not tell the gait: a slope
/// changes the speed of a whole bout, so that more readings make nothing surer. A speed at its level speaks against another gait
/// whose speed differs by d with odds of e^(d²/2s²), s being the spread by slopes.
fn most_certain(observed: &Observed, model: &Model, index: usize, draft: &Draft) -> f64 {
    let stepped = observed.stretches[index].cadence_spm[draft.ticks.clone()].iter().flatten().count();
    if draft.gait == Gait::Stand || 2 * stepped > draft.ticks.len() {
        return 1.0;
    }
    let others = model.fit.levels.iter().enumerate().filter(|(l, _)| gait_of(model, *l) != draft.gait);
    let steps = others.map(|(_, level)| (level.speed_mps.mean - draft.speed_mps).abs());
    let least = steps.fold(f64::INFINITY, f64::min) / (UNSEEN_SLOPES * draft.speed_mps);
    1.0 / (1.0 + (-0.5 * least * least).exp())
}

/// The gait of a level: standing for the one after the last, else by its label.
fn gait_of(model: &Model, level: usize) -> Gait {
    match model.run.get(level) {
        None => Gait::Stand,
        Some(&p) if p >= 0.5 => Gait::Run,
        Some(_) => Gait::Walk,
    }
}

/// Probability of a gait at a tick, over levels and over what the levels may be.
fn probability(model: &Model, row: &[f64], gait: Gait) -> f64 {
    let levels = model.run.len();
    match gait {
        Gait::Stand => row[levels],
        Gait::Run => row.iter().zip(&model.run).map(|(p, run)| p * run).sum(),
        Gait::Walk => row.iter().zip(&model.run).map(|(p, run)| p * (1.0 - run)).sum(),
        Gait::Unknown => 0.0,
    }
}

fn drafts(observed: &Observed, model: &Model, index: usize) -> Vec<Draft> {
    let stretch = &observed.stretches[index];
    let path = &model.paths[index];
    let posterior = &model.fit.posteriors[index].level;
    let width = model.run.len() + 1;
    let mut out: Vec<Draft> = Vec::new();
    let mut from = 0;
    for to in 1..=path.len() {
        if to < path.len() && gait_of(model, path[to]) == gait_of(model, path[from]) {
            continue;
        }
        let gait = gait_of(model, path[from]);
        let ticks = to - from;
        // The ticks at the ends are uncertain by nature: that is the ends' error, not the bout's certainty.
        let margin = ((4.0 / observed.tick_s) as usize).min(ticks.saturating_sub(1) / 3);
        let core = from + margin..to - margin;
        let certainty = core
            .clone()
            .map(|t| probability(model, &posterior[t * width..(t + 1) * width], gait))
            .sum::<f64>()
            / core.len() as f64;
        let mean = |pick: fn(&Level) -> f64, still: f64| {
            (from..to).map(|t| model.fit.levels.get(path[t]).map_or(still, pick)).sum::<f64>() / ticks as f64
        };
        let edge_s = |tick: usize| stretch.start_s + (tick as f64 - 0.5) * observed.tick_s;
        out.push(Draft {
            gait,
            start_s: if from == 0 { stretch.start_s } else { edge_s(from) },
            end_s: if to == path.len() { stretch.end_s } else { edge_s(to) },
            certainty,
            ticks: from..to,
            end_doubt_s: 0.0,
            speed_mps: mean(|l| l.speed_mps.mean, 0.0),
            cadence_spm: mean(|l| l.cadence_spm.mean, 0.0),
            speed_sd_mps: mean(|l| l.speed_mps.sd, model.fit.still_mps),
            cadence_sd_spm: mean(|l| l.cadence_spm.sd, 10.0),
        });
        from = to;
    }
    for k in 1..out.len() {
        let (before, after) = (&out[k - 1], &out[k]);
        let other = |t: usize, gait: Gait| -> f64 {
            let row = &posterior[t * width..(t + 1) * width];
            row.iter().enumerate().filter(|(l, _)| gait_of(model, *l) != gait).map(|(_, p)| p).sum()
        };
        let reach = (END_DOUBT_S / observed.tick_s) as usize;
        let at = after.ticks.start;
        let early = (before.ticks.start.max(at.saturating_sub(reach))..at).map(|t| other(t, before.gait));
        let late = (at..after.ticks.end.min(at + reach)).map(|t| other(t, after.gait));
        out[k - 1].end_doubt_s = observed.tick_s * early.chain(late).sum::<f64>();
    }
    out
}

/// Places the inner ends of a stretch's bouts and keeps them in order.
fn with_ends(series: &Series, observed: &Observed, model: &Model, drafts: &[Draft]) -> Vec<Bout> {
    let placed: Vec<Placed> = drafts
        .windows(2)
        .map(|pair| {
            let side = |d: &Draft| Side {
                reach_s: d.end_s - d.start_s,
                speed_mps: d.speed_mps,
                cadence_spm: d.cadence_spm,
                speed_sd_mps: d.speed_sd_mps,
                cadence_sd_spm: d.cadence_sd_spm,
            };
            let mut placed = place(
                series,
                pair[0].end_s,
                (side(&pair[0]), side(&pair[1])),
                model.fit.weights,
                (observed.speed_delay_s, observed.cadence_delay_s),
            );
            // Recorders tell 0 to 3 s late. By how much is found by sliding noisy columns over each other, good to about 0.4 s;
            // where it cannot be found, it is about 0.9 s either way. Our choice.
            placed.error_s = placed.error_s.hypot(if observed.delay_known { 0.4 } else { 0.9 });
            placed.error_s = placed.error_s.hypot(pair[0].end_doubt_s);
            placed
        })
        .collect();
    let mut bouts = Vec::with_capacity(drafts.len());
    let mut start = Placed { at_s: drafts.first().map_or(0.0, |d| d.start_s), error_s: 0.0 };
    for (k, draft) in drafts.iter().enumerate() {
        let last_s = drafts.last().map_or(draft.end_s, |d| d.end_s);
        let end = placed.get(k).map_or(Placed { at_s: draft.end_s, error_s: 0.0 }, |p| Placed {
            at_s: p.at_s.clamp(start.at_s, last_s),
            error_s: p.error_s,
        });
        bouts.push(Bout {
            start_error_s: start.error_s,
            end_error_s: end.error_s,
            certainty: draft.certainty.clamp(0.0, 1.0),
            ..blank(draft.gait, start.at_s, end.at_s)
        });
        start = end;
    }
    bouts
}

/// Means and distance over the bout's span.
fn sum_up(series: &Series, bout: &mut Bout) {
    let range = series.range(bout.start_s, bout.end_s.next_up());
    let mean = |column: &[Option<f64>]| {
        let (sum, n) =
            column[range.clone()].iter().flatten().fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
        (n > 0).then(|| sum / f64::from(n))
    };
    if bout.gait != Gait::Unknown {
        bout.mean_cadence_spm = mean(series.cadence_spm());
        bout.mean_speed_mps = mean(series.speed_mps());
        bout.mean_heart_rate_bpm = mean(series.heart_rate_bpm());
    }
    bout.distance_m = match (series.distance_at(bout.start_s), series.distance_at(bout.end_s)) {
        (Some(from_m), Some(to_m)) => Some((to_m - from_m).max(0.0)),
        _ => None,
    };
    if let (Some(distance_m), true) =
        (bout.distance_m, bout.duration_s() >= 10.0 && bout.gait != Gait::Unknown)
    {
        bout.mean_speed_mps = Some(distance_m / bout.duration_s());
    }
}

/// Share of the step between two levels that is made within a few seconds around the changes between them: the middle one
/// over all such changes. `None` when there are none with enough data on both sides.
pub(super) fn sharpness(
    observed: &Observed,
    paths: &[Vec<usize>],
    fit: &Fit,
    low: usize,
    high: usize,
) -> Option<Sharpness> {
    const NEAR_S: f64 = 3.0;
    const FAR_S: f64 = 10.0;
    let levels = &fit.levels;
    let cadence = observed.stretches.iter().any(|s| s.cadence_spm.iter().flatten().count() > 10);
    let step = if cadence {
        levels[high].cadence_spm.mean - levels[low].cadence_spm.mean
    } else {
        levels[high].speed_mps.mean - levels[low].speed_mps.mean
    };
    let (near, far) = ((NEAR_S / observed.tick_s) as usize, (FAR_S / observed.tick_s).ceil() as usize);
    let mut shares = Vec::new();
    for (stretch, path) in observed.stretches.iter().zip(paths) {
        let column = if cadence { &stretch.cadence_spm } else { &stretch.speed_mps };
        for at in 1..path.len() {
            let (from, to) = (path[at - 1], path[at]);
            if (from, to) != (low, high) && (from, to) != (high, low) {
                continue;
            }
            let mean = |range: std::ops::Range<usize>| {
                let (sum, n) =
                    column[range].iter().flatten().fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
                (n >= 2).then(|| sum / f64::from(n))
            };
            let before = mean(at.saturating_sub(far)..at.saturating_sub(near));
            let after = mean((at + near).min(path.len())..(at + far).min(path.len()));
            if let (Some(before), Some(after)) = (before, after) {
                let sign = if to == high { 1.0 } else { -1.0 };
                shares.push(sign * (after - before) / step);
            }
        }
    }
    if shares.is_empty() {
        return None;
    }
    let middle = shares.len() / 2;
    let share = *shares.select_nth_unstable_by(middle, f64::total_cmp).1;
    // Two means over the readings from near to far, of which each counts by its weight.
    let (sd, weight) = if cadence {
        (levels[low].cadence_spm.sd.max(levels[high].cadence_spm.sd), fit.weights.cadence)
    } else {
        (levels[low].speed_mps.sd.max(levels[high].speed_mps.sd), fit.weights.speed)
    };
    let independent = 0.5 * weight * (far - near) as f64 * shares.len() as f64;
    Some(Sharpness { share, error: sd / step.abs() / independent.sqrt() })
}
