use super::super::state::Rows;
use super::*;

/// Viterbi's worked example as printed in many textbooks (healthy/fever patient; normal, cold, dizzy): the best path is
/// healthy, healthy, fever, with probability 0.01512.
fn patient() -> (Chain, Rows) {
    let chain = Chain {
        initial: vec![0.6, 0.4],
        min_frames: vec![1, 1],
        stay: vec![0.7, 0.6],
        next: vec![vec![0.0, 1.0], vec![1.0, 0.0]],
    };
    let emission = [[0.5, 0.1], [0.4, 0.3], [0.1, 0.6]];
    (chain, Rows::of(&emission.map(|row| row.map(f64::ln))))
}

fn posterior(chain: &Chain, leave_odds: &[f64], emission: &Rows) -> Posterior {
    // In memory in which other work has left what is no number.
    let mut workspace = Workspace::full_of(f64::NAN, 1000);
    let mut posterior = Posterior { states: Rows::filled(7, 3, f64::NAN), log_likelihood: f64::NAN };
    forward_backward(chain, leave_odds, emission, &mut workspace, &mut posterior);
    posterior
}

#[test]
fn viterbi_solves_the_textbook_patient() {
    let (chain, emission) = patient();
    assert_eq!(viterbi(&chain, &[], &emission), [0, 0, 1]);
}

#[test]
fn forward_sums_the_textbook_patient() {
    // Worked by hand: forward rows (0.30, 0.04), (0.0904, 0.0342), (0.007696, 0.028584); sum 0.03628.
    let (chain, emission) = patient();
    let got = posterior(&chain, &[], &emission);
    assert!((got.log_likelihood.exp() - 0.036_28).abs() < 1e-12);
    let (total, states) = over_all_paths(&chain, &[1.0; 3], &emission);
    assert!((got.log_likelihood - total.ln()).abs() < 1e-12);
    assert!(greatest_difference(&got.states, &states) < 1e-12);
}

/// Probability of one path of states, with the minimum duration as a rule on run lengths.
fn path_probability(chain: &Chain, odds: &[f64], emission: &Rows, path: &[usize]) -> f64 {
    let mut p = chain.initial[path[0]] * emission.row(0)[path[0]].exp();
    let leave = |from: usize, t: usize| {
        let usual: f64 = 1.0 - chain.stay[from];
        if odds[t] == 1.0 { usual } else { (usual * odds[t]).min(usual.max(0.5)) }
    };
    // The first stay may be short: it may have begun before.
    let mut length = usize::MAX / 2;
    for t in 1..path.len() {
        let (from, to) = (path[t - 1], path[t]);
        p *= emission.row(t)[to].exp();
        if from == to {
            if length >= chain.min_frames[from] {
                p *= 1.0 - leave(from, t);
            }
            length += 1;
        } else {
            if length < chain.min_frames[from] {
                return 0.0;
            }
            p *= leave(from, t) * chain.next[from][to];
            length = 1;
        }
    }
    p
}

fn all_paths(states: usize, frames: usize) -> Vec<Vec<usize>> {
    (0..states.pow(frames as u32))
        .map(|mut code| {
            (0..frames)
                .map(|_| {
                    let l = code % states;
                    code /= states;
                    l
                })
                .collect()
        })
        .collect()
}

/// Probability of the observations, and of each state at each frame, summed over all paths.
fn over_all_paths(chain: &Chain, odds: &[f64], emission: &Rows) -> (f64, Rows) {
    let mut states = Rows::filled(emission.len(), chain.states(), 0.0);
    let mut total = 0.0;
    for path in all_paths(chain.states(), emission.len()) {
        let p = path_probability(chain, odds, emission, &path);
        total += p;
        for (t, l) in path.iter().enumerate() {
            states.row_mut(t)[*l] += p;
        }
    }
    states.iter_mut().flatten().for_each(|p| *p /= total);
    (total, states)
}

fn greatest_difference(a: &Rows, b: &Rows) -> f64 {
    assert_eq!((a.len(), a.width()), (b.len(), b.width()));
    let differences = a.iter().flatten().zip(b.iter().flatten()).map(|(a, b)| (a - b).abs());
    differences.fold(0.0, f64::max)
}

#[test]
fn both_agree_with_brute_force_over_all_paths() {
    let mut seed = 1_u64;
    let mut draw = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 53) as f64
    };
    for min_frames in [vec![1, 1, 1], vec![2, 1, 3], vec![3, 3, 2]] {
        for told in [false, true].repeat(10) {
            let mut next = vec![vec![0.0; 3]; 3];
            for (k, row) in next.iter_mut().enumerate() {
                let split = draw();
                row[(k + 1) % 3] = split;
                row[(k + 2) % 3] = 1.0 - split;
            }
            let chain = Chain {
                initial: vec![0.2, 0.3, 0.5],
                min_frames: min_frames.clone(),
                stay: (0..3).map(|_| 0.2 + 0.7 * draw()).collect(),
                next,
            };
            let emission: [[f64; 3]; 7] =
                std::array::from_fn(|_| std::array::from_fn(|_| (0.01 + draw()).ln()));
            let emission = Rows::of(&emission);
            // Told of changes at some frames, at others not.
            let odds: Vec<f64> = (0..7).map(|t| if t % 2 == 0 { 1.0 } else { 4.0 * draw() }).collect();
            let odds = if told { odds } else { vec![1.0; 7] };
            let (total, states) = over_all_paths(&chain, &odds, &emission);
            let got = posterior(&chain, &odds, &emission);
            assert!((got.log_likelihood - total.ln()).abs() < 1e-9, "{} {}", got.log_likelihood, total.ln());
            assert!(greatest_difference(&got.states, &states) < 1e-9);
            let best = all_paths(3, 7)
                .into_iter()
                .max_by(|a, b| {
                    path_probability(&chain, &odds, &emission, a)
                        .total_cmp(&path_probability(&chain, &odds, &emission, b))
                })
                .unwrap();
            assert_eq!(viterbi(&chain, &odds, &emission), best);
        }
    }
}

#[test]
fn an_excursion_below_the_minimum_duration_is_passed_over() {
    let lengths = |min_frames: usize| {
        let chain = Chain {
            initial: vec![0.5, 0.5],
            min_frames: vec![min_frames; 2],
            stay: vec![0.9, 0.9],
            next: vec![vec![0.0, 1.0], vec![1.0, 0.0]],
        };
        let mut emission = Vec::new();
        for (k, frames) in [8, 2, 8, 6, 8].into_iter().enumerate() {
            let row = if k % 2 == 0 { [0.0, -5.0] } else { [-5.0, 0.0] };
            emission.extend(std::iter::repeat_n(row, frames));
        }
        let path = viterbi(&chain, &[], &Rows::of(&emission));
        path.chunk_by(|a, b| a == b).map(<[usize]>::len).collect::<Vec<_>>()
    };
    assert_eq!(lengths(1), [8, 2, 8, 6, 8]);
    assert_eq!(lengths(4), [18, 6, 8]);
}

/// The Python package `hmmlearn` 0.3.3 with the same parameters: minimum duration of one frame, three Gaussian states.
#[test]
#[ignore = "needs Python, see tests/full"]
fn both_agree_with_hmmlearn() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let means = [0.0, 1.5, 2.4];
    let variances = [0.09, 0.04, 0.06];
    let chain = Chain {
        initial: vec![0.2, 0.5, 0.3],
        min_frames: vec![1, 1, 1],
        stay: vec![0.8, 0.95, 0.9],
        next: vec![vec![0.0, 0.7, 0.3], vec![0.4, 0.0, 0.6], vec![0.1, 0.9, 0.0]],
    };
    let mut seed = 11_u64;
    let mut draw = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    let signal: Vec<f64> = (0..400).map(|t| means[t / 37 % 3] + 1.2 * draw()).collect();
    let density = |v: f64, l: usize| {
        -0.5 * (v - means[l]).powi(2) / variances[l] - 0.5 * (2.0 * std::f64::consts::PI * variances[l]).ln()
    };
    let rows: Vec<[f64; 3]> = signal.iter().map(|v| std::array::from_fn(|l| density(*v, l))).collect();
    let emission = Rows::of(&rows);
    let transition: Vec<Vec<f64>> = (0..3)
        .map(|k| {
            (0..3)
                .map(|l| if k == l { chain.stay[k] } else { (1.0 - chain.stay[k]) * chain.next[k][l] })
                .collect()
        })
        .collect();
    let given = serde_json::json!({
        "start": chain.initial, "transition": transition, "means": means, "variances": variances, "signal": signal,
    });
    let python = std::env::var("JOGAUDIT_PYTHON").expect("tests/full sets JOGAUDIT_PYTHON");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/viterbi.py");
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(given.to_string().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let theirs: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let path: Vec<usize> = serde_json::from_value(theirs["path"].clone()).unwrap();
    assert_eq!(viterbi(&chain, &[], &emission), path);
    let ours = posterior(&chain, &[], &emission);
    assert!((ours.log_likelihood - theirs["log_likelihood"].as_f64().unwrap()).abs() < 1e-6);
    let posterior: Vec<f64> = serde_json::from_value(theirs["posterior"].clone()).unwrap();
    let (rows, rest) = posterior.as_chunks::<3>();
    assert!(rest.is_empty() && greatest_difference(&ours.states, &Rows::of(rows)) < 1e-6);
}
