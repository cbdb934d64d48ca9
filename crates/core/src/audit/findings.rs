//! Lengths against what was prescribed. One fault gives one finding: what a finding explains is not counted again.

mod extra;
mod length;

use length::Recorder;

use super::align::{Alignment, Group, Piece, PieceKind, Span, TargetPlace};
use super::certainty::{DECIDES, above_zero, doubted, left_undone, unless_unseen};
use super::matched::Matched;
use super::measure::{self, BoutPart, Done};
use super::{AuditConfig, Code, Finding};
use crate::gait::Gait;
use crate::range::Range;
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::units::{Seconds, Unit};

/// A prescribed walk counts as missing, not as cut short, when nobody walked and rests were shorter than this share. Our choice.
const REST_INSTEAD: f64 = 0.5;
/// Certainty is multiplied by this where a hole is long enough to hide what seems to be missing: at least
/// [`HIDING_SHARE`] of its length. Our choice.
const HIDDEN_CERTAINTY: f64 = 0.5;
/// See [`HIDDEN_CERTAINTY`].
const HIDING_SHARE: f64 = 0.5;
/// Assumed standard error of where a missing walk would have begun and ended, s. Our choice.
const MISSING_ERROR_S: f64 = 3.0;

/// Judges the lengths of what was done.
pub(super) struct Lengths<'a> {
    matched: &'a Matched<'a>,
    alignment: &'a Alignment,
    /// Step whose beginning is not on the recording.
    truncated: Option<usize>,
    runs_by_distance: Option<Recorder>,
    walks_by_distance: Option<Recorder>,
}

/// What the lengths gave.
#[derive(Default)]
pub(super) struct LengthAudit {
    pub(super) findings: Vec<Finding>,
    pub(super) notices: Vec<Notice>,
    /// Steps, by name, whose excess missing data may hide.
    hidden: Vec<String>,
    /// Running time above the prescribed that findings already account for, s.
    explained_s: f64,
    /// Whether it can't be told of some length whether it was too much.
    pub(super) is_open: bool,
}

/// What an excess would be.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Of {
    RunTooLong,
    RunTooShort,
    WalkTooShort,
    RunExtra,
}

impl Of {
    /// Whether it would be too much.
    fn is_overdoing(self) -> bool {
        self != Self::RunTooShort
    }

    /// So much of it, in words.
    fn says(self, excess: f64, unit: Unit) -> String {
        match self {
            Self::RunTooLong => format!("is {excess:.0} {unit} longer than prescribed"),
            Self::RunTooShort | Self::WalkTooShort => {
                format!("is {excess:.0} {unit} shorter than prescribed")
            }
            Self::RunExtra => format!("lasts {excess:.0} {unit}"),
        }
    }
}

impl LengthAudit {
    /// Says whose excess missing data may hide, if there is any.
    pub(super) fn note_hidden(&self) -> Option<Notice> {
        /// More are counted.
        const NAMED: usize = 6;
        let names = self.hidden.get(..NAMED).unwrap_or(&self.hidden);
        let more = match self.hidden.len() - names.len() {
            0 => String::new(),
            count => format!(" and {count} more"),
        };
        let text = format!("A stretch without data leaves these lengths open: {}{more}.", names.join(", "));
        (!names.is_empty()).then(|| Notice::new(NoticeCode::HoleHidesLength, text))
    }
}

impl<'a> Lengths<'a> {
    pub(super) fn new(matched: &'a Matched<'a>, alignment: &'a Alignment, truncated: Option<usize>) -> Self {
        let [runs_by_distance, walks_by_distance] =
            [Gait::Run, Gait::Walk].map(|gait| Recorder::of(matched, gait));
        Self { matched, alignment, truncated, runs_by_distance, walks_by_distance }
    }
}

impl Lengths<'_> {
    /// All findings about lengths but the session's own.
    pub(super) fn check(&self) -> LengthAudit {
        let mut audit = LengthAudit::default();
        self.extra_runs(&mut audit);
        let cut = self.breaks(&mut audit);
        self.runs(&cut, &mut audit);
        self.running_time(&mut audit);
        self.doubt_by_what_is_missing(&mut audit.findings);
        self.doubt_by_the_whole(&mut audit.findings);
        audit
    }

    /// Where running and walking are told apart too uncertainly on the whole, no length is surer than that: bouts that are sure there are
    /// wrong more often than others that are as sure.
    fn doubt_by_the_whole(&self, findings: &mut [Finding]) {
        let certainty = self.matched.mean_certainty();
        if certainty < self.matched.config.mean_certainty {
            findings.iter_mut().for_each(|f| f.certainty = doubted(f.certainty, f.certainty.min(certainty)));
        }
    }

    fn group_of(&self, target: usize) -> Option<&Group> {
        self.alignment.groups.iter().find(|g| g.targets.contains(&target))
    }

    /// The group in which a step lies.
    fn group_of_step(&self, step: usize) -> Option<&Group> {
        let target = self.matched.layout.targets.iter().position(|t| t.steps.contains(&step))?;
        self.group_of(target)
    }

    /// Whether the target has bouts of its own.
    fn is_done(&self, target: usize) -> bool {
        self.group_of(target).is_some_and(|g| (target - g.targets.start).is_multiple_of(2))
    }

    fn kind_s(&self, pieces: Span, kind: PieceKind) -> f64 {
        self.matched.pieces[pieces].iter().filter(|p| p.kind == kind).map(|p| p.bout.duration_s()).sum()
    }

    fn run_parts(&self, pieces: Span) -> Vec<BoutPart> {
        let pieces = self.matched.pieces[pieces].iter();
        pieces.filter(|p| p.kind == PieceKind::Run).map(BoutPart::of).collect()
    }

    fn holes_s(&self) -> f64 {
        self.kind_s(0..self.matched.pieces.len(), PieceKind::Hole)
    }

    /// Time without data right before and right after a group, stops between not counted, s: what belongs to the
    /// group may go on in it.
    fn holes_beside_s(&self, group: &Group) -> (f64, f64) {
        let idle = |p: &&Piece| matches!(p.kind, PieceKind::Rest | PieceKind::Hole);
        let hole_s = |p: &Piece| if p.kind == PieceKind::Hole { p.bout.duration_s() } else { 0.0 };
        let before =
            self.matched.pieces[..group.pieces.start].iter().rev().take_while(idle).map(hole_s).sum();
        let after = self.matched.pieces[group.pieces.end..].iter().take_while(idle).map(hole_s).sum();
        (before, after)
    }

    /// Whether a length is sure enough beyond tolerance to explain what it leads to. (Doubt about the gait is the same
    /// for both.)
    fn explains(&self, excess: f64, tolerance: f64, error: f64) -> bool {
        self.certainty_of(excess, tolerance, error, 1.0) >= DECIDES
    }

    fn certainty_of(&self, excess: f64, tolerance: f64, error: f64, gait: f64) -> f64 {
        above_zero(excess - self.matched.config.time_share * tolerance, error) * gait
    }

    /// Whether an excess is beyond tolerance and error. Notes it where only the error stands against it; what would be too much, and is
    /// beyond what error usually explains, stays open.
    fn counts(
        &self,
        what: &str,
        of: Of,
        unit: Unit,
        (excess, tolerance, error): (f64, f64, f64),
        audit: &mut LengthAudit,
    ) -> bool {
        if excess <= tolerance {
            return false;
        }
        let config = self.matched.config;
        let beyond_error = excess > config.time_errors * error;
        if !beyond_error {
            let is_open = of.is_overdoing() && excess - tolerance > config.open_time_errors * error;
            let then = if is_open { "it can't be told whether it was too much" } else { "it is not counted" };
            audit.is_open |= is_open;
            audit.notices.push(Notice::new(
                NoticeCode::WithinError,
                format!(
                    "{what} {}, more than is let pass ({tolerance:.0} {unit}), but the error of its measurement \
                     ({error:.1} {unit}) may explain that; {then}.",
                    of.says(excess, unit)
                ),
            ));
        }
        beyond_error
    }

    fn error_s(&self, parts: &[BoutPart]) -> f64 {
        measure::error_s(parts).max(self.matched.config.least_error_s)
    }

    /// Walk breaks that are missing or too short. Gives the cut of each target, s, where a finding says so.
    fn breaks(&self, audit: &mut LengthAudit) -> Vec<f64> {
        let mut cut = vec![0.0; self.matched.layout.targets.len()];
        for (index, target) in self.matched.layout.targets.iter().enumerate() {
            if target.gait != Gait::Walk || target.place != TargetPlace::Inner {
                continue;
            }
            if self.is_done(index) {
                cut[index] = self.short_break(index, audit);
            } else if self.is_done(index - 1) && self.is_done(index + 1) {
                self.missing_break(index, 0.0, audit);
            }
        }
        cut
    }

    /// A break that was made. Standing counts as a break; running inside it is a finding of its own.
    fn short_break(&self, index: usize, audit: &mut LengthAudit) -> f64 {
        let target = &self.matched.layout.targets[index];
        let Some(group) = self.group_of(index).filter(|g| g.targets.len() == 1) else {
            return 0.0;
        };
        let parts: Vec<BoutPart> = self.matched.pieces[group.pieces.clone()]
            .iter()
            .filter(|p| p.kind == PieceKind::Walk)
            .map(BoutPart::of)
            .collect();
        let rest_s = self.kind_s(group.pieces.clone(), PieceKind::Rest);
        let (before_s, after_s) = self.holes_beside_s(group);
        let hole_s = self.kind_s(group.pieces.clone(), PieceKind::Hole) + before_s + after_s;
        let run_s = self.kind_s(group.pieces.clone(), PieceKind::Run);
        let known_s = measure::total_s(&parts) + rest_s;
        let break_s = known_s + hole_s;
        if parts.is_empty() && break_s < REST_INSTEAD * target.length_s.least {
            self.missing_break(index, break_s, audit);
            return 0.0;
        }
        let length = self.length(
            target.steps.start,
            target.length_s,
            known_s,
            break_s,
            &parts,
            self.matched.prescription.tolerance.walk.get(),
        );
        let short = length.prescribed.least - length.at_most - run_s * length.per_second;
        let rep = self.matched.done[target.steps.start].rep;
        let what = format!("Walk {rep}");
        let error = length.error_of_short(short);
        if !self.counts(&what, Of::WalkTooShort, length.unit, (short, length.tolerance, error), audit) {
            let known_short = length.prescribed.least - length.achieved - run_s * length.per_second;
            if short <= length.tolerance && known_short > length.tolerance {
                audit.hidden.push(what.to_lowercase());
            }
            return 0.0;
        }
        let pieces = &self.matched.pieces[group.pieces.clone()];
        let looks = self.certainty_of(short, length.tolerance, error, measure::certainty(&parts));
        audit.findings.push(Finding {
            code: Code::WalkCutShort,
            rep: Some(rep),
            start_s: pieces.first().map(|p| p.bout.start_s),
            end_s: pieces.last().map(|p| p.bout.end_s),
            prescribed: Some(length.prescribed.least),
            range: real(length.prescribed),
            achieved: Some(length.at_most),
            unit: length.unit,
            excess: Some(short),
            certainty: doubted(looks, looks * self.certainty_beside(group, PieceKind::Run)),
        });
        short / length.per_second
    }

    fn missing_break(&self, index: usize, rest_s: f64, audit: &mut LengthAudit) {
        let target = &self.matched.layout.targets[index];
        let missing_s = target.length_s.least - rest_s;
        let tolerance = self.matched.prescription.tolerance.walk.get();
        if missing_s <= tolerance {
            return;
        }
        let neighbours: Vec<&Done> = [index - 1, index + 1]
            .into_iter()
            .flat_map(|t| self.matched.done[self.matched.layout.targets[t].steps.clone()].iter())
            .collect();
        let parts: Vec<BoutPart> = neighbours.iter().flat_map(|d| d.own.iter().copied()).collect();
        let hole_s = self.group_of(index).map_or(0.0, |g| self.kind_s(g.pieces.clone(), PieceKind::Hole));
        // No more running than one of them asks for, and a hole: that does not show two runs joined.
        let longest_s = neighbours.iter().map(|d| d.length_s.most).fold(0.0, f64::max);
        if hole_s > 0.0
            && measure::total_s(&parts) <= longest_s + self.matched.prescription.tolerance.run.get()
        {
            audit.hidden.push(format!("walk {}", self.matched.done[target.steps.start].rep));
            return;
        }
        let gait = measure::certainty(&parts);
        let of = |gait| self.certainty_of(missing_s, tolerance, MISSING_ERROR_S, gait);
        let unseen = of(unless_unseen(gait, target.length_s.least));
        let looks = doubted(of(gait), unseen * self.certainty_of_joint(index));
        // Running on through the walk is this same fault.
        if let Some(group) = self.group_of(index) {
            let walks = group.targets.len() / 2;
            let (mut over_s, mut walk_s) = (0.0, 0.0);
            for t in group.targets.clone() {
                if self.is_done(t) {
                    over_s += self.matched.done[self.matched.layout.targets[t].steps.clone()]
                        .iter()
                        .map(|d| measure::total_s(&d.own) - d.length_s.most)
                        .sum::<f64>();
                } else {
                    walk_s += self.matched.layout.targets[t].length_s.least;
                }
            }
            audit.explained_s += over_s.clamp(0.0, walk_s) / walks.max(1) as f64;
        }
        audit.findings.push(Finding {
            code: Code::WalkMissing,
            rep: Some(self.matched.done[target.steps.start].rep),
            start_s: parts.first().map(|s| s.start_s),
            end_s: parts.last().map(|s| s.end_s),
            prescribed: Some(target.length_s.least),
            range: real(target.length_s),
            achieved: Some(rest_s),
            unit: Unit::Seconds,
            excess: Some(missing_s),
            certainty: unless_hidden(looks, hole_s, missing_s),
        });
    }

    /// Certainty that there is more running where a break is missing than the runs around it but one ask for: else that one may be missing
    /// instead.
    fn certainty_of_joint(&self, index: usize) -> f64 {
        let Some(group) = self.group_of(index).filter(|group| group.targets.len() > 1) else {
            return 1.0;
        };
        let runs = self.matched.layout.targets[group.targets.clone()].iter().filter(|t| t.gait == Gait::Run);
        let (mut all_s, mut shortest_s) = (0.0, f64::INFINITY);
        for Range { least, most } in runs.map(|run| run.length_s) {
            let asked_s = if most.is_finite() { most } else { least };
            all_s += asked_s;
            shortest_s = asked_s.min(shortest_s);
        }
        let parts = self.run_parts(group.pieces.clone());
        let excess_s = measure::total_s(&parts) - (all_s - shortest_s);
        let tolerance_s = self.matched.prescription.tolerance.run.get().min(0.5 * shortest_s);
        self.certainty_of(excess_s, tolerance_s, self.error_s(&parts), 1.0)
    }

    /// Runs that are too long, too short or missing.
    fn runs(&self, cut: &[f64], audit: &mut LengthAudit) {
        for (index, target) in
            self.matched.layout.targets.iter().enumerate().filter(|(_, t)| t.gait == Gait::Run)
        {
            // A run that grew into the walk beside it, which is found cut short, is that one fault.
            let beside = |t: Option<usize>| t.and_then(|t| cut.get(t)).copied().unwrap_or(0.0);
            let cut_s = beside(index.checked_sub(1)).max(beside(Some(index + 1)));
            let (before_s, after_s) = self.group_of(index).map_or((0.0, 0.0), |g| self.holes_beside_s(g));
            for step in target.steps.clone() {
                let done = &self.matched.done[step];
                if done.own.is_empty() {
                    self.missing_run(step, audit);
                } else if !done.joined {
                    let before_s = if step == target.steps.start { before_s } else { 0.0 };
                    let after_s = if step + 1 == target.steps.end { after_s } else { 0.0 };
                    self.run(step, cut_s, done.hole_s + before_s + after_s, audit);
                }
            }
        }
    }

    fn missing_run(&self, step: usize, audit: &mut LengthAudit) {
        let done = &self.matched.done[step];
        if done.length_s.least <= self.matched.prescription.tolerance.run.get() {
            return;
        }
        let extent = self.matched.layout.steps[step].extent;
        let unit = if extent.is_time() { Unit::Seconds } else { Unit::Metres };
        let prescribed = extent.least.amount();
        // It would have lain in what was walked there; where that is not known, anywhere.
        let there = self.group_of_step(step).map(|group| group.pieces.clone());
        let pieces = &self.matched.pieces[there.unwrap_or(0..self.matched.pieces.len())];
        let bouts: Vec<BoutPart> =
            pieces.iter().filter(|p| p.kind != PieceKind::Hole).map(BoutPart::of).collect();
        let gait = measure::certainty(&bouts);
        let looks = doubted(gait, left_undone(unless_unseen(gait, done.length_s.least)));
        audit.findings.push(Finding {
            code: Code::RepMissing,
            rep: Some(done.rep),
            start_s: None,
            end_s: None,
            prescribed: Some(prescribed),
            range: real(extent.amounts()),
            achieved: Some(0.0),
            unit,
            excess: Some(prescribed),
            certainty: unless_hidden(looks, self.holes_s(), done.length_s.least),
        });
    }

    /// One run; `cut_s` was taken from the walk beside it, `hole_s` without data may belong to it.
    fn run(&self, step: usize, cut_s: f64, hole_s: f64, audit: &mut LengthAudit) {
        let done = &self.matched.done[step];
        let own_s = measure::total_s(&done.own);
        let tolerance_s = self.matched.prescription.tolerance.run.get();
        let length = self.length(step, done.length_s, own_s, own_s + hole_s, &done.own, tolerance_s);
        let excess = length.achieved - length.prescribed.most;
        let short = length.prescribed.least - length.at_most;
        let gait = measure::certainty(&done.own);
        let what = format!("Run {}", done.rep);
        let (error_of_long, error_of_short) = (length.error_of_long(excess), length.error_of_short(short));
        let finding = |code, end: f64, (amount, error): (f64, f64), achieved, gait| Finding {
            code,
            rep: Some(done.rep),
            start_s: done.range_s.map(|r| r.0),
            end_s: done.range_s.map(|r| r.1),
            prescribed: Some(end),
            range: real(length.prescribed),
            achieved: Some(achieved),
            unit: length.unit,
            excess: Some(amount),
            certainty: self.certainty_of(amount, length.tolerance, error, gait),
        };
        if self.counts(&what, Of::RunTooLong, length.unit, (excess, length.tolerance, error_of_long), audit) {
            if self.explains(excess, length.tolerance, error_of_long) {
                audit.explained_s += excess / length.per_second;
            }
            if excess - cut_s * length.per_second > length.tolerance {
                let most = length.prescribed.most;
                audit.findings.push(finding(
                    Code::RunTooLong,
                    most,
                    (excess, error_of_long),
                    length.achieved,
                    gait,
                ));
            }
        } else if excess <= length.tolerance && length.at_most - length.prescribed.most > length.tolerance {
            audit.hidden.push(what.to_lowercase());
        } else if self.truncated != Some(step)
            && self.counts(
                &what,
                Of::RunTooShort,
                length.unit,
                (short, length.tolerance, error_of_short),
                audit,
            )
        {
            let group = self.group_of_step(step);
            let beside = group.map_or(1.0, |group| self.certainty_beside(group, PieceKind::Walk));
            let gait = doubted(gait, gait * left_undone(beside));
            let least = length.prescribed.least;
            audit.findings.push(finding(
                Code::RunTooShort,
                least,
                (short, error_of_short),
                length.at_most,
                gait,
            ));
        }
    }

    /// How certain the less certain bout of the other gait right before or after a run or walk is: the run or walk may go on in it.
    fn certainty_beside(&self, group: &Group, other: PieceKind) -> f64 {
        let pieces = &self.matched.pieces;
        let beside = [group.pieces.start.checked_sub(1), Some(group.pieces.end)];
        let others = beside.into_iter().flatten().filter_map(|at| pieces.get(at));
        others.filter(|piece| piece.kind == other).map(|piece| piece.bout.certainty).fold(1.0, f64::min)
    }

    /// Running time that the prescribed runs have in all, s, as the session is laid out.
    fn laid_out_s(&self) -> Range {
        self.matched.done.iter().filter(|d| d.gait == Gait::Run).map(|d| d.length_s).sum()
    }

    /// Running time in all, beyond what other findings explain: many small overruns.
    fn running_time(&self, audit: &mut LengthAudit) {
        // What the session allows in all, whichever of its ways was taken.
        let allowed = self.matched.prescription.session.dose().run.map(|run| run.map(Seconds::get));
        let range = allowed.filter(|range| !range.is_exact()).unwrap_or_else(|| self.laid_out_s());
        let prescribed = range.most;
        let runs = self.matched.done.iter().filter(|d| d.gait == Gait::Run).count();
        if prescribed <= 0.0 || prescribed.is_infinite() {
            return;
        }
        let parts = self.run_parts(0..self.matched.pieces.len());
        let achieved = measure::total_s(&parts);
        let excess = achieved - prescribed - audit.explained_s;
        let tolerance = (self.matched.prescription.tolerance.run.get() * (runs as f64).sqrt())
            .max(self.matched.config.running_total_fraction * prescribed);
        let error = self.error_s(&parts).hypot(self.error_of_distances_s());
        let what = "The running time in all";
        if !self.counts(what, Of::RunTooLong, Unit::Seconds, (excess, tolerance, error), audit) {
            return;
        }
        audit.findings.push(Finding {
            code: Code::RunningTimeOver,
            rep: None,
            start_s: parts.first().map(|s| s.start_s),
            end_s: parts.last().map(|s| s.end_s),
            prescribed: Some(prescribed),
            range: real(range),
            achieved: Some(achieved),
            unit: Unit::Seconds,
            excess: Some(achieved - prescribed),
            certainty: self.certainty_of(excess, tolerance, error, measure::certainty(&parts)),
        });
    }
}

/// How certain it is that something is missing, where time without data may hide it.
fn unless_hidden(looks: f64, hole_s: f64, missing_s: f64) -> f64 {
    if hole_s >= HIDING_SHARE * missing_s { doubted(looks, looks * HIDDEN_CERTAINTY) } else { looks }
}

/// A range whose ends differ.
fn real(range: Range) -> Option<Range> {
    Some(range).filter(|range| !range.is_exact())
}

/// The whole session against its limit, where what other findings say does not explain it. `hole_s` is the time
/// without data: a session that is too long only with it may be two.
pub(super) fn session_length(
    (start_s, end_s): (f64, f64),
    hole_s: f64,
    limit_s: f64,
    audit: &mut LengthAudit,
    config: &AuditConfig,
) {
    let explained = |f: &Finding| match f.code {
        Code::RunTooLong | Code::RepExtra | Code::UnplannedRun
            if f.unit == Unit::Seconds && f.certainty >= DECIDES =>
        {
            f.excess.unwrap_or(0.0)
        }
        _ => 0.0,
    };
    let achieved = end_s - start_s;
    let excess = achieved - limit_s;
    let unexplained = excess - audit.findings.iter().map(explained).sum::<f64>();
    if unexplained <= config.session_s {
        return;
    }
    if unexplained - hole_s <= config.session_s {
        audit.hidden.push("the whole session".to_owned());
        return;
    }
    audit.findings.push(Finding {
        code: Code::SessionTooLong,
        rep: None,
        start_s: Some(start_s),
        end_s: Some(end_s),
        prescribed: Some(limit_s),
        range: None,
        achieved: Some(achieved),
        unit: Unit::Seconds,
        excess: Some(excess),
        certainty: above_zero(excess - config.time_share * config.session_s, config.least_error_s),
    });
}
