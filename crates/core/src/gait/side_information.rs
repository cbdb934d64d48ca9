//! What the runner and the recorder said beside the measurements, as bounded odds: marks of the runner and guesses of the recorder
//! are evidence, not truth.

use crate::clean::{GuessedGait, Series};
use jogaudit_recording::notice::{Notice, NoticeCode};

use super::config::side_information::{
    BEEP_LATE_S, BEEP_ODDS, BEEP_REACH_S, BEEP_SD_S, DIFFERS_S, DIFFERS_SHARE, FIRST_STATEMENTS,
    LEAST_CONFUSION, MARK_ODDS, MARK_REACH_SD, MARK_SD_S, STATEMENT_S,
};
use super::observe::{Observed, Segment};
use super::scorer::{self, Probabilities};
use super::segmentation::{Gait, Segmentation};

/// Probabilities of the recorder saying run, walk or stand, a row a gait in the same order.
type Confusion = [[f64; 3]; 3];

/// Odds at each frame of each segment.
pub(super) struct SideInformation {
    /// How much more probable a change is just before each frame; empty where nothing is marked.
    change_odds: Vec<Vec<f64>>,
    /// What is guessed at each frame, and what share of a statement that is; empty where nothing is guessed.
    guesses: Vec<Vec<Option<(GuessedGait, f64)>>>,
}

impl SideInformation {
    /// Lays marks and guesses on the grid of what is read.
    pub(super) fn of(series: &Series, observed: &Observed) -> Self {
        let frame_s = observed.frame_s;
        let mut all = Self { change_odds: Vec::new(), guesses: Vec::new() };
        for segment in &observed.segments {
            let at_s = |frame: f64| segment.start_s + frame * frame_s;
            let odds = |frame: usize| {
                let at_s = at_s(frame as f64 - 0.5);
                mark_odds(series.marks_s(), at_s) * beep_odds(series.beeps_s(), at_s)
            };
            let marks = inside(series.marks_s(), segment, |&mark_s| (mark_s, mark_s));
            let frames = if marks.is_empty() { 0 } else { segment.frames() };
            all.change_odds.push((0..frames).map(odds).collect());
            let guesses = inside(series.guesses(), segment, |guess| (guess.start_s, guess.end_s));
            let mut said = vec![None; if guesses.is_empty() { 0 } else { segment.frames() }];
            for guess in guesses {
                let share = frame_s / (guess.end_s - guess.start_s).max(STATEMENT_S);
                let frame = |at_s: f64| ((at_s - segment.start_s) / frame_s).ceil().max(0.0) as usize;
                let (from, to) = (frame(guess.start_s), frame(guess.end_s).min(said.len()));
                said.get_mut(from..to).unwrap_or_default().fill(Some((guess.gait, share)));
            }
            all.guesses.push(said);
        }
        all
    }

    /// How much more probable a change is just before each frame of a segment; empty where nothing is marked.
    pub(super) fn change_odds(&self, segment: usize) -> &[f64] {
        &self.change_odds[segment]
    }

    /// Holds what is guessed against the probabilities at each frame: a guess is one statement on each of its frames.
    pub(super) fn weigh(&self, probabilities: &mut [Vec<Probabilities>]) {
        if self.guesses.iter().all(Vec::is_empty) {
            return;
        }
        let confusion = self.confusion(probabilities);
        for (rows, said) in probabilities.iter_mut().zip(&self.guesses) {
            for (row, said) in rows.iter_mut().zip(said) {
                let Some((gait, _)) = *said else { continue };
                scorer::weigh(row, confusion.map(|says| says[gait as usize]));
            }
        }
    }

    /// How probable it is that the recorder says run, walk or stand in each gait: counted from the recording itself, from three
    /// statements on that are spread as all are. So a recorder that says the same of everything tells nothing, and one that
    /// guesses by chance next to nothing.
    fn confusion(&self, probabilities: &[Vec<Probabilities>]) -> Confusion {
        let mut counts = [[0.0; 3]; 3];
        for (rows, said) in probabilities.iter().zip(&self.guesses) {
            for (row, said) in rows.iter().zip(said) {
                let Some((gait, share)) = *said else { continue };
                counts.iter_mut().zip(row).for_each(|(count, p)| count[gait as usize] += p * share);
            }
        }
        let all: f64 = counts.as_flattened().iter().sum();
        let usual: [f64; 3] =
            std::array::from_fn(|said| counts.iter().map(|count| count[said]).sum::<f64>() / all);
        counts.map(|count| {
            let own: f64 = count.iter().sum();
            std::array::from_fn(|said| {
                let share = (count[said] + FIRST_STATEMENTS * usual[said]) / (own + FIRST_STATEMENTS);
                LEAST_CONFUSION + (1.0 - 3.0 * LEAST_CONFUSION) * share
            })
        })
    }
}

/// Those of a list in order of time that reach into a segment.
fn inside<'a, T>(list: &'a [T], segment: &Segment, times_s: impl Fn(&T) -> (f64, f64)) -> &'a [T] {
    let from = list.partition_point(|item| times_s(item).1 <= segment.start_s);
    let to = list.partition_point(|item| times_s(item).0 < segment.end_s);
    &list[from..to.max(from)]
}

/// Says so when the recorder guessed another gait than is found for a minute or more, and for a fifth of its guesses.
pub(super) fn disagreement(series: &Series, found: &Segmentation) -> Option<Notice> {
    let (mut guessed_s, mut differs_s) = (0.0, 0.0);
    for guess in series.guesses() {
        let first = found.bouts().partition_point(|bout| bout.end_s <= guess.start_s);
        for bout in found.bouts()[first..].iter().take_while(|bout| bout.start_s < guess.end_s) {
            let same = match bout.gait {
                Gait::Run => guess.gait == GuessedGait::Run,
                Gait::Walk => guess.gait == GuessedGait::Walk,
                Gait::Stand => guess.gait == GuessedGait::Stand,
                Gait::Unknown => continue,
            };
            let shared_s = bout.end_s.min(guess.end_s) - bout.start_s.max(guess.start_s);
            guessed_s += shared_s;
            differs_s += if same { 0.0 } else { shared_s };
        }
    }
    (differs_s >= DIFFERS_S && differs_s >= DIFFERS_SHARE * guessed_s).then(|| {
        let text = format!(
            "for {differs_s:.0} s the recorder itself guessed another gait than is found here: its guess counts for little"
        );
        Notice::new(NoticeCode::GuessDiffers, text)
    })
}

/// How much more probable a change of gait is at a moment for the marks around it: 1 away from all. `marks_s` is in order.
pub(super) fn mark_odds(marks_s: &[f64], at_s: f64) -> f64 {
    let next = marks_s.partition_point(|&mark_s| mark_s < at_s);
    let near = &marks_s[next.saturating_sub(1)..(next + 1).min(marks_s.len())];
    let z = near.iter().map(|mark_s| (at_s - mark_s).abs() / MARK_SD_S).fold(f64::INFINITY, f64::min);
    if z > MARK_REACH_SD { 1.0 } else { 1.0 + (MARK_ODDS - 1.0) * (-0.5 * z * z).exp() }
}

/// How much more probable a change of gait is at a moment for the beeps of the workout around it: 1 away from all. `beeps_s` is in
/// order.
pub(super) fn beep_odds(beeps_s: &[f64], at_s: f64) -> f64 {
    let z = after_beep_s(beeps_s, at_s).map_or(f64::INFINITY, |late_s| late_s / BEEP_SD_S);
    // The log falls with the square of the distance, down to none.
    (BEEP_ODDS.ln() - 0.5 * z * z).max(0.0).exp()
}

/// How much later a moment is than the usual answer to the nearest beep, s; `None` where no beep is so near that it may be one.
pub(super) fn after_beep_s(beeps_s: &[f64], at_s: f64) -> Option<f64> {
    let answered_s = at_s - BEEP_LATE_S;
    let next = beeps_s.partition_point(|&beep_s| beep_s < answered_s);
    let near = &beeps_s[next.saturating_sub(1)..(next + 1).min(beeps_s.len())];
    let late_s = near.iter().map(|beep_s| answered_s - beep_s).filter(|late_s| late_s.abs() <= BEEP_REACH_S);
    late_s.min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_bounded_and_near() {
        let marks_s = [60.0, 100.0];
        assert_eq!(mark_odds(&[], 60.0), 1.0);
        assert_eq!(mark_odds(&marks_s, 60.0), MARK_ODDS);
        assert_eq!(mark_odds(&marks_s, 80.0), 1.0);
        assert_eq!(mark_odds(&marks_s, 58.0), mark_odds(&marks_s, 62.0));
        assert_eq!(mark_odds(&marks_s, 102.0), 1.0 + 9.0 * (-0.5_f64).exp());
    }

    #[test]
    fn a_beep_is_answered_a_little_later_and_bounded() {
        let beeps_s = [60.0, 100.0];
        assert_eq!(beep_odds(&[], 60.0), 1.0);
        assert!((beep_odds(&beeps_s, 60.0 + BEEP_LATE_S) / BEEP_ODDS - 1.0).abs() < 1e-9);
        assert!(beep_odds(&beeps_s, 60.0) < beep_odds(&beeps_s, 60.5));
        assert_eq!([55.0, 66.0, 80.0].map(|at_s| beep_odds(&beeps_s, at_s)), [1.0; 3]);
    }

    /// A run, a walk and a stand of a frame each, and what is said of each.
    fn confusion(said: [GuessedGait; 3], statements: f64) -> Confusion {
        let rows = vec![[1., 0., 0.], [0., 1., 0.], [0., 0., 1.]];
        let guesses = said.map(|gait| Some((gait, statements))).to_vec();
        SideInformation { change_odds: vec![vec![]], guesses: vec![guesses] }.confusion(&[rows])
    }

    #[test]
    fn guesses_are_counted_and_bounded() {
        use GuessedGait::{Run, Stand, Walk};
        // Worked by hand: 4 statements of one kind and 1 of each of three are 5/7, 1/7, 1/7; times 0.7, and 0.1 more.
        let [running, walking, standing] = confusion([Run, Walk, Stand], 4.0);
        for (got, expected) in running.iter().zip([0.6, 0.2, 0.2]) {
            assert!((got - expected).abs() < 1e-12);
        }
        assert_eq!((walking[1], standing[2]), (running[0], running[0]));
        let often = confusion([Run, Walk, Stand], 1e9)[0];
        assert!((often[0] / often[1] - 8.0).abs() < 1e-6, "never more than 8 to 1");
    }

    #[test]
    fn what_is_said_of_everything_says_nothing() {
        let said = vec![Some((GuessedGait::Run, 1.0)); 3];
        let side = SideInformation { change_odds: vec![vec![]], guesses: vec![said] };
        let rows = vec![[0.6, 0.3, 0.1], [0.2, 0.7, 0.1], [0.1, 0.1, 0.8]];
        let mut weighed = vec![rows.clone()];
        side.weigh(&mut weighed);
        for (row, weighed) in rows.iter().flatten().zip(weighed.iter().flatten().flatten()) {
            assert!((row - weighed).abs() < 1e-12, "{row} {weighed}");
        }
    }
}
