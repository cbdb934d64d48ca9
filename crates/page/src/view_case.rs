//! A case now: what the next session is, the place to drop files, the files that wait, the report of one of them.

use maud::{Markup, html};

use jogaudit_case::NOT_HIDDEN;
use jogaudit_core::audit::Outcome;
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_core::review::{Recommendation, SessionKind, StageSource};
use jogaudit_recording::units::Seconds;
use jogaudit_report::card::CardView;
use jogaudit_report::days;
use jogaudit_report::ends::between;
use jogaudit_report::mark::Mark;
use jogaudit_report::review_text::fact;
use jogaudit_report::review_view::SessionView;
use jogaudit_report::{ReviewView, escaped, isolated};

use super::case_names::CaseName;
use super::found::Found;
use super::layout::{coded, root};
use super::settings::Settings;
use super::visit;
use super::waiting::WaitingFile;

/// The case's first page.
pub(super) fn now(case: &CaseName, found: &Found, waiting: &Markup, settings: &Settings) -> Markup {
    let review = &found.review;
    html! {
        h1 { (isolated(&review.plan)) }
        (ruling(review))
        p.quiet { (isolated(&review.cautions)) }
        @if let Some(next) = &review.card { (next_session(next)) }
        (waiting)
        (drop_box(case, settings.max_file_bytes))
        (last_session(case, review))
        (visit::section(case, found))
        (left_out(review))
        (notices(review))
        (copies(case))
    }
}

/// The case as a file: to keep, to open elsewhere, to send.
fn copies(case: &CaseName) -> Markup {
    let root = root(case);
    html! {
        section {
            h2 { "Take the case along" }
            p { a href={ (root) "/case.zip" } { "Save the whole case as a zip" } ", with every recording as it is" }
            p { a href={ (root) "/shared.zip" } { "Save a copy to send" } ", with recordings that do not tell where they were made" }
            p.quiet { (NOT_HIDDEN) }
        }
    }
}

/// The next session in its words, with what to mind; the clock of its runs and walks stands in the review.
fn next_session(card: &CardView) -> Markup {
    html! {
        section {
            h2 { @if card.instead.is_none() { "The next session" } @else { "What to do now" } }
            @if card.instead.is_none() { p { "Stage “" (isolated(&card.stage)) "”: " strong { (card.session) } } }
            ul { @for sentence in &card.text { li { (isolated(sentence)) } } }
        }
    }
}

/// What is to be done next, and why.
pub(super) fn ruling(review: &ReviewView) -> Markup {
    html! {
        section.ruling {
            h2 { (isolated(&review.ruling.text)) }
            @if let Some(contact) = review.contact_now() { p { strong { "Contact: " (isolated(contact)) } } }
            @if let Some(rule) = review.ruling.rules.first() { p { (isolated(&fact(rule))) } }
            @if let Some(ends) = review.ruling.ends {
                p { (ends) @if review.ruling.ruling == Recommendation::SeeClinician { " " a href="#seen" { "Note a visit" } } }
            }
        }
    }
}

/// The form that takes files.
pub(super) fn drop_box(case: &CaseName, max_file_bytes: usize) -> Markup {
    html! {
        section {
            h2 { "Add recordings" }
            form.drop method="post" action={ (root(case)) "/files" } enctype="multipart/form-data"
                data-most=(max_file_bytes) {
                label for="files" { "Drop this morning’s export here, or choose one or more files" }
                input #files type="file" name="files" multiple;
                button { "Look at them" }
                p.quiet {
                    "FIT, GPX or TCX, plain or zipped, up to " (max_file_bytes >> 20)
                    " MiB each. They stay on this machine, and are not in the case until you save them."
                }
                p.trouble role="alert" hidden {}
            }
        }
    }
}

/// The files that wait, each with what it is taken for.
pub(super) fn waiting_list(
    case: &CaseName,
    waiting: &[std::sync::Arc<WaitingFile>],
    found: Option<&Found>,
) -> Markup {
    let root = root(case);
    html! {
        @if !waiting.is_empty() {
            section {
                h2 { "Not saved yet" }
                ul.files {
                    @for file in waiting {
                        li {
                            a href={ (root) "/waiting/" (file.sha256) } { (isolated(&file.shown)) }
                            " " span.quiet { (isolated(&taken_for(file, found))) }
                        }
                    }
                }
                @if waiting.len() > 1 {
                    form.row method="post" action={ (root) "/keep-all" } {
                        button { "Save all that can be read" }
                        button formaction={ (root) "/put-away-all" } { "Discard all" }
                    }
                }
            }
        }
    }
}

/// What a waiting file is taken for, in a few words.
fn taken_for(file: &WaitingFile, found: Option<&Found>) -> String {
    let Some(view) = found.and_then(|found| found.with_waiting.as_ref()) else { return String::new() };
    let is_it = |name: &String| name == &file.file_name || name.starts_with(&format!("{}#", file.file_name));
    if let Some(session) = view.sessions.iter().find(|session| session.recordings.iter().any(is_it)) {
        let stage = what_it_was(session);
        let outcome =
            session.outcome.map(|outcome| format!(", {}", Mark::from(outcome).word())).unwrap_or_default();
        return format!("{}: {stage}{outcome}", days::short(&session.date));
    }
    if let Some(left) = view.left_out.iter().find(|left| is_it(&left.recording)) {
        return left.text.clone();
    }
    match file.read(&jogaudit_core::pipeline::Config::default()) {
        Err(why) => format!("not readable: {why}"),
        Ok((_, others)) => others.iter().map(|other| other.text.as_str()).collect::<Vec<_>>().join(" "),
    }
}

fn last_session(case: &CaseName, review: &ReviewView) -> Markup {
    let root = root(case);
    html! {
        @if let Some(last) = review.sessions.last() {
            section {
                h2 { "The last session" }
                p {
                    a href={ (root) "/session?recording=" (coded(last.recordings.first().map_or("", String::as_str))) } {
                        (days::long(&last.date))
                    }
                    @if let Some(stage) = &last.stage { ", stage “" (isolated(stage)) "”" }
                    @if let Some(outcome) = last.outcome { ": " (mark(outcome)) }
                    ". "
                    @if last.pain_during.is_none() && last.pain_pattern.is_none() {
                        strong { "The diary does not say whether it hurt. " }
                    } @else if last.pain_next_morning.is_none() {
                        strong { "The diary does not say how the next morning was. " }
                    }
                    a href={ (root) "/diary/" (last.date) } { "The diary of " (days::short(&last.date)) }
                }
            }
        }
    }
}

/// What a session was taken for.
pub(super) fn what_it_was(session: &SessionView) -> String {
    match (&session.stage, session.kind) {
        (Some(stage), _) => format!("stage “{stage}”"),
        (None, SessionKind::Walk) => "a walk".to_owned(),
        (None, SessionKind::UnplannedRun) => "running outside the plan".to_owned(),
        (None, _) => "stage not known".to_owned(),
    }
}

/// An outcome by shape and word.
pub(super) fn mark(outcome: Outcome) -> Markup {
    let shape = match outcome {
        Outcome::Overdone => "▲",
        Outcome::Underdone => "▯",
        Outcome::Undecided => "?",
        Outcome::Kept => "▮",
    };
    html! { span class={ "mark " (outcome.word()) } { span aria-hidden="true" { (shape) " " } (Mark::from(outcome).word()) } }
}

fn left_out(review: &ReviewView) -> Markup {
    html! {
        @if !review.left_out.is_empty() {
            section {
                h2 { "Recordings left out" }
                ul { @for file in &review.left_out { li { (isolated(&file.recording)) ": " (isolated(&file.text)) } } }
            }
        }
    }
}

fn notices(review: &ReviewView) -> Markup {
    html! {
        @if !review.notices.is_empty() {
            section {
                h2 { "Noticed" }
                ul { @for notice in &review.notices { li { (isolated(&notice.text)) } } }
            }
        }
    }
}

/// What is proposed for the stage of a file, and how that is known.
pub(super) struct Proposal {
    /// The stage that the report is held against; `None` when it cannot be told.
    pub(super) stage: Option<String>,
    /// How that is known, in a sentence.
    pub(super) why: String,
    /// Whether somebody chose it just now.
    pub(super) is_chosen: bool,
}

impl Proposal {
    /// Takes what was chosen, else what the review recognised for one of the names.
    pub(super) fn of(view: &ReviewView, is_it: &dyn Fn(&str) -> bool, chosen: Option<&str>) -> Self {
        if let Some(chosen) = chosen.filter(|chosen| !chosen.is_empty()) {
            return Self { stage: Some(chosen.to_owned()), why: String::new(), is_chosen: true };
        }
        let mut left_out = view.left_out.iter();
        let Some(session) = view.sessions.iter().find(|s| s.recordings.iter().any(|name| is_it(name))) else {
            let why = left_out.find(|left| is_it(&left.recording)).map(|left| left.text.clone());
            return Self { stage: None, why: why.unwrap_or_default(), is_chosen: false };
        };
        let percent = |share: f64| format!("{:.0} %", (100.0 * share).floor().min(99.0));
        let why = match (&session.stage, session.stage_from, session.stage_certainty) {
            (Some(stage), Some(StageSource::Given), _) => format!("Stage “{stage}”, as said in stages.csv."),
            (Some(stage), _, Some(sure)) => {
                format!("Taken for stage “{stage}” by what was run and walked ({} sure).", percent(sure))
            }
            (Some(stage), ..) => format!("Taken for stage “{stage}”."),
            (None, ..) if session.stage_candidates.is_empty() => {
                "No session of the plan was recognised in it. Choose a stage if it was one all the same."
                    .to_owned()
            }
            (None, ..) => {
                let named: Vec<String> = session
                    .stage_candidates
                    .iter()
                    .map(|c| format!("“{}” ({})", c.stage, percent(c.certainty)))
                    .collect();
                format!("It may be stage {}. Which was it?", named.join(" or "))
            }
        };
        Self { stage: session.stage.clone(), why, is_chosen: false }
    }
}

/// The stages to choose from.
pub(super) fn stage_choice(plan: &Plan, proposal: &Proposal) -> Markup {
    html! {
        label for="stage" { "Stage" }
        select #stage name="stage" {
            @if !proposal.is_chosen {
                option value="" dir="auto" {
                    @match &proposal.stage { Some(stage) => { "as recognised: " (escaped(stage)) } None => { "not known" } }
                }
            }
            @for stage in &plan.stages {
                option value=(stage.name) dir="auto" selected[proposal.is_chosen && proposal.stage.as_deref() == Some(&stage.name)] {
                    (escaped(&stage.name)) (running(stage))
                }
            }
            option value="-" selected[proposal.is_chosen && proposal.stage.as_deref() == Some("-")] {
                "no session of the plan"
            }
        }
    }
}

/// `: 9 min of running`, by which a stage is known in a line that a telephone has room for.
fn running(stage: &Stage) -> String {
    let run = stage.session.dose().run.filter(|run| run.most.get() > 0.0);
    let minutes = |s: f64| format!("{:.0} min", (s / 60.0).max(1.0));
    run.map(|run| format!(": {} of running", between(run.map(Seconds::get), minutes))).unwrap_or_default()
}

/// The bar above the report of a file that waits.
pub(super) fn waiting_bar(
    case: &CaseName,
    file: &WaitingFile,
    plan: &Plan,
    proposal: &Proposal,
    can_keep: bool,
) -> Markup {
    let here = format!("{}/waiting/{}", root(case), file.sha256);
    html! {
        p { strong { (isolated(&file.shown)) } " is not in the case yet. " (isolated(&proposal.why)) }
        @if can_keep {
            form.row method="get" action=(here) {
                (stage_choice(plan, proposal))
                button { "Compare with this stage" }
            }
        }
        form.row method="post" action={ (here) "/keep" } {
            @if proposal.is_chosen {
                input type="hidden" name="stage" value=(proposal.stage.as_deref().unwrap_or_default());
            }
            @if can_keep { button.main { "Save to case" } }
            button formaction={ (here) "/put-away" } { "Discard" }
        }
    }
}

/// The bar above the report of a recording of the case.
pub(super) fn kept_bar(
    case: &CaseName,
    recording: &str,
    plan: &Plan,
    proposal: &Proposal,
    session: Option<(usize, &SessionView)>,
) -> Markup {
    let root = root(case);
    html! {
        p {
            strong { (isolated(recording)) } " " (isolated(&proposal.why)) " "
            @if let Some((place, session)) = session {
                a href={ (root) "/diary/" (session.date) } { "Write the diary of " (days::short(&session.date)) } " "
                a href={ (root) "/review#session-" (place + 1) } { "Back to the review" }
            }
        }
        form.row method="get" action={ (root) "/session" } {
            input type="hidden" name="recording" value=(recording);
            (stage_choice(plan, proposal))
            button { "Compare with this stage" }
            @if proposal.is_chosen {
                button formmethod="post" formaction={ (root) "/stage" } { "Note this stage in the case" }
            }
        }
        @if let Some(stage) = proposal.stage.as_deref().filter(|stage| *stage != "-") {
            @let file = format!("/report.html?recording={}&stage={}", coded(recording), coded(stage));
            p { a href={ (root) (file) } { "Save this report as a file" } }
        }
    }
}
