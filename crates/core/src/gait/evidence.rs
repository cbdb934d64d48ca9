//! What the runner and the recorder said beside the measurements, as bounded odds: evidence, not truth.

use crate::clean::{GuessedGait, Series};
use jogaudit_recording::notice::{Notice, NoticeCode};

use super::decode::Posterior;
use super::observe::{Observed, Stretch};
use super::{Gait, Segmentation};

/// A guess is one statement, however long: its odds are spread over its time, and over no less than this, s. Our choice.
const STATEMENT_S: f64 = 20.0;
/// Least probability of any guess in any gait, so that no statement weighs more than 8 to 1. Our choice.
const LEAST: f64 = 0.1;
/// By how much a mark makes a change of gait more probable at its own moment, and how far around, s: about that of a change
/// that is marked in one case of two, within a couple of seconds. Our choice.
const MARK_ODDS: f64 = 10.0;
const MARK_SD_S: f64 = 2.0;

/// Odds at each tick of each stretch.
pub(super) struct Evidence {
    /// How much more probable a change is just before each tick; empty where nothing is marked.
    changes: Vec<Vec<f64>>,
    /// What is guessed at each tick, and what share of a statement that is; empty where nothing is guessed.
    guesses: Vec<Vec<Option<(GuessedGait, f64)>>>,
}

impl Evidence {
    /// Lays marks and guesses on the grid of what is seen.
    pub(super) fn of(series: &Series, observed: &Observed) -> Self {
        let tick_s = observed.tick_s;
        let mut all = Self { changes: Vec::new(), guesses: Vec::new() };
        for stretch in &observed.stretches {
            let at_s = |tick: f64| stretch.start_s + tick * tick_s;
            let odds = |tick: usize| mark_odds(series.marks_s(), at_s(tick as f64 - 0.5));
            let marks = inside(series.marks_s(), stretch, |&mark_s| (mark_s, mark_s));
            let ticks = if marks.is_empty() { 0 } else { stretch.ticks() };
            all.changes.push((0..ticks).map(odds).collect());
            let guesses = inside(series.guesses(), stretch, |guess| (guess.start_s, guess.end_s));
            let mut said = vec![None; if guesses.is_empty() { 0 } else { stretch.ticks() }];
            for guess in guesses {
                let share = tick_s / (guess.end_s - guess.start_s).max(STATEMENT_S);
                let tick = |at_s: f64| ((at_s - stretch.start_s) / tick_s).ceil().max(0.0) as usize;
                let (from, to) = (tick(guess.start_s), tick(guess.end_s).min(said.len()));
                said.get_mut(from..to).unwrap_or_default().fill(Some((guess.gait, share)));
            }
            all.guesses.push(said);
        }
        all
    }

    /// Whether there is none.
    pub(super) fn is_silent(&self) -> bool {
        self.changes.iter().all(Vec::is_empty) && self.guesses.iter().all(Vec::is_empty)
    }

    /// How much more probable a change is just before each tick of a stretch; empty where nothing is marked.
    pub(super) fn changes(&self, stretch: usize) -> &[f64] {
        &self.changes[stretch]
    }

    /// How probable it is that the recorder says run, walk or stand in each level and, last, in standing: counted from the
    /// recording itself, from one of each on (Laplace's rule of succession). So a recorder that says the same of everything, or
    /// guesses by chance, tells nothing.
    pub(super) fn habits(&self, posteriors: &[Posterior], levels: usize) -> Vec<[f64; 3]> {
        let mut counts = vec![[1.0; 3]; levels + 1];
        for (posterior, said) in posteriors.iter().zip(&self.guesses) {
            for (row, said) in posterior.level.chunks_exact(levels + 1).zip(said) {
                let Some((gait, share)) = *said else { continue };
                counts.iter_mut().zip(row).for_each(|(count, p)| count[gait as usize] += p * share);
            }
        }
        let habit = |count: [f64; 3]| {
            let all: f64 = count.iter().sum();
            count.map(|n| LEAST + (1.0 - 3.0 * LEAST) * n / all)
        };
        counts.into_iter().map(habit).collect()
    }

    /// Adds what is guessed to a stretch's emission table.
    pub(super) fn add_guesses(&self, stretch: usize, habits: &[[f64; 3]], table: &mut [f64]) {
        for (row, said) in table.chunks_exact_mut(habits.len()).zip(&self.guesses[stretch]) {
            if let Some((gait, share)) = *said {
                row.iter_mut().zip(habits).for_each(|(log, habit)| *log += share * habit[gait as usize].ln());
            }
        }
    }
}

/// Those of a list in order of time that reach into a stretch.
fn inside<'a, T>(list: &'a [T], stretch: &Stretch, span: impl Fn(&T) -> (f64, f64)) -> &'a [T] {
    let from = list.partition_point(|item| span(item).1 <= stretch.start_s);
    let to = list.partition_point(|item| span(item).0 < stretch.end_s);
    &list[from..to.max(from)]
}

/// By how much a recorder's habits speak for each level being a run, in the log. Only how levels differ counts: whether it
/// says "run" too often or too seldom is not known.
pub(super) fn run_log_odds(habits: &[[f64; 3]]) -> Vec<f64> {
    let moving = habits.split_last().map_or(&[][..], |(_, moving)| moving);
    let log_odds =
        |habit: &[f64; 3]| (habit[GuessedGait::Run as usize] / habit[GuessedGait::Walk as usize]).ln();
    let odds: Vec<f64> = moving.iter().map(log_odds).collect();
    let least = odds.iter().copied().fold(f64::INFINITY, f64::min);
    let most = odds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    odds.into_iter().map(|odds| odds - f64::midpoint(least, most)).collect()
}

/// Says so when the recorder guessed another gait than is found for a minute or more, and for a fifth of its guesses. Our choice.
pub(super) fn disagreement(series: &Series, found: &Segmentation) -> Option<Notice> {
    const LEAST_S: f64 = 60.0;
    const LEAST_SHARE: f64 = 0.2;
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
    (differs_s >= LEAST_S && differs_s >= LEAST_SHARE * guessed_s).then(|| {
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
    if z > 3.0 { 1.0 } else { 1.0 + (MARK_ODDS - 1.0) * (-0.5 * z * z).exp() }
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

    /// Two levels and standing, each held by a tick in turn, and what is said of each.
    fn habits(said: [GuessedGait; 3], statements: f64) -> [[f64; 3]; 3] {
        let posterior = Posterior { level: vec![1., 0., 0., 0., 1., 0., 0., 0., 1.], log_likelihood: 0.0 };
        let guesses = said.map(|gait| Some((gait, statements))).to_vec();
        let evidence = Evidence { changes: vec![vec![]], guesses: vec![guesses] };
        evidence.habits(&[posterior], 2).try_into().unwrap()
    }

    #[test]
    fn habits_are_counted_and_bounded() {
        use GuessedGait::{Run, Stand, Walk};
        // Worked by hand: 4 statements of one kind from one of each on are 5/7, 1/7, 1/7; times 0.7, and 0.1 more.
        let [walking, running, standing] = habits([Walk, Run, Stand], 4.0);
        for (got, expected) in walking.iter().zip([0.2, 0.6, 0.2]) {
            assert!((got - expected).abs() < 1e-12);
        }
        assert_eq!((running[0], standing[2]), (walking[1], walking[1]));
        let log_3 = 3_f64.ln();
        let odds = run_log_odds(&[walking, running, standing]);
        assert!((odds[0] + log_3).abs() < 1e-12 && (odds[1] - log_3).abs() < 1e-12, "{odds:?}");
        let often = habits([Walk, Run, Stand], 1e9)[1];
        assert!((often[0] / often[1] - 8.0).abs() < 1e-6, "never more than 8 to 1");
    }

    #[test]
    fn what_is_said_of_everything_says_nothing() {
        let same = habits([GuessedGait::Run; 3], 4.0);
        assert_eq!(same[0], same[1]);
        assert_eq!(run_log_odds(&same), [0.0, 0.0]);
        assert_eq!(run_log_odds(&[[0.5, 0.2, 0.3]]), [0.0; 0]);
    }
}
