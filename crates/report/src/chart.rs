//! The curves of a check: rounded once, worded once, thinned to what a screen shows.

use std::fmt::Write as _;

use jogaudit_core::audit::{CeilingSpan, PacePoint, Trace};
use jogaudit_core::clean::{CleanConfig, GapKind, Series, longest_silence_s};
use jogaudit_core::gait::{Gait, Segmentation};
use jogaudit_core::prescription::Stage;
use jogaudit_recording::units::LengthUnit;

use super::lengths;
use super::numbers::{rounded, tenths};

/// Columns of time in which a curve is thinned to its least and greatest value: about a pixel each on a wide screen.
const COLUMNS: f64 = 700.0;
/// Least distance of two marks of an axis, as a share of its length.
const APART: f64 = 0.2;

/// What is drawn of a session besides its bouts.
#[derive(Clone, Debug, PartialEq)]
pub struct Charts {
    /// Stretches without data.
    pub gaps: Vec<GapView>,
    /// Speed, marked as pace; `None` without speed.
    pub pace: Option<Chart>,
    /// Steps a minute; `None` without cadence.
    pub cadence: Option<Chart>,
    /// Beats a minute; `None` without heart rate.
    pub heart_rate: Option<Chart>,
}

/// A stretch without data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GapView {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// Why.
    pub text: &'static str,
}

/// One quantity over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// What it is, with its unit.
    pub name: &'static str,
    /// Value at the foot of the axis.
    pub low: f64,
    /// Value at the head of the axis.
    pub high: f64,
    /// Marks of the axis: value and text.
    pub ticks: Vec<(f64, String)>,
    /// The curve, broken where there is no data.
    pub pieces: Vec<Vec<Point>>,
    /// Ceilings or floors.
    pub limits: Vec<Limit>,
    /// What line, band and limits mean.
    pub key: String,
    /// The curve in words.
    pub says: String,
}

/// A column of a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its middle, s.
    pub at_s: f64,
    /// Least value.
    pub least: f64,
    /// Greatest value.
    pub most: f64,
    /// Lower edge of the error.
    pub low: f64,
    /// Upper edge of the error.
    pub high: f64,
}

/// A ceiling or floor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// Where it is.
    pub value: f64,
    /// Where it is with its tolerance.
    pub tolerated: Option<f64>,
}

impl Charts {
    /// Makes the curves of a session held against a stage.
    pub fn new(
        series: &Series,
        segmentation: &Segmentation,
        stage: &Stage,
        trace: &Trace,
        units: LengthUnit,
    ) -> Self {
        Self {
            gaps: series.gaps().iter().map(|gap| gap_view(gap.start_s, gap.end_s, gap.kind)).collect(),
            pace: pace_chart(series, trace, units),
            cadence: cadence_chart(series, segmentation, trace),
            heart_rate: heart_rate_chart(series, stage),
        }
    }
}

fn gap_view(start_s: f64, end_s: f64, kind: GapKind) -> GapView {
    let text = match kind {
        GapKind::Pause => "the recorder's timer was stopped",
        GapKind::Hole => "nothing was recorded",
    };
    GapView { start_s: tenths(start_s), end_s: tenths(end_s), text }
}

fn pace_chart(series: &Series, trace: &Trace, units: LengthUnit) -> Option<Chart> {
    let column_s = series.elapsed_s() / COLUMNS;
    let point = |p: &PacePoint| Point {
        at_s: p.at_s,
        least: p.speed_mps,
        most: p.speed_mps,
        low: p.speed_mps - p.error_mps,
        high: p.speed_mps + p.error_mps,
    };
    let limit = |c: &CeilingSpan| Limit {
        start_s: tenths(c.start_s),
        end_s: tenths(c.end_s),
        value: thousandths(c.ceiling_mps),
        tolerated: Some(thousandths(c.tolerated_mps)),
    };
    let pieces: Vec<Vec<Point>> = trace
        .speeds
        .iter()
        .flat_map(|points| thinned(points.iter().map(point), column_s, f64::INFINITY, thousandths))
        .collect();
    let limits: Vec<Limit> = trace.ceilings.iter().map(limit).collect();
    let (least, most) = range(&pieces, &limits)?;
    // A wide error must not squash the curve; what is beyond is cut at the edge.
    let edge = |value: f64, low: f64, high: f64| value.clamp(low, high);
    let points = || pieces.iter().flatten();
    let low = edge(points().map(|p| p.low).fold(least, f64::min), 0.8 * least, least);
    let high = edge(points().map(|p| p.high).fold(most, f64::max), most, 1.2 * most);
    let (low, high) = padded(low.max(0.1), high.max(0.3));
    let level = if trace.is_level { ", running on level ground for the same cost" } else { "" };
    let mut key = format!(
        "Line: mean over {:.0} s{level}, as it is held against the ceiling; faster is higher. Band: one standard error of that \
         mean to either side, as the check reckons it.",
        trace.smoothing_s
    );
    if let Some(ceilings) =
        distinct(trace.ceilings.iter().map(|c| lengths::ceiling(1000.0 / c.ceiling_mps, units)))
    {
        let _ = write!(key, " Dashed: the ceiling of each run ({ceilings}). Dotted: with its tolerance.");
    }
    let said =
        |speed: f64| if speed < 0.4 { "standing".to_owned() } else { lengths::pace(1000.0 / speed, units) };
    Some(Chart {
        name: match units {
            LengthUnit::Kilometre => "Pace, minutes per km",
            LengthUnit::Mile => "Pace, minutes per mile",
        },
        low,
        high,
        ticks: pace_ticks(low, high, units),
        says: says(&pieces, said),
        pieces,
        limits,
        key,
    })
}

fn cadence_chart(series: &Series, segmentation: &Segmentation, trace: &Trace) -> Option<Chart> {
    // While standing there are no steps to count, and none are counted before the first.
    let mut bouts = segmentation.bouts().iter().peekable();
    let mut is_moving = |t: f64| {
        while bouts.next_if(|bout| bout.end_s <= t).is_some() {}
        bouts.peek().is_some_and(|bout| matches!(bout.gait, Gait::Run | Gait::Walk))
    };
    let known = readings(series, series.cadence_spm());
    let pieces = curve(series, known.filter(|(t, spm)| *spm > 0.0 && is_moving(*t)));
    let end_s = series.elapsed_s();
    let floor = |spm| Limit { start_s: 0.0, end_s: tenths(end_s), value: tenths(spm), tolerated: None };
    let limits: Vec<Limit> = trace.walk_floor_spm.map(floor).into_iter().collect();
    let mut key = "Line: both feet counted, while running and walking.".to_owned();
    if let Some(floors) = distinct(limits.iter().map(|l| format!("{:.0} spm", l.value))) {
        let _ = write!(key, " Dashed: the least for a brisk walk ({floors}).");
    }
    plain("Cadence, steps a minute", pieces, limits, key, "spm")
}

fn heart_rate_chart(series: &Series, stage: &Stage) -> Option<Chart> {
    let pieces = curve(series, readings(series, series.heart_rate_bpm()));
    let end_s = series.elapsed_s();
    let ceiling =
        |bpm: f64| Limit { start_s: 0.0, end_s: tenths(end_s), value: tenths(bpm), tolerated: None };
    let limits: Vec<Limit> =
        stage.limits.heart_rate_ceiling.map(|bpm| ceiling(bpm.get())).into_iter().collect();
    let mut key = "Line: as recorded.".to_owned();
    if let Some(ceilings) = distinct(limits.iter().map(|l| format!("{:.0} bpm", l.value))) {
        let _ = write!(key, " Dashed: the ceiling ({ceilings}).");
    }
    plain("Heart rate, beats a minute", pieces, limits, key, "bpm")
}

/// A chart of a quantity that is drawn as recorded.
fn plain(
    name: &'static str,
    pieces: Vec<Vec<Point>>,
    limits: Vec<Limit>,
    key: String,
    unit: &str,
) -> Option<Chart> {
    let (least, most) = range(&pieces, &limits)?;
    let (low, high) = padded(least, most.max(least + 10.0));
    let says = says(&pieces, |value| format!("{value:.0} {unit}"));
    Some(Chart { name, low, high, ticks: even_ticks(low, high), pieces, limits, key, says })
}

/// Known values with their times.
fn readings<'a>(series: &'a Series, column: &'a [Option<f64>]) -> impl Iterator<Item = (f64, f64)> + 'a {
    series.time_s().iter().zip(column).filter_map(|(t, value)| Some((*t, (*value)?)))
}

fn curve(series: &Series, readings: impl Iterator<Item = (f64, f64)>) -> Vec<Vec<Point>> {
    let silence_s = longest_silence_s(series.time_s(), CleanConfig::default().hole_s);
    let points = readings.map(|(at_s, v)| Point { at_s, least: v, most: v, low: v, high: v });
    thinned(points, series.elapsed_s() / COLUMNS, silence_s, tenths)
}

/// Gathers points by columns of time and breaks the curve where none is known for longer than `silence_s`.
fn thinned(
    points: impl Iterator<Item = Point>,
    column_s: f64,
    silence_s: f64,
    round: fn(f64) -> f64,
) -> Vec<Vec<Point>> {
    let mut pieces: Vec<Vec<Point>> = Vec::new();
    let (mut first_s, mut last_s) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    for p in points {
        let p = Point {
            at_s: tenths(p.at_s),
            least: round(p.least),
            most: round(p.most),
            low: round(p.low),
            high: round(p.high),
        };
        let continues = p.at_s - last_s <= silence_s && last_s.is_finite();
        last_s = p.at_s;
        match pieces.last_mut() {
            Some(piece) if continues => match piece.last_mut() {
                Some(column) if p.at_s - first_s < column_s => {
                    column.at_s = tenths(0.5 * (first_s + p.at_s));
                    column.least = column.least.min(p.least);
                    column.most = column.most.max(p.most);
                    column.low = column.low.min(p.low);
                    column.high = column.high.max(p.high);
                    continue;
                }
                _ => piece.push(p),
            },
            _ => pieces.push(vec![p]),
        }
        first_s = p.at_s;
    }
    pieces
}

/// Least and greatest of curve and limits; `None` without a curve.
fn range(pieces: &[Vec<Point>], limits: &[Limit]) -> Option<(f64, f64)> {
    pieces.iter().flatten().next()?;
    let lines = pieces.iter().flatten().flat_map(|p| [p.least, p.most]);
    let limits = limits.iter().flat_map(|l| [l.value, l.tolerated.unwrap_or(l.value)]);
    Some(
        lines
            .chain(limits)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v))),
    )
}

/// Leaves a little room at both ends.
pub(super) fn padded(low: f64, high: f64) -> (f64, f64) {
    let room = 0.08 * (high - low).max(0.1);
    (thousandths((low - room).max(0.0)), thousandths(high + room))
}

/// Marks at round paces, the roundest first, none too near another.
pub(super) fn pace_ticks(low_mps: f64, high_mps: f64, units: LengthUnit) -> Vec<(f64, String)> {
    let mut chosen: Vec<f64> = Vec::new();
    let rounds = [[300.0, 3600.0], [120.0, 1200.0], [60.0, 900.0], [30.0, 600.0]];
    for [step_s, most_s] in rounds {
        let paces = (1..).map(|n| f64::from(n) * step_s).take_while(|pace_s| *pace_s <= most_s);
        for speed in paces.map(|pace_s| units.metres() / pace_s).filter(|v| (low_mps..=high_mps).contains(v))
        {
            if chosen.iter().all(|other| (other - speed).abs() >= APART * (high_mps - low_mps)) {
                chosen.push(speed);
            }
        }
    }
    chosen.sort_by(f64::total_cmp);
    chosen.into_iter().map(|speed| (thousandths(speed), lengths::bare_pace(1000.0 / speed, units))).collect()
}

/// Marks at round values.
pub(super) fn even_ticks(low: f64, high: f64) -> Vec<(f64, String)> {
    let steps = [2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0];
    let step = steps.into_iter().find(|step| *step >= APART * (high - low)).unwrap_or(200.0);
    let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    let values = (first..=last).map(|n| n as f64 * step);
    values.map(|value| (value, format!("{value:.0}"))).collect()
}

/// The curve in words.
fn says(pieces: &[Vec<Point>], said: impl Fn(f64) -> String) -> String {
    let Some((least, most)) = range(pieces, &[]) else { return String::new() };
    format!(
        "Between {} and {}. The figures of each run and walk stand in the table of runs and walks.",
        said(least),
        said(most)
    )
}

/// Each text once, in order.
fn distinct(texts: impl Iterator<Item = String>) -> Option<String> {
    let mut known: Vec<String> = Vec::new();
    for text in texts {
        if !known.contains(&text) {
            known.push(text);
        }
    }
    (!known.is_empty()).then(|| known.join(", "))
}

fn thousandths(value: f64) -> f64 {
    rounded(value, 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(values: &[(f64, f64)]) -> impl Iterator<Item = Point> + '_ {
        values.iter().map(|&(at_s, v)| Point { at_s, least: v, most: v, low: v - 1.0, high: v + 1.0 })
    }

    #[test]
    fn thinning_keeps_the_least_and_the_greatest() {
        let values: Vec<(f64, f64)> =
            (0..1000).map(|i| (f64::from(i), if i == 503 { 190.0 } else { 150.0 })).collect();
        let pieces = thinned(points(&values), 10.0, 15.0, tenths);
        assert_eq!((pieces.len(), pieces[0].len()), (1, 100));
        let column = pieces[0][50];
        assert_eq!((column.at_s, column.least, column.most), (504.5, 150.0, 190.0));
        assert_eq!((column.low, column.high), (149.0, 191.0));
    }

    #[test]
    fn a_curve_is_broken_where_nothing_is_known() {
        let values = [(0.0, 1.0), (1.0, 1.0), (60.0, 2.0), (61.0, 2.0), (200.0, 3.0)];
        let pieces = thinned(points(&values), 0.5, 15.0, tenths);
        assert_eq!(pieces.iter().map(Vec::len).collect::<Vec<_>>(), [2, 2, 1]);
        // However wide the columns are, none reaches over a gap.
        assert_eq!(thinned(points(&values), 500.0, 15.0, tenths).len(), 3);
    }

    #[test]
    fn axes_have_round_marks_that_stand_apart() {
        let ticks = pace_ticks(1.2, 2.9, LengthUnit::Kilometre);
        let texts: Vec<&str> = ticks.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(texts, ["13:00", "10:00", "8:00", "6:00"]);
        for (low, high) in [(0.1, 0.4), (1.3, 1.7), (1.0, 6.0), (2.5, 2.6)] {
            let ticks = pace_ticks(low, high, LengthUnit::Kilometre);
            assert!(ticks.len() <= 6, "{ticks:?}");
            assert!(ticks.windows(2).all(|w| w[1].0 - w[0].0 >= APART * (high - low) - 0.002), "{ticks:?}");
        }
        let ticks = even_ticks(93.0, 171.0);
        assert_eq!(ticks.iter().map(|t| t.0).collect::<Vec<_>>(), [100.0, 120.0, 140.0, 160.0]);
    }

    #[test]
    fn no_values_make_no_chart() {
        assert_eq!(plain("x", Vec::new(), Vec::new(), String::new(), "bpm"), None);
    }
}
