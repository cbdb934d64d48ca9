//! A return over its weeks as a picture: running, longest run, pace, pain and effort, with the weeks along the bottom.

use maud::{Markup, html};

use jiff::civil::Date;
use jogaudit_recording::units::LengthUnit;

use super::figure::{Row, SCALE_PX, percent, trimmed};
use super::table::{Column, table};
use crate::chart::{even_ticks, pace_ticks, padded};
use crate::days;
use crate::ends;
use crate::review_view::{ReviewView, WeekView};
use crate::text::{UNKNOWN, shown};
use crate::wording::clock;

/// Heights of the rows, px. Our choice.
const TALL: u32 = 120;
const LOW: u32 = 84;
/// Widths of the narrowest field and of a roomy one, and room of a week's label, px. Our choice.
const FIELDS_PX: [f64; 2] = [280.0, 640.0];
const LABEL_PX: f64 = 48.0;
/// Fewer weeks leave room at the right, so that their bars are no walls. Our choice.
const LEAST_WEEKS: usize = 8;
/// Share of a week's width that a bar takes. Our choice.
const BAR: f64 = 0.6;

/// The weeks from the first to the last, also those without anything.
struct Weeks<'v> {
    all: Vec<Option<&'v WeekView>>,
    first: Option<Date>,
}

/// A scale from its foot to its head, px from above.
#[derive(Clone, Copy)]
struct Scale {
    low: f64,
    high: f64,
    height: u32,
}

impl Scale {
    fn y(self, value: f64) -> String {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        trimmed(f64::from(self.height) * (1.0 - share), 1)
    }

    /// Height of a bar from the foot, px.
    fn bar(self, from: f64, to: f64) -> String {
        let px = |value: f64| f64::from(self.height) * (value - self.low) / (self.high - self.low);
        trimmed((px(to) - px(from)).max(0.0), 1)
    }
}

impl<'v> Weeks<'v> {
    fn new(view: &'v ReviewView) -> Self {
        let mut all = Vec::new();
        for week in &view.weeks {
            all.extend((0..week.empty_before).map(|_| None));
            all.push(Some(week));
        }
        Self { all, first: view.weeks.first().and_then(|week| week.monday.parse().ok()) }
    }

    fn known(&self) -> impl Iterator<Item = (usize, &'v WeekView)> + '_ {
        self.all.iter().enumerate().filter_map(|(at, week)| Some((at, (*week)?)))
    }

    /// Width of a week, % of the field.
    fn width(&self) -> f64 {
        100.0 / self.all.len().max(LEAST_WEEKS) as f64
    }

    /// The middle of a week, % of the field.
    fn middle(&self, at: usize) -> f64 {
        (at as f64 + 0.5) * self.width()
    }

    /// Left edge and width of a bar that takes such a share of a week, % of the field.
    fn bar(&self, at: usize, share: f64) -> (String, String) {
        let width = self.width() * share;
        (percent(self.middle(at) - 0.5 * width), percent(width))
    }

    /// The weeks that have a label, and whether on the narrowest screen, too. Steps are powers of two, so that the narrow
    /// labels are among the others.
    fn labels(&self) -> Vec<(usize, String, bool)> {
        let step = |field_px: f64| {
            let room_px = field_px * self.width() / 100.0;
            (0..16).map(|n| 1_usize << n).find(|step| *step as f64 * room_px >= LABEL_PX).unwrap_or(1 << 16)
        };
        let (narrow, roomy) = (step(FIELDS_PX[0]), step(FIELDS_PX[1]));
        let label = |at: usize| {
            let weeks = jiff::Span::new().weeks(i64::try_from(at).unwrap_or(0));
            Some(self.first?.checked_add(weeks).ok()?.strftime("%-d %b").to_string())
        };
        let places = (0..self.all.len()).step_by(roomy);
        places.filter_map(|at| Some((at, label(at)?, at % narrow == 0))).collect()
    }
}

/// Draws the weeks, with the same figures as a table for who cannot see them; nothing of fewer than two.
pub(super) fn over_weeks(view: &ReviewView) -> Markup {
    let weeks = Weeks::new(view);
    if weeks.all.len() < 2 {
        return html! {};
    }
    let pace_key = format!(
        "Pace: mean of the running in sessions of the plan, as run, minutes for one {}; faster is higher. Dashed: its ceiling.",
        view.units.word()
    );
    html! {
        section aria-labelledby="over-weeks" {
            h2 #over-weeks { "Over the weeks" }
            div.figure {
                (running(&weeks))
                (longest(&weeks))
                (pace(&weeks, view.units))
                (pain_and_effort(&weeks))
                (axis(&weeks))
            }
            p.key { "Each column is a week, named by its Monday. " (pace_key) }
            details {
                summary { "The same as a table" }
                (figures(view))
            }
        }
    }
}

/// The marks of a scale, for its field and beside it.
fn ticks(scale: Scale, ticks: &[(f64, String)]) -> (Markup, Markup) {
    let beside = html! {
        @for (value, label) in ticks {
            text.label x=(SCALE_PX - 5) y=(trimmed(scale.y(*value).parse::<f64>().unwrap_or(0.0).max(8.0) + 4.0, 1)) text-anchor="end" { (label) }
        }
    };
    let across = html! {
        rect.ground width="100%" height=(scale.height) {}
        @for (value, _) in ticks {
            line.grid x1="0" x2="100%" y1=(scale.y(*value)) y2=(scale.y(*value)) {}
        }
    };
    (beside, across)
}

/// Marks at round minutes of a scale of seconds from 0.
fn minutes(most_s: f64, height: u32) -> (Scale, Vec<(f64, String)>) {
    let high = (1.1 * most_s / 60.0).max(1.0);
    let marks = even_ticks(0.0, high).into_iter().map(|(value, label)| (60.0 * value, label)).collect();
    (Scale { low: 0.0, high: 60.0 * high, height }, marks)
}

fn running(weeks: &Weeks<'_>) -> Markup {
    let ends = |week: &WeekView| {
        [week.run_s.achieved, week.run_s.range.map(|r| r.least), week.run_s.most().filter(|s| s.is_finite())]
    };
    let most_s = weeks.known().flat_map(|(_, week)| ends(week)).flatten().fold(0.0, f64::max);
    let (scale, marks) = minutes(most_s, TALL);
    let (beside, across) = ticks(scale, &marks);
    let bar = |at: usize, week: &WeekView| {
        let done = week.run_s.achieved.unwrap_or(0.0);
        let plan = week.run_s.most().filter(|most| most.is_finite());
        let within = plan.map_or(done, |plan| done.min(plan));
        let (x, width) = weeks.bar(at, BAR);
        html! {
            rect.run x=(x) width=(width) y=(scale.y(within)) height=(scale.bar(0.0, within)) {}
            @if done > within {
                rect.extent.beyond x=(x) width=(width) y=(scale.y(done)) height=(scale.bar(within, done)) {}
            }
        }
    };
    let planned = |at: usize, week: &WeekView| {
        let ends = week.run_s.range.map(|range| [range.least, range.most]);
        let left = weeks.middle(at) - 0.45 * weeks.width();
        html! {
            @for end in ends.into_iter().flatten().filter(|end| end.is_finite()) {
                line.plan x1=(percent(left)) x2=(percent(left + 0.9 * weeks.width())) y1=(scale.y(end)) y2=(scale.y(end)) {}
            }
        }
    };
    Row {
        name: "Running, minutes",
        note: Some("bar: done, hatched beyond the plan’s; line: planned"),
        alt: "A bar a week, a line for what the plan has; the figures stand in the table below",
        height: TALL,
        scale: beside,
        field: html! {
            (across)
            @for (at, week) in weeks.known() { (titled(week, &done_of_planned(week), &html! { (bar(at, week)) (planned(at, week)) })) }
        },
        is_linked: false,
    }
    .markup()
}

/// A week's drawing that says its figures when it is pointed at.
fn titled(week: &WeekView, says: &str, drawing: &Markup) -> Markup {
    html! { g { title { "Week of " (days::short(&week.monday)) ": " (says) } (drawing) } }
}

fn done_of_planned(week: &WeekView) -> String {
    let planned = week.run_s.range.map(|range| format!(" of {}", ends::times(range))).unwrap_or_default();
    format!("{}{planned}", shown(week.run_s.achieved, clock))
}

fn longest(weeks: &Weeks<'_>) -> Markup {
    let most_s = weeks.known().map(|(_, week)| week.longest_run_s).fold(0.0, f64::max);
    let (scale, marks) = minutes(most_s, LOW);
    let (beside, across) = ticks(scale, &marks);
    Row {
        name: "Longest run, minutes",
        note: Some("without a walk or stop"),
        alt: "A stem a week; the figures stand in the table below",
        height: LOW,
        scale: beside,
        field: html! {
            (across)
            @for (at, week) in weeks.known().filter(|(_, week)| week.longest_run_s > 0.0) {
                @let (x, y) = (percent(weeks.middle(at)), scale.y(week.longest_run_s));
                (titled(week, &clock(week.longest_run_s), &html! {
                    line.stem x1=(x) x2=(x) y1=(LOW) y2=(y) {}
                    svg.over x=(x) y=(y) { path.mark-kept d="M-5 0L0-5 5 0 0 5Z" {} }
                }))
            }
        },
        is_linked: false,
    }
    .markup()
}

fn pace(weeks: &Weeks<'_>, units: LengthUnit) -> Markup {
    let mps = |pace_s_per_km: f64| 1000.0 / pace_s_per_km;
    let limits = |week: &WeekView| week.easy_pace_ceiling_s_per_km.map(|c| [c.least, c.most]);
    let speeds = || {
        let all = weeks.known().flat_map(|(_, week)| {
            let limits = limits(week).into_iter().flatten();
            week.easy_pace_s_per_km.into_iter().chain(limits)
        });
        all.map(mps)
    };
    if weeks.known().all(|(_, week)| week.easy_pace_s_per_km.is_none()) {
        return html! { p.key { "No session has a distance for all of its running, so there is no pace to draw." } };
    }
    let (least, most) = (speeds().fold(f64::INFINITY, f64::min), speeds().fold(0.0, f64::max));
    // To whole half minutes, so that there are marks at both ends.
    let half_minutes = |speed: f64, round: fn(f64) -> f64| {
        units.metres() / (30.0 * round(units.metres() / speed / 30.0).max(1.0))
    };
    let (low, high) = padded(half_minutes(least, f64::ceil), half_minutes(most, f64::floor));
    let scale = Scale { low, high, height: LOW };
    let (beside, across) = ticks(scale, &pace_ticks(low, high, units));
    Row {
        name: match units {
            LengthUnit::Kilometre => "Pace of the easy running, minutes per km",
            LengthUnit::Mile => "Pace of the easy running, minutes per mile",
        },
        note: Some("square: pace; dashed: ceiling"),
        alt: "A square a week, a dashed line for the ceiling; faster is higher; the figures stand in the table below",
        height: LOW,
        scale: beside,
        field: html! {
            (across)
            @for (at, week) in weeks.known() {
                @let left = weeks.middle(at) - 0.45 * weeks.width();
                @for limit in limits(week).into_iter().flatten() {
                    line.limit x1=(percent(left)) x2=(percent(left + 0.9 * weeks.width())) y1=(scale.y(mps(limit))) y2=(scale.y(mps(limit))) {}
                }
                @if let Some(pace) = week.easy_pace_s_per_km {
                    (titled(week, &shown(week.easy_pace.as_ref(), String::clone), &html! {
                        svg.over x=(percent(weeks.middle(at))) y=(scale.y(mps(pace))) { rect.pace x="-4" y="-4" width="8" height="8" {} }
                    }))
                }
            }
        },
        is_linked: false,
    }
    .markup()
}

fn pain_and_effort(weeks: &Weeks<'_>) -> Markup {
    let scale = Scale { low: 0.0, high: 10.5, height: LOW };
    let (beside, across) = ticks(scale, &[0.0, 5.0, 10.0].map(|value: f64| (value, format!("{value}"))));
    let has_any =
        weeks.known().any(|(_, week)| week.greatest_pain.is_some() || week.greatest_effort.is_some());
    if !has_any {
        return html! { p.key { "The diary says nothing about pain or effort." } };
    }
    Row {
        name: "Pain and effort, the greatest noted, of 10",
        note: Some("full bar: pain; open circle: effort"),
        alt: "A bar a week for the pain, a circle for the effort; the figures stand in the table below",
        height: LOW,
        scale: beside,
        field: html! {
            (across)
            @for (at, week) in weeks.known() {
                @let says = format!("pain {}, effort {}", of_ten(week.greatest_pain), of_ten(week.greatest_effort));
                (titled(week, &says, &html! {
                    @if let Some(pain) = week.greatest_pain {
                        @let (x, width) = weeks.bar(at, 0.35);
                        rect.pain-bar x=(x) width=(width) y=(scale.y(pain)) height=(scale.bar(0.0, pain)) {}
                    }
                    @if let Some(effort) = week.greatest_effort {
                        svg.over x=(percent(weeks.middle(at))) y=(scale.y(effort)) { circle.effort r="5" {} }
                    }
                }))
            }
        },
        is_linked: false,
    }
    .markup()
}

fn of_ten(value: Option<f64>) -> String {
    shown(value, |value| value.to_string())
}

fn axis(weeks: &Weeks<'_>) -> Markup {
    Row {
        name: "",
        note: None,
        alt: "The Mondays of the weeks",
        height: 20,
        scale: html! {},
        field: html! {
            @for (at, label, is_narrow) in weeks.labels() {
                @let x = percent(weeks.middle(at));
                line.tick.roomy[!is_narrow] x1=(x) x2=(x) y1="0" y2="5" {}
                // The last stands within the field, however narrow a week is; left of the first is the scale.
                @let beside_px = (1.0 - weeks.middle(at) / 100.0) * FIELDS_PX[usize::from(!is_narrow)];
                @let anchor = if beside_px < 0.5 * LABEL_PX { "end" } else { "middle" };
                text.label.roomy[!is_narrow] x=(x) y="17" text-anchor=(anchor) { (label) }
            }
        },
        is_linked: false,
    }
    .markup()
}

fn figures(view: &ReviewView) -> Markup {
    const COLUMNS: [Column; 7] = [
        Column::right("Running"),
        Column::right("Planned"),
        Column::right("Longest run"),
        Column::right("Pace"),
        Column::right("Ceiling"),
        Column::right("Pain"),
        Column::right("Effort"),
    ];
    let cells = |week: &WeekView| {
        [
            shown(week.run_s.achieved, clock),
            shown(week.run_s.range, ends::times),
            if week.longest_run_s > 0.0 { clock(week.longest_run_s) } else { UNKNOWN.to_owned() },
            shown(week.easy_pace.as_ref(), String::clone),
            shown(week.easy_pace_ceiling.as_ref(), String::clone),
            of_ten(week.greatest_pain),
            of_ten(week.greatest_effort),
        ]
    };
    let rows = html! {
        @for week in &view.weeks {
            tr {
                th scope="row" { (days::in_table(&week.monday)) }
                @for (column, cell) in COLUMNS.iter().zip(cells(week)) { (column.cell(&cell)) }
            }
        }
    };
    table("over-weeks", "Monday", &COLUMNS, rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(weeks: usize) -> Weeks<'static> {
        Weeks { all: vec![None; weeks], first: "2026-03-02".parse().ok() }
    }

    #[test]
    fn labels_have_room_and_the_narrow_ones_are_among_the_others() {
        for weeks in [2, 8, 10, 26, 53, 200] {
            let weeks = of(weeks);
            let labels = weeks.labels();
            assert_eq!(labels[0], (0, "2 Mar".to_owned(), true));
            for (field_px, is_narrow) in [(FIELDS_PX[0], true), (FIELDS_PX[1], false)] {
                let places: Vec<usize> = labels.iter().filter(|l| !is_narrow || l.2).map(|l| l.0).collect();
                let apart_px = |w: &[usize]| (w[1] - w[0]) as f64 * weeks.width() / 100.0 * field_px;
                assert!(places.windows(2).all(|w| apart_px(w) >= LABEL_PX), "{places:?}");
            }
        }
        assert_eq!(of(10).labels()[1].1, "9 Mar");
    }

    #[test]
    fn weeks_stand_within_the_field_in_order() {
        for count in [1, 3, 40] {
            let weeks = of(count);
            assert!(weeks.middle(0) > 0.0 && weeks.middle(count - 1) < 100.0);
        }
        let scale = Scale { low: 0.0, high: 10.0, height: 100 };
        assert_eq!(
            (scale.y(0.0), scale.y(10.0), scale.bar(2.0, 5.0)),
            ("100".into(), "0".into(), "30".into())
        );
    }
}
