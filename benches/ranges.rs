//! What ranges cost: the matching of a session of 60 repetitions with what was done, exact and with ranges, in the same run.
//!
//! `cargo bench --profile dev -p jogaudit-simulate --bench ranges`
//!
//! Each line gives the median of the rounds and its ratio to the exact session's; more than twice as much is an error. The rounds of all
//! sessions take turns, so that whatever else the machine does falls on all of them.

#![allow(missing_docs, clippy::print_stdout)]

use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

use jogaudit_core::audit::{AuditConfig, Matched, Prescription};
use jogaudit_core::clean::{CleanConfig, Series, clean};
use jogaudit_core::gait::{GaitConfig, Segmentation, segment};
use jogaudit_core::prescription::Plan;
use jogaudit_simulate::{Settings, simulate};

const EXACT: &str = "walk 4:10, 60 x (run 0:50, walk 0:40), walk 3:20";
/// The same session with every kind of range, each of which allows what was done.
const RANGES: [(&str, &str); 6] = [
    ("of each run and walk", "walk 4:10, 60 x (run 0:40 to 1:00, walk 0:30 to 0:50), walk 3:20"),
    ("without a most", "walk 4:10 or more, 60 x (run 0:50, walk 0:40 or more), walk 3:20 or more"),
    ("of the count", "walk 4:10, 55 to 65 x (run 0:50, walk 0:40), walk 3:20"),
    ("a count that rises", "walk 4:10, 55 rising to 65 x (run 0:50, walk 0:40), walk 3:20"),
    ("of the whole", "walk 4:10, for 1:25:00 to 1:35:00 (run 0:50, walk 0:40), walk 3:20"),
    ("of the whole, no most", "walk 4:10, for 1:25:00 or more (run 0:50, walk 0:40), walk 3:20"),
];
const ROUNDS: usize = 101;
/// Times the exact session's that a session with ranges may take.
const MOST: f64 = 2.0;

fn plan(session: &str) -> Plan {
    let text = format!("[[stage]]\nname = '1'\nsession = '{session}'\n");
    Plan::parse(&text).unwrap_or_else(|error| panic!("{}", error.render("plan"))).value
}

/// The exact session as it was done.
fn done() -> (Series, Segmentation) {
    let steps = plan(EXACT).stages[0].session.expand().fixed_steps().expect("an exact session");
    let simulated =
        simulate(&steps, &Settings { seed: 1_000_016, ..Settings::default() }).expect("a session");
    let series = clean(&simulated.recording, &CleanConfig::default()).value;
    let segmentation = segment(&series, &GaitConfig::default(), None).value;
    (series, segmentation)
}

fn main() -> ExitCode {
    let (series, segmentation) = done();
    let config = AuditConfig::default();
    let all = [("exact", EXACT)].into_iter().chain(RANGES);
    let plans: Vec<(&str, Plan)> = all.map(|(name, session)| (name, plan(session))).collect();
    let mut times_s = vec![Vec::with_capacity(ROUNDS); plans.len()];
    for _ in 0..ROUNDS {
        for ((_, plan), times_s) in plans.iter().zip(&mut times_s) {
            let begun = Instant::now();
            black_box(Matched::new(&segmentation, &series, Prescription::of(plan, &plan.stages[0]), &config));
            times_s.push(begun.elapsed().as_secs_f64());
        }
    }
    for times_s in &mut times_s {
        times_s.sort_by(f64::total_cmp);
    }
    let median_s = |at: usize| times_s[at][ROUNDS / 2];
    println!("{} bouts, {ROUNDS} rounds", segmentation.bouts().len());
    let mut is_within = true;
    for (at, (name, plan)) in plans.iter().enumerate() {
        let ratio = median_s(at) / median_s(0);
        is_within &= ratio <= MOST;
        println!("{name:24} {:7.2} ms  {ratio:4.2}  {}", 1e3 * median_s(at), plan.stages[0].session);
    }
    if is_within { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
