//! One recording as the review takes it, what was done in it, and which of two recordings of one session is kept.

use jiff::Timestamp;

use crate::clean::Series;
use crate::gait::{Bout, Gait, Segmentation};
use jogaudit_recording::notice::Notice;

use super::left_out::{LeftOut, LeftOutCode};

/// A recording of the case folder, segmented.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// How it is called in the report: its path inside the folder of recordings.
    pub name: String,
    /// What stands for the file's bytes: equal where they are, as a hash of them is.
    pub content: String,
    /// How many of speed, cadence, heart rate, position and altitude the recorder gave.
    pub channels: usize,
    /// Clean columns.
    pub series: Series,
    /// Bouts.
    pub segmentation: Segmentation,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

impl Recorded {
    /// Time of its first sample.
    pub fn start(&self) -> Timestamp {
        self.series.start()
    }

    /// Time of its last sample.
    pub fn end(&self) -> Timestamp {
        self.series.end()
    }

    /// Seconds that both recordings cover.
    fn shared_s(&self, other: &Self) -> f64 {
        let from = self.start().max(other.start());
        let to = self.end().min(other.end());
        to.duration_since(from).as_secs_f64()
    }
}

/// Keeps the richest recording of each session: the one with more kinds of data, then more samples, then the earlier
/// name. Gives the kept ones in order of time.
pub(super) fn without_duplicates(
    recorded: Vec<Recorded>,
    overlap_s: f64,
    left_out: &mut Vec<LeftOut>,
) -> Vec<Recorded> {
    let mut by_richness = recorded;
    by_richness.sort_by(|a, b| {
        let rich = |r: &Recorded| (r.channels, r.series.time_s().len());
        rich(b).cmp(&rich(a)).then_with(|| a.name.cmp(&b.name))
    });
    // Kept ones in order of time; they overlap by `overlap_s` at most, so only neighbours in time can overlap more.
    let mut kept: Vec<Recorded> = Vec::with_capacity(by_richness.len());
    let mut dropped: Vec<LeftOut> = Vec::new();
    for recording in by_richness {
        let at = kept.partition_point(|k| k.start() <= recording.start());
        let near = at.saturating_sub(1)..kept.len();
        let shorter_s = |k: &Recorded| k.series.elapsed_s().min(recording.series.elapsed_s());
        let same = kept[near].iter().take_while(|k| k.start() <= recording.end()).find(|k| {
            k.start() == recording.start() || k.shared_s(&recording) > overlap_s.min(0.5 * shorter_s(k))
        });
        match same {
            Some(richer) => dropped.push(duplicate(&recording, richer)),
            None => kept.insert(at, recording),
        }
    }
    dropped.sort_by(|a, b| a.name.cmp(&b.name));
    left_out.append(&mut dropped);
    kept
}

fn duplicate(recording: &Recorded, kept: &Recorded) -> LeftOut {
    let why = if recording.content == kept.content {
        "the same file".to_owned()
    } else if recording.channels < kept.channels {
        format!("it has {} kinds of data, this one {}", kept.channels, recording.channels)
    } else if recording.series.time_s().len() < kept.series.time_s().len() {
        format!("it has {} samples, this one {}", kept.series.time_s().len(), recording.series.time_s().len())
    } else {
        "both are equally rich".to_owned()
    };
    let text = format!("Recorded at the same time as {}, which is used: {why}.", kept.name);
    LeftOut::new(recording.name.clone(), LeftOutCode::Duplicate, text)
}

/// What was done in a session.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Totals {
    /// Running, s.
    pub run_s: f64,
    /// Running, each bout times its certainty, s.
    pub sure_run_s: f64,
    /// Walking, s.
    pub walk_s: f64,
    /// From the first to the last second of running or walking, s.
    pub session_s: f64,
    /// Steps while running, both feet.
    pub run_steps: Option<f64>,
    /// Steps while walking, both feet.
    pub walk_steps: Option<f64>,
    /// Distance run, m.
    pub run_distance_m: Option<f64>,
    /// The longest run without a walk or stop, s.
    pub longest_run_s: f64,
    /// Its distance, m.
    pub longest_run_m: Option<f64>,
}

impl Totals {
    /// Adds up the bouts of a recording.
    pub fn of(segmentation: &Segmentation) -> Self {
        let bouts = segmentation.bouts();
        let of = |gait: Gait| bouts.iter().filter(move |b| b.gait == gait);
        let moving = || bouts.iter().filter(|b| matches!(b.gait, Gait::Run | Gait::Walk));
        let longest = of(Gait::Run).max_by(|a, b| a.duration_s().total_cmp(&b.duration_s()));
        Self {
            run_s: of(Gait::Run).map(Bout::duration_s).sum(),
            sure_run_s: of(Gait::Run).map(|b| b.certainty * b.duration_s()).sum(),
            walk_s: of(Gait::Walk).map(Bout::duration_s).sum(),
            session_s: match (moving().next(), moving().next_back()) {
                (Some(first), Some(last)) => last.end_s - first.start_s,
                _ => 0.0,
            },
            run_steps: steps(of(Gait::Run)),
            walk_steps: steps(of(Gait::Walk)),
            run_distance_m: of(Gait::Run).map(|b| b.distance_m).sum(),
            longest_run_s: longest.map_or(0.0, Bout::duration_s),
            longest_run_m: longest.and_then(|b| b.distance_m),
        }
    }

    /// Mean pace of the running, s/km; `None` where the distance of any of it is not known.
    pub fn pace_s_per_km(&self) -> Option<f64> {
        self.run_distance_m.filter(|m| *m > 0.0).map(|m| 1000.0 * self.run_s / m)
    }

    /// Takes a later part of the same session in.
    pub(super) fn join(&mut self, later: &Self, gap_s: f64) {
        let sum = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a + b);
        if later.longest_run_s > self.longest_run_s {
            self.longest_run_s = later.longest_run_s;
            self.longest_run_m = later.longest_run_m;
        }
        self.run_s += later.run_s;
        self.sure_run_s += later.sure_run_s;
        self.walk_s += later.walk_s;
        self.session_s += gap_s + later.session_s;
        self.run_steps = sum(self.run_steps, later.run_steps);
        self.walk_steps = sum(self.walk_steps, later.walk_steps);
        self.run_distance_m = sum(self.run_distance_m, later.run_distance_m);
    }
}

/// Steps of these bouts. A bout without cadence gets the mean cadence of the others when they are the greater part;
/// otherwise the sum is not known.
fn steps<'b>(bouts: impl Iterator<Item = &'b Bout>) -> Option<f64> {
    let (mut all_s, mut known_s, mut steps) = (0.0, 0.0, 0.0);
    for bout in bouts {
        all_s += bout.duration_s();
        if let Some(cadence) = bout.mean_cadence_spm {
            known_s += bout.duration_s();
            steps += cadence * bout.duration_s() / 60.0;
        }
    }
    if all_s == 0.0 {
        return Some(0.0);
    }
    (known_s > 0.5 * all_s).then(|| steps * all_s / known_s)
}

#[cfg(test)]
pub(super) mod testing {
    use super::*;
    use crate::clean::{Columns, Series, SpeedSource};

    /// A recording from bouts such as `"w300 r60"`; running at 2.5 m/s and 160, walking at 1.5 m/s and 110 steps/min.
    pub(crate) fn recorded(name: &str, start: &str, bouts: &str) -> Recorded {
        let mut at = 0.0;
        let bouts: Vec<Bout> = bouts
            .split_whitespace()
            .map(|word| {
                let length_s: f64 = word[1..].parse().unwrap();
                let (gait, speed, cadence) = match &word[..1] {
                    "r" => (Gait::Run, Some(2.5), Some(160.0)),
                    "w" => (Gait::Walk, Some(1.5), Some(110.0)),
                    _ => (Gait::Stand, Some(0.0), None),
                };
                at += length_s;
                Bout {
                    gait,
                    start_s: at - length_s,
                    end_s: at,
                    start_error_s: 0.7,
                    end_error_s: 0.7,
                    certainty: 0.99,
                    distance_m: speed.map(|v| v * length_s),
                    mean_speed_mps: speed,
                    mean_cadence_spm: cadence,
                    mean_heart_rate_bpm: None,
                }
            })
            .collect();
        let time_s: Vec<f64> = (0..=at as usize).map(|s| s as f64).collect();
        let value = |of: fn(&Bout) -> Option<f64>| -> Vec<Option<f64>> {
            let on = |t: &f64| bouts.iter().find(|b| *t < b.end_s).or(bouts.last()).and_then(of);
            time_s.iter().map(on).collect()
        };
        let speed_mps = value(|b| b.mean_speed_mps);
        let distance_m = speed_mps
            .iter()
            .scan(0.0, |sum, v| {
                *sum += v.unwrap_or(0.0);
                Some(Some(*sum))
            })
            .collect();
        let columns = Columns {
            cadence_spm: value(|b| b.mean_cadence_spm),
            distance_m,
            speed_mps,
            speed_source: SpeedSource::Recorder,
            ..Columns::without_readings(start.parse().unwrap(), time_s)
        };
        let series = Series::new(columns).unwrap();
        let segmentation = Segmentation::new(bouts).unwrap();
        Recorded {
            name: name.into(),
            content: name.into(),
            channels: 2,
            series,
            segmentation,
            notices: vec![],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::testing::recorded;
    use super::*;

    fn kept(recordings: Vec<Recorded>) -> (Vec<String>, Vec<LeftOut>) {
        let mut left_out = Vec::new();
        let kept = without_duplicates(recordings, 60.0, &mut left_out);
        (kept.into_iter().map(|r| r.name).collect(), left_out)
    }

    #[test]
    fn the_richer_of_two_recordings_of_one_session_is_kept_and_said() {
        let poor = Recorded { channels: 1, ..recorded("a.gpx", "2026-03-02T07:10:30Z", "w300 r60") };
        let rich = recorded("b.fit", "2026-03-02T07:10:00Z", "w300 r60");
        let next = recorded("c.fit", "2026-03-04T07:10:00Z", "w300 r60");
        let (names, left_out) = kept(vec![poor, next, rich]);
        assert_eq!(names, ["b.fit", "c.fit"]);
        assert_eq!((left_out[0].name.as_str(), left_out[0].code), ("a.gpx", LeftOutCode::Duplicate));
        assert!(left_out[0].text.contains("b.fit") && left_out[0].text.contains("2 kinds"), "{left_out:?}");
    }

    #[test]
    fn touching_recordings_are_two_and_a_copied_file_is_one() {
        let first = recorded("a", "2026-03-02T07:00:00Z", "w300 r60");
        let touching = recorded("b", "2026-03-02T07:05:30Z", "w300 r60");
        assert_eq!(kept(vec![first.clone(), touching]).0, ["a", "b"]);
        let copy = Recorded { name: "copy".into(), ..first.clone() };
        let (names, left_out) = kept(vec![copy, first]);
        assert_eq!(names, ["a"]);
        assert!(left_out[0].text.ends_with("the same file."));
    }

    #[test]
    fn a_recorder_left_on_all_day_hides_only_what_it_is_richer_than() {
        let day = Recorded { channels: 1, ..recorded("day", "2026-03-02T07:00:00Z", "w30000") };
        let morning = recorded("morning", "2026-03-02T08:00:00Z", "w300 r60");
        let noon = recorded("noon", "2026-03-02T12:00:00Z", "w300 r60");
        assert_eq!(kept(vec![day, noon, morning]).0, ["morning", "noon"]);
    }

    #[test]
    fn totals_add_up() {
        // By hand: 300 + 120 s of walking at 110, 60 + 90 s of running at 160 steps/min and 2.5 m/s.
        let totals = Totals::of(&recorded("a", "2026-03-02T07:00:00Z", "s20 w300 r60 w120 r90").segmentation);
        assert_eq!((totals.run_s, totals.walk_s, totals.session_s), (150.0, 420.0, 570.0));
        assert_eq!((totals.run_steps, totals.walk_steps), (Some(400.0), Some(770.0)));
        assert_eq!(
            (totals.longest_run_s, totals.longest_run_m, totals.run_distance_m),
            (90.0, Some(225.0), Some(375.0))
        );
    }

    #[test]
    fn unknown_cadence_leaves_steps_unknown_unless_the_greater_part_is_known() {
        let bout = |s: f64, cadence| Bout { end_s: s, mean_cadence_spm: cadence, start_s: 0.0, ..template() };
        assert_eq!(steps([bout(60.0, Some(160.0)), bout(30.0, None)].iter()), Some(240.0));
        assert_eq!(steps([bout(60.0, None), bout(30.0, Some(160.0))].iter()), None);
        assert_eq!(steps([].iter()), Some(0.0));
    }

    fn template() -> Bout {
        recorded("a", "2026-03-02T07:00:00Z", "r60").segmentation.bouts()[0]
    }
}
