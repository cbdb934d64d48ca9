//! Reports inside the page: the reports' own documents with a bar of ours above them.

use std::path::Path;

use maud::Markup;
use sha2::{Digest, Sha256};

use crate::files::{self, Failure, MAX_UNZIPPED_MIB};
use crate::pipeline::Config;
use crate::prescription::{Plan, Stage};
use crate::report::{ReviewView, html};

/// The report of one recording held against a stage.
pub(super) fn check(
    bytes: &[u8],
    name: &str,
    activity: Option<usize>,
    plan: &Plan,
    stage: &Stage,
) -> Result<String, Failure> {
    let config = Config::default();
    let session = files::session_in(bytes, Path::new(name), activity, MAX_UNZIPPED_MIB, &config)?;
    Ok(html::check(&session.check(plan, stage, &config)))
}

/// The report of a case.
pub(super) fn review(view: &ReviewView) -> String {
    html::review(view)
}

/// Puts the page's style and a bar into a report. Documents of ours have one head and one body.
pub(super) fn with_bar(document: &str, bar: &Markup) -> String {
    document
        .replacen(
            "</head>",
            "<link rel=\"icon\" href=\"data:,\"><link rel=\"stylesheet\" href=\"/bar.css\"></head>",
            1,
        )
        .replacen("<body>", &format!("<body>{}", bar.0), 1)
}

/// The hashes of a document's styles, as a Content-Security-Policy lists them, each after a space.
pub(super) fn style_hashes(document: &str) -> String {
    let head = document.split("</head>").next().unwrap_or_default();
    let styles = head.split("<style>").skip(1).filter_map(|rest| rest.split("</style>").next());
    styles.map(|style| format!(" 'sha256-{}'", base64(&Sha256::digest(style.as_bytes())))).collect()
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for group in bytes.chunks(3) {
        let number = (0..3).fold(0, |n, at| n << 8 | u32::from(group.get(at).copied().unwrap_or(0)));
        for at in 0..4 {
            let letter = LETTERS[(number >> (18 - 6 * at)) as usize & 63];
            text.push(if at > group.len() { '=' } else { char::from(letter) });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_in_its_standard() {
        // RFC 4648, section 10.
        let pairs = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn the_style_is_hashed_as_it_stands() {
        // Content-Security-Policy 3: the hash of the text between the tags. Made by `openssl dgst -sha256 -binary | base64`.
        let hashes = style_hashes("<head><style>p{}</style></head><body><style>x</style>");
        assert_eq!(hashes, " 'sha256-gG2yISYereRMiG2lMXrbiUgi0Ubw9p7QCeWcroOvy9Y='");
    }
}
