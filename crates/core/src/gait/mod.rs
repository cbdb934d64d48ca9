//! [`Series`] → [`Segmentation`]: which gait, from when to when, and how sure.
//!
//! The way, which `judged` goes: `observe` lays the readings on an even grid of frames, `figures` says what is seen of each and of the
//! whole, `scorer` how probable each gait is there, `path` finds the most probable sequence, `levels` the speed and cadence of each
//! gait, `boundary` places each change between samples, `certainty` says how sure a bout is, `bouts` sums up. What the runner's marks
//! and the recorder's own guesses tell comes in by `side_information`, what the runner's other recordings tell by `runner`. All
//! settings stand in `config`; `docs/method.md` has the equations and sources.

pub mod agreement;
mod boundary;
mod bouts;
mod certainty;
mod config;
mod delay;
mod figures;
mod gaussian;
mod judged;
mod learnt;
mod levels;
mod network;
mod nobody;
mod observe;
mod path;
mod runner;
mod scorer;
mod segmentation;
mod side_information;
mod slope;

#[doc(hidden)]
pub use bouts::LookedAt;
pub use config::GaitConfig;
pub(crate) use config::bouts::HIDDEN_S;
pub use runner::{RunnerEvidence, RunnerPrior, has_cadence};

pub use segmentation::{Bout, Gait, Segmentation};

use crate::clean::Series;
use jogaudit_recording::notice::{Noted, NoticeCode};
use judged::Judged;

/// What [`segment`] may notice.
pub const NOTICES: [NoticeCode; 4] =
    [NoticeCode::GaitUnknown, NoticeCode::GuessDiffers, NoticeCode::GaitDoubtful, NoticeCode::SlopesUnknown];

/// Works out the bouts of one series. What the runner's other recordings tell comes in by `runner`.
pub fn segment(series: &Series, config: &GaitConfig, runner: Option<&RunnerPrior>) -> Noted<Segmentation> {
    let observed = observe::observe(series, config.silent_s);
    if !observed.is_enough() {
        return bouts::nothing_known(series);
    }
    let judged = Judged::of(series, &observed, runner);
    let mut found = bouts::assemble(series, &observed, &judged);
    found.notices.extend(side_information::disagreement(series, &found.value));
    found
}

/// The bouts of a series and what their certainty is reckoned from.
#[doc(hidden)]
pub fn looked_at_bouts(series: &Series, config: &GaitConfig) -> Vec<LookedAt> {
    let observed = observe::observe(series, config.silent_s);
    bouts::looked_at(&observed, &Judged::of(series, &observed, None))
}

/// What is read at each frame of a time with data: what the scorer of frames is fitted on (`benches/frames.py`).
#[doc(hidden)]
#[derive(Clone, Debug)]
pub struct ReadFrames {
    /// Middle of the first frame, s from the start of the series.
    pub start_s: f64,
    /// Seconds between frames.
    pub frame_s: f64,
    /// Speed, m/s; what is not known is not a number.
    pub speed_mps: Vec<f64>,
    /// Steps a minute, both feet; what is not known is not a number.
    pub cadence_spm: Vec<f64>,
    /// Beats a minute; what is not known is not a number.
    pub heart_rate_bpm: Vec<f64>,
    /// Rise over run of the ground.
    pub slope: Vec<f64>,
}

/// The frames of a series.
#[doc(hidden)]
pub fn read_frames(series: &Series, config: &GaitConfig) -> Vec<ReadFrames> {
    let observed = observe::observe(series, config.silent_s);
    let known = |column: &[Option<f64>]| column.iter().map(|v| v.unwrap_or(f64::NAN)).collect();
    observed
        .segments
        .iter()
        .map(|s| ReadFrames {
            start_s: s.start_s,
            frame_s: observed.frame_s,
            speed_mps: known(&s.speed_mps),
            cadence_spm: known(&s.cadence_spm),
            heart_rate_bpm: known(&s.heart_rate_bpm),
            slope: s.slope.clone(),
        })
        .collect()
}

#[cfg(test)]
mod tests;
