//! A visit to a clinician: its form, and what it writes.
#![allow(clippy::unused_async)] // the router takes async functions

use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use jiff::civil::Date;
use maud::{Markup, html};
use serde::Deserialize;

use jogaudit_core::review::Recommendation;
use jogaudit_report::{escaped, isolated};

use super::cached_case::{CachedCase, Found};
use super::case_writer;
use super::forms::{MOST_NOTE, date_of, one_line};
use super::layout::root;
use super::refusal::Refusal;
use super::routes::{AppState, PageResult, back, case_of, in_case, ready};

/// Letters of a name that the form takes, our choice.
const MOST_NAME: usize = 100;

/// The visits so far and the form for another; it stands open where nothing else ends the ruling.
pub(super) fn section(cached: &CachedCase, found: &Found) -> Markup {
    let review = &found.review;
    let is_open = review.ruling.ruling == Recommendation::SeeClinician;
    html! {
        section #seen {
            @if !review.visits.is_empty() {
                h2 { "Visits to a health professional" }
                ul { @for visit in &review.visits { li { (isolated(&visit.text)) } } }
            }
            details open[is_open] {
                summary { "A health professional saw me" }
                (form(cached, found))
            }
        }
    }
}

fn form(cached: &CachedCase, found: &Found) -> Markup {
    let today = found.today.to_string();
    let mut stages: Vec<&str> =
        found.plan.stages.iter().map(jogaudit_core::prescription::Stage::stage_name).collect();
    stages.dedup();
    html! {
        form method="post" action={ (root(cached)) "/seen" } {
            div.field {
                label for="seen-date" { "Day of the visit" }
                input #seen-date type="date" name="date" required max=(today) value=(today);
            }
            div.field {
                label for="seen-by" { "Who saw you" }
                input #seen-by type="text" name="by" dir="auto" required maxlength=(MOST_NAME);
            }
            div.field {
                label for="seen-stage" { "You may go on from" }
                select #seen-stage name="stage" {
                    option value="" { "where you were" }
                    @for stage in stages { option value=(stage) dir="auto" { "stage " (escaped(stage)) } }
                }
            }
            div.field {
                label for="seen-note" { "Note" }
                input #seen-note type="text" name="note" dir="auto" maxlength=(MOST_NOTE);
            }
            p.quiet { "Write only what they told you. What came before that day stays in the report, but no longer counts." }
            button { "Note the visit" }
        }
    }
}

/// What the form sends.
#[derive(Deserialize)]
pub(super) struct Sent {
    date: String,
    by: String,
    stage: String,
    note: String,
}

pub(super) async fn note(
    State(app): AppState,
    Path(case): Path<String>,
    Form(sent): Form<Sent>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let snapshot = ready(cached).await?;
    let found = snapshot.found.as_ref().map_err(Clone::clone)?;
    let visit = checked(&sent, found.today)?;
    in_case(cached, move |folder| case_writer::visit(folder, &visit)).await?;
    cached.forget();
    Ok(back(cached, "", "seen"))
}

/// The cells of the visit, if it is one.
fn checked(sent: &Sent, today: Date) -> Result<[String; 4], Refusal> {
    let refuse = |what: &str, todo: &str| Err(Refusal::new(StatusCode::UNPROCESSABLE_ENTITY, what, todo));
    let date = date_of(&sent.date)?;
    let (by, note) = (one_line(&sent.by), one_line(&sent.note));
    if date > today {
        return refuse("that day has not come yet", "go back and write the day on which you were seen");
    }
    if by.is_empty() {
        return refuse("nobody is named", "go back and write who saw you");
    }
    if by.chars().count() > MOST_NAME || note.chars().count() > MOST_NOTE {
        return refuse("the name or the note is too long; nothing was written", "go back and shorten it");
    }
    Ok([date.to_string(), by, sent.stage.clone(), note])
}
