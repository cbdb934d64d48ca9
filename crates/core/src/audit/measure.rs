//! Quantities over bouts and parts of them, and what was done for each prescribed step.

use super::align::{Group, Piece, PieceKind, Target};
use crate::clean::{GapKind, Series};
use crate::gait::{Gait, Segmentation};
use crate::range::Range;

/// A sample stands for at most this long before and after it, s: half of what makes a hole. Our choice.
const HALF_CELL_S: f64 = 7.5;
/// An unknown bout counts as a rest where the recorder's timer was stopped for at least this share of it. Our choice.
const PAUSED_SHARE: f64 = 0.5;

/// A bout or a part of one, in seconds from the start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct BoutPart {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    /// Standard errors; 0 where it was cut by us.
    pub(super) start_error_s: f64,
    pub(super) end_error_s: f64,
    pub(super) certainty: f64,
    /// Mean speed of the bout it comes from.
    pub(super) bout_speed_mps: Option<f64>,
    /// Mean cadence of the bout it comes from.
    pub(super) bout_cadence_spm: Option<f64>,
}

impl BoutPart {
    pub(super) fn of(piece: &Piece) -> Self {
        let bout = &piece.bout;
        Self {
            start_s: bout.start_s,
            end_s: bout.end_s,
            start_error_s: bout.start_error_s,
            end_error_s: bout.end_error_s,
            certainty: bout.certainty,
            bout_speed_mps: bout.mean_speed_mps,
            bout_cadence_spm: bout.mean_cadence_spm,
        }
    }

    pub(super) fn length_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    /// Without so much at its beginning and end, or as much less of both as leaves half of it. Our choice.
    pub(super) fn trimmed(self, lead_s: f64, trail_s: f64) -> Self {
        let share = (0.5 * self.length_s() / (lead_s + trail_s)).min(1.0);
        Self { start_s: self.start_s + share * lead_s, end_s: self.end_s - share * trail_s, ..self }
    }
}

/// Total length.
pub(super) fn total_s(parts: &[BoutPart]) -> f64 {
    parts.iter().map(BoutPart::length_s).sum()
}

/// Standard error of the total length, from the errors of all ends.
pub(super) fn error_s(parts: &[BoutPart]) -> f64 {
    parts.iter().map(|s| s.start_error_s.powi(2) + s.end_error_s.powi(2)).sum::<f64>().sqrt()
}

/// Certainty of the gait, averaged over time; 1 for nothing.
pub(super) fn certainty(parts: &[BoutPart]) -> f64 {
    let total = total_s(parts);
    if total <= 0.0 {
        return 1.0;
    }
    parts.iter().map(|s| s.certainty * s.length_s()).sum::<f64>() / total
}

/// Mean of a column and how much time it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mean {
    pub(super) value: f64,
    pub(super) covered_s: f64,
}

impl Mean {
    /// Whether it rests on at least half of a time, s: what counts as known. Our choice.
    pub(super) fn is_most_of(&self, length_s: f64) -> bool {
        self.covered_s >= 0.5 * length_s
    }
}

/// Calls `visit(sample, seconds)` for the samples that stand for some of its time.
pub(super) fn cells(time_s: &[f64], part: &BoutPart, mut visit: impl FnMut(usize, f64)) {
    let first = time_s.partition_point(|t| *t < part.start_s - HALF_CELL_S);
    for k in first..time_s.len() {
        let t = time_s[k];
        if t > part.end_s + HALF_CELL_S {
            break;
        }
        let before = if k == 0 { 0.0 } else { (0.5 * (t - time_s[k - 1])).min(HALF_CELL_S) };
        let after = time_s.get(k + 1).map_or(0.0, |next| (0.5 * (next - t)).min(HALF_CELL_S));
        let seconds = (t + after).min(part.end_s) - (t - before).max(part.start_s);
        if seconds > 0.0 {
            visit(k, seconds);
        }
    }
}

/// Time-weighted mean over parts of `value(sample)`. `None` where it is never known.
pub(super) fn mean_by(
    time_s: &[f64],
    parts: &[BoutPart],
    value: impl Fn(usize) -> Option<f64>,
) -> Option<Mean> {
    let (mut sum, mut covered_s) = (0.0, 0.0);
    for part in parts {
        cells(time_s, part, |k, seconds| {
            if let Some(v) = value(k) {
                sum += v * seconds;
                covered_s += seconds;
            }
        });
    }
    (covered_s > 0.0).then(|| Mean { value: sum / covered_s, covered_s })
}

/// Time-weighted mean of a column over parts.
pub(super) fn mean(series: &Series, parts: &[BoutPart], column: &[Option<f64>]) -> Option<Mean> {
    mean_by(series.time_s(), parts, |k| column.get(k).copied().flatten())
}

/// Mean cadence over parts; where the series has none, that of the bouts.
pub(super) fn mean_cadence(series: &Series, parts: &[BoutPart]) -> Option<f64> {
    let from_bouts = || {
        let known: Option<Vec<f64>> =
            parts.iter().map(|s| Some(s.bout_cadence_spm? * s.length_s())).collect();
        let total = total_s(parts);
        known.filter(|_| total > 0.0).map(|sums| sums.iter().sum::<f64>() / total)
    };
    mean(series, parts, series.cadence_spm()).map(|m| m.value).or_else(from_bouts)
}

/// Greatest value of a column over parts.
pub(super) fn greatest(series: &Series, parts: &[BoutPart], column: &[Option<f64>]) -> Option<f64> {
    let mut most: Option<f64> = None;
    for part in parts {
        cells(series.time_s(), part, |k, _| {
            if let Some(v) = column.get(k).copied().flatten() {
                most = Some(most.map_or(v, |m| m.max(v)));
            }
        });
    }
    most
}

/// Distance covered in parts of bouts: the series' own, else the bouts' mean speeds times their length.
pub(super) fn distance_m(series: &Series, parts: &[BoutPart]) -> Option<f64> {
    parts
        .iter()
        .map(|s| match (series.distance_at(s.start_s), series.distance_at(s.end_s)) {
            (Some(a), Some(b)) => Some(b - a),
            _ => s.bout_speed_mps.map(|v| v * s.length_s()),
        })
        .sum()
}

/// Turns bouts into pieces. An unknown bout counts as a rest where the recorder's timer was stopped
/// ([`PAUSED_SHARE`]), else as a hole.
pub(super) fn pieces(segmentation: &Segmentation, series: &Series) -> Vec<Piece> {
    let pauses: Vec<(f64, f64)> =
        series.gaps().iter().filter(|g| g.kind == GapKind::Pause).map(|g| (g.start_s, g.end_s)).collect();
    let mut from = 0;
    segmentation
        .bouts()
        .iter()
        .map(|bout| {
            let kind = match bout.gait {
                Gait::Run => PieceKind::Run,
                Gait::Walk => PieceKind::Walk,
                Gait::Stand => PieceKind::Rest,
                Gait::Unknown => {
                    while pauses.get(from).is_some_and(|p| p.1 <= bout.start_s) {
                        from += 1;
                    }
                    let inside = pauses[from..].iter().take_while(|p| p.0 < bout.end_s);
                    let paused: f64 = inside.map(|p| p.1.min(bout.end_s) - p.0.max(bout.start_s)).sum();
                    if paused >= PAUSED_SHARE * bout.duration_s() { PieceKind::Rest } else { PieceKind::Hole }
                }
            };
            Piece { kind, bout: *bout }
        })
        .collect()
}

/// What was done for one prescribed step.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Done {
    pub(super) gait: Gait,
    /// 1-based among the steps of its gait.
    pub(super) rep: u32,
    /// Prescribed length in seconds, from the least to the most, converted for a distance.
    pub(super) length_s: Range,
    /// Moving in the step's gait.
    pub(super) own: Vec<BoutPart>,
    pub(super) rest_s: f64,
    pub(super) hole_s: f64,
    /// First and last second, rests included.
    pub(super) range_s: Option<(f64, f64)>,
    /// Whether it shares its bouts with another step because what lay between is missing.
    pub(super) joined: bool,
}

/// Lays what was done out over the steps. `lengths_s` are the steps' lengths in seconds.
pub(super) fn lay_out(
    pieces: &[Piece],
    targets: &[Target],
    groups: &[Group],
    lengths_s: &[Range],
) -> Vec<Done> {
    let mut done = empty(targets, lengths_s);
    for group in groups {
        lay_out_group(&mut done, pieces, targets, group, lengths_s);
    }
    done
}

fn empty(targets: &[Target], lengths_s: &[Range]) -> Vec<Done> {
    let (mut runs, mut walks) = (0, 0);
    let mut done = Vec::with_capacity(lengths_s.len());
    for target in targets {
        let count = if target.gait == Gait::Run { &mut runs } else { &mut walks };
        for step in target.steps.clone() {
            *count += 1;
            done.push(Done {
                gait: target.gait,
                rep: *count,
                length_s: lengths_s[step],
                own: Vec::new(),
                rest_s: 0.0,
                hole_s: 0.0,
                range_s: None,
                joined: false,
            });
        }
    }
    done
}

fn lay_out_group(
    done: &mut [Done],
    pieces: &[Piece],
    targets: &[Target],
    group: &Group,
    lengths_s: &[Range],
) {
    let inside = &pieces[group.pieces.clone()];
    let gait = targets[group.targets.start].gait;
    let kind = if gait == Gait::Run { PieceKind::Run } else { PieceKind::Walk };
    let own: Vec<BoutPart> = inside.iter().filter(|p| p.kind == kind).map(BoutPart::of).collect();
    let steps: Vec<usize> =
        targets[group.targets.clone()].iter().step_by(2).flat_map(|t| t.steps.clone()).collect();
    let joined = group.targets.len() > 1;
    let from_the_end = gait == Gait::Walk && group.targets.start == 0;
    let shares = shares(total_s(&own), &steps, lengths_s, joined, from_the_end);
    let parts = split(&own, &shares);
    let (start_s, end_s) = (inside[0].bout.start_s, inside[inside.len() - 1].bout.end_s);
    let mut at_s = start_s;
    for (position, (&step, part)) in steps.iter().zip(parts).enumerate() {
        let last = position + 1 == steps.len();
        let until_s = if last { end_s } else { part.last().map_or(at_s, |s| s.end_s) };
        let target = &mut done[step];
        target.joined = joined;
        // A part that got nothing while others did is missing.
        if part.is_empty() && steps.len() > 1 {
            continue;
        }
        target.range_s = Some((at_s, until_s));
        target.own = part;
        for piece in inside.iter().filter(|p| p.bout.start_s >= at_s && p.bout.start_s < until_s) {
            match piece.kind {
                PieceKind::Rest => target.rest_s += piece.bout.duration_s(),
                PieceKind::Hole => target.hole_s += piece.bout.duration_s(),
                PieceKind::Run | PieceKind::Walk => {}
            }
        }
        at_s = until_s;
    }
}

/// How a moving time is shared among steps. Steps with nothing between them are filled one after the other (from the
/// end for a first walk, whose beginning a late start of the watch cuts), first each to its least, then to its most; the
/// last takes what remains. Joined steps share in proportion to what was prescribed.
fn shares(total_s: f64, steps: &[usize], lengths_s: &[Range], joined: bool, from_the_end: bool) -> Vec<f64> {
    let wanted: Vec<Range> = steps.iter().map(|s| lengths_s[*s]).collect();
    if joined {
        let sum: f64 = wanted.iter().map(Range::middle).sum();
        return wanted.iter().map(|w| if sum > 0.0 { total_s * w.middle() / sum } else { 0.0 }).collect();
    }
    let mut shares = vec![0.0; wanted.len()];
    let mut left = total_s;
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    if from_the_end {
        order.reverse();
    }
    let Some((last, others)) = order.split_last() else { return shares };
    for &index in others {
        shares[index] = wanted[index].least.min(left);
        left -= shares[index];
    }
    // What the last one does not need is for those that may have more.
    for &index in others {
        let spare = (left - wanted[*last].least).max(0.0);
        let more = (wanted[index].most - wanted[index].least).min(spare);
        shares[index] += more;
        left -= more;
    }
    shares[*last] = left;
    shares
}

/// Cuts bouts into shares of given moving times; the last share takes what remains.
fn split(bouts: &[BoutPart], shares: &[f64]) -> Vec<Vec<BoutPart>> {
    /// Shorter remainders are rounding.
    const NOTHING_S: f64 = 1e-9;
    let mut queue: Vec<BoutPart> = bouts.iter().rev().copied().collect();
    let mut cut = Vec::with_capacity(shares.len());
    for (index, share) in shares.iter().enumerate() {
        let last = index + 1 == shares.len();
        let mut left = if last { f64::INFINITY } else { *share };
        let mut taken = Vec::new();
        while left > NOTHING_S
            && let Some(next) = queue.pop()
        {
            if next.length_s() <= left + NOTHING_S {
                left -= next.length_s();
                taken.push(next);
            } else {
                let cut_s = next.start_s + left;
                taken.push(BoutPart { end_s: cut_s, end_error_s: 0.0, ..next });
                queue.push(BoutPart { start_s: cut_s, start_error_s: 0.0, ..next });
                left = 0.0;
            }
        }
        cut.push(taken);
    }
    cut
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Track, bout, segmentation};
    use super::*;
    use crate::clean::Columns;

    fn part(start_s: f64, end_s: f64) -> BoutPart {
        BoutPart::of(&Piece { kind: PieceKind::Run, bout: bout(Gait::Run, start_s, end_s) })
    }

    #[test]
    fn means_weigh_by_time_and_not_by_sample() {
        // Every fifth sample of the first half, all of the second.
        let time_s: Vec<f64> = (0..=40).filter(|i| *i >= 20 || i % 5 == 0).map(f64::from).collect();
        let speed_mps = time_s.iter().map(|&t| Some(if t < 20.0 { 1.0 } else { 3.0 })).collect();
        let columns = Columns::without_readings(jiff::Timestamp::UNIX_EPOCH, time_s);
        let series = Series::new(Columns { speed_mps, ..columns }).unwrap();
        let m = mean(&series, &[part(0.0, 40.0)], series.speed_mps()).unwrap();
        assert!((m.value - 2.0).abs() < 0.15, "{m:?}");
        assert!((m.covered_s - 40.0).abs() < 0.6);
    }

    #[test]
    fn a_hole_is_not_covered() {
        let mut columns = Track::new(200.0).speed(|_| 2.0).build().into_columns();
        columns.time_s.iter_mut().skip(100).for_each(|t| *t += 300.0);
        let series = Series::new(columns).unwrap();
        let m = mean(&series, &[part(0.0, 500.0)], series.speed_mps()).unwrap();
        assert!((m.covered_s - 214.0).abs() < 1.5, "{m:?}");
    }

    #[test]
    fn distance_is_the_difference_of_the_series() {
        let series = Track::new(100.0).speed(|_| 2.5).build();
        let d = distance_m(&series, &[part(10.25, 50.5)]).unwrap();
        assert!((d - 40.25 * 2.5).abs() < 1e-9);
    }

    #[test]
    fn the_error_of_a_length_comes_from_all_its_ends() {
        let parts = [BoutPart { start_error_s: 3.0, end_error_s: 4.0, ..part(0.0, 10.0) }];
        assert!((error_s(&parts) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn a_timer_stop_is_a_rest_and_other_missing_data_a_hole() {
        let segmentation = segmentation("r60 u30 r60 u30 w60");
        let series = Track::new(240.0).pause(62.0, 90.0).build();
        let kinds: Vec<PieceKind> = pieces(&segmentation, &series).iter().map(|p| p.kind).collect();
        assert_eq!(
            kinds,
            [PieceKind::Run, PieceKind::Rest, PieceKind::Run, PieceKind::Hole, PieceKind::Walk]
        );
    }

    #[test]
    fn parts_keep_the_total_and_cut_where_told() {
        let parts = split(&[part(0.0, 50.0), part(70.0, 100.0)], &[60.0, 20.0]);
        assert_eq!(
            parts[0].iter().map(|s| (s.start_s, s.end_s)).collect::<Vec<_>>(),
            [(0.0, 50.0), (70.0, 80.0)]
        );
        assert_eq!(parts[1].iter().map(|s| (s.start_s, s.end_s)).collect::<Vec<_>>(), [(80.0, 100.0)]);
        assert_eq!(parts[0][1].end_error_s, 0.0);
        assert_eq!(shares(500.0, &[0, 1], &[120.0, 300.0].map(Range::exactly), false, false), [120.0, 380.0]);
        assert_eq!(shares(200.0, &[0, 1], &[120.0, 300.0].map(Range::exactly), false, true), [0.0, 200.0]);
        assert_eq!(shares(150.0, &[0, 1], &[60.0, 60.0].map(Range::exactly), true, false), [75.0, 75.0]);
    }
}
