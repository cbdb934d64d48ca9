//! Inference in a Markov chain whose levels last at least a minimum dwell. Knows nothing of gait: emissions come in as a
//! table of log densities, so that it can be tested with made-up ones.
//!
//! A level with a minimum dwell of m ticks is a row of m sub-states: one leads to the next, only the last may stay or leave.
//! So every stay lasts at least m ticks, except where the recording begins (the walk may have begun before it) or ends.
//! Time and memory are linear in the number of ticks. Rabiner 1989 (Proc IEEE 77:257-86) gives the recursions; the row of
//! sub-states is the "state aggregate" of Ferguson and of Russell & Cook 1987.

/// The chain: how long levels last and where they lead.
#[derive(Clone, Debug)]
pub(super) struct Chain {
    /// Probability of each level at the first tick.
    pub(super) start: Vec<f64>,
    /// Least stay in ticks, at least 1.
    pub(super) min_ticks: Vec<usize>,
    /// Probability of staying one tick more, once the least stay is over.
    pub(super) stay: Vec<f64>,
    /// Where a level leads when it is left: rows sum to 1, the diagonal is 0.
    pub(super) to: Vec<Vec<f64>>,
}

impl Chain {
    /// Number of levels.
    pub(super) fn levels(&self) -> usize {
        self.start.len()
    }

    /// Probabilities of staying in a level and of leaving it, where leaving is `odds` times as probable as usual: up to one
    /// half, so that being told of a change alone never makes one.
    fn stay_or_leave(&self, level: usize, odds: f64) -> (f64, f64) {
        let (stay, leave) = (self.stay[level], 1.0 - self.stay[level]);
        if odds == 1.0 {
            return (stay, leave);
        }
        let leave = (leave * odds).min(leave.max(0.5));
        (1.0 - leave, leave)
    }

    /// First sub-state of each level, and the total behind them.
    fn offsets(&self) -> Vec<usize> {
        let mut offsets = vec![0];
        for min in &self.min_ticks {
            offsets.push(offsets.last().copied().unwrap_or(0) + min.max(&1));
        }
        offsets
    }
}

/// What forward-backward gives.
#[derive(Clone, Debug)]
pub(super) struct Posterior {
    /// Probability of each level at each tick, row by row.
    pub(super) level: Vec<f64>,
    /// Log of the probability of all observations.
    pub(super) log_likelihood: f64,
}

/// Room to work in, kept from one call to the next: asking the system for it anew costs more than the work on long recordings.
#[derive(Debug, Default)]
pub(super) struct Room {
    emission: Vec<f64>,
    alpha: Vec<f64>,
}

/// Forward-backward with scaling. `log_emission` has `chain.levels()` values a tick.
pub(super) fn forward_backward(chain: &Chain, log_emission: &[f64], room: &mut Room) -> Posterior {
    forward_backward_told(chain, &[], log_emission, room)
}

/// [`forward_backward`] where leaving a level just before tick t is `odds[t]` times as probable as usual; as usual where there
/// are none.
pub(super) fn forward_backward_told(
    chain: &Chain,
    odds: &[f64],
    log_emission: &[f64],
    room: &mut Room,
) -> Posterior {
    let odds_at = |t: usize| odds.get(t).copied().unwrap_or(1.0);
    let levels = chain.levels();
    let offsets = chain.offsets();
    let states = offsets[levels];
    let ticks = log_emission.len() / levels;
    let mut log_likelihood = 0.0;
    let Room { emission, alpha } = room;
    emission.resize(log_emission.len(), 0.0);
    for (out, row) in emission.chunks_exact_mut(levels).zip(log_emission.chunks_exact(levels)) {
        let top = row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        log_likelihood += top;
        for (e, log) in out.iter_mut().zip(row) {
            *e = (log - top).exp();
        }
    }
    alpha.clear();
    alpha.resize(ticks * states, 0.0);
    for t in 0..ticks {
        let (past, now) = alpha.split_at_mut(t * states);
        let now = &mut now[..states];
        let e = &emission[t * levels..(t + 1) * levels];
        if t == 0 {
            for l in 0..levels {
                now[offsets[l + 1] - 1] = chain.start[l] * e[l];
            }
        } else {
            let before = &past[(t - 1) * states..];
            let odds = odds_at(t);
            for l in 0..levels {
                let (first, last) = (offsets[l], offsets[l + 1] - 1);
                let entered: f64 = (0..levels)
                    .filter(|&k| k != l)
                    .map(|k| before[offsets[k + 1] - 1] * chain.stay_or_leave(k, odds).1 * chain.to[k][l])
                    .sum();
                for s in (first + 1..=last).rev() {
                    now[s] = before[s - 1] * e[l];
                }
                let stayed = before[last] * chain.stay_or_leave(l, odds).0;
                if first == last {
                    now[last] = (entered + stayed) * e[l];
                } else {
                    now[first] = entered * e[l];
                    now[last] += stayed * e[l];
                }
            }
        }
        let total: f64 = now.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        log_likelihood += total.ln();
        now.iter_mut().for_each(|a| *a /= total);
    }
    let mut level = vec![0.0; ticks * levels];
    let mut beta = vec![1.0; states];
    let mut next = vec![0.0; states];
    for t in (0..ticks).rev() {
        if t + 1 < ticks {
            let e = &emission[(t + 1) * levels..(t + 2) * levels];
            let odds = odds_at(t + 1);
            for l in 0..levels {
                let (first, last) = (offsets[l], offsets[l + 1] - 1);
                for s in first..last {
                    next[s] = e[l] * beta[s + 1];
                }
                let left: f64 =
                    (0..levels).filter(|&k| k != l).map(|k| chain.to[l][k] * e[k] * beta[offsets[k]]).sum();
                let (stay, leave) = chain.stay_or_leave(l, odds);
                next[last] = stay * e[l] * beta[last] + leave * left;
            }
            let total: f64 = next.iter().sum::<f64>().max(f64::MIN_POSITIVE) / states as f64;
            for (b, n) in beta.iter_mut().zip(&next) {
                *b = n / total;
            }
        }
        let a = &alpha[t * states..(t + 1) * states];
        let out = &mut level[t * levels..(t + 1) * levels];
        for l in 0..levels {
            out[l] = (offsets[l]..offsets[l + 1]).map(|s| a[s] * beta[s]).sum();
        }
        let total: f64 = out.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        out.iter_mut().for_each(|p| *p /= total);
    }
    Posterior { level, log_likelihood }
}

/// The single most probable sequence of levels (Viterbi), in the log domain.
pub(super) fn viterbi(chain: &Chain, log_emission: &[f64]) -> Vec<usize> {
    viterbi_told(chain, &[], log_emission)
}

/// [`viterbi`] where leaving a level just before tick t is `odds[t]` times as probable as usual.
pub(super) fn viterbi_told(chain: &Chain, odds: &[f64], log_emission: &[f64]) -> Vec<usize> {
    let levels = chain.levels();
    let offsets = chain.offsets();
    let states = offsets[levels];
    let ticks = log_emission.len() / levels;
    let logs = |odds: f64| -> (Vec<f64>, Vec<Vec<f64>>) {
        let stay_or_leave = |k| chain.stay_or_leave(k, odds);
        let enter = |k: usize| (0..levels).map(|l| (stay_or_leave(k).1 * chain.to[k][l]).ln()).collect();
        ((0..levels).map(|k| stay_or_leave(k).0.ln()).collect(), (0..levels).map(enter).collect())
    };
    let usual = logs(1.0);
    let mut score = vec![f64::NEG_INFINITY; states];
    let mut next = score.clone();
    // Only two kinds of sub-state have a choice of where they come from: the first (which level) and the last (stayed or not).
    let mut came_from = vec![0_u8; ticks * levels];
    let mut stayed = vec![false; ticks * levels];
    for t in 0..ticks {
        let e = &log_emission[t * levels..(t + 1) * levels];
        let told = odds.get(t).filter(|odds| **odds != 1.0).map(|&odds| logs(odds));
        let (log_stay, log_enter) = told.as_ref().unwrap_or(&usual);
        for l in 0..levels {
            let (first, last) = (offsets[l], offsets[l + 1] - 1);
            if t == 0 {
                next[first..=last].fill(f64::NEG_INFINITY);
                next[last] = chain.start[l].ln() + e[l];
                continue;
            }
            let (from, entered) = (0..levels)
                .filter(|&k| k != l)
                .map(|k| (k, score[offsets[k + 1] - 1] + log_enter[k][l]))
                .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
                .unwrap_or((l, f64::NEG_INFINITY));
            came_from[t * levels + l] = from as u8;
            let stay = score[last] + log_stay[l];
            let arrive = if first == last { entered } else { score[last - 1] };
            stayed[t * levels + l] = stay >= arrive;
            for s in first + 1..last {
                next[s] = score[s - 1] + e[l];
            }
            next[first] = entered + e[l];
            next[last] = stay.max(arrive) + e[l];
        }
        std::mem::swap(&mut score, &mut next);
    }
    let mut path = vec![0; ticks];
    if ticks == 0 {
        return path;
    }
    let mut state = (0..states).max_by(|&a, &b| score[a].total_cmp(&score[b]).then(b.cmp(&a))).unwrap_or(0);
    let level_of = |s: usize| (0..levels).find(|&l| s < offsets[l + 1]).unwrap_or(0);
    for t in (0..ticks).rev() {
        let l = level_of(state);
        path[t] = l;
        let (first, last) = (offsets[l], offsets[l + 1] - 1);
        if t == 0 || state == last && stayed[t * levels + l] {
            continue;
        }
        state =
            if state == first { offsets[usize::from(came_from[t * levels + l]) + 1] - 1 } else { state - 1 };
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Viterbi's worked example as printed in many textbooks (healthy/fever patient; normal, cold, dizzy): the best path is
    /// healthy, healthy, fever, with probability 0.01512.
    fn patient() -> (Chain, Vec<f64>) {
        let chain = Chain {
            start: vec![0.6, 0.4],
            min_ticks: vec![1, 1],
            stay: vec![0.7, 0.6],
            to: vec![vec![0.0, 1.0], vec![1.0, 0.0]],
        };
        let emission = [[0.5, 0.1], [0.4, 0.3], [0.1, 0.6]];
        (chain, emission.iter().flatten().map(|p: &f64| p.ln()).collect())
    }

    #[test]
    fn viterbi_solves_the_textbook_patient() {
        let (chain, emission) = patient();
        assert_eq!(viterbi(&chain, &emission), [0, 0, 1]);
    }

    #[test]
    fn forward_sums_the_textbook_patient() {
        // Worked by hand: forward rows (0.30, 0.04), (0.0904, 0.0342), (0.007696, 0.028584); sum 0.03628.
        let (chain, emission) = patient();
        let got = forward_backward(&chain, &emission, &mut Room::default());
        assert!((got.log_likelihood.exp() - 0.036_28).abs() < 1e-12);
        let (total, level) = brute(&chain, &[1.0; 3], &emission);
        assert!((got.log_likelihood - total.ln()).abs() < 1e-12);
        for (a, b) in got.level.iter().zip(&level) {
            assert!((a - b).abs() < 1e-12);
        }
    }

    /// Probability of one path of levels, with the least stay as a rule on run lengths.
    fn path_probability(chain: &Chain, odds: &[f64], emission: &[f64], path: &[usize]) -> f64 {
        let levels = chain.levels();
        let mut p = chain.start[path[0]] * emission[path[0]].exp();
        let leave = |from: usize, t: usize| {
            let usual: f64 = 1.0 - chain.stay[from];
            if odds[t] == 1.0 { usual } else { (usual * odds[t]).min(usual.max(0.5)) }
        };
        // The first stay may be short: it may have begun before.
        let mut length = usize::MAX / 2;
        for t in 1..path.len() {
            let (from, to) = (path[t - 1], path[t]);
            p *= emission[t * levels + to].exp();
            if from == to {
                if length >= chain.min_ticks[from] {
                    p *= 1.0 - leave(from, t);
                }
                length += 1;
            } else {
                if length < chain.min_ticks[from] {
                    return 0.0;
                }
                p *= leave(from, t) * chain.to[from][to];
                length = 1;
            }
        }
        p
    }

    fn all_paths(levels: usize, ticks: usize) -> Vec<Vec<usize>> {
        (0..levels.pow(ticks as u32))
            .map(|mut code| {
                (0..ticks)
                    .map(|_| {
                        let l = code % levels;
                        code /= levels;
                        l
                    })
                    .collect()
            })
            .collect()
    }

    fn brute(chain: &Chain, odds: &[f64], emission: &[f64]) -> (f64, Vec<f64>) {
        let levels = chain.levels();
        let ticks = emission.len() / levels;
        let mut level = vec![0.0; emission.len()];
        let mut total = 0.0;
        for path in all_paths(levels, ticks) {
            let p = path_probability(chain, odds, emission, &path);
            total += p;
            for (t, l) in path.iter().enumerate() {
                level[t * levels + l] += p;
            }
        }
        level.iter_mut().for_each(|p| *p /= total);
        (total, level)
    }

    #[test]
    fn both_agree_with_brute_force_over_all_paths() {
        let mut seed = 1_u64;
        let mut draw = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        for min_ticks in [vec![1, 1, 1], vec![2, 1, 3], vec![3, 3, 2]] {
            for told in [false, true].repeat(10) {
                let mut to = vec![vec![0.0; 3]; 3];
                for (k, row) in to.iter_mut().enumerate() {
                    let split = draw();
                    row[(k + 1) % 3] = split;
                    row[(k + 2) % 3] = 1.0 - split;
                }
                let chain = Chain {
                    start: vec![0.2, 0.3, 0.5],
                    min_ticks: min_ticks.clone(),
                    stay: (0..3).map(|_| 0.2 + 0.7 * draw()).collect(),
                    to,
                };
                let emission: Vec<f64> = (0..7 * 3).map(|_| (0.01 + draw()).ln()).collect();
                // Told of changes at some ticks, at others not.
                let odds: Vec<f64> = (0..7).map(|t| if t % 2 == 0 { 1.0 } else { 4.0 * draw() }).collect();
                let odds = if told { odds } else { vec![1.0; 7] };
                let (total, level) = brute(&chain, &odds, &emission);
                let got = forward_backward_told(&chain, &odds, &emission, &mut Room::default());
                assert!(
                    (got.log_likelihood - total.ln()).abs() < 1e-9,
                    "{} {}",
                    got.log_likelihood,
                    total.ln()
                );
                for (a, b) in got.level.iter().zip(&level) {
                    assert!((a - b).abs() < 1e-9);
                }
                let best = all_paths(3, 7)
                    .into_iter()
                    .max_by(|a, b| {
                        path_probability(&chain, &odds, &emission, a)
                            .total_cmp(&path_probability(&chain, &odds, &emission, b))
                    })
                    .unwrap();
                assert_eq!(viterbi_told(&chain, &odds, &emission), best);
            }
        }
    }

    #[test]
    fn no_inner_stay_is_shorter_than_the_least() {
        let chain = Chain {
            start: vec![0.5, 0.5],
            min_ticks: vec![4, 4],
            stay: vec![0.9, 0.9],
            to: vec![vec![0.0, 1.0], vec![1.0, 0.0]],
        };
        let emission: Vec<f64> =
            (0..40).flat_map(|t| if t % 3 == 0 { [0.0, -3.0] } else { [-2.0, 0.0] }).collect();
        let path = viterbi(&chain, &emission);
        let mut lengths = vec![1];
        for pair in path.windows(2) {
            if pair[0] == pair[1] { *lengths.last_mut().unwrap() += 1 } else { lengths.push(1) }
        }
        let inner = lengths.get(1..lengths.len().saturating_sub(1)).unwrap_or(&[]);
        assert!(inner.iter().all(|&n| n >= 4), "{lengths:?}");
    }

    /// The Python package `hmmlearn` 0.3.3 with the same parameters: least stay of one tick, three Gaussian levels.
    #[test]
    #[ignore = "needs tests/run"]
    fn both_agree_with_hmmlearn() {
        use std::io::Write;
        use std::process::{Command, Stdio};
        let means = [0.0, 1.5, 2.4];
        let variances = [0.09, 0.04, 0.06];
        let chain = Chain {
            start: vec![0.2, 0.5, 0.3],
            min_ticks: vec![1, 1, 1],
            stay: vec![0.8, 0.95, 0.9],
            to: vec![vec![0.0, 0.7, 0.3], vec![0.4, 0.0, 0.6], vec![0.1, 0.9, 0.0]],
        };
        let mut seed = 11_u64;
        let mut draw = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        let signal: Vec<f64> = (0..400).map(|t| means[t / 37 % 3] + 1.2 * draw()).collect();
        let emission: Vec<f64> = signal
            .iter()
            .flat_map(|v| {
                (0..3).map(move |l| {
                    -0.5 * (v - means[l]).powi(2) / variances[l]
                        - 0.5 * (2.0 * std::f64::consts::PI * variances[l]).ln()
                })
            })
            .collect();
        let transition: Vec<Vec<f64>> = (0..3)
            .map(|k| {
                (0..3)
                    .map(|l| if k == l { chain.stay[k] } else { (1.0 - chain.stay[k]) * chain.to[k][l] })
                    .collect()
            })
            .collect();
        let given = serde_json::json!({
            "start": chain.start, "transition": transition, "means": means, "variances": variances, "signal": signal,
        });
        let python = std::env::var("JOGAUDIT_PYTHON").expect("tests/run sets JOGAUDIT_PYTHON");
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/viterbi.py");
        let mut child =
            Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(given.to_string().as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        let theirs: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let path: Vec<usize> = serde_json::from_value(theirs["path"].clone()).unwrap();
        assert_eq!(viterbi(&chain, &emission), path);
        let ours = forward_backward(&chain, &emission, &mut Room::default());
        assert!((ours.log_likelihood - theirs["log_likelihood"].as_f64().unwrap()).abs() < 1e-6);
        let posterior: Vec<f64> = serde_json::from_value(theirs["posterior"].clone()).unwrap();
        assert_eq!(posterior.len(), ours.level.len());
        for (a, b) in ours.level.iter().zip(&posterior) {
            assert!((a - b).abs() < 1e-6, "{a} {b}");
        }
    }
}
