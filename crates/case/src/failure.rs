//! Command errors with hints, made from the library's typed errors at the edge.

use std::error::Error;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use jogaudit_core::pipeline::ActivityError;
use jogaudit_core::prescription::PlanError;
use jogaudit_recording::read::ReadError;
use jogaudit_report::escaped_lines;

/// A command that could not do its work.
#[derive(Debug)]
pub struct Failure {
    kind: FailureKind,
    what: String,
    /// Lines that show where it is, each ending in a newline.
    detail: String,
    causes: Vec<String>,
    hint: Option<String>,
    /// `None` where only words tell what it is.
    known: Option<Box<Known>>,
}

/// What a program tells a failure by.
#[derive(Debug)]
struct Known {
    code: &'static str,
    /// The file that it is about.
    about: Option<PathBuf>,
    /// The mistakes of a plan, where that is what is wrong.
    plan_error: Option<PlanError>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum FailureKind {
    /// Bad usage or unreadable input: exit code 2.
    Refused,
    /// The reader of our output went away: no error.
    ClosedPipe,
    /// A bug of ours: exit code 70.
    Internal,
}

impl Failure {
    /// Bad usage or unreadable input.
    pub fn refused(what: impl Into<String>) -> Self {
        Self {
            kind: FailureKind::Refused,
            what: what.into(),
            detail: String::new(),
            causes: Vec::new(),
            hint: None,
            known: None,
        }
    }

    /// Standard output could not be written.
    #[allow(clippy::needless_pass_by_value)] // the shape that `map_err` wants
    pub fn output(error: io::Error) -> Self {
        let kind = if error.kind() == io::ErrorKind::BrokenPipe {
            FailureKind::ClosedPipe
        } else {
            FailureKind::Refused
        };
        Self { kind, ..Self::refused("could not write the result").caused_by(&error) }
    }

    /// A file that the user named could not be opened or read.
    pub fn input(path: &Path, error: &io::Error) -> Self {
        let failure = Self::refused(format!("could not read {}", named(path))).caused_by(error);
        let failure = failure.coded(code_of(error), path);
        match error.kind() {
            io::ErrorKind::NotFound => failure.hint("check the path; `-` reads standard input"),
            io::ErrorKind::IsADirectory => failure.hint("name one file, not a folder"),
            _ => failure,
        }
    }

    /// A recording could not be read. (The cause says what to do.)
    pub fn recording(path: &Path, error: &ReadError) -> Self {
        let format =
            error.format.map(|format| format!(" as {}", format.name().to_uppercase())).unwrap_or_default();
        Self::refused(format!("could not read {}{format}", named(path)))
            .caused_by(error)
            .coded(error.kind.code(), path)
    }

    /// An input gives no activity.
    pub(crate) fn activity(path: &Path, error: &ActivityError) -> Self {
        match error {
            ActivityError::Read(error) => Self::recording(path, error),
            ActivityError::NoSuchActivity { number, count } => {
                Self::refused(format!("{} has no activity {number}", named(path)))
                    .coded("no_such_activity", path)
                    .hint(format!("--activity takes 1 to {count} here"))
            }
        }
    }

    /// A plan has mistakes.
    pub fn plan(path: &Path, error: &PlanError) -> Self {
        let what = match error.count() {
            1 => "the plan has a mistake".to_owned(),
            n => format!("the plan has {n} mistakes"),
        };
        let (about, plan_error) = (Some(path.to_owned()), Some(error.clone()));
        let known = Some(Box::new(Known { code: "plan_mistake", about, plan_error }));
        Self { detail: error.render(&path.display().to_string()), known, ..Self::refused(what) }
    }

    /// Says by a stable code what kind it is of, and which file it is about, if any.
    #[must_use]
    pub fn coded<'p>(mut self, code: &'static str, about: impl Into<Option<&'p Path>>) -> Self {
        let about = about.into().map(Path::to_owned);
        self.known = Some(Box::new(Known { code, about, plan_error: None }));
        self
    }

    /// What kind it is of: that of an unreadable recording, of a file that cannot be read ([`code_of`]), `plan_mistake`,
    /// `no_such_stage`, `no_such_activity`, `internal`; `refused` for all others, which only their words tell apart.
    pub fn code(&self) -> &'static str {
        let unknown = if self.kind == FailureKind::Internal { "internal" } else { "refused" };
        self.known.as_ref().map_or(unknown, |known| known.code)
    }

    /// The file that it is about, where it is about one.
    pub fn about(&self) -> Option<&Path> {
        self.known.as_ref()?.about.as_deref()
    }

    /// The mistakes of a plan, where that is what is wrong.
    pub fn plan_error(&self) -> Option<&PlanError> {
        self.known.as_ref()?.plan_error.as_ref()
    }

    /// A bug of ours.
    pub fn internal(what: &str) -> Self {
        Self { kind: FailureKind::Internal, ..Self::refused(format!("jogaudit has a bug: {what}")) }.hint(
            "the fault is ours, not your file's; please report it with the command that you typed and, if you may \
             share it, the file",
        )
    }

    /// The failure and its causes in one clause.
    pub fn in_a_clause(&self) -> String {
        let parts: Vec<&str> = std::iter::once(&self.what).chain(&self.causes).map(String::as_str).collect();
        parts.join(": ")
    }

    /// The causes in one clause, without the file's whole path; the failure itself where there are none.
    pub(crate) fn causes_in_a_clause(&self) -> String {
        if self.causes.is_empty() { self.what.clone() } else { self.causes.join(": ") }
    }

    /// The same with what to do.
    pub fn with_hint_in_a_clause(&self) -> String {
        let hint = self.hint.as_ref().map(|hint| format!(" ({hint})")).unwrap_or_default();
        format!("{}{hint}", self.in_a_clause())
    }

    /// Adds the error and its sources below the first line.
    #[must_use]
    pub fn caused_by(mut self, error: &dyn Error) -> Self {
        let mut next = Some(error);
        while let Some(error) = next {
            self.causes.push(error.to_string());
            next = error.source();
        }
        self
    }

    /// Adds lines that show where it is.
    #[must_use]
    pub fn lines(mut self, lines: &[String]) -> Self {
        for line in lines {
            self.detail.extend(["  ", line, "\n"]);
        }
        self
    }

    /// Adds what to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// The same for people who know the folder by what it is, not by where it lies: files by their names in it.
    #[must_use]
    pub fn within(mut self, folder: &Path) -> Self {
        // A relative path is as somebody typed it.
        if folder.is_absolute() {
            let whole = folder.display().to_string();
            let inside = format!("{}/", whole.trim_end_matches('/'));
            let texts =
                [&mut self.what, &mut self.detail].into_iter().chain(&mut self.causes).chain(&mut self.hint);
            for text in texts {
                *text =
                    text.replace(&inside, "").replace(&named(folder), "the case").replace(&whole, "the case");
            }
        }
        self
    }

    /// What to do, where it is known.
    pub fn todo(&self) -> Option<&str> {
        self.hint.as_deref()
    }

    /// Lines that show where it is, each ending in a newline; empty when there is nothing to show.
    pub fn detail(&self) -> &str {
        &self.detail
    }

    /// Whether the reader of our output went away.
    pub fn is_closed_pipe(&self) -> bool {
        self.kind == FailureKind::ClosedPipe
    }

    /// 2 could not, 70 a bug of ours.
    pub fn exit_code(&self) -> u8 {
        if self.kind == FailureKind::Internal { 70 } else { 2 }
    }
}

/// What kept a file from being read, as a stable code.
pub fn code_of(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => "not_found",
        io::ErrorKind::PermissionDenied => "no_permission",
        io::ErrorKind::IsADirectory => "is_folder",
        io::ErrorKind::FileTooLarge => "file_too_large",
        _ => "not_readable",
    }
}

/// How an input is called in a sentence.
pub fn named(path: &Path) -> String {
    if path.as_os_str() == "-" { "standard input".to_owned() } else { format!("`{}`", path.display()) }
}

/// How an output is called in a sentence.
pub fn named_output(path: &Path) -> String {
    if path.as_os_str() == "-" { "standard output".to_owned() } else { format!("`{}`", path.display()) }
}

impl Error for Failure {}

/// As the command prints it: what, where, causes, what to do.
impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // What stands in names and files must not steer the terminal.
        writeln!(f, "error: {}", escaped_lines(&self.what))?;
        // A tab is as wide as the space below it.
        f.write_str(&escaped_lines(&self.detail.replace('\t', " ")))?;
        for cause in &self.causes {
            writeln!(f, "  caused by: {}", escaped_lines(cause))?;
        }
        if let Some(hint) = &self.hint {
            writeln!(f, "hint: {}", escaped_lines(hint))?;
        }
        Ok(())
    }
}
