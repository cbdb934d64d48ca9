//! A document as JSON.

/// Writes any view, ending in a newline.
pub(super) fn document(view: &impl serde::Serialize) -> String {
    // Views hold only texts, numbers and lists: nothing that JSON could refuse.
    let mut text = serde_json::to_string_pretty(view).unwrap_or_default();
    text.push('\n');
    text
}
