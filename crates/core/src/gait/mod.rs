//! [`Series`] → [`Segmentation`]: which gait, from when to when, and how sure.
//!
//! The way, which `model` goes: `observe` lays the readings on an even grid of frames, `em` finds the states of moving that the
//! recording shows, `labels` says which gait each state is, `chain` finds the most probable sequence, `pieces` judges each part of
//! it, `boundary` places each change between samples, `bouts` sums up. What the runner's marks and the recorder's own guesses tell
//! comes in by `side_information`, what the runner's other recordings tell by `runner`. All settings stand in `config`;
//! `docs/method.md` has the equations and sources.

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
mod fit;
mod gaussian;
mod initial;
mod labels;
mod logistic;
mod m_step;
mod model;
mod moving;
mod observe;
mod piece;
mod pieces;
mod runner;
mod segmentation;
mod sharpness;
mod side_information;
mod slope;
mod state;
mod weights;
mod whole;

#[doc(hidden)]
pub use bouts::LookedAt;
pub use config::GaitConfig;
pub use runner::{GaitEvidence, RunnerEvidence, RunnerPrior, has_cadence};

pub use segmentation::{Bout, Gait, Segmentation};

use crate::clean::Series;
use jogaudit_recording::notice::{Noted, NoticeCode};
use model::Model;
use piece::{Looks, Piece};

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

/// The bouts of a series whose certainty cadence does not tell.
#[doc(hidden)]
pub fn looked_at_bouts(series: &Series, config: &GaitConfig) -> Vec<LookedAt> {
    let observed = observe::observe(series, config.silent_s);
    let model = Model::fit(series, &observed, config, None);
    model.map_or_else(Vec::new, |model| bouts::looked_at(&observed, &model))
}

#[cfg(test)]
mod tests;
