//! The report of a whole return in plain text, 80 columns wide: the ruling first.

use jogaudit_core::audit::Outcome;
use jogaudit_core::review::Recommendation;

use super::card;
use super::ends;
use super::mark::Mark;
use super::outside::escaped_prose;
use super::review_view::{RangeView, ReviewView, RuleView, SessionView, WeekView};
use super::review_wording::{EFFORT_KEY, WEEK_KEY};
use super::text::{HEADING, Page, QUIET, UNKNOWN, shown};
use super::wording::{clock, counted, sentence};

/// Cells of the bar of a week's running.
const BAR: usize = 11;
/// Share beyond the plan's running that the bar does not show.
const NOT_SHOWN: f64 = 0.02;

/// Writes the report of a review. `with_notices`: whether the notices are part of it.
pub fn review(view: &ReviewView, with_notices: bool) -> String {
    let mut page = Page::default();
    page.styled_paragraph(HEADING, &view.ruling.text);
    if let Some(contact) = view.contact_now() {
        page.paragraph("", &format!("Contact: {contact}"));
    }
    if let Some(ends) = view.ruling.ends {
        page.paragraph("", ends);
    }
    if view.ruling.ruling == Recommendation::SeeClinician {
        page.paragraph(
            "",
            "It is noted on the page of this case, or as a line of seen.csv: date,by,stage,note.",
        );
    }
    page.line("");
    page.styled_paragraph(QUIET, &view.cautions);
    page.line("");
    let zone = view.timezone.as_deref().unwrap_or("each recording's own offset, else UTC");
    page.paragraph(
        "",
        &format!("Plan “{}”, reviewed on {}; days are counted in {zone}.", view.plan, view.day),
    );
    for reason in &view.clinician_overrides {
        page.paragraph(
            "",
            &format!("The plan's limits hold by a clinician's word: “{}”.", escaped_prose(reason)),
        );
    }
    reasons(&mut page, view);
    next_session(&mut page, view);
    coming(&mut page, view);
    visits(&mut page, view);
    weeks(&mut page, view);
    stages(&mut page, view);
    findings(&mut page, view);
    sessions(&mut page, view);
    effort(&mut page, view);
    left_out(&mut page, view);
    rules(&mut page, view);
    if with_notices {
        page.notices(&view.notices);
    }
    page.into_text()
}

/// The facts that the ruling rests on, then what holds besides; no orders.
fn reasons(page: &mut Page, view: &ReviewView) {
    let Some((deciding, others)) = view.ruling.rules.split_first() else { return };
    page.heading("Why");
    page.hanging("  > ", "    ", &fact(deciding));
    for rule in others {
        page.hanging("  - ", "    ", &fact(rule));
    }
}

/// The evidence as a sentence.
pub fn fact(rule: &RuleView) -> String {
    sentence(&rule.because, "")
}

/// The rules behind the reasons, for those who want to look them up.
fn rules(page: &mut Page, view: &ReviewView) {
    if view.ruling.rules.is_empty() {
        return;
    }
    page.heading("Rules that apply, in the order of their weight");
    for rule in &view.ruling.rules {
        page.hanging("  ", "    ", &format!("{} {} [{}; {}]", rule.says, asks(rule), rule.rule, rule.source));
    }
}

/// What a rule asks for, as a fact about the rule.
pub(super) fn asks(rule: &RuleView) -> String {
    format!("It asks for: {}.", rule.ruling.word().replace('_', " "))
}

fn visits(page: &mut Page, view: &ReviewView) {
    if view.visits.is_empty() {
        return;
    }
    page.heading("Visits to a health professional");
    for visit in &view.visits {
        page.hanging("  ", "    ", &escaped_prose(&visit.text));
    }
}

/// Which sessions come next and when.
fn coming(page: &mut Page, view: &ReviewView) {
    let Some(coming) = &view.coming else { return };
    page.heading("Coming sessions, if each is done as prescribed");
    for session in &coming.sessions {
        page.hanging("  ", "    ", &session.text);
    }
    for said in &coming.text {
        page.hanging("  ", "  ", said);
    }
}

/// The card of the next session, or of what is to be done instead.
fn next_session(page: &mut Page, view: &ReviewView) {
    let Some(card) = &view.card else { return };
    page.line("");
    // The card is a whole text, with its escapes and styles.
    for line in card::text(card).lines() {
        page.styled_line(line);
    }
}

fn weeks(page: &mut Page, view: &ReviewView) {
    if view.weeks.is_empty() {
        return;
    }
    page.heading("Weeks");
    let of_plan = view.weeks.iter().map(|week| shown(week.run_s.range, ends::times).chars().count());
    let width = of_plan.max().unwrap_or(0).max(8);
    // A range takes the room of the bar.
    let cells = BAR.saturating_sub(width - 8);
    page.line(&format!(
        "  Monday      M T W T F S S  o/all  running {:>width$}  {:cells$}  longest  pain",
        "of plan", ""
    ));
    let most =
        view.weeks.iter().flat_map(|w| [w.run_s.achieved, w.run_s.most()]).flatten().fold(0.0, f64::max);
    for week in &view.weeks {
        match week.empty_before {
            0 => {}
            1 => page.line("  (a week without a recording or an entry)"),
            n => page.line(&format!("  ({n} weeks without a recording or an entry)")),
        }
        let days: Vec<String> = week.days.iter().map(|mark| mark.sign().to_string()).collect();
        let kept =
            if week.sessions > 0 { format!("{}/{}", week.kept, week.sessions) } else { UNKNOWN.to_owned() };
        page.line(&format!(
            "  {}  {}  {kept:>5} {:>8} {:>width$}  {} {:>8} {:>5}",
            week.monday,
            days.join(" "),
            shown(week.run_s.achieved, clock),
            shown(week.run_s.range, ends::times),
            bar(week, most, cells),
            clock(week.longest_run_s),
            shown(week.greatest_pain, |pain| format!("{pain}")),
        ));
        if let Some(told) = week.in_words() {
            page.hanging("              ", "              ", &told);
        }
    }
    if view.weeks.iter().any(|week| week.outcome.is_some()) {
        page.hanging("  ", "  ", WEEK_KEY);
    }
    let has_other = view.weeks.iter().any(|week| !week.other.is_empty());
    let used = Mark::OF_SESSIONS.iter().filter(|mark| **mark != Mark::Other || has_other);
    let marks: Vec<String> = used.map(|mark| format!("{} {}", mark.sign(), mark.word())).collect();
    page.hanging("  ", "  ", &format!("{}, . no session.", marks.join(", ")));
    page.hanging(
        "  ",
        "  ",
        "o/all: sessions as prescribed, of those with running. Bar: █ running, ▒ beyond the plan's, | the plan's for the week. longest: \
         the longest run. pain: the greatest noted, of 10.",
    );
}

/// Running of a week as a bar; up to the plan's in full, beyond it in another pattern.
fn bar(week: &WeekView, most: f64, width: usize) -> String {
    let cells = |seconds: f64| if most > 0.0 { (seconds / most * width as f64).round() as usize } else { 0 };
    let plan = week.run_s.most().map(cells);
    let achieved = week.run_s.achieved.unwrap_or(0.0);
    // Rounding to cells must not make a second or two look like more than the plan's.
    let is_beyond = week.run_s.most().is_none_or(|plan| achieved > plan * (1.0 + NOT_SHOWN));
    let done = if is_beyond { cells(achieved) } else { cells(achieved).min(plan.unwrap_or(width)) };
    let cell = |at: usize| match plan {
        Some(plan) if at < done && at >= plan => '▒',
        _ if at < done => '█',
        Some(plan) if at + 1 == plan => '|',
        _ => ' ',
    };
    (0..width).map(cell).collect()
}

fn stages(page: &mut Page, view: &ReviewView) {
    page.heading("Stages");
    let needed: Vec<String> =
        view.stages.iter().map(|s| s.needed_in_words().unwrap_or_else(|| UNKNOWN.to_owned())).collect();
    let width = needed.iter().map(|needed| needed.chars().count()).max().unwrap_or(0).max("needed".len());
    page.line(&format!(
        "  stage         {:>width$}  done  as prescribed  overdone  underdone  undecided",
        "needed"
    ));
    for (stage, needed) in view.stages.iter().zip(needed) {
        let name: String = stage.stage.chars().take(13).collect();
        page.line(&format!(
            "  {name:<13} {needed:>width$} {:>5} {:>14} {:>9} {:>10} {:>10}",
            stage.attempts, stage.kept, stage.overdone, stage.underdone, stage.undecided
        ));
        page.hanging("    ", "      ", &stage.session);
    }
}

fn findings(page: &mut Page, view: &ReviewView) {
    if view.findings.is_empty() {
        return;
    }
    page.heading("Beyond the prescription over days and weeks");
    for finding in &view.findings {
        page.hanging(&format!("  ! {}  ", finding.date), "                ", &finding.text);
    }
}

fn sessions(page: &mut Page, view: &ReviewView) {
    let with = |outcome: Outcome| {
        let sessions: Vec<&SessionView> =
            view.sessions.iter().filter(|s| s.outcome == Some(outcome)).collect();
        sessions
    };
    let (overdone, undecided) = (with(Outcome::Overdone), with(Outcome::Undecided));
    if !overdone.is_empty() {
        page.heading("Sessions overdone");
    }
    for session in overdone {
        let texts: Vec<&str> =
            session.findings.iter().filter(|f| f.decides).map(|f| f.text.as_str()).collect();
        let due = session
            .repetitions
            .map(|due| format!(", {} due", counted(due as usize, "repetition")))
            .unwrap_or_default();
        let stage = format!("{}{due}", session.stage.as_deref().unwrap_or("?"));
        page.hanging(
            &format!("  ! {}  ", session.date),
            "                ",
            &format!("Stage “{stage}”. {}", texts.join(" ")),
        );
    }
    if !undecided.is_empty() {
        page.heading("Sessions that can't be judged");
    }
    for session in undecided {
        page.hanging(&format!("  ? {}  ", session.date), "                ", &why_undecided(session));
    }
}

/// Why a session can't be judged.
pub(super) fn why_undecided(session: &SessionView) -> String {
    if session.recordings.len() > 1 {
        return format!("Recorded in parts: {}.", session.recordings.join(", "));
    }
    match &session.stage {
        None if session.stage_candidates.is_empty() => "Which stage it was can't be told.".to_owned(),
        None => {
            let named: Vec<String> = session
                .stage_candidates
                .iter()
                .map(|c| format!("“{}” ({:.0} %)", c.stage, (100.0 * c.certainty).min(99.0)))
                .collect();
            format!("It may be of stage {}.", named.join(" or "))
        }
        Some(stage) => {
            let said: Vec<&str> = session.notices.iter().map(|n| n.text.as_str()).collect();
            format!("Stage “{stage}”. {}", said.join(" "))
        }
    }
}

/// Load, monotony, strain, running and walking steps, loading, loading against the plan.
pub(super) fn effort_cells(week: &WeekView) -> [String; 7] {
    let range = |r: RangeView, places: usize| format!("{:.places$}–{:.places$}", r.least, r.most);
    [
        shown(week.load, |x| format!("{x:.0}")),
        shown(week.monotony, |x| format!("{x:.2}")),
        shown(week.strain, |x| format!("{x:.0}")),
        shown(week.run_steps, |n| n.to_string()),
        shown(week.walk_steps, |n| n.to_string()),
        shown(week.estimated_loading_bw, |r| range(r, 0)),
        shown(week.estimated_loading_ratio, |r| range(r, 2)),
    ]
}

fn effort(page: &mut Page, view: &ReviewView) {
    let weeks: Vec<&WeekView> = view.weeks.iter().filter(|week| week.sessions > 0).collect();
    if weeks.is_empty() {
        return;
    }
    page.heading("Effort and estimated loading, for information only");
    page.line("            session            weekly  running  walking     estimated   against");
    page.line("  Monday       load  monotony  strain    steps    steps       loading   the plan");
    for week in weeks {
        let [load, monotony, strain, run, walk, loading, ratio] = effort_cells(week);
        page.line(&format!(
            "  {} {load:>6} {monotony:>9} {strain:>7} {run:>8} {walk:>8} {loading:>13} {ratio:>10}",
            week.monday
        ));
    }
    page.hanging("  ", "  ", EFFORT_KEY);
}

fn left_out(page: &mut Page, view: &ReviewView) {
    if view.left_out.is_empty() {
        return;
    }
    page.heading("Left out");
    for file in &view.left_out {
        page.hanging("  ", "    ", &format!("{}: {} [{}]", file.recording, file.text, file.code));
    }
}
