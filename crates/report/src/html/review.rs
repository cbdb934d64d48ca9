//! The report of a whole return: the ruling first, then a row a week.

use maud::{Markup, html};

use jogaudit_core::audit::Outcome;
use jogaudit_core::review::{Recommendation, SessionKind};

use super::codes;
use super::figure::patterns;
use super::marks::icon;
use super::over_weeks::over_weeks;
use super::strip;
use super::table::{Column, table};
use super::weeks::weeks;
use crate::card::{CardBout, CardGait, CardView, bout_texts};
use crate::days;
use crate::ends;
use crate::mark::Mark;
use crate::outside::{escaped_prose, isolated};
use crate::review_text::{asks, effort_cells, fact, why_undecided};
use crate::review_view::{ReviewView, SessionView, StageView, WeekView};
use crate::text::{UNKNOWN, shown};
use crate::wording::{clock, counted};

/// Runs and walks of a card that are shown; of longer sessions the text says the rest. Our choice.
const MOST_STEPS: usize = 36;

/// Lays out a review without the page around it.
pub(super) fn body(view: &ReviewView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
    let zone = view.timezone.as_deref().unwrap_or("each recording's own offset, else UTC");
    html! {
        (patterns())
        header.outcome { h1 { (isolated(&view.ruling.text)) } }
        @if let Some(contact) = view.contact_now() { p { strong { "Contact: " (isolated(contact)) } } }
        @if let Some(ends) = view.ruling.ends { p { (ends) } }
        p.cautions { (isolated(&view.cautions)) }
        p { "Plan “" (isolated(&view.plan)) "”, reviewed on " (view.day) "; days are counted in " (zone) "." }
        @for reason in &view.clinician_overrides {
            p { "The plan's limits hold by a clinician's word: “" (isolated(&escaped_prose(reason))) "”." }
        }
        (why(view))
        @if let Some(card) = &view.card { (next_session(card)) }
        (coming(view))
        (visits(view))
        (over_weeks(view))
        (weeks(view))
        (findings(view))
        (stages(view))
        (sessions(view, address))
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
                ul.reasons { @for rule in rules { li { (isolated(&fact(rule))) } } }
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
                    Some(Recommendation::Rest) => "For now: rest",
                    Some(_) => "For now: see a health professional",
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

fn stages(view: &ReviewView) -> Markup {
    const COUNTS: [Column; 6] = [
        Column::right("Needed"),
        Column::right("Done"),
        Column::right("As prescribed"),
        Column::right("Overdone"),
        Column::right("Underdone"),
        Column::right("Undecided"),
    ];
    const SESSION: Column = Column::whole("Session");
    let counts = |stage: &StageView| {
        let counts = [stage.attempts, stage.kept, stage.overdone, stage.underdone, stage.undecided];
        let needed = stage.needed_in_words().unwrap_or_else(|| UNKNOWN.to_owned());
        std::iter::once(needed).chain(counts.map(|count| count.to_string()))
    };
    let rows = html! {
        @for stage in &view.stages {
            tr {
                th scope="row" { (isolated(&stage.stage)) }
                @for (column, count) in COUNTS.iter().zip(counts(stage)) { (column.cell(&count)) }
                (SESSION.holding(&stage.session))
            }
        }
    };
    let columns: Vec<Column> = COUNTS.into_iter().chain([SESSION]).collect();
    html! {
        section aria-labelledby="stages" {
            h2 #stages { "Stages" }
            (table("stages", "Stage", &columns, rows))
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
                        li { (icon(Mark::Overdone)) div { b { (days::in_table(&finding.date)) } " " (isolated(&finding.text)) } }
                    }
                }
            }
        }
    }
}

const OUTCOME: Column = Column::left("Outcome");
const STAGE: Column = Column::left("Stage");
const RUNNING: Column = Column::right("Running");
const FIGURES: [Column; 5] = [
    Column::right("Longest run"),
    Column::right("Pace"),
    Column::right("Pain"),
    Column::right("Next morning"),
    Column::right("Effort"),
];
const SAID: Column = Column::whole("What was found, what was noted");

fn sessions(view: &ReviewView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
    let columns: Vec<Column> = [OUTCOME, STAGE, RUNNING].into_iter().chain(FIGURES).chain([SAID]).collect();
    let rows = html! { @for (i, session) in view.sessions.iter().enumerate() { (session_row(i + 1, session, address)) } };
    html! {
        @if !view.sessions.is_empty() {
            section aria-labelledby="sessions" {
                h2 #sessions { "Sessions" }
                (table("sessions", "Date", &columns, rows))
            }
        }
    }
}

/// The day of a session, which leads to its report, or to those of its parts.
fn day(session: &SessionView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
    let reports: Vec<String> = session.recordings.iter().filter_map(|name| address(name)).collect();
    html! {
        @match reports.as_slice() {
            [] => (days::in_table(&session.date)),
            [only] => a href=(only) { (days::in_table(&session.date)) },
            parts => {
                (days::in_table(&session.date))
                @for (i, part) in parts.iter().enumerate() { " " a href=(part) { "part " (i + 1) } }
            }
        }
    }
}

/// The picture of running that is held against no stage.
fn picture(session: &SessionView) -> Markup {
    let is_shown = session.kind != SessionKind::Walk && !session.bouts.is_empty();
    html! {
        @if is_shown { tr.picture { td.left.whole colspan=(FIGURES.len() + 5) { (strip::outing(&session.bouts)) } } }
    }
}

fn session_row(number: usize, session: &SessionView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
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
    let figures = [
        clock(session.longest_run_s),
        shown(session.mean_pace.as_ref(), String::clone),
        of_ten(session.pain_during),
        of_ten(session.pain_next_morning),
        of_ten(session.effort),
    ];
    html! {
        tr id=(format!("session-{number}")) {
            th scope="row" { (day(session, address)) }
            td.left.outcome { (icon(mark)) (mark.word()) }
            @match &session.stage {
                None => (STAGE.cell(UNKNOWN)),
                Some(stage) => (STAGE.holding(html! {
                    (isolated(stage))
                    @if let Some(due) = session.repetitions { br; span.quiet { "due: " (counted(due as usize, "repetition")) } }
                })),
            }
            (RUNNING.holding(html! {
                (shown(session.run_s.achieved, clock))
                @if let Some(prescribed) = session.run_s.range { span.quiet { " of " (ends::times(prescribed)) } }
            }))
            @for (column, figure) in FIGURES.iter().zip(&figures) { (column.cell(figure)) }
            td.left.whole.said {
                (isolated(&said))
                @if let Some(note) = &session.note { " " q { (isolated(&escaped_prose(note))) } }
            }
        }
        (picture(session))
    }
}

fn effort(view: &ReviewView) -> Markup {
    const COLUMNS: [Column; 7] = [
        Column::right("Session load (effort × min)"),
        Column::right("Monotony of the load"),
        Column::right("Weekly strain (load × monotony)"),
        Column::right("Running steps"),
        Column::right("Walking steps"),
        Column::right("Estimated loading"),
        Column::right("Of the plan's"),
    ];
    let weeks: Vec<&WeekView> = view.weeks.iter().filter(|week| week.sessions > 0).collect();
    let rows = html! {
        @for week in &weeks {
            tr {
                th scope="row" { (days::in_table(&week.monday)) }
                @for (column, cell) in COLUMNS.iter().zip(effort_cells(week)) { (column.cell(&cell)) }
            }
        }
    };
    html! {
        @if !weeks.is_empty() {
            section aria-labelledby="effort" {
                h2 #effort { "Effort and estimated loading, for information only" }
                (table("effort", "Monday", &COLUMNS, rows))
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
                ul { @for file in &view.left_out { li { b { (isolated(&file.recording)) } ": " (isolated(&file.text)) } } }
                (codes(view.left_out.iter().map(|file| file.code)))
            }
        }
    }
}
