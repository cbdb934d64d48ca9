//! The plan: its text to change, with the linter's remarks; the plan to read.

use maud::{Markup, html};

use jogaudit_core::prescription::Plan;
use jogaudit_core::prescription::lint::{LintConfig, lint};
use jogaudit_report::card::CardView;
use jogaudit_report::plan_lint::{self, LintView};
use jogaudit_report::{how_many, isolated};

use super::case_names::CaseName;
use super::layout::root;
use super::plan_faults::fault_list;
use super::refusal::Refusal;

/// What a plan starts from; it is no plan until a session is written.
pub(super) const TEMPLATE: &str = "\
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

/// The page with the text, and what there is to say about it.
pub(super) fn page(
    case: &CaseName,
    text: &str,
    of: &str,
    remarks: &Markup,
    trouble: Option<&Refusal>,
) -> Markup {
    let root = root(case);
    html! {
        h1 { "Plan" }
        (whose())
        @if let Some(trouble) = trouble { (trouble.markup()) }
        form #plan .plan method="post" action={ (root) "/plan/text" } data-lint={ (root) "/plan/lint" } {
            div.row {
                button name="action" value="look" { "Look it over" }
                button.main name="action" value="save" { "Save" }
                button name="action" value="form" { "As a form" }
            }
            label for="text" { "plan.toml" }
            // A browser takes the first line end away.
            textarea #text name="text" rows="24" spellcheck="false" autocapitalize="off" autocomplete="off" { "\n" (text) }
            input type="hidden" name="of" value=(of);
        }
        section #remarks aria-live="polite" aria-label="Remarks on the plan" { (remarks) }
    }
}

/// Whose the plan is, and what a change of it means.
pub(super) fn whose() -> Markup {
    html! {
        p {
            "The prescription is the prescriber’s. Change it only in agreement with whoever wrote it. The review judges every "
            "session, also past ones, by the plan as it now is."
        }
    }
}

/// What the linter says of a text: its mistakes, or remarks.
pub(super) fn remarks(text: &str) -> Markup {
    match Plan::parse(text) {
        Err(error) => html! {
            h2 { "Not a plan yet" }
            (fault_list(&error))
        },
        Ok(noted) => {
            let view = LintView::new(&noted.value, &lint(&noted.value, LintConfig::default()));
            html! {
                h2 { "Remarks" }
                @if !noted.notices.is_empty() { ul { @for notice in &noted.notices { li { (isolated(&notice.text)) } } } }
                p { (count_of_remarks(view.remarks.len())) }
                @for one in &view.remarks { (remark(&one.text, &one.proposal, one.basis)) }
                p.quiet { (plan_lint::NOTE) }
            }
        }
    }
}

pub(super) fn count_of_remarks(count: usize) -> String {
    match count {
        0 => "Nothing to remark.".to_owned(),
        1 => "One thing to think about.".to_owned(),
        n => format!("{n} things to think about."),
    }
}

pub(super) fn remark(text: &str, proposal: &str, basis: &str) -> Markup {
    html! {
        div.remark {
            p { (isolated(text)) }
            p { strong { "Try: " } (isolated(proposal)) }
            p.quiet { "Where the limit comes from: " (basis) "." }
        }
    }
}

/// The plan for those who follow it: nothing in it can be changed.
pub(super) fn to_read(plan: &Plan) -> Markup {
    html! {
        h1 { (isolated(&plan.title)) }
        p { "This is what was prescribed. If something in it does not fit, tell whoever wrote it." }
        @if let Some(note) = &plan.note { p { strong { (isolated(note)) } } }
        @if let Some(contact) = &plan.contact { p { "Contact: " (isolated(contact)) } }
        @for stage in &plan.stages {
            section.stage {
                h2 { "Stage “" (isolated(&stage.name)) "”" }
                p { (stage.session) }
                @if let Some(note) = &stage.note { p { (isolated(note)) } }
                ul { @for order in CardView::new(plan, stage, None).orders() { li { (isolated(&order)) } } }
                @if let Some(contact) = stage.contact.as_ref().filter(|contact| plan.contact.as_ref() != Some(contact)) {
                    p { "Contact: " (isolated(contact)) }
                }
                @if let Some(week) = stage.a_week() { p.quiet { "Sessions a week: " (week) } }
                @if let Some(needed) = how_many(stage) { p.quiet { "Before moving on: " (needed) } }
            }
        }
    }
}
