//! The JSON documents; their schemas stand in `docs/schema/`.

use super::document::document;
use super::review_view::ReviewView;
use super::view::{BoutsView, CheckView};

/// Writes the document `jogaudit.bouts/1`, ending in a newline.
pub fn bouts(view: &BoutsView) -> String {
    document(view)
}

/// Writes the document `jogaudit.check/1`, ending in a newline.
pub fn check(view: &CheckView) -> String {
    document(view)
}

/// Writes the document `jogaudit.review/1`, ending in a newline.
pub fn review(view: &ReviewView) -> String {
    document(view)
}
