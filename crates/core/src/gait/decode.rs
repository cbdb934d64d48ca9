//! Inference in a Markov chain whose levels last at least a minimum dwell. Knows nothing of gait: emissions come in as a
//! table of log densities, so that it can be tested with made-up ones.
//!
//! A level with a minimum dwell of m ticks may be left only once m ticks have been spent in it, except where the recording
//! begins (the walk may have begun before it) or ends. Entering a level at tick u therefore means that it "holds" (may stay or
//! be left) at u + m − 1 at the earliest, and the emissions of these m ticks enter as one product. So a tick costs a few
//! multiplications a level, whatever m; time and memory are linear in the number of ticks. Rabiner 1989 (Proc IEEE 77:257-86)
//! gives the recursions, Yu & Kobayashi 2003 (IEEE Signal Process Lett 10:11-14) the level probabilities as a running balance
//! of what enters and what leaves (cited from memory).

use wide::f64x4;

/// Most levels of a chain.
pub(super) const MOST_LEVELS: usize = 8;

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
    /// Number of levels, at most [`MOST_LEVELS`].
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

    fn min_ticks(&self, level: usize) -> usize {
        self.min_ticks[level].max(1)
    }
}

/// What a level may do from one tick to the next, for each of `N` levels; levels that the chain lacks do nothing.
#[derive(Clone, Copy)]
struct Moves<const N: usize> {
    stay: [f64; N],
    /// From each level (row) to each other one.
    leave: [[f64; N]; N],
    /// The same with rows for where to.
    enter: [[f64; N]; N],
}

impl<const N: usize> Moves<N> {
    fn new(chain: &Chain, odds: f64) -> Self {
        let mut moves = Self { stay: [0.0; N], leave: [[0.0; N]; N], enter: [[0.0; N]; N] };
        for k in 0..chain.levels() {
            let (stay, leave) = chain.stay_or_leave(k, odds);
            moves.stay[k] = stay;
            for l in (0..chain.levels()).filter(|&l| l != k) {
                moves.leave[k][l] = leave * chain.to[k][l];
                moves.enter[l][k] = moves.leave[k][l];
            }
        }
        moves
    }

    /// With logs of staying and leaving.
    fn log(mut self) -> Self {
        self.stay = self.stay.map(f64::ln);
        self.leave = self.leave.map(|row| row.map(f64::ln));
        self
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
    /// Emission of each tick.
    emission: Vec<f64>,
    /// Product of the emissions of a level's least stay, up to each tick.
    window: Vec<f64>,
    /// Probability of holding each level.
    holds: Vec<f64>,
    /// Probability of entering each level, before its emission; before the first tick, that of none.
    enters: Vec<f64>,
    /// Probability of having gone through the least stay, given that it was entered, and of all that follows; behind the last
    /// tick, of the part of the stay that is there.
    follows: Vec<f64>,
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
    match chain.levels() {
        0..=2 => forward_backward_of::<2>(chain, odds, log_emission, room),
        3 => forward_backward_of::<3>(chain, odds, log_emission, room),
        4 => forward_backward_of::<4>(chain, odds, log_emission, room),
        5 => forward_backward_of::<5>(chain, odds, log_emission, room),
        _ => forward_backward_of::<MOST_LEVELS>(chain, odds, log_emission, room),
    }
}

/// When less than this is left of all probability it is scaled up again. Far from where a double loses digits.
const FAINT: f64 = 1e-80;

fn forward_backward_of<const N: usize>(
    chain: &Chain,
    odds: &[f64],
    log_emission: &[f64],
    room: &mut Room,
) -> Posterior {
    let levels = chain.levels();
    let ticks = log_emission.len().checked_div(levels).unwrap_or(0);
    if ticks == 0 {
        return Posterior { level: Vec::new(), log_likelihood: 0.0 };
    }
    let mut lag = [0; N];
    (0..levels).for_each(|l| lag[l] = chain.min_ticks(l) - 1);
    let most = lag.iter().copied().max().unwrap_or(0);
    let sizes = [
        (&mut room.emission, ticks),
        (&mut room.window, ticks),
        (&mut room.holds, ticks),
        (&mut room.enters, most + ticks),
        (&mut room.follows, ticks + most),
    ];
    // What was there before is written over.
    let [emission, window, holds, enters, follows] = sizes.map(|(rows, size)| {
        rows.resize(size * N, 0.0);
        rows.as_chunks_mut::<N>().0
    });
    let mut log_likelihood = scaled_emission(log_emission, levels, emission);
    windows(&lag, emission, window);
    let usual = Moves::<N>::new(chain, 1.0);
    let told_at =
        |t: usize| odds.get(t).filter(|odds| **odds != 1.0).map(|&odds| Moves::<N>::new(chain, odds));

    holds[0] = std::array::from_fn(|l| chain.start.get(l).map_or(0.0, |start| start * emission[0][l]));
    enters[..=most].fill([0.0; N]);
    for t in 1..ticks {
        let told = told_at(t);
        let moves = told.as_ref().unwrap_or(&usual);
        let before = holds[t - 1];
        enters[most + t] = times(&moves.leave, &before);
        let recent = &enters[t..=t + most];
        let arrives: [f64; N] = std::array::from_fn(|l| recent[most - lag[l]][l]);
        let holding: [f64; N] =
            std::array::from_fn(|l| before[l] * (moves.stay[l] * emission[t][l]) + arrives[l] * window[t][l]);
        holds[t] = holding;
        let total: f64 = holding.iter().sum();
        if total < FAINT {
            let pending = pending(&lag, &emission[..=t], &enters[..=most + t]);
            let scale = (total + pending.iter().sum::<f64>()).max(f64::MIN_POSITIVE);
            log_likelihood += scale.ln();
            // As if the emission had been so much larger at this tick.
            for row in [&mut holds[t], &mut emission[t]] {
                row.iter_mut().for_each(|p| *p /= scale);
            }
            for (later, row) in window[t..].iter_mut().take(most + 1).enumerate() {
                (0..N).filter(|&l| later <= lag[l]).for_each(|l| row[l] /= scale);
            }
        }
    }

    let last = ticks - 1;
    let unfinished = pending(&lag, emission, enters);
    let mut level: [f64; N] = std::array::from_fn(|l| holds[last][l] + unfinished[l]);
    let total = level.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    log_likelihood += total.ln();
    level.iter_mut().for_each(|p| *p /= total);
    for l in 0..N {
        // A stay that the end cuts short counts for what there is of it.
        let mut part = 1.0 / total;
        for back in 1..=lag[l].min(ticks) {
            part *= emission[ticks - back][l];
            follows[ticks + lag[l] - back][l] = part;
        }
    }
    let mut probabilities = vec![0.0; ticks * levels];
    let mut after = [1.0 / total; N];
    for (t, out) in probabilities.chunks_exact_mut(levels).enumerate().rev() {
        for (out, p) in out.iter_mut().zip(&level) {
            *out = p.clamp(0.0, 1.0);
        }
        if t == 0 {
            break;
        }
        let told = told_at(t);
        let moves = told.as_ref().unwrap_or(&usual);
        let (row, before) = (window[t], holds[t - 1]);
        follows[t] = std::array::from_fn(|l| row[l] * after[l]);
        let ahead = &follows[t..=t + most];
        let entering: [f64; N] = std::array::from_fn(|l| ahead[lag[l]][l]);
        let leaves = times(&moves.enter, &entering);
        let enters = enters[most + t];
        for l in 0..N {
            level[l] += before[l] * leaves[l] - enters[l] * entering[l];
            after[l] = moves.stay[l] * emission[t][l] * after[l] + leaves[l];
        }
    }
    Posterior { level: probabilities, log_likelihood }
}

/// Emissions of each tick over the greatest of them; gives the sum of the logs of the greatest.
fn scaled_emission<const N: usize>(log_emission: &[f64], levels: usize, emission: &mut [[f64; N]]) -> f64 {
    let mut sum = 0.0;
    for (out, row) in emission.iter_mut().zip(log_emission.chunks_exact(levels)) {
        let top = row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        sum += top;
        out[levels..].fill(f64::NEG_INFINITY);
        for (e, log) in out.iter_mut().zip(row) {
            *e = log - top;
        }
    }
    // Four at a time.
    let (fours, rest) = emission.as_flattened_mut().as_chunks_mut::<4>();
    for four in fours {
        *four = f64x4::new(*four).exp().to_array();
    }
    rest.iter_mut().for_each(|e| *e = e.exp());
    sum
}

/// Product of each level's emissions over its least stay, or from the first tick on, up to each tick.
fn windows<const N: usize>(lag: &[usize; N], emission: &[[f64; N]], window: &mut [[f64; N]]) {
    let most = lag.iter().copied().max().unwrap_or(0);
    for (t, out) in window.iter_mut().enumerate() {
        let rows = &emission[t.saturating_sub(most)..=t];
        let mut product = [1.0; N];
        for row in rows {
            (0..N).for_each(|l| product[l] *= row[l]);
        }
        // Most have the longest; the others are done by themselves.
        for l in (0..N).filter(|&l| lag[l] < most) {
            product[l] = rows.iter().rev().take(lag[l] + 1).map(|row| row[l]).product();
        }
        *out = product;
    }
}

/// A matrix (rows first) times a vector from the left: each row by its own factor, summed.
fn times<const N: usize>(matrix: &[[f64; N]; N], factors: &[f64; N]) -> [f64; N] {
    let mut out = [0.0; N];
    for (row, factor) in matrix.iter().zip(factors) {
        (0..N).for_each(|l| out[l] += factor * row[l]);
    }
    out
}

/// Probability of having entered each level but not yet holding it at the last tick that is given.
fn pending<const N: usize>(lag: &[usize; N], emission: &[[f64; N]], enters: &[[f64; N]]) -> [f64; N] {
    std::array::from_fn(|l| {
        let mut product = 1.0;
        let stays = emission.iter().rev().zip(enters.iter().rev()).take(lag[l]);
        stays
            .map(|(e, enters)| {
                product *= e[l];
                enters[l] * product
            })
            .sum()
    })
}

/// The single most probable sequence of levels (Viterbi), in the log domain.
pub(super) fn viterbi(chain: &Chain, log_emission: &[f64]) -> Vec<usize> {
    viterbi_told(chain, &[], log_emission)
}

/// [`viterbi`] where leaving a level just before tick t is `odds[t]` times as probable as usual.
pub(super) fn viterbi_told(chain: &Chain, odds: &[f64], log_emission: &[f64]) -> Vec<usize> {
    match chain.levels() {
        0..=2 => viterbi_of::<2>(chain, odds, log_emission),
        3 => viterbi_of::<3>(chain, odds, log_emission),
        4 => viterbi_of::<4>(chain, odds, log_emission),
        5 => viterbi_of::<5>(chain, odds, log_emission),
        _ => viterbi_of::<MOST_LEVELS>(chain, odds, log_emission),
    }
}

/// Less likely than this is the same as this: sums of infinities would not be numbers.
const LEAST_LOG: f64 = -1e6;

fn viterbi_of<const N: usize>(chain: &Chain, odds: &[f64], log_emission: &[f64]) -> Vec<usize> {
    let levels = chain.levels();
    let ticks = log_emission.len().checked_div(levels).unwrap_or(0);
    let usual = Moves::<N>::new(chain, 1.0).log();
    // Sums of the log emissions before each tick, so that those of a least stay are one difference.
    let mut sums = vec![[0.0; N]; ticks + 1];
    for (t, row) in log_emission.chunks_exact(levels.max(1)).enumerate() {
        sums[t + 1] = std::array::from_fn(|l| sums[t][l] + row.get(l).map_or(0.0, |log| log.max(LEAST_LOG)));
    }
    let mut holds = [f64::NEG_INFINITY; N];
    // The best score on entering each level, and where from; whether what is held was held a tick before.
    let mut enters = vec![([f64::NEG_INFINITY; N], [0_u8; N]); ticks];
    let mut stayed = vec![[false; N]; ticks];
    for t in 0..ticks {
        if t == 0 {
            (0..levels).for_each(|l| holds[l] = chain.start[l].ln() + sums[1][l]);
            continue;
        }
        let told = odds.get(t).filter(|odds| **odds != 1.0).map(|&odds| Moves::new(chain, odds).log());
        let moves = told.as_ref().unwrap_or(&usual);
        let (scores, from) = &mut enters[t];
        for k in 0..levels {
            for l in 0..levels {
                let score = holds[k] + moves.leave[k][l];
                if score > scores[l] {
                    (scores[l], from[l]) = (score, k as u8);
                }
            }
        }
        for l in 0..levels {
            let emitted = |u: usize| sums[t + 1][l] - sums[u][l];
            let stay = holds[l] + moves.stay[l] + emitted(t);
            let arrive = (t + 1)
                .checked_sub(chain.min_ticks(l))
                .map_or(f64::NEG_INFINITY, |u| enters[u].0[l] + emitted(u));
            stayed[t][l] = stay >= arrive;
            holds[l] = stay.max(arrive);
        }
    }
    let mut path = vec![0; ticks];
    // Where the last stay began and of which level it is: held, or entered too late to be held.
    let mut best = (f64::NEG_INFINITY, 0, ticks);
    for l in 0..levels {
        let entered = (ticks + 1).saturating_sub(chain.min_ticks(l)).max(1)..ticks;
        let unfinished = entered.map(|u| (enters[u].0[l] + sums[ticks][l] - sums[u][l], l, u));
        for option in std::iter::once((holds[l], l, ticks)).chain(unfinished) {
            if option.0 > best.0 {
                best = option;
            }
        }
    }
    let (_, mut level, entered) = best;
    let mut end = ticks;
    if entered < ticks {
        path[entered..end].fill(level);
        level = usize::from(enters[entered].1[level]);
        end = entered;
    }
    while end > 0 {
        // The level is held at the tick before `end`.
        let mut held = end - 1;
        while held > 0 && stayed[held][level] {
            held -= 1;
        }
        let from = if held == 0 { 0 } else { held + 1 - chain.min_ticks(level) };
        path[from..end].fill(level);
        level = usize::from(enters[from].1[level]);
        end = from;
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
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/viterbi.py");
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
