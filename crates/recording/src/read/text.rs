//! Bytes of an XML file → UTF-8 text, borrowed where possible.

use std::borrow::Cow;

use crate::notice::{Notice, NoticeCode};

/// Decodes by byte order mark, zero bytes of UTF-16, or declaration; undeclared non-UTF-8 bytes are taken as Latin-1.
///
/// Tags, numbers and times are ASCII in every one of these, so a wrong guess costs a letter of a name at most.
pub(super) fn decode<'a>(bytes: &'a [u8], notices: &mut Vec<Notice>) -> Cow<'a, str> {
    if let Some(rest) = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]) {
        return decode_8_bit(rest, notices);
    }
    match bytes {
        [0xFF, 0xFE, rest @ ..] => Cow::Owned(utf16(rest, u16::from_le_bytes)),
        [0xFE, 0xFF, rest @ ..] => Cow::Owned(utf16(rest, u16::from_be_bytes)),
        [first, 0, second, 0, ..] if *first != 0 && *second != 0 => {
            Cow::Owned(utf16(bytes, u16::from_le_bytes))
        }
        [0, first, 0, second, ..] if *first != 0 && *second != 0 => {
            Cow::Owned(utf16(bytes, u16::from_be_bytes))
        }
        _ => decode_8_bit(bytes, notices),
    }
}

fn decode_8_bit<'a>(bytes: &'a [u8], notices: &mut Vec<Notice>) -> Cow<'a, str> {
    let fault = match std::str::from_utf8(bytes) {
        Ok(text) => return Cow::Borrowed(text),
        Err(fault) => fault,
    };
    if fault.error_len().is_none() {
        // Cut in the middle of the last letter: the XML reader says that it ends too early.
        return String::from_utf8_lossy(bytes.get(..fault.valid_up_to()).unwrap_or_default());
    }
    if !declares_latin_1(bytes) {
        let at = fault.valid_up_to();
        let text = format!("byte {at} is not UTF-8 and no known encoding is declared: read as Latin-1");
        notices.push(Notice::new(NoticeCode::EncodingGuessed, text));
    }
    Cow::Owned(bytes.iter().map(|b| char::from(*b)).collect())
}

fn declares_latin_1(bytes: &[u8]) -> bool {
    /// An XML declaration is within so many bytes. Our choice.
    const DECLARATION_BYTES: usize = 200;
    let head = bytes.get(..bytes.len().min(DECLARATION_BYTES)).unwrap_or_default().to_ascii_lowercase();
    let declaration = head.split(|b| *b == b'>').next().unwrap_or_default();
    [&b"iso-8859-1"[..], b"latin1", b"latin-1", b"windows-1252", b"cp1252"]
        .iter()
        .any(|name| declaration.windows(name.len()).any(|window| window == *name))
}

fn utf16(bytes: &[u8], from: fn([u8; 2]) -> u16) -> String {
    let units = bytes.chunks_exact(2).filter_map(|pair| pair.try_into().ok()).map(from);
    char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect()
}

/// One-based line of a byte offset, for messages.
pub(super) fn line_of(text: &str, byte: usize) -> u64 {
    let before = text.as_bytes().get(..byte.min(text.len())).unwrap_or_default();
    before.split(|b| *b == b'\n').count() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(bytes: &[u8]) -> (String, Vec<NoticeCode>) {
        let mut notices = Vec::new();
        let text = decode(bytes, &mut notices).into_owned();
        (text, notices.iter().map(|n| n.code).collect())
    }

    #[test]
    fn every_encoding_of_the_same_text() {
        let text = "<gpx>é</gpx>";
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let expected = (text.to_owned(), vec![]);
        assert_eq!(decoded(text.as_bytes()), expected);
        assert_eq!(decoded(&[&b"\xEF\xBB\xBF"[..], text.as_bytes()].concat()), expected);
        assert_eq!(decoded(&le), expected);
        assert_eq!(decoded(&be), expected);
        assert_eq!(decoded(&[&b"\xFF\xFE"[..], &le].concat()), expected);
        assert_eq!(decoded(&[&b"\xFE\xFF"[..], &be].concat()), expected);
    }

    #[test]
    fn latin_1_declared_or_guessed() {
        let declared = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>\xE9</a>";
        assert_eq!(decoded(declared).1, Vec::<NoticeCode>::new());
        assert!(decoded(declared).0.ends_with("<a>é</a>"));
        assert_eq!(decoded(b"<a>\xE9</a>"), ("<a>é</a>".to_owned(), vec![NoticeCode::EncodingGuessed]));
    }

    #[test]
    fn lines_count_from_one() {
        assert_eq!(line_of("a\nb\nc", 0), 1);
        assert_eq!(line_of("a\nb\nc", 4), 3);
        assert_eq!(line_of("a\nb\nc", 99), 3);
    }
}
