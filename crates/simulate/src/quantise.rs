//! A track as each file format can say it: the [`Recording`] that a reader gives back.
//!
//! | quantity | FIT | GPX, TCX |
//! |---|---|---|
//! | position | semicircles (180/2³¹ degrees) | 10⁻⁷ degrees |
//! | altitude | 0.2 m | 0.1 m |
//! | distance | 0.01 m | TCX 0.01 m; GPX has none |
//! | speed | 0.001 m/s | 0.001 m/s |
//! | cadence | strides: 1/min, fractional 1/128 | strides: 1/min |
//! | heart rate | 1/min | 1/min |

use jiff::Timestamp;

use super::random::{Stream, rng, uniform};
use super::recorder::{Point, Track};
use super::truth::TrueBout;
use super::{CadenceStep, Laps, Settings, SimulateError};
use jogaudit_core::gait::Gait;
use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::read::{
    Format, Guess, Lap, LapIntensity, LapTrigger, Recording, RecordingParts, Sample, Sport, TimerEvent,
};
use jogaudit_recording::units::{BeatsPerMinute, Metres, MetresPerSecond, StridesPerMinute};

/// Degrees in a semicircle of FIT.
pub(super) const SEMICIRCLE_DEG: f64 = 180.0 / 2_147_483_648.0;

/// Rounds a track to a format. The first point of a track is at 0 s and in every file but a GPX without positions.
pub(super) fn recording(
    track: &Track,
    laps: &[Lap],
    guesses: &[Guess],
    settings: &Settings,
    format: Format,
) -> Result<Recording, SimulateError> {
    let in_file = |p: &&Point| format != Format::Gpx || p.position.is_some();
    let samples = track.points.iter().filter(in_file).map(|p| sample(p, settings, format)).collect();
    let end_s = track.points.last().map_or(0.0, |p| p.second as f64);
    Recording::new(RecordingParts {
        format,
        sport: Sport::Running,
        start: Timestamp::from_second(settings.start.as_second()).unwrap_or(settings.start),
        utc_offset_s: settings.utc_offset_s.filter(|_| format == Format::Fit),
        samples,
        laps: laps_in(format, laps, track),
        timer: timer(track, end_s, format),
        guesses: if format == Format::Fit { guesses.to_vec() } else { Vec::new() },
        workout: settings.workout.clone().filter(|_| format == Format::Fit),
    })
    .map_err(|_| SimulateError::NoPositions)
}

fn sample(point: &Point, settings: &Settings, format: Format) -> Sample {
    let fit = format == Format::Fit;
    let position_step = if fit { SEMICIRCLE_DEG } else { 1e-7 };
    // FIT counts fifths of a metre from 500 m below zero.
    let altitude_m = |a: f64| if fit { to_step(a + 500.0, 0.2) - 500.0 } else { to_step(a, 0.1) };
    Sample {
        time_s: point.second as f64,
        position: point.position.and_then(|p| {
            LatLon::new(to_step(p.lat_deg(), position_step), to_step(p.lon_deg(), position_step))
        }),
        altitude: point.altitude_m.map(|a| Metres::new(altitude_m(a))),
        distance: point.distance_m.filter(|_| format != Format::Gpx).map(|d| Metres::new(to_step(d, 0.01))),
        speed: point.speed_mps.map(|v| MetresPerSecond::new(to_step(v, 0.001))),
        cadence: point.cadence_spm.map(|c| strides(c, settings.cadence_step, fit).to_steps()),
        heart_rate: point.heart_rate_bpm.map(|h| BeatsPerMinute::new(h.round().clamp(30.0, 240.0))),
        speed_by_positions: None,
    }
}

/// Strides as a recorder writes them; half strides only where the format has a place for them.
fn strides(steps_spm: f64, step: CadenceStep, fractional: bool) -> StridesPerMinute {
    let per_leg = (steps_spm / 2.0).clamp(0.0, 254.0);
    StridesPerMinute::new(match step {
        CadenceStep::HalfStride if fractional => (2.0 * per_leg).round() / 2.0,
        CadenceStep::HalfStride | CadenceStep::Stride => per_leg.round(),
    })
}

/// Rounds to a multiple of a step, divided where the step is decimal so that 1.234 comes out as the text says.
fn to_step(value: f64, step: f64) -> f64 {
    let count = (value / step).round();
    if step == SEMICIRCLE_DEG { count * step } else { count / (1.0 / step).round() }
}

/// When a lap begins, why it ends, what it is for and which step of the workout it is.
type LapStart = (f64, LapTrigger, LapIntensity, Option<u16>);

/// Laps as planned: by the whole, by step, by kilometre, or by hand. Times are whole seconds since the watch was started.
pub(super) fn laps(
    steps: &[(f64, LapIntensity, Option<u16>)],
    truth: &[TrueBout],
    track: &Track,
    settings: &Settings,
) -> Vec<Lap> {
    let end_s = track.points.last().map_or(0.0, |p| p.second as f64);
    let late = |at_s: f64| if at_s > 0.0 { (at_s + settings.lap_late_s).round() } else { at_s };
    let mut draws = rng(settings.seed, Stream::Laps);
    let mut anywhere = || uniform(&mut draws, 0.0, end_s).round();
    let mut starts: Vec<LapStart> = match settings.laps {
        Laps::Whole => vec![(0.0, LapTrigger::Time, LapIntensity::Active, None)],
        Laps::Steps => {
            steps.iter().map(|&(at, intensity, _)| (late(at), LapTrigger::Time, intensity, None)).collect()
        }
        Laps::Workout => {
            let of_step = steps.iter().filter(|(_, _, step)| step.is_some());
            of_step.map(|&(at, intensity, step)| (at, LapTrigger::Step, intensity, step)).collect()
        }
        Laps::Changes => by_hand(changes(truth).into_iter().map(late).collect(), track),
        Laps::Anywhere => by_hand(changes(truth).iter().map(|_| anywhere()).collect(), track),
        Laps::Kilometres => kilometres(track)
            .into_iter()
            .map(|at| (at, LapTrigger::Distance, LapIntensity::Active, None))
            .collect(),
    };
    // A lap that began before the watch was started is the first one's beginning.
    let late = starts.iter().rposition(|s| s.0 <= 0.0).unwrap_or(0);
    starts.drain(..late);
    starts.retain(|s| s.0 < end_s);
    if let Some(first) = starts.first_mut() {
        first.0 = 0.0;
    }
    let ends: Vec<f64> = starts.iter().skip(1).map(|s| s.0).chain([end_s]).collect();
    let last = starts.len().saturating_sub(1);
    let lap = |(i, (&(start_s, trigger, intensity, step), &end)): (usize, (&LapStart, &f64))| Lap {
        start_s,
        end_s: Some(end),
        trigger: if i == last && step.is_none() { LapTrigger::Other } else { trigger },
        intensity,
        step,
    };
    starts.iter().zip(&ends).enumerate().map(lap).collect()
}

/// Moments at which the gait changes, not counting stretches that are unknown.
fn changes(truth: &[TrueBout]) -> Vec<f64> {
    let known = |pair: &&[TrueBout]| pair.iter().all(|bout| bout.gait != Gait::Unknown);
    truth.windows(2).filter(known).map(|pair| pair[1].start_s).collect()
}

/// A first lap, and one at each press of the button; in a pause it does nothing.
fn by_hand(mut presses_s: Vec<f64>, track: &Track) -> Vec<LapStart> {
    presses_s.retain(|&at_s| !track.pauses.iter().any(|p| p.0 as f64 <= at_s && at_s <= p.1 as f64));
    presses_s.push(0.0);
    presses_s.sort_by(f64::total_cmp);
    presses_s.dedup();
    presses_s.into_iter().map(|at_s| (at_s, LapTrigger::Manual, LapIntensity::Active, None)).collect()
}

/// Seconds at which a kilometre begins.
fn kilometres(track: &Track) -> Vec<f64> {
    let mut starts = vec![0.0];
    for point in &track.points {
        if point.distance_m.is_some_and(|d| d >= 1000.0 * starts.len() as f64) {
            starts.push(point.second as f64);
        }
    }
    starts
}

/// Laps as a format has them. TCX knows no session's end as a trigger (a runner presses the button) and two
/// intensities; a lap's own time there leaves pauses out, so that one with a pause ends with its last sample.
fn laps_in(format: Format, laps: &[Lap], track: &Track) -> Vec<Lap> {
    let last_sample_s = |before_s: f64| {
        let i = track.points.partition_point(|p| (p.second as f64) < before_s);
        i.checked_sub(1).and_then(|i| track.points.get(i)).map_or(0.0, |p| p.second as f64)
    };
    let end_s = |lap: &Lap, end_s: f64| {
        let inside = |p: &&(usize, usize)| lap.start_s <= p.0 as f64 && (p.1 as f64) < end_s;
        let paused_s: usize = track.pauses.iter().filter(inside).map(|p| p.1 - p.0).sum();
        let is_last = track.points.last().is_some_and(|p| p.second as f64 == end_s);
        if paused_s == 0 || is_last { end_s } else { last_sample_s(end_s) }
    };
    let in_tcx = |lap: &Lap| Lap {
        end_s: lap.end_s.map(|end| end_s(lap, end)),
        trigger: match lap.trigger {
            LapTrigger::Other => LapTrigger::Manual,
            LapTrigger::Step => LapTrigger::Time,
            other => other,
        },
        step: None,
        intensity: match lap.intensity {
            LapIntensity::Rest => LapIntensity::Rest,
            _ => LapIntensity::Active,
        },
        ..*lap
    };
    match format {
        Format::Fit => laps.to_vec(),
        Format::Tcx => laps.iter().map(in_tcx).collect(),
        Format::Gpx => Vec::new(),
    }
}

/// FIT has events for the start and end of the timer too; in GPX and TCX a pause is a break of the track.
fn timer(track: &Track, end_s: f64, format: Format) -> Vec<TimerEvent> {
    let event = |time_s: f64, running| TimerEvent { time_s, running };
    let mut events: Vec<TimerEvent> = track
        .pauses
        .iter()
        .flat_map(|&(stop, start)| [event(stop as f64, false), event(start as f64, true)])
        .collect();
    if format == Format::Fit {
        events.insert(0, event(0.0, true));
        events.push(event(end_s, false));
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_follows_the_formats() {
        assert_eq!(to_step(1.234_4, 0.001), 1.234);
        assert_eq!(to_step(12.349, 0.2), 12.4);
        assert_eq!(to_step(0.123_456_749, 1e-7), 0.123_456_7);
        // facts of FIT: 45 degrees are 2²⁹ semicircles.
        assert_eq!(to_step(45.0, SEMICIRCLE_DEG), 45.0);
        assert!((to_step(0.3, SEMICIRCLE_DEG) - 0.3).abs() <= 0.5 * SEMICIRCLE_DEG);
    }

    #[test]
    fn cadence_is_rounded_as_strides() {
        let spm = |c, step, fit| strides(c, step, fit).to_steps().get();
        assert_eq!(spm(161.2, CadenceStep::Stride, true), 162.0);
        assert_eq!(spm(160.9, CadenceStep::Stride, true), 160.0);
        assert_eq!(spm(161.2, CadenceStep::HalfStride, true), 161.0);
        assert_eq!(spm(161.2, CadenceStep::HalfStride, false), 162.0);
        assert_eq!(spm(900.0, CadenceStep::Stride, true), 508.0);
    }
}
