//! What the bouts of made-up recordings look like, and whether they are right: `benches/bouts.py` fits how certain they are.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::gait::{GaitConfig, LookedAt, looked_at_bouts};
use jogaudit_simulate::Simulated;
use rayon::prelude::*;

use crate::rivals::Found;
use crate::sessions::truth;
use crate::{Options, patterns, realistic, sessions};

/// A line a bout: group, seed, seconds, whether it has cadence, whether it is right, figures.
fn lines(group: &str, seed: u64, made: &Simulated) -> String {
    let series = clean(&made.recording, &CleanConfig::default()).value;
    let truth = truth(made);
    let line = |bout: LookedAt| {
        let found = Found {
            spans: vec![GaitSpan { gait: bout.gait, start_s: bout.start_s, end_s: bout.end_s }],
            certainty: vec![1.0],
            error_s: vec![0.0],
        };
        let judged = realistic::judge(&truth, &found).pop()?;
        let figures: Vec<String> = bout.features.iter().map(f64::to_string).collect();
        let right = u8::from(judged.right);
        let cadence = u8::from(bout.has_cadence);
        Some(format!("{group};{seed};{};{cadence};{right};{}\n", judged.length_s, figures.join(";")))
    };
    looked_at_bouts(&series, &GaitConfig::default()).into_iter().filter_map(line).collect()
}

/// The lines of one kind of recordings.
fn print_all(options: &Options, name: &str, make: impl Fn(u64) -> Simulated + Sync) {
    if options.wants(name) {
        let seeds = (options.first..options.first + options.seeds).into_par_iter();
        let text: Vec<String> = seeds.map(|seed| lines(name, seed, &make(seed))).collect();
        print!("{}", text.concat());
    }
}

pub(crate) fn print(options: &Options) {
    for (name, damage) in patterns::patterns() {
        print_all(options, &format!("damaged, {name}"), |seed| patterns::make(damage, seed));
    }
    for condition in realistic::conditions() {
        print_all(options, &condition.name, |seed| realistic::make(&condition, seed));
    }
    for condition in sessions::Condition::all() {
        let name = format!("ideal, {}", condition.name());
        print_all(options, &name, |seed| sessions::make(&condition, seed));
    }
}
