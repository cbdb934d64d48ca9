//! What every page must fulfil: each link within it has its target, nothing is fetched, nothing runs.

use std::collections::BTreeSet;

/// Values of an attribute in order.
pub(crate) fn values<'p>(page: &'p str, attribute: &str) -> Vec<&'p str> {
    page.split(&format!(" {attribute}=\"")).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// Every link within the page has a target, no target stands twice, and labels that are named exist.
pub(crate) fn assert_anchors(page: &str) {
    let ids = values(page, "id");
    let targets: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), targets.len(), "an id stands twice: {ids:?}");
    let links = values(page, "href").into_iter().map(|link| link.strip_prefix('#').expect("a link within"));
    for name in links.chain(values(page, "aria-labelledby")) {
        assert!(targets.contains(name), "no target `{name}` among {targets:?}");
    }
}

/// Nothing is fetched, nothing runs.
pub(crate) fn assert_self_contained(page: &str) {
    for word in [
        "<script",
        "http://",
        "https://",
        "@import",
        " src=",
        "<link",
        "<iframe",
        " onload",
        "javascript:",
        " style=",
    ] {
        assert!(!page.contains(word), "{word}");
    }
    assert_eq!(page.matches("url(").count(), page.matches("url(#").count());
}
