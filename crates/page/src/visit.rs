//! A visit to a clinician: its form, and what it writes.

use jiff::civil::Date;
use jogaudit_case::edit;
use maud::{Markup, html};

use jogaudit_core::review::Recommendation;
use jogaudit_report::{escaped, isolated};

use super::case_names::CaseName;
use super::day_form::{MOST_NOTE, date_of, one_line};
use super::desk::{Desk, PageResult};
use super::found::Found;
use super::layout::root;
use super::refusal::Refusal;

/// Letters of a name that the form takes, our choice.
const MOST_NAME: usize = 100;

/// The visits so far and the form for another; it stands open where nothing else ends the ruling.
pub(super) fn section(case: &CaseName, found: &Found) -> Markup {
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
                (form(case, found))
            }
        }
    }
}

fn form(case: &CaseName, found: &Found) -> Markup {
    let today = found.today.to_string();
    let mut stages: Vec<&str> =
        found.plan.stages.iter().map(jogaudit_core::prescription::Stage::stage_name).collect();
    stages.dedup();
    html! {
        form method="post" action={ (root(case)) "/seen" } {
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

pub(super) fn note(desk: &mut Desk<'_>) -> PageResult {
    let found = desk.ready()?.found;
    let visit = checked(desk, found.today)?;
    edit::visit(&*desk.case.files, &visit).map_err(|failure| desk.refusal(failure))?;
    desk.forget();
    Ok(desk.back("", "seen"))
}

/// The cells of the visit, if it is one.
fn checked(desk: &Desk<'_>, today: Date) -> Result<[String; 4], Refusal> {
    let refuse = |what: &str, todo: &str| Err(Refusal::new(422, what, todo));
    let field = |name: &str| desk.request.field(name).ok_or_else(Refusal::not_our_form);
    let date = date_of(field("date")?)?;
    let (by, note, stage) = (one_line(field("by")?), one_line(field("note")?), field("stage")?);
    if date > today {
        return refuse("that day has not come yet", "go back and write the day on which you were seen");
    }
    if by.is_empty() {
        return refuse("nobody is named", "go back and write who saw you");
    }
    if by.chars().count() > MOST_NAME || note.chars().count() > MOST_NOTE {
        return refuse("the name or the note is too long; nothing was written", "go back and shorten it");
    }
    Ok([date.to_string(), by, stage.to_owned(), note])
}
