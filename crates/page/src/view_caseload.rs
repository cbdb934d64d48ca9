//! The table of patients: what needs attention first.

use jiff::ToSpan;
use jiff::civil::Date;
use maud::{Markup, html};

use jogaudit_report::days;
use jogaudit_report::ends::between;
use jogaudit_report::isolated;
use jogaudit_report::review_view::{SessionView, StageView, WeekView};

use super::attention::{Need, needs, unreadable};
use super::case_names::CaseName;
use super::found::Found;
use super::layout::root;
use super::refusal::sentence;
use super::settings::Settings;
use super::store::{CaseState, HostedCase};
use super::view_case::mark;
use super::view_diary::shown;

/// Weeks that a row shows.
const WEEKS: i64 = 4;

/// A row of the table: what needs attention; `None` while the case is being read.
type Row<'a> = (&'a CaseName, &'a CaseState, Option<Vec<(Need, String)>>);

/// Lists the cases; gives whether some are still being read.
pub(super) fn table(settings: &Settings, cases: &[HostedCase], states: &[CaseState]) -> (Markup, bool) {
    let mut rows: Vec<Row<'_>> =
        cases.iter().zip(states).map(|(case, state)| (&case.name, state, needs_of(state))).collect();
    // The gravest first; cases that are being read last.
    rows.sort_by_key(|(case, _, needs)| {
        let gravest = needs.as_ref().map(|needs| needs.first().map_or(u8::MAX, |(need, _)| *need as u8));
        (gravest.is_none(), gravest, case.label.to_lowercase())
    });
    let unread = rows.iter().filter(|(.., needs)| needs.is_none()).count();
    let markup = html! {
        h1 { (settings.all_title()) }
        @if unread > 0 {
            p role="status" {
                (cases.len() - unread) " of " (cases.len()) " cases are read. This page will refresh."
            }
            progress value=(cases.len() - unread) max=(cases.len()) aria-label="Cases read" {}
        }
        table.cases {
            thead {
                tr {
                    th scope="col" { "Patient" }
                    th scope="col" { "Needs attention" }
                    th scope="col" { "Next session" }
                    th scope="col" { "Last session" }
                    th scope="col" { "Weekly running" }
                    th scope="col" { "Weekly pain" }
                }
            }
            tbody { @for (case, state, needs) in &rows { (row(case, state, needs.as_deref())) } }
        }
        @if !settings.not_followed.is_empty() {
            p {
                "Links, which are not followed: "
                @for (index, name) in settings.not_followed.iter().enumerate() {
                    @if index > 0 { ", " }
                    (isolated(name))
                }
                ". They may lead to another patient, or to one listed here. To see what is behind one, open its own folder."
            }
        }
        p.quiet {
            "Order: see a clinician, a case that can’t be read, rest, overdone, pain, lines of the diary that can’t be read, "
            "sessions that can’t be judged, files that can’t be read, nothing in the diary, no session. Overdone, pain and "
            "undecided: of the last 14 days. Weekly: minutes of running and the greatest pain of each of the last " (WEEKS)
            " weeks, the present one last."
        }
    };
    (markup, unread > 0)
}

fn needs_of(state: &CaseState) -> Option<Vec<(Need, String)>> {
    match state {
        CaseState::Reading { .. } => None,
        CaseState::Stopped => Some(unreadable("not read: the reading was stopped")),
        CaseState::Ready(snapshot) => Some(match &snapshot.found {
            Ok(found) => needs(&found.review, found.today),
            Err(refusal) => unreadable(&refusal.what),
        }),
    }
}

fn row(case: &CaseName, state: &CaseState, needs: Option<&[(Need, String)]>) -> Markup {
    let found = match state {
        CaseState::Ready(snapshot) => snapshot.found.as_ref().ok(),
        CaseState::Reading { .. } | CaseState::Stopped => None,
    };
    let last = found.and_then(|found| found.review.sessions.last());
    html! {
        tr {
            th scope="row" { a href={ (root(case)) "/" } { (isolated(&case.label)) } }
            td data-label="Needs attention" {
                @match needs {
                    None => span.quiet { "being read" },
                    Some([]) => span.quiet { "nothing" },
                    Some(needs) => ul { @for (need, text) in needs { li.grave[*need <= Need::Overdone] { (isolated(&sentence(text))) } } },
                }
            }
            td data-label="Next session" { @if let Some(found) = found { (isolated(&found.review.ruling.text)) } }
            td data-label="Last session" {
                @if let (Some(last), Some(found)) = (last, found) { (last_session(last, found)) }
            }
            td data-label="Weekly running" { @if let Some(found) = found { (run_by_week(found)) } }
            td data-label="Weekly pain" { @if let Some(found) = found { (pain_by_week(found)) } }
        }
    }
}

/// When the last session was, how long ago, what it was to be and how it went.
fn last_session(last: &SessionView, found: &Found) -> Markup {
    let ago = last
        .date
        .parse::<Date>()
        .ok()
        .and_then(|date| date.until(found.today).ok())
        .map(|span| span.get_days());
    let is_it = |stage: &&StageView| last.stage.as_ref() == Some(&stage.stage);
    html! {
        (days::short(&last.date))
        @match ago {
            Some(0) => ", today",
            Some(1) => ", yesterday",
            Some(days) => { ", " (days) " days ago" }
            None => {}
        }
        @if let Some(stage) = &last.stage { ", stage “" (isolated(stage)) "”" }
        @if let Some(stage) = found.review.stages.iter().find(is_it) { ": " span.quiet { (isolated(&stage.session)) } }
        @if let Some(outcome) = last.outcome { ", " (mark(outcome)) }
    }
}

/// The last weeks of the case, the present one last; `None` for a week without anything.
fn last_weeks(found: &Found) -> Vec<Option<&WeekView>> {
    let this_monday =
        found.today.saturating_sub(i64::from(found.today.weekday().to_monday_zero_offset()).days());
    let mondays = (0..WEEKS).rev().map(|back| this_monday.saturating_sub(back.weeks()).to_string());
    let week_of = |monday: &str| found.review.weeks.iter().find(|week| week.monday == monday);
    let first = found.review.weeks.first().map(|week| week.monday.as_str());
    mondays
        .filter(|monday| first.is_some_and(|first| first <= monday.as_str()))
        .map(|monday| week_of(&monday))
        .collect()
}

/// Minutes of running of the last weeks, and what the plan has for the present one.
fn run_by_week(found: &Found) -> String {
    let minutes = |s: f64| format!("{:.0}", s / 60.0);
    let weeks = last_weeks(found);
    if weeks.is_empty() {
        return "none yet".to_owned();
    }
    let run = |week: Option<&WeekView>| {
        week.map_or_else(
            || "0".to_owned(),
            |week| week.run_s.achieved.map_or_else(|| "–".to_owned(), minutes),
        )
    };
    let planned = weeks.last().copied().flatten().and_then(|week| week.run_s.range);
    let of = planned.map(|range| format!(" of {}", between(range, minutes))).unwrap_or_default();
    format!("{}{of} min", weeks.iter().copied().map(run).collect::<Vec<_>>().join(" → "))
}

/// The greatest pain of the last weeks.
fn pain_by_week(found: &Found) -> String {
    let pains = last_weeks(found).into_iter().map(|week| week.and_then(|week| week.greatest_pain));
    let pains: Vec<Option<f64>> = pains.collect();
    if pains.iter().all(Option::is_none) {
        return "not noted".to_owned();
    }
    format!("{} of 10", pains.into_iter().map(shown).collect::<Vec<_>>().join(" → "))
}
