//! What a recording's own cadence says: the truth that everything here is held against.

use jogaudit_core::clean::Series;
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::GaitSpan;

/// Steps a minute, both feet: running from here on, walking up to there. The published band of the change is 135 to 140
/// (Hum Mov Sci 2023;90:103117); what lies between is not told.
const RUN_SPM: f64 = 145.0;
const WALK_SPM: f64 = 135.0;
/// Fewer steps a minute are neither. Our choice.
const LEAST_SPM: f64 = 60.0;
/// Slower is standing, whatever the cadence says, m/s. Our choice.
const MOVING_MPS: f64 = 0.5;
/// Half the width of the median, s. Our choice.
const HALF_MEDIAN_S: f64 = 3.0;
/// Silences longer than this, s, tell nothing; shorter untold stretches and shorter bouts are joined to what is around them.
const SILENCE_S: f64 = 15.0;
const SHORTEST_S: f64 = 10.0;
/// A recording serves if so much of it is told, s, and so much of the time in motion has a cadence.
const LEAST_TOLD_S: f64 = 300.0;
const LEAST_KNOWN: f64 = 0.8;
/// Steps on foot are so long, m, nine times out of ten; the crank of a bicycle gives longer ones.
const STEPS_M: std::ops::RangeInclusive<f64> = 0.3..=1.9;

/// Runs and walks, with `unknown` between them where the cadence tells neither.
pub(crate) struct Truth {
    pub(crate) spans: Vec<GaitSpan>,
    pub(crate) run_s: f64,
    pub(crate) walk_s: f64,
}

impl Truth {
    /// Of a cleaned recording with its cadence; `None` when that does not tell runs and walks apart.
    pub(crate) fn of(series: &Series) -> Option<Self> {
        let speed_mps = series.speed_mps();
        let moving: Vec<usize> = (0..series.time_s().len())
            .filter(|&i| speed_mps[i].is_some_and(|speed| speed > 2.0 * MOVING_MPS))
            .collect();
        let steps_m: Vec<f64> = moving
            .iter()
            .filter_map(|&i| Some(60.0 * speed_mps[i]? / series.cadence_spm()[i].filter(|spm| *spm > 0.0)?))
            .collect();
        let on_foot = steps_m.iter().filter(|step_m| STEPS_M.contains(*step_m)).count();
        if (steps_m.len() as f64) < LEAST_KNOWN * moving.len() as f64 || on_foot * 10 < steps_m.len() * 9 {
            return None;
        }
        let spans = joined(&told(series));
        let sum = |gait| spans.iter().filter(|s| s.gait == gait).map(|s| s.end_s - s.start_s).sum::<f64>();
        let (run_s, walk_s) = (sum(Gait::Run), sum(Gait::Walk));
        (run_s + walk_s >= LEAST_TOLD_S).then_some(Self { spans, run_s, walk_s })
    }

    /// Seconds of `gait` between two times.
    pub(crate) fn seconds(&self, gait: Gait, start_s: f64, end_s: f64) -> f64 {
        let shared = |s: &&GaitSpan| s.gait == gait;
        self.spans.iter().filter(shared).map(|s| (s.end_s.min(end_s) - s.start_s.max(start_s)).max(0.0)).sum()
    }

    /// Whether the cadence says `gait` at a time.
    pub(crate) fn is(&self, gait: Gait, at_s: f64) -> bool {
        self.spans.iter().any(|s| s.gait == gait && s.start_s <= at_s && at_s < s.end_s)
    }
}

/// Gait by sample, as spans that tile the recording.
fn told(series: &Series) -> Vec<GaitSpan> {
    let time_s = series.time_s();
    let cadence_spm = median_within(time_s, series.cadence_spm(), HALF_MEDIAN_S);
    let gait = |i: usize| match (cadence_spm[i], series.speed_mps()[i]) {
        (_, Some(speed)) if speed < MOVING_MPS => Gait::Unknown,
        (Some(spm), _) if spm >= RUN_SPM => Gait::Run,
        (Some(spm), _) if (LEAST_SPM..=WALK_SPM).contains(&spm) => Gait::Walk,
        _ => Gait::Unknown,
    };
    tile(series, gait)
}

/// Spans of the samples' gaits: each sample stands for the time up to halfway to its neighbours, and none for a silence.
pub(crate) fn tile(series: &Series, gait: impl Fn(usize) -> Gait) -> Vec<GaitSpan> {
    let time_s = series.time_s();
    let mut spans = Vec::new();
    let mut start_s = 0.0;
    for i in 0..time_s.len() {
        let (end_s, next_s) = match time_s.get(i + 1) {
            Some(next_s) if next_s - time_s[i] > SILENCE_S => (time_s[i], *next_s),
            Some(next_s) => [f64::midpoint(time_s[i], *next_s); 2].into(),
            None => [series.elapsed_s(); 2].into(),
        };
        push(&mut spans, GaitSpan { gait: gait(i), start_s, end_s });
        push(&mut spans, GaitSpan { gait: Gait::Unknown, start_s: end_s, end_s: next_s });
        start_s = next_s;
    }
    spans
}

fn push(spans: &mut Vec<GaitSpan>, span: GaitSpan) {
    if span.end_s <= span.start_s {
        return;
    }
    match spans.last_mut() {
        Some(last) if last.gait == span.gait => last.end_s = span.end_s,
        _ => spans.push(span),
    }
}

/// Short untold stretches go half to each side; then the shortest bout that is too short goes to its neighbours, until none is.
fn joined(spans: &[GaitSpan]) -> Vec<GaitSpan> {
    let mut bridged = Vec::new();
    for (i, span) in spans.iter().enumerate() {
        let between = i > 0 && i + 1 < spans.len() && span.gait == Gait::Unknown;
        if between && span.end_s - span.start_s <= SHORTEST_S {
            let middle_s = f64::midpoint(span.start_s, span.end_s);
            push(&mut bridged, GaitSpan { gait: spans[i - 1].gait, end_s: middle_s, ..*span });
            push(&mut bridged, GaitSpan { gait: spans[i + 1].gait, start_s: middle_s, ..*span });
        } else {
            push(&mut bridged, *span);
        }
    }
    let length_s = |s: &GaitSpan| s.end_s - s.start_s;
    loop {
        let told = (0..bridged.len()).filter(|&i| bridged[i].gait != Gait::Unknown);
        let Some(shortest) = told.min_by(|&a, &b| length_s(&bridged[a]).total_cmp(&length_s(&bridged[b])))
        else {
            return bridged;
        };
        if length_s(&bridged[shortest]) >= SHORTEST_S {
            return bridged;
        }
        let before = shortest.checked_sub(1).map(|i| bridged[i].gait);
        let after = bridged.get(shortest + 1).map(|s| s.gait);
        bridged[shortest].gait = before.filter(|gait| Some(*gait) == after).unwrap_or(Gait::Unknown);
        let mut again = Vec::new();
        bridged.iter().for_each(|span| push(&mut again, *span));
        bridged = again;
    }
}

/// Median of the known values within `half_s` of each sample.
pub(crate) fn median_within(time_s: &[f64], column: &[Option<f64>], half_s: f64) -> Vec<Option<f64>> {
    let (mut from, mut to) = (0, 0);
    let around = |i: usize| {
        while time_s[i] - time_s[from] > half_s {
            from += 1;
        }
        while to < time_s.len() && time_s[to] - time_s[i] <= half_s {
            to += 1;
        }
        let mut known: Vec<f64> = column[from..to].iter().flatten().copied().collect();
        known.sort_by(f64::total_cmp);
        known.get(known.len() / 2).copied()
    };
    (0..time_s.len()).map(around).collect()
}
