//! The report of a whole return: the ruling first, then a row a week.

use maud::{Markup, html};

use jogaudit_core::audit::Outcome;
use jogaudit_core::review::{Recommendation, SessionKind};

use super::figure::{patterns, percent};
use super::marks::{icon, shape};
use crate::card::{CardBout, CardGait, CardView, bout_texts};
use crate::ends;
use crate::mark::Mark;
use crate::outside::{escaped_prose, isolated};
use crate::review_text::{asks, fact, why_undecided};
use crate::review_view::{ReviewView, SessionView, WeekView};
use crate::review_wording::WEEK_KEY;
use crate::text::{UNKNOWN, shown};
use crate::wording::{clock, counted};

/// Width of a day in the row of a week, px: with the next, room for a finger. Our choice.
const DAY_PX: u32 = 24;
/// Height of that row, px. Our choice.
const WEEK_PX: u32 = 28;
/// Initials of the days, Monday first.
const DAYS: [&str; 7] = ["M", "T", "W", "T", "F", "S", "S"];
/// Runs and walks of a card that are shown; of longer sessions the text says the rest. Our choice.
const MOST_STEPS: usize = 36;

/// Lays out a review without the page around it.
pub(super) fn body(view: &ReviewView) -> Markup {
    let zone = view.timezone.as_deref().unwrap_or("each recording's own offset, else UTC");
    html! {
        (patterns())
        header.outcome { h1 { (isolated(&view.ruling.text)) } }
        @if let Some(contact) = view.contact_now() { p { strong { "Contact: " (isolated(contact)) } } }
        @if let Some(ends) = view.ruling.ends { p { (ends) } }
        p.cautions { (isolated(&view.cautions)) }
        p { "Plan “" (isolated(&view.plan)) "”, reviewed on " (view.as_of) "; days are counted in " (zone) "." }
        @for reason in &view.clinician_overrides {
            p { "The plan's limits hold by a clinician's word: “" (isolated(&escaped_prose(reason))) "”." }
        }
        (why(view))
        @if let Some(card) = &view.card { (next_session(card)) }
        (coming(view))
        (visits(view))
        (weeks(view))
        (findings(view))
        (stages(view))
        (sessions(view))
        (effort(view))
        (left_out(view))
        (super::notices(&view.notices))
        p.key { "Made by jogaudit " (env!("CARGO_PKG_VERSION")) " from the plan, the diary and the recordings alone." }
    }
}

fn coming(view: &ReviewView) -> Markup {
    html! {
        @if let Some(coming) = &view.coming {
            section aria-labelledby="coming" {
                h2 #coming { "Coming sessions, if each is done as prescribed" }
                ul { @for session in &coming.sessions { li { (isolated(&session.text)) } } }
                @for said in &coming.text { p { (said) } }
            }
        }
    }
}

/// The facts that the ruling rests on; their rules fold away.
fn why(view: &ReviewView) -> Markup {
    let rules = &view.ruling.rules;
    html! {
        @if !rules.is_empty() {
            section aria-labelledby="why" {
                h2 #why { "Why" }
                ul.facts { @for rule in rules { li { (isolated(&fact(rule))) } } }
                details {
                    summary { "The rules behind this, with their sources" }
                    ul { @for rule in rules {
                        li { (rule.says) " " (asks(rule)) " " span.source { (rule.rule) "; " (rule.source) } }
                    } }
                }
            }
        }
    }
}

fn visits(view: &ReviewView) -> Markup {
    html! {
        @if !view.visits.is_empty() {
            section aria-labelledby="visits" {
                h2 #visits { "Visits to a health professional" }
                ul { @for visit in &view.visits { li { (isolated(&visit.text)) } } }
            }
        }
    }
}

fn next_session(card: &CardView) -> Markup {
    html! {
        section.card aria-labelledby="next" {
            h2 #next {
                @match card.instead {
                    None => { "Next session: stage “" (isolated(&card.stage)) "”" },
                    Some(Recommendation::Rest) => "Next session: none, rest",
                    Some(_) => "Next session: none, see a health professional",
                }
            }
            @if card.instead.is_none() {
                p { (card.session) }
                ol.steps aria-label="Runs and walks, on the session's clock" {
                    @for (bout, [at, what, length]) in card.bouts.iter().zip(bout_texts(&card.bouts, card.units)).take(MOST_STEPS) {
                        (step(bout, &at, &what, &length))
                    }
                    @if card.bouts.len() > MOST_STEPS { li { "… and so on" } }
                }
            }
            ul { @for sentence in &card.text { li { (isolated(sentence)) } } }
        }
    }
}

fn step(bout: &CardBout, at: &str, what: &str, length: &str) -> Markup {
    html! {
        li {
            span.quiet { (at) } " "
            @if bout.gait == CardGait::Run { b { (what) } } @else { (what) }
            " " (length)
            @if !bout.cycle.is_empty() { ": " (bout.cycle) }
        }
    }
}

fn weeks(view: &ReviewView) -> Markup {
    if view.weeks.is_empty() {
        return html! {};
    }
    let amounts = view.weeks.iter().flat_map(|w| [w.run_s.achieved, w.run_s.most()]);
    let most_s = amounts.flatten().fold(0.0, f64::max);
    html! {
        section aria-labelledby="weeks" {
            h2 #weeks { "Weeks" }
            div.scroll tabindex="0" role="region" aria-labelledby="weeks" {
                table.weeks {
                    thead { tr {
                        th scope="col" { "Monday" }
                        th.left scope="col" { "Days, and running of the plan's" (initials()) }
                        th scope="col" { "Pain, of 10" }
                        th scope="col" { "Longest run" }
                        th scope="col" { "Kept" }
                    } }
                    tbody {
                        @for week in &view.weeks { (week_row(view, week, most_s)) }
                    }
                }
            }
            (key(view))
        }
    }
}

fn initials() -> Markup {
    html! {
        svg.days aria-hidden="true" width=(7 * DAY_PX) height="18" {
            @for (i, day) in (0u32..).zip(DAYS) {
                text.label x=(i * DAY_PX + DAY_PX / 2) y="14" text-anchor="middle" { (day) }
            }
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
            th scope="row" { (week.monday) }
            td.left { div.week { (days(view, week)) div.bar { (bar(week, most_s)) } } @if let Some(told) = week.in_words() { div.quiet { (isolated(&told)) } } }
            td { (pain(week.greatest_pain)) }
            td { (clock(week.longest_run_s)) }
            td { (kept) }
        }
    }
}

/// The date of a day of a week, `2026-03-02`.
fn date(week: &WeekView, day: usize) -> String {
    let monday: Option<jiff::civil::Date> = week.monday.parse().ok();
    let days = jiff::Span::new().days(i64::try_from(day).unwrap_or(0));
    monday.and_then(|monday| monday.checked_add(days).ok()).map(|date| date.to_string()).unwrap_or_default()
}

fn days(view: &ReviewView, week: &WeekView) -> Markup {
    let on = |day| {
        let date = date(week, day);
        view.sessions.iter().position(|s| s.date == date).map(|index| (index, date))
    };
    html! {
        svg.days role="group" aria-label="Days" width=(7 * DAY_PX) height=(WEEK_PX) {
            line.foot x1="0" x2=(7 * DAY_PX) y1=(WEEK_PX / 2) y2=(WEEK_PX / 2) {}
            @for (day, mark) in week.days.iter().enumerate() {
                @let place = format!("translate({} {})", day as u32 * DAY_PX + 2, WEEK_PX / 2 - 10);
                @if let Some((index, date)) = on(day) {
                    a href=(format!("#session-{}", index + 1)) {
                        title { (date) ": " (mark.word()) }
                        rect.touch x=(day as u32 * DAY_PX) width=(DAY_PX) height=(WEEK_PX) {}
                        g transform=(place) { (shape(*mark)) }
                    }
                } @else if *mark != Mark::NotYet {
                    g transform=(place) { (shape(*mark)) }
                }
            }
        }
    }
}

/// Running of a week: full up to the plan's, hatched beyond it, with the plan's as an upright line.
fn bar(week: &WeekView, most_s: f64) -> Markup {
    let at = |seconds: f64| if most_s > 0.0 { 100.0 * seconds / most_s } else { 0.0 };
    let done = week.run_s.achieved.unwrap_or(0.0);
    let plan = week.run_s.most();
    let within = plan.map_or(0.0, |plan| done.min(plan));
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
fn pain(greatest: Option<f64>) -> Markup {
    html! {
        @match greatest {
            None => (UNKNOWN),
            Some(pain) => {
                b { (pain) } " "
                svg.pain aria-hidden="true" width="62" height="12" {
                    @for point in 0..10u32 {
                        rect.on[f64::from(point) < pain] x=(point * 6 + 1) y="1" width="5" height="10" {}
                    }
                }
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
            li { (icon(Mark::NoSession)) (Mark::NoSession.word()) }
            li { svg.icon aria-hidden="true" width="20" height="18" { rect.run y="3" width="20" height="12" {} } "running" }
            li {
                svg.icon aria-hidden="true" width="20" height="18" { rect.extent.beyond y="3" width="20" height="12" {} }
                "beyond the plan's"
            }
            li { svg.icon aria-hidden="true" width="8" height="18" { line.plan x1="4" x2="4" y1="0" y2="18" {} } "the plan's for the week" }
        }
        @if view.weeks.iter().any(|week| week.outcome.is_some()) { p.key { (WEEK_KEY) } }
        p.key { "Kept: of the sessions with running. Pain: the greatest noted." }
    }
}

fn stages(view: &ReviewView) -> Markup {
    html! {
        section aria-labelledby="stages" {
            h2 #stages { "Stages" }
            div.scroll tabindex="0" role="region" aria-labelledby="stages" {
                table {
                    thead { tr {
                        @for heading in ["Stage", "Needed", "Done", "Kept", "Overdone", "Underdone", "Undecided"] { th scope="col" { (heading) } }
                        th.left scope="col" { "Session" }
                    } }
                    tbody {
                        @for stage in &view.stages {
                            tr {
                                th scope="row" { (isolated(&stage.stage)) }
                                td { (stage.needed_in_words().unwrap_or_else(|| UNKNOWN.to_owned())) }
                                @for count in [stage.attempts, stage.kept, stage.overdone, stage.underdone, stage.undecided] { td { (count) } }
                                td.left { (stage.session) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn findings(view: &ReviewView) -> Markup {
    html! {
        @if !view.findings.is_empty() {
            section aria-labelledby="findings" {
                h2 #findings { "Beyond the prescription over days and weeks" }
                ul.findings {
                    @for finding in &view.findings {
                        li { (icon(Mark::Overdone)) div { b { (finding.date) } " " (isolated(&finding.text)) } }
                    }
                }
            }
        }
    }
}

fn sessions(view: &ReviewView) -> Markup {
    html! {
        @if !view.sessions.is_empty() {
            section aria-labelledby="sessions" {
                h2 #sessions { "Sessions" }
                div.scroll tabindex="0" role="region" aria-labelledby="sessions" {
                    table {
                        thead { tr {
                            th scope="col" { "Date" }
                            th.left scope="col" { "Outcome" }
                            @for heading in ["Stage", "Running", "Longest run", "Pain", "Next morning", "Effort"] { th scope="col" { (heading) } }
                            th.left scope="col" { "What was found, what was noted" }
                        } }
                        tbody { @for (i, session) in view.sessions.iter().enumerate() { (session_row(i + 1, session)) } }
                    }
                }
            }
        }
    }
}

fn session_row(number: usize, session: &SessionView) -> Markup {
    let mark = match (session.outcome, session.kind) {
        (Some(outcome), _) => outcome.into(),
        (None, SessionKind::Walk) => Mark::Walk,
        (None, _) => Mark::Unplanned,
    };
    let decisive: Vec<&str> =
        session.findings.iter().filter(|f| f.decides).map(|f| f.text.as_str()).collect();
    let said =
        if session.outcome == Some(Outcome::Undecided) { why_undecided(session) } else { decisive.join(" ") };
    let of_ten = |pain: Option<f64>| shown(pain, |pain| format!("{pain}"));
    html! {
        tr id=(format!("session-{number}")) {
            th scope="row" { (session.date) }
            td.left.outcome { (icon(mark)) (mark.word()) }
            td {
                (isolated(session.stage.as_deref().unwrap_or(UNKNOWN)))
                @if let Some(due) = session.repetitions { br; span.quiet { "due: " (counted(due as usize, "repetition")) } }
            }
            td {
                (shown(session.run_s.achieved, clock))
                @if let Some(prescribed) = session.run_s.range { span.quiet { " of " (ends::times(prescribed)) } }
            }
            td { (clock(session.longest_run_s)) }
            td { (of_ten(session.pain_during)) }
            td { (of_ten(session.pain_next_morning)) }
            td { (of_ten(session.effort)) }
            td.left.said {
                (isolated(&said))
                @if let Some(note) = &session.note { " " q { (isolated(&escaped_prose(note))) } }
            }
        }
    }
}

fn effort(view: &ReviewView) -> Markup {
    let weeks: Vec<&WeekView> = view.weeks.iter().filter(|week| week.sessions > 0).collect();
    let range =
        |r: crate::review_view::RangeView, places: usize| format!("{:.places$}–{:.places$}", r.least, r.most);
    html! {
        @if !weeks.is_empty() {
            section aria-labelledby="effort" {
                h2 #effort { "Effort and estimated loading, for information only" }
                div.scroll tabindex="0" role="region" aria-labelledby="effort" {
                    table {
                        thead { tr {
                            @for heading in ["Monday", "Load", "Monotony", "Strain", "Running steps", "Walking steps", "Loading", "Of the plan's"] { th scope="col" { (heading) } }
                        } }
                        tbody {
                            @for week in weeks {
                                tr {
                                    th scope="row" { (week.monday) }
                                    td { (shown(week.load, |x| format!("{x:.0}"))) }
                                    td { (shown(week.monotony, |x| format!("{x:.2}"))) }
                                    td { (shown(week.strain, |x| format!("{x:.0}"))) }
                                    td { (shown(week.run_steps, |n| n.to_string())) }
                                    td { (shown(week.walk_steps, |n| n.to_string())) }
                                    td { (shown(week.estimated_loading_bw, |r| range(r, 0))) }
                                    td { (shown(week.estimated_loading_ratio, |r| range(r, 2))) }
                                }
                            }
                        }
                    }
                }
                p.key { (crate::review_wording::EFFORT_KEY) }
            }
        }
    }
}

fn left_out(view: &ReviewView) -> Markup {
    html! {
        @if !view.left_out.is_empty() {
            section aria-labelledby="left-out" {
                h2 #left-out { "Left out" }
                ul { @for file in &view.left_out { li { b { (isolated(&file.recording)) } ": " (isolated(&file.text)) " " code { (file.code) } } } }
            }
        }
    }
}
