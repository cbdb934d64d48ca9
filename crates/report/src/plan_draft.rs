//! A drafted plan → its TOML file, which explains itself in comments.

use std::fmt::Write as _;

use jogaudit_core::prescription::draft::{DraftRequest, DraftedPlan};
use jogaudit_core::prescription::lint::{Increments, LONG_ABSENCE_WEEKS};
use jogaudit_core::prescription::weekday_word;

use super::wording::clock;

/// Columns of the comments.
const WIDTH: usize = 98;

/// Writes the plan file of a draft; it reads back as the draft's plan.
pub fn toml(draft: &DraftedPlan, request: &DraftRequest) -> String {
    let mut out = String::new();
    for paragraph in explained(draft, request) {
        comment(&mut out, &paragraph);
    }
    let _ = writeln!(out, "\ntitle = {}", quoted(&request.title));
    if let Some(note) = &draft.plan.note {
        let _ = writeln!(out, "note = {}", quoted(note));
    }
    if let Some(start) = request.start {
        let _ = writeln!(out, "start = {start}");
    }
    if !request.weekdays.is_empty() {
        let days: Vec<String> = request.weekdays.iter().map(|day| quoted(weekday_word(*day))).collect();
        let _ = writeln!(out, "weekdays = [{}]", days.join(", "));
    }
    let _ = writeln!(out, "\n[limits]");
    if let Some(ceiling) = request.session_ceiling_s {
        let _ = writeln!(out, "session_ceiling = \"{}\"", clock(f64::from(ceiling)));
    }
    let _ = writeln!(out, "sessions_per_week = {}", request.sessions_per_week);
    let _ = writeln!(out, "rest_days_between = {}", request.rest_days);
    if let Some(share) = request.weekly_increase {
        let _ = writeln!(out, "weekly_running_increase = \"{} %\"", percent(share));
    }
    for (stage, doses) in draft.plan.stages.iter().zip(&draft.stages) {
        let _ = writeln!(
            out,
            "\n[[stage]]  # {} of running, runs of {}\nname = \"{}\"\nsession = \"{}\"",
            clock(f64::from(doses.total_s)),
            clock(f64::from(doses.run_s)),
            stage.name,
            stage.session
        );
        let _ = writeln!(out, "sessions = {}", request.sessions);
    }
    out
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let escaped: String = text
        .chars()
        .map(|c| match c {
            '"' => "\\\"".to_owned(),
            '\\' => "\\\\".to_owned(),
            c => c.to_string(),
        })
        .collect();
    format!("\"{escaped}\"")
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

/// Writes a paragraph of comment, broken at spaces.
fn comment(out: &mut String, text: &str) {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent("# ")
        .subsequent_indent("# ")
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    let _ = writeln!(out, "{}", textwrap::fill(text, options));
}
