//! Command errors with hints, made from the library's typed errors at the edge.

use std::error::Error;
use std::fmt;
use std::io;

/// A command that could not do its work.
#[derive(Debug)]
pub(super) struct Failure {
    kind: Kind,
    what: String,
    causes: Vec<String>,
    hint: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// Bad usage or unreadable input: exit code 2.
    Refused,
    /// The reader of our output went away: no error.
    ClosedPipe,
    /// A bug of ours: exit code 70.
    #[allow(dead_code)]
    Internal,
}

impl Failure {
    /// Bad usage or unreadable input.
    pub(super) fn refused(what: impl Into<String>) -> Self {
        Self { kind: Kind::Refused, what: what.into(), causes: Vec::new(), hint: None }
    }

    /// Standard output could not be written.
    pub(super) fn output(error: io::Error) -> Self {
        let kind = if error.kind() == io::ErrorKind::BrokenPipe { Kind::ClosedPipe } else { Kind::Refused };
        Self { kind, ..Self::refused("could not write the result").caused_by(&error) }
    }

    /// Adds the error and its sources below the first line.
    #[must_use]
    pub(super) fn caused_by(mut self, error: &dyn Error) -> Self {
        let mut next = Some(error);
        while let Some(error) = next {
            self.causes.push(error.to_string());
            next = error.source();
        }
        self
    }

    /// Adds what to do.
    #[must_use]
    pub(super) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Whether the reader of our output went away.
    pub(super) fn is_closed_pipe(&self) -> bool {
        self.kind == Kind::ClosedPipe
    }

    /// 2 could not, 70 a bug of ours.
    pub(super) fn exit_code(&self) -> u8 {
        if self.kind == Kind::Internal { 70 } else { 2 }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "error: {}", self.what)?;
        for cause in &self.causes {
            writeln!(f, "  caused by: {cause}")?;
        }
        if let Some(hint) = &self.hint {
            writeln!(f, "hint: {hint}")?;
        }
        Ok(())
    }
}
