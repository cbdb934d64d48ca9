//! How cases are called: by their folders' entries, told apart on the screen also where two would look alike.

use std::collections::{BTreeMap, BTreeSet};

use jogaudit_report::{escaped, is_unseen};
use unicode_security::confusable_detection::skeleton;

/// What a case is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseName {
    /// In the address; no other case has it.
    pub key: String,
    /// On the screen; no other case looks like it.
    pub label: String,
}

/// Names cases after the entries of their folder, which stand in order.
pub fn names(entries: &[String]) -> Vec<CaseName> {
    let texts = entries.to_vec();
    let mut alike: BTreeMap<String, usize> = BTreeMap::new();
    for text in &texts {
        *alike.entry(look(text)).or_default() += 1;
    }
    let (mut taken, mut numbers) = (BTreeSet::new(), BTreeMap::new());
    let mut named = Vec::with_capacity(texts.len());
    for text in texts {
        // Two entries that are no text may come out as the same text.
        let mut keys = (1..).map(|n| if n == 1 { text.clone() } else { format!("{text}~{n}") });
        let key = keys.find(|key| !taken.contains(key)).unwrap_or_default();
        taken.insert(key.clone());
        let look = look(&text);
        let of = alike.get(&look).copied().unwrap_or(1);
        let number = numbers.entry(look).and_modify(|n| *n += 1).or_insert(1_usize);
        let shown = escaped(&text);
        let label = if of == 1 {
            shown.into_owned()
        } else {
            format!("{shown} ({number} of {of} folders that look alike)")
        };
        named.push(CaseName { key, label });
    }
    named
}

/// What looks alike has the same look: Unicode Technical Standard 39, section 4, capitals and unseen characters left out.
fn look(name: &str) -> String {
    let seen: String =
        name.chars().filter(|c| !is_unseen(*c) && !matches!(c, '\u{200c}' | '\u{200d}')).collect();
    let lower = seen.to_lowercase();
    skeleton(&lower).filter(|c| !c.is_whitespace()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(entries: &[&str]) -> Vec<String> {
        let entries: Vec<String> = entries.iter().map(|entry| (*entry).to_owned()).collect();
        names(&entries).into_iter().map(|name| name.label).collect()
    }

    #[test]
    fn names_that_differ_stay_as_they_are() {
        assert_eq!(labels(&["Anna", "Arne", "Åse", "Ødegård 2"]), ["Anna", "Arne", "Åse", "Ødegård 2"]);
    }

    #[test]
    fn names_that_look_alike_are_told_apart() {
        // Latin and Cyrillic a; composed and decomposed é; capitals; a space at the end; no width; l and 1.
        for pair in [
            ["Anna", "Ann\u{430}"],
            ["Ren\u{e9}", "Rene\u{301}"],
            ["anna", "Anna"],
            ["Anna", "Anna "],
            ["Anna", "An\u{200b}na"],
            ["Pat 1", "Pat l"],
        ] {
            let labels = labels(&pair);
            assert!(labels[0].ends_with("(1 of 2 folders that look alike)"), "{labels:?}");
            assert!(labels[1].ends_with("(2 of 2 folders that look alike)"), "{labels:?}");
        }
        assert_eq!(labels(&["A\u{202e}b"]), ["A\\u{202e}b"]);
    }

    #[test]
    fn names_that_came_out_as_the_same_text_have_addresses_of_their_own() {
        let named = names(&["A\u{fffd}".to_owned(), "A\u{fffd}".to_owned()]);
        assert_ne!(named[0].key, named[1].key);
        assert_ne!(named[0].label, named[1].label);
    }
}
