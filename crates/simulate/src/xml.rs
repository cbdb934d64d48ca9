//! What the two XML writers share, on `quick-xml`.

use jiff::Timestamp;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// Builds a document in memory. Writing there does not fail, so no method returns an error.
pub(super) struct Document {
    writer: Writer<Vec<u8>>,
    open: Vec<&'static str>,
}

impl Document {
    /// Starts with the declaration.
    pub(super) fn new() -> Self {
        let mut document = Self { writer: Writer::new_with_indent(Vec::new(), b' ', 1), open: Vec::new() };
        document.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        document
    }

    /// Opens an element.
    pub(super) fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        let mut start = BytesStart::new(name);
        start.extend_attributes(attributes.iter().copied());
        self.event(Event::Start(start));
        self.open.push(name);
    }

    /// Closes the innermost open element.
    pub(super) fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.event(Event::End(BytesEnd::new(name)));
        }
    }

    /// Writes an element that holds text.
    pub(super) fn text(&mut self, name: &'static str, text: &str) {
        self.event(Event::Start(BytesStart::new(name)));
        self.event(Event::Text(BytesText::new(text)));
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// Closes what is open and gives the bytes.
    pub(super) fn finish(mut self) -> Vec<u8> {
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

/// A moment of the recording as text, in UTC.
pub(super) fn instant(start: Timestamp, time_s: f64) -> String {
    let second = start.as_second() + time_s.round() as i64;
    Timestamp::from_second(second).unwrap_or(start).to_string()
}

/// Whether the recorder was paused between two samples that follow one another.
pub(super) fn paused_between(pauses_s: &[(f64, f64)], before_s: f64, after_s: f64) -> bool {
    pauses_s.iter().any(|p| before_s <= p.0 && p.1 <= after_s)
}
