//! The page on which a rater marks.

use maud::{DOCTYPE, Markup, html};

use jiff::tz::{Offset, TimeZone};
use jogaudit_recording::units::clock;
use jogaudit_report::{days, isolated};

use super::Sheet;
use crate::layout::head;

/// Keys that work while the curves have the focus, and what they do.
const KEYS: [(&[&str], &str); 11] = [
    (&["←", "→"], "1 second back, on"),
    (&["Shift ←", "Shift →"], "10 seconds back, on"),
    (&["Page up", "Page down"], "1 minute back, on"),
    (&["Home", "End"], "beginning, end"),
    (&["p", "n"], "previous mark, next mark"),
    (&["r", "w", "s", "u"], "from here: run, walk, stand, unknown"),
    (&["e", "l"], "move the mark here 1 second earlier, later; with Shift 0.1 seconds"),
    (&["Delete"], "delete the mark here"),
    (&["z", "y"], "undo, redo"),
    (&["+", "−", "0"], "zoom in, zoom out, the whole recording"),
    (&["Ctrl s"], "save"),
];

pub(super) fn page(sheet: &Sheet) -> String {
    let title = format!("Mark {}", sheet.recording);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            (head(&title, "/page.css", &html! { script src="/annotate.js" defer {} }))
            body {
                a.skip href="#timeline" { "To the curves" }
                main data-elapsed=(sheet.elapsed_s) data-clock=(clock_start(sheet)) data-zone=(zone_word(sheet)) {
                    h1 { "Mark where run, walk and stand begin" }
                    (about(sheet))
                    noscript { p.trouble { "Marking needs the script of this page: allow JavaScript for this address and reload." } }
                    (recording(sheet))
                    (tools())
                    (keys())
                    section aria-labelledby="marked" {
                        h2 #marked { "Marked so far" }
                        table {
                            thead { tr { th scope="col" { "From" } th scope="col" { "To" } th scope="col" { "Gait" } th scope="col" { "Length" } th scope="col" { "Mark" } } }
                            tbody #marks {}
                        }
                    }
                }
            }
        }
    };
    page.into_string()
}

fn about(sheet: &Sheet) -> Markup {
    let began = zone(sheet).to_datetime(sheet.start);
    html! {
        p.quiet {
            "Recording " strong { (isolated(&sheet.recording)) } ", " (days::long(&began.date().to_string())) ", "
            (began.strftime("%H:%M")) " " (zone_word(sheet)) ", " (clock(sheet.elapsed_s)) " long. Rater " strong { (isolated(&sheet.rater)) } ". "
            "The marks go to " code { (isolated(&sheet.goes_to.display().to_string())) } "."
        }
        p {
            "Mark what you see here, or what your video or notes show. The page holds the readings alone, nothing that the program makes of "
            "them. What you can’t tell is unknown."
        }
    }
}

fn recording(sheet: &Sheet) -> Markup {
    html! {
        section aria-label="The recording" {
            svg.patterns aria-hidden="true" width="0" height="0" {
                defs {
                    pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)" {
                        rect.hatch width="1.5" height="7" {}
                    }
                }
            }
            div #overview aria-hidden="true" {}
            div #timeline tabindex="0" role="slider" aria-label="Place in the recording" aria-valuemin="0"
                aria-valuemax=(sheet.elapsed_s) aria-valuenow="0" aria-valuetext="0:00, unknown" aria-describedby="hint" {}
            p #here {}
            p.skip #hint { "Click in the curves, drag a mark, or use the keys that stand below." }
        }
    }
}

fn tools() -> Markup {
    html! {
        div.tools {
            div.row role="group" aria-labelledby="from-here" {
                span #from-here { "From here" }
                @for (gait, text) in [("run", "Run"), ("walk", "Walk"), ("stand", "Stand"), ("unknown", "Unknown")] {
                    button type="button" data-gait=(gait) {
                        svg aria-hidden="true" width="18" height="16" { (swatch(gait)) }
                        (text)
                    }
                }
            }
            div.row role="group" aria-label="Go" {
                @for (seconds, text) in [("-10", "−10 s"), ("-1", "−1 s"), ("1", "+1 s"), ("10", "+10 s")] {
                    button type="button" data-go=(seconds) { (text) }
                }
                button type="button" data-do="previous" { "Previous mark" }
                button type="button" data-do="next" { "Next mark" }
            }
            div.row role="group" aria-label="The mark here" {
                button type="button" data-move="-1" { "Mark 1 s earlier" }
                button type="button" data-move="1" { "Mark 1 s later" }
                button type="button" data-do="delete" { "Delete mark" }
                button type="button" data-do="undo" { "Undo" }
                button type="button" data-do="redo" { "Redo" }
            }
            div.row role="group" aria-label="Zoom" {
                button type="button" data-do="zoom-in" { "Zoom in" }
                button type="button" data-do="zoom-out" { "Zoom out" }
                button type="button" data-do="whole" { "Whole recording" }
                button type="button" data-do="earlier" { "Earlier" }
                button type="button" data-do="later" { "Later" }
            }
        }
        div.row {
            button.main type="button" data-do="save" { "Save" }
            span #kept {}
        }
        p.said #said role="status" {}
        p.trouble #trouble role="alert" hidden {}
    }
}

/// The bar of a gait, as it stands in the strip.
fn swatch(gait: &str) -> Markup {
    let height = match gait {
        "run" | "unknown" => 14,
        "walk" => 8,
        _ => 3,
    };
    html! {
        rect class=(gait) x="1" y=(15 - height) width="16" height=(height) fill=[(gait == "unknown").then_some("url(#hatch)")] {}
    }
}

fn keys() -> Markup {
    html! {
        details {
            summary { "Keys" }
            p.quiet { "They work while the curves have the focus." }
            dl.keys {
                @for (keys, does) in KEYS {
                    dt { @for key in keys { kbd { (key) } " " } }
                    dd { (does) }
                }
            }
        }
    }
}

/// The zone of the recorder's clock, as far as the recording knows it.
fn zone(sheet: &Sheet) -> TimeZone {
    let offset = sheet.utc_offset_s.and_then(|s| Offset::from_seconds(s).ok());
    offset.map_or(TimeZone::UTC, TimeZone::fixed)
}

fn zone_word(sheet: &Sheet) -> &'static str {
    if sheet.utc_offset_s.is_some() { "by the recorder’s clock" } else { "UTC" }
}

/// Seconds since midnight at which the recording began, for the clock beside a video.
fn clock_start(sheet: &Sheet) -> f64 {
    let time = zone(sheet).to_datetime(sheet.start).time();
    let whole = i32::from(time.hour()) * 3600 + i32::from(time.minute()) * 60 + i32::from(time.second());
    f64::from(whole) + f64::from(time.subsec_nanosecond()) / 1e9
}
