//! Walks XML events and hands elements to a format's own reader. No tree, no allocation per element.
//!
//! Names are matched by their local part, so that any prefix, an undeclared prefix and no namespace at all read alike.
//! Nothing stops the walk but the end of the text: a tag that does not match closes what it can, broken markup is
//! stepped over. Entities other than the five predefined ones and character references are never expanded.

use quick_xml::Reader;
use quick_xml::events::{BytesRef, BytesStart, Event};

use crate::notice::{Notice, Place};

use super::text::line_of;

/// Deepest nesting that is followed; recordings use about eight levels.
const MAX_DEPTH: usize = 128;
/// Broken pieces of markup that are stepped over before the walk gives up.
const MAX_RESTARTS: usize = 32;
/// Longest value that is collected from several pieces; times and numbers are far shorter.
const MAX_VALUE_BYTES: usize = 256;

/// A format's reader: says which elements it knows and takes them as they open and close.
pub(super) trait Handler {
    /// The elements of the format that matter, and one value for all others.
    type Element: Copy + PartialEq;
    /// All the others.
    const UNKNOWN: Self::Element;

    /// Tells an element by its local name.
    fn element(local_name: &[u8]) -> Self::Element;
    /// Takes an opening tag. `path` ends with the element itself.
    fn open(&mut self, path: &[Self::Element], tag: &Tag<'_, '_>);
    /// Takes a closing tag. `path` ends with the element itself; `text` is trimmed, and empty if it has children.
    fn close(&mut self, path: &[Self::Element], text: &str, at_byte: usize);
}

/// An opening tag.
pub(super) struct Tag<'e, 'a> {
    start: &'e BytesStart<'a>,
    /// Byte where it stands.
    pub(super) at_byte: usize,
}

impl Tag<'_, '_> {
    /// Gives an attribute's raw value by its local name.
    pub(super) fn attribute(&self, local_name: &str) -> Option<&str> {
        let mut rest = self.start.attributes_raw();
        loop {
            let (name, after_name) = rest.split_once('=')?;
            let after_name = after_name.trim_start();
            let quote = after_name.chars().next().filter(|c| matches!(c, '"' | '\''))?;
            let (value, after_value) = after_name.get(1..)?.split_once(quote)?;
            if local_part(name.trim()) == local_name {
                return Some(value.trim());
            }
            rest = after_value;
        }
    }
}

fn local_part(name: &str) -> &str {
    name.rsplit_once(':').map_or(name, |(_, local)| local)
}

/// How a walk ended.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Outcome {
    /// Byte where the text ends too early.
    pub(super) cut: Option<usize>,
    /// First byte where tags or markup did not fit, though more followed.
    pub(super) damaged: Option<usize>,
    /// First byte of an entity that was not expanded.
    pub(super) entity: Option<usize>,
}

impl Outcome {
    /// Turns what was found into notices; `points` is the number of whole points read.
    pub(super) fn notices(&self, text: &str, points: u64) -> Vec<Notice> {
        let at = |byte| Place { line: Some(line_of(text, byte)), ..Place::default() };
        let mut notices = Vec::new();
        if let Some(byte) = self.damaged {
            let text =
                "tags do not match or markup is broken here: everything that could be told apart was read";
            notices.push(Notice::new("xml_damaged", text).at(at(byte)));
        }
        if let Some(byte) = self.entity {
            let text =
                "an entity of the file's own is used here: entities are never expanded, its text is missing";
            notices.push(Notice::new("entity_not_expanded", text).at(at(byte)));
        }
        if let Some(byte) = self.cut {
            let text =
                format!("the file ends in the middle: the {points} points whole before the cut are read");
            notices.push(Notice::new("recording_cut", text).at(Place { record: Some(points), ..at(byte) }));
        }
        notices
    }
}

/// Walks `text` from its first to its last byte.
pub(super) fn walk<H: Handler>(text: &str, handler: &mut H) -> Outcome {
    let mut walker = Walker {
        handler,
        path: Vec::new(),
        names: Vec::new(),
        value: Value::default(),
        outcome: Outcome::default(),
    };
    let mut from = 0;
    let mut broken = None;
    for _ in 0..MAX_RESTARTS {
        match walker.run(text, from, &mut broken) {
            Stop::End => break,
            Stop::TooDeep(at) => {
                walker.outcome.damaged.get_or_insert(at);
                return walker.outcome;
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
    if broken.is_some() || !walker.path.is_empty() {
        walker.outcome.cut = Some(broken.unwrap_or(text.len()));
    }
    walker.outcome
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

struct Walker<'h, 'a, H: Handler> {
    handler: &'h mut H,
    path: Vec<H::Element>,
    /// Hash of each open element's full name: tells mismatched unknown elements without keeping their names.
    names: Vec<u32>,
    value: Value<'a>,
    outcome: Outcome,
}

impl<'a, H: Handler> Walker<'_, 'a, H> {
    /// Walks from a byte on until the end or something broken. `broken` is the last break that nothing followed yet.
    fn run(&mut self, text: &'a str, from: usize, broken: &mut Option<usize>) -> Stop {
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
                Err(_) => return Stop::Broken((from + reader.error_position() as usize).max(at)),
            };
            if let Event::Text(words) = event {
                self.value.add(words.into_inner());
                continue;
            }
            if let Some(at) = broken.take() {
                self.outcome.damaged.get_or_insert(at);
            }
            match event {
                Event::Start(start) => {
                    if self.path.len() >= MAX_DEPTH {
                        return Stop::TooDeep(at);
                    }
                    self.open(&start, at);
                }
                Event::Empty(start) => {
                    if self.path.len() >= MAX_DEPTH {
                        return Stop::TooDeep(at);
                    }
                    self.open(&start, at);
                    self.pop(at);
                }
                Event::End(end) => self.close(end.name().as_ref(), at),
                Event::CData(words) => self.value.add(words.into_inner()),
                Event::GeneralRef(reference) => self.reference(&reference, at),
                _ => {}
            }
        }
    }

    fn open(&mut self, start: &BytesStart<'_>, at_byte: usize) {
        let name = start.name();
        self.path.push(H::element(local_part(name.as_ref()).as_bytes()));
        self.names.push(hash(name.as_ref()));
        self.value.clear();
        self.handler.open(&self.path, &Tag { start, at_byte });
    }

    /// Closes the innermost element if it is the named one; else every element up to the named one; else nothing.
    fn close(&mut self, name: &str, at: usize) {
        let element = H::element(local_part(name).as_bytes());
        let hash = hash(name);
        let fits = |open: H::Element, open_hash: u32| {
            open == element && (element != H::UNKNOWN || open_hash == hash)
        };
        let innermost = self.path.last().copied().zip(self.names.last().copied());
        if innermost.is_some_and(|(open, open_hash)| fits(open, open_hash)) {
            self.pop(at);
            return;
        }
        self.outcome.damaged.get_or_insert(at);
        let depth = self.path.iter().zip(&self.names).rposition(|(open, open_hash)| fits(*open, *open_hash));
        if let Some(depth) = depth {
            while self.path.len() > depth {
                self.value.clear();
                self.pop(at);
            }
        }
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
                self.outcome.entity.get_or_insert(at);
            }
        }
    }
}

/// The text of the innermost element: borrowed as long as it is one piece.
#[derive(Default)]
struct Value<'a> {
    piece: &'a str,
    joined: String,
    is_joined: bool,
}

impl<'a> Value<'a> {
    fn clear(&mut self) {
        self.piece = "";
        self.is_joined = false;
    }

    fn add(&mut self, piece: std::borrow::Cow<'a, str>) {
        match piece {
            std::borrow::Cow::Borrowed(piece) if self.piece.is_empty() && !self.is_joined => {
                self.piece = piece;
            }
            piece => {
                self.join();
                if self.joined.len() + piece.len() <= MAX_VALUE_BYTES {
                    self.joined.push_str(&piece);
                }
            }
        }
    }

    fn add_letter(&mut self, letter: char) {
        self.join();
        if self.joined.len() < MAX_VALUE_BYTES {
            self.joined.push(letter);
        }
    }

    fn join(&mut self) {
        if !self.is_joined {
            self.joined.clear();
            if self.piece.len() <= MAX_VALUE_BYTES {
                self.joined.push_str(self.piece);
            }
            self.is_joined = true;
        }
    }

    fn get(&self) -> &str {
        if self.is_joined { self.joined.trim() } else { self.piece.trim() }
    }
}

/// FNV-1a, 32 bits.
fn hash(name: &str) -> u32 {
    name.bytes().fold(0x811C_9DC5, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Writes down every leaf that has a text, and every `i` attribute.
    #[derive(Default)]
    struct Log(Vec<String>);

    #[derive(Clone, Copy, PartialEq)]
    enum Letter {
        A,
        B,
        Other,
    }

    impl Handler for Log {
        type Element = Letter;
        const UNKNOWN: Letter = Letter::Other;

        fn element(local_name: &[u8]) -> Letter {
            match local_name {
                b"a" => Letter::A,
                b"b" => Letter::B,
                _ => Letter::Other,
            }
        }

        fn open(&mut self, path: &[Letter], tag: &Tag<'_, '_>) {
            if let Some(value) = tag.attribute("i") {
                self.0.push(format!("{}i={value}", path.len()));
            }
        }

        fn close(&mut self, path: &[Letter], text: &str, _at_byte: usize) {
            if !text.is_empty() {
                self.0.push(format!("{}:{text}", path.len()));
            }
        }
    }

    fn walked(text: &str) -> (Vec<String>, Outcome) {
        let mut log = Log::default();
        let outcome = walk(text, &mut log);
        (log.0, outcome)
    }

    #[test]
    fn values_are_joined_and_trimmed() {
        let (log, outcome) = walked("<a> <b> 1<!-- -->2&#51;&amp;<![CDATA[<4>]]> </b></a>");
        assert_eq!(log, ["2:123&<4>"]);
        assert_eq!(outcome, Outcome::default());
    }

    #[test]
    fn attributes_in_either_quote_under_any_prefix() {
        assert_eq!(walked(r#"<x:a i='1'/><a j="i=2" n:i = "3"/>"#).0, ["1i=1", "1i=3"]);
    }

    #[test]
    fn entities_are_not_expanded() {
        let text = "<!DOCTYPE a [<!ENTITY e 'boom'>]><a>x&e;y</a>";
        let (log, outcome) = walked(text);
        assert_eq!(log, ["1:xy"]);
        assert_eq!(outcome.entity, text.find('&'));
    }

    #[test]
    fn a_wrong_closing_tag_closes_what_it_can() {
        let (log, outcome) = walked("<a><b>1</b><c><d>2</a><a><b>3</b></a>");
        assert_eq!(log, ["2:1", "2:3"]);
        assert_eq!(outcome, Outcome { damaged: Some(18), ..Outcome::default() });
        let (log, outcome) = walked("<a><b>1</c></b><b>2</b></a>");
        assert_eq!(log, ["2:1", "2:2"]);
        assert_eq!(outcome, Outcome { damaged: Some(7), ..Outcome::default() });
    }

    #[test]
    fn a_cut_is_told_from_damage() {
        for text in ["<a><b>1</b>", "<a><b>1</b><", "<a><b>1</b><b", "<a><b>1</b><!-- "] {
            let (log, outcome) = walked(text);
            assert_eq!(log, ["2:1"], "{text}");
            assert_eq!(outcome, Outcome { cut: Some(11), ..Outcome::default() }, "{text}");
        }
        let (log, outcome) = walked("<a><b i='1><b>2</b></a>");
        assert_eq!(log, ["2:2"]);
        assert_eq!(outcome, Outcome { damaged: Some(3), ..Outcome::default() });
    }

    #[test]
    fn depth_is_bounded() {
        assert_eq!(walked(&"<a>".repeat(100_000)).1.damaged, Some(3 * MAX_DEPTH));
    }
}
