//! A curve over time with its limits, its error and what was found in it.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::figure::{Axis, Row, SCALE_PX, percent, trimmed};
use crate::chart::{Chart, GapView, Limit, Point};

/// Height of a chart, px.
const HEIGHT: u32 = 132;
/// Curves are drawn in a box of this width that is stretched to the field.
const BOX: f64 = 1000.0;

/// A finding that a chart marks.
pub(super) struct Marked<'a> {
    pub(super) number: usize,
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) text: &'a str,
    pub(super) class: &'static str,
}

/// Draws a part of a chart.
pub(super) fn chart(chart: &Chart, axis: Axis, gaps: &[GapView], found: &[Marked]) -> Markup {
    let y = |value: f64| f64::from(HEIGHT) * (1.0 - (value - chart.low) / (chart.high - chart.low));
    let x = |t: f64| BOX / 100.0 * axis.beyond(t);
    let pieces = within(&chart.pieces, axis);
    let limits: Vec<&Limit> = chart.limits.iter().filter(|l| axis.shows(l.start_s, l.end_s)).collect();
    let row = Row {
        name: chart.name,
        note: None,
        alt: &format!("{} {}", chart.says, chart.key),
        height: HEIGHT,
        scale: html! {
            @for (value, label) in &chart.ticks {
                text.label x=(SCALE_PX - 5) y=(trimmed(y(*value) + 4.0, 1)) text-anchor="end" { (label) }
            }
        },
        field: html! {
            rect.ground width="100%" height=(HEIGHT) {}
            (axis.grid(HEIGHT))
            @for (value, _) in &chart.ticks {
                @let y = trimmed(y(*value), 1);
                line.grid x1="0" x2="100%" y1=(y) y2=(y) {}
            }
            @for gap in gaps.iter().filter(|gap| axis.shows(gap.start_s, gap.end_s)) { (gap_rect(gap, axis)) }
            @for marked in found.iter().filter(|m| axis.shows(m.start_s, m.end_s)) { (found_rect(marked, axis)) }
            svg width="100%" height=(HEIGHT) viewBox=(format!("0 0 {BOX} {HEIGHT}")) preserveAspectRatio="none" {
                @for piece in pieces.iter().filter(|piece| has_band(piece)) {
                    path.band d=(band(piece, x, y)) {}
                }
                @for (class, path) in limit_paths(&limits, x, y) {
                    path class=(class) d=(path) {}
                }
                path.curve d=(curve(&pieces, x, y)) {}
            }
            @for marked in found.iter().filter(|m| axis.shows(m.start_s, m.end_s)) {
                text.found-number x=(percent(axis.at(marked.start_s))) y="12" dx="3" { (marked.number) }
            }
        },
        is_linked: false,
    };
    row.markup()
}

/// The pieces of a curve that a part of the figure shows, each with a point before and after, so that the line goes on.
fn within(pieces: &[Vec<Point>], axis: Axis) -> Vec<&[Point]> {
    let part = |piece: &'_ [Point]| {
        let from = piece.partition_point(|p| p.at_s < axis.from_s).saturating_sub(1);
        let to = piece.partition_point(|p| p.at_s <= axis.to_s) + 1;
        from..to.min(piece.len())
    };
    let reaches = |piece: &&Vec<Point>| {
        piece.first().is_some_and(|p| p.at_s <= axis.to_s)
            && piece.last().is_some_and(|p| p.at_s >= axis.from_s)
    };
    pieces.iter().filter(reaches).map(|piece| &piece[part(piece)]).collect()
}

fn gap_rect(gap: &GapView, axis: Axis) -> Markup {
    let (from, to) = (axis.at(gap.start_s), axis.at(gap.end_s));
    html! {
        rect.gap x=(percent(from)) width=(percent(to - from)) height=(HEIGHT) fill="url(#hatch-unknown)" {
            title { "No data: " (gap.text) "." }
        }
    }
}

fn found_rect(marked: &Marked, axis: Axis) -> Markup {
    let (from, to) = (axis.at(marked.start_s), axis.at(marked.end_s));
    html! {
        rect class=(marked.class) x=(percent(from)) width=(percent((to - from).max(0.3))) height=(HEIGHT) {
            title { (marked.number) ". " (marked.text) }
        }
    }
}

fn has_band(piece: &[Point]) -> bool {
    piece.len() > 1 && piece.iter().any(|p| p.high > p.most)
}

/// The outline of the error: forth along its upper edge, back along its lower.
fn band(piece: &[Point], x: impl Fn(f64) -> f64, y: impl Fn(f64) -> f64) -> String {
    let upper = piece.iter().map(|p| (p.at_s, p.high));
    let lower = piece.iter().rev().map(|p| (p.at_s, p.low));
    let mut path = String::new();
    for (at_s, value) in upper.chain(lower) {
        let letter = if path.is_empty() { 'M' } else { 'L' };
        let _ = write!(path, "{letter}{} {}", trimmed(x(at_s), 1), trimmed(y(value), 1));
    }
    path.push('Z');
    path
}

/// Every piece as a line; a lone point as a dot.
fn curve(pieces: &[&[Point]], x: impl Fn(f64) -> f64, y: impl Fn(f64) -> f64) -> String {
    let mut path = String::new();
    for piece in pieces {
        for (i, p) in piece.iter().enumerate() {
            let letter = if i == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{letter}{} {}", trimmed(x(p.at_s), 1), trimmed(y(p.least), 1));
            if p.most > p.least {
                let _ = write!(path, "V{}", trimmed(y(p.most), 1));
            }
        }
        if let [only] = *piece
            && only.most == only.least
        {
            path.push_str("h.1");
        }
    }
    path
}

/// All limits in one path, all tolerances in another.
fn limit_paths(
    limits: &[&Limit],
    x: impl Fn(f64) -> f64,
    y: impl Fn(f64) -> f64,
) -> Vec<(&'static str, String)> {
    let mut lines = [("limit", String::new()), ("tolerated", String::new())];
    for limit in limits {
        for (value, (_, path)) in [Some(limit.value), limit.tolerated].into_iter().zip(&mut lines) {
            let Some(value) = value else { continue };
            let (from, to) = (trimmed(x(limit.start_s), 1), trimmed(x(limit.end_s), 1));
            let _ = write!(path, "M{from} {}H{to}", trimmed(y(value), 1));
        }
    }
    lines.into_iter().filter(|(_, path)| !path.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(at_s: f64, least: f64, most: f64) -> Point {
        Point { at_s, least, most, low: least - 1.0, high: most + 1.0 }
    }

    #[test]
    fn a_gap_lifts_the_pen_and_a_lone_point_is_seen() {
        let pieces: [&[Point]; 2] = [&[point(0.0, 1.0, 1.0), point(1.0, 2.0, 3.0)], &[point(9.0, 4.0, 4.0)]];
        assert_eq!(curve(&pieces, |t| t, |v| v), "M0 1L1 2V3M9 4h.1");
    }

    #[test]
    fn a_part_has_the_points_beside_its_borders() {
        let at = |times: &[f64]| times.iter().map(|t| point(*t, 1.0, 1.0)).collect::<Vec<_>>();
        let pieces = [at(&[0.0, 30.0, 59.0]), at(&[61.0, 90.0, 130.0, 170.0]), at(&[200.0])];
        let parts = Axis::new(0.0, 240.0, Some(1.0)).parts();
        let times: Vec<Vec<f64>> = parts
            .iter()
            .map(|axis| {
                within(&pieces, *axis).iter().flat_map(|piece| piece.iter().map(|p| p.at_s)).collect()
            })
            .collect();
        assert_eq!(parts.iter().map(|part| part.to_s).collect::<Vec<_>>(), [60.0, 120.0, 180.0, 240.0]);
        assert_eq!(
            times,
            [vec![0.0, 30.0, 59.0], vec![61.0, 90.0, 130.0], vec![90.0, 130.0, 170.0], vec![200.0]]
        );
    }

    #[test]
    fn the_band_goes_round_the_curve() {
        let piece = [point(0.0, 5.0, 5.0), point(2.0, 6.0, 6.0)];
        assert_eq!(band(&piece, |t| t, |v| v), "M0 6L2 7L2 5L0 4Z");
    }

    #[test]
    fn limits_stand_where_they_hold() {
        let ceiling =
            |start_s, value| Limit { start_s, end_s: start_s + 5.0, value, tolerated: Some(value + 1.0) };
        let paths = limit_paths(&[&ceiling(0.0, 3.0), &ceiling(10.0, 4.0)], |t| t, |v| v);
        assert_eq!(paths, [("limit", "M0 3H5M10 4H15".into()), ("tolerated", "M0 4H5M10 5H15".into())]);
    }
}
