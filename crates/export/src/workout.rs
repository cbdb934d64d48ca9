//! A session as a FIT workout file.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use jogaudit_core::prescription::{
    DueSession, Item, Limits, Move, Plan, Stage, WatchStep, Whole, written_pace,
};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::units::{BeatsPerMinute, MetresPerSecond};
use jogaudit_recording::workout::{StepEnd, StepTarget, Workout, WorkoutStep};
use jogaudit_recording::write::{MOST_TEXT_BYTES, TooManySteps, workout_file};
use jogaudit_report::capitalised;
use jogaudit_report::card::CardView;

/// Makes the workout file of a stage; `due` is the session that is due, where a count rises.
///
/// # Errors
/// When there are more steps than the format has numbers for.
pub fn workout(plan: &Plan, stage: &Stage, due: Option<&DueSession>) -> Result<Noted<Vec<u8>>, TooManySteps> {
    let workout = workout_of(plan, stage, due);
    let file = workout_file(&workout, created(plan, stage, due))?;
    let texts = workout.steps.iter().flat_map(|step| [&step.name, &step.notes]).chain([&workout.name]);
    let long = texts.filter(|text| text.len() > MOST_TEXT_BYTES).count();
    let notice = (long > 0).then(|| {
        let text = format!(
            "Names or notes that are longer than the {MOST_TEXT_BYTES} bytes a FIT file has room for, cut there: {long}."
        );
        Notice::new(NoticeCode::WordsCut, text)
    });
    Ok(Noted { value: file, notices: notice.into_iter().collect() })
}

/// Lays a stage out as a workout.
pub fn workout_of(plan: &Plan, stage: &Stage, due: Option<&DueSession>) -> Workout {
    let session = due.map_or(&stage.session, |due| &due.session);
    let card = CardView::new(plan, stage, None);
    let mut steps: Vec<WorkoutStep> =
        session.watch_steps().iter().map(|step| worded(step, stage, plan)).collect();
    if let Some(first) = steps.first_mut() {
        let words = std::iter::once(card.pain()).chain(card.notes.iter().cloned());
        let own = (!first.notes.is_empty()).then(|| std::mem::take(&mut first.notes));
        first.notes = own.into_iter().chain(words).collect::<Vec<_>>().join(" ");
    }
    let is_unseen = |c: char| c.is_control();
    for step in &mut steps {
        step.notes.retain(|c| !is_unseen(c));
    }
    let mut name = format!("{}: {}", stage.name, plan.title);
    name.retain(|c| !is_unseen(c));
    Workout { name, steps }
}

/// When the file says it was made: a watch may tell workouts apart by it, so each stage and number of a plan has its own second. It
/// has no place for "not known", and the clock would make two files of one session differ.
fn created(plan: &Plan, stage: &Stage, due: Option<&DueSession>) -> Timestamp {
    /// Of a plan without a first day, 2026-01-01T00:00:00Z. Our choice.
    const DAY_S: i64 = 1_767_225_600;
    /// Numbers of a rising count, at most.
    const NUMBERS: i64 = 1000;
    let day = plan.start.and_then(|start| TimeZone::UTC.to_timestamp(start.at(0, 0, 0, 0)).ok());
    let day_s = day.map_or(DAY_S, Timestamp::as_second);
    let index =
        (0..).zip(&plan.stages).find(|(_, known)| known.name == stage.name).map_or(0, |(index, _)| index);
    let number = due.map_or(0, |due| i64::from(due.repetitions));
    Timestamp::from_second(day_s + index * NUMBERS + number).unwrap_or(Timestamp::UNIX_EPOCH)
}

fn worded(step: &WatchStep, stage: &Stage, plan: &Plan) -> WorkoutStep {
    let (limits, ceiling) = (&stage.limits, pace_ceiling(step, &stage.limits));
    WorkoutStep {
        name: name(step),
        notes: notes(step, limits, ceiling),
        intensity: step.intensity,
        end: step.end,
        targets: targets(step, limits, ceiling, plan),
    }
}

/// A run's own ceiling, else the stage's.
fn pace_ceiling(step: &WatchStep, limits: &Limits) -> Option<MetresPerSecond> {
    step.ceiling.or(limits.pace_ceiling).filter(|_| step.motion == Some(Move::Run))
}

/// As the session language has it: `Run 3:00`, `Walk 5:00 or more`.
fn name(step: &WatchStep) -> String {
    match (step.motion, step.extent) {
        (Some(motion), Some(extent)) => {
            let item = Item::Interval { motion, extent, ceiling: None };
            capitalised(&item.to_string()).into_owned()
        }
        _ if step.end == StepEnd::Open => "Go on in turn, or end".to_owned(),
        _ => String::new(),
    }
}

fn notes(step: &WatchStep, limits: &Limits, ceiling: Option<MetresPerSecond>) -> String {
    let whole = |whole: &Whole| match whole {
        Whole::Times(times) => format!("{times} times are as prescribed; here {}.", times.least),
        Whole::Until(extent) => format!("In turn for {extent} in all."),
    };
    let mut notes: Vec<String> = step.wholes.iter().map(whole).collect();
    let is_timed = matches!(step.end, StepEnd::Time(_) | StepEnd::Distance(_));
    if let Some(extent) = step.extent.filter(|extent| is_timed && !extent.is_exact()) {
        notes.push(format!("{extent} is as prescribed."));
    }
    if step.motion == Some(Move::Rest) {
        notes.push("Anything but running.".to_owned());
    }
    if step.end == StepEnd::Open {
        notes.push("Press the button to go on.".to_owned());
    }
    notes.extend(ceiling.map(|ceiling| format!("No faster than {}.", written_pace(ceiling))));
    let heart_rate = limits.heart_rate_ceiling.filter(|_| step.motion.is_some());
    notes.extend(heart_rate.map(|most| format!("Heart rate never above {:.0} bpm.", most.get().floor())));
    let floor = limits.walk_cadence_floor.filter(|_| step.motion == Some(Move::Walk));
    notes.extend(floor.map(|least| format!("Briskly: at least {} steps a minute.", least.get().ceil())));
    notes.join(" ")
}

/// The pace of a run or the cadence of a walk first, the heart rate behind it. A brisk walk stays below the usual running cadence.
fn targets(
    step: &WatchStep,
    limits: &Limits,
    ceiling: Option<MetresPerSecond>,
    plan: &Plan,
) -> [Option<StepTarget>; 2] {
    let heart_rate = |most: BeatsPerMinute| StepTarget::HeartRateAtMost(most);
    let cadence = || {
        let least = limits.walk_cadence_floor?;
        Some(StepTarget::Cadence { least, most: plan.runner.usual_run_cadence })
    };
    let own = match step.motion {
        Some(Move::Run) => ceiling.map(StepTarget::SpeedAtMost),
        Some(Move::Walk) => cadence(),
        Some(Move::Rest) | None => None,
    };
    let beside = limits.heart_rate_ceiling.filter(|_| step.motion.is_some()).map(heart_rate);
    if own.is_some() { [own, beside] } else { [beside, None] }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(text: &str) -> Plan {
        Plan::parse(text).unwrap().value
    }

    const PLAN: &str = "title = 'Back'\nnote = 'You can talk.'\n[runner]\nusual_run_cadence = '168 spm'\n[limits]\n\
        pace_ceiling = '6:45 /km'\nheart_rate_ceiling = '150 bpm'\nwalk_cadence_floor = '111 spm'\n[[stage]]\nname = 'B'\n\
        session = 'walk 4:00 or more, 5 to 6 x (run 3:00 @ 7:00 /km, walk 1:30), rest 2:00'";

    #[test]
    fn each_step_has_its_words_and_limits() {
        let plan = plan(PLAN);
        let workout = workout_of(&plan, &plan.stages[0], None);
        assert_eq!(workout.name, "B: Back");
        let words: Vec<(&str, &str)> =
            workout.steps.iter().map(|step| (step.name.as_str(), step.notes.as_str())).collect();
        let brisk = "Heart rate never above 150 bpm. Briskly: at least 111 steps a minute.";
        assert_eq!(
            words,
            [
                (
                    "Walk 4:00 or more",
                    format!("Press the button to go on. {brisk} Any pain: stop running. You can talk.")
                        .as_str()
                ),
                (
                    "Run 3:00",
                    "5 to 6 times are as prescribed; here 5. No faster than 7:00 /km. Heart rate never above 150 bpm."
                ),
                ("Walk 1:30", brisk),
                ("", ""),
                (
                    "Rest 2:00",
                    "Anything but running. Press the button to go on. Heart rate never above 150 bpm."
                ),
            ]
        );
        let targets = |at: usize| workout.steps[at].targets;
        let most = Some(StepTarget::HeartRateAtMost(BeatsPerMinute::new(150.0)));
        let own = MetresPerSecond::from_pace_s_per_km(420.0);
        assert_eq!(targets(1), [Some(StepTarget::SpeedAtMost(own)), most]);
        assert!(
            matches!(targets(2), [Some(StepTarget::Cadence { most: Some(_), .. }), second] if second == most)
        );
        assert_eq!(targets(3), [None, None]);
        assert_eq!(targets(4), [most, None]);
    }

    #[test]
    fn a_rising_count_has_the_number_that_is_due() {
        let plan =
            plan("[[stage]]\nname = 'g'\nsession = '4 rising to 7 x (run 1:30, walk 2:30)'\nsessions = 4");
        let stage = &plan.stages[0];
        let times = |due: Option<&DueSession>| workout_of(&plan, stage, due).steps[2].end;
        assert_eq!(times(None), StepEnd::Repeat { first: 0, times: 4 });
        let due = stage.session.due_after(2);
        assert_eq!(times(due.as_ref()), StepEnd::Repeat { first: 0, times: 6 });
        let file = |due: Option<&DueSession>| workout(&plan, stage, due).unwrap().value;
        assert_eq!(file(None), file(None));
    }

    #[test]
    fn what_a_field_has_no_room_for_is_cut_and_said() {
        let note = "é".repeat(150);
        let long = plan(&format!("note = '{note}'\n[[stage]]\nname = '1'\nsession = 'run 1:00'"));
        let noted = workout(&long, &long.stages[0], None).unwrap();
        assert_eq!(
            noted.notices.iter().map(|notice| notice.code).collect::<Vec<_>>(),
            [NoticeCode::WordsCut]
        );
        let read = jogaudit_recording::read::read_workout(&noted.value).unwrap();
        assert!(read.steps[0].notes.len() <= MOST_TEXT_BYTES && read.steps[0].notes.ends_with('é'));
        assert!(workout(&plan(PLAN), &plan(PLAN).stages[0], None).unwrap().notices.is_empty());
    }
}
