//! Check and review → one self-contained HTML file each.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{CheckView, ReviewView, review_text, text};

/// Colours and type, shared with the local page.
pub const THEME: &str = include_str!("theme.css");

/// Lays out a check.
pub fn check(view: &CheckView) -> String {
    document(&view.summary, html! { pre { (text::check(view, true)) } })
}

/// Lays out the review of a case.
pub fn review(view: &ReviewView) -> String {
    document(&view.plan, html! { pre { (review_text::review(view, true)) } })
}

fn document(title: &str, body: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(THEME)) }
            }
            body { main { (body) } }
        }
    }
    .into_string()
}
