//! What was prescribed over what was done, on one time axis, in characters.

use super::view::{BoutView, CheckView, RepView};
use super::wording::clock;

/// A stretch of one gait on the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Span {
    gait: &'static str,
    start_s: f64,
    end_s: f64,
}

/// Rows of equal width in characters.
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
pub(super) fn glyph(gait: &str) -> char {
    match gait {
        "run" => '█',
        "walk" => '▂',
        "stand" => '.',
        _ => '?',
    }
}

/// What the marks mean.
pub(super) const LEGEND: &str = "█ run   ▂ walk   . stand   ? no data";

/// Draws a check in `width` columns.
pub(super) fn check(view: &CheckView, width: usize) -> Strip {
    let prescribed = prescribed(&view.reps);
    let done = done(&view.bouts);
    let end_s = last_end(&done).max(last_end(&prescribed));
    let beyond: Vec<Span> = view
        .findings
        .iter()
        .filter(|finding| finding.decides)
        .filter_map(|finding| Some(Span { gait: "", start_s: finding.start_s?, end_s: finding.end_s? }))
        // A finding about the whole session would mark all of it and show nothing.
        .filter(|span| span.end_s - span.start_s < 0.9 * end_s)
        .collect();
    Strip {
        prescribed: row(&prescribed, end_s, width),
        done: row(&done, end_s, width),
        beyond: marks(&beyond, end_s, width),
        axis: axis(end_s, width),
    }
}

/// Draws bouts alone in `width` columns.
pub(super) fn bouts(bouts: &[BoutView], width: usize) -> Strip {
    let done = done(bouts);
    let end_s = last_end(&done);
    Strip {
        prescribed: String::new(),
        done: row(&done, end_s, width),
        beyond: String::new(),
        axis: axis(end_s, width),
    }
}

fn done(bouts: &[BoutView]) -> Vec<Span> {
    bouts.iter().map(|b| Span { gait: b.gait, start_s: b.start_s, end_s: b.end_s }).collect()
}

/// Lays the prescribed steps end to end and shifts them so that the first run that was done starts on time (without
/// a run, the first step). A step by distance is as long as it took; it has no prescribed time.
fn prescribed(reps: &[RepView]) -> Vec<Span> {
    let mut spans = Vec::with_capacity(reps.len());
    let mut at_s = 0.0;
    for rep in reps {
        let took_s = rep.start_s.zip(rep.end_s).map_or(0.0, |(start, end)| end - start);
        let end_s = at_s + rep.prescribed_s.unwrap_or(took_s);
        spans.push(Span { gait: rep.gait, start_s: at_s, end_s });
        at_s = end_s;
    }
    let started = |gait: Option<&str>| {
        let pairs = reps.iter().zip(&spans);
        pairs
            .filter(|(rep, _)| gait.is_none_or(|gait| rep.gait == gait))
            .find_map(|(rep, span)| rep.start_s.map(|start| start - span.start_s))
    };
    let shift_s = started(Some("run")).or_else(|| started(None)).unwrap_or(0.0);
    for span in &mut spans {
        span.start_s += shift_s;
        span.end_s += shift_s;
    }
    spans
}

fn last_end(spans: &[Span]) -> f64 {
    spans.iter().map(|span| span.end_s).fold(0.0, f64::max)
}

/// Seconds that a column and a span share.
fn shared(span: &Span, column: usize, column_s: f64) -> f64 {
    let start_s = column as f64 * column_s;
    (span.end_s.min(start_s + column_s) - span.start_s.max(start_s)).max(0.0)
}

/// Each column shows what fills most of it, a space where nothing is.
fn row(spans: &[Span], end_s: f64, width: usize) -> String {
    if spans.is_empty() || end_s <= 0.0 {
        return String::new();
    }
    let column_s = end_s / width as f64;
    let text: String = (0..width)
        .map(|column| {
            let shares = spans.iter().map(|span| (shared(span, column, column_s), span.gait));
            let most = shares.filter(|(s, _)| *s > 0.0).max_by(|a, b| a.0.total_cmp(&b.0));
            most.map_or(' ', |(_, gait)| glyph(gait))
        })
        .collect();
    text.trim_end().to_owned()
}

fn marks(spans: &[Span], end_s: f64, width: usize) -> String {
    if end_s <= 0.0 {
        return String::new();
    }
    let column_s = end_s / width as f64;
    let marked = |column| {
        spans
            .iter()
            .any(|span| shared(span, column, column_s) >= 0.5 * column_s.min(span.end_s - span.start_s))
    };
    let text: String = (0..width).map(|column| if marked(column) { '^' } else { ' ' }).collect();
    text.trim_end().to_owned()
}

/// Times at round steps, at least `LABEL` columns apart.
fn axis(end_s: f64, width: usize) -> String {
    const LABEL: f64 = 9.0;
    const STEPS_S: [f64; 9] = [10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0];
    if end_s <= 0.0 {
        return String::new();
    }
    let column_s = end_s / width as f64;
    let least_s = LABEL * column_s;
    let step_s = STEPS_S
        .into_iter()
        .find(|step| *step >= least_s)
        .unwrap_or_else(|| (least_s / 3600.0).ceil() * 3600.0);
    let mut text = String::new();
    let mut at_s = 0.0;
    while at_s <= end_s {
        let column = (at_s / column_s).round() as usize;
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

    fn spans(parts: &[(&'static str, f64)]) -> Vec<Span> {
        let mut at = 0.0;
        parts
            .iter()
            .map(|&(gait, length)| {
                at += length;
                Span { gait, start_s: at - length, end_s: at }
            })
            .collect()
    }

    #[test]
    fn each_column_shows_what_fills_most_of_it() {
        let spans = spans(&[("walk", 20.0), ("run", 10.0), ("stand", 4.0), ("walk", 6.0)]);
        assert_eq!(row(&spans, 40.0, 4), "▂▂█▂");
        assert_eq!(row(&spans, 80.0, 8), "▂▂█▂");
        assert_eq!(row(&[], 40.0, 4), "");
    }

    #[test]
    fn marks_stand_where_it_happened_even_when_short() {
        assert_eq!(marks(&[Span { gait: "", start_s: 20.0, end_s: 40.0 }], 100.0, 10), "  ^^");
        assert_eq!(marks(&[Span { gait: "", start_s: 21.0, end_s: 22.0 }], 100.0, 10), "  ^");
    }

    #[test]
    fn the_axis_has_round_times_in_their_columns() {
        let text = axis(1800.0, 60);
        assert_eq!(text, "0:00      5:00      10:00     15:00     20:00     25:00");
        assert_eq!(text.find("10:00"), Some(20));
        assert!(axis(40.0 * 86_400.0, 60).len() <= 60);
    }

    #[test]
    fn the_prescription_starts_with_the_first_run() {
        let rep = |gait, prescribed: f64, start: Option<f64>| RepView {
            rep: 1,
            gait,
            prescribed_s: Some(prescribed),
            achieved_s: 0.0,
            error_s: 0.0,
            start_s: start,
            end_s: start.map(|s| s + prescribed),
            mean_pace_s_per_km: None,
            level_pace_s_per_km: None,
            over_ceiling_s: None,
            mean_cadence_spm: None,
            max_heart_rate_bpm: None,
            prescribed_m: None,
            achieved_m: None,
            stand_s: 0.0,
        };
        // The recorder was started 60 s late: the prescription reaches back before 0.
        let spans = prescribed(&[rep("walk", 300.0, Some(0.0)), rep("run", 60.0, Some(240.0))]);
        assert_eq!((spans[0].start_s, spans[1].start_s, spans[1].end_s), (-60.0, 240.0, 300.0));
    }
}
