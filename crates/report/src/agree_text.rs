//! Agreement in plain text, 80 columns wide.

use jogaudit_core::agree::bouts::BOUNDARY_SHARE;

use super::agree_view::{
    AgreedBoutsView, AgreedScoresView, BoundariesView, ColumnView, EstimateView, FigureView, IntervalView,
    IntervalsView, OneView,
};
use super::numbers::rounded;
use super::text::{HEADING, Page, QUIET, UNKNOWN, shown};
use super::wording::clock;

/// So many recordings are told one by one, the worst first; the JSON document has all.
const TOLD: usize = 10;

const ABOUT_BOUTS: &str = "Time and kappa leave out where the reference is unknown. Bouts are matched one to one and in order of \
    time when their shared time is at least that share of their joint time; F1 is 2 × matched / (bouts of both sides). \
    Boundaries are those of bouts matched at 0.50; an error above 0 means that the other side is later. Kappa depends on \
    how much there is of each gait: it compares only sets with like shares. Intervals are the middle of what draws of whole \
    recordings give; several recordings of one person, or fewer than some 24, make them too narrow.";

const ABOUT_SCORES: &str = "Differences are other − reference; the limits lie 1.96 standard deviations from the bias. Intervals \
    are 95 % and take the pairs as independent: several recordings of one person make them too narrow. ICC(2,1) and \
    concordance depend on how much the rows differ among themselves.";

/// Writes the agreement of bouts.
pub fn bouts(view: &AgreedBoutsView) -> String {
    let mut page = Page::default();
    let recordings = match view.recordings.compared {
        1 => "1 recording".to_owned(),
        n => format!("{n} recordings"),
    };
    let accuracy = shown(view.accuracy.value, |share| format!("{:.2} %", 100.0 * share));
    let summary = format!(
        "The same gait in {accuracy} of {} ({recordings}); kappa {}.",
        clock(view.compared_s),
        three(&view.kappa)
    );
    page.styled_paragraph(HEADING, &summary);
    for (name, figure) in [("share of time", &view.accuracy), ("kappa", &view.kappa)] {
        if let Some(reason) = &figure.reason {
            page.hanging("  ? ", "    ", &format!("No {name}: {reason}."));
        }
    }
    time_by_gait(&mut page, view);
    bout_table(&mut page, view);
    page.heading("Boundaries");
    page.paragraph("  ", &boundaries(&view.boundaries));
    if view.each.len() > 1 {
        intervals(&mut page, &view.intervals);
        recordings_one_by_one(&mut page, &view.each);
    }
    page.line("");
    page.styled_paragraph(QUIET, ABOUT_BOUTS);
    page.into_text()
}

fn time_by_gait(page: &mut Page, view: &AgreedBoutsView) {
    page.heading("Time by gait");
    page.line("                    the other side says");
    page.line("  reference            run      walk     stand   unknown");
    for row in &view.time_s {
        let cells = [row.run, row.walk, row.stand, row.unknown].map(|s| format!("{:>10}", clock(s)));
        page.line(&format!("  {:<14}{}", row.reference, cells.concat()));
    }
}

fn bout_table(page: &mut Page, view: &AgreedBoutsView) {
    page.heading("Bouts");
    let shares: Vec<String> = view
        .events
        .first()
        .map(|row| row.at.iter().map(|at| format!("{:>10}", format!("F1 {:.2}", at.overlap_share))).collect())
        .unwrap_or_default();
    page.line(&format!("  gait     reference   other{}", shares.concat()));
    for row in &view.events {
        let f1: Vec<String> = row.at.iter().map(|at| format!("{:>10}", three(&at.f1))).collect();
        page.line(&format!("  {:<8}{:>10}{:>8}{}", row.gait, row.reference, row.other, f1.concat()));
    }
}

fn intervals(page: &mut Page, view: &IntervalsView) {
    page.heading(&format!(
        "Intervals of {:.0} % over recordings, {} draws, seed {}",
        100.0 * view.confidence,
        view.resamples,
        view.seed
    ));
    let percent = |share: f64| format!("{:.2} %", 100.0 * share);
    let plain = |value: f64| format!("{value:.3}");
    let seconds = |s: f64| format!("{:+.2} s", rounded(s, 100.0));
    let distance = |s: f64| format!("{s:.2} s");
    let mut figure = |name: &str, interval: &IntervalView, said: &dyn Fn(f64) -> String| {
        let text = match (interval.low, interval.high, &interval.reason) {
            (Some(low), Some(high), _) => format!("{} to {}", said(low), said(high)),
            (.., reason) => format!("none: {}", reason.as_deref().unwrap_or(UNKNOWN)),
        };
        page.line(&format!("  {name:<30}{text}"));
    };
    figure("share of time", &view.accuracy, &percent);
    figure("kappa", &view.kappa, &plain);
    let f1 = view.f1.iter().find(|f1| f1.overlap_share == BOUNDARY_SHARE);
    f1.into_iter().for_each(|f1| figure("F1 0.50 of all bouts", &f1.interval, &plain));
    figure("boundaries, bias", &view.bias_s, &seconds);
    figure("boundaries, median distance", &view.median_s, &distance);
    figure("boundaries, 95th percentile", &view.p95_s, &distance);
}

/// Those that agree least first, at most [`TOLD`].
fn recordings_one_by_one(page: &mut Page, each: &[OneView]) {
    page.heading("Recordings, those that agree least first");
    page.line("  share of time     kappa   F1 0.50  name");
    let mut order: Vec<_> = each.iter().collect();
    order.sort_by(|a, b| {
        let key = |f: &FigureView| f.value.unwrap_or(-1.0);
        key(&a.accuracy).total_cmp(&key(&b.accuracy)).then_with(|| a.name.cmp(&b.name))
    });
    for one in order.iter().take(TOLD) {
        page.line(&format!(
            "  {:>13}{:>10}{:>10}  {}",
            shown(one.accuracy.value, |share| format!("{:.2} %", 100.0 * share)),
            three(&one.kappa),
            three(&one.event_f1),
            one.name
        ));
    }
    if order.len() > TOLD {
        page.line(&format!("  and {} more, all in the JSON document", order.len() - TOLD));
    }
}

fn boundaries(view: &BoundariesView) -> String {
    match (view.bias_s, view.median_s, view.p95_s) {
        (Some(bias), Some(median), Some(p95)) => format!(
            "{}: bias {:+.2} s, median distance {median:.2} s, 95th percentile {p95:.2} s.",
            view.count,
            rounded(bias, 100.0)
        ),
        _ => "No boundary of matched bouts to compare.".to_owned(),
    }
}

/// Writes the agreement of scores.
pub fn scores(view: &AgreedScoresView) -> String {
    let mut page = Page::default();
    let key = view.key.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    let columns = match view.columns.len() {
        1 => "1 column".to_owned(),
        n => format!("{n} columns"),
    };
    page.styled_paragraph(
        HEADING,
        &format!("{} rows joined by {key}; {columns} compared.", view.rows.joined),
    );
    for column in &view.columns {
        score(&mut page, column);
    }
    page.line("");
    page.styled_paragraph(QUIET, ABOUT_SCORES);
    page.into_text()
}

fn score(page: &mut Page, column: &ColumnView) {
    page.heading(&format!("{}, {} pairs", column.column, column.pairs));
    let figures = [
        ("bias", &column.bias),
        ("lower limit", &column.lower_limit),
        ("upper limit", &column.upper_limit),
        ("ICC(2,1)", &column.icc_2_1),
        ("concordance", &column.concordance),
    ];
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for (name, estimate) in figures {
        page.line(&format!("  {name:<14}{:>11}   {}", shown(estimate.value, digits), between(estimate)));
        if let Some(reason) = &estimate.reason {
            match reasons.iter_mut().find(|(known, _)| known == reason) {
                Some((_, names)) => names.push(name),
                None => reasons.push((reason, vec![name])),
            }
        }
    }
    page.line(&format!("  {:<14}{:>11}", "sd", shown(column.sd_of_differences.value, digits)));
    for (reason, names) in reasons {
        page.hanging("  ? ", "    ", &format!("{}: {reason}.", names.join(", ")));
    }
}

fn between(estimate: &EstimateView) -> String {
    match (estimate.low, estimate.high) {
        (Some(low), Some(high)) => format!("{} to {}", digits(low), digits(high)),
        _ => String::new(),
    }
}

fn three(figure: &FigureView) -> String {
    figure.value.map_or_else(|| UNKNOWN.to_owned(), |value| format!("{value:.3}"))
}

/// Four significant digits, whole numbers whole.
pub(super) fn digits(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-4..1e9).contains(&size) {
        return format!("{value:.3e}");
    }
    let before = if size >= 1.0 { size.log10().floor() as i32 } else { 0 };
    let text = format!("{value:.*}", (3 - before).max(0) as usize);
    if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') && size > 0.0 {
        return format!("{value:.1e}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_digits() {
        let written = [0.0, -2.117_6, 73.864_3, 12_345.6, 0.943_2, 1.0, 0.000_2, -78.1].map(digits);
        assert_eq!(written, ["0.000", "-2.118", "73.86", "12346", "0.943", "1.000", "2.0e-4", "-78.10"]);
    }

    #[test]
    fn no_bias_has_no_sign_of_its_own() {
        let view = BoundariesView {
            count: 10,
            bias_s: Some(-0.003),
            median_s: Some(0.1),
            p95_s: Some(0.3),
            reason: None,
        };
        assert!(boundaries(&view).contains("bias +0.00 s"), "{}", boundaries(&view));
    }
}
