//! The markup of one point, found again in the next: exporters write thousands of points alike, and only a few values differ
//! between the same tags. Comparing markup byte by byte spares parsing it.
//!
//! By hand, since no XML library does this: GPX and TCX are read up to 3.6 times as fast as `quick-xml` alone goes over their
//! events (docs/formats.md, "Speed").
//!
//! A template is learnt from the events of one whole point. Where the bytes of its markup stand again, the same events
//! happen, with the values that stand between them. At the first difference it stops, between two events, and the parser goes
//! on from there. So the result is the same as without it; a test of `xml.rs` compares both.

use std::ops::Range;

/// An event of the parser, with its bytes.
#[derive(Clone, Debug)]
pub(super) struct NotedEvent<E> {
    pub(super) kind: EventKind<E>,
    pub(super) bytes: Range<usize>,
}

/// Kinds of events that may be part of a template.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum EventKind<E> {
    /// An opening tag: its element, the hash of its name and the byte of the text behind its name.
    Open { element: E, hash: u32, name_end: usize },
    /// The same that closes itself.
    Empty { element: E, hash: u32, name_end: usize },
    /// A closing tag that fits.
    Close,
    /// Text.
    Text,
    /// A comment, or whatever else is without effect.
    Nothing,
}

/// What happens at a piece of markup; positions count from its first byte.
#[derive(Clone, Debug)]
enum Action<E> {
    /// A tag with attributes begins here, and its name ends there.
    Begin {
        at: usize,
        name_end: usize,
    },
    /// The tag that has begun ends behind this byte; if it closes itself, it is two bytes that end it.
    Finish {
        element: E,
        hash: u32,
        end: usize,
        closes: bool,
    },
    /// A tag without attributes.
    Open {
        element: E,
        hash: u32,
        at: usize,
    },
    Close {
        at: usize,
    },
}

/// What comes behind a piece of markup.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Slot {
    /// A value, up to the next tag.
    Text,
    /// A value of an attribute, up to this quote.
    Quoted(u8),
    /// Nothing: the point ends.
    End,
}

/// A piece of markup that is the same in each point, what happens at it and what comes behind it.
#[derive(Clone, Debug)]
struct Piece {
    markup: Range<usize>,
    /// Its part of [`PointTemplate::actions`].
    actions: Range<usize>,
    slot: Slot,
}

/// Takes the events of points that are read by a template.
pub(super) trait EventSink<'a, E> {
    fn open(&mut self, element: E, hash: u32, attributes: &'a str, at_byte: usize);
    fn close(&mut self, at_byte: usize);
    fn text(&mut self, value: &'a str);
}

/// The markup of one point; at first of none.
#[derive(Clone, Debug)]
pub(super) struct PointTemplate<E> {
    pieces: Vec<Piece>,
    actions: Vec<Action<E>>,
}

impl<E> Default for PointTemplate<E> {
    fn default() -> Self {
        Self { pieces: Vec::new(), actions: Vec::new() }
    }
}

impl<E: Copy> PointTemplate<E> {
    /// Whether no markup has been learnt.
    pub(super) fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    fn clear(&mut self) {
        self.pieces.clear();
        self.actions.clear();
    }

    /// Takes the markup from the events between the end of one point and the end of the next: none where they cannot be told
    /// apart again by their bytes alone.
    pub(super) fn learn(&mut self, text: &str, events: &[NotedEvent<E>]) {
        self.clear();
        if self.try_learn(text, events).is_none() {
            self.clear();
        }
    }

    fn try_learn(&mut self, text: &str, events: &[NotedEvent<E>]) -> Option<()> {
        let bytes = text.as_bytes();
        let mut from = events.first()?.bytes.start;
        for (i, event) in events.iter().enumerate() {
            let at = event.bytes.start - from;
            match event.kind {
                EventKind::Nothing => {}
                EventKind::Close => self.actions.push(Action::Close { at }),
                EventKind::Text => {
                    let opened = i.checked_sub(1).and_then(|i| events.get(i));
                    let is_value = matches!(opened.map(|n| n.kind), Some(EventKind::Open { .. }))
                        && matches!(events.get(i + 1).map(|n| n.kind), Some(EventKind::Close));
                    if is_value {
                        self.end_piece(from..event.bytes.start, Slot::Text);
                        from = event.bytes.end;
                    } else if !text.get(event.bytes.clone())?.trim().is_empty() {
                        return None;
                    }
                }
                EventKind::Open { element, hash, name_end }
                | EventKind::Empty { element, hash, name_end } => {
                    let closes = matches!(event.kind, EventKind::Empty { .. });
                    let tag_end = event.bytes.end - if closes { 2 } else { 1 };
                    let attributes = bytes.get(name_end..tag_end)?;
                    if attributes.iter().all(u8::is_ascii_whitespace) {
                        self.actions.push(Action::Open { element, hash, at });
                        if closes {
                            self.actions.push(Action::Close { at });
                        }
                        continue;
                    }
                    self.actions.push(Action::Begin { at, name_end: name_end - from });
                    let mut rest_from = name_end;
                    loop {
                        let rest = bytes.get(rest_from..tag_end)?;
                        let Some(open) = rest.iter().position(|byte| matches!(byte, b'"' | b'\'')) else {
                            break;
                        };
                        let quote = *rest.get(open)?;
                        let length = rest.get(open + 1..)?.iter().position(|&byte| byte == quote)?;
                        let value = rest_from + open + 1;
                        self.end_piece(from..value, Slot::Quoted(quote));
                        from = value + length;
                        rest_from = from + 1;
                    }
                    self.actions.push(Action::Finish { element, hash, end: tag_end - from, closes });
                }
            }
        }
        self.end_piece(from..events.last()?.bytes.end, Slot::End);
        Some(())
    }

    /// Ends a piece with the actions that no piece has yet.
    fn end_piece(&mut self, markup: Range<usize>, slot: Slot) {
        let taken = self.pieces.last().map_or(0, |piece| piece.actions.end);
        self.pieces.push(Piece { markup, actions: taken..self.actions.len(), slot });
    }

    /// Reads points from a byte of the text on, as long as they fit. Gives the number of whole points, and the byte between
    /// two events where it stopped.
    pub(super) fn read_points<'a>(
        &self,
        text: &'a str,
        from: usize,
        sink: &mut impl EventSink<'a, E>,
    ) -> (usize, usize) {
        let mut points = 0;
        let mut at = from;
        loop {
            match self.read_point(text, at, sink) {
                Ok(end) => at = end,
                Err(stopped) => return (points, stopped),
            }
            points += 1;
        }
    }

    /// Reads one point; gives the byte behind it, or as an error the one where it stopped.
    fn read_point<'a>(
        &self,
        text: &'a str,
        from: usize,
        sink: &mut impl EventSink<'a, E>,
    ) -> Result<usize, usize> {
        let bytes = text.as_bytes();
        let mut at = from;
        // Behind the last event.
        let mut safe = from;
        // Where the tag in hand begins and where its name ends.
        let mut tag = (from, from);
        for piece in &self.pieces {
            let end = at + piece.markup.len();
            if bytes.get(at..end) != bytes.get(piece.markup.clone()) {
                return Err(safe);
            }
            for action in self.actions.get(piece.actions.clone()).unwrap_or_default() {
                match *action {
                    Action::Open { element, hash, at: offset } => sink.open(element, hash, "", at + offset),
                    Action::Close { at: offset } => sink.close(at + offset),
                    Action::Begin { at: offset, name_end } => tag = (at + offset, at + name_end),
                    Action::Finish { element, hash, end, closes } => {
                        let attributes = text.get(tag.1..at + end).unwrap_or_default();
                        sink.open(element, hash, attributes, tag.0);
                        if closes {
                            sink.close(tag.0);
                        }
                    }
                }
            }
            let rest = bytes.get(end..).unwrap_or_default();
            let length = match piece.slot {
                Slot::End => return Ok(end),
                Slot::Text => {
                    safe = end;
                    length_up_to(rest, b'<', |byte| byte == b'&')
                }
                Slot::Quoted(quote) => {
                    // Nothing of a tag has happened before its end.
                    safe = tag.0;
                    length_up_to(rest, quote, |byte| matches!(byte, b'<' | b'>' | b'&'))
                }
            };
            let Some(value) = length.and_then(|length| text.get(end..end + length)) else {
                return Err(safe);
            };
            at = end + value.len();
            if piece.slot == Slot::Text {
                sink.text(value);
                safe = at;
            }
        }
        Ok(at)
    }
}

/// Bytes before the first `stop`; `None` where there is none, or one that is `unfit` before it.
fn length_up_to(bytes: &[u8], stop: u8, unfit: impl Fn(u8) -> bool) -> Option<usize> {
    let length = bytes.iter().position(|&byte| byte == stop || unfit(byte))?;
    (bytes.get(length) == Some(&stop)).then_some(length)
}
