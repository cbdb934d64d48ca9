//! Tells the format from the content, never from a name.

use super::format::Format;
use super::{fit, gunzip};

/// What a file comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Envelope {
    /// It is what it is.
    Plain,
    /// Gzip, RFC 1952.
    Gzip,
    /// A zip archive.
    Zip,
}

impl Envelope {
    /// Tells it by the first bytes, as the reader does: RFC 1952, section 2.3.1; PKWARE APPNOTE 6.3, sections 4.3.7 and 4.3.16.
    pub fn of(bytes: &[u8]) -> Self {
        if bytes.starts_with(&gunzip::MAGIC) {
            Self::Gzip
        } else if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
            Self::Zip
        } else {
            Self::Plain
        }
    }
}

/// Longest name of a root element in an error, in characters. Our choice.
const ROOT_CHARS: usize = 40;
/// The beginning of a text in an error, in characters. Our choice.
const START_CHARS: usize = 24;
/// Characters from which text is told from binary data. Our choice.
const LOOKED_AT_CHARS: usize = 512;
/// Text has at most one odd character in so many. Our choice.
const ODD_ONE_IN: usize = 20;

/// What the first bytes promise.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum ContentKind {
    Gzip,
    Zip,
    Fit,
    /// Text of some kind: GPX and TCX are told apart after decoding.
    Text,
    /// A known kind of file that is no recording, as a noun with its article.
    Foreign(&'static str),
}

/// Opening bytes of files that people take for recordings, as their formats publish them: (offset, bytes, what it is).
const FOREIGN: &[(usize, &[u8], &str)] = &[
    (0, b"%PDF", "a PDF document"),
    (0, b"\x89PNG", "a PNG picture"),
    (0, b"\xFF\xD8\xFF", "a JPEG picture"),
    (0, b"GIF8", "a GIF picture"),
    (8, b"WEBP", "a WebP picture"),
    (0, b"II*\0", "a TIFF picture"),
    (0, b"MM\0*", "a TIFF picture"),
    (4, b"ftyp", "a video or HEIC picture"),
    (0, b"7z\xBC\xAF\x27\x1C", "a 7z archive"),
    (0, b"Rar!", "a RAR archive"),
    (0, b"BZh", "bzip2 data"),
    (0, b"\xFD7zXZ\0", "xz data"),
    (0, b"\x28\xB5\x2F\xFD", "zstd data"),
    (257, b"ustar", "a tar archive"),
    (0, b"SQLite format 3\0", "an SQLite database"),
    (0, b"PAR1", "a Parquet table"),
    (0, b"\x7FELF", "a program"),
    (0, b"MZ", "a program"),
];

pub(super) fn content_kind(bytes: &[u8]) -> ContentKind {
    match Envelope::of(bytes) {
        Envelope::Gzip => return ContentKind::Gzip,
        Envelope::Zip => return ContentKind::Zip,
        Envelope::Plain => {}
    }
    if fit::is_header(bytes) {
        return ContentKind::Fit;
    }
    let foreign =
        FOREIGN.iter().find(|(offset, magic, _)| bytes.get(*offset..).is_some_and(|b| b.starts_with(magic)));
    match foreign {
        Some((_, _, what)) => ContentKind::Foreign(what),
        None if bytes.iter().all(|b| *b == 0) => ContentKind::Foreign("a run of zero bytes (a damaged copy)"),
        None => ContentKind::Text,
    }
}

/// Tells the format by the local name of an XML document's root element.
pub(super) fn xml_format(root: Option<&str>) -> Option<Format> {
    match root? {
        "gpx" => Some(Format::Gpx),
        "TrainingCenterDatabase" => Some(Format::Tcx),
        _ => None,
    }
}

/// Says what a text that is neither GPX nor TCX looks like. `root` is its root element's local name, if it has one.
pub(super) fn describe_text(text: &str, root: Option<&str>) -> String {
    let start = text.trim_start();
    match root {
        Some(root) if root.eq_ignore_ascii_case("html") => {
            "a web page (often a log-in page saved by mistake)".to_owned()
        }
        Some(root) => {
            format!("an XML document with the root element `{}`", printable_start(root, ROOT_CHARS))
        }
        None if start.is_empty() => "blank text".to_owned(),
        None if start.starts_with(['{', '[']) => "JSON text".to_owned(),
        None if start.starts_with('<') => "an XML document without a root element".to_owned(),
        None if is_binary(text) => "binary data of an unknown kind".to_owned(),
        None => format!("text that starts with `{}`", printable_start(start, START_CHARS)),
    }
}

fn is_binary(text: &str) -> bool {
    let odd = |c: &char| *c == char::REPLACEMENT_CHARACTER || (c.is_control() && !c.is_whitespace());
    let looked_at = || text.chars().take(LOOKED_AT_CHARS);
    looked_at().filter(odd).count() * ODD_ONE_IN > looked_at().count()
}

/// The first line of a text, at most so many characters of it, without control characters.
pub(super) fn printable_start(text: &str, most: usize) -> String {
    let line = text.lines().next().unwrap_or_default();
    line.chars().take(most).map(|c| if c.is_control() { '·' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_bytes_tell() {
        assert_eq!(content_kind(b"\x1F\x8B\x08\x00"), ContentKind::Gzip);
        assert_eq!(content_kind(b"\x0E\x20\x54\x08\x00\x00\x00\x00.FIT"), ContentKind::Fit);
        assert_eq!(content_kind(b"<?xml version='1.0'?>"), ContentKind::Text);
        assert_eq!(content_kind(b"%PDF-1.7"), ContentKind::Foreign("a PDF document"));
        assert_eq!(content_kind(b"\0\0\0\x18ftypheic"), ContentKind::Foreign("a video or HEIC picture"));
        assert_eq!(content_kind(&[0; 64]), ContentKind::Foreign("a run of zero bytes (a damaged copy)"));
    }

    #[test]
    fn texts_are_described() {
        assert_eq!(describe_text("  \n", None), "blank text");
        assert_eq!(describe_text("{\"a\": 1}", None), "JSON text");
        assert_eq!(describe_text("time,lat\n", None), "text that starts with `time,lat`");
        assert_eq!(describe_text("<kml>", Some("kml")), "an XML document with the root element `kml`");
        assert_eq!(describe_text("a\u{1}\u{2}\u{3}\u{4}b", None), "binary data of an unknown kind");
    }
}
