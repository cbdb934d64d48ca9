//! Sessions and diary: every day with what was done and what was noted; the form of one day.

use std::collections::BTreeMap;

use maud::{Markup, html};

use jogaudit_core::review::{Entry, Pattern};
use jogaudit_report::review_view::SessionView;

use super::cached_case::CachedCase;
use super::layout::{coded, root};
use super::view_case::{mark, what_it_was};

/// What a pattern of pain means to the person who has it.
fn words(pattern: Pattern) -> &'static str {
    match pattern {
        Pattern::WarmUpOnly => "while warming up, gone later",
        Pattern::WarmUpStays => "while warming up, and it went on",
        Pattern::Returns => "went away and came back",
        Pattern::After => "after the session",
        Pattern::Night => "at night",
    }
}

/// All days, the latest first.
pub(super) fn days(cached: &CachedCase, sessions: &[SessionView], entries: &[Entry], today: &str) -> Markup {
    let root = root(cached);
    let mut days: BTreeMap<String, (Vec<&SessionView>, Option<&Entry>)> = BTreeMap::new();
    for session in sessions {
        days.entry(session.date.clone()).or_default().0.push(session);
    }
    for entry in entries {
        days.entry(entry.date.to_string()).or_default().1 = Some(entry);
    }
    html! {
        h1 { "Sessions and diary" }
        form.row method="get" action={ (root) "/diary-of" } {
            label for="date" { "Write the diary of" }
            input #date type="date" name="date" value=(today) required;
            button { "Write" }
        }
        @if days.is_empty() { p { "No session and no entry yet." } }
        table.days {
            thead {
                tr {
                    th scope="col" { "Day" }
                    th scope="col" { "Session" }
                    th scope="col" { "Pain during" }
                    th scope="col" { "Next morning" }
                    th scope="col" { "Effort" }
                    th scope="col" { "Note" }
                    th scope="col" { "Diary" }
                }
            }
            tbody {
                @for (date, (sessions, entry)) in days.iter().rev() {
                    tr {
                        th scope="row" { (date) }
                        td data-label="Session" {
                            @for session in sessions { (of_session(&root, session)) }
                            @if sessions.is_empty() { span.quiet { "no recording" } }
                        }
                        td data-label="Pain during" {
                            (shown(entry.and_then(|e| e.pain_during)))
                            @if let Some(pattern) = entry.and_then(|e| e.pattern) { ", " (words(pattern)) }
                        }
                        td data-label="Next morning" { (shown(entry.and_then(|e| e.pain_next_morning))) }
                        td data-label="Effort" { (shown(entry.and_then(|e| e.effort))) }
                        td data-label="Note" { @if let Some(entry) = entry { (entry.note) } }
                        td data-label="Diary" {
                            @let what = if entry.is_some() { "Change" } else { "Write" };
                            a href={ (root) "/diary/" (date) } aria-label={ (what) " the diary of " (date) } { (what) }
                        }
                    }
                }
            }
        }
        p.quiet { "Pain and effort: 0 to 10. – means that it was not asked." }
    }
}

fn of_session(root: &str, session: &SessionView) -> Markup {
    html! {
        @for recording in &session.recordings {
            a href={ (root) "/session?recording=" (coded(recording)) } { (what_it_was(session)) }
            " "
        }
        @if let Some(outcome) = session.outcome { (mark(outcome)) " " }
    }
}

fn shown(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), |value| value.to_string())
}

/// The form of one day.
pub(super) fn form(cached: &CachedCase, entry: &Entry, sessions: &[&SessionView], cautions: &str) -> Markup {
    let root = root(cached);
    let number = |name: &str, label: &str, help: &str, value: Option<f64>| {
        html! {
            div.field {
                label for=(name) { (label) }
                input id=(name) name=(name) type="number" min="0" max="10" step="0.5" inputmode="decimal"
                    value=[value] aria-describedby={ (name) "-help" };
                span.quiet id={ (name) "-help" } { (help) }
            }
        }
    };
    html! {
        h1 { "Diary of " (entry.date) }
        p {
            @for session in sessions { (of_session(&root, session)) }
            @if sessions.is_empty() { "No recording of this day." }
        }
        form method="post" action={ (root) "/diary/" (entry.date) } {
            (number("pain_during", "Pain during the session", "0 none, 10 the worst there is; empty: not asked", entry.pain_during))
            div.field {
                label for="pain_pattern" { "When it hurt" }
                select #pain_pattern name="pain_pattern" {
                    option value="" { "it did not, or not asked" }
                    @for pattern in Pattern::ALL.iter().copied() {
                        option value=(pattern.word()) selected[entry.pattern == Some(pattern)] { (words(pattern)) }
                    }
                }
            }
            (number("pain_next_morning", "Pain on the morning after", "fill this in tomorrow", entry.pain_next_morning))
            (number("effort", "How hard it was", "0 rest, 10 as hard as can be", entry.effort))
            div.field {
                label for="note" { "Note" }
                input #note name="note" type="text" maxlength="500" value=(entry.note);
            }
            button.main { "Write into the diary" }
        }
        p.quiet { (cautions) }
    }
}
