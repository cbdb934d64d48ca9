//! [`Series`] → [`Segmentation`]: which gait, from when to when, and how sure.
//!
//! The way: `observe` lays the readings on an even grid of frames, `em` finds the states of moving that the recording shows,
//! `labels` says which gait each state is, `chain` finds the most probable sequence, `boundary` places each change between
//! samples, `bouts` sums up. What the runner's marks and the recorder's own guesses tell comes in by `side_information`, what the
//! runner's other recordings tell by `runner`. All settings stand in `config`; `docs/method.md` has the equations and sources.

pub mod agreement;
mod apart;
mod boundary;
mod bouts;
mod by_cadence;
mod certainty;
mod chain;
mod config;
mod delay;
mod em;
mod emission;
mod initial;
mod labels;
mod logistic;
mod m_step;
mod observe;
mod pieces;
mod runner;
mod sharpness;
mod side_information;
mod slope;
mod state;
mod weights;

pub use config::GaitConfig;
pub use runner::{GaitEvidence, RunnerEvidence, RunnerPrior, has_cadence};

use crate::clean::{Series, SpeedSource};
use chain::{MOST_STATES, Workspace, forward_backward, viterbi};
use config::grid::SEARCH_FRAMES;
use em::Fit;
use jogaudit_recording::notice::{Noted, NoticeCode};
use labels::{Evidence, Labels};
use observe::Observed;
use pieces::{JudgedPieces, Looks, Piece};
use side_information::SideInformation;
use state::{Rows, State};

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

/// A time of one gait.
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
    /// Probability that this time is of this gait, 0 to 1. For `unknown`: 1.
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

/// What [`segment`] may notice.
pub const NOTICES: [NoticeCode; 4] =
    [NoticeCode::GaitUnknown, NoticeCode::GuessDiffers, NoticeCode::GaitDoubtful, NoticeCode::SlopesUnknown];

/// Works out the bouts of one series. What the runner's other recordings tell comes in by `runner`.
pub fn segment(series: &Series, config: &GaitConfig, runner: Option<&RunnerPrior>) -> Noted<Segmentation> {
    let observed = observe::observe(series, config.silent_s);
    let Some(model) = Model::fit(series, &observed, config, runner) else {
        return bouts::nothing_known(series);
    };
    let mut found = bouts::assemble(series, &observed, &model);
    found.notices.extend(side_information::disagreement(series, &found.value));
    found
}

/// A fitted and labelled recording.
struct Model {
    fit: Fit,
    /// Which gait each moving state is.
    labels: Labels,
    /// The most probable state at each frame, a path a segment.
    paths: Vec<Vec<State>>,
    /// The pieces of each path, with what each is.
    pieces: JudgedPieces,
}

impl Model {
    /// Fits one state, two, and so on, takes the number with the best score, and labels the states. `None` of too few readings.
    fn fit(
        series: &Series,
        observed: &Observed,
        config: &GaitConfig,
        runner: Option<&RunnerPrior>,
    ) -> Option<Self> {
        // The search goes over a coarser grid, where a step costs a third; the result is refined on the fine one.
        let coarse = observed.coarser(SEARCH_FRAMES);
        let most = config.most_moving_states.min(MOST_STATES - 1);
        let mut fit = em::refine(observed, em::search(&coarse, most)?);
        let (chain, moving) = (fit.chain(observed), fit.states.len());
        let path = |leave_odds: &[f64], table: &Rows| -> Vec<State> {
            let columns = viterbi(&chain, leave_odds, table);
            columns.into_iter().map(|column| State::of_column(column, moving)).collect()
        };
        let mut paths: Vec<Vec<State>> =
            observed.segments.iter().map(|segment| path(&[], &fit.emission(segment))).collect();
        let sharpness = sharpness::sharpness(observed, &paths, &fit);
        let said = SideInformation::of(series, observed);
        let confusion = said.confusion(&fit.posteriors, moving);
        let side_log_odds = side_information::run_log_odds(&confusion);
        let evidence = Evidence {
            states: &fit.states,
            weights: fit.weights,
            sharpness: &sharpness,
            side_log_odds: &side_log_odds,
        };
        let labels = labels::label(&evidence, runner);
        // The states are the readings' own; only which of them holds when is open to what was said.
        if !said.is_silent() {
            let mut workspace = Workspace::default();
            for (k, segment) in observed.segments.iter().enumerate() {
                let mut table = fit.emission(segment);
                said.add_guesses(k, &confusion, &mut table);
                let odds = said.leave_odds(k);
                paths[k] = path(odds, &table);
                forward_backward(&chain, odds, &table, &mut workspace, &mut fit.posteriors[k]);
            }
        }
        apart::set_apart(observed, &mut fit, &mut paths);
        let by_positions = series.speed_source() == SpeedSource::Positions;
        let pieces =
            pieces::judged(observed, &fit, &labels, &paths, by_positions, bouts::slopes_are_unseen(series));
        Some(Self { fit, labels, paths, pieces })
    }

    /// The gait of a state: standing, or by its label.
    fn gait_of(&self, state: State) -> Gait {
        match state {
            State::Standing => Gait::Stand,
            State::Moving(k) if self.labels.run[k] >= 0.5 => Gait::Run,
            State::Moving(_) => Gait::Walk,
        }
    }
}

/// A time in one state and what its gait is judged by: for fitting the judges (`benches/accuracy --pieces`).
#[doc(hidden)]
#[derive(Clone, Debug)]
pub struct JudgedPiece {
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// Whether cadence tells.
    pub has_cadence: bool,
    /// What it is judged by.
    pub features: Vec<f64>,
}

/// The pieces of a series that are judged.
#[doc(hidden)]
pub fn judged_pieces(series: &Series, config: &GaitConfig) -> Vec<JudgedPiece> {
    let observed = observe::observe(series, config.silent_s);
    let Some(model) = Model::fit(series, &observed, config, None) else { return Vec::new() };
    let by_segment = observed.segments.iter().zip(&model.pieces.segments);
    let of = |segment: &observe::Segment, piece: &Piece| {
        let at_s = |frame: usize| segment.edge_s(frame, observed.frame_s);
        let (has_cadence, features) = match piece.looks? {
            Looks::WithCadence(figures) => (true, figures.to_vec()),
            Looks::WithoutCadence(figures) => (false, figures.to_vec()),
        };
        let (start_s, end_s) = (at_s(piece.frames.start), at_s(piece.frames.end));
        Some(JudgedPiece { start_s, end_s, has_cadence, features })
    };
    by_segment
        .flat_map(|(segment, pieces)| pieces.iter().filter_map(move |piece| of(segment, piece)))
        .collect()
}

/// A bout of a recording without cadence there, and what its certainty is reckoned from.
#[doc(hidden)]
#[derive(Clone, Copy, Debug)]
pub struct LookedAt {
    /// Run or walk.
    pub gait: Gait,
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// What it looks like.
    pub features: [f64; certainty::BOUT_FEATURES],
}

/// The bouts of a series whose certainty cadence does not tell.
#[doc(hidden)]
pub fn looked_at_bouts(series: &Series, config: &GaitConfig) -> Vec<LookedAt> {
    let observed = observe::observe(series, config.silent_s);
    let model = Model::fit(series, &observed, config, None);
    model.map_or_else(Vec::new, |model| bouts::looked_at(&observed, &model))
}

#[cfg(test)]
mod tests;
