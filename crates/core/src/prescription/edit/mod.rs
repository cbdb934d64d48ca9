//! Changes single values and stages of a plan's text, as a form does; every other byte stays as it is.
//!
//! The places come from the spans of the TOML reader, the changes are splices of the text. What comes out is read again and held
//! against the change made on the values: a plan that is written in an odd way is refused and never damaged. A text between two
//! changes need not be a plan yet, only TOML: `Plan::parse` says what is missing, and `row_faults` where in the form.

mod layout;
mod values;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::ops::Range;

use toml::{Table, Value};

use super::plan::{KIND_KEYS, LIMIT_KEYS, RUNNER_KEYS, STAGE_KEYS, WORD_KEYS};
use super::scan::quoted;
use super::{Fault, PlanError};
use layout::{Layout, Section};
use values::{Entry, Shape, expected, literal};

/// What a value or a row of the form belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The top of the plan.
    Plan,
    /// `[runner]`
    Runner,
    /// `[limits]`
    Limits,
    /// A `[[stage]]`, from 0.
    Stage(usize),
    /// A `[[stage.session]]` of a stage, both from 0.
    Kind(usize, usize),
}

/// Keys of the plan that a form shows.
const PLAN_FIELDS: &[&str] = &["title", "note", "contact", "start", "weekdays", "units"];

impl Place {
    /// The keys that a form may set here, in the order of the documents.
    pub fn keys(self) -> impl Iterator<Item = &'static str> {
        let lists: [&[&'static str]; 3] = match self {
            Self::Plan => [PLAN_FIELDS, &[], &[]],
            Self::Runner => [RUNNER_KEYS, &[], &[]],
            Self::Limits => [LIMIT_KEYS, &[], &[]],
            Self::Stage(_) => [STAGE_KEYS, WORD_KEYS, LIMIT_KEYS],
            Self::Kind(..) => [KIND_KEYS, LIMIT_KEYS, &[]],
        };
        lists.into_iter().flatten().copied()
    }

    /// Reads what `Display` writes: `plan`, `s3`, `s3k1`.
    pub fn read(word: &str) -> Option<Self> {
        match word {
            "plan" => return Some(Self::Plan),
            "runner" => return Some(Self::Runner),
            "limits" => return Some(Self::Limits),
            _ => {}
        }
        let rest = word.strip_prefix('s')?;
        Some(match rest.split_once('k') {
            Some((stage, kind)) => Self::Kind(stage.parse().ok()?, kind.parse().ok()?),
            None => Self::Stage(rest.parse().ok()?),
        })
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Plan => f.write_str("plan"),
            Self::Runner => f.write_str("runner"),
            Self::Limits => f.write_str("limits"),
            Self::Stage(stage) => write!(f, "s{stage}"),
            Self::Kind(stage, kind) => write!(f, "s{stage}k{kind}"),
        }
    }
}

/// A change of the rows. A stage is moved, copied and removed with its comments and all that it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// A new stage, still without a session, after this one; of `Plan`: at the end; of `Kind`: a kind after this one.
    AddAfter(Place),
    /// Another kind of session in the week of this stage. A stage of one session becomes one of two kinds.
    AddKind(usize),
    /// The same again after it, under another name.
    Copy(Place),
    /// One place up.
    Up(Place),
    /// One place down.
    Down(Place),
    /// Taken out.
    Remove(Place),
}

/// A plan's text that a form cannot change.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// It is not TOML, or its stages are no list of sections.
    #[error("the text cannot be shown as a form")]
    NoRows,
    /// There is no such row, or no place to move it to.
    #[error("there is no such row any more")]
    NoSuchRow,
    /// The text is written in a way that cannot be changed piece by piece, such as a stage in one line.
    #[error("this part of the plan is written in a way that only the text can change")]
    OnlyByText,
}

/// The values of one place by their keys, as a form shows them.
pub type Values = BTreeMap<String, String>;

/// What a form shows of a plan's text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlanRows {
    /// The top.
    pub plan: Values,
    /// `[runner]`
    pub runner: Values,
    /// `[limits]`
    pub limits: Values,
    /// The stages in order.
    pub stages: Vec<StageRow>,
}

/// A stage of a plan's text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StageRow {
    /// Its own values.
    pub values: Values,
    /// Its kinds of session; none where it has one session.
    pub kinds: Vec<Values>,
}

impl PlanRows {
    /// Reads the rows of a text, which need not be a plan yet.
    ///
    /// # Errors
    /// When the text is not TOML, or its stages are no list of sections.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::prescription::edit::PlanRows;
    /// let rows = PlanRows::read("[[stage]]\nname = '1'\nsession = ''   # to be settled\nsessions = 3")?;
    /// assert_eq!(rows.stages[0].values["sessions"], "3");
    /// # Ok::<(), jogaudit_core::prescription::edit::EditError>(())
    /// ```
    pub fn read(text: &str) -> Result<Self, EditError> {
        let layout = Layout::of(unmarked(text).1)?;
        let stages = layout.stages.iter().map(|stage| StageRow {
            values: stage.own.shown(),
            kinds: stage.kinds.iter().map(Section::shown).collect(),
        });
        Ok(Self {
            plan: layout.root.shown(),
            runner: layout.runner.as_ref().map(Section::shown).unwrap_or_default(),
            limits: layout.limits.as_ref().map(Section::shown).unwrap_or_default(),
            stages: stages.collect(),
        })
    }

    /// The values of a place; `None` where there is no such row.
    pub fn values(&self, place: Place) -> Option<&Values> {
        match place {
            Place::Plan => Some(&self.plan),
            Place::Runner => Some(&self.runner),
            Place::Limits => Some(&self.limits),
            Place::Stage(stage) => self.stages.get(stage).map(|stage| &stage.values),
            Place::Kind(stage, kind) => self.stages.get(stage).and_then(|stage| stage.kinds.get(kind)),
        }
    }
}

/// A mistake in a plan, with its place in the form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// The row.
    pub place: Place,
    /// The field, where it is one that the row has.
    pub key: Option<&'static str>,
    /// What is wrong, for somebody who sees the field and not the text: one clause.
    pub message: String,
    /// The part of the field that is at fault, where it is not the whole.
    pub at: Option<String>,
    /// What to do about it.
    pub help: Option<String>,
}

/// Finds the rows and fields that the mistakes of a text are about.
pub fn row_faults(text: &str, error: &PlanError) -> Vec<RowFault> {
    let text = unmarked(text).1;
    let Ok(layout) = Layout::of(text) else { return Vec::new() };
    error.faults().iter().map(|fault| row_fault(text, &layout, fault)).collect()
}

fn row_fault(text: &str, layout: &Layout<'_>, fault: &Fault) -> RowFault {
    let bare = |place| RowFault {
        place,
        key: None,
        message: fault.message.clone(),
        at: None,
        help: fault.help.clone(),
    };
    let is_in = |span: &Range<usize>| span.contains(&fault.span.start) && fault.span.end <= span.end;
    for (place, section) in layout.sections() {
        if section.header.as_ref().is_some_and(is_in) {
            return bare(place);
        }
        let Some(entry) = section.entries.iter().find(|e| is_in(&(e.key_span.start..e.span.end))) else {
            continue;
        };
        let Some(key) = place.keys().find(|key| *key == entry.key) else { return bare(place) };
        if let Some(message) = expected(key).filter(|_| !Shape::of(key).fits(entry)) {
            return RowFault { key: Some(key), message, at: None, help: None, ..bare(place) };
        }
        let at = text.get(fault.span.clone()).filter(|at| !at.is_empty() && fault.span != entry.span);
        return RowFault { key: Some(key), at: at.map(str::to_owned), ..bare(place) };
    }
    bare(Place::Plan)
}

/// A byte-order mark, and the rest.
fn unmarked(text: &str) -> (&str, &str) {
    text.split_at(if text.starts_with('\u{feff}') { 3 } else { 0 })
}

/// Sets values of a plan's text: one that is empty is taken out where the plan can do without, one that is what it was is left
/// as it is written. A value that does not fit its key is written as text, so that what was typed is kept and its mistake is shown
/// where it stands. A comment behind a value stays, also when the value goes.
///
/// # Errors
/// When there is no such row or key, or the text is written in a way that cannot be changed so.
///
/// # Example
/// ```
/// use jogaudit_core::prescription::edit::{Place, plan_with_values};
/// let before = "[[stage]]\nname = '1'   # the first\nsession = 'run 0:50'\n";
/// let set = [(Place::Stage(0), "session", "run 1:10"), (Place::Stage(0), "sessions", "2")];
/// let after = plan_with_values(before, &set)?;
/// assert_eq!(after, "[[stage]]\nname = '1'   # the first\nsession = \"run 1:10\"\nsessions = 2\n");
/// # Ok::<(), jogaudit_core::prescription::edit::EditError>(())
/// ```
pub fn plan_with_values(text: &str, set: &[(Place, &str, &str)]) -> Result<String, EditError> {
    let mut editing = Editing::of(text)?;
    editing.set(set)?;
    editing.done()
}

/// Whether a row cannot be without the key, so that an empty value is written rather than taken out.
fn is_required(place: Place, key: &str) -> bool {
    matches!((place, key), (Place::Stage(_), "name" | "session") | (Place::Kind(..), "name" | "do"))
}

/// Changes the rows of a plan's text.
///
/// # Errors
/// When there is no such row, or the text is written in a way that cannot be changed so.
///
/// # Example
/// ```
/// use jogaudit_core::prescription::edit::{Change, Place, plan_with};
/// let before = "[[stage]]\nname = '1'\nsession = 'run 0:50'\n\n# more\n[[stage]]\nname = '2'\nsession = 'run 1:10'\n";
/// let after = plan_with(before, Change::Up(Place::Stage(1)))?;
/// assert_eq!(after, "# more\n[[stage]]\nname = '2'\nsession = 'run 1:10'\n\n[[stage]]\nname = '1'\nsession = 'run 0:50'\n");
/// # Ok::<(), jogaudit_core::prescription::edit::EditError>(())
/// ```
pub fn plan_with(text: &str, change: Change) -> Result<String, EditError> {
    let mut editing = Editing::of(text)?;
    match change {
        Change::AddAfter(place) => editing.add_after(place)?,
        Change::AddKind(stage) => editing.add_kind(stage)?,
        Change::Copy(place) => editing.copy(place)?,
        Change::Up(place) => editing.swap(before(place)?)?,
        Change::Down(place) => editing.swap(place)?,
        Change::Remove(place) => editing.remove(place)?,
    }
    editing.done()
}

/// The row above.
fn before(place: Place) -> Result<Place, EditError> {
    let above = match place {
        Place::Stage(stage) => stage.checked_sub(1).map(Place::Stage),
        Place::Kind(stage, kind) => kind.checked_sub(1).map(|kind| Place::Kind(stage, kind)),
        _ => None,
    };
    above.ok_or(EditError::NoSuchRow)
}

/// A plan's text that is being changed: what is written where, and the values that it is to hold then.
struct Editing<'t> {
    /// What stands before the text: a byte order mark, or nothing.
    mark: &'t str,
    layout: Layout<'t>,
    wanted: Table,
    splices: Splices,
}

impl<'t> Editing<'t> {
    fn of(text: &'t str) -> Result<Self, EditError> {
        let (mark, text) = unmarked(text);
        Ok(Self { mark, layout: Layout::of(text)?, wanted: table(text)?, splices: Splices::default() })
    }

    /// The text with all changes, if it holds what it is to hold.
    fn done(self) -> Result<String, EditError> {
        checked(self.mark, &self.splices.apply(self.layout.text), &self.wanted)
    }

    fn set(&mut self, set: &[(Place, &str, &str)]) -> Result<(), EditError> {
        let mut inserted: BTreeMap<Place, Vec<(&str, String)>> = BTreeMap::new();
        for (place, key, value) in set {
            let value = value.trim();
            let key = place.keys().find(|known| known == key).ok_or(EditError::NoSuchRow)?;
            let section = self.layout.section(*place)?;
            let entry = section.and_then(|section| section.entry(key));
            let is_same = |entry: &Entry<'_>| entry.shown() == value && Shape::of(key).fits(entry);
            match entry {
                Some(entry) if is_same(entry) => continue,
                None if value.is_empty() => continue,
                Some(entry) if value.is_empty() && !is_required(*place, key) => {
                    self.splices.remove_line(self.layout.text, entry)?;
                    set_value(&mut self.wanted, *place, key, None)?;
                    continue;
                }
                Some(entry) => self.splices.put(entry.span.clone(), literal(key, value)),
                None => inserted.entry(*place).or_default().push((key, literal(key, value))),
            }
            set_value(&mut self.wanted, *place, key, Some(value_of(&literal(key, value))?))?;
        }
        for (place, lines) in inserted {
            self.layout.insert(place, &lines, &mut self.splices)?;
        }
        Ok(())
    }

    /// Changes the places of a row and the one below it.
    fn swap(&mut self, place: Place) -> Result<(), EditError> {
        let (blocks, at) = self.layout.blocks(place)?;
        let [upper, lower] = blocks.get(at..at + 2).ok_or(EditError::NoSuchRow)? else {
            return Err(EditError::NoSuchRow);
        };
        self.splices.put(upper.clone(), self.layout.text[lower.clone()].to_owned());
        self.splices.put(lower.clone(), self.layout.text[upper.clone()].to_owned());
        rows_of(&mut self.wanted, place)?.swap(at, at + 1);
        Ok(())
    }

    fn remove(&mut self, place: Place) -> Result<(), EditError> {
        let (blocks, at) = self.layout.blocks(place)?;
        self.splices.cut(self.layout.text, &blocks[at]);
        let rows = rows_of(&mut self.wanted, place)?;
        rows.remove(at);
        if rows.is_empty() {
            drop_rows(&mut self.wanted, place)?;
        }
        Ok(())
    }

    fn copy(&mut self, place: Place) -> Result<(), EditError> {
        let Self { layout, wanted, splices, .. } = self;
        let (blocks, at, section) = layout.row(place)?;
        let entry = section.entry("name").ok_or(EditError::OnlyByText)?;
        let name = free_name(&entry.shown(), &layout.names(place));
        let block = blocks[at].clone();
        let mut renamed = Splices::default();
        renamed.put(entry.span.start - block.start..entry.span.end - block.start, quoted(&name));
        let body = renamed.apply(&layout.text[block.clone()]);
        splices.put(block.end..block.end, layout.gap(&blocks, place) + &body);
        let rows = rows_of(wanted, place)?;
        let mut row = rows.get(at).cloned().ok_or(EditError::NoSuchRow)?;
        row.as_table_mut().ok_or(EditError::OnlyByText)?.insert("name".to_owned(), Value::String(name));
        rows.insert(at + 1, row);
        Ok(())
    }

    /// A new row below another; below the plan itself, at the end.
    fn add_after(&mut self, place: Place) -> Result<(), EditError> {
        let Self { layout, wanted, splices, .. } = self;
        let place = match (place, layout.stages.len().checked_sub(1)) {
            (Place::Plan, Some(last)) => Place::Stage(last),
            (Place::Plan, None) => {
                let body = new_row("[[stage]]", "session", "1", layout.line_end());
                splices.put(layout.text.len()..layout.text.len(), layout.at_the_end(&body));
                wanted.insert("stage".to_owned(), Value::Array(vec![new_value("session", "1")]));
                return Ok(());
            }
            (place, _) => place,
        };
        let (blocks, at, section) = layout.row(place)?;
        let base = section.entry("name").map(Entry::shown).unwrap_or_default();
        let name = free_name(&base, &layout.names(place));
        let (header, key) = match place {
            Place::Kind(..) => ("[[stage.session]]", "do"),
            _ => ("[[stage]]", "session"),
        };
        let body = layout.indented(section, &new_row(header, key, &name, layout.line_end()));
        let end = blocks[at].end;
        splices.put(end..end, layout.gap(&blocks, place) + &body);
        rows_of(wanted, place)?.insert(at + 1, new_value(key, &name));
        Ok(())
    }

    /// Another kind of session: the stage's only session becomes the first of two.
    fn add_kind(&mut self, stage: usize) -> Result<(), EditError> {
        let kinds = self.layout.stages.get(stage).ok_or(EditError::NoSuchRow)?.kinds.len();
        if kinds > 0 {
            return self.add_after(Place::Kind(stage, kinds - 1));
        }
        let Self { layout, wanted, splices, .. } = self;
        let place = Place::Stage(stage);
        let (blocks, at, section) = layout.row(place)?;
        let entry = section.entry("session").ok_or(EditError::OnlyByText)?;
        let line_end = layout.line_end();
        let first =
            ["[[stage.session]]", "name = \"1\"", "do = "].join(line_end) + &layout.text[entry.span.clone()];
        let second = new_row("[[stage.session]]", "do", "2", line_end);
        splices.remove_line(layout.text, entry)?;
        let end = blocks[at].end;
        let both = [first, second].map(|body| layout.indented(section, &body)).join(line_end);
        splices.put(end..end, line_end.to_owned() + &both);
        let row = rows_of(wanted, place)?.get_mut(at).and_then(Value::as_table_mut);
        let row = row.ok_or(EditError::OnlyByText)?;
        let session = row.remove("session").ok_or(EditError::OnlyByText)?;
        let mut first = new_value("do", "1");
        first.as_table_mut().ok_or(EditError::OnlyByText)?.insert("do".to_owned(), session);
        row.insert("session".to_owned(), Value::Array(vec![first, new_value("do", "2")]));
        Ok(())
    }
}

fn new_row(header: &str, key: &str, name: &str, line_end: &str) -> String {
    [header.to_owned(), format!("name = {}", quoted(name)), format!("{key} = \"\"")].join(line_end)
}

fn new_value(key: &str, name: &str) -> Value {
    let entries = [("name", name), (key, "")];
    let entries = entries.map(|(key, value)| (key.to_owned(), Value::String(value.to_owned())));
    Value::Table(entries.into_iter().collect())
}

/// A name that is still free: the next number, a letter behind the number, or a number behind the word.
fn free_name(base: &str, taken: &BTreeSet<String>) -> String {
    let is_free = |name: &String| !taken.contains(name);
    let next = base.parse::<u32>().ok().and_then(|n| n.checked_add(1)).map(|n| n.to_string());
    let ends_in_digit = base.ends_with(|c: char| c.is_ascii_digit());
    let letters = ('b'..='z').filter(|_| ends_in_digit).map(|letter| format!("{base}{letter}"));
    let stem = if base.is_empty() { "new" } else { base };
    let numbers = (2..).map(|n| format!("{stem} {n}"));
    let mut names = next.into_iter().chain(letters).chain(numbers);
    names.find(is_free).unwrap_or_default()
}

/// Changes to a text: what stands instead of which bytes.
#[derive(Default)]
struct Splices(Vec<(Range<usize>, String)>);

impl Splices {
    fn put(&mut self, span: Range<usize>, text: String) {
        self.0.push((span, text));
    }

    /// Takes out the line of an entry; a comment behind it stays, on a line of its own.
    fn remove_line(&mut self, text: &str, entry: &Entry<'_>) -> Result<(), EditError> {
        let line = layout::line_start(text, entry.key_span.start);
        let end = layout::line_end_at(text, entry.span.end);
        let behind = text[entry.span.end..end].trim();
        let has_comment = behind.starts_with('#');
        if !behind.is_empty() && !has_comment {
            return Err(EditError::OnlyByText);
        }
        if has_comment {
            let indent = text[line..].len() - text[line..].trim_start_matches([' ', '\t']).len();
            let comment = text[entry.span.end..end].find('#').map_or(end, |at| entry.span.end + at);
            self.put(line + indent..comment, String::new());
        } else {
            self.put(line..layout::next_line(text, end), String::new());
        }
        Ok(())
    }

    /// Takes out the lines of a block. Of the empty lines around it those before stay, where something follows.
    fn cut(&mut self, text: &str, block: &Range<usize>) {
        let is_blank = |c: char| c.is_ascii_whitespace();
        let before = text[..block.start].trim_end_matches(is_blank).len();
        let after = text.len() - text[block.end..].trim_start_matches(is_blank).len();
        let span = if after == text.len() {
            layout::next_line(text, before).min(block.start)..after
        } else if text[before..block.start].matches('\n').count() == 1 {
            block.start..layout::next_line(text, block.end)
        } else {
            // The indent of what follows stays.
            block.start..layout::line_start(text, after)
        };
        self.put(span, String::new());
    }

    fn apply(mut self, text: &str) -> String {
        self.0.sort_by_key(|(span, _)| (span.start, span.end));
        let mut result = String::with_capacity(text.len() + 256);
        let mut from = 0;
        for (span, put) in &self.0 {
            // Two changes of one place are no change that was asked for: the check afterwards refuses what comes out.
            result.push_str(text.get(from..span.start).unwrap_or_default());
            result.push_str(put);
            from = from.max(span.end);
        }
        result + &text[from..]
    }
}

/// The text, if it holds just what is wanted.
fn checked(mark: &str, text: &str, wanted: &Table) -> Result<String, EditError> {
    match table(text) {
        Ok(found) if found == *wanted => Ok(mark.to_owned() + text),
        _ => Err(EditError::OnlyByText),
    }
}

fn table(text: &str) -> Result<Table, EditError> {
    text.parse().map_err(|_| EditError::NoRows)
}

/// What a literal means.
fn value_of(literal: &str) -> Result<Value, EditError> {
    table(&format!("value = {literal}"))?.remove("value").ok_or(EditError::NoRows)
}

fn set_value(wanted: &mut Table, place: Place, key: &str, value: Option<Value>) -> Result<(), EditError> {
    let section = match place {
        Place::Plan => wanted,
        Place::Runner | Place::Limits => {
            let name = place.to_string();
            let section = wanted.entry(name).or_insert_with(|| Value::Table(Table::new()));
            section.as_table_mut().ok_or(EditError::OnlyByText)?
        }
        Place::Stage(at) | Place::Kind(_, at) => {
            let row = rows_of(wanted, place)?.get_mut(at).ok_or(EditError::NoSuchRow)?;
            row.as_table_mut().ok_or(EditError::OnlyByText)?
        }
    };
    match value {
        Some(value) => section.insert(key.to_owned(), value),
        None => section.remove(key),
    };
    Ok(())
}

/// The rows that a place is one of.
fn rows_of(wanted: &mut Table, place: Place) -> Result<&mut Vec<Value>, EditError> {
    let stages = wanted.get_mut("stage").and_then(Value::as_array_mut);
    let rows = match place {
        Place::Stage(_) => stages,
        Place::Kind(stage, _) => stages
            .and_then(|stages| stages.get_mut(stage))
            .and_then(|stage| stage.get_mut("session"))
            .and_then(Value::as_array_mut),
        _ => None,
    };
    rows.ok_or(EditError::NoSuchRow)
}

/// A list of sections without one is not there.
fn drop_rows(wanted: &mut Table, place: Place) -> Result<(), EditError> {
    match place {
        Place::Kind(stage, _) => {
            let row = rows_of(wanted, Place::Stage(stage))?.get_mut(stage).and_then(Value::as_table_mut);
            row.ok_or(EditError::NoSuchRow)?.remove("session");
        }
        _ => {
            wanted.remove("stage");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
