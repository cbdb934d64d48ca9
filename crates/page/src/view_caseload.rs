//! The table of patients: what needs attention first.

use std::sync::Arc;

use jiff::civil::Date;
use maud::{Markup, html};

use jogaudit_report::ends::between;
use jogaudit_report::isolated;

use super::App;
use super::attention::{Need, needs, unreadable};
use super::cached_case::{CachedCase, CaseState, Found};
use super::layout::root;
use super::refusal::sentence;
use super::view_case::mark;

/// A row of the table: what needs attention; `None` while the case is being read.
type Row<'a> = (&'a Arc<CachedCase>, &'a CaseState, Option<Vec<(Need, String)>>);

/// Lists the cases; gives whether some are still being read.
pub(super) fn table(app: &App, states: &[CaseState]) -> (Markup, bool) {
    let mut rows: Vec<Row<'_>> =
        app.cases.iter().zip(states).map(|(cached, state)| (cached, state, needs_of(state))).collect();
    // The gravest first; cases that are being read last.
    rows.sort_by_key(|(cached, _, needs)| {
        let gravest = needs.as_ref().map(|needs| needs.first().map_or(u8::MAX, |(need, _)| *need as u8));
        (gravest.is_none(), gravest, cached.name.label.to_lowercase())
    });
    let unread = rows.iter().filter(|(.., needs)| needs.is_none()).count();
    let markup = html! {
        h1 { "Patients" }
        @if unread > 0 {
            p role="status" {
                (app.cases.len() - unread) " of " (app.cases.len()) " cases are read. This page will refresh."
            }
            progress value=(app.cases.len() - unread) max=(app.cases.len()) aria-label="Cases read" {}
        }
        table.cases {
            thead {
                tr {
                    th scope="col" { "Patient" }
                    th scope="col" { "Needs attention" }
                    th scope="col" { "Next session" }
                    th scope="col" { "Last session" }
                    th scope="col" { "This week’s running" }
                }
            }
            tbody { @for (cached, state, needs) in &rows { (row(cached, state, needs.as_deref())) } }
        }
        @if !app.not_followed.is_empty() {
            p {
                "Links, which are not followed: "
                @for (index, name) in app.not_followed.iter().enumerate() {
                    @if index > 0 { ", " }
                    (isolated(name))
                }
                ". They may lead to another patient, or to one listed here. To see what is behind one, open its own folder."
            }
        }
        p.quiet {
            "Order: see a clinician, a case that can’t be read, rest, overdone, pain, sessions that can’t be judged, files that "
            "can’t be read, nothing in the diary, no session. Overdone, pain and undecided: of the last 14 days."
        }
    };
    (markup, unread > 0)
}

fn needs_of(state: &CaseState) -> Option<Vec<(Need, String)>> {
    match state {
        CaseState::Reading(_) => None,
        CaseState::Stopped => Some(unreadable("not read: the reading was stopped")),
        CaseState::Ready(snapshot) => Some(match &snapshot.found {
            Ok(found) => needs(&found.review, found.today),
            Err(refusal) => unreadable(&refusal.what),
        }),
    }
}

fn row(cached: &CachedCase, state: &CaseState, needs: Option<&[(Need, String)]>) -> Markup {
    let found = match state {
        CaseState::Ready(snapshot) => snapshot.found.as_ref().ok(),
        CaseState::Reading(_) | CaseState::Stopped => None,
    };
    let last = found.and_then(|found| found.review.sessions.last());
    html! {
        tr {
            th scope="row" { a href={ (root(cached)) "/" } { (isolated(&cached.name.label)) } }
            td data-label="Needs attention" {
                @match needs {
                    None => span.quiet { "being read" },
                    Some([]) => span.quiet { "nothing" },
                    Some(needs) => ul { @for (need, text) in needs { li.grave[*need <= Need::Overdone] { (isolated(&sentence(text))) } } },
                }
            }
            td data-label="Next session" { @if let Some(found) = found { (isolated(&found.review.ruling.text)) } }
            td data-label="Last session" {
                @if let Some(last) = last {
                    (last.date)
                    @if let Some(stage) = &last.stage { ", stage “" (isolated(stage)) "”" }
                    @if let Some(outcome) = last.outcome { ", " (mark(outcome)) }
                }
            }
            td data-label="This week’s running" { @if let Some(found) = found { (week(found)) } }
        }
    }
}

/// Running of this week, of what the plan has for it.
fn week(found: &Found) -> String {
    let is_this = |monday: &str| {
        let since = monday.parse::<Date>().ok().and_then(|monday| monday.until(found.today).ok());
        since.is_some_and(|span| (0..7).contains(&span.get_days()))
    };
    let Some(week) = found.review.weeks.last().filter(|week| is_this(&week.monday)) else {
        return "none".to_owned();
    };
    let minutes = |s: f64| format!("{:.0} min", s / 60.0);
    let of = week.run_s.range.map_or_else(|| "–".to_owned(), |range| between(range, minutes));
    format!("{} of {of}", week.run_s.achieved.map_or_else(|| "–".to_owned(), minutes))
}
