//! The text of one XML element.

use std::borrow::Cow;

/// Longest value that is collected from several pieces; times and numbers are far shorter. Our choice.
const MAX_VALUE_BYTES: usize = 256;

/// The text of the innermost element: borrowed as long as it is one piece.
#[derive(Default)]
pub(super) struct ElementText<'a> {
    piece: &'a str,
    joined: String,
    is_joined: bool,
}

impl<'a> ElementText<'a> {
    pub(super) fn clear(&mut self) {
        self.piece = "";
        self.is_joined = false;
    }

    pub(super) fn add(&mut self, piece: Cow<'a, str>) {
        match piece {
            Cow::Borrowed(piece) => self.add_piece(piece),
            Cow::Owned(piece) => self.append(&piece),
        }
    }

    pub(super) fn add_piece(&mut self, piece: &'a str) {
        if self.piece.is_empty() && !self.is_joined {
            self.piece = piece;
        } else {
            self.append(piece);
        }
    }

    fn append(&mut self, piece: &str) {
        self.join();
        if self.joined.len() + piece.len() <= MAX_VALUE_BYTES {
            self.joined.push_str(piece);
        }
    }

    pub(super) fn add_letter(&mut self, letter: char) {
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

    pub(super) fn get(&self) -> &str {
        let text = if self.is_joined { self.joined.as_str() } else { self.piece };
        // Most have no space at their ends: that is soon seen.
        let bytes = text.as_bytes();
        match (bytes.first(), bytes.last()) {
            (Some(first), Some(last)) if first.is_ascii_graphic() && last.is_ascii_graphic() => text,
            _ => text.trim(),
        }
    }
}
