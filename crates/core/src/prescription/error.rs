//! What is wrong with a plan or a session, where, and what was expected there.

use std::fmt;
use std::fmt::Write as _;
use std::ops::Range;

/// A session that does not follow the language, or a quantity that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected {expected}, found {found}")]
pub struct LanguageError {
    /// Bytes of the text that do not fit. Empty at the end of the text.
    pub span: Range<usize>,
    /// What would have fitted.
    pub expected: String,
    /// What stands there, in words fit for a sentence.
    pub found: String,
}

impl LanguageError {
    /// Makes the error for `text[span]`.
    pub(super) fn new(text: &str, span: Range<usize>, expected: impl Into<String>) -> Self {
        let found = match text.get(span.clone()) {
            None | Some("") => "the end".to_owned(),
            Some(found) => quoted(found),
        };
        Self { span, expected: expected.into(), found }
    }
}

/// Quotes what a person wrote: cut when long, control characters made visible.
pub(super) fn quoted(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut shown: String = text.chars().take(LONGEST).map(visible).collect();
    if text.chars().nth(LONGEST).is_some() {
        shown.push('…');
    }
    format!("`{shown}`")
}

/// Puts the replacement character in place of one that would act on a terminal.
fn visible(c: char) -> char {
    if c.is_control() && c != '\t' { '\u{fffd}' } else { c }
}

/// One mistake in a plan file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Bytes of the plan's text.
    pub span: Range<usize>,
    /// 1-based line of the start.
    pub line: usize,
    /// 1-based column of the start, in characters.
    pub column: usize,
    /// What is wrong: one clause, such as ``expected a duration such as `1:00` ``.
    pub message: String,
    /// What to do about it.
    pub help: Option<String>,
    /// The whole line, without its end.
    pub source_line: String,
    /// Characters of the line that are at fault, at least 1.
    pub width: usize,
}

impl Fault {
    pub(super) fn new(text: &str, span: Range<usize>, message: impl Into<String>) -> Self {
        let start = floor_boundary(text, span.start);
        let before = &text[..start];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let rest = &text[line_start..];
        let source_line = rest.split('\n').next().unwrap_or("").trim_end_matches('\r');
        let line_end = line_start + source_line.len();
        let end = floor_boundary(text, span.end.clamp(start, line_end.max(start)));
        Self {
            line: before.matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            message: message.into(),
            help: None,
            source_line: source_line.to_owned(),
            width: text[start..end].chars().count().max(1),
            span,
        }
    }

    #[must_use]
    pub(super) fn with_help(mut self, help: Option<String>) -> Self {
        self.help = help;
        self
    }

    /// The line, cut around what is at fault when it is long.
    pub fn excerpt(&self) -> Excerpt {
        /// Characters of the line that are shown.
        const SHOWN: usize = 90;
        let column = self.column - 1;
        let length = self.source_line.chars().count();
        let skipped = if length > SHOWN { column.saturating_sub(SHOWN / 2) } else { 0 };
        let (head, tail) =
            (if skipped > 0 { "…" } else { "" }, if length > skipped + SHOWN { "…" } else { "" });
        let mut shown = self.source_line.chars().skip(skipped).take(SHOWN).map(visible);
        let before = head.chars().chain(shown.by_ref().take(column - skipped)).collect();
        let at = shown.by_ref().take(self.width).collect();
        let after = shown.chain(tail.chars()).collect();
        Excerpt { before, at, after }
    }

    /// Writes the place, the line and a caret under what is at fault.
    fn render(&self, file: &str, number_width: usize, out: &mut impl fmt::Write) -> fmt::Result {
        let Excerpt { before, at, after } = self.excerpt();
        // Tabs stay tabs, so that the caret stands under its character whatever their width.
        let indent: String = before.chars().map(|c| if c == '\t' { '\t' } else { ' ' }).collect();
        let carets = "^".repeat(at.chars().count().max(1));
        writeln!(out, "  {file}:{}:{}", self.line, self.column)?;
        writeln!(out, "  {:>number_width$} | {before}{at}{after}", self.line)?;
        writeln!(out, "  {:>number_width$} | {indent}{carets} {}", "", self.message)?;
        if let Some(help) = &self.help {
            writeln!(out, "  {:>number_width$} = {help}", "")?;
        }
        Ok(())
    }
}

/// A line of a plan in three parts, without characters that act on a terminal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// Before what is at fault.
    pub before: String,
    /// What is at fault; empty at the end of the line.
    pub at: String,
    /// After it.
    pub after: String,
}

fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Mistakes of a plan that are shown, our choice: the first ones are mended first.
pub const MOST_FAULTS: usize = 20;

/// A mistake before its line is looked for, which takes reading the text up to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct UnplacedFault {
    pub(super) span: Range<usize>,
    pub(super) message: String,
    pub(super) help: Option<String>,
}

/// A plan that cannot be used: the first [`MOST_FAULTS`] mistakes in order of place, at least one, and how many there are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanError {
    faults: Vec<Fault>,
    count: usize,
}

impl PlanError {
    /// Puts the mistakes in order and looks for the places of the first ones. `None` when there are none.
    pub(super) fn of(text: &str, mut unplaced: Vec<UnplacedFault>) -> Option<Self> {
        unplaced.sort_by_key(|fault| (fault.span.start, fault.span.end));
        let count = unplaced.len();
        let placed = unplaced.into_iter().take(MOST_FAULTS);
        let faults = placed.map(|f| Fault::new(text, f.span, f.message).with_help(f.help)).collect();
        (count > 0).then_some(Self { faults, count })
    }

    #[cfg(test)]
    fn from_faults(faults: Vec<Fault>) -> Self {
        let count = faults.len();
        Self { faults, count }
    }

    /// The first [`MOST_FAULTS`] mistakes in order of place.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// How many mistakes there are in all.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Shows every mistake with its line and a caret, each line ending in a newline. `file` is how the user named the
    /// plan.
    pub fn render(&self, file: &str) -> String {
        let number_width = self.faults.iter().map(|f| f.line.to_string().len()).max().unwrap_or(1);
        let mut out = String::new();
        for (n, fault) in self.faults.iter().enumerate() {
            if n > 0 {
                out.push('\n');
            }
            // Writing to a String cannot fail.
            let _ = fault.render(file, number_width.max(3), &mut out);
        }
        if self.count > self.faults.len() {
            let _ = writeln!(out, "\n  and {} more", self.count - self.faults.len());
        }
        out
    }
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, fault) in self.faults.iter().enumerate() {
            let separator = if n > 0 { "; " } else { "" };
            write!(f, "{separator}line {}, column {}: {}", fault.line, fault.column, fault.message)?;
        }
        if self.count > self.faults.len() {
            write!(f, "; and {} more", self.count - self.faults.len())?;
        }
        Ok(())
    }
}

impl std::error::Error for PlanError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_the_caret_keeps_tabs() {
        let text = "a = 1\n\té = \"x\"\r\n";
        let at = text.find("\"x\"").unwrap();
        let fault = Fault::new(text, at..at + 3, "expected y");
        assert_eq!((fault.line, fault.column, fault.width), (2, 6, 3));
        let shown = PlanError::from_faults(vec![fault]).render("p.toml");
        assert_eq!(shown, "  p.toml:2:6\n    2 | \té = \"x\"\n      | \t    ^^^ expected y\n");
    }

    #[test]
    fn a_span_past_the_end_of_its_line_is_cut_there() {
        let fault = Fault::new("ab\ncd", 1..5, "m");
        assert_eq!((fault.line, fault.column, fault.width), (1, 2, 1));
        let at_end = Fault::new("ab\n", 3..3, "m");
        assert_eq!((at_end.line, at_end.column, at_end.width), (2, 1, 1));
    }

    #[test]
    fn a_long_line_is_cut_around_the_fault() {
        let text = format!("{}!{}", "x".repeat(500), "y".repeat(500));
        let shown = PlanError::from_faults(vec![Fault::new(&text, 500..501, "m")]).render("p");
        let lines: Vec<&str> = shown.lines().collect();
        assert!(lines.iter().all(|l| l.chars().count() < 110));
        let column = lines[2].chars().position(|c| c == '^').unwrap();
        assert_eq!(lines[1].chars().nth(column), Some('!'));
    }

    #[test]
    fn the_first_mistakes_are_placed_and_the_rest_is_counted() {
        // 200,000 mistakes in half a MiB: placing each would read the text as often.
        let text = "=a\n".repeat(200_000);
        let unplaced = |n: usize| UnplacedFault { span: 3 * n..3 * n + 2, message: "m".into(), help: None };
        let error = PlanError::of(&text, (0..200_000).rev().map(unplaced).collect()).unwrap();
        assert_eq!((error.faults().len(), error.count(), error.faults()[19].line), (20, 200_000, 20));
        assert!(error.render("p").ends_with("\n  and 199980 more\n"));
        assert!(error.to_string().ends_with("; and 199980 more"));
        assert_eq!(PlanError::of("", Vec::new()), None);
    }

    #[test]
    fn control_characters_do_not_reach_the_terminal() {
        let fault = Fault::new("a\u{1b}[31m", 0..1, "m");
        assert!(!PlanError::from_faults(vec![fault]).render("p").contains('\u{1b}'));
        assert!(!quoted("\u{1b}[31m").contains('\u{1b}'));
    }
}
