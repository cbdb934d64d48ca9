//! Check, review and the hand-out of a plan → one self-contained HTML file each: no script, nothing from outside, prints as it stands.

mod chart;
mod check;
mod figure;
mod handout;
mod marks;
mod outing;
mod over_weeks;
mod review;
mod strip;
mod table;
mod weeks;

use std::fmt::Display;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::outside::{escaped, isolated};
use super::review_view::SessionView;
use super::view::NoticeView;
use super::{Charts, CheckView, HandoutView, ReviewView};

/// Colours and type, shared with the local page.
pub const THEME: &str = include_str!("theme.css");
/// What the reports' figures and tables look like, on top of [`THEME`].
pub const REPORT: &str = include_str!("report.css");

/// Lays out a check; `charts` are its curves, if it was scored.
pub fn check(view: &CheckView, charts: Option<&Charts>) -> String {
    document(&escaped(&format!("{} – {}", view.summary, view.plan)), &check_body(view, charts))
}

/// Lays out the review of a case.
pub fn review(view: &ReviewView) -> String {
    document(&escaped(&format!("{} – {}", view.ruling.text, view.plan)), &review_body(view, &|_| None))
}

/// Lays out a plan for the patient, to print on A4 or Letter; `is_large` in large print.
pub fn handout(view: &HandoutView, is_large: bool) -> String {
    styled(&escaped(&view.title), &handout::body(view, is_large), handout::STYLE)
}

/// Lays out a check to stand in another page; that page has to hold [`THEME`] and [`REPORT`].
pub fn check_body(view: &CheckView, charts: Option<&Charts>) -> Markup {
    check::body(view, charts)
}

/// Lays out a review to stand in another page; that page has to hold [`THEME`] and [`REPORT`]. `address` says where the report of a
/// recording is, by the recording's name, if there is one to lead to.
pub fn review_body(view: &ReviewView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
    review::body(view, address)
}

/// Lays out what was recorded where no stage was recognised, to stand in another page, as above.
pub fn outing_body(session: &SessionView) -> Markup {
    outing::body(session)
}

fn document(title: &str, body: &Markup) -> String {
    styled(title, body, "")
}

/// A document with looks of its own besides those of the reports.
fn styled(title: &str, body: &Markup, style: &str) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (title) }
                style { (PreEscaped(THEME)) (PreEscaped(REPORT)) (PreEscaped(style)) }
            }
            body {
                a.skip href="#report" { "Skip to the report" }
                main #report { (body) }
            }
        }
    }
    .into_string()
}

fn notices(notices: &[NoticeView]) -> Markup {
    html! {
        @if !notices.is_empty() {
            section aria-labelledby="notices" {
                h2 #notices { "Notices" }
                ul { @for notice in notices { li { (isolated(&notice.text)) } } }
                (codes(notices.iter().map(|notice| notice.code)))
            }
        }
    }
}

/// The codes of what is told above, each once, folded away: they are for programs and for looking things up.
fn codes<C: Display + PartialEq>(all: impl Iterator<Item = C>) -> Markup {
    let mut each: Vec<C> = Vec::new();
    for code in all {
        if !each.contains(&code) {
            each.push(code);
        }
    }
    html! {
        details {
            summary { "Codes" }
            p { @for (index, code) in each.iter().enumerate() { @if index > 0 { ", " } code { (code) } } }
        }
    }
}
