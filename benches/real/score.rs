//! What is counted on one recording or on many.

use jogaudit_core::clean::{CleanConfig, Series, clean};
use jogaudit_core::gait::agreement::{GaitSpan, matched, shared_time_s};
use jogaudit_core::gait::{Bout, Gait, GaitConfig, segment};
use jogaudit_recording::read::Recording;

use crate::judged::Judged;
use crate::truth::{Truth, median_within, tile};

/// The bare threshold, m/s, half the width of the median before it, s, and the speed below which it says standing, m/s.
const THRESHOLD_MPS: f64 = 1.9;
const HALF_MEDIAN_S: f64 = 4.5;
const STAND_MPS: f64 = 0.5;
/// A bout is judged if the cadence tells so much of it.
const JUDGED: f64 = 0.5;

/// Bouts of ours and of the bare threshold on the same cleaned recording.
pub(crate) struct Both {
    pub(crate) ours: Vec<Bout>,
    pub(crate) bare: Vec<GaitSpan>,
}

impl Both {
    pub(crate) fn of(recording: &Recording) -> Self {
        let series = clean(recording, &CleanConfig::default()).value;
        let ours = segment(&series, &GaitConfig::default(), None).value.bouts().to_vec();
        Self { ours, bare: threshold(&series) }
    }
}

fn threshold(series: &Series) -> Vec<GaitSpan> {
    let speed_mps = median_within(series.time_s(), series.speed_mps(), HALF_MEDIAN_S);
    tile(series, |i| match speed_mps[i] {
        None => Gait::Unknown,
        Some(speed) if speed >= THRESHOLD_MPS => Gait::Run,
        Some(speed) if speed < STAND_MPS => Gait::Stand,
        Some(_) => Gait::Walk,
    })
}

/// Sums over recordings.
#[derive(Clone, Copy, Default)]
pub(crate) struct Score {
    pub(crate) recordings: usize,
    pub(crate) right_s: f64,
    pub(crate) told_s: f64,
    matched: usize,
    events: usize,
    exact: usize,
}

impl Score {
    pub(crate) fn of(truth: &Truth, spans: &[GaitSpan]) -> Self {
        let told: Vec<GaitSpan> = truth.spans.iter().filter(|s| s.gait != Gait::Unknown).copied().collect();
        let in_question = |s: &&GaitSpan| matches!(s.gait, Gait::Run | Gait::Walk) && is_judged(truth, s);
        let found: Vec<GaitSpan> = spans.iter().filter(in_question).copied().collect();
        let (right_s, told_s) = shared_time_s(&told, spans);
        let pairs = matched(&told, &found, 0.5).len();
        Self {
            recordings: 1,
            right_s,
            told_s,
            matched: pairs,
            events: told.len() + found.len(),
            exact: usize::from(told.len() == found.len() && pairs == told.len()),
        }
    }

    pub(crate) fn add(&mut self, other: &Self) {
        self.recordings += other.recordings;
        self.right_s += other.right_s;
        self.told_s += other.told_s;
        self.matched += other.matched;
        self.events += other.events;
        self.exact += other.exact;
    }

    /// Share of the told seconds.
    pub(crate) fn right(&self) -> f64 {
        self.right_s / self.told_s
    }

    pub(crate) fn event_f1(&self) -> f64 {
        2.0 * self.matched as f64 / self.events as f64
    }

    pub(crate) fn exact(&self) -> usize {
        self.exact
    }
}

fn told_s(truth: &Truth, span: &GaitSpan) -> [f64; 2] {
    [Gait::Run, Gait::Walk].map(|gait| truth.seconds(gait, span.start_s, span.end_s))
}

fn is_judged(truth: &Truth, span: &GaitSpan) -> bool {
    told_s(truth, span).iter().sum::<f64>() >= JUDGED * (span.end_s - span.start_s)
}

/// Bouts of ours of running or walking that the cadence judges.
pub(crate) fn judge(truth: &Truth, bouts: &[Bout]) -> Vec<Judged> {
    let judged = |bout: &Bout| {
        let span = GaitSpan::from(bout);
        let [run_s, walk_s] = told_s(truth, &span);
        let (own_s, other_s) = match bout.gait {
            Gait::Run => (run_s, walk_s),
            Gait::Walk => (walk_s, run_s),
            Gait::Stand | Gait::Unknown => return None,
        };
        let (length_s, certainty) = (bout.duration_s(), bout.certainty);
        is_judged(truth, &span).then(|| Judged::new(bout.gait, certainty, length_s, own_s, other_s))
    };
    bouts.iter().filter_map(judged).collect()
}
