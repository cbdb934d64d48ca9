//! Marking a recording by eye: where run, walk and stand begin, by somebody who sees the readings and nothing that the program
//! makes of them. A pure function like the rest of the page, for one recording and one rater.
//!
//! What is marked lives in a [`Sheet`] of the host and is sent at every change, so that it outlives a reload; it goes to a file when
//! the rater saves.

mod curves;
mod marks;
mod view;

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde_json::json;

use jogaudit_case::{Failure, named};
use jogaudit_core::agree::input::{BoutSet, Side, parse};
use jogaudit_core::pipeline::Readings;
use jogaudit_report::csv::{self, MarkedBouts};
use jogaudit_report::html::THEME;

use super::layout;
use super::refusal::{Refusal, sentence};
use super::request::{Method, Request};
use super::response::Response;
use marks::{Mark, marks_of, sent, spans, thousandths};

/// More readings are refused: a browser could not draw them as one zooms. Half a day at four a second, our choice.
const MOST_READINGS: usize = 200_000;
/// Longest name of a rater, letters.
const LONGEST_NAME: usize = 60;

const STYLE: &str = include_str!("annotate.css");
const SCRIPT: &str = include_str!("annotate.js");
const JSON: &str = "application/json; charset=utf-8";

/// A recording with what one rater has marked on it.
pub struct Sheet {
    /// Name of the recording's file.
    recording: String,
    sha256: String,
    start: Timestamp,
    utc_offset_s: Option<i32>,
    elapsed_s: f64,
    /// The readings as the page's script takes them.
    curves: String,
    rater: String,
    /// The file that is written, in words.
    goes_to: PathBuf,
    /// In order of time.
    marks: Vec<Mark>,
    /// Counts the changes: a page that does not know of the last one is stale.
    version: u64,
    is_saved: bool,
}

impl Sheet {
    /// A recording of which nothing is marked yet. `goes_to` is the file in which the marks will be kept.
    ///
    /// # Errors
    /// When it has no length, or more readings than a page can show.
    pub fn new(
        recording: &Path,
        sha256: &str,
        readings: &Readings,
        rater: &str,
        goes_to: &Path,
    ) -> Result<Self, Failure> {
        let series = &readings.series;
        let refused = |why: &str| Failure::refused(format!("{} cannot be marked: {why}", named(recording)));
        let elapsed_s = thousandths(series.elapsed_s());
        if elapsed_s <= 0.0 {
            return Err(refused("it has a single moment and no length")
                .hint("choose a recording of a session, or another activity with --activity N"));
        }
        if series.len() > MOST_READINGS {
            return Err(refused(&format!(
                "it has {} readings, more than the {MOST_READINGS} that a page can show",
                series.len()
            ))
            .hint("export it with a reading a second, or in parts"));
        }
        Ok(Self {
            recording: recording.file_name().unwrap_or_default().to_string_lossy().into_owned(),
            sha256: sha256.to_owned(),
            start: series.start(),
            utc_offset_s: series.utc_offset_s(),
            elapsed_s,
            curves: curves::json(series),
            rater: rater.to_owned(),
            goes_to: goes_to.to_owned(),
            marks: Vec::new(),
            version: 0,
            is_saved: false,
        })
    }

    /// Goes on with what was saved before.
    ///
    /// # Errors
    /// When the table is not of this recording and this rater.
    pub fn resumed(mut self, table: &str) -> Result<Self, Failure> {
        let refused = |why: &str| {
            Failure::refused(format!("could not go on with {}: {why}", named(&self.goes_to)))
                .hint("name another file with --out")
        };
        let sets = match parse(table, &[]) {
            Ok(Side::Bouts(sets)) if sets.len() == 1 => sets,
            Ok(_) => return Err(refused("it is not the table of one recording")),
            Err(error) => return Err(refused("it is not such a table").caused_by(&error)),
        };
        let Some(BoutSet { spans, origin }) = sets.into_values().next() else {
            return Err(refused("it is empty"));
        };
        if origin.sha256.as_deref() != Some(&self.sha256) || origin.start != Some(self.start) {
            return Err(refused("it is of another recording"));
        }
        match origin.rater {
            Some(rater) if rater == self.rater => {}
            Some(rater) => return Err(refused(&format!("it is by `{rater}`"))),
            None => return Err(refused("it does not say who marked it")),
        }
        self.marks = marks_of(&spans, self.elapsed_s);
        self.is_saved = true;
        Ok(self)
    }

    /// Takes what a page sends, unless it does not know of the last change.
    fn take(&mut self, request: &Request) -> Result<(), Refusal> {
        let version = request.field("version").and_then(|version| version.parse::<u64>().ok());
        let marks = sent(request.fields(), self.elapsed_s)?;
        if version.ok_or_else(Refusal::not_our_form)? != self.version {
            return Err(Refusal::new(
                409,
                "the marks were changed in another window since this one was loaded",
                "reload this page and go on from what is marked there",
            ));
        }
        if marks != self.marks {
            (self.marks, self.is_saved) = (marks, false);
            self.version += 1;
        }
        Ok(())
    }

    /// The table of what is marked.
    fn table(&self, marked_at: Timestamp) -> Result<String, Refusal> {
        let bouts = spans(&self.marks, self.elapsed_s);
        if self.marks.is_empty() {
            let todo = "go to where a gait begins and choose Run, Walk or Stand";
            return Err(Refusal::new(422, "nothing is marked yet", todo));
        }
        Ok(csv::marked(&MarkedBouts {
            recording: &self.recording,
            sha256: &self.sha256,
            start: self.start,
            rater: &self.rater,
            marked_at,
            bouts: &bouts,
        }))
    }

    fn state(&self) -> Response {
        let marks: Vec<_> =
            self.marks.iter().map(|m| json!({"at_s": m.at_s, "gait": m.gait.word()})).collect();
        let state = json!({"version": self.version, "is_saved": self.is_saved, "marks": marks});
        Response::of(JSON, state.to_string())
    }
}

/// Answers a request. `keep` writes the table whole, or says why not; `now` is written into it.
pub fn handle(
    request: &Request,
    sheet: &mut Sheet,
    now: Timestamp,
    keep: &mut dyn FnMut(&str) -> Result<(), Failure>,
) -> Response {
    let changed = match (request.method, request.path().as_slice()) {
        (Method::Get, [""]) => return Response::html(200, view::page(sheet)),
        (Method::Get, ["page.css"]) => {
            return Response::of("text/css; charset=utf-8", [THEME, layout::STYLE, STYLE].concat());
        }
        (Method::Get, ["annotate.js"]) => {
            return Response::of("text/javascript; charset=utf-8", SCRIPT.to_owned());
        }
        (Method::Get, ["curves.json"]) => return Response::of(JSON, sheet.curves.clone()),
        (Method::Get, ["marks.json"]) => return sheet.state(),
        (Method::Post, ["marks"]) => sheet.take(request),
        (Method::Post, ["save"]) => sheet.take(request).and_then(|()| {
            keep(&sheet.table(now)?)?;
            sheet.is_saved = true;
            Ok(())
        }),
        _ => return Refusal::not_found("there is no such page").response(),
    };
    match changed {
        Ok(()) => sheet.state(),
        Err(refusal) => refused(&refusal),
    }
}

/// A refusal as the script shows it.
fn refused(refusal: &Refusal) -> Response {
    let todo = refusal.todo.as_deref().map(|todo| format!(" What to do: {todo}.")).unwrap_or_default();
    let trouble = json!({"trouble": sentence(&refusal.what) + &todo});
    Response { status: refusal.status, ..Response::of(JSON, trouble.to_string()) }
}

/// Reads the name or pseudonym of a rater: letters and digits of any script, spaces, and `-`, `_`, `.`, `'` within.
///
/// # Errors
/// What is wrong with it, a clause.
pub fn rater_name(text: &str) -> Result<String, String> {
    let name = text.trim();
    let is_fine = |c: char| c.is_alphanumeric() || " -_.'’".contains(c);
    match name.chars().next() {
        None => Err("a rater has a name: initials or a pseudonym will do".to_owned()),
        Some(first) if !first.is_alphanumeric() => {
            Err("a rater's name begins with a letter or a digit".to_owned())
        }
        Some(_) if name.chars().count() > LONGEST_NAME => {
            Err(format!("a rater's name has at most {LONGEST_NAME} letters"))
        }
        Some(_) if !name.chars().all(is_fine) => {
            Err("a rater's name has letters, digits, spaces and `-`, `_`, `.`, `'`".to_owned())
        }
        Some(_) => Ok(name.to_owned()),
    }
}

#[cfg(test)]
mod tests;
