//! Messages of a FIT file (protocol 2.0, little-endian) and the file around them.

use crate::read::fit_checksum;

/// Unix time of FIT's zero, 1989-12-31T00:00:00Z.
pub const EPOCH_UNIX_S: i64 = 631_065_600;
/// A manufacturer that is none: "development".
pub const NO_MANUFACTURER: i64 = 255;

/// Base type of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Base {
    /// An enumeration.
    Enum,
    /// uint8.
    U8,
    /// uint16.
    U16,
    /// sint32.
    S32,
    /// uint32.
    U32,
    /// Text of so many bytes in UTF-8, the zero behind it among them.
    Text(u8),
}

impl Base {
    /// Its code in a definition.
    pub const fn code(self) -> u8 {
        match self {
            Self::Enum => 0x00,
            Self::U8 => 0x02,
            Self::U16 => 0x84,
            Self::S32 => 0x85,
            Self::U32 => 0x86,
            Self::Text(_) => 0x07,
        }
    }

    /// Its bytes.
    pub const fn size(self) -> u8 {
        match self {
            Self::Enum | Self::U8 => 1,
            Self::U16 => 2,
            Self::S32 | Self::U32 => 4,
            Self::Text(bytes) => bytes,
        }
    }

    /// The number that says "none"; the greatest below it is the greatest that has a place.
    const fn none(self) -> i64 {
        match self {
            Self::Enum | Self::U8 => 0xFF,
            Self::U16 => 0xFFFF,
            Self::S32 => 0x7FFF_FFFF,
            Self::U32 => 0xFFFF_FFFF,
            Self::Text(_) => 0,
        }
    }

    const fn least(self) -> i64 {
        match self {
            Self::S32 => -0x8000_0000,
            _ => 0,
        }
    }
}

/// A field of a message: its number, its base type and its value.
pub type Field = (u8, Base, Option<i64>);

/// Numbers and base types of fields.
pub fn shape(fields: &[Field]) -> Vec<(u8, Base)> {
    fields.iter().map(|(number, base, _)| (*number, *base)).collect()
}

/// As much of a text as a field of so many bytes holds, in whole characters.
pub(super) fn cut(text: &str, bytes: u8) -> &str {
    let most = text.len().min(usize::from(bytes).saturating_sub(1));
    let end = (0..=most).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    &text[..end]
}

/// Builds the messages of a FIT file in memory.
#[derive(Clone, Debug, Default)]
pub struct FitMessages {
    data: Vec<u8>,
}

impl FitMessages {
    /// Defines a message: its local and global number, and its fields.
    pub fn define(&mut self, local: u8, global: u16, shape: &[(u8, Base)]) {
        self.define_with(local, global, shape, &[]);
    }

    /// Defines a message with developer fields, each by its number, its bytes and its developer.
    pub fn define_with(&mut self, local: u8, global: u16, shape: &[(u8, Base)], developer: &[[u8; 3]]) {
        self.raw(&[0x40 | u8::from(!developer.is_empty()) << 5 | local, 0, 0]);
        self.raw(&global.to_le_bytes());
        self.data.push(shape.len() as u8);
        for (number, base) in shape {
            self.raw(&[*number, base.size(), base.code()]);
        }
        if !developer.is_empty() {
            self.data.push(developer.len() as u8);
            self.raw(developer.as_flattened());
        }
    }

    /// Begins a message that was defined; its values follow.
    pub fn begin(&mut self, local: u8) {
        self.data.push(local);
    }

    /// Adds a number. What is beyond a field's range is its nearest value.
    pub fn value(&mut self, base: Base, value: Option<i64>) {
        let none = base.none();
        let raw = value.map_or(none, |value| value.clamp(base.least(), none - 1)).to_le_bytes();
        self.data.extend(&raw[..usize::from(base.size())]);
    }

    /// Adds text, with zeros up to the end of its field; cut at a whole character where it is too long.
    pub fn text(&mut self, bytes: u8, text: &str) {
        let text = cut(text, bytes);
        self.raw(text.as_bytes());
        self.data.extend(std::iter::repeat_n(0, usize::from(bytes) - text.len()));
    }

    /// Adds a message that was defined.
    pub fn message(&mut self, local: u8, fields: &[Field]) {
        self.begin(local);
        for (_, base, value) in fields {
            self.value(*base, *value);
        }
    }

    /// Defines a message and adds it.
    pub fn once(&mut self, local: u8, global: u16, fields: &[Field]) {
        self.define(local, global, &shape(fields));
        self.message(local, fields);
    }

    /// Adds bytes as they are.
    pub fn raw(&mut self, bytes: &[u8]) {
        self.data.extend(bytes);
    }

    /// Makes the file: a header (protocol 2.0, profile 21.32) before the messages, both checksums.
    pub fn file(self) -> Vec<u8> {
        const PROFILE: u16 = 2132;
        let mut bytes = vec![14, 0x20];
        bytes.extend(PROFILE.to_le_bytes());
        bytes.extend((self.data.len() as u32).to_le_bytes());
        bytes.extend(b".FIT");
        bytes.extend(fit_checksum(&bytes).to_le_bytes());
        bytes.extend(self.data);
        bytes.extend(fit_checksum(&bytes).to_le_bytes());
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_is_the_nearest_value() {
        let bytes = |base: Base, values: &[Option<i64>]| {
            let mut messages = FitMessages::default();
            values.iter().for_each(|value| messages.value(base, *value));
            messages.data
        };
        let values = [None, Some(-1), Some(0), Some(254), Some(255), Some(i64::MAX)];
        assert_eq!(bytes(Base::U8, &values), [255, 0, 0, 254, 254, 254]);
        assert_eq!(bytes(Base::S32, &[Some(-1)]), [0xFF; 4]);
        assert_eq!(bytes(Base::S32, &[Some(i64::MIN)]), [0, 0, 0, 0x80]);
    }

    #[test]
    fn text_ends_with_a_zero_and_at_a_whole_character() {
        let bytes = |room: u8, text: &str| {
            let mut messages = FitMessages::default();
            messages.text(room, text);
            messages.data
        };
        assert_eq!(bytes(5, "run"), b"run\0\0");
        assert_eq!(bytes(3, "run"), b"ru\0");
        assert_eq!(bytes(3, "aé"), b"a\0\0", "the second character takes two bytes");
        assert_eq!(bytes(1, "run"), b"\0");
    }
}
