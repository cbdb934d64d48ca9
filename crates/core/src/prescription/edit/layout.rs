//! Where the sections, keys and values of a plan stand in its text.

use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::values::{Entry, literal_line};
use super::{EditError, Place, Splices, Values};

/// A section of the plan: what stands at its top, under a header, within `{ }`, or in dotted keys.
pub(super) struct Section<'t> {
    /// `[limits]`, `[[stage]]`
    pub(super) header: Option<Range<usize>>,
    /// Its values in the order of the text, without sections below it.
    pub(super) entries: Vec<Entry<'t>>,
    /// End of the last of them, or of the header.
    end: usize,
    /// Whether it stands within `{ }`.
    is_inline: bool,
}

impl<'t> Section<'t> {
    pub(super) fn entry(&self, key: &str) -> Option<&Entry<'t>> {
        self.entries.iter().find(|entry| entry.key == key)
    }

    pub(super) fn shown(&self) -> Values {
        self.entries.iter().map(|entry| (entry.key.clone(), entry.shown())).collect()
    }

    /// Takes the values of a table; sections that have headers of their own are left to the caller.
    fn of(text: &str, table: &DeTable<'t>, span: Range<usize>) -> Self {
        let written = text.get(span.clone()).unwrap_or_default();
        let header = written.starts_with('[').then(|| span.clone());
        let mut entries = Vec::new();
        let mut marks = Marks::default();
        for (key, value) in table {
            let headed_before = marks.headers.len();
            let ends_before = marks.ends.len();
            marks.add(text, value);
            if marks.headers.len() > headed_before {
                marks.headers.truncate(headed_before);
                marks.ends.truncate(ends_before);
            } else if !matches!(value.get_ref(), DeValue::Table(_)) {
                let (key, key_span) = (key.get_ref().to_string(), key.span());
                entries.push(Entry { key, key_span, value: value.get_ref().clone(), span: value.span() });
            }
        }
        entries.sort_by_key(|entry| entry.key_span.start);
        let own = header.as_ref().map_or(0, |header| header.end);
        let end = marks.ends.into_iter().max().unwrap_or(own).max(own);
        Self { header, entries, end, is_inline: written.starts_with('{') }
    }
}

/// Headers of sections, and ends of values.
#[derive(Default)]
struct Marks {
    headers: Vec<Range<usize>>,
    ends: Vec<usize>,
}

impl Marks {
    fn add(&mut self, text: &str, value: &Spanned<DeValue<'_>>) {
        let written = |span: Range<usize>| text.get(span).unwrap_or_default();
        match value.get_ref() {
            DeValue::Table(table) if !written(value.span()).starts_with('{') => {
                if written(value.span()).starts_with('[') {
                    self.headers.push(value.span());
                }
                table.iter().for_each(|(_, value)| self.add(text, value));
            }
            DeValue::Array(rows) if is_headed(text, rows.first()) => {
                rows.iter().for_each(|row| self.add(text, row));
            }
            _ => self.ends.push(value.span().end),
        }
    }
}

/// Whether it is a section with a header, `[[stage]]`.
fn is_headed(text: &str, row: Option<&Spanned<DeValue<'_>>>) -> bool {
    row.is_some_and(|row| {
        let is_table = matches!(row.get_ref(), DeValue::Table(_));
        is_table && text.get(row.span()).is_some_and(|written| written.starts_with('['))
    })
}

/// A stage and its kinds of session.
pub(super) struct StageAt<'t> {
    pub(super) own: Section<'t>,
    pub(super) kinds: Vec<Section<'t>>,
    /// What stands in it: its own headers and values, and those of its kinds.
    marks: Marks,
    kind_marks: Vec<Marks>,
}

/// A plan's text by its sections.
pub(super) struct Layout<'t> {
    pub(super) text: &'t str,
    pub(super) root: Section<'t>,
    pub(super) runner: Option<Section<'t>>,
    pub(super) limits: Option<Section<'t>>,
    pub(super) stages: Vec<StageAt<'t>>,
    /// All of the text.
    marks: Marks,
}

impl<'t> Layout<'t> {
    pub(super) fn of(text: &'t str) -> Result<Self, EditError> {
        let table = DeTable::parse(text).map_err(|_| EditError::NoRows)?;
        let table = table.get_ref();
        let mut marks = Marks::default();
        table.iter().for_each(|(_, value)| marks.add(text, value));
        let section = |name: &str| match table.get(name).map(|value| (value, value.get_ref())) {
            None => Ok(None),
            Some((value, DeValue::Table(inner))) => Ok(Some(Section::of(text, inner, value.span()))),
            Some(_) => Err(EditError::NoRows),
        };
        let stages = match table.get("stage").map(Spanned::get_ref) {
            None => Vec::new(),
            Some(DeValue::Array(rows)) => {
                rows.iter().map(|row| StageAt::of(text, row)).collect::<Result<_, _>>()?
            }
            Some(_) => return Err(EditError::NoRows),
        };
        let root = Section::of(text, table, 0..0);
        Ok(Self { text, root, runner: section("runner")?, limits: section("limits")?, stages, marks })
    }

    /// Every section that a form shows, the inner before the outer.
    pub(super) fn sections(&self) -> impl Iterator<Item = (Place, &Section<'t>)> {
        let stages = self.stages.iter().enumerate().flat_map(|(at, stage)| {
            let kinds = stage.kinds.iter().enumerate();
            let kinds = kinds.map(move |(kind, section)| (Place::Kind(at, kind), section));
            kinds.chain([(Place::Stage(at), &stage.own)])
        });
        let runner = self.runner.iter().map(|section| (Place::Runner, section));
        let limits = self.limits.iter().map(|section| (Place::Limits, section));
        stages.chain(runner).chain(limits).chain([(Place::Plan, &self.root)])
    }

    /// The section of a place; none where the plan does without it.
    pub(super) fn section(&self, place: Place) -> Result<Option<&Section<'t>>, EditError> {
        let row = match place {
            Place::Plan => return Ok(Some(&self.root)),
            Place::Runner => return Ok(self.runner.as_ref()),
            Place::Limits => return Ok(self.limits.as_ref()),
            Place::Stage(at) => self.stages.get(at).map(|stage| &stage.own),
            Place::Kind(at, kind) => self.stages.get(at).and_then(|stage| stage.kinds.get(kind)),
        };
        row.map(Some).ok_or(EditError::NoSuchRow)
    }

    /// The names of the rows that a place is one of.
    pub(super) fn names(&self, place: Place) -> BTreeSet<String> {
        let name = |section: &Section<'_>| section.entry("name").map(Entry::shown);
        match place {
            Place::Kind(at, _) => {
                self.stages.get(at).into_iter().flat_map(|stage| &stage.kinds).filter_map(name).collect()
            }
            _ => self.stages.iter().filter_map(|stage| name(&stage.own)).collect(),
        }
    }

    /// The line ends of the file.
    pub(super) fn line_end(&self) -> &'static str {
        if self.text.contains("\r\n") { "\r\n" } else { "\n" }
    }

    /// A row's block among those of its kind, and what stands in it.
    pub(super) fn row(&self, place: Place) -> Result<(Vec<Range<usize>>, usize, &Section<'t>), EditError> {
        let (blocks, at) = self.blocks(place)?;
        Ok((blocks, at, self.section(place)?.ok_or(EditError::NoSuchRow)?))
    }

    /// The texts of the rows that a place is one of, comments right above and below included, and which of them it is.
    pub(super) fn blocks(&self, place: Place) -> Result<(Vec<Range<usize>>, usize), EditError> {
        let (marks, at): (Vec<&Marks>, usize) = match place {
            Place::Stage(at) => (self.stages.iter().map(|stage| &stage.marks).collect(), at),
            Place::Kind(stage, at) => {
                let stage = self.stages.get(stage).ok_or(EditError::NoSuchRow)?;
                (stage.kind_marks.iter().collect(), at)
            }
            _ => return Err(EditError::NoSuchRow),
        };
        if at >= marks.len() {
            return Err(EditError::NoSuchRow);
        }
        let blocks = marks.into_iter().map(|marks| self.block(marks)).collect::<Result<_, _>>()?;
        Ok((blocks, at))
    }

    fn block(&self, own: &Marks) -> Result<Range<usize>, EditError> {
        let header = own.headers.first().ok_or(EditError::OnlyByText)?;
        let ends = own.headers.iter().map(|header| header.end).chain(own.ends.iter().copied());
        let end = ends.max().unwrap_or(header.end);
        // Another section may stand between a stage and its kinds.
        let inside = |at: &Range<usize>| header.start < at.start && at.start < end;
        let foreign = self.marks.headers.iter().filter(|at| inside(at) && !own.headers.contains(at)).count();
        if foreign > 0 {
            return Err(EditError::OnlyByText);
        }
        Ok(self.with_comments_above(header.start)..self.with_comments_below(end))
    }

    /// Start of the comments that stand right above a header.
    fn with_comments_above(&self, header: usize) -> usize {
        let ends = self.marks.headers.iter().map(|header| header.end).chain(self.marks.ends.iter().copied());
        let floor = ends.filter(|end| *end <= header).max().unwrap_or(0);
        let mut start = line_start(self.text, header);
        while start > floor {
            let above = line_start(self.text, start - 1);
            let is_comment = self.text[above..start].trim_start().starts_with('#');
            if above < floor || !is_comment {
                break;
            }
            start = above;
        }
        start
    }

    /// End of the line in which a row ends, and of the comments right below it that do not stand right above something else.
    fn with_comments_below(&self, end: usize) -> usize {
        let own = line_end_at(self.text, end);
        let mut last = own;
        loop {
            let next = next_line(self.text, last);
            let line = &self.text[next..line_end_at(self.text, next)];
            if next == self.text.len() || line.trim().is_empty() {
                return last;
            }
            if !line.trim_start().starts_with('#') {
                return own;
            }
            last = line_end_at(self.text, next);
        }
    }

    /// What stands between two rows: an empty line where the plan has one, or between stages.
    pub(super) fn gap(&self, blocks: &[Range<usize>], place: Place) -> String {
        let has_empty_line = match blocks {
            [first, second, ..] => self.text[first.end..second.start].matches('\n').count() > 1,
            _ => matches!(place, Place::Stage(_)),
        };
        self.line_end().repeat(1 + usize::from(has_empty_line))
    }

    /// Lines as far from the margin as a section's header.
    pub(super) fn indented(&self, section: &Section<'_>, body: &str) -> String {
        let start = section.header.as_ref().map_or(0, |header| header.start);
        let indent = &self.text[line_start(self.text, start)..start];
        if indent.is_empty() {
            return body.to_owned();
        }
        let end = self.line_end();
        body.split(end).map(|line| format!("{indent}{line}")).collect::<Vec<_>>().join(end)
    }

    /// A block to stand at the end of the text.
    pub(super) fn at_the_end(&self, body: &str) -> String {
        let end = self.line_end();
        let before = match self.text {
            "" => 0,
            text if text.ends_with('\n') => 1,
            _ => 2,
        };
        end.repeat(before) + body + end
    }

    /// Puts new keys into a section: behind its last one, or in a section of their own before the stages.
    pub(super) fn insert(
        &self,
        place: Place,
        lines: &[(&str, String)],
        splices: &mut Splices,
    ) -> Result<(), EditError> {
        let end = self.line_end();
        let Some(section) = self.section(place)? else {
            let at = self.start_of_first(|header| self.text[header].starts_with("[["));
            let body: String = lines.iter().map(|(key, value)| literal_line("", key, value) + end).collect();
            let before = if at == self.text.len() && !self.text.is_empty() {
                self.at_the_end("")
            } else {
                String::new()
            };
            splices.put(at..at, format!("{before}[{place}]{end}{body}{end}"));
            return Ok(());
        };
        if section.is_inline {
            return Err(EditError::OnlyByText);
        }
        if section.end == 0 {
            let at = self.start_of_first(|_| true);
            let body: String = lines.iter().map(|(key, value)| literal_line("", key, value) + end).collect();
            splices.put(at..at, body + end);
            return Ok(());
        }
        // As the key before it: with its indent, and with `limits.` where keys are dotted.
        let like = section.entries.last().map(|entry| entry.key_span.start);
        let like = like.or(section.header.as_ref().map(|header| header.start)).unwrap_or(0);
        let prefix = &self.text[line_start(self.text, like)..like];
        let at = next_line(self.text, section.end);
        let is_last = at == self.text.len() && !self.text.ends_with('\n');
        let body: String = lines.iter().map(|(key, value)| literal_line(prefix, key, value) + end).collect();
        splices.put(at..at, if is_last { end.to_owned() + body.trim_end() } else { body });
        Ok(())
    }

    /// Where the first section of a kind begins, with its comments; else the end of the text.
    fn start_of_first(&self, is_it: impl Fn(Range<usize>) -> bool) -> usize {
        let headers = self.marks.headers.iter().filter(|header| is_it((*header).clone()));
        let first = headers.map(|header| header.start).min();
        first.map_or(self.text.len(), |header| self.with_comments_above(header))
    }
}

impl<'t> StageAt<'t> {
    fn of(text: &str, row: &Spanned<DeValue<'t>>) -> Result<Self, EditError> {
        let section = |row: &Spanned<DeValue<'t>>| match row.get_ref() {
            DeValue::Table(table) => Ok(Section::of(text, table, row.span())),
            _ => Err(EditError::NoRows),
        };
        let marks_of = |row: &Spanned<DeValue<'t>>| {
            let mut marks = Marks::default();
            marks.add(text, row);
            marks
        };
        let DeValue::Table(table) = row.get_ref() else { return Err(EditError::NoRows) };
        let kinds: Vec<_> = match table.get("session").map(Spanned::get_ref) {
            Some(DeValue::Array(rows)) => rows.iter().collect(),
            _ => Vec::new(),
        };
        Ok(Self {
            own: section(row)?,
            marks: marks_of(row),
            kind_marks: kinds.iter().map(|row| marks_of(row)).collect(),
            kinds: kinds.iter().map(|row| section(row)).collect::<Result<_, _>>()?,
        })
    }
}

/// Start of the line that holds a byte.
pub(super) fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |end| end + 1)
}

/// End of the line that holds a byte, without its line end.
pub(super) fn line_end_at(text: &str, at: usize) -> usize {
    let end = text[at..].find('\n').map_or(text.len(), |end| at + end);
    end - usize::from(text[at..end].ends_with('\r'))
}

/// Start of the line after the one that holds a byte; the end of the text where there is none.
pub(super) fn next_line(text: &str, at: usize) -> usize {
    text[at..].find('\n').map_or(text.len(), |end| at + end + 1)
}
