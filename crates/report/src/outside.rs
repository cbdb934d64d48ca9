//! Text from outside, such as names of files and titles of plans, where it could steer a terminal or turn a line around.

use std::borrow::Cow;
use std::fmt::Write as _;

use maud::{Markup, html};

/// Shows control and direction characters, and those without any width, as escapes: `\u{202e}`. Line ends, too.
///
/// ```
/// use jogaudit_report::escaped;
/// assert_eq!(escaped("a\u{1b}[2Jb\u{202e}c"), "a\\u{1b}[2Jb\\u{202e}c");
/// assert_eq!(escaped("Åse’s plan"), "Åse’s plan");
/// ```
pub fn escaped(text: &str) -> Cow<'_, str> {
    if !text.contains(is_unseen) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if is_unseen(c) {
            let _ = write!(shown, "\\u{{{:x}}}", u32::from(c));
        } else {
            shown.push(c);
        }
    }
    Cow::Owned(shown)
}

/// The same line by line: line ends stay.
pub fn escaped_lines(text: &str) -> Cow<'_, str> {
    if !text.contains(|c| c != '\n' && is_unseen(c)) {
        return Cow::Borrowed(text);
    }
    Cow::Owned(text.split('\n').map(escaped).collect::<Vec<_>>().join("\n"))
}

/// The same for prose of several lines: a line end becomes a space.
pub fn escaped_prose(text: &str) -> String {
    text.split(['\n', '\r', '\t']).filter(|part| !part.is_empty()).map(escaped).collect::<Vec<_>>().join(" ")
}

/// The text in HTML: what steers is shown, and it is isolated, so that letters that run from right to left turn nothing around
/// it. Every text from outside stands in HTML by this, or, in an attribute, a title or an option, by [`escaped`].
///
/// ```
/// let name = jogaudit_report::isolated("<b>\u{202e}gpx");
/// assert_eq!(name.into_string(), "<bdi>&lt;b&gt;\\u{202e}gpx</bdi>");
/// assert_eq!(jogaudit_report::isolated("").into_string(), "", "what is empty stays empty, for a style to see");
/// ```
pub fn isolated(text: &str) -> Markup {
    html! { @if !text.is_empty() { bdi { (escaped(text)) } } }
}

/// Controls, the directions of Unicode Standard Annex 9, section 2, line and paragraph separators, and characters without
/// width. Joiners of letters (U+200C, U+200D) stay: names and signs need them.
pub fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_is_shown_and_letters_stay() {
        assert_eq!(escaped("\r\n\t\0\u{9b}x"), "\\u{d}\\u{a}\\u{9}\\u{0}\\u{9b}x");
        assert_eq!(escaped_lines("a\u{7}\nb"), "a\\u{7}\nb");
        for plain in ["2026-03-02.fit", "أحمد", "क्‍ष", "👩‍⚕️", "e\u{301}"] {
            assert_eq!(escaped(plain), plain);
        }
        for steering in ["\u{202e}", "\u{2066}", "\u{200f}", "\u{feff}", "\u{e0041}"] {
            assert!(escaped(steering).starts_with("\\u{"), "{steering:?}");
        }
    }
}
