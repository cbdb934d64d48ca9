//! Sessions of one gait only, on level ground and hills, for speeds that overlap: how many show a false bout of more than
//! 10 s, and how sure the false ones are said to be.

use jogaudit::clean::{CleanConfig, clean};
use jogaudit::gait::agreement::Span;
use jogaudit::gait::{Bout, Gait, GaitConfig, segment};
use jogaudit::prescription::{Extent, Move, Step};
use jogaudit::simulate::{Channels, Profile, Settings, simulate};
use jogaudit::units::Seconds;

use crate::{Options, show};

const SHORTEST_S: f64 = 10.0;
const SURE: f64 = 0.9;

pub(crate) fn table(options: &Options) {
    println!(
        "| what | recordings | some false bout over 10 s | of these wholly the other gait | a false bout said with ≥ 0.9 | right gait said with ≥ 0.9 |
|---|---|---|---|---|---|"
    );
    for (sensors, channels) in [("cadence", Channels::ALL), ("speed only", Channels::NO_CADENCE)] {
        for (what, motion, gait) in [("runs", Move::Run, Gait::Run), ("walks", Move::Walk, Gait::Walk)] {
            for hills in [false, true] {
                let name = format!("{what}, {sensors}, {}", if hills { "hills" } else { "level" });
                if options.wants(&name) {
                    println!(
                        "| {name} | {} |",
                        row(options, motion, gait, Settings { hills, channels, ..Settings::default() })
                    );
                }
            }
        }
    }
}

fn row(options: &Options, motion: Move, gait: Gait, settings: Settings) -> String {
    let (mut some, mut wholly, mut surely, mut right) = (0, 0, 0, 0);
    let settings = Settings { profile: Profile::Overlapping, ..settings };
    for seed in options.first..options.first + options.seeds {
        let step = Step { motion, extent: Extent::Time(Seconds::new(1800.0)), ceiling: None };
        let made = simulate(&[step], &Settings { seed, ..settings.clone() }).expect("can be made up");
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let found = segment(&series, &GaitConfig::default()).value;
        let is_false = |bout: &&Bout| bout.gait != gait && bout.duration_s() > SHORTEST_S;
        let false_bouts: Vec<&Bout> = found.bouts().iter().filter(is_false).collect();
        some += u32::from(!false_bouts.is_empty());
        wholly += u32::from(found.bouts().iter().all(|bout| bout.gait != gait));
        surely += u32::from(false_bouts.iter().any(|bout| bout.certainty >= SURE));
        right += u32::from(found.bouts().iter().all(|b| b.gait == gait && b.certainty >= SURE));
        if options.dump && !false_bouts.is_empty() {
            let spans: Vec<Span> = found.bouts().iter().map(Span::from).collect();
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
