//! The diary: what is typed in.

use jiff::civil::Date;

use jogaudit_case::edit::{self, DayWritten};
use jogaudit_case::table;
use jogaudit_core::review::{DayCells, Diary};

use super::day_form::{DayForm, MOST_NOTE, NOTE, PATTERN, date_of, field_of, one_line};
use super::desk::{Desk, PageResult};
use super::layout::root;
use super::refusal::Refusal;
use super::response::Response;
use super::settings::Keeper;
use super::view_diary;

pub(super) fn days(desk: &mut Desk<'_>) -> PageResult {
    let text =
        table(&*desk.case.files, "diary.csv", &mut Vec::new()).map_err(|failure| desk.refusal(failure))?;
    let diary = Diary::parse(&text.unwrap_or_default(), Date::MAX).value;
    desk.with_case("Sessions and diary", |desk, found| {
        let today = found.today.to_string();
        Ok(view_diary::days(&desk.case.name, &found.review.sessions, diary.entries(), &today))
    })
}

pub(super) fn diary_of(desk: &Desk<'_>) -> PageResult {
    let date = date_of(desk.request.asked("date").unwrap_or_default())?;
    Ok(Response::to(&format!("{}/diary/{date}", root(&desk.case.name))))
}

pub(super) fn day(desk: &mut Desk<'_>, date: &str) -> PageResult {
    let date = date_of(date)?;
    let stands = edit::day(&*desk.case.files, date).map_err(|failure| desk.refusal(failure))?;
    let form = DayForm {
        date,
        fields: std::array::from_fn(|column| field_of(column, &stands[column])),
        stands,
        conflict: None,
    };
    show_day(desk, &form)
}

fn show_day(desk: &mut Desk<'_>, form: &DayForm) -> PageResult {
    desk.with_case("Diary", |desk, found| {
        let day = form.date.to_string();
        let sessions: Vec<_> = found.review.sessions.iter().filter(|s| s.date == day).collect();
        Ok(view_diary::form(&desk.case.name, form, &sessions, &found.review.cautions))
    })
}

/// What a form sends: its fields, and the cells from which it was made.
#[derive(Default)]
pub(super) struct Day {
    pain_during: String,
    pain_pattern: String,
    pain_next_morning: String,
    effort: String,
    note: String,
    was_pain_during: String,
    was_pain_pattern: String,
    was_pain_next_morning: String,
    was_effort: String,
    was_note: String,
}

impl Day {
    /// Takes the fields as a browser sends them: a pattern of pain that is ticked comes as a field of its own.
    fn of(sent: &[(String, String)]) -> Self {
        let mut day = Self::default();
        for (name, value) in sent {
            let field = match name.as_str() {
                "pain_during" => &mut day.pain_during,
                "pain_pattern" if !day.pain_pattern.is_empty() => {
                    day.pain_pattern += " ";
                    day.pain_pattern += value;
                    continue;
                }
                "pain_pattern" => &mut day.pain_pattern,
                "pain_next_morning" => &mut day.pain_next_morning,
                "effort" => &mut day.effort,
                "note" => &mut day.note,
                "was_pain_during" => &mut day.was_pain_during,
                "was_pain_pattern" => &mut day.was_pain_pattern,
                "was_pain_next_morning" => &mut day.was_pain_next_morning,
                "was_effort" => &mut day.was_effort,
                "was_note" => &mut day.was_note,
                _ => continue,
            };
            field.clone_from(value);
        }
        day
    }

    /// The cells from which the form was made. Browsers send their own line ends.
    fn was(&self) -> DayCells {
        let was = [
            &self.was_pain_during,
            &self.was_pain_pattern,
            &self.was_pain_next_morning,
            &self.was_effort,
            &self.was_note,
        ];
        was.map(|cell| cell.replace("\r\n", "\n"))
    }

    /// What the fields hold, checked and as it would be written; `None` where nothing was changed.
    fn changes(&self, was: &DayCells, keeper: Keeper) -> Result<[Option<String>; 5], Refusal> {
        let sent = [&self.pain_during, &self.pain_pattern, &self.pain_next_morning, &self.effort, &self.note];
        let mut changes = [const { None }; 5];
        for (column, text) in sent.into_iter().enumerate() {
            let before = field_of(column, &was[column]);
            let now = one_line(text);
            let is_same = now == before || (!now.is_empty() && field_of(column, &now) == before);
            if !is_same {
                changes[column] = Some(checked(column, &now, keeper)?);
            }
        }
        Ok(changes)
    }
}

/// What is written for a field.
fn checked(column: usize, text: &str, keeper: Keeper) -> Result<String, Refusal> {
    let refuse = |what: &str, todo: &str| Refusal::new(422, what, todo);
    if text.is_empty() {
        return Ok(String::new());
    }
    if column == NOTE {
        let length = text.chars().count();
        if length > MOST_NOTE {
            let what =
                format!("the note has {length} characters, and {MOST_NOTE} are taken; nothing was written");
            return Err(refuse(
                &what,
                match keeper {
                    Keeper::Folders => "go back and shorten it, or write it into diary.csv by hand",
                    Keeper::Browser => "go back and shorten it",
                },
            ));
        }
        return Ok(text.to_owned());
    }
    let value = field_of(column, text);
    if !value.is_empty() {
        return Ok(value);
    }
    Err(if column == PATTERN {
        refuse("that is no pattern of pain", "go back and choose one of the list")
    } else {
        let name = ["pain during", "", "pain on the morning after", "effort"][column];
        let todo = "go back and write a number, or leave it empty";
        refuse(&format!("{name} must be a number from 0 to 10"), todo)
    })
}

pub(super) fn write_day(desk: &mut Desk<'_>, date: &str) -> PageResult {
    let date = date_of(date)?;
    let form = Day::of(desk.request.fields());
    let was = form.was();
    let changes = form.changes(&was, desk.settings.keeper)?;
    let written =
        edit::diary(&*desk.case.files, date, &was, &changes).map_err(|failure| desk.refusal(failure))?;
    match written {
        DayWritten::Written => {
            desk.forget();
            Ok(desk.back("", "diary"))
        }
        DayWritten::Unchanged => Ok(desk.back("", "diary-same")),
        DayWritten::Conflict(stands) => {
            // What was changed stands in the fields; all else is as the diary now has it.
            let wanted = std::array::from_fn(|column| {
                changes[column].clone().unwrap_or_else(|| field_of(column, &was[column]))
            });
            let fields = std::array::from_fn(|column| {
                changes[column].clone().unwrap_or_else(|| field_of(column, &stands[column]))
            });
            let form = DayForm { date, stands, fields, conflict: Some(wanted) };
            Ok(Response { status: 409, ..show_day(desk, &form)? })
        }
    }
}
