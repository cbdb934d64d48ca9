//! Sessions of one gait only, on level ground and hills, for speeds that overlap: how many show a false bout of more than
//! 10 s, and how sure the false ones are said to be.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::gait::{Bout, Gait, GaitConfig, segment};
use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{Channels, Profile, Settings, simulate};

use crate::{Options, show};

const SHORTEST_S: f64 = 10.0;
const SURE: f64 = 0.9;

/// Mean speeds of made-up walks and runs, and what the best threshold between them gets wrong when it is chosen knowing the
/// answers: no one who sees the mean speed alone does better.
#[derive(Default)]
struct Bound {
    walks_mps: Vec<f64>,
    runs_mps: Vec<f64>,
}

impl Bound {
    fn say(&self) {
        let wrong = |threshold: f64| {
            let walks = self.walks_mps.iter().filter(|v| **v >= threshold).count();
            let runs = self.runs_mps.iter().filter(|v| **v < threshold).count();
            (walks, runs)
        };
        let all = self.walks_mps.iter().chain(&self.runs_mps).copied();
        let Some(best) = all.min_by_key(|&v| {
            let (walks, runs) = wrong(v);
            walks + runs
        }) else {
            return;
        };
        let (walks, runs) = wrong(best);
        let share = |n: usize, list: &[f64]| 100.0 * n as f64 / list.len() as f64;
        println!(
            "\nThe best threshold on the true mean speed, chosen knowing which is which ({best:.2} m/s), takes {:.1} % of the walks for runs and {:.1} % of the runs for walks.",
            share(walks, &self.walks_mps),
            share(runs, &self.runs_mps)
        );
    }
}

pub(crate) fn table(options: &Options) {
    let mut bound = Bound::default();
    println!(
        "| what | recordings | some false bout over 10 s | of these wholly the other gait | a false bout said with ≥ 0.9 | right gait said with ≥ 0.9 |
|---|---|---|---|---|---|"
    );
    for (sensors, channels) in [("cadence", Channels::ALL), ("speed only", Channels::SPEED_ALONE)] {
        for (what, motion, gait) in [("runs", Move::Run, Gait::Run), ("walks", Move::Walk, Gait::Walk)] {
            for hills in [false, true] {
                let name = format!("{what}, {sensors}, {}", if hills { "hills" } else { "level" });
                if options.wants(&name) {
                    println!(
                        "| {name} | {} |",
                        row(
                            options,
                            motion,
                            gait,
                            Settings { hills, channels, ..Settings::default() },
                            &mut bound
                        )
                    );
                }
            }
        }
    }
    bound.say();
}

fn row(options: &Options, motion: Move, gait: Gait, settings: Settings, bound: &mut Bound) -> String {
    let (mut some, mut wholly, mut surely, mut right) = (0, 0, 0, 0);
    let settings = Settings { profile: Profile::Overlapping, ..settings };
    for seed in options.first..options.first + options.seeds {
        let step = Step { motion, extent: Extent::Time(Seconds::new(1800.0)).into(), ceiling: None };
        let made = simulate(&[step], &Settings { seed, ..settings.clone() }).expect("can be made up");
        match gait {
            Gait::Run => bound.runs_mps.push(made.person.jog_speed_mps),
            _ => bound.walks_mps.push(made.person.walk_speed_mps),
        }
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let found = segment(&series, &GaitConfig::default(), None).value;
        let is_false = |bout: &&Bout| bout.gait != gait && bout.duration_s() > SHORTEST_S;
        let false_bouts: Vec<&Bout> = found.bouts().iter().filter(is_false).collect();
        some += u32::from(!false_bouts.is_empty());
        wholly += u32::from(found.bouts().iter().all(|bout| bout.gait != gait));
        surely += u32::from(false_bouts.iter().any(|bout| bout.certainty >= SURE));
        right += u32::from(found.bouts().iter().all(|b| b.gait == gait && b.certainty >= SURE));
        if options.dump && !false_bouts.is_empty() {
            let spans: Vec<GaitSpan> = found.bouts().iter().map(GaitSpan::from).collect();
            let sure: Vec<f64> = found.bouts().iter().map(|b| b.certainty).collect();
            let person = &made.person;
            println!(
                "{seed} walk {:.2} jog {:.2}: {} {sure:.2?}",
                person.walk_speed_mps,
                person.jog_speed_mps,
                show(&spans)
            );
        }
    }
    let share = |n: u32| format!("{:.1} %", 100.0 * f64::from(n) / options.seeds as f64);
    format!("{} | {} | {} | {} | {}", options.seeds, share(some), share(wholly), share(surely), share(right))
}
