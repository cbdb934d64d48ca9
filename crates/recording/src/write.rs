//! What writers of the formats stand on: the messages of a FIT file, those of a workout among them, and an XML document in memory.
//! Which other fields a file has is their affair.

use std::fmt::Display;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

mod fit;
mod workout;

pub use fit::{Base, EPOCH_UNIX_S, Field, FitMessages, NO_MANUFACTURER, shape};
pub use workout::{MOST_TEXT_BYTES, TooManySteps, workout_file, workout_messages};

/// Builds an XML document in memory. Writing there does not fail, so no method returns an error.
pub struct Document {
    writer: Writer<Vec<u8>>,
    open: Vec<&'static str>,
}

impl Document {
    /// Starts with the declaration; each element stands on a line of its own, so many blanks further in than the one around it.
    pub fn new(indent: usize) -> Self {
        let mut document =
            Self { writer: Writer::new_with_indent(Vec::new(), b' ', indent), open: Vec::new() };
        document.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        document
    }

    /// Opens an element.
    pub fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        let mut start = BytesStart::new(name);
        start.extend_attributes(attributes.iter().copied());
        self.event(Event::Start(start));
        self.open.push(name);
    }

    /// Closes the innermost open element.
    pub fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.event(Event::End(BytesEnd::new(name)));
        }
    }

    /// Writes an element that holds text.
    pub fn text(&mut self, name: &'static str, text: impl Display) {
        self.event(Event::Start(BytesStart::new(name)));
        self.event(Event::Text(BytesText::new(&text.to_string())));
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// Closes what is open and gives the bytes.
    pub fn finish(mut self) -> Vec<u8> {
        while !self.open.is_empty() {
            self.close();
        }
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        bytes
    }

    fn event(&mut self, event: Event<'_>) {
        let written = self.writer.write_event(event);
        debug_assert!(written.is_ok(), "memory takes every byte");
    }
}
