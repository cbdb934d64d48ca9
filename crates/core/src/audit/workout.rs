//! Whether the workout that a recording was run from was what the plan prescribes.

use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::units::{Metres, MetresPerSecond, Seconds};
use jogaudit_recording::workout::{StepEnd, StepTarget, Workout, WorkoutStep};

use super::Prescription;
use crate::prescription::{Extent, Move, Step};
use crate::range::Range;

/// Times and distances that differ by no more are the same, s and m: what rounding explains. Our choice.
const SAME_S: f64 = 1.0;
/// Likewise.
const SAME_M: f64 = 5.0;
/// A target that allows so much more than the ceiling is another: what rounding explains. Our choice.
const SAME_SHARE: f64 = 0.01;
/// Speeds of anyone, m/s, by which parts that hang on speeds are laid out. Our choice.
const RUN: MetresPerSecond = MetresPerSecond::new(2.5);
const WALK: MetresPerSecond = MetresPerSecond::new(1.5);

/// Says so when the workout is none of the ways in which the session may be done.
pub(super) fn differs(workout: &Workout, prescription: Prescription<'_>) -> Option<Notice> {
    let laid_out: Vec<StepEnd> = prescription.session.watch_steps().iter().map(|step| step.end).collect();
    let ends: Vec<StepEnd> = workout.steps.iter().map(|step| step.end).collect();
    let is_laid_out =
        ends.len() == laid_out.len() && ends.iter().zip(&laid_out).all(|(a, b)| is_same(*a, *b));
    let steps: Option<Vec<&WorkoutStep>> =
        workout.unrolled().map(|order| order.iter().filter_map(|at| workout.steps.get(*at)).collect());
    let ways = prescription.session.expand().ways_at(RUN, WALK);
    let way = steps.as_ref().and_then(|steps| ways.iter().find(|way| is_way(steps, way)));
    let why = match (way, &steps) {
        (Some(way), Some(steps)) => too_fast(steps, way, prescription)?,
        _ if is_laid_out => return None,
        (_, Some(steps)) => first_difference(steps, ways.first()?),
        (_, None) => "its repeats are others".to_owned(),
    };
    let text = format!("The workout on the watch was not what the plan prescribes here: {why}.");
    Some(Notice::new(NoticeCode::WorkoutDiffers, text))
}

fn is_same(end: StepEnd, prescribed: StepEnd) -> bool {
    use StepEnd::{Distance, RepeatForDistance, RepeatForTime, Time};
    let near = |a: f64, b: f64, most: f64| (a - b).abs() <= most;
    match (end, prescribed) {
        (Time(a), Time(b)) => near(a.get(), b.get(), SAME_S),
        (Distance(a), Distance(b)) => near(a.get(), b.get(), SAME_M),
        (RepeatForTime { first: a, time: s }, RepeatForTime { first: b, time: t }) => {
            a == b && near(s.get(), t.get(), SAME_S)
        }
        (RepeatForDistance { first: a, distance: m }, RepeatForDistance { first: b, distance: n }) => {
            a == b && near(m.get(), n.get(), SAME_M)
        }
        (a, b) => a == b,
    }
}

fn is_way(steps: &[&WorkoutStep], way: &[Step]) -> bool {
    steps.len() == way.len() && steps.iter().zip(way).all(|(step, prescribed)| fits(step.end, prescribed))
}

/// Whether a step that ends so is as prescribed.
fn fits(end: StepEnd, prescribed: &Step) -> bool {
    let Range { least, most } = prescribed.extent.amounts();
    let inside = |amount: f64, slack: f64| least - slack <= amount && amount <= most + slack;
    match (end, prescribed.extent.is_time()) {
        _ if prescribed.motion == Move::Rest => true,
        (StepEnd::Time(time), true) => inside(time.get(), SAME_S),
        (StepEnd::Distance(distance), false) => inside(distance.get(), SAME_M),
        (StepEnd::Open, _) => most.is_infinite(),
        _ => false,
    }
}

/// The first run whose target allows more than its ceiling.
fn too_fast(steps: &[&WorkoutStep], way: &[Step], prescription: Prescription<'_>) -> Option<String> {
    let at = steps.iter().zip(way).position(|(step, prescribed)| {
        let ceiling = prescribed.pace_ceiling(prescription.limits);
        let target = step.targets.iter().flatten().find_map(|target| match target {
            StepTarget::SpeedAtMost(most) => Some(most.get()),
            _ => None,
        });
        ceiling.zip(target).is_some_and(|(ceiling, most)| most > ceiling.get() * (1.0 + SAME_SHARE))
    })?;
    Some(format!("its step {} lets run faster than the ceiling", at + 1))
}

fn first_difference(steps: &[&WorkoutStep], way: &[Step]) -> String {
    let differing = steps.iter().zip(way).position(|(step, prescribed)| !fits(step.end, prescribed));
    match differing {
        Some(at) => format!(
            "its step {} is {}, not {} {}",
            at + 1,
            in_words(steps[at].end),
            way[at].motion.word(),
            way[at].extent
        ),
        None => format!("it has {} steps, not {}", steps.len(), way.len()),
    }
}

fn in_words(end: StepEnd) -> String {
    match end {
        StepEnd::Time(time) => Extent::Time(Seconds::new(time.get().round())).to_string(),
        StepEnd::Distance(distance) => Extent::Distance(Metres::new(distance.get().round())).to_string(),
        StepEnd::Open => "open".to_owned(),
        _ => "ended by something else".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prescription::Plan;
    use jogaudit_recording::read::LapIntensity;

    fn plan(session: &str) -> Plan {
        let text =
            format!("[limits]\npace_ceiling = '6:45 /km'\n[[stage]]\nname = '1'\nsession = '{session}'");
        Plan::parse(&text).unwrap().value
    }

    /// The workout of a session, as it is laid out for a watch, its runs with a target.
    fn workout(session: &str, most_mps: Option<f64>) -> Workout {
        let step = |step: &crate::prescription::WatchStep| WorkoutStep {
            name: String::new(),
            notes: String::new(),
            intensity: LapIntensity::Unknown,
            end: step.end,
            targets: [most_mps.map(|most| StepTarget::SpeedAtMost(MetresPerSecond::new(most))), None],
        };
        let steps = plan(session).stages[0].session.watch_steps();
        Workout { name: String::new(), steps: steps.iter().map(step).collect() }
    }

    fn said(on_the_watch: &str, prescribed: &str) -> Option<String> {
        let plan = plan(prescribed);
        let notice = differs(&workout(on_the_watch, None), Prescription::of(&plan, &plan.stages[0]))?;
        assert_eq!(notice.code, NoticeCode::WorkoutDiffers);
        Some(notice.text.split_once("here: ").unwrap().1.to_owned())
    }

    #[test]
    fn what_was_laid_out_for_the_watch_is_what_the_plan_prescribes() {
        for session in [
            "walk 5:00, 6 x (run 1:10, walk 2:00), walk 4:00",
            "walk 4:00 or more, for 22:00 to 28:00 (run 3:00, walk 1:30)",
            "walk 5:00 or less, 5 to 6 x (run 5:00 to 6:00, rest 1:15)",
            "for 9:00 or more (run 3:00, walk 1:30), walk 2:00",
            "for 1.5 mi (run 0:50, walk 1:10)",
            "4 rising to 7 x (run 400 m, walk 200 m)",
            "for 20:00 (run 400 m, walk 200 m)",
        ] {
            assert_eq!(said(session, session), None, "{session}");
        }
        // Written otherwise, the same is done.
        assert_eq!(said("run 1:10, walk 2:00, run 1:10, walk 2:00", "2 x (run 1:10, walk 2:00)"), None);
        assert_eq!(said("6 x (run 5:30, walk 1:15)", "5 to 6 x (run 5:00 to 6:00, walk 1:15)"), None);
    }

    #[test]
    fn another_workout_is_said_by_its_first_difference() {
        let of = |on_the_watch| said(on_the_watch, "walk 5:00, 2 x (run 1:10, walk 2:00)").unwrap();
        assert_eq!(of("walk 5:00, 2 x (run 1:10, walk 1:30)"), "its step 3 is 1:30, not walk 2:00.");
        assert_eq!(of("walk 5:00, 3 x (run 1:10, walk 2:00)"), "it has 7 steps, not 5.");
        assert_eq!(of("walk 5:00, run 400 m"), "its step 2 is 400 m, not run 1:10.");
        assert_eq!(of("walk 5:00 or more, 2 x (run 1:10, walk 2:00)"), "its step 1 is open, not walk 5:00.");
        assert_eq!(of("for 1 mi (run 0:50, walk 1:10)"), "its repeats are others.");
    }

    #[test]
    fn a_target_above_the_ceiling_is_said() {
        let plan = plan("run 5:00");
        // 6:45 /km are 2.469 m/s.
        let of = |most| differs(&workout("run 5:00", Some(most)), Prescription::of(&plan, &plan.stages[0]));
        assert_eq!(of(2.469), None);
        assert!(of(2.7).unwrap().text.contains("its step 1 lets run faster"));
    }
}
