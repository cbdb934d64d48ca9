//! What all pages have: head, the way around, messages.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, html};

use jogaudit_report::{escaped, isolated};

use super::case_names::CaseName;
use super::settings::Settings;

/// The page's own style, after the reports' colours and type.
pub(super) const STYLE: &str = include_str!("page.css");
/// Style of the plan's pages.
pub(super) const PLAN_STYLE: &str = include_str!("plan.css");
/// Style of the bar above a report.
pub(super) const BAR_STYLE: &str = include_str!("bar.css");
/// Dropping files, and the plan's remarks as one types. Everything works without it.
pub(super) const SCRIPT: &str = include_str!("page.js");

/// A page's place in the whole.
pub(super) struct PageFrame<'a> {
    pub(super) settings: &'a Settings,
    pub(super) case: Option<&'a CaseName>,
    pub(super) title: &'a str,
    /// What was done before, a word of [`said`].
    pub(super) done: Option<&'a str>,
    /// Whether the browser is to ask again soon.
    pub(super) again: bool,
}

impl PageFrame<'_> {
    /// A page of ours.
    pub(super) fn page(&self, body: &Markup) -> String {
        let main = html! {
            (self.said())
            (body)
        };
        self.document("/page.css", &html! { header { (self.navigation()) } }, &main)
    }

    /// A report under a bar.
    pub(super) fn report(&self, bar: &Markup, report: &Markup) -> String {
        let bar = html! {
            div.bar {
                header { (self.navigation()) }
                section aria-label=(self.title) {
                    (self.said())
                    (bar)
                }
            }
        };
        self.document("/report.css", &bar, report)
    }

    fn document(&self, style: &str, head: &Markup, main: &Markup) -> String {
        let title = match self.case {
            Some(case) => format!("{} – {}", self.title, case.label),
            None => self.title.to_owned(),
        };
        let more = html! {
            @if self.again { meta http-equiv="refresh" content="1"; }
            script src="/page.js" defer {}
        };
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                (self::head(&title, style, &more))
                body {
                    a.skip href="#main" { "To the content" }
                    (head)
                    main #main { (main) }
                }
            }
        };
        page.into_string()
    }

    /// What was done before.
    fn said(&self) -> Markup {
        html! { @if let Some(text) = self.done.and_then(said) { p.said role="status" { (text) } } }
    }

    /// Links to the other pages.
    fn navigation(&self) -> Markup {
        let here = |title: &str| (self.title == title).then_some("page");
        html! {
            nav aria-label="Pages" {
                @if self.settings.is_caseload { a href="/" aria-current=[here(self.settings.all_title())] { "All cases" } }
                @if let Some(case) = self.case {
                    @let root = root(case);
                    @if self.settings.is_caseload { strong { (isolated(&case.label)) } }
                    a href={ (root) "/" } aria-current=[here("Now")] { "Now" }
                    a href={ (root) "/diary" } aria-current=[here("Sessions and diary")] { "Diary" }
                    a href={ (root) "/review" } aria-current=[here("Review")] { "Review" }
                    a href={ (root) "/plan" } aria-current=[here("Plan")] { "Plan" }
                }
            }
            @if self.settings.made_up {
                p.made-up {
                    "This case is made up: no real person. What you change here is thrown away when the page ends. "
                    "Start with " code { "jogaudit page FOLDER" } " for your own."
                }
            }
        }
    }
}

/// The head of a document of ours.
pub(super) fn head(title: &str, style: &str, more: &Markup) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            title { (escaped(title)) }
            link rel="icon" href="data:,";
            link rel="stylesheet" href=(style);
            (more)
        }
    }
}

/// The address of a case, without a slash at its end.
pub(super) fn root(case: &CaseName) -> String {
    format!("/case/{}", coded(&case.key))
}

/// A text as a part of an address: RFC 3986, section 2.3 letters stay.
pub(super) fn coded(text: &str) -> String {
    let mut coded = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            coded.push(char::from(byte));
        } else {
            let _ = write!(coded, "%{byte:02X}");
        }
    }
    coded
}

/// What was done, by the word that stands in the address.
fn said(done: &str) -> Option<&'static str> {
    Some(match done {
        "kept" => "Saved to the case.",
        "duplicate" => "The case has this recording already, byte for byte: nothing was added.",
        "all" => {
            "Everything that could be read is saved to the case. What the case had already was not added again."
        }
        "away" => "Discarded: it is not in the case.",
        "diary" => "Written into the diary.",
        "seen" => "The visit is noted.",
        "diary-same" => "Nothing was changed, so nothing was written.",
        "stage" => "Noted which stage it was.",
        "plan" => "The plan is saved. The one before stands beside it as plan.toml.bak.",
        "plan-alone" => "The plan is saved.",
        "opened" => "The cases are opened.",
        "removed" => "The case is taken off this device.",
        "nothing" => "No file was chosen. Choose one or more recordings first.",
        _ => return None,
    })
}

/// A page of a case that is still being read.
pub(super) fn underway(frame: &PageFrame<'_>, done: usize, total: usize) -> String {
    let body = html! {
        h1 { (isolated(frame.title)) }
        p role="status" { "Reading the recordings: " (done) " of " (total) ". This page will refresh." }
        progress value=(done) max=(total.max(1)) aria-label="Recordings read" {}
        @if let Some(case) = frame.case {
            form.row method="post" action={ (root(case)) "/stop" } { button { "Stop reading" } }
        }
    };
    PageFrame { again: true, ..*frame }.page(&body)
}

/// A page of a case whose reading was stopped.
pub(super) fn stopped(frame: &PageFrame<'_>) -> String {
    let body = html! {
        h1 { (isolated(frame.title)) }
        p role="status" { "The reading of this case was stopped." }
        @if let Some(case) = frame.case {
            form.row method="post" action={ (root(case)) "/read-on" } { button.main { "Read it" } }
        }
    };
    frame.page(&body)
}

/// A page for somebody who may not see any: no way around, nothing loaded.
pub(super) fn bare(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            (head(title, "/page.css", &html! { meta name="color-scheme" content="light dark"; }))
            body { main { (body) } }
        }
    };
    page.into_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_hold_any_name() {
        assert_eq!(coded("april/2026-04-01.fit#2"), "april%2F2026-04-01.fit%232");
        assert_eq!(coded("Åse & co"), "%C3%85se%20%26%20co");
    }
}
