//! [`Recording`] → [`Series`]: order, duplicates, pauses and holes, spikes, speed where the recorder gives none, cadence
//! faults, and a ledger of what was changed.

mod cadence;
mod evidence;
mod gaps;
pub(crate) use gaps::interval_s;
pub use gaps::longest_silence_s;
mod order;
mod position;
mod series;
pub use series::{Columns, Series, SeriesError};
mod speed;

use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::read::Recording;
pub use jogaudit_recording::read::{Guess, GuessSource, GuessedGait};
use jogaudit_recording::units::{Metres, clock};

/// Where the speed of a series comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpeedSource {
    /// The recorder's own speed.
    Recorder,
    /// Differences of the recorder's distance.
    Distance,
    /// Differences of positions.
    Positions,
    /// There is none.
    Absent,
}

/// Why there is no data between two samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GapKind {
    /// The recorder's timer was stopped.
    Pause,
    /// Nothing was recorded and the file does not say why.
    Hole,
}

/// A stretch without data, longer than sampling explains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Seconds from the start.
    pub start_s: f64,
    /// Seconds from the start.
    pub end_s: f64,
    /// Why.
    pub kind: GapKind,
}

/// One change that cleaning made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Index into [`Recording::samples`].
    pub sample: usize,
    /// What was done.
    pub kind: ChangeKind,
}

/// What was done to a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// Moved to its place in time.
    Reordered,
    /// Merged into an earlier sample of the same time.
    Merged,
    /// Position and speed from it left out: it jumped.
    Spike,
    /// Speed left out: not possible on foot.
    SpeedRefused,
    /// Cadence left out: zero or held while moving, held while standing, or out of range.
    CadenceRefused,
    /// Cadence doubled: the recorder had locked onto half of it.
    CadenceDoubled,
    /// Cadence halved: the recorder had locked onto double of it.
    CadenceHalved,
    /// Heart rate left out: out of range.
    HeartRateRefused,
}

/// Limits of cleaning, each with its reason in `docs/method.md`.
#[derive(Clone, Copy, Debug)]
pub struct CleanConfig {
    /// Two samples further apart than this, s, have a hole between them, unless sampling is that sparse throughout.
    pub hole_s: f64,
    /// No one on foot is faster, m/s: the 100 m world record averages 10.4 and peaks at 12.3 m/s.
    pub max_speed_mps: f64,
    /// Cadences above this, steps a minute, are out of range.
    pub max_cadence_spm: f64,
    /// Heart rates outside are out of range, beats a minute.
    pub heart_rate_range_bpm: (f64, f64),
}

impl Default for CleanConfig {
    fn default() -> Self {
        Self {
            hole_s: 15.0,
            max_speed_mps: 12.5,
            max_cadence_spm: 260.0,
            heart_rate_range_bpm: (25.0, 240.0),
        }
    }
}

/// Cleans one recording.
///
/// Notices: `out_of_order`, `duplicate_times`, `recorder_paused`, `holes`, `position_spikes`, `speed_refused`,
/// `speed_from_distance`, `speed_from_positions`, `no_speed`, `cadence_refused`, `cadence_half_corrected`,
/// `cadence_double_corrected`, `no_cadence`, `heart_rate_refused`.
pub fn clean(recording: &Recording, config: &CleanConfig) -> Noted<Series> {
    let mut ledger = Vec::new();
    let mut notices = Vec::new();
    let rows = order::in_time(recording, &mut ledger);
    let time_s: Vec<f64> = rows.iter().map(|row| row.sample.time_s).collect();
    let gaps = gaps::find(&time_s, recording.timer(), config);
    let path = position::without_spikes(&rows, &time_s, config, &mut ledger);
    let speed = speed::choose(&rows, &time_s, &path, &gaps, config, &mut ledger);
    let cadence_spm = cadence::mend(&rows, &time_s, &speed.column_mps, config, &mut ledger);
    let (low, high) = config.heart_rate_range_bpm;
    let heart_rate_bpm = rows
        .iter()
        .map(|row| {
            let value = row.sample.heart_rate?.get();
            if (low..=high).contains(&value) {
                return Some(value);
            }
            ledger.push(Change { sample: row.index, kind: ChangeKind::HeartRateRefused });
            None
        })
        .collect();
    let distance_m = speed::distance(&rows, &time_s, &speed.column_mps, &gaps);
    let elapsed_s = time_s.last().copied().unwrap_or(0.0);
    let series = Series::cleaned(Columns {
        start: recording.start(),
        utc_offset_s: recording.utc_offset_s(),
        speed_mps: speed.column_mps,
        speed_source: speed.source,
        speed_delay_s: speed.delay_s,
        cadence_spm,
        heart_rate_bpm,
        altitude_m: rows
            .iter()
            .map(|row| row.sample.altitude.map(Metres::get).filter(|m| m.is_finite()))
            .collect(),
        distance_m,
        gaps,
        marks_s: evidence::marks(recording.laps(), elapsed_s),
        guesses: evidence::guesses(recording.guesses(), elapsed_s),
        laps: recording.laps().to_vec(),
        has_position: path.positions.iter().any(Option::is_some),
        time_s,
        ledger,
    });
    tell(&series, &mut notices);
    Noted { value: series, notices }
}

/// Sums up for people what the ledger and the gaps hold one by one.
fn tell(series: &Series, notices: &mut Vec<Notice>) {
    let count = |kind: ChangeKind| series.ledger().iter().filter(|c| c.kind == kind).count();
    let samples = |n: usize| if n == 1 { "1 sample".to_owned() } else { format!("{n} samples") };
    let mut say = |code, n: usize, text: &dyn Fn(String) -> String| {
        if n > 0 {
            notices.push(Notice::new(code, text(samples(n))));
        }
    };
    say(NoticeCode::OutOfOrder, count(ChangeKind::Reordered), &|n| {
        format!("{n} out of order in time: sorted.")
    });
    say(NoticeCode::DuplicateTimes, count(ChangeKind::Merged), &|n| {
        format!("{n} with the time of an earlier one: merged into it.")
    });
    for (kind, code, what) in [
        (GapKind::Pause, NoticeCode::RecorderPaused, "The recorder's timer was stopped"),
        (GapKind::Hole, NoticeCode::Holes, "Nothing was recorded"),
    ] {
        let spans: Vec<f64> =
            series.gaps().iter().filter(|g| g.kind == kind).map(|g| g.end_s - g.start_s).collect();
        if !spans.is_empty() {
            let total = clock(spans.iter().sum());
            let long = match spans.len() {
                1 => format!("for {total}"),
                times => format!("{times} times, for {total} in all"),
            };
            notices.push(Notice::new(code, format!("{what} {long}: what was done then is unknown.")));
        }
    }
    let mut say = |code, n: usize, text: &dyn Fn(String) -> String| {
        if n > 0 {
            notices.push(Notice::new(code, text(samples(n))));
        }
    };
    say(NoticeCode::PositionSpikes, count(ChangeKind::Spike), &|n| {
        format!("{n} with a position that jumped: the position is left out.")
    });
    say(NoticeCode::SpeedRefused, count(ChangeKind::SpeedRefused), &|n| {
        format!("{n} with a speed that is not possible on foot: the speed is left out.")
    });
    say(NoticeCode::CadenceRefused, count(ChangeKind::CadenceRefused), &|n| {
        format!("{n} with a cadence that dropped out, was held or is not possible: the cadence is left out.")
    });
    say(NoticeCode::CadenceHalfCorrected, count(ChangeKind::CadenceDoubled), &|n| {
        format!("{n} with half the cadence that the speed allows: it is doubled.")
    });
    say(NoticeCode::CadenceDoubleCorrected, count(ChangeKind::CadenceHalved), &|n| {
        format!("{n} with double the cadence that the speed allows: it is halved.")
    });
    say(NoticeCode::HeartRateRefused, count(ChangeKind::HeartRateRefused), &|n| {
        format!("{n} with a heart rate out of range: it is left out.")
    });
    match series.speed_source() {
        SpeedSource::Recorder => {}
        SpeedSource::Distance => notices.push(Notice::new(
            NoticeCode::SpeedFromDistance,
            "The recorder gives no speed: it is taken from the distance.",
        )),
        SpeedSource::Positions => notices.push(Notice::new(
            NoticeCode::SpeedFromPositions,
            "The recorder gives no speed: it is taken from the positions, which is less sure.",
        )),
        SpeedSource::Absent => {
            notices.push(Notice::new(
                NoticeCode::NoSpeed,
                "The recording has neither speed nor distance nor positions.",
            ));
        }
    }
    if series.cadence_spm().iter().all(Option::is_none) {
        notices.push(Notice::new(
            NoticeCode::NoCadence,
            "The recording has no usable cadence: running and walking are told apart by speed alone, which is less sure.",
        ));
    }
}

#[cfg(test)]
mod tests;
