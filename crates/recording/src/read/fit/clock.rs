//! Times counted from when the recorder was turned on, before its clock was set.

use crate::notice::{Notice, NoticeCode};
use crate::read::time::{MICROS_PER_S, Micros};

use super::file::FitFile;
use super::message::{FitTime, micros};

/// Times below this count from when the recorder was turned on (published profile, type `date_time`).
const FIRST_ABSOLUTE_TIME: FitTime = 0x1000_0000;

/// Corrects such times if the file says how, keeps them if there are no others, else leaves their samples out.
pub(super) fn set(file: &mut FitFile, notices: &mut Vec<Notice>) {
    let is_system = |time: Micros| time < micros(FIRST_ABSOLUTE_TIME);
    let system = file.samples.iter().filter(|sample| is_system(sample.time)).count();
    if system == 0 {
        return;
    }
    if let Some(correction_s) = file.clock_correction_s.filter(|seconds| *seconds >= FIRST_ABSOLUTE_TIME) {
        let correction = i64::from(correction_s) * MICROS_PER_S;
        let correct = |time: &mut Micros| {
            if is_system(*time) {
                *time = time.saturating_add(correction).min(micros(FitTime::MAX));
            }
        };
        file.samples.iter_mut().for_each(|sample| correct(&mut sample.time));
        file.timer.iter_mut().for_each(|(time, _)| correct(time));
        file.sessions.iter_mut().filter_map(|session| session.start.as_mut()).for_each(correct);
        for lap in &mut file.laps {
            lap.start.iter_mut().chain(&mut lap.written).for_each(correct);
        }
        let guesses = file.splits.iter_mut().chain(&mut file.activity_types);
        guesses.for_each(|guess| correct(&mut guess.start));
    } else if system == file.samples.len() {
        let text = "the recorder's clock was not set: times within the recording hold, its date does not";
        notices.push(Notice::new(NoticeCode::ClockNotSet, text));
    } else {
        file.samples.retain(|sample| !is_system(sample.time));
        let text = format!("samples from before the recorder's clock was set, left out: {system}");
        notices.push(Notice::new(NoticeCode::ClockSetLate, text));
    }
}
