//! The plan: its text to change, with the linter's remarks.

use maud::{Markup, html};

use jogaudit_core::prescription::Plan;
use jogaudit_core::prescription::lint::{LintConfig, lint};
use jogaudit_files::Failure;
use jogaudit_report::plan_lint::{self, LintView};
use jogaudit_report::{escaped_lines, isolated};

use super::cached_case::CachedCase;
use super::layout::root;
use super::refusal::Refusal;

/// What a plan starts from; it is no plan until a session is written.
pub(super) const TEMPLATE: &str = "\
title = \"\"
timezone = \"Europe/London\"

[limits]
# pace_ceiling = \"6:45 /km\"
# heart_rate_ceiling = \"150 bpm\"
# sessions_per_week = 3
# rest_days_between = 1
# pain_limit = 0

[[stage]]
name = \"1\"
session = \"\"    # such as: walk 4:40, 6 x (run 0:50, walk 1:40), walk 4:40
sessions = 3
";

/// The page: the text, and what there is to say about it.
pub(super) fn page(
    cached: &CachedCase,
    text: &str,
    of: &str,
    remarks: &Markup,
    trouble: Option<&Refusal>,
) -> Markup {
    let root = root(cached);
    html! {
        h1 { "Plan" }
        p {
            "The prescription is the prescriber’s. Change it only in agreement with whoever wrote it. The review judges every "
            "session, also past ones, by the plan as it now is."
        }
        @if let Some(trouble) = trouble { (trouble.markup()) }
        form #plan method="post" action={ (root) "/plan" } data-lint={ (root) "/plan/lint" } {
            label for="text" { "plan.toml" }
            // A browser takes the first line end away.
            textarea #text name="text" rows="24" spellcheck="false" autocapitalize="off" autocomplete="off" { "\n" (text) }
            input type="hidden" name="of" value=(of);
            div.row {
                button name="action" value="look" { "Look it over" }
                button.main name="action" value="save" { "Save" }
            }
        }
        section #remarks aria-live="polite" aria-label="Remarks on the plan" { (remarks) }
    }
}

/// What the linter says of a text: its mistakes, or remarks.
pub(super) fn remarks(text: &str) -> Markup {
    match Plan::parse(text) {
        Err(error) => {
            let failure = Failure::plan(std::path::Path::new("plan.toml"), &error);
            html! {
                h2 { "Not a plan yet" }
                pre tabindex="0" { bdi { (escaped_lines(failure.detail())) } }
            }
        }
        Ok(noted) => {
            let view = LintView::new(&noted.value, &lint(&noted.value, LintConfig::default()));
            html! {
                h2 { "Remarks" }
                @if !noted.notices.is_empty() { ul { @for notice in &noted.notices { li { (isolated(&notice.text)) } } } }
                p {
                    @match view.remarks.len() {
                        0 => "Nothing to remark.",
                        1 => "One thing to think about.",
                        n => { (n) " things to think about." }
                    }
                }
                @for remark in &view.remarks {
                    div.remark {
                        p { (isolated(&remark.text)) }
                        p { strong { "Try: " } (isolated(&remark.proposal)) }
                        p.quiet { "Where the limit comes from: " (remark.basis) "." }
                    }
                }
                p.quiet { (plan_lint::NOTE) }
            }
        }
    }
}
