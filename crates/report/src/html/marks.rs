//! Shapes that stand for outcomes: told apart without hue, always with their word.

use maud::{Markup, html};

use crate::mark::Mark;

/// Draws the shape of a mark, 20 px wide.
pub(super) fn shape(mark: Mark) -> Markup {
    match mark {
        Mark::Kept => html! { rect.mark-kept x="6" y="3" width="8" height="15" {} },
        Mark::Overdone => html! {
            path.mark-over d="M10 1.5 19 18H1Z" {}
            path.mark-cut d="M10 7v6M10 15v1.6" {}
        },
        Mark::Underdone => html! {
            rect.mark-line x="6" y="3" width="8" height="14" {}
            rect.mark-less x="6" y="11" width="8" height="6" {}
        },
        Mark::Undecided => html! {
            rect.mark-dashed x="3" y="2.5" width="14" height="15" {}
            text.mark-text x="10" y="14.5" text-anchor="middle" { "?" }
        },
        Mark::Unplanned => html! { path.mark-cross d="M3.5 3.5 16.5 16.5M16.5 3.5 3.5 16.5" {} },
        Mark::Other => html! { path.mark-other d="M10 4.5v11M4.5 10h11" {} },
        Mark::Walk => html! { rect.mark-walk x="4" y="8" width="12" height="5" {} },
        Mark::NoSession | Mark::NotYet => html! {},
    }
}

/// The shape as a drawing of its own, left out by screen readers: its word stands beside it.
pub(super) fn icon(mark: Mark) -> Markup {
    html! { svg.icon aria-hidden="true" width="20" height="20" viewBox="0 0 20 20" { (shape(mark)) } }
}
