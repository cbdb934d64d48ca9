//! What a recorder guesses that its wearer is doing.

use rand::RngExt;

use super::random::{Stream, rng, uniform};
use super::truth::TrueBout;
use super::{Guesses, Settings};
use jogaudit_core::gait::Gait;
use jogaudit_recording::read::{Guess, GuessSource, GuessedGait};

/// How late a change is noticed, s. Our choice.
const NOTICED_S: (f64, f64) = (2.0, 8.0);
/// How long a guess by chance lasts, s. Our choice.
const CHANCE_S: (f64, f64) = (20.0, 120.0);

/// Guesses from 0 to the end, in whole seconds as FIT has them.
pub(super) fn made(truth: &[TrueBout], settings: &Settings) -> Vec<Guess> {
    let end_s = truth.last().map_or(0.0, |bout| bout.end_s).floor();
    let mut draws = rng(settings.seed, Stream::Guesses);
    let starts: Vec<(f64, GuessedGait)> = match settings.guesses {
        Guesses::None => Vec::new(),
        Guesses::AlwaysRun => vec![(0.0, GuessedGait::Run)],
        Guesses::Right => {
            let mut late = |bout: &TrueBout| {
                let late_s = uniform(&mut draws, NOTICED_S.0, NOTICED_S.1);
                let start_s = if bout.start_s == 0.0 { 0.0 } else { bout.start_s + late_s };
                Some((start_s.round(), guessed(bout.gait)?))
            };
            truth.iter().filter_map(&mut late).collect()
        }
        Guesses::Chance => {
            let mut starts = Vec::new();
            let mut at_s = 0.0;
            while at_s < end_s {
                let runs = draws.random::<f64>() < 0.5;
                starts.push((at_s, if runs { GuessedGait::Run } else { GuessedGait::Walk }));
                at_s += uniform(&mut draws, CHANCE_S.0, CHANCE_S.1).round();
            }
            starts
        }
    };
    let ends = starts.iter().skip(1).map(|next| next.0).chain([end_s]);
    let guess = |(&(start_s, gait), end_s): (&(f64, GuessedGait), f64)| Guess {
        start_s,
        end_s,
        gait,
        source: GuessSource::Split,
    };
    starts.iter().zip(ends).map(guess).filter(|guess| guess.start_s < guess.end_s).collect()
}

const fn guessed(gait: Gait) -> Option<GuessedGait> {
    match gait {
        Gait::Run => Some(GuessedGait::Run),
        Gait::Walk => Some(GuessedGait::Walk),
        Gait::Stand => Some(GuessedGait::Stand),
        Gait::Unknown => None,
    }
}
