//! A drafted plan → its TOML file, which explains itself in comments.

use std::fmt::Write as _;

use jogaudit_core::prescription::draft::{DraftRequest, DraftStage, DraftedPlan};
use jogaudit_core::prescription::lint::{Increments, LONG_ABSENCE_WEEKS};

use super::wording::clock;

/// Columns of the comments.
const WIDTH: usize = 98;

/// Writes the plan file of a draft; it reads back as the draft's plan.
pub fn toml(draft: &DraftedPlan, request: &DraftRequest) -> String {
    let mut out = String::new();
    for paragraph in explained(draft, request) {
        comment(&mut out, &paragraph);
    }
    out.push('\n');
    out.push_str(
        &draft.plan.to_toml(|place| draft.stages.get(place).map(|doses| dose(draft, place, *doses))),
    );
    out
}

/// `9:00 of running, runs of 1:00`.
fn dose(draft: &DraftedPlan, place: usize, doses: DraftStage) -> String {
    let kinds = draft.plan.stages.get(draft.plan.kinds_at(place)).unwrap_or_default();
    let is_most = kinds.iter().any(|kind| kind.session.dose().run.is_some_and(|run| !run.is_exact()));
    format!(
        "{} of running{}, runs of {}",
        clock(f64::from(doses.total_s)),
        if is_most { " at most" } else { "" },
        clock(f64::from(doses.run_s))
    )
}

/// A fraction in percent without a trail of rounding: 0.07 is `7`.
fn percent(share: f64) -> f64 {
    (share * 1e8).round() / 1e6
}

/// What the draft is, what it keeps, and why it has as many stages as it has.
fn explained(draft: &DraftedPlan, request: &DraftRequest) -> Vec<String> {
    let time = |seconds: u32| clock(f64::from(seconds));
    let Increments { session_share, session_s, longest_share, longest_s, run_to_walk, .. } =
        request.increments;
    let count = draft.stages.len();
    let weeks = if draft.weeks == 1 { "one week".to_owned() } else { format!("{} weeks", draft.weeks) };
    let away = match request.weeks_away {
        Some(weeks) if weeks < LONG_ABSENCE_WEEKS => format!(" --weeks-away {weeks}"),
        _ => String::new(),
    };
    let week = match request.weekly_increase {
        Some(share) => format!("a week's running rises by {} % at most", percent(share)),
        None => "a week's running rises within the linter's limit".to_owned(),
    };
    let grain = if request.goal_run_s > 3600 { "whole minutes" } else { "half minutes" };
    let mut paragraphs = vec![
        "A draft by arithmetic. It knows nothing of the person, the injury or the healing: go through it with a \
         clinician before anyone runs by it, and change what does not fit."
            .to_owned(),
        format!(
            "From runs of {} with walks of {}, {} of running in all, to a run of {} without a walk: {count} stages of \
             {} sessions, {weeks} at {} a week. The walks stay as long as they are; only the running grows.",
            time(request.run_s),
            time(request.walk_s),
            time(draft.stages.first().map_or(0, |stage| stage.total_s)),
            time(request.goal_run_s),
            request.sessions,
            request.sessions_per_week
        ),
        format!(
            "Kept from stage to stage: a session's running rises by {} % or {} at most, whichever is more; the longest \
             run by {} % or {}; run to walk by a factor of {run_to_walk}; {week}.",
            percent(session_share),
            clock(session_s),
            percent(longest_share),
            clock(longest_s)
        ),
        format!(
            "There is no plan of this kind with fewer stages (equal runs, the last perhaps shorter but at least a third \
             as long or 1:00, running times in {grain}, or finer where a limit is); of those with {count}, this has the \
             evenest steps and the roundest lengths."
        ),
    ];
    paragraphs.extend(forms(request));
    if !request.sessions.is_multiple_of(request.sessions_per_week) {
        paragraphs.push(
            "Stages do not end with weeks here. The limit on a week's running is kept from stage to stage instead, \
             which is never looser."
                .to_owned(),
        );
    }
    paragraphs.push(
        "It sets no ceiling for pace, heart rate or effort. The note, shown on every card, stands in their place (common \
         practice, no source): set a ceiling if there is one."
            .to_owned(),
    );
    paragraphs.push(format!("`jogaudit plan check{away}` finds nothing in it; where its limits come from stands in docs/plan-file.md."));
    paragraphs
}

/// What ranges, rising counts and kinds of session change.
fn forms(request: &DraftRequest) -> Vec<String> {
    let mut paragraphs = Vec::new();
    if let Some(least_s) = request.session_least_s {
        paragraphs.push(format!(
            "A session with walks may take {} less than its most. A run without a walk is exact.",
            clock(f64::from(request.session_s.saturating_sub(least_s)))
        ));
    }
    if request.is_rising {
        paragraphs.push(
            "Where it can, a stage begins with the running of the stage before and has one repetition more after each \
             session done as prescribed; of the plans with the fewest stages, this is one in which most can."
                .to_owned(),
        );
    }
    if request.has_kinds {
        paragraphs.push(
            "From the first run without a walk on, one session of a week is that run; the others stay those of the stage \
             before."
                .to_owned(),
        );
    }
    paragraphs
}

/// Writes a paragraph of comment, broken at spaces.
fn comment(out: &mut String, text: &str) {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent("# ")
        .subsequent_indent("# ")
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    let _ = writeln!(out, "{}", textwrap::fill(text, options));
}
