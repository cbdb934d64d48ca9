//! What was recorded where no stage of the plan was recognised: its picture, its figures, its bouts.

use maud::{Markup, html};

use jogaudit_core::review::SessionKind;

use super::check::bout_table;
use super::figure::patterns;
use super::marks::icon;
use super::strip;
use crate::days;
use crate::mark::Mark;
use crate::review_view::SessionView;
use crate::text::shown;
use crate::view::bouts_left_out;
use crate::wording::clock;

/// Lays an outing out without the page around it.
pub(super) fn body(session: &SessionView) -> Markup {
    let (mark, heading) = match session.kind {
        SessionKind::Walk => (Mark::Walk, "A walk"),
        SessionKind::UnplannedRun => (Mark::Unplanned, "Running outside the plan"),
        SessionKind::Session => (Mark::Undecided, "The stage is not known"),
    };
    html! {
        (patterns())
        header.outcome { (icon(mark)) h1 { (heading) } }
        dl.facts {
            dt { "Day" } dd { (days::long(&session.date)) }
            dt { "Running" } dd { (shown(session.run_s.achieved, clock)) ", the longest run " (clock(session.longest_run_s)) }
            dt { "Walking" } dd { (clock(session.walk_s)) }
            @if let Some(pace) = &session.mean_pace { dt { "Pace of the running" } dd { (pace) } }
        }
        section aria-labelledby="strip" {
            h2 #strip { "Done" }
            (strip::outing_key(&session.bouts))
            (strip::outing(&session.bouts))
        }
        section aria-labelledby="bouts" {
            h2 #bouts { "Bouts as recorded" }
            @if let Some(said) = bouts_left_out(session.bouts.len()) { p { (said) } }
            (bout_table("bouts", &session.bouts))
        }
        (super::notices(&session.notices))
    }
}
