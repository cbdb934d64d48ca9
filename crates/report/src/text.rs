//! The reports in plain text, 80 columns wide.
//!
//! Styles are written as ANSI codes; the writer strips them where they do not belong. Nothing is told by hue alone.

use std::fmt::Write as _;

use anstyle::{AnsiColor, Style};

use jogaudit_core::audit::Code;
use jogaudit_core::gait::Gait;

use super::ends;
use super::outside::escaped;
use super::strip::{self, LEGEND, Strip};
use super::view::{
    AmountView, BoutsView, CheckView, FindingView, MOST_BOUTS, NoticeView, RecordingView, RepView,
    bouts_left_out,
};
use super::wording::{clock, how_sure, sport_in_words};

/// Columns of a page.
pub(super) const WIDTH: usize = 80;
/// So many findings alike are told in full where none decides; the table has the figures of the others. Our choice.
const ALIKE: usize = 3;
/// Columns of the words before a row of the strip.
const STRIP_LABEL: usize = 12;
pub(super) const HEADING: Style = Style::new().bold();
pub(super) const RUN: Style = AnsiColor::Blue.on_default();
const BEYOND: Style = AnsiColor::Magenta.on_default().bold();
pub(super) const QUIET: Style = Style::new().dimmed();
pub(super) const UNKNOWN: &str = "–";

/// Writes the report of a check. `with_notices`: whether the notices are part of it.
pub fn check(view: &CheckView, with_notices: bool) -> String {
    let mut page = Page::default();
    page.styled_paragraph(HEADING, &view.summary);
    for reason in &view.reasons {
        page.hanging("  ? ", "    ", &reason.text);
    }
    if let Some(trust) = view.trust {
        page.paragraph("", trust);
    }
    page.line("");
    page.paragraph("", &format!("Plan “{}”, stage “{}”:", view.plan, view.stage));
    page.hanging("  ", "    ", &view.session);
    if let Some(due) = view.due_in_words() {
        page.hanging("  ", "    ", &due);
    }
    if let Some(limits) = &view.limits {
        page.hanging("  ", "    ", limits);
    }
    page.recording(&view.recording);
    page.strip(&strip::check(view, WIDTH - 2 - STRIP_LABEL));
    let (beyond, less): (Vec<_>, Vec<_>) = view.findings.iter().partition(|f| f.is_overdoing);
    page.findings("Beyond the prescription", "!", &beyond, usize::MAX);
    page.findings("Less than prescribed", "-", &less, ALIKE);
    page.reps(view);
    page.dose(view);
    if with_notices {
        page.notices(&view.notices);
    }
    page.line("");
    page.styled_paragraph(QUIET, &view.cautions);
    page.0
}

/// Writes the report of bouts. `with_notices`: whether the notices are part of it.
pub fn bouts(view: &BoutsView, with_notices: bool) -> String {
    let mut page = Page::default();
    let total =
        |gait| -> f64 { view.bouts.iter().filter(|b| b.gait == gait).map(|b| b.end_s - b.start_s).sum() };
    let parts: Vec<String> = [Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown]
        .into_iter()
        .map(|gait| (gait, total(gait)))
        .filter(|(_, s)| *s > 0.0)
        .map(|(gait, s)| format!("{} {}", gait.word(), clock(s)))
        .collect();
    let sum = if parts.is_empty() { "nothing to tell".to_owned() } else { parts.join(", ") };
    page.styled_paragraph(HEADING, &format!("In all: {sum}."));
    page.recording(&view.recording);
    page.strip(&strip::bouts(&view.bouts, WIDTH - 2 - STRIP_LABEL));
    page.heading("Bouts");
    page.line(&format!(
        "  gait          from        to      took  distance   per {}  spm  bpm  how sure",
        view.units.word()
    ));
    for bout in view.bouts.iter().take(MOST_BOUTS) {
        let is_known = bout.gait != Gait::Unknown;
        page.line(&format!(
            "  {:<8} {:>9} {:>9} {:>9} {:>9} {:>8} {:>4} {:>4}  {}",
            bout.gait.word(),
            clock(bout.start_s),
            clock(bout.end_s),
            clock(bout.end_s - bout.start_s),
            shown(bout.distance.as_ref().filter(|_| is_known || bout.distance_m >= Some(0.5)), String::clone),
            shown(bout.mean_pace.as_ref().filter(|_| is_known && bout.gait != Gait::Stand), String::clone),
            shown(bout.mean_cadence_spm, |n| format!("{n:.0}")),
            shown(bout.mean_heart_rate_bpm, |n| format!("{n:.0}")),
            shown(is_known.then_some(bout.certainty), how_sure),
        ));
    }
    if let Some(said) = bouts_left_out(view.bouts.len()) {
        page.paragraph("  ", &said);
    }
    if with_notices {
        page.notices(&view.notices);
    }
    page.0
}

/// Writes notices alone, for standard error: one paragraph each, with its code.
pub fn notices(notices: &[NoticeView]) -> String {
    let mut page = Page::default();
    for notice in notices {
        page.hanging("notice: ", "  ", &format!("{} [{}]", notice.text, notice.code));
    }
    page.0
}

pub(super) fn shown<T>(value: Option<T>, write: impl FnOnce(T) -> String) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), write)
}

/// A space at which no line is broken.
const NO_BREAK: &str = "\u{a0}";

/// Words one space apart, with a space that does not break between a number and its unit.
fn joined(text: &str) -> String {
    const UNITS: [&str; 12] = ["%", "s", "m", "km", "mi", "/km", "/mi", "s/km", "s/mi", "bpm", "spm", "min"];
    let mut joined = String::with_capacity(text.len());
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let is_unit = UNITS.contains(&word.trim_end_matches([',', '.', ';', ':', ')']));
        if !joined.is_empty() {
            let after_number = joined.ends_with(|c: char| c.is_ascii_digit());
            joined.push_str(if is_unit && after_number { NO_BREAK } else { " " });
        }
        joined.push_str(word);
    }
    joined
}

/// Breaks a text into lines of at most [`WIDTH`] columns, at spaces but not between a number and its unit; the first
/// line begins with `first`, the others with `rest`. A longer word has a line of its own.
fn wrapped(first: &str, rest: &str, text: &str) -> Vec<String> {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .break_words(false)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit);
    textwrap::wrap(&joined(text), options).iter().map(|line| line.replace(NO_BREAK, " ")).collect()
}

/// A page that grows line by line.
#[derive(Default)]
pub(super) struct Page(pub(super) String);

impl Page {
    /// The whole text.
    pub(super) fn into_text(self) -> String {
        self.0
    }

    /// A line of plain text. What could steer a terminal is shown as an escape: every text that is not ours comes this way.
    pub(super) fn line(&mut self, text: &str) {
        self.styled_line(&escaped(text.trim_end()));
    }

    /// A line with styles, of words of ours alone.
    pub(super) fn styled_line(&mut self, text: &str) {
        self.0.push_str(text.trim_end());
        self.0.push('\n');
    }

    pub(super) fn heading(&mut self, text: &str) {
        self.line("");
        self.styled_line(&format!("{HEADING}{}{HEADING:#}", escaped(text)));
    }

    pub(super) fn paragraph(&mut self, indent: &str, text: &str) {
        self.hanging(indent, indent, text);
    }

    pub(super) fn styled_paragraph(&mut self, style: Style, text: &str) {
        let _ = write!(self.0, "{style}");
        self.paragraph("", text);
        let end = self.0.trim_end().len();
        self.0.insert_str(end, &format!("{style:#}"));
    }

    /// A paragraph whose first line begins with `first`, the others with `rest`.
    pub(super) fn hanging(&mut self, first: &str, rest: &str, text: &str) {
        for line in wrapped(first, rest, text) {
            self.line(&line);
        }
    }

    fn recording(&mut self, recording: &RecordingView) {
        let RecordingView { sport, began, elapsed_s, has, .. } = recording;
        let has = if has.is_empty() { "times only".to_owned() } else { has.join(", ").replace('_', " ") };
        let sport = sport_in_words(sport.as_deref());
        self.paragraph("", &format!("Recorded on {began}, {} long, {sport}, with {has}.", clock(*elapsed_s)));
    }

    fn strip(&mut self, bands: &[Strip]) {
        if bands.is_empty() {
            return;
        }
        self.line("");
        for band in bands {
            if !band.prescribed.is_empty() {
                self.strip_row("prescribed", &coloured(&band.prescribed));
            }
            self.strip_row("done", &coloured(&band.done));
            if !band.beyond.is_empty() {
                self.strip_row("beyond", &format!("{BEYOND}{}{BEYOND:#}", band.beyond));
            }
            self.strip_row("", &band.axis);
        }
        let is_beyond = bands.iter().any(|band| !band.beyond.is_empty());
        let marks = if is_beyond { "   ^ beyond the prescription" } else { "" };
        self.strip_row("", &format!("{LEGEND}{marks}"));
    }

    fn strip_row(&mut self, label: &str, text: &str) {
        self.styled_line(&format!("  {label:<STRIP_LABEL$}{text}"));
    }

    /// Lists findings; of more than `alike` with one code the others are only named.
    fn findings(&mut self, heading: &str, mark: &str, findings: &[&FindingView], alike: usize) {
        if findings.is_empty() {
            return;
        }
        self.heading(heading);
        let mut told: Vec<Code> = Vec::new();
        for (i, finding) in findings.iter().enumerate() {
            let is_like = |other: &&&FindingView| other.code == finding.code && other.rep.is_some();
            let before = findings[..i].iter().filter(is_like).count();
            if before < alike || finding.rep.is_none() {
                self.hanging(&format!("  {mark} "), "    ", &finding.text);
            } else if !told.contains(&finding.code) {
                told.push(finding.code);
                let others: Vec<String> =
                    findings[i..].iter().filter(is_like).filter_map(|f| named(f)).collect();
                self.hanging(&format!("  {mark} "), "    ", &format!("Likewise {}.", others.join(", ")));
            }
        }
    }

    fn reps(&mut self, view: &CheckView) {
        if view.reps.is_empty() {
            return;
        }
        self.heading("Runs and walks");
        let width =
            view.reps.iter().map(|rep| rep_prescribed(rep).chars().count()).max().unwrap_or(0).max(10);
        self.line(&format!(
            "           {:>width$}      done     ±        at    pace   level   over  spm  bpm",
            "prescribed"
        ));
        for rep in &view.reps {
            let about = |f: &&FindingView| f.rep == Some(rep.rep) && f.gait == Some(rep.gait());
            let beyond = view.findings.iter().filter(about).any(|f| f.decides);
            let less = view.findings.iter().any(|f| about(&f));
            let mark = if beyond {
                "!"
            } else if less {
                "-"
            } else {
                " "
            };
            self.line(&format!("{mark} {}", rep_row(rep, width)));
        }
        for rep in view.reps.iter().filter(|rep| rep.stand_s >= 1.0) {
            self.line(&format!(
                "  {} {}: stood for {} within it.",
                rep.motion.word(),
                rep.rep,
                clock(rep.stand_s)
            ));
        }
        let note = format!(
            "±: standard error of “done”, rounded up. at: on the recording's clock. pace, level: per {} from the first to the \
             last second, as run and on level ground for the same cost. over: time above the pace ceiling. spm: steps a \
             minute, both feet. bpm: greatest heart rate.",
            view.units.word()
        );
        self.paragraph("  ", &note);
    }

    fn dose(&mut self, view: &CheckView) {
        self.heading("In all");
        let dose = &view.dose;
        let amounts = [("running", dose.run_s), ("walking", dose.walk_s), ("session", dose.session_s)];
        let width = amounts.iter().map(|(_, amount)| shown(amount.range, ends::times).chars().count());
        let width = width.max().unwrap_or(0).max(10);
        self.line(&format!("           {:>width$}      done", "prescribed"));
        for (name, AmountView { range, achieved, .. }) in amounts {
            let prescribed = shown(range, ends::times);
            self.line(&format!("  {name:<8} {prescribed:>width$} {:>9}", shown(achieved, clock)));
        }
        let steps = dose.run_steps.map(|n| format!("{n} steps"));
        let both: Vec<String> = [steps, dose.run_distance.clone()].into_iter().flatten().collect();
        if !both.is_empty() {
            self.line(&format!("  while running: {}", both.join(", ")));
        }
    }

    pub(super) fn notices(&mut self, notices: &[NoticeView]) {
        if notices.is_empty() {
            return;
        }
        self.heading("Notices");
        for notice in notices {
            self.hanging("  ", "    ", &format!("{} [{}]", notice.text, notice.code));
        }
    }
}

/// `walk 5`.
fn named(finding: &FindingView) -> Option<String> {
    Some(format!("{} {}", finding.gait?.word(), finding.rep?))
}

/// What a rep was to be: `1:00`, `22:00 to 28:00` or `400 m`.
fn rep_prescribed(rep: &RepView) -> String {
    shown(rep.prescribed.as_ref(), String::clone)
}

/// One line of the table of reps, without its mark.
fn rep_row(rep: &RepView, width: usize) -> String {
    let (prescribed, done) = (rep_prescribed(rep), &rep.done);
    let is_done = rep.start_s.is_some();
    format!(
        "{:<8} {prescribed:>width$} {done:>9} {:>5} {:>9} {:>7} {:>7} {:>6} {:>4} {:>4}",
        format!("{} {}", rep.motion.word(), rep.rep),
        shown(is_done.then_some(rep.error_s), |s| format!("{:.0} s", s.ceil().max(1.0))),
        shown(rep.start_s, clock),
        shown(rep.mean_pace.as_ref(), String::clone),
        shown(rep.level_pace.as_ref(), String::clone),
        shown(rep.over_ceiling_s, |s| format!("{s:.0} s")),
        shown(rep.mean_cadence_spm, |n| format!("{n:.0}")),
        shown(rep.max_heart_rate_bpm, |n| format!("{n:.0}")),
    )
}

/// Colours the runs of a row of the strip.
fn coloured(row: &str) -> String {
    let run = strip::glyph(Gait::Run);
    let mut text = String::new();
    let mut in_run = false;
    for mark in row.chars() {
        if (mark == run) != in_run {
            in_run = !in_run;
            let _ = if in_run { write!(text, "{RUN}") } else { write!(text, "{RUN:#}") };
        }
        text.push(mark);
    }
    if in_run {
        let _ = write!(text, "{RUN:#}");
    }
    text
}

#[cfg(test)]
mod tests;
