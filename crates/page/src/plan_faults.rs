//! The mistakes of a plan, to look at.

use maud::{Markup, html};

use jogaudit_core::prescription::PlanError;
use jogaudit_report::{escaped, isolated};

/// The mistakes of a plan, each with its line, which wraps where the screen is narrow.
pub(super) fn fault_list(error: &PlanError) -> Markup {
    let more = error.count() - error.faults().len();
    html! {
        ul.faults {
            @for fault in error.faults() {
                @let line = fault.excerpt();
                li {
                    p { strong { "Line " (fault.line) ", column " (fault.column) ": " } (isolated(&fault.message)) "." }
                    p {
                        code {
                            bdi {
                                (escaped(&line.before))
                                @if line.at.is_empty() { mark aria-hidden="true" { "▁" } } @else { mark { (escaped(&line.at)) } }
                                (escaped(&line.after))
                            }
                        }
                    }
                    @if let Some(help) = &fault.help { p { (isolated(help)) } }
                }
            }
        }
        @if more > 0 { p { "and " (more) " more" } }
    }
}
