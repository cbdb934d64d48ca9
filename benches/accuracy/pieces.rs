//! What the pieces of made-up recordings look like to the judge of the gait model, and what they were: `benches/pieces.py` fits it.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::gait::{Gait, GaitConfig, LookedAt, judged_pieces, looked_at_bouts};
use jogaudit_simulate::Simulated;
use rayon::prelude::*;

use crate::rivals::Found;
use crate::sessions::truth;
use crate::{Options, realistic, sessions};

/// Seconds of a gait within a time.
fn seconds(truth: &[GaitSpan], gait: Gait, from_s: f64, to_s: f64) -> f64 {
    let shared = |span: &GaitSpan| (span.end_s.min(to_s) - span.start_s.max(from_s)).max(0.0);
    truth.iter().filter(|span| span.gait == gait).map(shared).sum()
}

/// A line a piece: group, seed, seconds, whether it has cadence, share of running, figures.
fn lines(group: &str, seed: u64, made: &Simulated) -> String {
    let series = clean(&made.recording, &CleanConfig::default()).value;
    let truth = truth(made);
    let line = |piece: jogaudit_core::gait::JudgedPiece| {
        let of = |gait| seconds(&truth, gait, piece.start_s, piece.end_s);
        let (run_s, walk_s) = (of(Gait::Run), of(Gait::Walk));
        let figures: Vec<String> = piece.features.iter().map(f64::to_string).collect();
        let length_s = piece.end_s - piece.start_s;
        (run_s + walk_s > 0.0).then(|| {
            let (cadence, run) = (u8::from(piece.has_cadence), run_s / (run_s + walk_s));
            format!("{group};{seed};{length_s};{cadence};{run};{}\n", figures.join(";"))
        })
    };
    judged_pieces(&series, &GaitConfig::default()).into_iter().filter_map(line).collect()
}

/// A line a bout: group, seed, seconds, whether it is right, figures.
fn bout_lines(group: &str, seed: u64, made: &Simulated) -> String {
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
        Some(format!("{group};{seed};{};{right};{}\n", judged.length_s, figures.join(";")))
    };
    looked_at_bouts(&series, &GaitConfig::default()).into_iter().filter_map(line).collect()
}

pub(crate) fn print(options: &Options) {
    let of = if options.bouts { bout_lines } else { lines };
    let seeds = options.first..options.first + options.seeds;
    for condition in realistic::conditions() {
        if options.wants(&condition.name) {
            let all = seeds.clone().into_par_iter();
            let text: Vec<String> =
                all.map(|seed| of(&condition.name, seed, &realistic::make(&condition, seed))).collect();
            print!("{}", text.concat());
        }
    }
    for condition in sessions::Condition::all() {
        let name = format!("ideal, {}", condition.name());
        if options.wants(&name) {
            let all = seeds.clone().into_par_iter();
            let text: Vec<String> =
                all.map(|seed| of(&name, seed, &sessions::make(&condition, seed))).collect();
            print!("{}", text.concat());
        }
    }
}
