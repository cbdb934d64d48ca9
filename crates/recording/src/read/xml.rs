//! Walks XML events and hands elements to a format's own reader. No tree, no allocation per element.
//!
//! Names are matched by their local part, so that any prefix, an undeclared prefix and no namespace at all read alike.
//! Nothing stops the walk but the end of the text: a tag that does not match closes what it can, broken markup is
//! stepped over. Entities other than the five predefined ones and character references are never expanded.

use quick_xml::Reader;
use quick_xml::events::{BytesRef, BytesStart, Event};

use crate::notice::{Notice, NoticeCode, Place};

use super::refrain::{Listener, Note, Refrain, What};
use super::text::line_of;
use super::value::Value;

/// Deepest nesting that is followed; recordings use about eight levels.
const MAX_DEPTH: usize = 128;
/// Broken pieces of markup that are stepped over before the walk gives up.
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

/// Walks `text` from its first to its last byte.
pub(super) fn walk<H: Handler>(text: &str, handler: &mut H) -> Outcome {
    walk_by(text, handler, true)
}

/// [`walk`] that takes every point apart, or not.
fn walk_by<H: Handler>(text: &str, handler: &mut H, by_refrain: bool) -> Outcome {
    let mut walker = Walker::new(handler, by_refrain);
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
    /// Whether points written alike are read by their markup.
    by_refrain: bool,
    /// What happened since the last point, while that is of interest.
    notes: Vec<Note<H::Element>>,
    /// Whether it is.
    noting: bool,
    /// The markup of a point.
    refrain: Refrain<H::Element>,
    /// How often in a row it did not fit the next point.
    misses: u32,
}

/// A point's markup that does not fit so many times in a row is given up for that of a later point.
const MOST_MISSES: u32 = 2;
/// Events of a point beyond which its markup is not noted down.
const MOST_NOTES: usize = 256;

impl<'h, 'a, H: Handler> Walker<'h, 'a, H> {
    fn new(handler: &'h mut H, by_refrain: bool) -> Self {
        Self {
            handler,
            path: Vec::new(),
            names: Vec::new(),
            value: Value::default(),
            outcome: Outcome::default(),
            by_refrain,
            notes: Vec::new(),
            noting: false,
            refrain: Refrain::default(),
            misses: 0,
        }
    }

    /// Walks from a byte on until the end or something broken. `broken` is the last break that nothing followed yet.
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
                    // Notes are of bytes without a break between them.
                    self.noting = false;
                    return Stop::Broken((from + reader.error_position() as usize).max(at));
                }
            };
            let bytes = at..from + reader.buffer_position() as usize;
            if let Event::Text(words) = event {
                self.value.add(words.into_inner());
                self.note(What::Text, bytes);
                continue;
            }
            if let Some(at) = broken.take() {
                self.outcome.damaged.get_or_insert(at);
            }
            match event {
                Event::Start(_) | Event::Empty(_) if self.path.len() >= MAX_DEPTH => {
                    return Stop::TooDeep(at);
                }
                Event::Start(start) => {
                    let (element, hash, name_end) = self.open(&start, at);
                    self.note(What::Open { element, hash, name_end }, bytes);
                }
                Event::Empty(start) => {
                    let (element, hash, name_end) = self.open(&start, at);
                    self.pop(at);
                    self.note(What::Empty { element, hash, name_end }, bytes);
                }
                Event::End(end) => {
                    let end_of_tag = bytes.end;
                    let closed = self.close(end.name().as_ref(), at);
                    if closed.is_some() {
                        self.note(What::Close, bytes);
                    } else {
                        self.noting = false;
                    }
                    if self.by_refrain
                        && closed == Some(H::POINT)
                        && let Some(next) = self.follow(text, end_of_tag)
                    {
                        // The reader goes on behind what was followed, and counts on from where it was.
                        *reader.get_mut() = text.as_bytes().get(next..).unwrap_or_default();
                        from = next - reader.buffer_position() as usize;
                    }
                }
                Event::CData(words) => {
                    self.value.add(words.into_inner());
                    self.noting = false;
                }
                Event::GeneralRef(reference) => {
                    self.reference(&reference, at);
                    self.noting = false;
                }
                _ => self.note(What::Nothing, bytes),
            }
        }
    }

    fn note(&mut self, what: What<H::Element>, bytes: std::ops::Range<usize>) {
        if self.noting && self.notes.len() < MOST_NOTES {
            self.notes.push(Note { what, bytes });
        }
    }

    /// Behind a point: goes on as long as the next ones are written alike. Gives the byte to go on from, if any were.
    fn follow(&mut self, text: &'a str, from: usize) -> Option<usize> {
        let mut refrain = std::mem::take(&mut self.refrain);
        if std::mem::take(&mut self.noting) && is_one_point::<H>(&self.notes) {
            refrain.learn(text, &self.notes);
            self.misses = 0;
        }
        let mut next = from;
        if !refrain.is_empty() && self.misses < MOST_MISSES {
            let points;
            (points, next) = refrain.follow(text, from, self);
            self.misses = if points == 0 { self.misses + 1 } else { 0 };
        } else {
            self.notes.clear();
            self.noting = true;
        }
        self.refrain = refrain;
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
        self.outcome.damaged.get_or_insert(at);
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
                self.outcome.entity.get_or_insert(at);
            }
        }
    }
}

/// Whether notes are of one whole point, and nothing but space before it.
fn is_one_point<H: Handler>(notes: &[Note<H::Element>]) -> bool {
    let mut depth = 0_usize;
    let tags = notes.iter().filter(|note| !matches!(note.what, What::Text | What::Nothing));
    let mut begun = false;
    for note in tags {
        match note.what {
            What::Open { element, .. } => {
                if depth == 0 && (begun || element != H::POINT) {
                    return false;
                }
                begun = true;
                depth += 1;
            }
            What::Close if depth > 0 => depth -= 1,
            What::Empty { .. } if depth > 0 => {}
            _ => return false,
        }
    }
    begun && depth == 0 && notes.len() < MOST_NOTES
}

impl<'a, H: Handler> Listener<'a, H::Element> for Walker<'_, 'a, H> {
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
        const POINT: Letter = Letter::B;

        fn element(local_name: &[u8]) -> Letter {
            match local_name {
                b"a" => Letter::A,
                b"b" => Letter::B,
                _ => Letter::Other,
            }
        }

        fn open(&mut self, path: &[Letter], tag: &Tag<'_>) {
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
    fn unknown_elements_are_told_apart() {
        assert_eq!(walked("<a><c>1</d><b>2</b></a>").1.damaged, Some(7));
        assert_eq!(walked("<a><c>1</c><b>2</b></a>").1.damaged, None);
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

    /// Writes down all that a handler is told.
    #[derive(Default)]
    struct Diary(Vec<(String, usize)>);

    impl Handler for Diary {
        type Element = Letter;
        const UNKNOWN: Letter = Letter::Other;
        const POINT: Letter = Letter::B;

        fn element(local_name: &[u8]) -> Letter {
            Log::element(local_name)
        }

        fn open(&mut self, path: &[Letter], tag: &Tag<'_>) {
            let attributes = ["i", "j"].map(|name| tag.attribute(name));
            self.0.push((format!("{}+{attributes:?}", path.len()), tag.at_byte));
        }

        fn close(&mut self, path: &[Letter], text: &str, at_byte: usize) {
            self.0.push((format!("{}-{text}", path.len()), at_byte));
        }
    }

    fn same_both_ways(text: &str) {
        let (mut quick, mut plain) = (Diary::default(), Diary::default());
        let outcomes = [walk_by(text, &mut quick, true), walk_by(text, &mut plain, false)];
        assert_eq!(quick.0, plain.0, "{text}");
        assert_eq!(outcomes[0], outcomes[1], "{text}");
    }

    #[test]
    fn points_written_alike_are_read_as_if_each_were_taken_apart() {
        use rand::{RngExt, SeedableRng};
        let points = [
            "\n <b i=\"#\" j='#'>\n  <c>#</c><d>#</d>\n  <e><x:f i=\"#\"/><a>#</a></e><!-- - -->\n </b>",
            "<b><c>#</c><d/><e x=\"#\"></e><b i='#'>#</b></b>",
            "\n<b i=\"#\"> # <c>#</c> </b>",
        ];
        let pieces: Vec<&str> =
            "<|>|&amp;|\"|'|</b>|<b>|<c/>|é|&e;|<![CDATA[1]]>| |<?x?>|/".split('|').collect();
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        let mut followed = 0;
        for round in 0..10_000 {
            let point = points[round % points.len()];
            let mut text = "<a>".to_owned();
            for _ in 0..rng.random_range(0..9) {
                for part in point.split_inclusive('#') {
                    text.push_str(part.trim_end_matches('#'));
                    if part.ends_with('#') {
                        text.push_str(["", "1.5", "é", " 2025-01-01 "][rng.random_range(0..4)]);
                    }
                }
            }
            text.push_str("</a>");
            for _ in 0..rng.random_range(0..3) {
                let at =
                    (0..=rng.random_range(0..text.len())).rfind(|&at| text.is_char_boundary(at)).unwrap();
                if rng.random_bool(0.3) {
                    text.truncate(at);
                    break;
                }
                text.insert_str(at, pieces[rng.random_range(0..pieces.len())]);
            }
            same_both_ways(&text);
            followed += usize::from(text.matches("<b").count() > 4);
        }
        assert!(followed > 3000, "too few have points to follow: {followed}");
    }

    #[test]
    fn markup_that_is_broken_in_every_point_is_no_refrain() {
        for point in ["<b><c>1</c><d <e>2</e>&#3 </b>", "<b><c>1</c><!x><e>2</e></b>"] {
            same_both_ways(&format!("<a>{}</a>", point.repeat(40)));
        }
    }

    #[test]
    fn a_refrain_is_followed_to_the_first_difference() {
        let point = |value: &str| format!("<b i=\"{value}\"><c>{value}</c></b>");
        let text = format!("<a>{}{}{}<b><c>9</c></b></a>", point("1"), point("2"), point("3").repeat(3));
        let mut diary = Diary::default();
        let notes_from = text.find("</b>").unwrap() + 4;
        let mut walker = Walker::new(&mut diary, true);
        assert!(matches!(walker.run(&text, 0, &mut None), Stop::End));
        // Noted down from the second point; three more are like it, and the last differs in its first tag.
        let refrain = std::mem::take(&mut walker.refrain);
        walker.path.clear();
        let (points, stopped) = refrain.follow(&text, notes_from, &mut walker);
        assert_eq!((points, stopped), (4, text.find("<b><c>9").unwrap()));
    }

    #[test]
    fn depth_is_bounded() {
        assert_eq!(walked(&"<a>".repeat(100_000)).1.damaged, Some(3 * MAX_DEPTH));
    }
}
