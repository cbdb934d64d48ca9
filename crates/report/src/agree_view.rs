//! The figures of agreement → the document `jogaudit.agree/1`.
//!
//! Seconds have three decimals and shares six. The figures of scores are not rounded, since their units are not known.

use serde::Serialize;

use jogaudit_core::agree::bootstrap::{Intervals, Resampling};
use jogaudit_core::agree::bouts::{Events, GAITS, OVERLAP_SHARES, Tally};
use jogaudit_core::agree::scores::{CONFIDENCE, ConfidenceInterval, Estimate};
use jogaudit_core::agree::{ComparedBouts, ComparedColumn, ComparedScores, Undefined};
use jogaudit_recording::notice::Notice;

use super::document::document;
use super::numbers::rounded;
use super::view::{self, NoticeView};

/// The document of bouts.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct AgreedBoutsView {
    pub schema: &'static str,
    pub kind: &'static str,
    pub recordings: RecordingsView,
    pub compared_s: f64,
    pub accuracy: FigureView,
    pub kappa: FigureView,
    pub time_s: Vec<TimeView>,
    pub events: Vec<EventsView>,
    pub boundaries: BoundariesView,
    pub intervals: IntervalsView,
    pub each: Vec<OneView>,
    pub notices: Vec<NoticeView>,
}

/// How many recordings were compared, and the names of those that were not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RecordingsView {
    pub compared: usize,
    pub only_reference: Vec<String>,
    pub only_other: Vec<String>,
}

/// A figure, or why there is none.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct FigureView {
    pub value: Option<f64>,
    pub reason: Option<String>,
}

/// A row of the table of time: seconds that the other side names each gait while the reference names `reference`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct TimeView {
    pub reference: &'static str,
    pub run: f64,
    pub walk: f64,
    pub stand: f64,
    pub unknown: f64,
}

/// Bouts of a gait, or of all.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct EventsView {
    pub gait: &'static str,
    pub reference: usize,
    pub other: usize,
    pub at: Vec<MatchedView>,
}

/// Events matched at one overlap share.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct MatchedView {
    pub overlap_share: f64,
    pub matched: usize,
    pub f1: FigureView,
}

/// The boundaries of matched bouts.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct BoundariesView {
    pub count: usize,
    pub bias_s: Option<f64>,
    pub median_s: Option<f64>,
    pub p95_s: Option<f64>,
    pub reason: Option<String>,
}

/// Intervals over recordings: how they were made, and that of each figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct IntervalsView {
    pub method: &'static str,
    pub confidence: f64,
    pub resamples: u32,
    pub seed: u64,
    pub accuracy: IntervalView,
    pub kappa: IntervalView,
    pub f1: Vec<F1IntervalView>,
    pub bias_s: IntervalView,
    pub median_s: IntervalView,
    pub p95_s: IntervalView,
}

/// An interval, or why there is none.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct IntervalView {
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub reason: Option<String>,
}

/// The interval of the F1 of all events at one overlap share.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct F1IntervalView {
    pub overlap_share: f64,
    #[serde(flatten)]
    pub interval: IntervalView,
}

/// One recording.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct OneView {
    pub name: String,
    pub compared_s: f64,
    pub accuracy: FigureView,
    pub kappa: FigureView,
    pub event_f1: FigureView,
}

/// The document of scores.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct AgreedScoresView {
    pub schema: &'static str,
    pub kind: &'static str,
    pub key: Vec<String>,
    pub rows: RowsView,
    pub confidence: f64,
    pub columns: Vec<ColumnView>,
    pub notices: Vec<NoticeView>,
}

/// How many rows there are, were joined, and the keys of those that were not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct RowsView {
    pub reference: usize,
    pub other: usize,
    pub joined: usize,
    pub only_reference: Vec<String>,
    pub only_other: Vec<String>,
}

/// One column.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct ColumnView {
    pub column: String,
    pub pairs: usize,
    pub missing: usize,
    pub bias: EstimateView,
    pub sd_of_differences: FigureView,
    pub lower_limit: EstimateView,
    pub upper_limit: EstimateView,
    pub icc_2_1: EstimateView,
    pub concordance: EstimateView,
}

/// An estimate with its interval, or why one or both are missing.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct EstimateView {
    pub value: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub reason: Option<String>,
}

impl AgreedBoutsView {
    /// Rounds and names.
    pub fn new(compared: &ComparedBouts, how: Resampling, notices: &[Notice]) -> Self {
        let sum = &compared.sum;
        let [only_reference, only_other] = compared.unmatched.clone();
        let error = sum.boundary_error();
        let of_boundaries = |pick: fn(&jogaudit_core::agree::bouts::BoundaryError) -> f64| {
            error.as_ref().ok().map(|error| rounded(pick(error), 1e3))
        };
        Self {
            schema: "jogaudit.agree/1",
            kind: "bouts",
            recordings: RecordingsView { compared: compared.each.len(), only_reference, only_other },
            compared_s: rounded(sum.compared_s(), 1e3),
            accuracy: share(sum.accuracy()),
            kappa: share(sum.kappa()),
            time_s: GAITS
                .iter()
                .zip(&sum.time_s)
                .map(|(gait, row)| TimeView::new(gait.word(), row))
                .collect(),
            events: GAITS
                .iter()
                .zip(&sum.events)
                .map(|(gait, events)| EventsView::new(gait.word(), events))
                .chain([EventsView::new("all", &sum.all_events())])
                .collect(),
            boundaries: BoundariesView {
                count: sum.boundaries_s.len(),
                bias_s: of_boundaries(|e| e.bias_s),
                median_s: of_boundaries(|e| e.median_s),
                p95_s: of_boundaries(|e| e.p95_s),
                reason: error.err().map(|reason| reason.to_string()),
            },
            intervals: IntervalsView::new(&compared.intervals(how), how),
            each: compared.each.iter().map(|(name, tally)| OneView::new(name, tally)).collect(),
            notices: notices.iter().map(view::notice).collect(),
        }
    }
}

impl TimeView {
    fn new(reference: &'static str, row: &[f64; 4]) -> Self {
        let [run, walk, stand, unknown] = row.map(|s| rounded(s, 1e3));
        Self { reference, run, walk, stand, unknown }
    }
}

impl EventsView {
    fn new(gait: &'static str, events: &Events) -> Self {
        let f1 = events.f1();
        let at = (0..OVERLAP_SHARES.len()).map(|i| MatchedView {
            overlap_share: OVERLAP_SHARES[i],
            matched: events.matched[i],
            f1: share(f1[i]),
        });
        Self { gait, reference: events.reference, other: events.other, at: at.collect() }
    }
}

impl IntervalsView {
    fn new(intervals: &Intervals, how: Resampling) -> Self {
        let at = (0..OVERLAP_SHARES.len()).map(|i| F1IntervalView {
            overlap_share: OVERLAP_SHARES[i],
            interval: IntervalView::new(intervals.f1[i], 1e6),
        });
        Self {
            method: "percentile bootstrap over recordings",
            confidence: CONFIDENCE,
            resamples: how.resamples,
            seed: how.seed,
            accuracy: IntervalView::new(intervals.accuracy, 1e6),
            kappa: IntervalView::new(intervals.kappa, 1e6),
            f1: at.collect(),
            bias_s: IntervalView::new(intervals.bias_s, 1e3),
            median_s: IntervalView::new(intervals.median_s, 1e3),
            p95_s: IntervalView::new(intervals.p95_s, 1e3),
        }
    }
}

impl IntervalView {
    fn new(interval: Result<ConfidenceInterval, Undefined>, per_unit: f64) -> Self {
        Self {
            low: interval.ok().map(|interval| rounded(interval.low, per_unit)),
            high: interval.ok().map(|interval| rounded(interval.high, per_unit)),
            reason: interval.err().map(|reason| reason.to_string()),
        }
    }
}

impl OneView {
    fn new(name: &str, tally: &Tally) -> Self {
        Self {
            name: name.to_owned(),
            compared_s: rounded(tally.compared_s(), 1e3),
            accuracy: share(tally.accuracy()),
            kappa: share(tally.kappa()),
            event_f1: share(tally.all_events().f1()[1]),
        }
    }
}

impl AgreedScoresView {
    /// Names the figures.
    pub fn new(compared: &ComparedScores, notices: &[Notice]) -> Self {
        let joined = &compared.joined;
        let [only_reference, only_other] = joined.unmatched.clone();
        let columns = joined.columns.iter().zip(&compared.columns);
        Self {
            schema: "jogaudit.agree/1",
            kind: "scores",
            key: joined.key.clone(),
            rows: RowsView {
                reference: joined.rows[0],
                other: joined.rows[1],
                joined: joined.matched,
                only_reference,
                only_other,
            },
            confidence: CONFIDENCE,
            columns: columns
                .map(|((name, pairs), figures)| {
                    ColumnView::new(name, pairs.reference.len(), pairs.missing, figures)
                })
                .collect(),
            notices: notices.iter().map(view::notice).collect(),
        }
    }
}

impl ColumnView {
    fn new(column: &str, pairs: usize, missing: usize, figures: &ComparedColumn) -> Self {
        Self {
            column: column.to_owned(),
            pairs,
            missing,
            bias: EstimateView::new(figures.limits.map(|l| l.bias)),
            sd_of_differences: figure(figures.limits.map(|l| l.sd)),
            lower_limit: EstimateView::new(figures.limits.map(|l| l.lower)),
            upper_limit: EstimateView::new(figures.limits.map(|l| l.upper)),
            icc_2_1: EstimateView::new(figures.icc_2_1),
            concordance: EstimateView::new(figures.concordance),
        }
    }
}

impl EstimateView {
    fn new(estimate: Result<Estimate, Undefined>) -> Self {
        let interval = estimate.and_then(|estimate| estimate.interval);
        Self {
            value: estimate.ok().map(|estimate| estimate.value),
            low: interval.ok().map(|interval| interval.low),
            high: interval.ok().map(|interval| interval.high),
            reason: interval.err().map(|reason| reason.to_string()),
        }
    }
}

/// Writes the document of bouts, ending in a newline.
pub fn bouts_json(view: &AgreedBoutsView) -> String {
    document(view)
}

/// Writes the document of scores, ending in a newline.
pub fn scores_json(view: &AgreedScoresView) -> String {
    document(view)
}

fn figure(value: Result<f64, Undefined>) -> FigureView {
    FigureView { value: value.ok(), reason: value.err().map(|reason| reason.to_string()) }
}

fn share(value: Result<f64, Undefined>) -> FigureView {
    figure(value.map(|value| rounded(value, 1e6)))
}
