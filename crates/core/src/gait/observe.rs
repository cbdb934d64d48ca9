//! [`Series`] → what is read at each frame of an even time grid, in segments between holes.
//!
//! The grid makes sampling a matter of time: a frame without a sample says nothing, two samples in one frame are averaged.

use super::config::grid::{
    ASLEEP_MPS, ASLEEP_SPM, FRAME_S, FRAMES_AN_INTERVAL, LEAST_FRAMES, SLOW_WAKE_UP_S, SPARSE_S,
    STANDING_SD_DISTANCE_MPS, STANDING_SD_POSITIONS_MPS, STANDING_SD_RECORDER_MPS, WAKE_UP_S,
};
use super::delay::Delays;
use super::slope::{slopes, slopes_are_unseen};
use crate::clean::{Series, SpeedSource, interval_s, longest_silence_s};

/// A time with data; outside of all segments the gait is unknown.
#[derive(Clone, Debug)]
pub(super) struct Segment {
    /// Seconds from the start of the series.
    pub(super) start_s: f64,
    /// Seconds from the start of the series.
    pub(super) end_s: f64,
    /// One a frame. The first frame's middle is `start_s`; the others follow at `frame_s`.
    pub(super) speed_mps: Vec<Option<f64>>,
    /// Steps a minute, both feet.
    pub(super) cadence_spm: Vec<Option<f64>>,
    /// Beats a minute.
    pub(super) heart_rate_bpm: Vec<Option<f64>>,
    /// Rise over run of the ground; 0 where altitude or distance is not there.
    pub(super) slope: Vec<f64>,
}

impl Segment {
    /// Number of frames.
    pub(super) fn frames(&self) -> usize {
        self.speed_mps.len()
    }

    /// Where a frame begins, s, in the middle between the reading before it and its own.
    pub(super) fn edge_s(&self, frame: usize, frame_s: f64) -> f64 {
        self.start_s + (frame as f64 - 0.5) * frame_s
    }

    /// Whether most of the readings of some frames come with a cadence, and those without never span so many frames.
    pub(super) fn has_cadence(&self, frames: &std::ops::Range<usize>, most: usize) -> bool {
        let columns = self.speed_mps[frames.clone()].iter().zip(&self.cadence_spm[frames.clone()]);
        let (mut read, mut cadences) = (0, 0);
        let (mut without, mut longest) = (None, 0);
        for (frame, (speed, cadence)) in columns.enumerate() {
            if cadence.is_some() {
                (read, cadences, without) = (read + 1, cadences + 1, None);
            } else if speed.is_some() {
                read += 1;
                longest = longest.max(frame + 1 - *without.get_or_insert(frame));
            }
        }
        2 * cadences > read && longest < most
    }
}

/// All that is read.
#[derive(Clone, Debug)]
pub(super) struct Observed {
    /// Seconds between frames.
    pub(super) frame_s: f64,
    /// Segments in order of time.
    pub(super) segments: Vec<Segment>,
    /// How much later the columns tell than the truth.
    pub(super) delays: Delays,
    /// Standard deviation of the speed that is read while standing, m/s.
    pub(super) standing_sd_mps: f64,
    /// Usual time between samples, s.
    pub(super) interval_s: f64,
    /// Whether the speed is that of the positions.
    pub(super) by_positions: bool,
    /// Whether nothing tells how steep the ground was.
    pub(super) slopes_unseen: bool,
}

impl Observed {
    /// Whether enough is read to tell anything.
    pub(super) fn is_enough(&self) -> bool {
        let columns = self.segments.iter().flat_map(|s| s.speed_mps.iter().zip(&s.cadence_spm));
        columns
            .filter(|(speed, cadence)| speed.is_some() || cadence.is_some())
            .nth(LEAST_FRAMES - 1)
            .is_some()
    }
}

/// Lays the series on the grid.
pub(super) fn observe(series: &Series, silent_s: f64) -> Observed {
    let interval_s = interval_s(series.time_s(), 0.5);
    let frame_s = if interval_s <= SPARSE_S { FRAME_S } else { interval_s / FRAMES_AN_INTERVAL };
    let delays = Delays::of(series, interval_s);
    let standing_sd_mps = match series.speed_source() {
        SpeedSource::Positions => STANDING_SD_POSITIONS_MPS,
        SpeedSource::Distance => STANDING_SD_DISTANCE_MPS,
        SpeedSource::Recorder | SpeedSource::Absent => STANDING_SD_RECORDER_MPS,
    };
    let segments = times_with_data(series, longest_silence_s(series.time_s(), silent_s))
        .into_iter()
        .map(|(start_s, end_s)| {
            let frames = ((end_s - start_s) / frame_s).round() as usize + 1;
            let grid = Grid { start_s, end_s, frame_s, frames };
            let mut segment = Segment {
                start_s,
                end_s,
                speed_mps: grid.lay(series, series.speed_mps(), delays.speed_s),
                cadence_spm: grid.lay(series, series.cadence_spm(), delays.cadence_s),
                heart_rate_bpm: grid.lay(series, series.heart_rate_bpm(), 0.0),
                slope: slopes(series, (0..frames).map(|frame| start_s + frame as f64 * frame_s)),
            };
            without_wake_up(&mut segment, frame_s);
            segment
        })
        .collect();
    Observed {
        frame_s,
        segments,
        delays,
        standing_sd_mps,
        interval_s,
        by_positions: series.speed_source() == SpeedSource::Positions,
        slopes_unseen: slopes_are_unseen(series),
    }
}

/// Takes out what a recorder says in its first seconds after a start, before its smoothed speed and cadence have come up from
/// 0: readings of standing that end within [`WAKE_UP_S`], and those of one column for up to [`SLOW_WAKE_UP_S`] once the other has
/// come up.
fn without_wake_up(segment: &mut Segment, frame_s: f64) {
    let awake = |column: &[Option<f64>], least: f64| {
        column.iter().position(|value| value.is_some_and(|v| v >= least))
    };
    let speed_awake = awake(&segment.speed_mps, ASLEEP_MPS);
    let cadence_awake = awake(&segment.cadence_spm, ASLEEP_SPM);
    let Some(first) = speed_awake.into_iter().chain(cadence_awake).min() else { return };
    let said = |k: &usize| segment.speed_mps[*k].is_some() || segment.cadence_spm[*k].is_some();
    let woke_soon = (0..first).rfind(said).is_none_or(|last| last as f64 * frame_s <= WAKE_UP_S);
    let from = if woke_soon { 0 } else { first };
    let slowest = (SLOW_WAKE_UP_S / frame_s) as usize;
    for (column, own) in [(&mut segment.speed_mps, speed_awake), (&mut segment.cadence_spm, cadence_awake)] {
        let until = own.unwrap_or(column.len()).min(slowest.max(first));
        column[from..until.max(from)].fill(None);
    }
}

/// Where there is data: between gaps, and nowhere silent (no speed, no cadence) for longer than `silent_s`.
fn times_with_data(series: &Series, silent_s: f64) -> Vec<(f64, f64)> {
    let (speed_mps, cadence_spm, gaps) = (series.speed_mps(), series.cadence_spm(), series.gaps());
    let mut times: Vec<(f64, f64)> = Vec::new();
    let mut next_gap = 0;
    for (i, &at_s) in series.time_s().iter().enumerate() {
        if speed_mps[i].is_none() && cadence_spm[i].is_none() {
            continue;
        }
        let mut parted = None;
        while let Some(gap) = gaps.get(next_gap).filter(|g| g.end_s <= at_s) {
            // A recorder pause begins at the stop, not at the last sample before it.
            parted = Some((parted.map_or(gap.start_s, |(from, _)| from), gap.end_s));
            next_gap += 1;
        }
        match (times.last_mut(), parted) {
            (Some(last), Some((gap_start_s, gap_end_s))) => {
                if gap_start_s - last.1 <= silent_s {
                    last.1 = gap_start_s;
                }
                times.push((if at_s - gap_end_s <= silent_s { gap_end_s } else { at_s }, at_s));
            }
            (Some(last), None) if at_s - last.1 <= silent_s => last.1 = at_s,
            (None, _) if at_s <= silent_s => times.push((0.0, at_s)),
            _ => times.push((at_s, at_s)),
        }
    }
    if let Some(last) = times.last_mut()
        && series.elapsed_s() - last.1 <= silent_s
        && gaps.last().is_none_or(|g| g.end_s <= last.1)
    {
        last.1 = series.elapsed_s();
    }
    times.retain(|s| s.1 > s.0);
    times
}

/// Frames from one time to another.
#[derive(Clone, Copy)]
struct Grid {
    start_s: f64,
    end_s: f64,
    frame_s: f64,
    frames: usize,
}

impl Grid {
    /// Means of a column's readings at each frame, moved earlier by its delay.
    fn lay(self, series: &Series, column: &[Option<f64>], delay_s: f64) -> Vec<Option<f64>> {
        let time_s = series.time_s();
        let mut sums = vec![(0.0, 0_u32); self.frames];
        // Rounding must not lose a sample at the very end.
        for i in series.range(self.start_s, self.end_s + delay_s + 1e-9) {
            let Some(value) = column[i] else { continue };
            let frame = ((time_s[i] - delay_s - self.start_s) / self.frame_s).round();
            if frame >= 0.0 && (frame as usize) < self.frames {
                let cell = &mut sums[frame as usize];
                cell.0 += value;
                cell.1 += 1;
            }
        }
        sums.into_iter().map(|(sum, n)| (n > 0).then(|| sum / f64::from(n))).collect()
    }
}

#[cfg(test)]
impl Observed {
    /// One segment of a recorder that tells all, on frames of 2 s.
    pub(super) fn made_up(segment: Segment) -> Self {
        Self {
            frame_s: 2.0,
            segments: vec![segment],
            delays: Delays { speed_s: 0.0, cadence_s: 0.0, known: true, cadence_known: true },
            standing_sd_mps: STANDING_SD_RECORDER_MPS,
            interval_s: 1.0,
            by_positions: false,
            slopes_unseen: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cadence_tells_of_frames_where_it_is_never_away_for_long() {
        let has_cadence = |cadence: [Option<f64>; 12], speed: [Option<f64>; 12]| {
            let segment = Segment {
                start_s: 0.0,
                end_s: 24.0,
                speed_mps: speed.to_vec(),
                cadence_spm: cadence.to_vec(),
                heart_rate_bpm: vec![None; 12],
                slope: vec![0.0; 12],
            };
            segment.has_cadence(&(0..12), 4)
        };
        let (all, none) = ([Some(160.0); 12], [None; 12]);
        let without = |frames: std::ops::Range<usize>| {
            let mut some = all;
            some[frames].fill(None);
            some
        };
        let read = [Some(2.4); 12];
        assert!(has_cadence(all, read) && !has_cadence(none, read));
        assert!(has_cadence(without(5..8), read), "away for 3 frames");
        assert!(!has_cadence(without(5..9), read) && !has_cadence(without(8..12), read), "away for 4");
        assert!(has_cadence(without(5..9), without(5..9)), "nothing was read there");
    }
}
