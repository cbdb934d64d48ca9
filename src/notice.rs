//! Trouble that is not fatal, as data: a stage returns what it could make and what it noticed.

/// Where in an input something was found. Every part is optional, since formats differ.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Offset in bytes from the start of the (unzipped) input.
    pub byte: Option<u64>,
    /// One-based line, for text formats.
    pub line: Option<u64>,
    /// Zero-based index of the record or track point.
    pub record: Option<u64>,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let parts: Vec<String> = [
            self.line.map(|n| format!("line {n}")),
            self.record.map(|n| format!("record {n}")),
            self.byte.map(|n| format!("byte {n}")),
        ]
        .into_iter()
        .flatten()
        .collect();
        f.write_str(&parts.join(", "))
    }
}

/// One thing noticed: a stable code for programs, a sentence for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Stable code in `snake_case`; listed in `docs/notices.md`.
    pub code: &'static str,
    /// One sentence that says what was found and what was done or what to do.
    pub text: String,
    /// Where, when it is known.
    pub place: Option<Place>,
}

impl Notice {
    /// Makes a notice without a place.
    pub fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into(), place: None }
    }

    /// Adds the place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }
}

/// A value with what was noticed while making it.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted<T> {
    /// The value.
    pub value: T,
    /// What was noticed, in the order of finding.
    pub notices: Vec<Notice>,
}

impl<T> Noted<T> {
    /// Wraps a value about which there is nothing to say.
    pub fn plain(value: T) -> Self {
        Self { value, notices: Vec::new() }
    }

    /// Takes the value out and moves its notices to the end of `into`.
    pub fn take(self, into: &mut Vec<Notice>) -> T {
        into.extend(self.notices);
        self.value
    }
}
