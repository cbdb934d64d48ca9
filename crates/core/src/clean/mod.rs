//! [`Recording`] → [`Series`]: order, duplicates, pauses and holes, spikes, speed where the recorder gives none, cadence
//! faults, and a ledger of what was changed.

mod cadence;
mod config;
mod gaps;
mod notices;
mod order;
mod position;
mod series;
mod side_information;
mod speed;

pub use config::CleanConfig;
pub(crate) use gaps::interval_s;
pub use gaps::longest_silence_s;
pub use series::{Columns, Series, SeriesError};

use jogaudit_recording::notice::Noted;
use jogaudit_recording::read::Recording;
pub use jogaudit_recording::read::{Guess, GuessSource, GuessedGait};
use jogaudit_recording::units::Metres;

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

/// A time without data, longer than sampling explains.
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
    /// Earlier than the sample before it in the file: sorted into its place in time.
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

/// Cleans one recording.
///
/// Notices: `out_of_order`, `order_doubtful`, `duplicate_times`, `recorder_paused`, `holes`, `position_spikes`, `speed_refused`,
/// `speed_from_distance`, `speed_from_positions`, `no_speed`, `cadence_refused`, `cadence_half_corrected`,
/// `cadence_double_corrected`, `no_cadence`, `heart_rate_refused`.
pub fn clean(recording: &Recording, config: &CleanConfig) -> Noted<Series> {
    let mut ledger = Vec::new();
    let rows = order::in_time(recording, &mut ledger);
    let time_s: Vec<f64> = rows.iter().map(|row| row.sample.time_s).collect();
    let gaps = gaps::find(&time_s, recording.timer(), config);
    let path = position::without_spikes(&rows, &time_s, config, &mut ledger);
    let speed = speed::choose(&rows, &time_s, &path, &gaps, config, &mut ledger);
    let cadence_spm = cadence::mend(&rows, &time_s, &speed.column_mps, config, &mut ledger);
    let heart_rate_bpm = heart_rate(&rows, config, &mut ledger);
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
        marks_s: side_information::marks(recording.laps(), elapsed_s),
        beeps_s: side_information::beeps(recording, elapsed_s),
        workout: recording.workout().cloned(),
        guesses: side_information::guesses(recording.guesses(), elapsed_s),
        laps: recording.laps().to_vec(),
        has_position: path.positions.iter().any(Option::is_some)
            || rows.iter().any(|row| row.sample.speed_by_positions.is_some()),
        time_s,
        ledger,
    });
    let notices = notices::of(&series);
    Noted { value: series, notices }
}

/// What the positions of a recording tell of its speed, m/s, one a sample: what [`clean`] would take from them. To be written
/// where the positions are taken out ([`Sample::speed_by_positions`]), so that nothing else changes by that.
///
/// [`Sample::speed_by_positions`]: jogaudit_recording::read::Sample::speed_by_positions
pub fn speeds_by_positions(recording: &Recording, config: &CleanConfig) -> Vec<Option<f64>> {
    let mut ledger = Vec::new();
    let rows = order::in_time(recording, &mut ledger);
    let time_s: Vec<f64> = rows.iter().map(|row| row.sample.time_s).collect();
    let gaps = gaps::find(&time_s, recording.timer(), config);
    let path = position::without_spikes(&rows, &time_s, config, &mut ledger);
    let mut by_sample = vec![None; recording.samples().len()];
    for (row, speed_mps) in rows.iter().zip(position::speeds(&time_s, &path, &gaps, config)) {
        by_sample[row.index] = speed_mps;
    }
    by_sample
}

/// Heart rate by row, where it is in range.
fn heart_rate(rows: &[order::Row], config: &CleanConfig, ledger: &mut Vec<Change>) -> Vec<Option<f64>> {
    let (least, most) = config.heart_rate_range_bpm;
    let in_range = |row: &order::Row| {
        let value = row.sample.heart_rate?.get();
        if (least..=most).contains(&value) {
            return Some(value);
        }
        ledger.push(Change { sample: row.index, kind: ChangeKind::HeartRateRefused });
        None
    };
    rows.iter().map(in_range).collect()
}

#[cfg(test)]
mod tests;
