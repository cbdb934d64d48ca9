//! Places inside the strings of a TOML text.

use std::ops::Range;

/// Gives the bytes of `text` from which `part` of the value of a TOML string comes. `literal` is where the string
/// stands in `text`, quotes included; `value` is what it means. When the two do not fit, the whole literal.
pub(super) fn part_of_string(
    text: &str,
    literal: Range<usize>,
    value: &str,
    part: Range<usize>,
) -> Range<usize> {
    match text.get(literal.clone()).and_then(|raw| offsets(raw, value)) {
        Some(map) if part.end < map.len() => literal.start + map[part.start]..literal.start + map[part.end],
        _ => literal,
    }
}

/// For each byte of `value`, and for its end, the byte of `raw` where its character starts.
fn offsets(raw: &str, value: &str) -> Option<Vec<usize>> {
    let (quotes, is_basic) = match raw {
        _ if raw.starts_with("\"\"\"") => (3, true),
        _ if raw.starts_with("'''") => (3, false),
        _ if raw.starts_with('"') => (1, true),
        _ => (1, false),
    };
    let mut at = quotes;
    let end = raw.len().checked_sub(quotes)?;
    if quotes == 3 {
        let body = raw.get(at..end)?;
        at += if body.starts_with("\r\n") { 2 } else { usize::from(body.starts_with('\n')) };
    }
    let mut map = Vec::with_capacity(value.len() + 1);
    for wanted in value.chars() {
        let mut rest = raw.get(at..end)?;
        if is_basic {
            // A backslash at the end of a line takes the space after it away.
            while let Some(next_line) = rest.strip_prefix('\\').filter(|joined| ends_line(joined)) {
                at = end - next_line.trim_start().len();
                rest = &raw[at..end];
            }
        }
        let first = rest.chars().next()?;
        let length = if is_basic && first == '\\' { escape_length(rest)? } else { first.len_utf8() };
        if first != '\\' && first != wanted {
            // A line end may be taken as one character whatever it is in the file.
            let line_end = rest.starts_with("\r\n") && wanted == '\n';
            if !line_end {
                return None;
            }
            at += 1;
        }
        map.extend(std::iter::repeat_n(at, wanted.len_utf8()));
        at += length;
    }
    map.push(at);
    Some(map)
}

fn ends_line(text: &str) -> bool {
    text.trim_start_matches([' ', '\t']).starts_with(['\n', '\r'])
}

/// Bytes of the escape that `rest` starts with.
fn escape_length(rest: &str) -> Option<usize> {
    Some(match rest.as_bytes().get(1)? {
        b'x' => 4,
        b'u' => 6,
        b'U' => 10,
        _ => 2,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `!` of the value of `literal` comes from, by toml's own reading of the literal.
    fn found(literal: &str) -> (usize, &str) {
        let text = format!("key = {literal}");
        let start = 6;
        let table = toml::de::DeTable::parse(&text).unwrap();
        let value = table.get_ref().get("key").unwrap();
        assert_eq!(value.span(), start..text.len());
        let value = value.get_ref().as_str().unwrap();
        let at = value.find('!').unwrap();
        let span = part_of_string(&text, start..text.len(), value, at..at + 1);
        (span.start - start, &literal[span.start - start..span.end - start])
    }

    #[test]
    fn plain_and_escaped_strings() {
        assert_eq!(found(r#""ab!c""#), (3, "!"));
        assert_eq!(found(r"'a\b!c'"), (4, "!"));
        assert_eq!(found(r#""é\t\"\u00e9!""#), (13, "!"));
        assert_eq!(found(r#""a\u0021b""#), (2, r"\u0021"));
    }

    #[test]
    fn strings_of_several_lines() {
        assert_eq!(found("\"\"\"\nab!c\"\"\""), (6, "!"));
        assert_eq!(found("'''a\nb!'''"), (6, "!"));
        assert_eq!(found("\"\"\"a \\\n   b!\"\"\""), (11, "!"));
        assert_eq!(found("\"\"\"a\r\nb!\"\"\""), (7, "!"));
    }

    #[test]
    fn what_does_not_fit_gives_the_whole_literal() {
        assert_eq!(part_of_string("k = \"ab\"", 4..8, "xy", 1..2), 4..8);
        assert_eq!(part_of_string("k = \"ab\"", 4..8, "ab", 1..9), 4..8);
    }
}
