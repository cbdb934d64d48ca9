//! The statistics of `agree` against `pingouin`, `scikit-learn` and `scipy`.

use std::io::Write as _;
use std::process::{Command, Stdio};

use jogaudit_core::agree::bootstrap::{Resampling, intervals};
use jogaudit_core::agree::bouts::Tally;
use jogaudit_core::agree::scores::{Estimate, bland_altman, concordance, icc_2_1};
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::GaitSpan;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use crate::program::top;

/// Asks `tests/reference/agree_check.py`.
fn python(cases: &[Value]) -> Vec<Value> {
    let interpreter = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let script = top().join("tests/reference/agree_check.py");
    let mut child = Command::new(interpreter)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    let input = cases.iter().map(Value::to_string).collect::<Vec<_>>().join("\n");
    let mut stdin = child.stdin.take().expect("piped");
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().expect("the script ends");
    writer.join().expect("no panic").expect("the script reads all");
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// Equal to 1e-9, of the greater of 1 and their size.
fn same(ours: f64, theirs: &Value, what: &str) {
    let theirs = theirs.as_f64().expect("a number");
    assert!((ours - theirs).abs() <= 1e-9 * theirs.abs().max(1.0), "{what}: {ours} and {theirs}");
}

fn same_estimate(ours: Estimate, theirs: &Value, what: &str) {
    let interval = ours.interval.expect("an interval");
    for (value, at) in [(ours.value, 0), (interval.low, 1), (interval.high, 2)] {
        same(value, &theirs[at], what);
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn scores_as_pingouin_scores_them() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let mut sets: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    for n in [3, 4, 5, 8, 17, 50, 300, 5000] {
        for (shift, noise) in [(0.0, 1.0), (3.0, 0.05), (-20.0, 30.0), (0.5, 8.0)] {
            let reference: Vec<f64> = (0..n).map(|_| rng.random_range(0.0..10.0)).collect();
            let other = reference.iter().map(|v| v + shift + noise * rng.random_range(-1.0..1.0)).collect();
            sets.push((reference, other));
        }
    }
    let cases: Vec<Value> = sets.iter().map(|(r, o)| json!({"reference": r, "other": o})).collect();
    for ((reference, other), theirs) in sets.iter().zip(python(&cases)) {
        let what = format!("{} pairs, first {} and {}", reference.len(), reference[0], other[0]);
        let limits = bland_altman(reference, other).unwrap();
        // Their picture has a line at 0 as well; both lists are in rising order.
        let mut lines = vec![limits.lower.value, limits.bias.value, limits.upper.value, 0.0];
        lines.sort_by(f64::total_cmp);
        for (ours, theirs) in lines.into_iter().zip(theirs["lines"].as_array().unwrap()) {
            same(ours, theirs, &what);
        }
        let mut bands = [limits.lower, limits.bias, limits.upper].map(|e| e.interval.unwrap());
        bands.sort_by(|a, b| a.low.total_cmp(&b.low));
        for (ours, theirs) in bands.iter().zip(theirs["bands"].as_array().unwrap()) {
            same(ours.low, &theirs[0], &what);
            same(ours.high, &theirs[1], &what);
        }
        same_estimate(icc_2_1(&[reference, other]).unwrap(), &theirs["icc"], &format!("ICC, {what}"));
        same_estimate(
            concordance(reference, other).unwrap(),
            &theirs["concordance"],
            &format!("concordance, {what}"),
        );
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn four_judges_as_pingouin_scores_them() {
    let judges: [&[f64]; 4] = [
        &[9., 6., 8., 7., 10., 6.],
        &[2., 1., 4., 1., 5., 2.],
        &[5., 3., 6., 2., 6., 4.],
        &[8., 2., 8., 6., 9., 7.],
    ];
    same_estimate(icc_2_1(&judges).unwrap(), &python(&[json!({"raters": judges})])[0], "Shrout and Fleiss");
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn time_as_scikit_learn_scores_it() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let gaits = [Gait::Run, Gait::Walk, Gait::Stand];
    // Second by second for their side, as bouts for ours.
    let mut seconds = |stay: f64| -> Vec<usize> {
        let mut at = 0;
        let mut next = || {
            if rng.random_range(0.0..1.0) > stay {
                at = rng.random_range(0..3);
            }
            at
        };
        (0..900).map(|_| next()).collect()
    };
    let sets: Vec<(Vec<usize>, Vec<usize>)> = (0..20)
        .map(|_| {
            let (reference, noise) = (seconds(0.98), seconds(0.9));
            let found = (0..900).map(|i| if i % 7 == 0 { noise[i] } else { reference[i] }).collect();
            (reference, found)
        })
        .collect();
    let cases: Vec<Value> = sets.iter().map(|(r, f)| json!({"gaits": r, "found": f})).collect();
    for ((reference, found), theirs) in sets.iter().zip(python(&cases)) {
        let spans = |names: &[usize]| -> Vec<GaitSpan> {
            let span = |(i, g): (usize, &usize)| GaitSpan {
                gait: gaits[*g],
                start_s: i as f64,
                end_s: i as f64 + 1.0,
            };
            names.iter().enumerate().map(span).collect()
        };
        let tally = Tally::of(&spans(reference), &spans(found));
        same(tally.kappa().unwrap(), &theirs[0], "kappa");
        same(tally.accuracy().unwrap(), &theirs[1], "accuracy");
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
#[expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]
fn intervals_as_scipy_draws_them() {
    const RESAMPLES: u32 = 9999;
    // Both ends are themselves drawn. For a normal figure an end at 2.5 % has a standard error of √(0.025·0.975/B)/φ(1.96) = 0.027
    // of the figure's own (B = 9999), the difference of two of them 0.038; five times that is held.
    const MOST_APART: f64 = 0.19;
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let mut list = |recording: usize| -> Vec<f64> {
        let own = rng.random_range(-2.0..3.0);
        (0..5 + recording % 20).map(|_| own + rng.random_range(-0.4..0.4)).collect()
    };
    let sets: Vec<Vec<Vec<f64>>> = [25, 60].map(|n| (0..n).map(&mut list).collect()).into();
    let cases: Vec<Value> =
        sets.iter().map(|errors| json!({"errors": errors, "resamples": RESAMPLES, "seed": 5})).collect();
    for (errors, theirs) in sets.iter().zip(python(&cases)) {
        let tally =
            |boundaries_s: &Vec<f64>| Tally { boundaries_s: boundaries_s.clone(), ..Tally::default() };
        let tallies: Vec<Tally> = errors.iter().map(tally).collect();
        let how = Resampling { resamples: RESAMPLES, seed: 5 };
        let ours = intervals(&tallies.iter().collect::<Vec<_>>(), how);
        for (figure, (ours, theirs)) in
            [ours.bias_s, ours.median_s, ours.p95_s].into_iter().zip(theirs.as_array().unwrap()).enumerate()
        {
            let ours = ours.unwrap();
            let [low, high, error] = [0, 1, 2].map(|i| theirs[i].as_f64().unwrap());
            for (ours, theirs) in [(ours.low, low), (ours.high, high)] {
                let apart = (ours - theirs).abs() / error;
                println!(
                    "{} lists, figure {figure}: {ours:.4}, scipy {theirs:.4}, {apart:.3} standard errors",
                    errors.len()
                );
                assert!(apart < MOST_APART, "{} lists, figure {figure}: {ours} and {theirs}", errors.len());
            }
        }
        // Drawn boundary by boundary, as if they were independent, the interval is less than half as wide.
        let single: Vec<Tally> = errors.iter().flatten().map(|s| tally(&vec![*s])).collect();
        let narrow = intervals(&single.iter().collect::<Vec<_>>(), how).bias_s.unwrap();
        let whole = ours.bias_s.unwrap();
        assert!(narrow.high - narrow.low < 0.5 * (whole.high - whole.low), "{narrow:?} {whole:?}");
    }
}
