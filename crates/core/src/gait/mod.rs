//! [`Series`] → [`Segmentation`]: which gait, from when to when, and how sure.
//!
//! The way: `observe` lays the readings on an even grid, `adapt` finds the levels of moving that the recording shows,
//! `labels` says which gait each level is, `decode` finds the most probable sequence, `boundary` places each change between
//! samples, `bouts` sums up. What the runner's marks and the recorder's own guesses tell comes in by `evidence`. `docs/method.md` has the equations and sources.

mod adapt;
pub mod agreement;
mod boundary;
mod bouts;
mod decode;
mod emission;
mod evidence;
mod labels;
mod observe;
mod start;

use crate::clean::Series;
use jogaudit_recording::notice::Noted;

/// How a person moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Gait {
    /// Running or jogging, however slow.
    Run,
    /// Walking, however fast.
    Walk,
    /// Standing.
    Stand,
    /// No usable data.
    Unknown,
}

impl Gait {
    /// Lower-case word as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::Stand => "stand",
            Self::Unknown => "unknown",
        }
    }
}

/// A stretch of one gait.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bout {
    /// Which gait.
    pub gait: Gait,
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// Standard error of `start_s`, s. 0 at the ends of the recording.
    pub start_error_s: f64,
    /// Standard error of `end_s`, s.
    pub end_error_s: f64,
    /// Probability that this stretch is this gait, 0 to 1. For `unknown`: 1.
    pub certainty: f64,
    /// Distance covered, m.
    pub distance_m: Option<f64>,
    /// Mean speed, m/s.
    pub mean_speed_mps: Option<f64>,
    /// Mean cadence, steps a minute, both feet.
    pub mean_cadence_spm: Option<f64>,
    /// Mean heart rate, beats a minute.
    pub mean_heart_rate_bpm: Option<f64>,
}

impl Bout {
    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Bouts that tile a recording from 0 to its end: no gap, no overlap, neighbours differ in gait.
#[derive(Clone, Debug, PartialEq)]
pub struct Segmentation {
    bouts: Vec<Bout>,
}

impl Segmentation {
    /// Checks that the bouts tile from 0 and wraps them. `None` when they do not.
    pub fn new(bouts: Vec<Bout>) -> Option<Self> {
        let starts_at_zero = bouts.first().is_none_or(|b| b.start_s == 0.0);
        let tiles = bouts.windows(2).all(|w| w[0].end_s == w[1].start_s && w[0].gait != w[1].gait);
        let ordered = bouts.iter().all(|b| b.end_s >= b.start_s);
        (starts_at_zero && tiles && ordered).then_some(Self { bouts })
    }

    /// One bout of which nothing is known, from 0 to `elapsed_s`.
    pub fn unknown(elapsed_s: f64) -> Self {
        Self { bouts: vec![bouts::blank(Gait::Unknown, 0.0, elapsed_s)] }
    }

    /// The bouts in order of time.
    pub fn bouts(&self) -> &[Bout] {
        &self.bouts
    }

    /// Seconds from the first bout's start to the last one's end.
    pub fn elapsed_s(&self) -> f64 {
        self.bouts.last().map_or(0.0, |b| b.end_s)
    }
}

/// Parameters of the gait model, each with its source in `docs/method.md`.
#[derive(Clone, Debug)]
pub struct GaitConfig {
    /// A stretch without any speed or cadence for longer than this, s, is unknown.
    pub silent_s: f64,
    /// Most ways of moving that are told apart in one recording, standing not counted: 1 to 7.
    pub most_levels: usize,
}

impl Default for GaitConfig {
    fn default() -> Self {
        Self { silent_s: 15.0, most_levels: 4 }
    }
}

/// Works out the bouts of one series.
pub fn segment(series: &Series, config: &GaitConfig) -> Noted<Segmentation> {
    let observed = observe::observe(series, config.silent_s);
    let Some(model) = model(series, &observed, config) else { return bouts::nothing_known(series) };
    let mut found = bouts::assemble(series, &observed, &model);
    found.notices.extend(evidence::disagreement(series, &found.value));
    found
}

/// A fitted and labelled recording.
struct Model {
    fit: adapt::Fit,
    /// For each level, the probability that it is a run.
    run: Vec<f64>,
    /// The most probable level at each tick, a path a stretch; the level after the last is standing.
    paths: Vec<Vec<usize>>,
}

/// Ticks of the fine grid that make one of the grid that is searched.
const SEARCH_TICKS: usize = 3;

/// Fits one level, two, and so on, and takes the number with the best evidence.
fn model(series: &Series, observed: &observe::Observed, config: &GaitConfig) -> Option<Model> {
    // The search goes over a coarser grid, where a step costs a tenth; the result is settled on the fine one.
    let coarse = observed.coarser(SEARCH_TICKS);
    let mut fit =
        adapt::settle(observed, adapt::search(&coarse, config.most_levels.min(decode::MOST_LEVELS - 1))?);
    let chain = fit.chain();
    let mut paths: Vec<Vec<usize>> =
        observed.stretches.iter().map(|s| decode::viterbi(&chain, &fit.emission(s))).collect();
    let has = |pick: fn(&observe::Stretch) -> &Vec<Option<f64>>| {
        let known: usize = observed.stretches.iter().map(|s| pick(s).iter().flatten().count()).sum();
        known >= 10
    };
    let (has_speed, has_cadence) = (has(|s| &s.speed_mps), has(|s| &s.cadence_spm));
    let seen: Vec<labels::Seen> =
        fit.levels.iter().map(|&level| labels::Seen { level, has_speed, has_cadence }).collect();
    let sharpness: Vec<Option<labels::Sharpness>> =
        (1..fit.levels.len()).map(|high| bouts::sharpness(observed, &paths, &fit, high - 1, high)).collect();
    let evidence = evidence::Evidence::of(series, observed);
    let habits = evidence.habits(&fit.posteriors, fit.levels.len());
    let run = labels::run_probabilities(&seen, &sharpness, &evidence::run_log_odds(&habits));
    // The levels are the readings' own; only which of them holds when is open to what was said.
    if !evidence.is_silent() {
        for (k, stretch) in observed.stretches.iter().enumerate() {
            let mut table = fit.emission(stretch);
            evidence.add_guesses(k, &habits, &mut table);
            let odds = evidence.changes(k);
            paths[k] = decode::viterbi_told(&chain, odds, &table);
            fit.posteriors[k] =
                decode::forward_backward_told(&chain, odds, &table, &mut decode::Room::default());
        }
    }
    Some(Model { fit, run, paths })
}

#[cfg(test)]
mod tests;
