//! What was prescribed over what was done, on one axis of time, with the places of the findings.

use maud::{Markup, html};

use jogaudit_core::gait::Gait;

use super::figure::{Axis, Row, percent, share};
use crate::chart::GapView;
use crate::strip::{GaitSpan, done, last_end, prescribed};
use crate::view::{BoutView, CheckView, FindingView, MOST_BOUTS, RepView};
use crate::wording::clock;

/// Height of a band of the strip, px.
const BAND: u32 = 34;
/// Height of a lane of findings, px: 24 for the flag, which is touched, and a bar below.
const LANE: u32 = 34;
/// Side of a flag, px.
const FLAG: u32 = 24;
/// Room of a number in a bar, px.
const NUMBER_PX: f64 = 16.0;

/// Where the parts of a check stand in time.
pub(super) struct Layout {
    pub(super) axis: Axis,
    prescribed: Vec<GaitSpan>,
    done: Vec<GaitSpan>,
    /// One a finding, in their order.
    pub(super) places: Vec<(f64, f64)>,
}

impl Layout {
    pub(super) fn new(view: &CheckView) -> Self {
        let (prescribed, done) =
            (prescribed(&view.reps), done(&view.bouts[..view.bouts.len().min(MOST_BOUTS)]));
        let from_s = prescribed.first().map_or(0.0, |span| span.start_s.min(0.0));
        let elapsed_s = view.bouts.last().map_or(0.0, |bout| bout.end_s);
        let to_s = elapsed_s.max(last_end(&prescribed));
        let runs = if prescribed.is_empty() { &done } else { &prescribed };
        let axis = axis_of(from_s, to_s, runs);
        let place = |f: &FindingView| place(f, view, &prescribed).unwrap_or((0.0, elapsed_s));
        let places = view.findings.iter().map(place).collect();
        Self { axis, prescribed, done, places }
    }
}

/// On the recording, else where it was prescribed.
fn place(f: &FindingView, view: &CheckView, prescribed: &[GaitSpan]) -> Option<(f64, f64)> {
    if let Some(start_s) = f.start_s {
        return Some((start_s, f.end_s.unwrap_or(start_s)));
    }
    let index = view.reps.iter().position(|rep| Some(rep.rep) == f.rep && Some(rep.gait()) == f.gait)?;
    prescribed.get(index).map(|span| (span.start_s, span.end_s))
}

/// What a finding is to the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weight {
    /// More was done, and it decides.
    Beyond,
    /// More was done, too unsure to decide.
    Unsure,
    /// Less was done, or slower.
    Less,
}

impl Weight {
    pub(super) const ALL: [Self; 3] = [Self::Beyond, Self::Unsure, Self::Less];

    pub(super) const fn of(finding: &FindingView) -> Self {
        match (finding.decides, finding.is_overdoing) {
            (true, _) => Self::Beyond,
            (false, true) => Self::Unsure,
            (false, false) => Self::Less,
        }
    }

    /// Its class in the style sheet.
    const fn class(self) -> &'static str {
        match self {
            Self::Beyond => "beyond",
            Self::Unsure => "unsure",
            Self::Less => "less",
        }
    }

    /// For reading.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Beyond => "beyond the prescription",
            Self::Unsure => "beyond, too unsure to decide",
            Self::Less => "less than prescribed",
        }
    }
}

/// The outline of a flag: pointed where it decides, square where it is too unsure, round where less was done.
fn outline(weight: Weight) -> Markup {
    html! {
        @match weight {
            Weight::Beyond => path.box d="M.75.75H23.25V18L12 23.25.75 18Z" {},
            Weight::Unsure | Weight::Less => rect.box x=".75" y=".75" width="22.5" height="22.5" rx=(if weight == Weight::Less { "11" } else { "2" }) {},
        }
    }
}

/// Draws a part of the strip.
pub(super) fn strip(view: &CheckView, layout: &Layout, part: Axis, gaps: &[GapView]) -> Markup {
    let (prescribed, done) = (&layout.prescribed, &layout.done);
    html! {
        @if !prescribed.is_empty() {
            (band("Prescribed", None, &view.session, prescribed, &numbered(prescribed), part, &[]))
        }
        (band("Done", None, &told(done), done, &matched(done, &view.reps), part, gaps))
        @if !view.findings.is_empty() { (lanes(view, layout, part)) }
        (part.labels())
    }
}

/// Draws bouts that are held against nothing, in parts where they are long.
pub(super) fn outing(bouts: &[BoutView]) -> Markup {
    let done = done(&bouts[..bouts.len().min(MOST_BOUTS)]);
    let axis = axis_of(0.0, last_end(&done), &done);
    html! {
        div.parts {
            @for part in axis.parts() {
                div.figure {
                    (band("", None, &counts(&done), &done, &vec![None; done.len()], part, &[]))
                    (part.labels())
                }
            }
        }
    }
}

/// An axis on which most runs can be told from their neighbours.
fn axis_of(from_s: f64, to_s: f64, runs: &[GaitSpan]) -> Axis {
    let runs = runs.iter().filter(|s| s.gait == Gait::Run);
    let mut runs_s: Vec<f64> = runs.map(|s| s.end_s - s.start_s).filter(|s| *s > 0.0).collect();
    runs_s.sort_by(f64::total_cmp);
    Axis::new(from_s, to_s, runs_s.get(runs_s.len() / 4).copied())
}

/// Numbers the prescribed runs.
pub(super) fn numbered(prescribed: &[GaitSpan]) -> Vec<Option<u32>> {
    let mut runs = 0;
    prescribed
        .iter()
        .map(|span| {
            let is_run = span.gait == Gait::Run;
            runs += u32::from(is_run);
            is_run.then_some(runs)
        })
        .collect()
}

/// Gives each run that was done the number of the prescribed run it is held against, as the findings and the table name
/// it: a run with a stop inside has its number twice, one that nothing prescribes has none.
fn matched(done: &[GaitSpan], reps: &[RepView]) -> Vec<Option<u32>> {
    let runs = reps.iter().filter(|rep| rep.gait() == Gait::Run);
    let runs: Vec<(u32, f64, f64)> =
        runs.filter_map(|rep| Some((rep.rep, rep.start_s?, rep.end_s?))).collect();
    let within = |span: &GaitSpan| {
        runs.iter()
            .map(|(rep, start_s, end_s)| (*rep, end_s.min(span.end_s) - start_s.max(span.start_s)))
            .filter(|(_, shared_s)| *shared_s > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(rep, _)| rep)
    };
    done.iter().map(|span| (span.gait == Gait::Run).then(|| within(span)).flatten()).collect()
}

fn told(done: &[GaitSpan]) -> String {
    format!("{}. Each stands in the table of bouts.", counts(done))
}

/// `2 runs, 3 walks`.
fn counts(done: &[GaitSpan]) -> String {
    let count = |gait| done.iter().filter(|span| span.gait == gait).count();
    let parts: Vec<String> = [
        (Gait::Run, "runs"),
        (Gait::Walk, "walks"),
        (Gait::Stand, "stands"),
        (Gait::Unknown, "stretches without data"),
    ]
    .into_iter()
    .map(|(gait, name)| (count(gait), name))
    .filter(|(n, _)| *n > 0)
    .map(|(n, name)| format!("{n} {name}"))
    .collect();
    parts.join(", ")
}

pub(super) fn band(
    name: &str,
    note: Option<&str>,
    alt: &str,
    spans: &[GaitSpan],
    numbers: &[Option<u32>],
    axis: Axis,
    gaps: &[GapView],
) -> Markup {
    let row = Row {
        name,
        note,
        alt,
        height: BAND,
        scale: html! {},
        field: html! {
            line.foot x1="0" x2="100%" y1=(BAND) y2=(BAND) {}
            @for (span, number) in spans.iter().zip(numbers).filter(|(span, _)| axis.shows(span.start_s, span.end_s)) {
                (bar(span, axis, gaps, *number))
            }
        },
        is_linked: false,
    };
    row.markup()
}

/// Gaits are told apart by height, as in the report in plain text.
fn bar(span: &GaitSpan, axis: Axis, gaps: &[GapView], number: Option<u32>) -> Markup {
    let (from, to) = (axis.at(span.start_s), axis.at(span.end_s));
    let (height, word) = match span.gait {
        Gait::Run => (BAND - 2, "Run"),
        Gait::Walk => (14, "Walk"),
        Gait::Stand => (4, "Stand"),
        Gait::Unknown => (BAND - 2, "No data"),
    };
    let is_unknown = span.gait == Gait::Unknown;
    let fill = is_unknown.then_some("url(#hatch-unknown)");
    let (x, width) = (percent(from), percent(to - from));
    // A gap that lies in here says why nothing is known.
    let is_inside = |gap: &&GapView| is_unknown && gap.start_s < span.end_s && gap.end_s > span.start_s;
    let why = gaps.iter().find(is_inside).map(|gap| format!(", {}", gap.text)).unwrap_or_default();
    let (narrow, roomy) = axis.shares(NUMBER_PX);
    let number = number.filter(|_| to - from >= narrow.min(roomy));
    html! {
        rect class=(span.gait.word()) x=(x) width=(width) y=(BAND - height) height=(height) fill=[fill] {
            title { (word) ", " (clock(span.start_s)) " to " (clock(span.end_s)) (why) }
        }
        @if let Some(number) = number {
            text.in-run.roomy[to - from < narrow] x=(percent(0.5 * (from + to))) y="21" text-anchor="middle" { (number) }
        }
    }
}

/// The findings as numbered flags with their extent, in as many lanes as keep them apart. A finding that goes on in another
/// part of the figure has its flag where it begins.
fn lanes(view: &CheckView, layout: &Layout, axis: Axis) -> Markup {
    let is_first = axis.from_s <= layout.axis.from_s;
    let is_last = axis.to_s >= layout.axis.to_s;
    let begins = |start_s: f64| (is_first || start_s >= axis.from_s) && (is_last || start_s < axis.to_s);
    let flag = share(f64::from(FLAG) + 2.0);
    let mut ends: Vec<f64> = Vec::new();
    let mut placed = Vec::new();
    for (i, (finding, place)) in view.findings.iter().zip(&layout.places).enumerate() {
        let is_flagged = begins(place.0);
        if !is_flagged && !axis.shows(place.0, place.1) {
            continue;
        }
        let (from, to) = (axis.at(place.0).min(100.0 - flag), axis.at(place.1));
        let lane = ends.iter().position(|end| *end <= from).unwrap_or(ends.len());
        if lane == ends.len() {
            ends.push(0.0);
        }
        ends[lane] = to.max(from + flag);
        placed.push((i, finding, *place, LANE * lane as u32, is_flagged));
    }
    let height = LANE * ends.len() as u32;
    let row = Row {
        name: "Findings",
        note: Some("each number leads to its sentence below"),
        alt: "Numbers that lead to the findings, each where it was",
        height,
        scale: html! {},
        field: html! {
            (axis.grid(height))
            @for (i, finding, place, top, is_flagged) in placed {
                @if is_flagged { (flagged(i + 1, finding, place, top, axis)) }
                @else { g class=(Weight::of(finding).class()) { (extent(i + 1, finding, place, top, axis)) } }
            }
        },
        is_linked: true,
    };
    if ends.is_empty() {
        html! {}
    } else {
        row.markup()
    }
}

/// The time that a finding takes.
fn extent(number: usize, finding: &FindingView, place: (f64, f64), top: u32, axis: Axis) -> Markup {
    let (from, to) = (axis.at(place.0), axis.at(place.1));
    html! {
        title { (number) ". " (finding.text) }
        rect.extent x=(percent(from)) y=(top + FLAG + 1) width=(percent((to - from).max(0.4))) height="6" {}
    }
}

fn flagged(number: usize, finding: &FindingView, place: (f64, f64), top: u32, axis: Axis) -> Markup {
    let from = axis.at(place.0);
    let weight = Weight::of(finding);
    // At the right edge the flag stands to the left of its place.
    let is_last = from > 100.0 - share(f64::from(FLAG) + 2.0);
    let shift = if is_last { -i64::from(FLAG) } else { 0 };
    html! {
        a id=(format!("place-{number}")) href=(format!("#finding-{number}")) class=(format!("flag {}", weight.class())) {
            (extent(number, finding, place, top, axis))
            svg.over x=(percent(from)) y=(top) {
                g transform=(format!("translate({shift} 0)")) {
                    (outline(weight))
                    text.flag-number x="12" y="16" text-anchor="middle" { (number) }
                }
            }
        }
    }
}

/// What the marks of the strip mean.
pub(super) fn key(view: &CheckView) -> Markup {
    let prescribed = |gait| view.reps.iter().any(|rep| rep.gait() == gait);
    key_of(
        |gait| prescribed(gait) || has(&view.bouts, gait),
        &view.findings.iter().map(Weight::of).collect::<Vec<_>>(),
    )
}

/// What those of an outing mean.
pub(super) fn outing_key(bouts: &[BoutView]) -> Markup {
    key_of(|gait| has(bouts, gait), &[])
}

fn has(bouts: &[BoutView], gait: Gait) -> bool {
    bouts.iter().any(|bout| bout.gait == gait)
}

fn key_of(has: impl Fn(Gait) -> bool, weights: &[Weight]) -> Markup {
    html! {
        ul.key aria-label="Marks" {
            @for (gait, height, word) in [(Gait::Run, 14, "run"), (Gait::Walk, 7, "walk"), (Gait::Stand, 2, "stand"), (Gait::Unknown, 14, "no data")] {
                @if has(gait) {
                    li {
                        svg.icon aria-hidden="true" width="18" height="16" {
                            rect class=(gait.word()) x="1" y=(15 - height) width="16" height=(height)
                                fill=[(gait == Gait::Unknown).then_some("url(#hatch-unknown)")] {}
                        }
                        (word)
                    }
                }
            }
            @for weight in Weight::ALL {
                @if weights.contains(&weight) { li { (flag_icon(weight, None)) (weight.words()) } }
            }
        }
    }
}

/// A flag beside its sentence.
pub(super) fn flag_icon(weight: Weight, number: Option<usize>) -> Markup {
    html! {
        svg class=(format!("icon flag {}", weight.class())) aria-hidden="true" width="24" height="24" {
            (outline(weight))
            @if let Some(number) = number {
                text.flag-number x="12" y="16" text-anchor="middle" { (number) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(gait: Gait, start_s: f64, end_s: f64) -> GaitSpan {
        GaitSpan { gait, start_s, end_s }
    }

    fn run(rep: u32, within_s: Option<(f64, f64)>) -> RepView {
        RepView::made_up(rep, Gait::Run, 60.0, within_s)
    }

    #[test]
    fn runs_done_bear_the_numbers_that_the_findings_use() {
        let done = [
            span(Gait::Walk, 0.0, 100.0),
            span(Gait::Run, 100.0, 130.0),
            span(Gait::Stand, 130.0, 150.0),
            span(Gait::Run, 150.0, 180.0),
            span(Gait::Walk, 180.0, 300.0),
            span(Gait::Run, 300.0, 360.0),
            span(Gait::Run, 400.0, 420.0),
        ];
        let reps = [run(1, Some((100.0, 180.0))), run(2, None), run(3, Some((300.0, 360.0)))];
        assert_eq!(matched(&done, &reps), [None, Some(1), None, Some(1), None, Some(3), None]);
        assert_eq!(numbered(&done)[1..4], [Some(1), None, Some(2)]);
    }
}
