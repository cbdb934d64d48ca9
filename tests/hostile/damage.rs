//! Damage to bytes and texts, drawn at random: what a bad cable, a bad exporter or a bad person does to a file.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// A file grows to no more than this by damage, bytes. Larger ones are made on purpose.
const MOST_BYTES: usize = 2 << 20;

/// Cells, numbers and names that programs stumble over.
const ODD: [&str; 40] = [
    "",
    " ",
    "0",
    "-0",
    "-1",
    "1e308",
    "-1e308",
    "1e-320",
    "1e999",
    "NaN",
    "inf",
    "-inf",
    "18446744073709551616",
    "-9223372036854775808",
    "4294967295",
    "2147483648",
    "65535",
    "0x7f",
    "٣",
    "½",
    "\u{feff}",
    "\u{202e}abc",
    "\u{0}",
    "\u{1b}[2J",
    "=1+1",
    "'",
    "\"",
    "\"\"\"",
    "]]>",
    "&amp;",
    "&#0;",
    "<!--",
    "../../etc/passwd",
    "a/../b",
    "9999-12-31",
    "0001-01-01",
    "2026-02-30",
    "2026-03-02T07:10:00Z",
    "99999:59:59",
    "🏃🏽‍♀️",
];

pub(super) fn pick<'a, T: ?Sized>(random: &mut ChaCha8Rng, of: &[&'a T]) -> &'a T {
    of[random.random_range(0..of.len())]
}

pub(super) fn one_in(random: &mut ChaCha8Rng, of: u32) -> bool {
    random.random_range(0..of) == 0
}

pub(super) fn odd(random: &mut ChaCha8Rng) -> &'static str {
    pick(random, &ODD)
}

/// A stretch of something so long, mostly a short one.
fn stretch(random: &mut ChaCha8Rng, length: usize) -> std::ops::Range<usize> {
    if length == 0 {
        return 0..0;
    }
    let from = random.random_range(0..length);
    let most = if one_in(random, 4) { length - from } else { 64.min(length - from) };
    from..from + random.random_range(0..=most)
}

/// Damages bytes several times; `other` is what they may be spliced with.
pub(super) fn damaged(random: &mut ChaCha8Rng, mut bytes: Vec<u8>, other: &[u8]) -> Vec<u8> {
    for _ in 0..random.random_range(1..=6) {
        once(random, &mut bytes, other);
        bytes.truncate(MOST_BYTES);
    }
    bytes
}

fn once(random: &mut ChaCha8Rng, bytes: &mut Vec<u8>, other: &[u8]) {
    let part = stretch(random, bytes.len());
    match random.random_range(0..12) {
        0 if !bytes.is_empty() => {
            let at = random.random_range(0..bytes.len());
            bytes[at] ^= 1 << random.random_range(0..8);
        }
        1 => bytes[part].fill_with(|| random.random()),
        2 => {
            let fill = *pick(random, &[&0_u8, &0xff, &0x80, &b' ', &b'<', &b'"', &b'9']);
            bytes[part].fill(fill);
        }
        3 => drop(bytes.drain(part)),
        4 => bytes.truncate(part.start),
        5 | 6 => {
            let copy = bytes[part.clone()].to_vec();
            let times = if one_in(random, 8) { MOST_BYTES / copy.len().max(1) } else { 3 };
            let times = random.random_range(0..=times.min(20_000));
            bytes.splice(part.end..part.end, copy.repeat(times));
        }
        7 => {
            let theirs = stretch(random, other.len());
            bytes.splice(part, other[theirs].iter().copied());
        }
        8 => {
            let copy = bytes[part].to_vec();
            let to = random.random_range(0..=bytes.len());
            bytes.splice(to..to, copy);
        }
        _ => odd_token(random, bytes, part.start),
    }
}

/// Puts something odd in the place of the number or word that stands at or behind a place.
fn odd_token(random: &mut ChaCha8Rng, bytes: &mut Vec<u8>, from: usize) {
    let is_of_word = |byte: &u8| byte.is_ascii_alphanumeric() || b".-+_".contains(byte);
    let Some(start) = bytes[from..].iter().position(is_of_word).map(|at| from + at) else { return };
    let end = bytes[start..].iter().position(|byte| !is_of_word(byte)).map_or(bytes.len(), |at| start + at);
    bytes.splice(start..end, odd(random).bytes());
}

/// Puts the lines of a text into disorder: takes out, repeats, swaps.
pub(super) fn disordered(random: &mut ChaCha8Rng, text: &str) -> String {
    let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
    for _ in 0..random.random_range(1..=4) {
        if lines.is_empty() {
            break;
        }
        let (one, two) = (random.random_range(0..lines.len()), random.random_range(0..lines.len()));
        match random.random_range(0..4) {
            0 => drop(lines.remove(one)),
            1 => lines.swap(one, two),
            2 => lines.insert(two, lines[one]),
            _ => {
                let times = if one_in(random, 20) { 20_000 } else { 5 };
                let copies = vec![lines[one]; random.random_range(1..=times)];
                lines.splice(two..two, copies);
            }
        }
    }
    lines.concat()
}
