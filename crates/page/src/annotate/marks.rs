//! Marks, each the beginning of a gait, and the stretches between them.

use jogaudit_core::agree::bouts::GAITS;
use jogaudit_core::agree::input::MOST_BOUTS;
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::GaitSpan;

use super::super::refusal::Refusal;

/// From here on it is that gait, to the next mark or the end. Before the first mark nothing is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mark {
    pub(super) at_s: f64,
    pub(super) gait: Gait,
}

/// The marks that a form sends, a field `mark` each: seconds, a space, the gait.
pub(super) fn sent(fields: &[(String, String)], elapsed_s: f64) -> Result<Vec<Mark>, Refusal> {
    let mut marks: Vec<Mark> = Vec::new();
    for (_, text) in fields.iter().filter(|(name, _)| name == "mark") {
        let (at_s, gait) = text.split_once(' ').ok_or_else(Refusal::not_our_form)?;
        let at_s = at_s.parse::<f64>().map_err(|_| Refusal::not_our_form())?;
        let gait = GAITS.into_iter().find(|known| known.word() == gait).ok_or_else(Refusal::not_our_form)?;
        if !(0.0..=elapsed_s).contains(&at_s) {
            let what =
                format!("a mark at {at_s} s lies outside of the recording, which ends at {elapsed_s} s");
            return Err(Refusal::new(422, &what, "reload this page and mark again"));
        }
        let at_s = thousandths(at_s);
        if marks.last().is_some_and(|last| last.at_s >= at_s) {
            return Err(Refusal::not_our_form());
        }
        marks.push(Mark { at_s, gait });
    }
    // Before the first mark the time is unknown, which makes one stretch more.
    if marks.len() >= MOST_BOUTS {
        let what = format!("there are more than {} marks", MOST_BOUTS - 1);
        return Err(Refusal::new(422, &what, "delete marks that are none"));
    }
    Ok(marks)
}

/// The stretches from the beginning to the end, without gap; neighbours of one gait are one.
pub(super) fn spans(marks: &[Mark], elapsed_s: f64) -> Vec<GaitSpan> {
    let first = Mark { at_s: 0.0, gait: Gait::Unknown };
    let ends = marks.iter().map(|mark| mark.at_s).chain([elapsed_s]);
    let mut spans: Vec<GaitSpan> = Vec::new();
    for (mark, end_s) in
        std::iter::once(&first).chain(marks).zip(ends).filter(|(mark, end_s)| *end_s > mark.at_s)
    {
        match spans.last_mut() {
            Some(last) if last.gait == mark.gait => last.end_s = end_s,
            _ => spans.push(GaitSpan { gait: mark.gait, start_s: mark.at_s, end_s }),
        }
    }
    spans
}

/// The marks that make such stretches; what they do not cover is unknown.
pub(super) fn marks_of(spans: &[GaitSpan], elapsed_s: f64) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (at, span) in spans.iter().enumerate() {
        marks.push(Mark { at_s: span.start_s, gait: span.gait });
        if spans.get(at + 1).is_none_or(|next| next.start_s > span.end_s) && span.end_s < elapsed_s {
            marks.push(Mark { at_s: span.end_s, gait: Gait::Unknown });
        }
    }
    let is_first = |at: usize, mark: &Mark| at == 0 && mark.gait == Gait::Unknown;
    let within = |(at, mark): &(usize, Mark)| (0.0..=elapsed_s).contains(&mark.at_s) && !is_first(*at, mark);
    marks.into_iter().enumerate().filter(within).map(|(_, mark)| mark).collect()
}

/// A number in whole thousandths.
pub(super) fn thousandths(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}
