//! Goes over XML events and hands elements to a format's own reader. No tree, no allocation per element.
//!
//! Names are matched by their local part, so that any prefix, an undeclared prefix and no namespace at all read alike.
//! Nothing stops it but the end of the text: a tag that does not match closes what it can, broken markup is
//! stepped over. Entities other than the five predefined ones and character references are never expanded.

use std::ops::Range;

use quick_xml::Reader;
use quick_xml::events::{BytesRef, BytesStart, Event};

use crate::notice::{Notice, NoticeCode, Place};

use super::element_text::ElementText;
use super::template::{EventKind, EventSink, NotedEvent, PointTemplate};
use super::text::line_of;

/// Deepest nesting that is read; recordings use about eight levels. Our choice.
const MAX_DEPTH: usize = 128;
/// Broken pieces of markup that are stepped over before the rest is given up. Our choice.
const MAX_RESTARTS: usize = 32;

/// A format's reader: says which elements it knows and takes them as they open and close.
pub(super) trait Handler {
    /// The elements of the format that matter, and one value for all others.
    type Element: Copy + PartialEq;
    /// All the others.
    const UNKNOWN: Self::Element;
    /// The one that a recording is made of: its markup is the same again and again.
    const POINT: Self::Element;

    /// Tells an element by its local name.
    fn element(local_name: &[u8]) -> Self::Element;
    /// Takes an opening tag. `path` ends with the element itself.
    fn open(&mut self, path: &[Self::Element], tag: &Tag<'_>);
    /// Takes a closing tag. `path` ends with the element itself; `text` is trimmed, and empty if it has children.
    fn close(&mut self, path: &[Self::Element], text: &str, at_byte: usize);
}

/// An opening tag.
pub(super) struct Tag<'e> {
    attributes: &'e str,
    /// Byte where it stands.
    pub(super) at_byte: usize,
}

impl Tag<'_> {
    /// Gives an attribute's raw value by its local name.
    pub(super) fn attribute(&self, local_name: &str) -> Option<&str> {
        let mut rest = self.attributes;
        loop {
            let (name, after_name) = split_at_byte(rest, b'=')?;
            let after_name = after_name.trim_ascii_start();
            let quote = *after_name.as_bytes().first().filter(|byte| matches!(byte, b'"' | b'\''))?;
            let (value, after_value) = split_at_byte(after_name.get(1..)?, quote)?;
            if local_part(name.trim()) == local_name {
                return Some(value.trim());
            }
            rest = after_value;
        }
    }
}

/// What is before the first such byte, an ASCII one, and what is behind it. A plain loop: names and values are too short for a
/// search by vectors to pay.
fn split_at_byte(text: &str, byte: u8) -> Option<(&str, &str)> {
    let at = text.bytes().position(|other| other == byte)?;
    text.get(..at).zip(text.get(at + 1..))
}

fn local_part(name: &str) -> &str {
    split_at_byte(name, b':').map_or(name, |(_, local)| local)
}

/// What was wrong with a text.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct XmlFaults {
    /// Byte where the text ends too early.
    pub(super) cut: Option<usize>,
    /// First byte where tags or markup did not fit, though more followed.
    pub(super) damaged: Option<usize>,
    /// First byte of an entity that was not expanded.
    pub(super) entity: Option<usize>,
}

impl XmlFaults {
    /// Turns what was found into notices; `points` is the number of whole points read.
    pub(super) fn notices(&self, text: &str, points: u64) -> Vec<Notice> {
        let at = |byte| Place { line: Some(line_of(text, byte)), ..Place::default() };
        let mut notices = Vec::new();
        if let Some(byte) = self.damaged {
            let text =
                "tags do not match or markup is broken here: everything that could be told apart was read";
            notices.push(Notice::new(NoticeCode::XmlDamaged, text).at(at(byte)));
        }
        if let Some(byte) = self.entity {
            let text =
                "an entity of the file's own is used here: entities are never expanded, its text is missing";
            notices.push(Notice::new(NoticeCode::EntityNotExpanded, text).at(at(byte)));
        }
        if let Some(byte) = self.cut {
            let text =
                format!("the file ends in the middle: the {points} points whole before the cut are read");
            notices.push(
                Notice::new(NoticeCode::RecordingCut, text).at(Place { record: Some(points), ..at(byte) }),
            );
        }
        notices
    }
}

/// Reads `text` from its first to its last byte.
pub(super) fn parse<H: Handler>(text: &str, handler: &mut H) -> XmlFaults {
    parse_by(text, handler, true)
}

/// [`parse`] with point templates or without.
fn parse_by<H: Handler>(text: &str, handler: &mut H, by_template: bool) -> XmlFaults {
    let mut parser = Parser::new(handler, by_template);
    let mut from = 0;
    let mut broken = None;
    for _ in 0..MAX_RESTARTS {
        match parser.run(text, from, &mut broken) {
            Stop::End => break,
            Stop::TooDeep(at) => {
                parser.faults.damaged.get_or_insert(at);
                return parser.faults;
            }
            Stop::Broken(at) => {
                broken = Some(at);
                from = at + 1;
                while from < text.len() && !text.is_char_boundary(from) {
                    from += 1;
                }
            }
        }
    }
    if broken.is_some() || !parser.path.is_empty() {
        parser.faults.cut = Some(broken.unwrap_or(text.len()));
    }
    parser.faults
}

/// Finds the root element's local name.
pub(super) fn root_name(text: &str) -> Option<String> {
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event() {
            Ok(Event::Start(tag) | Event::Empty(tag)) => {
                return Some(local_part(tag.name().as_ref()).to_owned());
            }
            Ok(Event::Eof) | Err(_) => return None,
            Ok(Event::Text(words)) if !words.trim().is_empty() => return None,
            Ok(_) => {}
        }
    }
}

enum Stop {
    End,
    Broken(usize),
    TooDeep(usize),
}

struct Parser<'h, 'a, H: Handler> {
    handler: &'h mut H,
    path: Vec<H::Element>,
    /// Hash of each open element's full name: tells mismatched unknown elements without keeping their names.
    names: Vec<u32>,
    value: ElementText<'a>,
    faults: XmlFaults,
    /// Whether points written alike are read by their markup.
    by_template: bool,
    /// Events since the last point, while a template is to be learnt from them.
    events: Vec<NotedEvent<H::Element>>,
    /// Whether one is.
    is_noting: bool,
    /// The markup of a point.
    template: PointTemplate<H::Element>,
    /// How often in a row it did not fit the next point.
    misses: u32,
}

/// A template that does not fit so many times in a row is given up for that of a later point. Our choice.
const MOST_MISSES: u32 = 2;
/// Events of a point beyond which it is too long for a template. Our choice.
const MOST_EVENTS: usize = 256;

impl<'h, 'a, H: Handler> Parser<'h, 'a, H> {
    fn new(handler: &'h mut H, by_template: bool) -> Self {
        Self {
            handler,
            path: Vec::new(),
            names: Vec::new(),
            value: ElementText::default(),
            faults: XmlFaults::default(),
            by_template,
            events: Vec::new(),
            is_noting: false,
            template: PointTemplate::default(),
            misses: 0,
        }
    }

    /// Reads from a byte on until the end or something broken. `broken` is the last break that nothing followed yet.
    fn run(&mut self, text: &'a str, mut from: usize, broken: &mut Option<usize>) -> Stop {
        let mut reader = Reader::from_str(text.get(from..).unwrap_or_default());
        let config = reader.config_mut();
        config.check_end_names = false;
        config.allow_unmatched_ends = true;
        config.allow_dangling_amp = true;
        loop {
            let at = from + reader.buffer_position() as usize;
            let event = match reader.read_event() {
                Ok(Event::Eof) => return Stop::End,
                Ok(event) => event,
                Err(_) => {
                    // Noted events have no break between them.
                    self.is_noting = false;
                    return Stop::Broken((from + reader.error_position() as usize).max(at));
                }
            };
            let bytes = at..from + reader.buffer_position() as usize;
            if let Event::Text(words) = event {
                self.value.add(words.into_inner());
                self.note(EventKind::Text, bytes);
                continue;
            }
            if let Some(at) = broken.take() {
                self.faults.damaged.get_or_insert(at);
            }
            if matches!(event, Event::Start(_) | Event::Empty(_)) && self.path.len() >= MAX_DEPTH {
                return Stop::TooDeep(at);
            }
            let end = bytes.end;
            if self.event(event, bytes)
                && let Some(next) = self.read_alike(text, end)
            {
                // The reader goes on behind the points that were read, and counts on from where it was.
                *reader.get_mut() = text.as_bytes().get(next..).unwrap_or_default();
                from = next - reader.buffer_position() as usize;
            }
        }
    }

    /// Takes an event other than text. Gives whether it ends a point behind which a template may be used.
    fn event(&mut self, event: Event<'a>, bytes: Range<usize>) -> bool {
        let at = bytes.start;
        match event {
            Event::Start(start) => {
                let (element, hash, name_end) = self.open(&start, at);
                self.note(EventKind::Open { element, hash, name_end }, bytes);
            }
            Event::Empty(start) => {
                let (element, hash, name_end) = self.open(&start, at);
                self.pop(at);
                self.note(EventKind::Empty { element, hash, name_end }, bytes);
            }
            Event::End(end) => {
                let closed = self.close(end.name().as_ref(), at);
                if closed.is_some() {
                    self.note(EventKind::Close, bytes);
                } else {
                    self.is_noting = false;
                }
                return self.by_template && closed == Some(H::POINT);
            }
            Event::CData(words) => {
                self.value.add(words.into_inner());
                self.is_noting = false;
            }
            Event::GeneralRef(reference) => {
                self.reference(&reference, at);
                self.is_noting = false;
            }
            _ => self.note(EventKind::Nothing, bytes),
        }
        false
    }

    fn note(&mut self, kind: EventKind<H::Element>, bytes: Range<usize>) {
        if self.is_noting && self.events.len() < MOST_EVENTS {
            self.events.push(NotedEvent { kind, bytes });
        }
    }

    /// Behind a point: reads the next ones as long as they are written alike. Gives the byte to go on from, if any were.
    fn read_alike(&mut self, text: &'a str, from: usize) -> Option<usize> {
        let mut template = std::mem::take(&mut self.template);
        if std::mem::take(&mut self.is_noting) && is_one_point::<H>(&self.events) {
            template.learn(text, &self.events);
            self.misses = 0;
        }
        let mut next = from;
        if !template.is_empty() && self.misses < MOST_MISSES {
            let points;
            (points, next) = template.read_points(text, from, self);
            self.misses = if points == 0 { self.misses + 1 } else { 0 };
        } else {
            self.events.clear();
            self.is_noting = true;
        }
        self.template = template;
        (next > from).then_some(next)
    }

    /// Gives the element, the hash of its name and the byte behind its name.
    fn open(&mut self, start: &BytesStart<'_>, at_byte: usize) -> (H::Element, u32, usize) {
        let name = start.name();
        let element = H::element(local_part(name.as_ref()).as_bytes());
        let hash = hash(name.as_ref());
        self.opened(element, hash, start.attributes_raw(), at_byte);
        (element, hash, at_byte + 1 + name.as_ref().len())
    }

    fn opened(&mut self, element: H::Element, hash: u32, attributes: &str, at_byte: usize) {
        self.path.push(element);
        self.names.push(hash);
        self.value.clear();
        self.handler.open(&self.path, &Tag { attributes, at_byte });
    }

    /// Closes the innermost element if it is the named one, and gives it; else every element up to the named one; else nothing.
    fn close(&mut self, name: &str, at: usize) -> Option<H::Element> {
        let element = H::element(local_part(name).as_bytes());
        let hash = hash(name);
        let fits = |open: H::Element, open_hash: u32| {
            open == element && (element != H::UNKNOWN || open_hash == hash)
        };
        let innermost = self.path.last().copied().zip(self.names.last().copied());
        if innermost.is_some_and(|(open, open_hash)| fits(open, open_hash)) {
            self.pop(at);
            return Some(element);
        }
        self.faults.damaged.get_or_insert(at);
        let depth = self.path.iter().zip(&self.names).rposition(|(open, open_hash)| fits(*open, *open_hash));
        if let Some(depth) = depth {
            while self.path.len() > depth {
                self.value.clear();
                self.pop(at);
            }
        }
        None
    }

    fn pop(&mut self, at: usize) {
        self.handler.close(&self.path, self.value.get(), at);
        self.path.pop();
        self.names.pop();
        self.value.clear();
    }

    fn reference(&mut self, reference: &BytesRef<'_>, at: usize) {
        let name: &str = reference;
        let letter = match name {
            "amp" => Some('&'),
            "lt" => Some('<'),
            "gt" => Some('>'),
            "apos" => Some('\''),
            "quot" => Some('"'),
            _ => reference.resolve_char_ref().ok().flatten(),
        };
        match letter {
            Some(letter) => self.value.add_letter(letter),
            None => {
                self.faults.entity.get_or_insert(at);
            }
        }
    }
}

/// Whether events are those of one whole point, and nothing but space before it.
fn is_one_point<H: Handler>(events: &[NotedEvent<H::Element>]) -> bool {
    let mut depth = 0_usize;
    let tags = events.iter().filter(|event| !matches!(event.kind, EventKind::Text | EventKind::Nothing));
    let mut begun = false;
    for event in tags {
        match event.kind {
            EventKind::Open { element, .. } => {
                if depth == 0 && (begun || element != H::POINT) {
                    return false;
                }
                begun = true;
                depth += 1;
            }
            EventKind::Close if depth > 0 => depth -= 1,
            EventKind::Empty { .. } if depth > 0 => {}
            _ => return false,
        }
    }
    begun && depth == 0 && events.len() < MOST_EVENTS
}

impl<'a, H: Handler> EventSink<'a, H::Element> for Parser<'_, 'a, H> {
    fn open(&mut self, element: H::Element, hash: u32, attributes: &'a str, at_byte: usize) {
        self.opened(element, hash, attributes, at_byte);
    }

    fn close(&mut self, at_byte: usize) {
        self.pop(at_byte);
    }

    fn text(&mut self, value: &'a str) {
        self.value.add_piece(value);
    }
}

/// FNV-1a, 32 bits (Fowler, Noll and Vo; the published constants).
fn hash(name: &str) -> u32 {
    const OFFSET_BASIS: u32 = 0x811C_9DC5;
    const PRIME: u32 = 0x0100_0193;
    name.bytes().fold(OFFSET_BASIS, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(PRIME))
}

#[cfg(test)]
mod tests;
