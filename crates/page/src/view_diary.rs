//! Sessions and diary: every day with what was done and what was noted; the form of one day.

use std::collections::BTreeMap;

use maud::{Markup, html};

use jogaudit_core::review::{DayCells, Entry, Pattern};
use jogaudit_report::days;
use jogaudit_report::review_view::SessionView;
use jogaudit_report::{escaped_prose, isolated, pattern_words};

use super::case_names::CaseName;
use super::day_form::{DayForm, FIELDS, MOST_NOTE, field_of};
use super::layout::{coded, root};
use super::view_case::{mark, what_it_was};

/// Sessions and entry of each day.
type Days<'a> = BTreeMap<String, (Vec<&'a SessionView>, Option<&'a Entry>)>;

/// All days, the latest first.
pub(super) fn days(case: &CaseName, sessions: &[SessionView], entries: &[Entry], today: &str) -> Markup {
    let root = root(case);
    let mut days: Days<'_> = BTreeMap::new();
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
        @if days.is_empty() { p { "No session and no entry yet." } } @else { (table_of(&root, &days)) }
        p.quiet { "Pain and effort: 0 to 10. – means that nothing was noted." }
    }
}

/// Every day with its sessions and its entry, the latest first.
fn table_of(root: &str, days: &Days<'_>) -> Markup {
    html! {
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
                        th scope="row" { (days::in_table(date)) }
                        td data-label="Session" {
                            @for session in sessions { (of_session(root, session)) }
                            @if sessions.is_empty() { span.quiet { "no recording" } }
                        }
                        td data-label="Pain during" {
                            (shown(entry.and_then(|e| e.pain_during)))
                            @for pattern in entry.map_or(&[][..], |e| &e.patterns) { ", " (pattern_words(*pattern)) }
                        }
                        td data-label="Next morning" { (shown(entry.and_then(|e| e.pain_next_morning))) }
                        td data-label="Effort" { (shown(entry.and_then(|e| e.effort))) }
                        td data-label="Note" { @if let Some(entry) = entry { (isolated(&escaped_prose(&entry.note))) } }
                        td data-label="Diary" {
                            @let what = if entry.is_some() { "Change" } else { "Write" };
                            a href={ (root) "/diary/" (date) } aria-label={ (what) " the diary of " (days::long(date)) } { (what) }
                        }
                    }
                }
            }
        }
    }
}

fn of_session(root: &str, session: &SessionView) -> Markup {
    html! {
        @for recording in &session.recordings {
            a href={ (root) "/session?recording=" (coded(recording)) } { (isolated(&what_it_was(session))) }
            " "
        }
        @if let Some(outcome) = session.outcome { (mark(outcome)) " " }
    }
}

/// A value as it was noted; a dash where there is none.
pub(super) fn shown(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), |value| value.to_string())
}

/// What the fields of a form are called, in the order of the columns.
const LABELS: [&str; 5] =
    ["Pain during the session", "When it hurt", "Pain on the morning after", "How hard it was", "Note"];
const HELP: [&str; 5] = [
    "0 none, 10 the worst there is; leave blank if you don’t know",
    "",
    "fill this in tomorrow",
    "0 rest, 10 as hard as can be",
    "",
];

/// The form of one day.
pub(super) fn form(case: &CaseName, form: &DayForm, sessions: &[&SessionView], cautions: &str) -> Markup {
    let root = root(case);
    html! {
        h1 { "Diary of " (days::long(&form.date.to_string())) }
        @if let Some(wanted) = &form.conflict { (conflict(form, wanted)) }
        p {
            @for session in sessions { (of_session(&root, session)) }
            @if sessions.is_empty() { "No recording of this day." }
        }
        form method="post" action={ (root) "/diary/" (form.date) } {
            @for (column, name) in FIELDS.into_iter().enumerate() {
                div.field {
                    @if *name == *"pain_pattern" { span.label id={ (name) "-label" } { (LABELS[column]) } } @else {
                        label for=(name) { (LABELS[column]) }
                    }
                    (field(column, name, &form.fields[column]))
                    @if !HELP[column].is_empty() { span.quiet id={ (name) "-help" } { (HELP[column]) } }
                    @if !form.stands[column].is_empty() && field_of(column, &form.stands[column]).is_empty() {
                        span.quiet id={ (name) "-odd" } {
                            "The diary has “" (isolated(&form.stands[column])) "” here, which can’t be read. It stays unless you "
                            "write something."
                        }
                    }
                }
                input type="hidden" name={ "was_" (name) } value=(form.stands[column]);
            }
            button.main { "Write into the diary" }
        }
        p.quiet { (isolated(cautions)) }
    }
}

fn field(column: usize, name: &str, value: &str) -> Markup {
    html! {
        @match name {
            "pain_pattern" => div.ticks role="group" aria-labelledby={ (name) "-label" } {
                @let ticked = Pattern::read_all(value).unwrap_or_default();
                @for pattern in Pattern::ALL.iter().copied() {
                    label {
                        input type="checkbox" name=(name) value=(pattern.word()) checked[ticked.contains(&pattern)];
                        " " (pattern_words(pattern))
                    }
                }
            },
            "note" => input id=(name) name=(name) type="text" dir="auto" maxlength=(MOST_NOTE) value=(value);,
            _ => input id=(name) name=(name) type="number" min="0" max="10" step="any" inputmode="decimal"
                value=[Some(value).filter(|value| !value.is_empty())]
                aria-describedby=[Some(format!("{name}-help")).filter(|_| !HELP[column].is_empty())];,
        }
    }
}

/// What stands in the diary now, and what somebody wanted to write.
fn conflict(form: &DayForm, wanted: &DayCells) -> Markup {
    /// Heads of the columns, which a narrow screen shows beside each value instead.
    const NOW: &str = "In the diary now";
    const WROTE: &str = "What you wrote";
    let words_of = |column: usize, value: &str| {
        let patterns = if FIELDS[column] == "pain_pattern" { Pattern::read_all(value) } else { None };
        let in_words = |all: Vec<Pattern>| all.into_iter().map(pattern_words).collect::<Vec<_>>().join(", ");
        let shown = patterns.map_or_else(|| value.to_owned(), in_words);
        if shown.is_empty() { "–".to_owned() } else { shown }
    };
    html! {
        div.trouble role="alert" {
            p { strong { "The diary of this day was changed since you opened it. Nothing was written." } }
            table {
                thead { tr { th scope="col" {} th scope="col" { (NOW) } th scope="col" { (WROTE) } } }
                tbody {
                    @for (column, label) in LABELS.into_iter().enumerate() {
                        tr {
                            th scope="row" { (label) }
                            td data-label=(NOW) { (isolated(&words_of(column, &form.stands[column]))) }
                            td data-label=(WROTE) { (isolated(&words_of(column, &wanted[column]))) }
                        }
                    }
                }
            }
            p {
                "The fields below hold what you wrote; where you wrote nothing new, they hold what is in the diary now. Please look "
                "them over, then write them into the diary."
            }
        }
    }
}
