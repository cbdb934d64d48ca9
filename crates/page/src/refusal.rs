//! What could not be done: what, where, and what to do.

use maud::html;

use jogaudit_case::Failure;
use jogaudit_core::prescription::PlanError;
use jogaudit_report::{capitalised, escaped_lines, isolated};

use super::layout;
use super::plan_faults::fault_list;
use super::response::Response;

/// An error as the page shows it.
#[derive(Clone, Debug)]
pub struct Refusal {
    /// As HTTP numbers it: RFC 9110, section 15.
    pub status: u16,
    /// One clause.
    pub what: String,
    /// One clause: what to do about it.
    pub(super) todo: Option<String>,
    /// Lines that show the place in a text.
    pub(super) detail: String,
    /// The mistakes of a plan, which are shown instead.
    pub(super) plan_error: Option<PlanError>,
}

impl Refusal {
    /// What could not be done, a clause, and what to do, another.
    pub fn new(status: u16, what: &str, todo: &str) -> Self {
        Self {
            status,
            what: what.to_owned(),
            todo: Some(todo.to_owned()),
            detail: String::new(),
            plan_error: None,
        }
    }

    /// There is nothing at an address.
    pub fn not_found(what: &str) -> Self {
        Self::new(404, what, "go back and reload the page: it may have changed meanwhile")
    }

    /// A form came that none of our pages sends.
    pub fn not_our_form() -> Self {
        Self::new(
            422,
            "this is not the form of the page",
            "go back to the page, reload it and use its own form",
        )
    }

    /// The refusal as a page of its own, for somebody who may not see any other.
    pub fn response(&self) -> Response {
        let body = html! {
            h1 { "That did not work" }
            (self.markup())
            p { a href="/" { "To the start" } }
        };
        Response::html(self.status, layout::bare("That did not work", &body))
    }

    /// A task of ours panicked.
    pub fn bug() -> Self {
        let todo = "the fault is ours, not your file's; please report it with what you did and, if you may share it, the \
                    file";
        Self::new(500, "jogaudit has a bug", todo)
    }

    /// The refusal as part of a page.
    pub(super) fn markup(&self) -> maud::Markup {
        html! {
            div.trouble role="alert" {
                p { strong { (isolated(&sentence(&self.what))) } }
                @if let Some(error) = &self.plan_error { (fault_list(error)) } @else if !self.detail.is_empty() { pre tabindex="0" { bdi { (escaped_lines(&self.detail)) } } }
                @if let Some(todo) = &self.todo { p { "What to do: " (isolated(&sentence_lower(todo))) } }
            }
        }
    }
}

impl From<Failure> for Refusal {
    fn from(failure: Failure) -> Self {
        Self {
            status: 422,
            what: failure.in_a_clause(),
            todo: failure.todo().map(str::to_owned),
            detail: failure.detail().to_owned(),
            plan_error: failure.plan_error().cloned(),
        }
    }
}

/// A clause as a sentence.
pub(super) fn sentence(clause: &str) -> String {
    sentence_lower(&capitalised(clause))
}

fn sentence_lower(clause: &str) -> String {
    if clause.ends_with(['.', '?', '!']) { clause.to_owned() } else { format!("{clause}.") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_begins_with_a_capital_and_a_name_keeps_its_letters() {
        assert_eq!(sentence("the plan has 2 mistakes"), "The plan has 2 mistakes.");
        assert_eq!(sentence("`tove` has no plan.toml"), "`tove` has no plan.toml.");
        assert_eq!(sentence("diary.csv was left as it is"), "diary.csv was left as it is.");
    }
}
