//! The report of a check.

use maud::{Markup, html};

use jogaudit_core::audit::Code;
use jogaudit_core::gait::Gait;

use super::chart::{Marked, chart};
use super::figure::patterns;
use super::marks::icon;
use super::strip::{self, Layout, Weight, flag_icon};
use super::table::{Column, table};
use crate::chart::Charts;
use crate::ends;
use crate::outside::isolated;
use crate::text::{UNKNOWN, shown};
use crate::view::{BoutView, CheckView, FindingView, MOST_BOUTS, RepView, bouts_left_out};
use crate::wording::{clock, how_sure, sport_in_words};

/// Lays out a check without the page around it.
pub(super) fn body(view: &CheckView, charts: Option<&Charts>) -> Markup {
    let layout = Layout::new(view);
    html! {
        (patterns())
        header.outcome {
            (icon(view.outcome.into()))
            h1 { (isolated(&view.summary)) }
        }
        @if !view.reasons.is_empty() {
            ul.reasons aria-label="Why" { @for reason in &view.reasons { li { (isolated(&reason.text)) } } }
        }
        @if let Some(trust) = view.trust { p.trust { (trust) } }
        (prescription(view))
        (figure(view, &layout, charts))
        (findings(view))
        (reps(view))
        (dose(view))
        (bouts(view))
        (super::notices(&view.notices))
        (provenance(view))
        p.cautions { (isolated(&view.cautions)) }
    }
}

fn prescription(view: &CheckView) -> Markup {
    let recording = &view.recording;
    let has = if recording.has.is_empty() {
        "times only".to_owned()
    } else {
        recording.has.join(", ").replace('_', " ")
    };
    html! {
        dl.facts {
            dt { "Plan" } dd { (isolated(&view.plan)) ", stage " (isolated(&view.stage)) }
            dt { "Prescribed" }
            dd { (view.session) @if let Some(due) = view.due_in_words() { br; span.quiet { (due) } } @if let Some(limits) = &view.limits { br; span.quiet { (limits) } } }
            dt { "Recorded" }
            dd {
                "on " (recording.began) ", " (clock(recording.elapsed_s)) " long, "
                (isolated(&sport_in_words(recording.sport.as_deref()))) ", with " (has)
            }
        }
    }
}

fn figure(view: &CheckView, layout: &Layout, charts: Option<&Charts>) -> Markup {
    let gaps = charts.map_or(&[][..], |charts| &charts.gaps);
    let curves = charts.map(|charts| {
        [
            (&charts.pace, Code::RunTooFast, "no usable pace"),
            (&charts.cadence, Code::WalkTooSlow, "no usable cadence"),
            (&charts.heart_rate, Code::HeartRateTooHigh, "no heart rate"),
        ]
    });
    html! {
        section aria-labelledby="strip" {
            h2 #strip { "Prescribed and done" }
            (strip::key(view))
            div.parts {
                @for part in layout.axis.parts() {
                    div.figure {
                        (strip::strip(view, layout, part, gaps))
                        @for (curve, code, _) in curves.iter().flatten() {
                            @if let Some(curve) = curve { (chart(curve, part, gaps, &marked(view, layout, *code))) }
                        }
                        @if curves.iter().flatten().any(|(curve, ..)| curve.is_some()) { (part.labels()) }
                    }
                }
            }
            @for (curve, _, missing) in curves.iter().flatten() {
                @match curve {
                    Some(curve) => p.key { b { (curve.name) } ". " (curve.key) },
                    None => p.key { "The recording has " (missing) "." },
                }
            }
        }
    }
}

/// The findings of a kind, as a curve marks them.
fn marked<'v>(view: &'v CheckView, layout: &Layout, code: Code) -> Vec<Marked<'v>> {
    let found = view.findings.iter().zip(&layout.places).enumerate().filter(|(_, (f, _))| f.code == code);
    found
        .map(|(i, (f, place))| Marked {
            number: i + 1,
            start_s: place.0,
            end_s: place.1,
            text: &f.text,
            class: if f.is_overdoing { "found beyond" } else { "found less" },
        })
        .collect()
}

fn findings(view: &CheckView) -> Markup {
    let numbered = || view.findings.iter().enumerate().map(|(i, f)| (i + 1, f));
    let (beyond, less): (Vec<_>, Vec<_>) = numbered().partition(|(_, f)| f.is_overdoing);
    html! {
        @for (id, heading, findings) in [("beyond", "Beyond the prescription", beyond), ("less", "Less than prescribed", less)] {
            @if !findings.is_empty() {
                section aria-labelledby=(id) {
                    h2 id=(id) { (heading) }
                    ul.findings { @for (number, finding) in findings { (sentence(number, finding)) } }
                }
            }
        }
    }
}

fn sentence(number: usize, finding: &FindingView) -> Markup {
    html! {
        li id=(format!("finding-{number}")) {
            (flag_icon(Weight::of(finding), Some(number)))
            div {
                (finding.text) " "
                a href=(format!("#place-{number}")) aria-label=(format!("Show on the strip, finding {number}")) { "Show on the strip" }
            }
        }
    }
}

/// A column of the table of reps: heading, what it means, and its cells.
type RepColumn = (&'static str, &'static str, fn(&RepView) -> String);

const COLUMNS: [RepColumn; 9] = [
    ("Prescribed", "", |rep| shown(rep.prescribed.as_ref(), String::clone)),
    ("Done", "", |rep| rep.done.clone()),
    ("±", "standard error of what was done, rounded up", |rep| {
        shown(rep.start_s.map(|_| rep.error_s), |s| format!("{:.0} s", s.ceil().max(1.0)))
    }),
    ("At", "on the recording's clock", |rep| shown(rep.start_s, clock)),
    ("Pace", "from the first to the last second, as run", |rep| shown(rep.mean_pace.as_ref(), String::clone)),
    ("Level pace", "on level ground for the same cost", |rep| shown(rep.level_pace.as_ref(), String::clone)),
    ("Over", "time above the pace ceiling", |rep| shown(rep.over_ceiling_s, |s| format!("{s:.0} s"))),
    ("Cadence", "steps a minute, both feet", |rep| shown(rep.mean_cadence_spm, |n| format!("{n:.0} spm"))),
    ("Heart rate", "the greatest", |rep| shown(rep.max_heart_rate_bpm, |n| format!("{n:.0} bpm"))),
];

fn reps(view: &CheckView) -> Markup {
    if view.reps.is_empty() {
        return html! {};
    }
    let is_known = |column: &&RepColumn| view.reps.iter().any(|rep| column.2(rep) != UNKNOWN);
    let known: Vec<&RepColumn> = COLUMNS.iter().filter(is_known).collect();
    let notes: Vec<String> =
        known.iter().filter(|c| !c.1.is_empty()).map(|c| format!("{}: {}.", c.0, c.1)).collect();
    let findings = Column::left("Findings");
    let mut columns: Vec<Column> = known.iter().map(|column| Column::right(column.0)).collect();
    columns.push(findings);
    let rows = html! {
        @for rep in &view.reps {
            tr {
                th scope="row" { (rep.motion.word()) " " (rep.rep) }
                @for (column, of) in columns.iter().zip(&known) { (column.cell(&of.2(rep))) }
                @match about(view, rep) {
                    Some(about) => (findings.holding(about)),
                    None => (findings.cell(UNKNOWN)),
                }
            }
        }
    };
    html! {
        section aria-labelledby="reps" {
            h2 #reps { "Runs and walks" }
            (table("reps", "Step", &columns, rows))
            p.key { "Paces are minutes for one " (view.units.word()) ". " (notes.join(" ")) }
        }
    }
}

/// Links to the findings about a rep, and its standing.
fn about(view: &CheckView, rep: &RepView) -> Option<Markup> {
    let is_about = |f: &FindingView| f.rep == Some(rep.rep) && f.gait == Some(rep.gait());
    let found: Vec<(usize, &FindingView)> =
        view.findings.iter().enumerate().filter(|(_, f)| is_about(f)).map(|(i, f)| (i + 1, f)).collect();
    let stood = rep.stand_s >= 1.0;
    let about = html! {
        @for (number, finding) in &found {
            a.to-finding href=(format!("#finding-{number}")) aria-label=(format!("Finding {number}, {}", Weight::of(finding).words())) {
                (flag_icon(Weight::of(finding), Some(*number)))
            }
        }
        @if stood { span { "stood " (clock(rep.stand_s)) } }
    };
    (stood || !found.is_empty()).then_some(about)
}

fn dose(view: &CheckView) -> Markup {
    let dose = &view.dose;
    let both: Vec<String> = [dose.run_steps.map(|n| format!("{n} steps")), dose.run_distance.clone()]
        .into_iter()
        .flatten()
        .collect();
    html! {
        section aria-labelledby="dose" {
            h2 #dose { "In all" }
            table.narrow {
                thead { tr { th scope="col" { "Time" } th scope="col" { "Prescribed" } th scope="col" { "Done" } } }
                tbody {
                    @for (name, amount) in [("Running", dose.run_s), ("Walking", dose.walk_s), ("Session", dose.session_s)] {
                        tr {
                            th scope="row" { (name) }
                            td { (shown(amount.range, ends::times)) }
                            td { (shown(amount.achieved, clock)) }
                        }
                    }
                }
            }
            @if !both.is_empty() { p.key { "While running: " (both.join(", ")) "." } }
        }
    }
}

fn bouts(view: &CheckView) -> Markup {
    html! {
        section.screen aria-labelledby="bouts" {
            h2 #bouts { "Bouts as recorded" }
            @if let Some(said) = bouts_left_out(view.bouts.len()) { p { (said) } }
            details {
                summary { "Show the bouts of the strip as a table" }
                (bout_table("bouts", &view.bouts))
            }
        }
    }
}

/// A row a bout.
pub(super) fn bout_table(name: &str, bouts: &[BoutView]) -> Markup {
    let columns =
        ["From", "To", "Took", "Distance", "Pace", "Cadence", "Heart rate", "How sure"].map(Column::right);
    let cells = |bout: &BoutView| {
        let is_known = bout.gait != Gait::Unknown;
        [
            clock(bout.start_s),
            clock(bout.end_s),
            clock(bout.end_s - bout.start_s),
            shown(bout.distance.as_ref().filter(|_| is_known), String::clone),
            shown(
                bout.mean_pace.as_ref().filter(|_| matches!(bout.gait, Gait::Run | Gait::Walk)),
                String::clone,
            ),
            shown(bout.mean_cadence_spm, |n| format!("{n:.0} spm")),
            shown(bout.mean_heart_rate_bpm, |n| format!("{n:.0} bpm")),
            shown(is_known.then_some(bout.certainty), how_sure),
        ]
    };
    let rows = html! {
        @for bout in bouts.iter().take(MOST_BOUTS) {
            tr {
                th scope="row" { (if bout.gait == Gait::Unknown { "no data" } else { bout.gait.word() }) }
                @for (column, text) in columns.iter().zip(cells(bout)) { (column.cell(&text)) }
            }
        }
    };
    table(name, "Gait", &columns, rows)
}

fn provenance(view: &CheckView) -> Markup {
    let recording = &view.recording;
    html! {
        section aria-labelledby="provenance" {
            h2 #provenance { "Where this comes from" }
            dl.facts {
                dt { "File" } dd { (recording.format.to_uppercase()) ", " (recording.samples) " samples" }
                dt { "SHA-256 of the file" } dd.hash { (recording.sha256) }
                dt { "Plan, stage" } dd { (isolated(&view.plan)) ", " (isolated(&view.stage)) }
                dt { "Made by" } dd { "jogaudit " (env!("CARGO_PKG_VERSION")) ", from the file and the plan alone" }
            }
        }
    }
}
