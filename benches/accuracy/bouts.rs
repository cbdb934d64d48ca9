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

pub(crate) fn print(options: &Options) {
    let seeds = options.first..options.first + options.seeds;
    for (name, damage) in patterns::patterns() {
        let name = format!("damaged, {name}");
        if options.wants(&name) {
            let all = seeds.clone().into_par_iter();
            let text: Vec<String> =
                all.map(|seed| lines(&name, seed, &patterns::make(damage, seed))).collect();
            print!("{}", text.concat());
        }
    }
    for condition in realistic::conditions() {
        if options.wants(&condition.name) {
            let all = seeds.clone().into_par_iter();
            let text: Vec<String> =
                all.map(|seed| lines(&condition.name, seed, &realistic::make(&condition, seed))).collect();
            print!("{}", text.concat());
        }
    }
    for condition in sessions::Condition::all() {
        let name = format!("ideal, {}", condition.name());
        if options.wants(&name) {
            let all = seeds.clone().into_par_iter();
            let text: Vec<String> =
                all.map(|seed| lines(&name, seed, &sessions::make(&condition, seed))).collect();
            print!("{}", text.concat());
        }
    }
}
