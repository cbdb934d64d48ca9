//! The markup of one point, found again in the next: exporters write thousands of points alike, and what differs is a few
//! values between the same tags. Comparing the markup byte by byte spares taking it apart.
//!
//! A refrain is noted down from the events of one whole point. Following it means: where the bytes of its markup stand, the
//! same events happen, with the values that stand in their places. Where they do not, it stops between two events, and the
//! events are read on from there. So what comes out is the same as without it.

use std::ops::Range;

/// An event as it happened, with its bytes.
#[derive(Clone, Debug)]
pub(super) struct Note<E> {
    pub(super) what: What<E>,
    pub(super) bytes: Range<usize>,
}

/// Kinds of events that may be part of a refrain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum What<E> {
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

/// What follows from a stretch of markup; positions count from its first byte.
#[derive(Clone, Debug)]
enum Step<E> {
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

/// What comes behind a stretch of markup.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Gap {
    /// A value, up to the next tag.
    Text,
    /// A value of an attribute, up to this quote.
    Quoted(u8),
    /// Nothing: the point ends.
    End,
}

/// A stretch of markup, what follows from it and what comes behind it.
#[derive(Clone, Debug)]
struct Line {
    markup: Range<usize>,
    /// Of all steps.
    steps: Range<usize>,
    gap: Gap,
}

/// Takes what happens while a refrain is followed.
pub(super) trait Listener<'a, E> {
    fn open(&mut self, element: E, hash: u32, attributes: &'a str, at_byte: usize);
    fn close(&mut self, at_byte: usize);
    fn text(&mut self, value: &'a str);
}

/// The markup of one point; at first of none.
#[derive(Clone, Debug)]
pub(super) struct Refrain<E> {
    lines: Vec<Line>,
    steps: Vec<Step<E>>,
}

impl<E> Default for Refrain<E> {
    fn default() -> Self {
        Self { lines: Vec::new(), steps: Vec::new() }
    }
}

impl<E: Copy> Refrain<E> {
    /// Whether there is nothing to follow.
    pub(super) fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    fn clear(&mut self) {
        self.lines.clear();
        self.steps.clear();
    }

    /// Takes the markup from the events between the end of one point and the end of the next: none where they cannot be told
    /// apart again by their bytes alone.
    pub(super) fn learn(&mut self, text: &str, notes: &[Note<E>]) {
        self.clear();
        if self.try_learn(text, notes).is_none() {
            self.clear();
        }
    }

    fn try_learn(&mut self, text: &str, notes: &[Note<E>]) -> Option<()> {
        let bytes = text.as_bytes();
        let mut from = notes.first()?.bytes.start;
        for (i, note) in notes.iter().enumerate() {
            let at = note.bytes.start - from;
            match note.what {
                What::Nothing => {}
                What::Close => self.steps.push(Step::Close { at }),
                What::Text => {
                    let opened = i.checked_sub(1).and_then(|i| notes.get(i));
                    let is_value = matches!(opened.map(|n| n.what), Some(What::Open { .. }))
                        && matches!(notes.get(i + 1).map(|n| n.what), Some(What::Close));
                    if is_value {
                        self.end_line(from..note.bytes.start, Gap::Text);
                        from = note.bytes.end;
                    } else if !text.get(note.bytes.clone())?.trim().is_empty() {
                        return None;
                    }
                }
                What::Open { element, hash, name_end } | What::Empty { element, hash, name_end } => {
                    let closes = matches!(note.what, What::Empty { .. });
                    let tag_end = note.bytes.end - if closes { 2 } else { 1 };
                    let attributes = bytes.get(name_end..tag_end)?;
                    if attributes.iter().all(u8::is_ascii_whitespace) {
                        self.steps.push(Step::Open { element, hash, at });
                        if closes {
                            self.steps.push(Step::Close { at });
                        }
                        continue;
                    }
                    self.steps.push(Step::Begin { at, name_end: name_end - from });
                    let mut rest_from = name_end;
                    loop {
                        let rest = bytes.get(rest_from..tag_end)?;
                        let Some(open) = rest.iter().position(|byte| matches!(byte, b'"' | b'\'')) else {
                            break;
                        };
                        let quote = *rest.get(open)?;
                        let length = rest.get(open + 1..)?.iter().position(|&byte| byte == quote)?;
                        let value = rest_from + open + 1;
                        self.end_line(from..value, Gap::Quoted(quote));
                        from = value + length;
                        rest_from = from + 1;
                    }
                    self.steps.push(Step::Finish { element, hash, end: tag_end - from, closes });
                }
            }
        }
        self.end_line(from..notes.last()?.bytes.end, Gap::End);
        Some(())
    }

    /// Ends a line with the steps that no line has yet.
    fn end_line(&mut self, markup: Range<usize>, gap: Gap) {
        let taken = self.lines.last().map_or(0, |line| line.steps.end);
        self.lines.push(Line { markup, steps: taken..self.steps.len(), gap });
    }

    /// Follows the refrain from a byte of the text on, as often as it goes. Gives the number of whole points, and the byte
    /// between two events where it stopped.
    pub(super) fn follow<'a>(
        &self,
        text: &'a str,
        from: usize,
        listener: &mut impl Listener<'a, E>,
    ) -> (usize, usize) {
        let mut points = 0;
        let mut at = from;
        loop {
            match self.once(text, at, listener) {
                Ok(end) => at = end,
                Err(stopped) => return (points, stopped),
            }
            points += 1;
        }
    }

    /// Follows the refrain once; gives the byte behind it, or as an error the one where it stopped.
    fn once<'a>(
        &self,
        text: &'a str,
        from: usize,
        listener: &mut impl Listener<'a, E>,
    ) -> Result<usize, usize> {
        let bytes = text.as_bytes();
        let mut at = from;
        // Behind the last event.
        let mut safe = from;
        // Where the tag in hand begins and where its name ends.
        let mut tag = (from, from);
        for line in &self.lines {
            let end = at + line.markup.len();
            if bytes.get(at..end) != bytes.get(line.markup.clone()) {
                return Err(safe);
            }
            for step in self.steps.get(line.steps.clone()).unwrap_or_default() {
                match *step {
                    Step::Open { element, hash, at: offset } => listener.open(element, hash, "", at + offset),
                    Step::Close { at: offset } => listener.close(at + offset),
                    Step::Begin { at: offset, name_end } => tag = (at + offset, at + name_end),
                    Step::Finish { element, hash, end, closes } => {
                        let attributes = text.get(tag.1..at + end).unwrap_or_default();
                        listener.open(element, hash, attributes, tag.0);
                        if closes {
                            listener.close(tag.0);
                        }
                    }
                }
            }
            let rest = bytes.get(end..).unwrap_or_default();
            let length = match line.gap {
                Gap::End => return Ok(end),
                Gap::Text => {
                    safe = end;
                    length_up_to(rest, b'<', |byte| byte == b'&')
                }
                Gap::Quoted(quote) => {
                    // Nothing of a tag has happened before its end.
                    safe = tag.0;
                    length_up_to(rest, quote, |byte| matches!(byte, b'<' | b'>' | b'&'))
                }
            };
            let Some(value) = length.and_then(|length| text.get(end..end + length)) else {
                return Err(safe);
            };
            at = end + value.len();
            if line.gap == Gap::Text {
                listener.text(value);
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
