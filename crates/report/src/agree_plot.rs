//! Agreement as a picture (SVG): differences against means, and how far boundaries lie apart.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use jogaudit_core::agree::bouts::{BOUNDARY_SHARE, Tally};
use jogaudit_core::agree::input::Pairs;
use jogaudit_core::agree::scores::{BlandAltman, ConfidenceInterval};
use jogaudit_core::agree::{ComparedScores, Undefined};

use super::agree_text::digits;
use super::outside::escaped;

/// Colours of the light palette in `html/theme.css`.
const INK: RGBColor = RGBColor(0x1a, 0x1d, 0x21);
const QUIET: RGBColor = RGBColor(0x54, 0x5b, 0x66);
const LINE: RGBColor = RGBColor(0xc9, 0xce, 0xd6);
const POINT: RGBColor = RGBColor(0x00, 0x72, 0xb2);
const LIMIT: RGBColor = RGBColor(0x8f, 0x2d, 0x72);

const FONT: &str = "system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif";
const WIDTH: u32 = 760;
/// Height of one panel.
const HEIGHT: u32 = 380;
/// Room right of the data for the names of the lines.
const LABELS: u32 = 170;
/// More points than this are thinned out, so that a browser can show the picture.
const MOST_POINTS: usize = 5000;
/// Bars of the histogram, about.
const BARS: f64 = 30.0;

/// Why a picture could not be drawn; drawing into memory does not fail.
type Drawn = Result<(), Box<dyn std::error::Error>>;
type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Draws a Bland–Altman plot of every column, one below the other.
pub fn scores(compared: &ComparedScores) -> String {
    let panels: Vec<_> = compared.joined.columns.iter().zip(&compared.columns).collect();
    picture(panels.len(), |areas| {
        for (area, ((name, pairs), figures)) in areas.iter().zip(panels) {
            match &figures.limits {
                Ok(limits) => bland_altman(area, &escaped(name), pairs, limits)?,
                Err(reason) => nothing(area, &escaped(name), *reason)?,
            }
        }
        Ok(())
    })
}

/// Draws how far the boundaries of matched bouts lie apart.
pub fn bouts(tally: &Tally) -> String {
    picture(1, |areas| match tally.boundary_error() {
        Ok(error) => boundaries(&areas[0], &tally.boundaries_s, error.bias_s, error.p95_s),
        Err(reason) => nothing(&areas[0], "Boundaries of matched bouts", reason),
    })
}

fn picture(panels: usize, draw: impl FnOnce(&[Area<'_>]) -> Drawn) -> String {
    let mut svg = String::new();
    let rows = panels.max(1);
    let drawn = (|| {
        let root = SVGBackend::with_string(&mut svg, (WIDTH, HEIGHT * rows as u32)).into_drawing_area();
        root.fill(&WHITE)?;
        draw(&root.split_evenly((rows, 1)))?;
        root.present()?;
        Ok(())
    })();
    let drawn: Drawn = drawn;
    debug_assert!(drawn.is_ok(), "{drawn:?}");
    svg.push('\n');
    svg
}

fn text(size: u32, colour: RGBColor) -> TextStyle<'static> {
    TextStyle { color: colour.to_backend_color(), ..(FONT, size).into() }
}

fn nothing(area: &Area<'_>, title: &str, reason: Undefined) -> Drawn {
    area.draw_text(title, &text(17, INK), (16, 14))?;
    area.draw_text(&format!("Nothing to draw: {reason}."), &text(13, QUIET), (16, 44))?;
    Ok(())
}

fn bland_altman(area: &Area<'_>, name: &str, pairs: &Pairs, limits: &BlandAltman) -> Drawn {
    let points: Vec<(f64, f64)> =
        pairs.reference.iter().zip(&pairs.other).map(|(r, o)| (f64::midpoint(*r, *o), o - r)).collect();
    let every = points.len().div_ceil(MOST_POINTS);
    let thinned = if every > 1 { format!(", every {every}th drawn") } else { String::new() };
    area.draw_text(&format!("{name}: {} pairs{thinned}", points.len()), &text(17, INK), (16, 12))?;

    let ends = [limits.lower, limits.upper].into_iter().flat_map(|limit| {
        let interval = limit.interval.unwrap_or(ConfidenceInterval { low: limit.value, high: limit.value });
        [interval.low, interval.high]
    });
    let x = range(points.iter().map(|p| p.0));
    let y = range(points.iter().map(|p| p.1).chain(ends).chain([0.0]));
    let (Some(x), Some(y)) = (x, y) else { return too_large(area) };
    let mut chart = ChartBuilder::on(area)
        .margin_top(42)
        .margin_right(LABELS)
        .margin_left(12)
        .margin_bottom(8)
        .x_label_area_size(44)
        .y_label_area_size(64)
        .build_cartesian_2d(x.0..x.1, y.0..y.1)?;
    let y_number = |v: &f64| axis_number(*v, y.1 - y.0);
    axes(&mut chart, "mean of both sides", "other − reference", x.1 - x.0, &y_number)?;

    chart.draw_series([PathElement::new(vec![(x.0, 0.0), (x.1, 0.0)], LINE)])?;
    let lines = [
        ("upper limit", limits.upper, LIMIT),
        ("bias", limits.bias, INK),
        ("lower limit", limits.lower, LIMIT),
    ];
    for (_, line, colour) in lines {
        if let Ok(interval) = line.interval {
            let band = Rectangle::new([(x.0, interval.low), (x.1, interval.high)], colour.mix(0.10).filled());
            chart.draw_series([band])?;
        }
    }
    chart.draw_series(
        points.iter().step_by(every.max(1)).map(|point| Circle::new(*point, 3, POINT.mix(0.75).filled())),
    )?;
    // The limits are dashed, the bias is not: told apart without hue.
    let mut labels: Vec<(i32, String, RGBColor)> = Vec::new();
    for (what, line, colour) in lines {
        let ends = [(x.0, line.value), (x.1, line.value)];
        if what == "bias" {
            chart.draw_series([PathElement::new(ends.to_vec(), colour.stroke_width(2))])?;
        } else {
            chart.draw_series(DashedLineSeries::new(ends, 7, 5, colour.stroke_width(2)))?;
        }
        let at = chart.backend_coord(&(x.1, line.value)).1;
        labels.push((at, format!("{what} {}", minus(&digits(line.value))), colour));
    }
    let (_, top) = area.get_base_pixel();
    for (at, label, colour) in apart(labels) {
        let style = text(13, colour).pos(Pos::new(HPos::Left, VPos::Center));
        area.draw_text(&label, &style, ((WIDTH - LABELS + 8).cast_signed(), at - top))?;
    }
    Ok(())
}

fn boundaries(area: &Area<'_>, errors_s: &[f64], bias_s: f64, p95_s: f64) -> Drawn {
    // Far outliers would flatten everything else; how many are not drawn is said.
    let reach_s = 3.0 * step(p95_s.max(0.2), 2.0);
    if ![reach_s, bias_s].iter().all(|value| value.abs() <= GREATEST) {
        return too_large(area);
    }
    let shown: Vec<f64> = errors_s.iter().copied().filter(|s| s.abs() <= reach_s).collect();
    let title =
        format!("{} boundaries of bouts matched at an overlap share of {BOUNDARY_SHARE}", errors_s.len());
    area.draw_text(&title, &text(17, INK), (16, 12))?;
    let beyond = errors_s.len() - shown.len();
    if beyond > 0 {
        let note = format!("{beyond} further than {} s apart not drawn", digits(reach_s));
        area.draw_text(&note, &text(13, QUIET), (16, 36))?;
    }
    let width_s = step(2.0 * reach_s, BARS);
    let bins = (2.0 * reach_s / width_s).ceil() as usize;
    let mut counts = vec![0_u32; bins];
    for s in &shown {
        counts[(((s + reach_s) / width_s) as usize).min(bins - 1)] += 1;
    }
    let most = f64::from(counts.iter().copied().max().unwrap_or(1));
    let x = (-reach_s, -reach_s + bins as f64 * width_s);
    let mut chart = ChartBuilder::on(area)
        .margin_top(60)
        .margin_right(28)
        .margin_left(12)
        .margin_bottom(8)
        .x_label_area_size(44)
        .y_label_area_size(64)
        .build_cartesian_2d(x.0..x.1, 0.0..1.15 * most)?;
    let whole = |v: &f64| if v.fract() == 0.0 { format!("{v:.0}") } else { String::new() };
    let x_name = "other − reference, s (right: the other side is later)";
    axes(&mut chart, x_name, "boundaries", 2.0 * reach_s, &whole)?;
    chart.draw_series(counts.iter().enumerate().filter(|(_, n)| **n > 0).map(|(i, n)| {
        let from = x.0 + i as f64 * width_s;
        let mut bar = Rectangle::new([(from, 0.0), (from + width_s, f64::from(*n))], POINT.mix(0.8).filled());
        bar.set_margin(0, 0, 1, 1);
        bar
    }))?;
    chart.draw_series([PathElement::new(vec![(0.0, 0.0), (0.0, 1.15 * most)], LINE)])?;
    chart.draw_series([PathElement::new(vec![(bias_s, 0.0), (bias_s, 1.05 * most)], INK.stroke_width(2))])?;
    let (_, top) = area.get_base_pixel();
    let at = chart.backend_coord(&(bias_s, 1.05 * most));
    let style = text(13, INK).pos(Pos::new(HPos::Left, VPos::Bottom));
    area.draw_text(&minus(&format!("bias {bias_s:+.2} s")), &style, (at.0 + 4, at.1 - top))?;
    Ok(())
}

/// Draws both axes with their names. `length`: that of the x axis, which says how many decimals its numbers need.
fn axes(
    chart: &mut Chart<'_, '_>,
    x_name: &str,
    y_name: &str,
    length: f64,
    y_number: &dyn Fn(&f64) -> String,
) -> Drawn {
    chart
        .configure_mesh()
        .disable_mesh()
        .axis_style(LINE)
        .label_style(text(12, QUIET))
        .axis_desc_style(text(13, INK))
        .x_desc(x_name)
        .y_desc(y_name)
        .x_label_formatter(&|v| axis_number(*v, length))
        .y_label_formatter(y_number)
        .draw()?;
    Ok(())
}

/// Greatest value that is drawn, our choice: beyond, the distance between two values may not be a number any more.
const GREATEST: f64 = 1e100;
/// Least length of an axis, as a share of its values: below, the next tick would be the same number, and the least of all.
const LEAST_SHARE: f64 = 1e-9;
const LEAST_LENGTH: f64 = 1e-100;

fn too_large(area: &Area<'_>) -> Drawn {
    area.draw_text("Nothing to draw: the values are too large for a picture.", &text(13, QUIET), (16, 44))?;
    Ok(())
}

/// Least to greatest with room around them; `None` where they are too large to be drawn.
fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let mut all_drawn = true;
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        all_drawn &= v.abs() <= GREATEST;
        (low.min(v), high.max(v))
    });
    if !all_drawn || low > high {
        return None;
    }
    let greatest = low.abs().max(high.abs());
    let is_long = high - low > (LEAST_SHARE * greatest).max(LEAST_LENGTH);
    let room = if is_long { 0.06 * (high - low) } else { greatest.max(1.0) * 0.1 };
    Some((low - room, high + room))
}

/// The least of 1, 2 and 5 times a power of ten that is at least a `parts`th of `length`.
fn step(length: f64, parts: f64) -> f64 {
    let least = length / parts;
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= least * 0.999_999).unwrap_or(least)
}

/// A number at an axis of this length: as many decimals as its ticks need.
fn axis_number(value: f64, length: f64) -> String {
    let decimals = (1.0 - length.log10().floor()).clamp(0.0, 9.0) as usize;
    let written = format!("{value:.decimals$}");
    if written.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
        "0".to_owned()
    } else {
        written
    }
}

/// The sign that belongs to numbers.
fn minus(number: &str) -> String {
    number.replace('-', "−")
}

/// Moves labels apart that would cover each other, from top to bottom.
fn apart(mut labels: Vec<(i32, String, RGBColor)>) -> Vec<(i32, String, RGBColor)> {
    const GAP: i32 = 16;
    labels.sort_by_key(|label| label.0);
    for i in 1..labels.len() {
        labels[i].0 = labels[i].0.max(labels[i - 1].0 + GAP);
    }
    labels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_colours_are_those_of_the_theme() {
        let theme = include_str!("html/theme.css");
        for RGBColor(r, g, b) in [INK, QUIET, LINE, POINT, LIMIT] {
            assert!(theme.contains(&format!("#{r:02x}{g:02x}{b:02x};")), "{r:02x}{g:02x}{b:02x}");
        }
    }

    #[test]
    fn steps_are_round() {
        assert_eq!(
            [step(30.0, 30.0), step(31.0, 30.0), step(0.7, 1.0), step(6.0, 30.0)],
            [1.0, 2.0, 1.0, 0.2]
        );
    }

    #[test]
    fn a_picture_ends_for_any_finite_values() {
        let extremes = [
            0.0,
            5e-324,
            -1e-300,
            1.0,
            1.0 + f64::EPSILON,
            1e17,
            1e17 + 16.0,
            1e99,
            -1e101,
            f64::MAX,
            f64::MIN,
        ];
        for a in extremes {
            for b in extremes {
                for c in extremes {
                    let pairs =
                        Pairs { reference: vec![a, b, 0.0, c], other: vec![b, c, a, 1.0], missing: 0 };
                    let columns = vec![("x".to_owned(), pairs)];
                    let joined = jogaudit_core::agree::input::Joined { columns, ..Default::default() };
                    assert!(
                        scores(&jogaudit_core::agree::compare_scores(joined).value).ends_with("</svg>\n\n")
                    );
                }
            }
            let tally = Tally { boundaries_s: vec![a, 1.0, -a, a, 0.5], ..Tally::default() };
            assert!(bouts(&tally).ends_with("</svg>\n\n"));
        }
    }

    #[test]
    fn names_cannot_break_the_picture() {
        let pairs = Pairs { reference: vec![1.0, 2.0, 3.0], other: vec![1.0, 2.5, 3.0], missing: 0 };
        let joined = jogaudit_core::agree::input::Joined {
            columns: vec![("<a&b>".to_owned(), pairs), ("few".to_owned(), Pairs::default())],
            ..Default::default()
        };
        let svg = scores(&jogaudit_core::agree::compare_scores(joined).value);
        assert!(!svg.contains("<a&b>") && svg.contains("&lt;a&amp;b&gt;"), "{svg}");
        assert!(svg.contains("Nothing to draw: there is nothing to compare."));
        let mut reader = quick_xml::Reader::from_str(&svg);
        while !matches!(reader.read_event().unwrap(), quick_xml::events::Event::Eof) {}
    }
}
