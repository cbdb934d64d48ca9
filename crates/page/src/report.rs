//! Reports inside the page, and as documents to send: the same ones that the command line writes.

use std::path::Path;

use maud::Markup;

use jogaudit_case::{Failure, input_in};
use jogaudit_core::audit::Prescription;
use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_report::review_view::SessionView;
use jogaudit_report::{CheckReport, ReviewView, html};

/// One recording held against a stage, with what the case's others tell of the runner.
pub(super) fn check(
    bytes: &[u8],
    name: &str,
    activity: Option<usize>,
    plan: &Plan,
    stage: &Stage,
    runner: &[RunnerEvidence],
) -> Result<CheckReport, Failure> {
    let config = Config::default();
    let input = input_in(bytes, Path::new(name), activity, &config)?;
    let prescription = Prescription::of(plan, stage);
    let activity = input.activity.with_others(runner, prescription, &config);
    let checked = activity.check(prescription, &config, true);
    Ok(CheckReport::new(&activity, &input.sha256, plan, stage, &checked))
}

/// The report of a check to stand in a page.
pub(super) fn check_body(report: &CheckReport) -> Markup {
    html::check_body(&report.view, report.charts.as_ref())
}

/// The report of a check as a document of its own.
pub(super) fn check_document(report: &CheckReport) -> String {
    html::check(&report.view, report.charts.as_ref())
}

/// The report of a case to stand in a page.
/// `address` says where the report of a recording is.
pub(super) fn review_body(view: &ReviewView, address: &dyn Fn(&str) -> Option<String>) -> Markup {
    html::review_body(view, address)
}

/// What was recorded where no stage was recognised, to stand in a page.
pub(super) fn outing_body(session: &SessionView) -> Option<Markup> {
    (!session.bouts.is_empty()).then(|| html::outing_body(session))
}

/// The report of a case as a document of its own.
pub(super) fn review_document(view: &ReviewView) -> String {
    html::review(view)
}
