//! [`Series`]: columns over time whose promises are checked once and then hold.

use std::ops::Range;

use jiff::{SignedDuration, Timestamp};
use jogaudit_recording::read::{Guess, Lap};
use jogaudit_recording::workout::Workout;

use super::config::order::MOST_FALLS;
use super::{Change, ChangeKind, Gap, SpeedSource};

/// So many samples on each side are looked at for a distance, however far apart they are. Our choice.
const NEAREST_SAMPLES: usize = 5;
/// And all that are not further away than this, s: a hole begins there ([`super::CleanConfig::hole_s`]).
const WITHIN_REACH_S: f64 = 15.0;

/// What a [`Series`] is made of: plain columns, which promise nothing before [`Series::new`] has checked them.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// Wall-clock time of 0 s.
    pub start: Timestamp,
    /// Offset of local time from UTC, seconds, when the file tells.
    pub utc_offset_s: Option<i32>,
    /// Seconds since the start, wall clock, pauses included.
    pub time_s: Vec<f64>,
    /// Speed over ground, m/s.
    pub speed_mps: Vec<Option<f64>>,
    /// Where the speed comes from.
    pub speed_source: SpeedSource,
    /// By how much the speed lags behind the positions, s; `None` when it cannot be told.
    pub speed_delay_s: Option<f64>,
    /// Cadence, steps a minute, both feet.
    pub cadence_spm: Vec<Option<f64>>,
    /// Heart rate, beats a minute.
    pub heart_rate_bpm: Vec<Option<f64>>,
    /// Altitude, m, as recorded.
    pub altitude_m: Vec<Option<f64>>,
    /// Distance since the start, m: the recorder's own, else the integral of the speed.
    pub distance_m: Vec<Option<f64>>,
    /// Spans without data.
    pub gaps: Vec<Gap>,
    /// Laps, as recorded.
    pub laps: Vec<Lap>,
    /// Moments between laps that the runner or a workout's steps marked.
    pub marks_s: Vec<f64>,
    /// Of these, the ends of steps that a workout ended by itself, by time or distance: the watch said so.
    pub beeps_s: Vec<f64>,
    /// The workout that it was run from, when the file holds it.
    pub workout: Option<Workout>,
    /// What the recorder itself took the gait for.
    pub guesses: Vec<Guess>,
    /// Whether any sample had a position, if only before positions were taken out.
    pub has_position: bool,
    /// What cleaning changed, by index into the recording.
    pub ledger: Vec<Change>,
}

impl Columns {
    /// Samples at the given times without any reading.
    pub fn without_readings(start: Timestamp, time_s: Vec<f64>) -> Self {
        let missing = vec![None; time_s.len()];
        Self {
            start,
            utc_offset_s: None,
            time_s,
            speed_mps: missing.clone(),
            speed_source: SpeedSource::Absent,
            speed_delay_s: None,
            cadence_spm: missing.clone(),
            heart_rate_bpm: missing.clone(),
            altitude_m: missing.clone(),
            distance_m: missing,
            gaps: Vec::new(),
            laps: Vec::new(),
            marks_s: Vec::new(),
            beeps_s: Vec::new(),
            workout: None,
            guesses: Vec::new(),
            has_position: false,
            ledger: Vec::new(),
        }
    }

    fn check(&self) -> Result<(), SeriesError> {
        check_times(&self.time_s)?;
        let elapsed_s = self.time_s.last().copied().unwrap_or(0.0);
        for (column, values) in [
            ("speed_mps", &self.speed_mps),
            ("cadence_spm", &self.cadence_spm),
            ("heart_rate_bpm", &self.heart_rate_bpm),
            ("altitude_m", &self.altitude_m),
            ("distance_m", &self.distance_m),
        ] {
            if values.len() != self.time_s.len() {
                return Err(SeriesError::Length { column, is: values.len(), should: self.time_s.len() });
            }
            if let Some(sample) = values.iter().position(|value| value.is_some_and(|v| !v.is_finite())) {
                return Err(SeriesError::NotANumber { column, sample });
            }
        }
        let mut far_m = f64::NEG_INFINITY;
        for (sample, distance_m) in self.distance_m.iter().enumerate() {
            if distance_m.is_some_and(|m| m < far_m) {
                return Err(SeriesError::DistanceFalls { sample });
            }
            far_m = distance_m.unwrap_or(far_m);
        }
        let spans = [
            ("gaps", self.gaps.iter().map(|gap| (gap.start_s, gap.end_s)).collect::<Vec<_>>()),
            ("marks", self.marks_s.iter().map(|&mark_s| (mark_s, mark_s)).collect()),
            ("beeps", self.beeps_s.iter().map(|&beep_s| (beep_s, beep_s)).collect()),
            ("guesses", self.guesses.iter().map(|guess| (guess.start_s, guess.end_s)).collect()),
        ];
        for (what, spans) in spans {
            let mut free_s = 0.0;
            for (start_s, end_s) in spans {
                let fits = free_s <= start_s && start_s <= end_s && end_s <= elapsed_s;
                if !fits {
                    return Err(SeriesError::OutOfPlace { what });
                }
                free_s = end_s;
            }
        }
        Ok(())
    }
}

fn check_times(time_s: &[f64]) -> Result<(), SeriesError> {
    let starts_at_zero = time_s.first().is_none_or(|&first_s| first_s == 0.0);
    if !starts_at_zero {
        return Err(SeriesError::Times { sample: 0 });
    }
    let rises = |pair: &[f64]| pair[0] < pair[1] && pair[1].is_finite();
    match time_s.windows(2).position(|pair| !rises(pair)) {
        Some(before) => Err(SeriesError::Times { sample: before + 1 }),
        None => Ok(()),
    }
}

/// Why [`Columns`] make no [`Series`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SeriesError {
    /// Times must start at 0 and rise strictly.
    #[error(
        "the time of sample {sample} does not start at 0 and rise strictly: sort the samples and merge those of one time"
    )]
    Times {
        /// Index of the first such sample.
        sample: usize,
    },
    /// A column is shorter or longer than the times.
    #[error("column {column} has {is} values for {should} times: put None where a value is missing")]
    Length {
        /// Name of the column.
        column: &'static str,
        /// Its length.
        is: usize,
        /// The number of times.
        should: usize,
    },
    /// A value is infinite or not a number.
    #[error("column {column} has no finite number at sample {sample}: put None where a value is missing")]
    NotANumber {
        /// Name of the column.
        column: &'static str,
        /// Index of the first such sample.
        sample: usize,
    },
    /// The distance since the start must never fall.
    #[error("the distance falls at sample {sample}: it counts from the start and never falls")]
    DistanceFalls {
        /// Index of the first such sample.
        sample: usize,
    },
    /// Gaps, marks or guesses overlap, are out of order or outside of the recording.
    #[error("{what} overlap, are out of order or outside of the recording: sort them and cut them to it")]
    OutOfPlace {
        /// Which of them.
        what: &'static str,
    },
}

/// Clean columns over time.
///
/// What always holds: times start at 0 and rise strictly; every column has one value or `None` a time, and no value is infinite
/// or NaN; the distance never falls; gaps, marks and guesses are in order inside the recording, gaps and guesses without overlap.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    columns: Columns,
}

impl Series {
    /// Checks the columns and wraps them.
    ///
    /// # Errors
    /// When a promise of [`Series`] does not hold: which one and where.
    ///
    /// ```
    /// use jogaudit_core::clean::{Columns, Series, SeriesError};
    /// let columns = Columns::without_readings(jiff::Timestamp::UNIX_EPOCH, vec![0.0, 2.0, 1.0]);
    /// assert_eq!(Series::new(columns), Err(SeriesError::Times { sample: 2 }));
    /// ```
    pub fn new(columns: Columns) -> Result<Self, SeriesError> {
        columns.check()?;
        Ok(Self { columns })
    }

    /// Wraps what cleaning has put in order, which the tests of cleaning check.
    pub(super) fn cleaned(columns: Columns) -> Self {
        debug_assert_eq!(columns.check(), Ok(()));
        Self { columns }
    }

    /// Gives the columns back, to be changed and checked anew.
    pub fn into_columns(self) -> Columns {
        self.columns
    }

    /// The same readings at another time of the calendar.
    #[must_use]
    pub fn starting_at(mut self, start: Timestamp) -> Self {
        self.columns.start = start;
        self
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        self.columns.time_s.len()
    }

    /// Whether there is no sample.
    pub fn is_empty(&self) -> bool {
        self.columns.time_s.is_empty()
    }

    /// Wall-clock time of 0 s.
    pub fn start(&self) -> Timestamp {
        self.columns.start
    }

    /// Wall-clock time of the last sample.
    pub fn end(&self) -> Timestamp {
        let elapsed = SignedDuration::try_from_secs_f64(self.elapsed_s()).unwrap_or_default();
        self.start().checked_add(elapsed).unwrap_or(Timestamp::MAX)
    }

    /// Offset of local time from UTC, seconds, when the file tells.
    pub fn utc_offset_s(&self) -> Option<i32> {
        self.columns.utc_offset_s
    }

    /// Seconds since the start, wall clock, pauses included: from 0, strictly rising.
    pub fn time_s(&self) -> &[f64] {
        &self.columns.time_s
    }

    /// Speed over ground, m/s, one a sample.
    pub fn speed_mps(&self) -> &[Option<f64>] {
        &self.columns.speed_mps
    }

    /// Where the speed comes from.
    pub fn speed_source(&self) -> SpeedSource {
        self.columns.speed_source
    }

    /// By how much the speed lags behind the positions, s; `None` when it cannot be told.
    pub fn speed_delay_s(&self) -> Option<f64> {
        self.columns.speed_delay_s
    }

    /// Cadence, steps a minute, both feet, one a sample.
    pub fn cadence_spm(&self) -> &[Option<f64>] {
        &self.columns.cadence_spm
    }

    /// Heart rate, beats a minute, one a sample.
    pub fn heart_rate_bpm(&self) -> &[Option<f64>] {
        &self.columns.heart_rate_bpm
    }

    /// Altitude, m, as recorded, one a sample.
    pub fn altitude_m(&self) -> &[Option<f64>] {
        &self.columns.altitude_m
    }

    /// Distance since the start, m, never falling, one a sample: the recorder's own, else the integral of the speed.
    pub fn distance_m(&self) -> &[Option<f64>] {
        &self.columns.distance_m
    }

    /// Spans without data, in order, never overlapping.
    pub fn gaps(&self) -> &[Gap] {
        &self.columns.gaps
    }

    /// Laps, as recorded.
    pub fn laps(&self) -> &[Lap] {
        &self.columns.laps
    }

    /// Moments between laps that the runner or a workout's steps marked, in order, inside the recording.
    pub fn marks_s(&self) -> &[f64] {
        &self.columns.marks_s
    }

    /// Those of them that a workout's steps ended by themselves.
    pub fn beeps_s(&self) -> &[f64] {
        &self.columns.beeps_s
    }

    /// The workout that it was run from, when the file holds it.
    pub const fn workout(&self) -> Option<&Workout> {
        self.columns.workout.as_ref()
    }

    /// What the recorder itself took the gait for, in order, inside the recording, never overlapping.
    pub fn guesses(&self) -> &[Guess] {
        &self.columns.guesses
    }

    /// Whether any sample had a position.
    pub fn has_position(&self) -> bool {
        self.columns.has_position
    }

    /// What cleaning changed, by index into the recording.
    pub fn ledger(&self) -> &[Change] {
        &self.columns.ledger
    }

    /// Whether time fell back so often in the file that its order in time tells nothing: sorted, such samples leap to and fro.
    pub fn is_order_doubtful(&self) -> bool {
        let falls = self.ledger().iter().filter(|change| change.kind == ChangeKind::Reordered).count();
        falls as f64 > MOST_FALLS * self.len() as f64
    }

    /// Seconds from the first to the last sample.
    pub fn elapsed_s(&self) -> f64 {
        self.columns.time_s.last().copied().unwrap_or(0.0)
    }

    /// Distance since the start at a moment, m: on the straight line between the nearest samples before and after it that
    /// have one. Each has to be among the nearest five or at most 15 s away; `None` where neither side has one.
    pub fn distance_at(&self, at_s: f64) -> Option<f64> {
        let (time_s, distance_m) = (self.time_s(), self.distance_m());
        let next = time_s.partition_point(|&t| t < at_s);
        let known = |i: usize| distance_m[i].map(|d| (time_s[i], d));
        let is_near = |(passed, i): &(usize, usize)| {
            *passed < NEAREST_SAMPLES || (time_s[*i] - at_s).abs() <= WITHIN_REACH_S
        };
        let nearest = |samples: &mut dyn Iterator<Item = usize>| {
            samples.enumerate().take_while(is_near).find_map(|(_, i)| known(i))
        };
        match (nearest(&mut (0..next).rev()), nearest(&mut (next..time_s.len()))) {
            (Some((t0, d0)), Some((t1, d1))) => Some(d0 + (d1 - d0) * (at_s - t0) / (t1 - t0)),
            (Some((_, d)), None) | (None, Some((_, d))) => Some(d),
            (None, None) => None,
        }
    }

    /// Index range of the samples with `start_s <= time_s < end_s`.
    pub fn range(&self, start_s: f64, end_s: f64) -> Range<usize> {
        let time_s = self.time_s();
        let from = time_s.partition_point(|&t| t < start_s);
        let to = time_s.partition_point(|&t| t < end_s);
        from..to.max(from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clean::GapKind;
    use jogaudit_recording::read::{GuessSource, GuessedGait};

    fn columns() -> Columns {
        Columns::without_readings(Timestamp::UNIX_EPOCH, vec![0.0, 1.0, 2.5])
    }

    #[test]
    fn times_rise_strictly_from_zero() {
        assert!(Series::new(columns()).is_ok());
        for (time_s, sample) in [
            ([1.0, 2.0, 3.0], 0),
            ([f64::NAN, 2.0, 3.0], 0),
            ([0.0, 1.0, 1.0], 2),
            ([0.0, 2.0, 1.0], 2),
            ([0.0, f64::NAN, 1.0], 1),
            ([0.0, 1.0, f64::INFINITY], 2),
        ] {
            let wrong = Columns { time_s: time_s.to_vec(), ..columns() };
            assert_eq!(Series::new(wrong), Err(SeriesError::Times { sample }), "{time_s:?}");
        }
    }

    #[test]
    fn columns_have_one_length_and_numbers() {
        let short = Columns { heart_rate_bpm: vec![None; 2], ..columns() };
        let error = SeriesError::Length { column: "heart_rate_bpm", is: 2, should: 3 };
        assert_eq!(Series::new(short), Err(error));
        let wrong = Columns { altitude_m: vec![None, Some(f64::NAN), None], ..columns() };
        let error = SeriesError::NotANumber { column: "altitude_m", sample: 1 };
        assert_eq!(Series::new(wrong), Err(error));
    }

    #[test]
    fn the_distance_never_falls() {
        let falls = Columns { distance_m: vec![Some(2.0), None, Some(1.0)], ..columns() };
        assert_eq!(Series::new(falls), Err(SeriesError::DistanceFalls { sample: 2 }));
        let stands = Columns { distance_m: vec![Some(2.0), None, Some(2.0)], ..columns() };
        assert!(Series::new(stands).is_ok());
    }

    #[test]
    fn a_distance_lies_between_the_nearest_that_are_known() {
        let series = |time_s: Vec<f64>, known: &[(usize, f64)]| {
            let mut columns = Columns::without_readings(Timestamp::UNIX_EPOCH, time_s);
            known.iter().for_each(|&(i, m)| columns.distance_m[i] = Some(m));
            Series::new(columns).unwrap()
        };
        // Ten samples without a distance in ten seconds: both ends are within 15 s.
        let dense = series((0..12).map(f64::from).collect(), &[(0, 0.0), (11, 22.0)]);
        assert_eq!((dense.distance_at(5.5), dense.distance_at(11.0)), (Some(11.0), Some(22.0)));
        // A sample a minute: the nearest five are looked at.
        let sparse = series((0..12).map(|i| 60.0 * f64::from(i)).collect(), &[(0, 0.0), (5, 600.0)]);
        assert_eq!(sparse.distance_at(150.0), Some(300.0));
        assert_eq!((sparse.distance_at(420.0), sparse.distance_at(660.0)), (Some(600.0), None));
    }

    #[test]
    fn gaps_marks_and_guesses_are_in_order_inside_the_recording() {
        let gap = |start_s, end_s| Gap { start_s, end_s, kind: GapKind::Hole };
        let guess = |start_s, end_s| {
            let (gait, source) = (GuessedGait::Run, GuessSource::Split);
            Guess { start_s, end_s, gait, source }
        };
        let fine = Columns {
            gaps: vec![gap(0.0, 1.0), gap(1.0, 2.5)],
            marks_s: vec![0.5, 2.0],
            guesses: vec![guess(0.0, 2.5)],
            ..columns()
        };
        assert!(Series::new(fine).is_ok());
        let refused = |wrong: Columns| Series::new(wrong).err();
        for gaps in [vec![gap(0.0, 3.0)], vec![gap(1.0, 2.0), gap(0.0, 1.0)], vec![gap(1.0, 0.5)]] {
            let error = Some(SeriesError::OutOfPlace { what: "gaps" });
            assert_eq!(refused(Columns { gaps, ..columns() }), error);
        }
        let error = Some(SeriesError::OutOfPlace { what: "marks" });
        assert_eq!(refused(Columns { marks_s: vec![2.0, 1.0], ..columns() }), error);
        let error = Some(SeriesError::OutOfPlace { what: "guesses" });
        assert_eq!(refused(Columns { guesses: vec![guess(-1.0, 1.0)], ..columns() }), error);
    }
}
