//! FIT → recordings: one for each session of each file in a chain.
//!
//! Decodes only what the pipeline uses, message by message, and keeps everything whole before a cut and around damage.
//! By hand, since the crate `fitparser` takes 35 to 60 times as long and refuses a whole file for one bad message
//! (docs/formats.md, "Speed").

mod clock;
mod file;
mod message;
mod profile;
mod wire;

use crate::notice::{Noted, Notice, NoticeCode, Place};

use super::builder::{Builders, RawGuess, RawLap, RecordingBuilder};
use super::time::Micros;
use super::{Format, GuessSource, MOST_FIT_PARTS, ReadError, ReadErrorKind, Recording, Sport, sport};
use crate::units::StridesPerMinute;
use crate::workout::Workout;
use file::{DecodeBudget, Ending, FitFile, read_fit_file};
pub use message::APPLICATION_ID;
use message::{FitLap, FitSession};
pub(crate) use wire::checksum;
pub(super) use wire::is_header;

/// Profile enum `file`: a planned course.
const COURSE: u8 = 6;

/// A FIT session under construction.
type Activity = RecordingBuilder<StridesPerMinute>;

pub(super) fn read(chain: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut notices = Vec::new();
    let mut files = Vec::new();
    let mut at = 0;
    let mut budget = DecodeBudget::new(chain);
    while files.len() < MOST_FIT_PARTS
        && let Some((file, next)) = read_fit_file(chain, at, &mut budget)
    {
        file_notices(&file, &mut notices);
        files.push(file);
        at = next;
    }
    notices.extend(trailing_bytes(chain, at));
    if files.is_empty() {
        return Err(ReadError::new(Format::Fit, ReadErrorKind::CutBeforeFirstSample).at(byte(chain.len())));
    }
    let fault = without_samples(&files);
    let recorded = files.into_iter().filter(|file| file.file_type != Some(COURSE));
    let activities: Vec<Activity> = recorded.flat_map(|file| activities(file, &mut notices)).collect();
    let recordings = Builders::from(activities).finish(Format::Fit, StridesPerMinute::to_steps, &mut notices);
    if recordings.is_empty() { Err(fault) } else { Ok(Noted { value: recordings, notices }) }
}

/// Reads the workout that the first FIT file of a chain holds.
pub(super) fn read_workout(chain: &[u8]) -> Option<Workout> {
    read_fit_file(chain, 0, &mut DecodeBudget::new(chain))?.0.workout
}

fn byte(at: usize) -> Place {
    Place { byte: Some(at as u64), ..Place::default() }
}

/// What to say if not one sample comes out.
fn without_samples(files: &[FitFile]) -> ReadError {
    let without_time: u64 = files.iter().map(|file| file.without_time.count).sum();
    let cut = files.iter().find_map(|file| match file.ending {
        Ending::Cut(at) => Some(at),
        _ => None,
    });
    let content = files.iter().find_map(|file| file.file_type).and_then(foreign_content);
    let error = |kind| ReadError::new(Format::Fit, kind);
    match (content, cut) {
        (Some(content), _) => error(ReadErrorKind::NotARecording { content }),
        _ if without_time > 0 => error(ReadErrorKind::RecordsWithoutTimes { records: without_time }),
        (None, Some(at)) => error(ReadErrorKind::CutBeforeFirstSample).at(byte(at)),
        (None, None) => error(ReadErrorKind::NoSamples),
    }
}

/// Names what a file of another type than activity (4) holds. Numbers of the profile enum `file`, from memory but for
/// 4 and 5.
fn foreign_content(file_type: u8) -> Option<&'static str> {
    match file_type {
        4 => None,
        1 => Some("device capabilities"),
        2 => Some("settings"),
        3 => Some("sport settings"),
        5 => Some("a workout to follow"),
        COURSE => Some("a course to follow"),
        7 => Some("schedules"),
        9 => Some("body weights"),
        10 => Some("totals"),
        11 => Some("goals"),
        14 => Some("blood pressures"),
        15 | 28 | 32 => Some("all-day monitoring"),
        20 => Some("a summary of activities"),
        34 => Some("segments of courses"),
        _ => Some("something else"),
    }
}

fn file_notices(file: &FitFile, notices: &mut Vec<Notice>) {
    let samples = file.samples.len() as u64;
    let damaged_bytes = file.damaged_bytes;
    notices.extend(file.damage.notice(NoticeCode::FitDamaged, byte, |n| {
        format!(
            "bytes that cannot be decoded, skipped: {damaged_bytes} in {n} places; all around them is read"
        )
    }));
    notices.extend(file.too_many_at.map(|at| {
        let text =
            format!("more than {} samples in one file: the rest is left out", DecodeBudget::MOST_SAMPLES);
        Notice::new(NoticeCode::TooManySamples, text).at(byte(at))
    }));
    notices.extend(file.odd_fields.notice(NoticeCode::FieldSizeOdd, byte, |n| {
        format!("definitions with a field whose size does not fit its type: {n}; such fields are left out")
    }));
    notices
        .extend(file.without_time.notice(NoticeCode::PointsWithoutTime, byte, |n| {
            format!("records without a time, skipped: {n}")
        }));
    notices.extend(match file.ending {
        Ending::Whole => None,
        Ending::ChecksumWrong => Some(Notice::new(
            NoticeCode::ChecksumWrong,
            "the file's checksum does not fit its content: everything was read, but some values may be damaged",
        )),
        Ending::SizeWrong => Some(Notice::new(
            NoticeCode::SizeWrong,
            "the size in the file's header is wrong (the recorder did not finish the file): read to its real end",
        )),
        Ending::Cut(at) => {
            let text = format!("the file ends in the middle: the {samples} records whole before the cut are read");
            Some(Notice::new(NoticeCode::RecordingCut, text).at(Place { record: Some(samples), ..byte(at) }))
        }
    });
}

fn trailing_bytes(chain: &[u8], at: usize) -> Option<Notice> {
    let rest = chain.get(at..).filter(|rest| at > 0 && !rest.is_empty())?;
    let text = format!("{} bytes behind the end of the recording are not FIT: left out", rest.len());
    Some(Notice::new(NoticeCode::TrailingBytes, text).at(byte(at)))
}

/// Turns a file into one activity a session; without a session, into one activity.
fn activities(mut file: FitFile, notices: &mut Vec<Notice>) -> Vec<Activity> {
    if file.samples.is_empty() && file.file_type.is_some_and(|file_type| foreign_content(file_type).is_some())
    {
        return vec![Activity::new(Sport::Unspecified)];
    }
    clock::set(&mut file, notices);
    let sessions = sessions(&file);
    let mut activities: Vec<Activity> =
        sessions.iter().map(|session| Activity::new(session_sport(session, &file))).collect();
    let (offset_s, workout) = (file.utc_offset_s, file.workout.take());
    share_out(file, &sessions, &mut activities);
    for activity in &mut activities {
        activity.utc_offset_s = offset_s;
        drop_constant_guess(activity);
    }
    // Of several sessions it is that of the first whose laps are its steps.
    let of_steps = activities.iter().position(|activity| activity.laps.iter().any(|lap| lap.step.is_some()));
    if let Some(activity) = activities.get_mut(of_steps.unwrap_or(0)) {
        activity.workout = workout;
    }
    activities
}

/// Sessions with a start, in order of time, at least one.
fn sessions(file: &FitFile) -> Vec<FitSession> {
    let mut sessions: Vec<FitSession> =
        file.sessions.iter().copied().filter(|session| session.start.is_some()).collect();
    sessions.sort_by_key(|session| session.start);
    sessions.dedup_by_key(|session| session.start);
    sessions.truncate(MOST_FIT_PARTS);
    if sessions.is_empty() {
        sessions.push(file.sessions.first().copied().unwrap_or_default());
    }
    sessions
}

/// Gives every sample, lap, timer event and guess to its session: a moment belongs to the last that has begun, one before
/// all sessions to the first. `activities[i]` is that of `sessions[i]`.
fn share_out(file: FitFile, sessions: &[FitSession], activities: &mut [Activity]) {
    let session_of =
        |time: Micros| sessions.partition_point(|session| session.start <= Some(time)).saturating_sub(1);
    if let [only] = activities {
        only.samples = file.samples;
    } else {
        for sample in file.samples {
            if let Some(activity) = activities.get_mut(session_of(sample.time)) {
                activity.push(sample.time, sample.values);
            }
        }
    }
    for lap in file.laps {
        let Some(start) = lap.start.or(lap.written) else { continue };
        let end = lap.elapsed.map(|elapsed| start + elapsed).or(lap.written);
        if let Some(activity) = activities.get_mut(session_of(start)) {
            let FitLap { trigger, intensity, step, .. } = lap;
            activity.laps.push(RawLap { start, end, trigger, intensity, step });
        }
    }
    for (time, running) in file.timer {
        if let Some(activity) = activities.get_mut(session_of(time)) {
            activity.timer.push((time, running));
        }
    }
    let by_splits = file.splits.into_iter().map(|guess| (guess, GuessSource::Split));
    let by_records = file.activity_types.into_iter().map(|guess| (guess, GuessSource::Samples));
    for (guess, source) in by_splits.chain(by_records).filter(|(guess, _)| guess.length > 0) {
        if let Some(activity) = activities.get_mut(session_of(guess.start)) {
            let end = guess.start + guess.length;
            activity.guesses.push(RawGuess { start: guess.start, end, gait: guess.gait, source });
        }
    }
}

/// Records that name one gait from beginning to end repeat the sport that was chosen before the start: no guess.
fn drop_constant_guess(activity: &mut Activity) {
    let mut named = activity.guesses.iter().filter(|guess| guess.source == GuessSource::Samples);
    let first = named.next().map(|guess| guess.gait);
    if named.all(|guess| Some(guess.gait) == first) {
        activity.guesses.retain(|guess| guess.source != GuessSource::Samples);
    }
}

/// The session's sport; in a file cut before it, that of an earlier message.
fn session_sport(session: &FitSession, file: &FitFile) -> Sport {
    let by_session = session.sport.map(|number| (number, session.sub_sport));
    let by_lap = || file.laps.iter().find_map(|lap| lap.sport).map(|number| (number, None));
    let told = by_session.or(file.sport).or_else(by_lap);
    told.map_or(Sport::Unspecified, |(number, sub_sport)| sport::from_fit(number, sub_sport))
}
