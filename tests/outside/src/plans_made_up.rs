//! Plans for the export: those of the docs, that of the demo, and made-up ones that use all of the language.

use jogaudit_core::prescription::Plan;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::folder::Folder;
use crate::program::top;

/// The plans of `docs/plans`, and the one that `demo` writes.
pub(crate) fn written() -> Vec<Plan> {
    let folder = Folder::new();
    let (code, _, err) = folder.run(&["demo", "demo"], b"");
    assert_eq!(code, 0, "{err}");
    let mut paths: Vec<_> = std::fs::read_dir(top().join("docs/plans"))
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    paths.sort();
    paths.push(folder.path().join("demo/plan.toml"));
    let plans: Vec<Plan> = paths
        .iter()
        .map(|path| Plan::parse(&std::fs::read_to_string(path).expect("text")).expect("a plan").value)
        .collect();
    assert!(plans.len() >= 6);
    plans
}

/// So many plans that parse, each of two stages.
pub(crate) fn made_up(count: usize) -> Vec<Plan> {
    let mut rng = ChaCha8Rng::seed_from_u64(20_261_127);
    let mut plans = Vec::new();
    while plans.len() < count {
        if let Ok(plan) = Plan::parse(&text(&mut rng, plans.len())) {
            plans.push(plan.value);
        }
    }
    plans
}

fn text(rng: &mut ChaCha8Rng, n: usize) -> String {
    let mut text = format!("title = 'Plan {n}, Übung — läuft'\n");
    if rng.random_bool(0.5) {
        text.push_str("note = 'You can talk in whole sentences; “slow” is fine.'\n");
    }
    if rng.random_bool(0.5) {
        text.push_str("[runner]\nusual_run_cadence = '84 rpm'\n");
    }
    text.push_str("[limits]\n");
    for limit in
        ["pace_ceiling = '6:45 /km'", "heart_rate_ceiling = '151 bpm'", "walk_cadence_floor = '111 spm'"]
    {
        if rng.random_bool(0.5) {
            text.push_str(limit);
            text.push('\n');
        }
    }
    for stage in 1..=2 {
        let session = items(rng, 0, false, false);
        text.extend(["[[stage]]\nname = '", &stage.to_string(), "'\nsession = '", &session, "'\n"]);
    }
    text
}

fn items(rng: &mut ChaCha8Rng, depth: usize, exact: bool, by_time: bool) -> String {
    let count = rng.random_range(1..=3);
    let item = |rng: &mut ChaCha8Rng| match rng.random_range(0..8) {
        0 | 1 if depth < 3 => {
            let times = rng.random_range(1..=6);
            let times = match rng.random_range(0..4) {
                0 if !exact => format!("{times} to {}", times + 1),
                1 if !exact && depth == 0 => format!("{times} rising to {}", times + 3),
                _ => times.to_string(),
            };
            let inside_exact = exact || times.contains("rising");
            format!("{times} x ({})", items(rng, depth + 1, inside_exact, by_time))
        }
        2 if depth < 3 && !exact => {
            let minutes = rng.random_range(8..=40);
            let extent = match rng.random_range(0..4) {
                0 => format!("{minutes}:00 to {}:00", minutes + 4),
                1 => format!("{minutes}:00 or more"),
                2 => format!("{} m", 100 * minutes),
                _ => format!("{minutes}:00"),
            };
            let is_distance = extent.ends_with('m');
            let by_time = !is_distance && rng.random_bool(0.7);
            format!("for {extent} ({})", items(rng, depth + 1, true, by_time))
        }
        n => bout(rng, n, exact, by_time, depth),
    };
    (0..count).map(|_| item(rng)).collect::<Vec<_>>().join(", ")
}

fn bout(rng: &mut ChaCha8Rng, n: u32, exact: bool, by_time: bool, depth: usize) -> String {
    let motion = match n {
        3..=4 => "run",
        5 if depth == 0 => "rest",
        _ => "walk",
    };
    let (minutes, seconds) = (rng.random_range(1..=9), rng.random_range(0..=59));
    let time = format!("{minutes}:{seconds:02}");
    let extent = match rng.random_range(0..8) {
        0 if !exact => format!("{time} or more"),
        1 if !exact => format!("{time} or less"),
        2 if !exact => format!("{time} to {}:{seconds:02}", minutes + 2),
        3 if !by_time => format!("{} m", 50 * (minutes * 3 + 1)),
        4 if !by_time => "0.25 mi".to_owned(),
        _ => time,
    };
    let ceiling = if motion == "run" && rng.random_bool(0.3) { " @ 10:50 /mi" } else { "" };
    format!("{motion} {extent}{ceiling}")
}
