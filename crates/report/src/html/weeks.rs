//! The weeks of a return, a row each: its days as dated ticks, its running as a bar.

use maud::{Markup, html};

use super::figure::percent;
use super::marks::{icon, shape};
use super::table::{Column, table};
use crate::ends;
use crate::mark::Mark;
use crate::outside::isolated;
use crate::review_view::{ReviewView, WeekView};
use crate::review_wording::WEEK_KEY;
use crate::text::{UNKNOWN, shown};
use crate::wording::clock;

/// Width of a day in the row of a week, px: with the next, room for a finger. Our choice.
const DAY_PX: u32 = 24;
/// Height of that row, px. Our choice.
const WEEK_PX: u32 = 40;
/// Height of the line on which the marks of the days stand, px from above. Our choice.
const FOOT_PX: u32 = 21;

const RUNNING: Column = Column::whole("Days; running done / planned");
const PAIN: Column = Column::right("Pain, of 10");
const LONGEST: Column = Column::right("Longest run");
const KEPT: Column = Column::right("As prescribed");
const COLUMNS: [Column; 4] = [RUNNING, PAIN, LONGEST, KEPT];

/// A row a week.
pub(super) fn weeks(view: &ReviewView) -> Markup {
    if view.weeks.is_empty() {
        return html! {};
    }
    let amounts = view.weeks.iter().flat_map(|w| [w.run_s.achieved, w.run_s.most()]);
    let most_s = amounts.flatten().fold(0.0, f64::max);
    let rows = html! { @for week in &view.weeks { (week_row(view, week, most_s)) } };
    html! {
        section aria-labelledby="weeks" {
            h2 #weeks { "Weeks" }
            (table("weeks", "Monday", &COLUMNS, rows))
            (key(view))
        }
    }
}

fn week_row(view: &ReviewView, week: &WeekView, most_s: f64) -> Markup {
    let kept =
        if week.sessions > 0 { format!("{} of {}", week.kept, week.sessions) } else { UNKNOWN.to_owned() };
    html! {
        @if week.empty_before > 0 {
            tr.empty { td colspan="5" {
                @if week.empty_before == 1 { "A week" } @else { (week.empty_before) " weeks" }
                " without a recording or an entry"
            } }
        }
        tr {
            th scope="row" { (crate::days::in_table(&week.monday)) }
            (RUNNING.holding(html! {
                div.week { (days(view, week)) div.amount { (bar(week, most_s)) } }
                @if let Some(told) = week.in_words() { div.quiet { (isolated(&told)) } }
            }))
            @match week.greatest_pain { Some(greatest) => (PAIN.holding(pain(greatest))), None => (PAIN.cell(UNKNOWN)) }
            (LONGEST.cell(&clock(week.longest_run_s)))
            (KEPT.cell(&kept))
        }
    }
}

/// The date of a day of a week, `2026-03-02`.
fn date(week: &WeekView, day: usize) -> String {
    let monday: Option<jiff::civil::Date> = week.monday.parse().ok();
    let days = jiff::Span::new().days(i64::try_from(day).unwrap_or(0));
    monday.and_then(|monday| monday.checked_add(days).ok()).map(|date| date.to_string()).unwrap_or_default()
}

/// A tick with its date for each day; on it the mark of what was done.
fn days(view: &ReviewView, week: &WeekView) -> Markup {
    let on = |date: &str| view.sessions.iter().position(|s| s.date == date);
    let has_mark = |mark: Mark| !matches!(mark, Mark::NotYet | Mark::NoSession);
    html! {
        svg.days role="group" aria-label="Days" width=(7 * DAY_PX) height=(WEEK_PX) {
            line.foot x1="0" x2=(7 * DAY_PX) y1=(FOOT_PX) y2=(FOOT_PX) {}
            @for (day, mark) in week.days.iter().enumerate() {
                @let (left, date) = (day as u32 * DAY_PX, date(week, day));
                @let tick = html! {
                    line.foot x1=(left + DAY_PX / 2) x2=(left + DAY_PX / 2) y1=(FOOT_PX) y2=(FOOT_PX + 4) {}
                    text.label x=(left + DAY_PX / 2) y=(WEEK_PX - 2) text-anchor="middle" { (day_of_month(&date)) }
                    @if has_mark(*mark) { g transform=(format!("translate({} {})", left + 2, FOOT_PX - 20)) { (shape(*mark)) } }
                };
                @if let Some(index) = on(&date) {
                    a href=(format!("#session-{}", index + 1)) {
                        title { (date) ": " (mark.word()) }
                        rect.touch x=(left) width=(DAY_PX) height=(WEEK_PX) {}
                        (tick)
                    }
                } @else {
                    (tick)
                }
            }
        }
    }
}

/// `2` of `2026-03-02`.
fn day_of_month(date: &str) -> &str {
    date.rsplit('-').next().unwrap_or_default().trim_start_matches('0')
}

/// Running of a week: full up to the plan's, hatched beyond it, with the plan's as an upright line.
fn bar(week: &WeekView, most_s: f64) -> Markup {
    let at = |seconds: f64| if most_s > 0.0 { 100.0 * seconds / most_s } else { 0.0 };
    let done = week.run_s.achieved.unwrap_or(0.0);
    let plan = week.run_s.most();
    let within = plan.map_or(done, |plan| done.min(plan));
    html! {
        svg.field aria-hidden="true" width="100%" height="18" {
            rect.run width=(percent(at(within))) y="3" height="12" {}
            rect.extent.beyond x=(percent(at(within))) width=(percent(at(done - within))) y="3" height="12" {}
            @if let Some(plan) = plan {
                @let x = percent(at(plan).min(99.7));
                line.plan x1=(x) x2=(x) y1="0" y2="18" {}
            }
        }
        span { (clock(done)) " of " (shown(week.run_s.range, ends::times)) }
    }
}

/// A mark for each point of ten, as a number and as filled cells.
fn pain(greatest: f64) -> Markup {
    html! {
        b { (greatest) } " "
        svg.pain aria-hidden="true" width="62" height="12" {
            @for point in 0..10u32 {
                rect.on[f64::from(point) < greatest] x=(point * 6 + 1) y="1" width="5" height="10" {}
            }
        }
    }
}

fn key(view: &ReviewView) -> Markup {
    let used = |mark: &Mark| view.weeks.iter().any(|week| week.days.contains(mark));
    html! {
        ul.key aria-label="Marks" {
            @for mark in Mark::OF_SESSIONS.into_iter().filter(|mark| used(mark)) {
                li { (icon(mark)) (mark.word()) }
            }
            li { svg.icon aria-hidden="true" width="20" height="18" { rect.run y="3" width="20" height="12" {} } "running" }
            li {
                svg.icon aria-hidden="true" width="20" height="18" { rect.extent.beyond y="3" width="20" height="12" {} }
                "beyond the plan's"
            }
            li { svg.icon aria-hidden="true" width="8" height="18" { line.plan x1="4" x2="4" y1="0" y2="18" {} } "the plan's for the week" }
        }
        @if view.weeks.iter().any(|week| week.outcome.is_some()) { p.key { (WEEK_KEY) } }
        p.key { "As prescribed: of the sessions with running. Pain: the greatest noted." }
    }
}
