//! The hand-out: the plan on paper, with boxes to tick, places to write, and a blank diary.

use maud::{Markup, html};

use jogaudit_core::review::Pattern;

use super::figure::Axis;
use super::strip::{band, numbered};
use crate::handout::{HandoutSession, HandoutStage, HandoutView, Line, SessionBox, pattern_words};
use crate::outside::{escaped, escaped_prose, isolated};

/// Looks of the hand-out, on top of those of the reports.
pub(super) const STYLE: &str = include_str!("handout.css");

/// Lines of the diary for other days: with what stands around them, less than a page. Our choice.
const DIARY_LINES: [usize; 2] = [16, 9];
/// A stage with more boxes may be parted by the end of a page.
const WHOLE_BOXES: usize = 9;
/// What is asked of a session, in the order of the diary's columns, with the class of the column.
const ASKED: [(&str, &str); 5] = [
    ("Pain in the session", "pain"),
    ("When", "when"),
    ("Pain next morning", "pain"),
    ("Effort", "effort"),
    ("Note", "words"),
];

/// Lays out the hand-out without the page around it.
pub(super) fn body(view: &HandoutView, is_large: bool) -> Markup {
    let axis = Axis::new(0.0, view.longest_s, None);
    html! {
        div.handout.large[is_large] {
            header {
                h1 { (isolated(&view.title)) }
                @for sentence in &view.summary { p.summary { (isolated(sentence)) } }
                @if let Some(note) = &view.note { p.note { (isolated(&escaped_prose(note))) } }
            }
            (cautions(view.contact.as_deref()))
            @if !view.every.is_empty() {
                section aria-labelledby="every" {
                    h2 #every { "Always" }
                    ul { @for order in &view.every { li { (isolated(order)) } } }
                }
            }
            (how_to(view.assumed.as_deref()))
            @for (number, stage) in (1..).zip(&view.stages) { (stage_section(number, stage, axis)) }
            (diary(DIARY_LINES[usize::from(is_large)]))
        }
    }
}

fn cautions(contact: Option<&str>) -> Markup {
    html! {
        section.cautions aria-labelledby="cautions" {
            h2 #cautions { "When to stop and ask" }
            p { "Swelling, a limp, pain at night, or pain that stays: stop running. Then see a health professional." }
            @if let Some(contact) = contact { p { strong { (isolated(&escaped_prose(contact))) } } }
            p { "This sheet cannot tell whether running is right for you. What your clinician says comes first." }
        }
    }
}

fn how_to(assumed: Option<&str>) -> Markup {
    html! {
        section aria-labelledby="how" {
            h2 #how { "How to use this sheet" }
            ol {
                li { "Do the sessions in their order." }
                li { "Tick the box after each session." }
                li { "Write down your pain: 0 is none, 10 is the worst there is." }
                li { "Write down when it hurt, in letters: " (patterns()) }
                li { "Write down the pain of the next morning." }
                li { "Write down your effort: 0 is rest, 10 is as hard as can be." }
                li { "If you had to stop for pain, ask a health professional before the next session." }
            }
            p { "There is no need to make up for a session that you missed." }
            p { "Times are minutes and seconds: 1:40 is 1 minute and 40 seconds." }
            @if let Some(assumed) = assumed { p { (assumed) } }
        }
    }
}

fn patterns() -> Markup {
    let letters = Pattern::ALL.iter().zip('a'..);
    html! {
        @for (at, (pattern, letter)) in letters.enumerate() {
            @if at > 0 { ", " }
            b { (letter) } " " (pattern_words(*pattern))
        }
        "."
    }
}

fn stage_section(number: usize, stage: &HandoutStage, axis: Axis) -> Markup {
    let id = format!("stage-{number}");
    let is_whole = stage.boxes.len() <= WHOLE_BOXES;
    // The table may stand on the next page, and there it needs the name again.
    let name = html! { "Stage " (isolated(&stage.name)) };
    html! {
        section.stage.whole[is_whole] aria-labelledby=(id) {
            h2 id=(id) { (name) @if let Some(how_many) = &stage.how_many { span.quiet { ": " (how_many) } } }
            @if let Some(note) = &stage.note { p.note { (isolated(&escaped_prose(note))) } }
            @if let Some(contact) = &stage.contact { p { strong { (isolated(&escaped_prose(contact))) } } }
            @for session in &stage.kinds { (session_in_words(session, axis)) }
            table.boxes.whole[is_whole] {
                thead { (heads(&name)) }
                tbody { @for session in &stage.boxes { (box_row(session)) } }
            }
            @if stage.left_out > 0 { p { (stage.left_out) " more: write them into the diary at the end." } }
        }
    }
}

fn session_in_words(session: &HandoutSession, axis: Axis) -> Markup {
    let note = if session.is_least { Some("drawn at its shortest") } else { None };
    html! { div.session {
        @if let Some(kind) = &session.kind { h3 { (isolated(kind)) } }
        (lines(&session.lines))
        @if let Some(sum) = &session.sum { p.sum { (sum) } }
        @if !session.spans.is_empty() {
            div.figure {
                (band(session.heights, note, "The session as a strip; the list above says the same", &session.spans, &numbered(&session.spans), axis, &[]))
                (axis.labels_since("the session"))
            }
        }
        @if !session.orders.is_empty() { ul { @for order in &session.orders { li { (isolated(order)) } } } }
    } }
}

fn lines(lines: &[Line]) -> Markup {
    html! {
        ol.do {
            @for line in lines {
                li { (line.text) @if !line.inside.is_empty() { (self::lines(&line.inside)) } }
            }
        }
    }
}

fn heads(first: &Markup) -> Markup {
    html! {
        tr {
            th.tick scope="col" { "Done" }
            th.day scope="col" { (first) }
            @for (asked, class) in ASKED { th class=(class) scope="col" { (asked) } }
        }
    }
}

fn box_row(session: &SessionBox) -> Markup {
    html! {
        tr {
            td.tick { span.box role="img" aria-label="box to tick" {} }
            th.day scope="row" {
                (session.day)
                @if let Some(what) = &session.what { br; span.quiet { (isolated(&escaped(what))) } }
            }
            @for _ in ASKED { td {} }
        }
    }
}

/// A blank diary for sessions that the boxes have no room for.
fn diary(lines: usize) -> Markup {
    html! {
        section.diary aria-labelledby="diary" {
            h2 #diary { "Diary for other days" }
            p { "For a session that you repeat, or do on another day. " b { "When" } ": " (patterns()) }
            table.boxes {
                thead { (heads(&html! { "Day and stage" })) }
                tbody {
                    @for _ in 0..lines {
                        tr { td.tick { span.box role="img" aria-label="box to tick" {} } td.day {} @for _ in ASKED { td {} } }
                    }
                }
            }
            p.key { "Made by jogaudit " (env!("CARGO_PKG_VERSION")) " from the plan alone." }
        }
    }
}
