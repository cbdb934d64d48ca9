//! The diary: what is typed in.

use jiff::civil::Date;

use jogaudit_case::edit::{self, DayWritten};
use jogaudit_case::table;
use jogaudit_core::review::{DayCells, Diary, Pattern, score};

use super::http::Response;
use super::layout::root;
use super::refusal::Refusal;
use super::routes::{Desk, PageResult};
use super::store::Keeper;
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

pub(super) fn date_of(text: &str) -> Result<Date, Refusal> {
    text.parse().map_err(|_| Refusal::new(422, "that is no date", "write the day such as 2026-03-02"))
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

/// The form of a day: what it was made from, and what stands in its fields.
pub(super) struct DayForm {
    pub(super) date: Date,
    /// The cells of the diary from which it was made.
    pub(super) stands: DayCells,
    /// What the fields hold.
    pub(super) fields: DayCells,
    /// What somebody wanted to write when the line had changed meanwhile.
    pub(super) conflict: Option<DayCells>,
}

/// The columns of the diary as a form calls them, in their order.
pub(super) const FIELDS: [&str; 5] = ["pain_during", "pain_pattern", "pain_next_morning", "effort", "note"];
/// Which of them hold a number, and which one a pattern of pain.
const SCORES: [usize; 3] = [0, 2, 3];
const PATTERN: usize = 1;
const NOTE: usize = 4;
/// Letters of a note that a form takes, our choice: some ten lines.
pub(super) const MOST_NOTE: usize = 500;

/// What a field of the form holds for a cell: nothing where the cell cannot be read.
pub(super) fn field_of(column: usize, cell: &str) -> String {
    if SCORES.contains(&column) {
        score(cell).map(|number| number.to_string()).unwrap_or_default()
    } else if column == PATTERN {
        in_the_files_words(&Pattern::read_all(cell).unwrap_or_default())
    } else {
        one_line(cell)
    }
}

/// Patterns of pain as the diary has them.
fn in_the_files_words(patterns: &[Pattern]) -> String {
    patterns.iter().map(|pattern| pattern.word()).collect::<Vec<_>>().join(" ")
}

/// A field takes one line.
pub(super) fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.trim().to_owned()
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
