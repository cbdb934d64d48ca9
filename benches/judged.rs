//! Whether bouts of running and walking are right, and how that fits with how certain they were said to be.

use jogaudit_core::gait::Gait;

/// A bout that hides so much of another gait, s, or more of it than of its own, is wrong.
pub(crate) const HIDDEN_S: f64 = 20.0;

/// A bout of ours of running or walking beside the truth.
#[derive(Clone, Copy)]
pub(crate) struct Judged {
    pub(crate) gait: Gait,
    pub(crate) certainty: f64,
    pub(crate) length_s: f64,
    pub(crate) right: bool,
}

impl Judged {
    /// A bout with the seconds of its own gait and of others in it.
    pub(crate) fn new(gait: Gait, certainty: f64, length_s: f64, own_s: f64, other_s: f64) -> Self {
        Self { gait, certainty, length_s, right: other_s < HIDDEN_S && other_s <= own_s }
    }
}

/// Number of bouts said with a certainty in a band, and how many of them are right.
pub(crate) fn in_band(bouts: &[Judged], from: f64, to: f64) -> (usize, usize) {
    let band = bouts.iter().filter(|b| b.certainty >= from && b.certainty < to);
    (band.clone().count(), band.filter(|b| b.right).count())
}

/// Expected calibration error over ten bins of certainty.
pub(crate) fn calibration_error(bouts: &[Judged]) -> f64 {
    let mut bins = [0.0_f64; 10];
    for bout in bouts {
        bins[((bout.certainty * 10.0) as usize).min(9)] += bout.certainty - f64::from(u8::from(bout.right));
    }
    bins.iter().map(|off| off.abs()).sum::<f64>() / bouts.len() as f64
}
