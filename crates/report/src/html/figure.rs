//! What the figures share: the axis of time, rows of drawing beside their scale, patterns.
//!
//! Drawings have no view box: lengths along the time are shares of the width, all others CSS pixels. So a figure fills
//! any width and its texts keep their size.

use maud::{Markup, html};

use crate::wording::clock;

/// Width of the narrowest field, px: a telephone held upright, without margins and scale. Our choice.
const NARROWEST_PX: f64 = 280.0;
/// Width from which on more is shown, px: what is left of the page's breadth at which `report.css` says so; beside another
/// part of the same figure, half of the breadth that `report.css` asks for two.
const ROOMY_PX: f64 = 640.0;
const ROOMY_PART_PX: f64 = 430.0;
/// Room of a label of the axis, px: `59:59`, and from an hour on `1:00:00`. Our choice.
const LABEL_PX: [f64; 2] = [52.0, 76.0];
/// Width of the scale beside a field, px. Our choice.
pub(super) const SCALE_PX: u32 = 44;

/// The common axis of time of a figure, or of a part of one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    /// In how many parts it is drawn, so that none is wider than the narrowest screen.
    parts: u8,
}

/// Share of the width of an axis, %, that so many pixels take on the narrowest screen.
pub(super) fn share(px: f64) -> f64 {
    100.0 * px / NARROWEST_PX
}

impl Axis {
    /// An axis on which a run of `short_s` can be told from its neighbours.
    pub(super) fn new(from_s: f64, to_s: f64, short_s: Option<f64>) -> Self {
        // Both our choice: narrower runs run together; beyond half a day a figure would have too many parts to be of use.
        const LEAST_PX: f64 = 4.0;
        const LONGEST_S: f64 = 12.0 * 3600.0;
        let length_s = (to_s - from_s).max(1.0);
        let short_px = short_s.map_or(LEAST_PX, |s| NARROWEST_PX * s / length_s);
        let wanted = if length_s > LONGEST_S { 1.0 } else { LEAST_PX / short_px.max(1e-9) };
        let parts = [1, 2, 4].into_iter().find(|n| f64::from(*n) >= wanted).unwrap_or(8);
        Self { from_s, to_s: from_s + length_s, parts }
    }

    /// The axis in parts, one after the other; each but the first begins at a whole minute.
    pub(super) fn parts(self) -> Vec<Self> {
        const ROUND_S: f64 = 60.0;
        let length_s = self.to_s - self.from_s;
        let border = |n: u8| match n {
            0 => self.from_s,
            n if n == self.parts => self.to_s,
            n => {
                let even_s = self.from_s + length_s * f64::from(n) / f64::from(self.parts);
                ((even_s / ROUND_S).round() * ROUND_S).min(self.to_s)
            }
        };
        let part = |n: u8| Self { from_s: border(n), to_s: border(n + 1), parts: self.parts };
        (0..self.parts).map(part).filter(|part| part.to_s > part.from_s).collect()
    }

    /// Whether it shows any of a stretch of time.
    pub(super) fn shows(self, from_s: f64, to_s: f64) -> bool {
        from_s < self.to_s && to_s > self.from_s
    }

    /// Place of a moment, % of the width, also before and after the axis.
    pub(super) fn beyond(self, t: f64) -> f64 {
        100.0 * (t - self.from_s) / (self.to_s - self.from_s)
    }

    /// Place of a moment, % of the width.
    pub(super) fn at(self, t: f64) -> f64 {
        self.beyond(t).clamp(0.0, 100.0)
    }

    /// The same there and on a roomy screen.
    pub(super) fn shares(self, px: f64) -> (f64, f64) {
        let roomy_px = if self.parts > 1 { ROOMY_PART_PX } else { ROOMY_PX };
        (share(px), share(px).min(100.0 * px / roomy_px))
    }

    /// Round times that have room for their labels, and whether on the narrowest screen, too.
    fn times(self) -> Vec<(f64, bool)> {
        let (narrow, roomy) = self.shares(LABEL_PX[usize::from(self.to_s >= 3600.0)]);
        let step_s = self.step_s(narrow, f64::INFINITY);
        let roomy_s = self.step_s(roomy, step_s);
        let (first, last) =
            ((self.from_s.max(0.0) / roomy_s).ceil() as i64, (self.to_s / roomy_s).floor() as i64);
        let times = (first..=last).map(|n| n as f64 * roomy_s);
        times.map(|t| (t, t.rem_euclid(step_s) < 1e-6)).collect()
    }

    /// The least round time that takes such a share of the width and goes into `whole_s` without a remainder.
    fn step_s(self, share: f64, whole_s: f64) -> f64 {
        const STEPS_S: [f64; 16] = [
            1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 3600.0, 7200.0, 10_800.0,
            21_600.0, 43_200.0,
        ];
        const DAY_S: f64 = 86_400.0;
        let least_s = share / 100.0 * (self.to_s - self.from_s);
        let days_s = (least_s / DAY_S).ceil() * DAY_S;
        let is_part = |step: &f64| whole_s.is_infinite() || (whole_s / step).fract() == 0.0;
        let step_s = STEPS_S.into_iter().find(|step| *step >= least_s && is_part(step)).unwrap_or(days_s);
        if is_part(&step_s) { step_s } else { whole_s }
    }

    /// Upright lines at the round times.
    pub(super) fn grid(self, height: u32) -> Markup {
        html! {
            @for (t, is_narrow) in self.times() {
                @let x = percent(self.at(t));
                line.grid.roomy[!is_narrow] x1=(x) x2=(x) y1="0" y2=(height) {}
            }
        }
    }

    /// The labels of the round times.
    pub(super) fn labels(self) -> Markup {
        self.labels_since("the recording")
    }

    /// The same for what begins otherwise.
    pub(super) fn labels_since(self, what: &str) -> Markup {
        let anchor = |x: f64| match x {
            x if x < share(18.0) => "start",
            x if x > 100.0 - share(24.0) => "end",
            _ => "middle",
        };
        let row = Row {
            name: "",
            note: None,
            alt: &format!("Time since {what} began, minutes and seconds"),
            height: 20,
            scale: html! {},
            field: html! {
                @for (t, is_narrow) in self.times() {
                    @let x = self.at(t);
                    line.tick.roomy[!is_narrow] x1=(percent(x)) x2=(percent(x)) y1="0" y2="5" {}
                    text.label.roomy[!is_narrow] x=(percent(x)) y="17" text-anchor=(anchor(x)) { (clock(t)) }
                }
            },
            is_linked: false,
        };
        row.markup()
    }
}

/// A share of the width as an attribute.
pub(super) fn percent(share: f64) -> String {
    format!("{}%", trimmed(share, 2))
}

/// A number with at most so many places.
pub(super) fn trimmed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// One drawing of a figure: a caption over a scale and a field.
pub(super) struct Row<'a> {
    /// Shown above; nothing for an axis.
    pub(super) name: &'a str,
    /// Shown after the name.
    pub(super) note: Option<&'a str>,
    /// The drawing in words.
    pub(super) alt: &'a str,
    /// Height, px.
    pub(super) height: u32,
    /// Drawn in the scale.
    pub(super) scale: Markup,
    /// Drawn in the field.
    pub(super) field: Markup,
    /// Whether the field holds links.
    pub(super) is_linked: bool,
}

impl Row<'_> {
    pub(super) fn markup(self) -> Markup {
        let Row { name, note, alt, height, scale, field, is_linked } = self;
        let role = if is_linked { "group" } else { "img" };
        let label = if name.is_empty() { alt.to_owned() } else { format!("{name}. {alt}") };
        html! {
            div.row.axis[name.is_empty()] {
                @if !name.is_empty() {
                    p.caption { b { (name) } @if let Some(note) = note { " " span.quiet { (note) } } }
                }
                div.plot {
                    svg.scale aria-hidden="true" width=(SCALE_PX) height=(height) { (scale) }
                    svg.field role=(role) aria-label=(label) width="100%" height=(height) { (field) }
                }
            }
        }
    }
}

/// Hatches by which drawings mark what hue alone must not tell. Once a page.
pub(super) fn patterns() -> Markup {
    html! {
        svg.patterns aria-hidden="true" width="0" height="0" {
            defs {
                pattern id="hatch-over" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                    rect.hatch-over width="3" height="6" {}
                }
                pattern id="hatch-unknown" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)" {
                    rect.hatch-unknown width="1.5" height="7" {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_have_room_on_the_narrowest_screen() {
        for length_s in [5.0, 90.0, 1500.0, 1860.0, 3600.0, 3.0 * 3600.0, 30.0 * 3600.0, 40.0 * 86_400.0] {
            for short_s in [None, Some(60.0), Some(20.0)] {
                for axis in Axis::new(-20.0, length_s, short_s).parts() {
                    let times = |of: fn(bool) -> bool| -> Vec<f64> {
                        axis.times()
                            .into_iter()
                            .filter(|(_, is_narrow)| of(*is_narrow))
                            .map(|(t, _)| t)
                            .collect()
                    };
                    let least = axis.shares(LABEL_PX[usize::from(axis.to_s >= 3600.0)]);
                    for (times, least) in
                        [(times(|is_narrow| is_narrow), least.0), (times(|_| true), least.1)]
                    {
                        assert!(!times.is_empty() && times[0] >= 0.0, "{axis:?}");
                        let is_apart = |w: &[f64]| axis.at(w[1]) - axis.at(w[0]) >= least - 1e-9;
                        assert!(times.windows(2).all(is_apart), "{axis:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn short_runs_of_a_long_session_get_a_figure_in_parts() {
        let parts = |axis: Axis| axis.parts().iter().map(|part| (part.from_s, part.to_s)).collect::<Vec<_>>();
        assert_eq!(parts(Axis::new(0.0, 1800.0, Some(60.0))), [(0.0, 1800.0)]);
        assert_eq!(
            parts(Axis::new(-20.0, 10_800.0, Some(60.0))),
            [(-20.0, 2700.0), (2700.0, 5400.0), (5400.0, 8100.0), (8100.0, 10_800.0)]
        );
        assert_eq!(parts(Axis::new(0.0, 30.0 * 86_400.0, Some(60.0))).len(), 1);
        // Shorter than its parts' minutes: no part is empty.
        assert!(Axis::new(0.0, 70.0, Some(0.1)).parts().iter().all(|part| part.to_s > part.from_s));
        assert_eq!(Axis::new(0.0, 0.0, None).at(0.5), 50.0);
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(percent(33.3333), "33.33%");
        assert_eq!(percent(100.0), "100%");
        assert_eq!(trimmed(10.0, 0), "10");
        assert_eq!(trimmed(-0.5, 1), "-0.5");
    }
}
