//! What was prescribed over what was done, on one time axis, in characters.

use std::ops::Range;

use jogaudit_core::gait::Gait;

use super::view::{BoutView, CheckView, RepView};
use super::wording::clock;

/// A run, walk or stand on the axis, prescribed or done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct GaitSpan {
    pub(super) gait: Gait,
    pub(super) start_s: f64,
    pub(super) end_s: f64,
}

/// A part of the recording on one line: rows of equal width in characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Strip {
    /// One character a column, see [`glyph`]; empty when nothing is prescribed or known.
    pub(super) prescribed: String,
    /// Likewise, as recorded.
    pub(super) done: String,
    /// `^` in the columns where something went beyond the prescription, else a space; empty when nothing did.
    pub(super) beyond: String,
    /// Times, each standing where it begins.
    pub(super) axis: String,
}

/// The mark of a gait: told apart by height, not by hue.
pub(super) const fn glyph(gait: Gait) -> char {
    match gait {
        Gait::Run => '█',
        Gait::Walk => '▂',
        Gait::Stand => '.',
        Gait::Unknown => '?',
    }
}

/// A finding that covers this share of the session is about the whole of it. Our choice.
const WHOLE_SESSION: f64 = 0.9;

/// What the marks mean.
pub(super) const LEGEND: &str = "█ run   ▂ walk   . stand   ? no data";

/// Draws a check in bands of `width` columns.
pub(super) fn check(view: &CheckView, width: usize) -> Vec<Strip> {
    let prescribed = prescribed(&view.reps);
    let done = done(&view.bouts);
    let end_s = last_end(&done).max(last_end(&prescribed));
    let beyond: Vec<(f64, f64)> = view
        .findings
        .iter()
        .filter(|finding| finding.decides)
        .filter_map(|finding| finding.start_s.zip(finding.end_s))
        // A finding about the whole session would mark all of it and show nothing.
        .filter(|(from_s, to_s)| to_s - from_s < WHOLE_SESSION * end_s)
        .collect();
    let runs = if prescribed.is_empty() { &done } else { &prescribed };
    let draw = |scale: Scale| Strip {
        prescribed: row(&prescribed, scale),
        done: row(&done, scale),
        beyond: marks(&beyond, scale),
        axis: axis(scale, end_s),
    };
    bands(runs, end_s, width).into_iter().map(draw).collect()
}

/// Draws bouts alone in bands of `width` columns.
pub(super) fn bouts(bouts: &[BoutView], width: usize) -> Vec<Strip> {
    let done = done(bouts);
    let end_s = last_end(&done);
    let draw = |scale: Scale| Strip {
        prescribed: String::new(),
        done: row(&done, scale),
        beyond: String::new(),
        axis: axis(scale, end_s),
    };
    bands(&done, end_s, width).into_iter().map(draw).collect()
}

/// Where a band begins and how long a column is.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Scale {
    from_s: f64,
    column_s: f64,
    width: usize,
}

impl Scale {
    /// The columns that a span may touch, one more on either side for rounding.
    fn columns(self, (from_s, to_s): (f64, f64)) -> Range<usize> {
        let column = |at_s: f64| ((at_s - self.from_s) / self.column_s).clamp(-2.0, self.width as f64 + 2.0);
        let first = (column(from_s).floor() - 1.0).max(0.0) as usize;
        let end = (column(to_s).ceil() + 1.0).max(0.0) as usize;
        first..end.min(self.width)
    }

    /// Time that a span from one moment to another and a column share.
    fn shared_s(self, (from_s, to_s): (f64, f64), column: usize) -> f64 {
        let start_s = self.from_s + column as f64 * self.column_s;
        (to_s.min(start_s + self.column_s) - from_s.max(start_s)).max(0.0)
    }
}

/// As few bands as let most runs be seen: three of four are longer than a column and a half. A recording of more than half a
/// day has one.
fn bands(spans: &[GaitSpan], end_s: f64, width: usize) -> Vec<Scale> {
    const MOST: f64 = 6.0;
    const LONGEST_S: f64 = 12.0 * 3600.0;
    if end_s <= 0.0 {
        return Vec::new();
    }
    let mut runs_s: Vec<f64> = spans
        .iter()
        .filter(|s| s.gait == Gait::Run)
        .map(|s| s.end_s - s.start_s)
        .filter(|s| *s > 0.0)
        .collect();
    runs_s.sort_by(f64::total_cmp);
    let short_s = runs_s.get(runs_s.len() / 4).copied().filter(|_| end_s <= LONGEST_S).unwrap_or(end_s);
    let count = (1.5 * end_s / (short_s * width as f64)).ceil().clamp(1.0, MOST);
    // Every band begins at a round time.
    let round_s = if end_s / count > 600.0 { 300.0 } else { 60.0 };
    let band_s = if count > 1.0 { (end_s / count / round_s).ceil() * round_s } else { end_s };
    let scale = |band| Scale { from_s: f64::from(band) * band_s, column_s: band_s / width as f64, width };
    (0..count as u32).map(scale).filter(|scale| scale.from_s < end_s).collect()
}

pub(super) fn done(bouts: &[BoutView]) -> Vec<GaitSpan> {
    bouts.iter().map(|b| GaitSpan { gait: b.gait, start_s: b.start_s, end_s: b.end_s }).collect()
}

/// Lays the prescribed steps end to end and shifts them so that the first run that was done starts on time (without
/// a run, the first step). A step by distance is as long as it took; it has no prescribed time. One with a range is as
/// long as it took too, as far as the range goes.
pub(super) fn prescribed(reps: &[RepView]) -> Vec<GaitSpan> {
    let mut spans = Vec::with_capacity(reps.len());
    let mut at_s = 0.0;
    for rep in reps {
        let took_s = rep.start_s.zip(rep.end_s).map_or(0.0, |(start, end)| end - start);
        let end_s = at_s + rep.prescribed_time_s.map_or(took_s, |range| range.nearest(took_s));
        spans.push(GaitSpan { gait: rep.gait(), start_s: at_s, end_s });
        at_s = end_s;
    }
    let started = |gait: Option<Gait>| {
        let pairs = reps.iter().zip(&spans);
        pairs
            .filter(|(rep, _)| gait.is_none_or(|gait| rep.gait() == gait))
            .find_map(|(rep, span)| rep.start_s.map(|start| start - span.start_s))
    };
    let shift_s = started(Some(Gait::Run)).or_else(|| started(None)).unwrap_or(0.0);
    for span in &mut spans {
        span.start_s += shift_s;
        span.end_s += shift_s;
    }
    spans
}

pub(super) fn last_end(spans: &[GaitSpan]) -> f64 {
    spans.iter().map(|span| span.end_s).fold(0.0, f64::max)
}

/// Each column shows what fills most of it, a space where nothing is.
fn row(spans: &[GaitSpan], scale: Scale) -> String {
    let mut most: Vec<(f64, char)> = vec![(0.0, ' '); scale.width];
    for span in spans {
        let span_s = (span.start_s, span.end_s);
        for column in scale.columns(span_s) {
            let shared_s = scale.shared_s(span_s, column);
            // Of equals the last one.
            if shared_s > 0.0 && shared_s >= most[column].0 {
                most[column] = (shared_s, glyph(span.gait));
            }
        }
    }
    let text: String = most.into_iter().map(|(_, glyph)| glyph).collect();
    text.trim_end().to_owned()
}

/// Marks the columns of which a span, from one moment to another, fills at least half.
fn marks(spans: &[(f64, f64)], scale: Scale) -> String {
    let mut marks = vec![' '; scale.width];
    for &(from_s, to_s) in spans {
        for column in scale.columns((from_s, to_s)) {
            if scale.shared_s((from_s, to_s), column) >= 0.5 * scale.column_s.min(to_s - from_s).max(1e-9) {
                marks[column] = '^';
            }
        }
    }
    marks.into_iter().collect::<String>().trim_end().to_owned()
}

/// Times at round steps, each at least two columns from the last.
fn axis(scale: Scale, end_s: f64) -> String {
    const STEPS_S: [f64; 14] = [
        10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0,
        DAY_S,
    ];
    const DAY_S: f64 = 86_400.0;
    let Scale { from_s, column_s, width } = scale;
    // Room for the longest label; for short ones as much as ten minutes take.
    let least_s = (clock(end_s).len() + 2).max(9) as f64 * column_s;
    let round_s = STEPS_S.into_iter().find(|step| *step >= least_s);
    let step_s = round_s.unwrap_or_else(|| (least_s / DAY_S).ceil() * DAY_S);
    let mut text = String::new();
    let mut at_s = from_s;
    while at_s <= end_s {
        let column = ((at_s - from_s) / column_s).round() as usize;
        let label = clock(at_s);
        if column + label.len() > width {
            break;
        }
        text.push_str(&" ".repeat(column.saturating_sub(text.len())));
        text.push_str(&label);
        at_s += step_s;
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spans(parts: &[(Gait, f64)]) -> Vec<GaitSpan> {
        let mut at = 0.0;
        parts
            .iter()
            .map(|&(gait, length)| {
                at += length;
                GaitSpan { gait, start_s: at - length, end_s: at }
            })
            .collect()
    }

    fn scale(end_s: f64, width: usize) -> Scale {
        Scale { from_s: 0.0, column_s: end_s / width as f64, width }
    }

    #[test]
    fn each_column_shows_what_fills_most_of_it() {
        let spans = spans(&[(Gait::Walk, 20.0), (Gait::Run, 10.0), (Gait::Stand, 4.0), (Gait::Walk, 6.0)]);
        assert_eq!(row(&spans, scale(40.0, 4)), "▂▂█▂");
        assert_eq!(row(&spans, scale(80.0, 8)), "▂▂█▂");
        assert_eq!(row(&spans, Scale { from_s: 20.0, ..scale(40.0, 4) }), "█▂");
        assert_eq!(row(&[], scale(40.0, 4)), "");
    }

    #[test]
    fn very_many_bouts_are_drawn_in_one_pass() {
        // Column by column this takes a hundred thousand spans times every column.
        let mut parts = Vec::new();
        (0..150_000).for_each(|_| parts.extend([(Gait::Run, 0.2), (Gait::Walk, 0.1)]));
        let spans = spans(&parts);
        let text = row(&spans, scale(45_000.0, 20_000));
        assert_eq!(text.chars().count(), 20_000);
        assert!(text.chars().all(|c| c == '█'));
    }

    #[test]
    fn marks_stand_where_it_happened_even_when_short() {
        assert_eq!(marks(&[(20.0, 40.0)], scale(100.0, 10)), "  ^^");
        assert_eq!(marks(&[(21.0, 22.0)], scale(100.0, 10)), "  ^");
    }

    #[test]
    fn the_axis_has_round_times_in_their_columns() {
        let text = axis(scale(1800.0, 60), 1800.0);
        assert_eq!(text, "0:00      5:00      10:00     15:00     20:00     25:00");
        assert_eq!(text.find("10:00"), Some(20));
        for end_s in [3.0, 600.0, 3_000.0, 5.0 * 3600.0, 30.0 * 3600.0, 744.0 * 3600.0, 4e7] {
            let text = axis(scale(end_s, 66), end_s);
            let labels: Vec<&str> = text.split_whitespace().collect();
            assert!(text.len() <= 66 && labels.len() <= 9 && text.starts_with("0:00"), "{text}");
            assert!(labels.iter().all(|l| l.len() <= clock(end_s).len().max(4)), "run together: {text}");
        }
    }

    #[test]
    fn short_runs_of_a_long_session_take_more_bands() {
        // 20 × (30 s + 60 s) and 10 min of walking: 40 min.
        let mut parts = vec![(Gait::Walk, 300.0)];
        (0..20).for_each(|_| parts.extend([(Gait::Run, 30.0), (Gait::Walk, 60.0)]));
        parts.push((Gait::Walk, 300.0));
        let spans = spans(&parts);
        let bands = bands(&spans, 2400.0, 66);
        assert_eq!(bands.iter().map(|b| b.from_s).collect::<Vec<_>>(), [0.0, 1200.0]);
        let text = bands.iter().map(|b| row(&spans, *b)).collect::<Vec<_>>().join(" ");
        assert_eq!(
            text.split(|c| c != '█').filter(|run| !run.is_empty()).count(),
            20,
            "every run is seen: {text}"
        );
        assert!(axis(bands[1], 2400.0).starts_with("20:00"));
        // Usual sessions stand on one line, and so does what lasts for days.
        assert_eq!(super::bands(&spans[..12], 1080.0, 66).len(), 1);
        assert_eq!(super::bands(&spans, 30.0 * 86_400.0, 66).len(), 1);
        assert_eq!(super::bands(&[], 0.0, 66), []);
    }

    #[test]
    fn the_prescription_starts_with_the_first_run() {
        let rep = |gait, length_s: f64, start_s: f64| {
            RepView::made_up(1, gait, length_s, Some((start_s, start_s + length_s)))
        };
        // The recorder was started 60 s late: the prescription reaches back before 0.
        let spans = prescribed(&[rep(Gait::Walk, 300.0, 0.0), rep(Gait::Run, 60.0, 240.0)]);
        assert_eq!((spans[0].start_s, spans[1].start_s, spans[1].end_s), (-60.0, 240.0, 300.0));
    }
}
