//! What the runner and the recorder said beside the measurements, put in order: marks and guesses.

use jogaudit_recording::read::{Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording};
use jogaudit_recording::workout::StepEnd;

use super::config::side_information::CLOSEST_S;

/// Moments between two laps that the runner or a step of a workout marked: by the button, by a step's end, or because the
/// laps were meant for different things. Laps by time or distance alone come whatever the runner does.
pub(super) fn marks(laps: &[Lap], elapsed_s: f64) -> Vec<f64> {
    let is_meant = |before: &Lap, after: &Lap| {
        let known = before.intensity != LapIntensity::Unknown && after.intensity != LapIntensity::Unknown;
        matches!(before.trigger, LapTrigger::Manual | LapTrigger::Step)
            || known && before.intensity != after.intensity
    };
    apart(&between(laps, is_meant, elapsed_s))
}

/// Moments at which the recorder said that a step of its workout was over: by time or distance, not by the button.
pub(super) fn beeps(recording: &Recording, elapsed_s: f64) -> Vec<f64> {
    let Some(workout) = recording.workout() else { return Vec::new() };
    let ends_itself = |lap: &Lap| {
        let step = lap.step.and_then(|step| workout.steps.get(usize::from(step)));
        step.is_some_and(|step| matches!(step.end, StepEnd::Time(_) | StepEnd::Distance(_)))
    };
    let is_other = |before: &Lap, after: &Lap| ends_itself(before) && before.step != after.step;
    apart(&between(recording.laps(), is_other, elapsed_s))
}

/// Moments inside the recording at which one lap ends and another begins, of those pairs.
fn between(laps: &[Lap], is_wanted: impl Fn(&Lap, &Lap) -> bool, elapsed_s: f64) -> Vec<f64> {
    let mut laps: Vec<&Lap> = laps.iter().filter(|lap| lap.start_s.is_finite()).collect();
    laps.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let pairs = laps.windows(2).filter(|pair| is_wanted(pair[0], pair[1]));
    pairs.map(|pair| pair[1].start_s).filter(|&at_s| 0.0 < at_s && at_s < elapsed_s).collect()
}

/// Those that no other is near.
fn apart(marks: &[f64]) -> Vec<f64> {
    let is_near = |i: usize, j: Option<usize>| {
        j.and_then(|j| marks.get(j)).is_some_and(|other| (other - marks[i]).abs() < CLOSEST_S)
    };
    (0..marks.len())
        .filter(|&i| !is_near(i, i.checked_sub(1)) && !is_near(i, Some(i + 1)))
        .map(|i| marks[i])
        .collect()
}

/// Guesses cut to the recording, in order, without what is said twice or contradicted by another. Messages about whole
/// times go before samples.
pub(super) fn guesses(said: &[Guess], elapsed_s: f64) -> Vec<Guess> {
    let has_splits = said.iter().any(|guess| guess.source == GuessSource::Split);
    let source = if has_splits { GuessSource::Split } else { GuessSource::Samples };
    // When, whose, and by how much the number of guesses that hold rises.
    let mut edges: Vec<(f64, GuessedGait, i32)> = Vec::new();
    for guess in said.iter().filter(|guess| guess.source == source) {
        let (start_s, end_s) = (guess.start_s.max(0.0), guess.end_s.min(elapsed_s));
        if start_s < end_s {
            edges.extend([(start_s, guess.gait, 1), (end_s, guess.gait, -1)]);
        }
    }
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut holding = [0; 3];
    let mut out: Vec<Guess> = Vec::new();
    let mut since_s = 0.0;
    for (at_s, gait, rise) in edges {
        if since_s < at_s
            && let Some(gait) = alone(holding)
        {
            match out.last_mut().filter(|last| last.end_s == since_s && last.gait == gait) {
                Some(last) => last.end_s = at_s,
                None => out.push(Guess { start_s: since_s, end_s: at_s, gait, source }),
            }
        }
        since_s = at_s;
        holding[gait as usize] += rise;
    }
    out
}

/// The gait that guesses agree on where some hold.
fn alone(holding: [i32; 3]) -> Option<GuessedGait> {
    match holding.map(|guesses| guesses > 0) {
        [true, false, false] => Some(GuessedGait::Run),
        [false, true, false] => Some(GuessedGait::Walk),
        [false, false, true] => Some(GuessedGait::Stand),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use GuessedGait::{Run, Stand, Walk};

    const NONE: [f64; 0] = [];

    fn lap(start_s: f64, trigger: LapTrigger, intensity: LapIntensity) -> Lap {
        Lap { start_s, end_s: None, trigger, intensity, step: None }
    }

    fn guess(start_s: f64, end_s: f64, gait: GuessedGait) -> Guess {
        Guess { start_s, end_s, gait, source: GuessSource::Split }
    }

    fn told(said: &[Guess]) -> Vec<(f64, f64, GuessedGait)> {
        guesses(said, 100.0).iter().map(|g| (g.start_s, g.end_s, g.gait)).collect()
    }

    #[test]
    fn only_laps_that_someone_meant_are_marks() {
        use LapIntensity::{Active, Rest, Unknown};
        use LapTrigger::{Distance, Manual, Other, Step, Time};
        let at = |laps: &[Lap]| marks(laps, 500.0);
        assert_eq!(at(&[lap(0.0, Manual, Active), lap(60.0, Other, Active)]), [60.0]);
        assert_eq!(at(&[lap(0.0, Step, Unknown), lap(60.0, Other, Unknown)]), [60.0]);
        assert_eq!(at(&[lap(0.0, Time, Active), lap(60.0, Other, Rest)]), [60.0]);
        assert_eq!(at(&[lap(0.0, Time, Active), lap(60.0, Other, Active)]), NONE);
        assert_eq!(at(&[lap(0.0, Time, Unknown), lap(60.0, Other, Rest)]), NONE);
        assert_eq!(at(&[lap(0.0, Distance, Active), lap(300.0, Other, Active)]), NONE);
        assert_eq!(
            at(&[lap(0.0, Manual, Active)]),
            NONE,
            "the end of the last lap is the end of the session"
        );
        let outside = [lap(f64::NAN, Manual, Active), lap(-60.0, Manual, Active), lap(-9.0, Manual, Active)];
        assert_eq!(at(&outside), NONE);
        let late = [lap(600.0, Manual, Active), lap(0.0, Manual, Active), lap(60.0, Manual, Active)];
        assert_eq!(at(&late), [60.0], "in order of time, inside the recording");
    }

    #[test]
    fn a_button_pressed_again_and_again_marks_nothing() {
        let press = |at_s| lap(at_s, LapTrigger::Manual, LapIntensity::Active);
        let each_second: Vec<Lap> = (0..400).map(|s| press(f64::from(s))).collect();
        assert_eq!(marks(&each_second, 500.0), NONE);
        let some = [0.0, 60.0, 62.0, 120.0, 131.0].map(press);
        assert_eq!(marks(&some, 500.0), [120.0, 131.0]);
    }

    #[test]
    fn guesses_come_in_order_and_contradictions_say_nothing() {
        assert_eq!(told(&[]), []);
        assert_eq!(
            told(&[guess(60.0, 90.0, Walk), guess(0.0, 60.0, Run)]),
            [(0.0, 60.0, Run), (60.0, 90.0, Walk)]
        );
        assert_eq!(
            told(&[guess(0.0, 50.0, Run), guess(40.0, 80.0, Walk), guess(60.0, 90.0, Walk)]),
            [(0.0, 40.0, Run), (50.0, 90.0, Walk)]
        );
        assert_eq!(told(&[guess(0.0, 50.0, Run), guess(0.0, 50.0, Stand)]), []);
        assert_eq!(told(&[guess(20.0, 20.0, Run), guess(50.0, 40.0, Run)]), []);
        assert_eq!(told(&[guess(-1e9, 1e18, Walk)]), [(0.0, 100.0, Walk)]);
        assert_eq!(told(&[guess(f64::NAN, 50.0, Walk), guess(200.0, 300.0, Walk)]), [(0.0, 50.0, Walk)]);
    }

    #[test]
    fn times_told_as_a_whole_go_before_samples() {
        let sample = Guess { source: GuessSource::Samples, ..guess(0.0, 90.0, Walk) };
        assert_eq!(told(&[sample, guess(10.0, 20.0, Run)]), [(10.0, 20.0, Run)]);
        assert_eq!(told(&[sample]), [(0.0, 90.0, Walk)]);
    }
}
