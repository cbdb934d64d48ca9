//! FIT → recordings: one for each session of each file in a chain.
//!
//! Decodes only what the pipeline uses, message by message, and keeps everything whole before a cut and around damage.

mod message;
mod part;
mod wire;

use crate::notice::{Noted, Notice, NoticeCode, Place};

use super::draft::{Draft, DraftGuess, DraftLap, finish_all};
use super::time::{MICROS_PER_S, Micros};
use super::{Format, GuessSource, ReadError, ReadErrorKind, Recording, Sport, sport};
use message::{FitSession, FitTime};
use part::{Budget, Ending, Part, read_part};

/// FIT's epoch, 1989-12-31T00:00:00Z, in seconds from 1970.
const EPOCH_S: i64 = 631_065_600;
/// Times below this count from when the recorder was turned on.
const FIRST_ABSOLUTE_TIME: FitTime = 0x1000_0000;
/// Profile enum `file`: a planned course.
const COURSE: u8 = 6;
/// Files in a chain and sessions in a file that are told apart; real ones have a handful.
const MOST_PARTS: usize = 1000;

/// Whether bytes begin like a FIT file.
pub(super) fn is_header(bytes: &[u8]) -> bool {
    bytes.get(8..12) == Some(b".FIT") && bytes.first().is_some_and(|size| (12..64).contains(size))
}

pub(super) fn read(file: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut notices = Vec::new();
    let mut parts = Vec::new();
    let mut at = 0;
    let mut budget = Budget::new(file);
    while parts.len() < MOST_PARTS
        && let Some((part, next)) = read_part(file, at, &mut budget)
    {
        part_notices(&part, &mut notices);
        parts.push(part);
        at = next;
    }
    notices.extend(trailing_bytes(file, at));
    if parts.is_empty() {
        return Err(ReadError::new(Format::Fit, ReadErrorKind::CutBeforeFirstSample).at(byte(file.len())));
    }
    let fault = without_samples(&parts);
    let recorded = parts.into_iter().filter(|part| part.file_type != Some(COURSE));
    let drafts = recorded.flat_map(|part| drafts(part, &mut notices)).collect();
    let recordings = finish_all(drafts, 0, Format::Fit, &mut notices);
    if recordings.is_empty() { Err(fault) } else { Ok(Noted { value: recordings, notices }) }
}

fn byte(at: usize) -> Place {
    Place { byte: Some(at as u64), ..Place::default() }
}

/// What to say if not one sample comes out.
fn without_samples(parts: &[Part]) -> ReadError {
    let without_time: u64 = parts.iter().map(|part| part.without_time.count).sum();
    let cut = parts.iter().find_map(|part| match part.ending {
        Ending::Cut(at) => Some(at),
        _ => None,
    });
    let content = parts.iter().find_map(|part| part.file_type).and_then(foreign_content);
    let error = |kind| ReadError::new(Format::Fit, kind);
    match (content, cut) {
        (Some(content), _) => error(ReadErrorKind::NotARecording { content }),
        _ if without_time > 0 => error(ReadErrorKind::NoTimes { points: without_time }),
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

fn part_notices(part: &Part, notices: &mut Vec<Notice>) {
    let samples = part.samples.len() as u64;
    let damaged_bytes = part.damaged_bytes;
    notices.extend(part.damage.notice(NoticeCode::FitDamaged, byte, |n| {
        format!(
            "bytes that cannot be decoded, skipped: {damaged_bytes} in {n} places; all around them is read"
        )
    }));
    notices.extend(part.too_many_at.map(|at| {
        let text = format!("more than {} samples in one file: the rest is left out", Budget::MOST_SAMPLES);
        Notice::new(NoticeCode::TooManySamples, text).at(byte(at))
    }));
    notices.extend(part.odd_fields.notice(NoticeCode::FieldSizeOdd, byte, |n| {
        format!("definitions with a field whose size does not fit its type: {n}; such fields are left out")
    }));
    notices
        .extend(part.without_time.notice(NoticeCode::PointsWithoutTime, byte, |n| {
            format!("records without a time, skipped: {n}")
        }));
    notices.extend(match part.ending {
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

fn trailing_bytes(file: &[u8], at: usize) -> Option<Notice> {
    let rest = file.get(at..).filter(|rest| at > 0 && !rest.is_empty())?;
    let text = format!("{} bytes behind the end of the recording are not FIT: left out", rest.len());
    Some(Notice::new(NoticeCode::TrailingBytes, text).at(byte(at)))
}

/// Turns a part into one draft a session; without a session, into one draft.
fn drafts(mut part: Part, notices: &mut Vec<Notice>) -> Vec<Draft> {
    if part.samples.is_empty() && part.file_type.is_some_and(|file_type| foreign_content(file_type).is_some())
    {
        return vec![Draft::new(Sport::Unspecified)];
    }
    set_clock(&mut part, notices);
    let mut sessions: Vec<FitSession> =
        part.sessions.iter().copied().filter(|session| session.start.is_some()).collect();
    sessions.sort_by_key(|session| session.start);
    sessions.dedup_by_key(|session| session.start);
    sessions.truncate(MOST_PARTS);
    if sessions.is_empty() {
        sessions.push(part.sessions.first().copied().unwrap_or_default());
    }
    let mut drafts: Vec<Draft> =
        sessions.iter().map(|session| Draft::new(session_sport(session, &part))).collect();
    // A moment belongs to the last session that has begun, one before all sessions to the first.
    let session_of =
        |time: FitTime| sessions.partition_point(|session| session.start <= Some(time)).saturating_sub(1);
    match drafts.as_mut_slice() {
        [only] => {
            only.times = part.times.into_iter().map(micros).collect();
            only.samples = part.samples;
        }
        _ => {
            for (time, sample) in part.times.into_iter().zip(part.samples) {
                if let Some(draft) = drafts.get_mut(session_of(time)) {
                    draft.push(micros(time), sample);
                }
            }
        }
    }
    for (lap, written_at) in part.laps {
        let Some(start) = lap.start.or(written_at) else { continue };
        let end = match lap.elapsed_s {
            Some(elapsed_s) => Some(micros(start) + (elapsed_s * MICROS_PER_S as f64).round() as Micros),
            None => written_at.map(micros),
        };
        if let Some(draft) = drafts.get_mut(session_of(start)) {
            draft.laps.push(DraftLap {
                start: micros(start),
                end,
                trigger: lap.trigger,
                intensity: lap.intensity,
            });
        }
    }
    for (time, running) in part.timer {
        if let Some(draft) = drafts.get_mut(session_of(time)) {
            draft.timer.push((micros(time), running));
        }
    }
    let splits = part.splits.into_iter().map(|guess| (guess, GuessSource::Split));
    let activities = part.activities.into_iter().map(|guess| (guess, GuessSource::Samples));
    for (guess, source) in splits.chain(activities).filter(|(guess, _)| guess.length_s > 0.0) {
        let (start, length) = (micros(guess.start), (guess.length_s * MICROS_PER_S as f64).round() as Micros);
        if let Some(draft) = drafts.get_mut(session_of(guess.start)) {
            draft.guesses.push(DraftGuess { start, end: start + length, gait: guess.gait, source });
        }
    }
    for draft in &mut drafts {
        draft.utc_offset_s = part.utc_offset_s;
        without_echo(draft);
    }
    drafts
}

/// Records that name one gait from beginning to end repeat the sport that was chosen before the start: no guess.
fn without_echo(draft: &mut Draft) {
    let mut named = draft.guesses.iter().filter(|guess| guess.source == GuessSource::Samples);
    let first = named.next().map(|guess| guess.gait);
    if named.all(|guess| Some(guess.gait) == first) {
        draft.guesses.retain(|guess| guess.source != GuessSource::Samples);
    }
}

fn micros(time: FitTime) -> Micros {
    (i64::from(time) + EPOCH_S) * MICROS_PER_S
}

/// The session's sport; in a file cut before it, that of an earlier message.
fn session_sport(session: &FitSession, part: &Part) -> Sport {
    let by_session = session.sport.map(|number| (number, session.sub_sport));
    let by_lap = || part.laps.iter().find_map(|(lap, _)| lap.sport).map(|number| (number, None));
    let told = by_session.or(part.sport).or_else(by_lap);
    told.map_or(Sport::Unspecified, |(number, sub_sport)| sport::from_fit(number, sub_sport))
}

/// Deals with times counted from when the recorder was turned on: corrects them if the file says how, keeps them if
/// there are no others, else leaves their samples out.
fn set_clock(part: &mut Part, notices: &mut Vec<Notice>) {
    let is_system = |time: FitTime| time < FIRST_ABSOLUTE_TIME;
    let system = part.times.iter().filter(|time| is_system(**time)).count();
    if system == 0 {
        return;
    }
    if let Some(correction_s) = part.clock_correction_s.filter(|correction_s| !is_system(*correction_s)) {
        let correct = |time: &mut FitTime| {
            if is_system(*time) {
                *time = time.saturating_add(correction_s);
            }
        };
        part.times.iter_mut().for_each(correct);
        part.timer.iter_mut().for_each(|(time, _)| correct(time));
        part.sessions.iter_mut().filter_map(|session| session.start.as_mut()).for_each(correct);
        for (lap, written_at) in &mut part.laps {
            lap.start.iter_mut().chain(written_at).for_each(correct);
        }
        part.splits.iter_mut().chain(&mut part.activities).for_each(|guess| correct(&mut guess.start));
    } else if system == part.samples.len() {
        let text = "the recorder's clock was not set: times within the recording hold, its date does not";
        notices.push(Notice::new(NoticeCode::ClockNotSet, text));
    } else {
        let mut times = part.times.iter();
        part.samples.retain(|_| times.next().is_some_and(|time| !is_system(*time)));
        part.times.retain(|time| !is_system(*time));
        let text = format!("samples from before the recorder's clock was set, left out: {system}");
        notices.push(Notice::new(NoticeCode::ClockSetLate, text));
    }
}
