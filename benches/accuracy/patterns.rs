//! Realistic sessions whose cadence is damaged in one gait throughout: how many collapse, and what wrong is said surely.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::Gait;
use jogaudit_simulate::{CadenceDamage, CadenceLeft, Realism, Settings, Simulated, simulate};
use rayon::prelude::*;

use crate::rivals::ours;
use crate::sessions::{interrupt, session, truth};
use crate::{Options, realistic, show};

/// Fewer running and walking seconds right than this share are a collapse.
const COLLAPSED: f64 = 0.7;
/// A wrong bout counts from this length, s, and this certainty on.
const LONG_S: f64 = 30.0;
const SURE: f64 = 0.9;

const LEFT: [(CadenceLeft, &str); 8] = [
    (CadenceLeft::Readings(0), "missing"),
    (CadenceLeft::Readings(5), "all but 5 readings missing"),
    (CadenceLeft::Readings(30), "all but 30 readings missing"),
    (CadenceLeft::OneIn(10), "10 % left"),
    (CadenceLeft::Zeros, "0"),
    (CadenceLeft::Stuck, "stuck at the other gait's value"),
    (CadenceLeft::Half, "half"),
    (CadenceLeft::Double, "double"),
];

/// Share of running and walking seconds right, bouts said surely, and the long wrong ones among them.
struct Outcome {
    right: f64,
    sure: usize,
    surely_wrong: usize,
    told: String,
}

/// Each pattern by name.
pub(crate) fn patterns() -> impl Iterator<Item = (String, Option<CadenceDamage>)> {
    let whole = [("whole".to_owned(), None)];
    let damaged = [(Gait::Run, "runs"), (Gait::Walk, "walks")].into_iter().flat_map(|(gait, name)| {
        LEFT.map(|(left, what)| (format!("{what} in all {name}"), Some(CadenceDamage { gait, left })))
    });
    whole.into_iter().chain(damaged)
}

pub(crate) fn make(damage: Option<CadenceDamage>, seed: u64) -> Simulated {
    let mut settings =
        Settings { seed, realism: Realism::Realistic, cadence_damage: damage, ..Settings::default() };
    interrupt(&mut settings);
    simulate(&session(seed), &settings).expect("the session can be made up")
}

impl Outcome {
    fn of(damage: Option<CadenceDamage>, seed: u64) -> Self {
        let made = make(damage, seed);
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let (truth, found) = (truth(&made), ours(&series));
        let (right_s, all_s) = realistic::moving_right_s(&truth, &found.spans);
        let mut judged = realistic::judge(&truth, &found);
        judged.retain(|b| b.length_s >= LONG_S && b.certainty >= SURE);
        Self {
            right: right_s / all_s,
            sure: judged.len(),
            surely_wrong: judged.iter().filter(|b| !b.right).count(),
            told: format!(
                "seed {seed}: walk {:.2} jog {:.2}\n  truth {}\n  found {}\n  sure  {:.2?}",
                made.person.walk_speed_mps,
                made.person.jog_speed_mps,
                show(&truth),
                show(&found.spans),
                found.certainty
            ),
        }
    }
}

pub(crate) fn table(options: &Options) {
    println!(
        "Realistic sessions of steady runners, every second, {} a pattern, seeds from {}. Collapsed: fewer than {:.0} % of the running and walking seconds right.\n",
        options.seeds,
        options.first,
        100.0 * COLLAPSED
    );
    println!(
        "| cadence | seconds right | collapsed | bouts of {LONG_S:.0} s or more said with ≥ {SURE} | wrong ones of these |\n|---|---|---|---|---|"
    );
    for (name, damage) in patterns() {
        if !options.wants(&name) {
            continue;
        }
        let seeds = options.first..options.first + options.seeds;
        let outcomes: Vec<Outcome> = seeds.into_par_iter().map(|seed| Outcome::of(damage, seed)).collect();
        let collapsed = outcomes.iter().filter(|o| o.right < COLLAPSED).count();
        let sum = |value: fn(&Outcome) -> usize| outcomes.iter().map(value).sum::<usize>();
        println!(
            "| {name} | {:.1} % | {collapsed} | {} | {} |",
            100.0 * outcomes.iter().map(|o| o.right).sum::<f64>() / outcomes.len() as f64,
            sum(|o| o.sure),
            sum(|o| o.surely_wrong)
        );
        if options.dump {
            let wrong = outcomes.iter().filter(|o| o.right < COLLAPSED || o.surely_wrong > 0);
            wrong.for_each(|o| println!("{}", o.told));
        }
    }
}
