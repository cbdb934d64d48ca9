//! The audit on hand-made bouts: every code, and everything that must not upset the matching.

#![allow(clippy::print_stdout)] // the measured shares are worth seeing

mod ceilings;
mod faults;
mod holes;
mod lengths;
mod properties;
mod ranges;

use super::testing::{Track, segmentation, stage, stage_of};
use super::*;
use crate::gait::Bout;
use crate::prescription::Session;
use jogaudit_recording::notice::{Noted, NoticeCode};

/// Six runs of a minute with walks of two, five minutes of walking before and after.
const SIX: &str = "w300 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 w300";

fn run_audit(segmentation: &Segmentation, series: &Series, stage: &Stage, runner: &Runner) -> Noted<Audit> {
    let (session, limits, tolerance) = (&stage.session, &stage.limits, &Tolerance::default());
    let prescription = Prescription { session, limits, runner, tolerance };
    Matched::new(segmentation, series, prescription, &AuditConfig::default()).audit()
}

/// Audits bouts against a session, both as text, on a recording with usual speeds.
fn audit_text(done: &str, prescribed: &str) -> Noted<Audit> {
    audit_changed(done, prescribed, |_| {})
}

/// The same after a change of the bouts.
fn audit_changed(done: &str, prescribed: &str, change: impl FnOnce(&mut [Bout])) -> Noted<Audit> {
    let mut bouts = segmentation(done).bouts().to_vec();
    change(&mut bouts);
    let segmentation = Segmentation::new(bouts).unwrap();
    let series = Track::of(&segmentation).build();
    run_audit(&segmentation, &series, &stage(prescribed), &Runner::default())
}

/// Audits bouts against a session in the session language.
fn audit_words(done: &str, session: &str) -> Noted<Audit> {
    let segmentation = segmentation(done);
    let series = Track::of(&segmentation).build();
    let stage = stage_of(Session::parse(session).unwrap());
    run_audit(&segmentation, &series, &stage, &Runner::default())
}

fn outcome(done: &str, session: &str) -> (Outcome, Vec<Code>) {
    let audit = audit_words(done, session).value;
    (audit.outcome, codes(&audit))
}

fn codes(audit: &Audit) -> Vec<Code> {
    audit.findings.iter().map(|f| f.code).collect()
}

fn overdoing(audit: &Audit) -> Vec<Code> {
    codes(audit).into_iter().filter(|c| c.is_overdoing()).collect()
}

fn has_notice<T>(noted: &Noted<T>, code: NoticeCode) -> bool {
    noted.notices.iter().any(|n| n.code == code)
}

fn only(audit: &Audit) -> &Finding {
    assert_eq!(audit.findings.len(), 1, "{:#?}", audit.findings);
    &audit.findings[0]
}
