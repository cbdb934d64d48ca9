//! Whether a recording can be of a person on foot.

use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::read::{Recording, Sample, Sport};
use jogaudit_recording::units::{LengthUnit, clock};

use crate::clean::CleanConfig;

/// What the fastest people have run, s and m: world records of men, the highest speed for so long a time. 5000 and 10 000 m
/// as looked up (2020, World Athletics); 3000 m, the half marathon, the marathon, 100 km and 24 h are from memory.
const RECORDS: [(f64, f64); 7] = [
    (437.55, 3000.0),
    (755.36, 5000.0),
    (1571.0, 10_000.0),
    (3402.0, 21_097.5),
    (7235.0, 42_195.0),
    (21_935.0, 100_000.0),
    (86_400.0, 319_614.0),
];
/// A recorder may measure so much more than was run. Our choice.
const MARGIN: f64 = 1.1;
/// Distances count when at least one sample in so many has one, as for the speed. Our choice.
const SAMPLES_A_DISTANCE: usize = 3;
/// Positions count at times so far apart, s, so that the scatter of a standing recorder adds next to no way. Our choice.
const POSITIONS_APART_S: f64 = 15.0;

/// Why a recording is not scored.
#[derive(Clone, Debug, PartialEq)]
pub enum OffFoot {
    /// Its sport, in the file's own word, is neither running nor walking.
    Sport(String),
    /// Its sport is not said, and no one on foot goes that far in that time.
    TooFast {
        /// The way, m.
        distance_m: f64,
        /// How long it took, s.
        time_s: f64,
    },
}

impl OffFoot {
    /// Why this recording is not scored; `None` when it is. A sport that the file says is believed.
    pub fn of(recording: &Recording, config: &CleanConfig) -> Option<Self> {
        match recording.sport() {
            Sport::Running | Sport::Walking => None,
            Sport::Other(sport) => Some(Self::Sport(sport.clone())),
            Sport::Unspecified => too_fast(recording.samples(), config.max_speed_mps),
        }
    }

    /// The code of its notice.
    pub const fn code(&self) -> NoticeCode {
        match self {
            Self::Sport(_) => NoticeCode::NotOnFoot,
            Self::TooFast { .. } => NoticeCode::SportDoubtful,
        }
    }

    /// The notice of it.
    pub fn notice(&self) -> Notice {
        Notice::new(self.code(), format!("The recording is not scored: its {}.", self.clause()))
    }

    /// A sentence beside the recording's name.
    pub fn sentence(&self) -> String {
        format!("Its {}.", self.clause())
    }

    fn clause(&self) -> String {
        match self {
            Self::Sport(sport) => format!("sport is “{sport}”, not running or walking"),
            Self::TooFast { distance_m, time_s } => format!(
                "sport is not said, and {:.1} km ({:.1} miles) in {} is faster than anyone has run",
                distance_m / LengthUnit::Kilometre.metres(),
                distance_m / LengthUnit::Mile.metres(),
                clock(*time_s)
            ),
        }
    }
}

/// Times and the way until then, m, of a recording, by which it is told whether someone on foot can have made it; in order of time.
pub fn way_m(recording: &Recording, config: &CleanConfig) -> Vec<(f64, f64)> {
    way(recording.samples(), config.max_speed_mps)
}

/// The stretch that goes furthest beyond what anyone has run in such a time.
fn too_fast(samples: &[Sample], max_speed_mps: f64) -> Option<OffFoot> {
    let way = way(samples, max_speed_mps);
    let stretches = RECORDS.iter().flat_map(|&(record_s, record_m)| {
        let mut to = 0;
        let way = &way;
        way.iter().filter_map(move |&(from_s, from_m)| {
            while way.get(to).is_some_and(|(to_s, _)| to_s - from_s < record_s) {
                to += 1;
            }
            let (to_s, to_m) = way.get(to)?;
            let (time_s, distance_m) = (to_s - from_s, to_m - from_m);
            Some((distance_m / time_s / (MARGIN * record_m / record_s), distance_m, time_s))
        })
    });
    let (excess, distance_m, time_s) = stretches.max_by(|a, b| a.0.total_cmp(&b.0))?;
    (excess > 1.0).then_some(OffFoot::TooFast { distance_m, time_s })
}

/// Times and the way until then, m: by the recorder's distance, else by positions. No step of it is longer than the fastest
/// person makes, so that a jump of either is no way.
fn way(samples: &[Sample], max_speed_mps: f64) -> Vec<(f64, f64)> {
    let mut sorted: Vec<&Sample> = samples.iter().collect();
    sorted.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let measured = sorted.iter().filter(|sample| sample.distance.is_some()).count();
    let steps = if measured * SAMPLES_A_DISTANCE >= sorted.len() {
        let known: Vec<(f64, f64)> =
            sorted.iter().filter_map(|sample| Some((sample.time_s, sample.distance?.get()))).collect();
        let first = known.first().map(|&(at_s, _)| (at_s, 0.0));
        first.into_iter().chain(known.windows(2).map(|pair| (pair[1].0, pair[1].1 - pair[0].1))).collect()
    } else {
        steps_between_positions(&sorted)
    };
    let (mut far_m, mut before_s) = (0.0, steps.first().map_or(0.0, |step| step.0));
    let sum = |(at_s, step_m): (f64, f64)| {
        far_m += step_m.clamp(0.0, max_speed_mps * (at_s - before_s));
        before_s = at_s;
        (at_s, far_m)
    };
    steps.into_iter().map(sum).collect()
}

/// Times and steps between positions that are [`POSITIONS_APART_S`] apart.
fn steps_between_positions(sorted: &[&Sample]) -> Vec<(f64, f64)> {
    let mut steps = Vec::new();
    let mut last: Option<(f64, LatLon)> = None;
    for (at_s, here) in sorted.iter().filter_map(|sample| Some((sample.time_s, sample.position?))) {
        match last {
            Some((before_s, _)) if at_s - before_s < POSITIONS_APART_S => continue,
            Some((_, there)) => steps.push((at_s, here.step_m(there))),
            None => steps.push((at_s, 0.0)),
        }
        last = Some((at_s, here));
    }
    steps
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use jogaudit_recording::read::{Format, RecordingParts};
    use jogaudit_recording::units::Metres;

    use super::*;

    fn of(sport: Sport, samples: Vec<Sample>) -> Option<OffFoot> {
        let recording = Recording::new(RecordingParts {
            format: Format::Gpx,
            sport,
            start: Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples,
            laps: vec![],
            timer: vec![],
            guesses: vec![],
            workout: None,
        });
        OffFoot::of(&recording.unwrap(), &CleanConfig::default())
    }

    /// One sample a second, the way told by `distance_m` of the second.
    fn measured(seconds: u32, distance_m: impl Fn(f64) -> f64) -> Vec<Sample> {
        let sample = |t: u32| {
            let time_s = f64::from(t);
            Sample { time_s, distance: Some(Metres::new(distance_m(time_s))), ..Sample::default() }
        };
        (0..=seconds).map(sample).collect()
    }

    fn steady(seconds: u32, speed_mps: f64) -> Vec<Sample> {
        measured(seconds, |time_s| speed_mps * time_s)
    }

    fn by_positions(mut samples: Vec<Sample>, scatter_m: f64) -> Vec<Sample> {
        for (i, sample) in samples.iter_mut().enumerate() {
            let aside = if i % 2 == 0 { scatter_m } else { -scatter_m };
            let north_m = sample.distance.take().map_or(0.0, Metres::get);
            sample.position = LatLon::new(north_m / 110_574.3, aside / 111_319.5);
        }
        samples
    }

    #[test]
    fn a_ride_of_which_the_sport_is_not_said_is_doubtful() {
        // 15 km at 2:09 /km.
        let ride = steady(1935, 15_000.0 / 1935.0);
        let found = of(Sport::Unspecified, ride.clone()).unwrap();
        assert_eq!(found.code(), NoticeCode::SportDoubtful);
        let text = "Its sport is not said, and 12.2 km (7.6 miles) in 26:11 is faster than anyone has run.";
        assert_eq!(found.sentence(), text);
        assert!(of(Sport::Unspecified, by_positions(ride.clone(), 0.0)).is_some());
        assert_eq!(of(Sport::Running, ride), None, "a sport that is said is believed");
        // A car: more than anyone's top speed counts as that.
        assert!(of(Sport::Unspecified, steady(900, 25.0)).is_some());
        assert!(of(Sport::Unspecified, by_positions(steady(900, 25.0), 0.0)).is_some());
    }

    #[test]
    fn the_records_themselves_are_on_foot() {
        for (record_s, record_m) in RECORDS {
            let speed_mps = record_m / record_s;
            // By sparse samples for the long ones: every second sample of a day is much.
            let every_s = (record_s / 2000.0).ceil();
            let sample = |i: u32| {
                let time_s = every_s * f64::from(i);
                Sample { time_s, distance: Some(Metres::new(speed_mps * time_s)), ..Sample::default() }
            };
            let samples: Vec<Sample> = (0..=(record_s / every_s).ceil() as u32).map(sample).collect();
            assert_eq!(of(Sport::Unspecified, samples), None, "{record_m} m");
            // Over so long a time, a quarter more is beyond anyone.
            let faster = (0..=(record_s / every_s).ceil() as u32).map(|i| {
                let time_s = every_s * f64::from(i);
                Sample { time_s, distance: Some(Metres::new(1.25 * speed_mps * time_s)), ..Sample::default() }
            });
            assert!(of(Sport::Unspecified, faster.collect()).is_some(), "{record_m} m");
        }
    }

    #[test]
    fn a_jump_or_the_scatter_of_positions_is_no_way() {
        // 10 km from one second to the next, in distance and in position.
        let jump = |time_s: f64| 2.5 * time_s + if time_s > 600.0 { 10_000.0 } else { 0.0 };
        assert_eq!(of(Sport::Unspecified, measured(1800, jump)), None);
        assert_eq!(of(Sport::Unspecified, by_positions(measured(1800, jump), 0.0)), None);
        // Standing, 20 m of scatter to either side every second.
        assert_eq!(of(Sport::Unspecified, by_positions(steady(1800, 0.0), 20.0)), None);
        assert_eq!(of(Sport::Unspecified, vec![Sample::default()]), None);
    }

    #[test]
    fn another_sport_is_not_scored_in_its_own_word() {
        let found = of(Sport::Other("cycling".to_owned()), steady(60, 2.5)).unwrap();
        assert_eq!(found.code(), NoticeCode::NotOnFoot);
        let text = "The recording is not scored: its sport is “cycling”, not running or walking.";
        assert_eq!(found.notice().text, text);
    }
}
