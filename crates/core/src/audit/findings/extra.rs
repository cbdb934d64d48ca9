//! Running where none was prescribed.

use super::super::align::{Group, PieceKind, Span};
use super::super::certainty::doubted;
use super::super::measure;
use super::super::{Code, Finding};
use super::{LengthAudit, Lengths, Of};
use crate::gait::Gait;
use jogaudit_recording::units::Unit;

impl Lengths<'_> {
    /// Running where none was prescribed: after the last run, before the first, inside a walk.
    pub(super) fn extra_runs(&self, audit: &mut LengthAudit) {
        let runs_prescribed = self.matched.layout.targets.iter().filter(|t| t.gait == Gait::Run).count();
        let last_run = self.run_groups().map(|g| g.pieces.end).max();
        let reps = self.matched.done.iter().filter(|d| d.gait == Gait::Run).count() as u32;
        let mut after = 0;
        for at in self.extra() {
            let parts = self.run_parts(at.clone());
            let achieved = measure::total_s(&parts);
            let error = self.error_s(&parts);
            let tolerance = self.matched.prescription.tolerance.run.get();
            let is_after = runs_prescribed > 0 && last_run.is_some_and(|end| at.start >= end);
            let what = "Running that was not prescribed";
            if !self.counts(what, Of::RunExtra, Unit::Seconds, (achieved, tolerance, error), audit) {
                continue;
            }
            after += u32::from(is_after);
            if self.explains(achieved, tolerance, error) {
                audit.explained_s += achieved;
            }
            audit.findings.push(Finding {
                code: if is_after { Code::RepExtra } else { Code::UnplannedRun },
                rep: is_after.then_some(reps + after),
                start_s: parts.first().map(|s| s.start_s),
                end_s: parts.last().map(|s| s.end_s),
                prescribed: Some(0.0),
                range: None,
                achieved: Some(achieved),
                unit: Unit::Seconds,
                excess: Some(achieved),
                certainty: self.certainty_of(achieved, tolerance, error, measure::certainty(&parts)),
            });
        }
    }

    fn run_groups(&self) -> impl Iterator<Item = &Group> {
        let targets = &self.matched.layout.targets;
        self.alignment.groups.iter().filter(|g| targets[g.targets.start].gait == Gait::Run)
    }

    /// Pieces from the first to the last run of each that belongs to no prescribed one, only rests and holes between.
    fn extra(&self) -> Vec<Span> {
        let own = |i: usize| self.run_groups().any(|g| g.pieces.contains(&i));
        let mut extra: Vec<Span> = Vec::new();
        let mut interrupted = true;
        for (i, piece) in self.matched.pieces.iter().enumerate() {
            match piece.kind {
                PieceKind::Run if !own(i) => match extra.last_mut() {
                    Some(last) if !interrupted => last.end = i + 1,
                    _ => extra.push(i..i + 1),
                },
                PieceKind::Rest | PieceKind::Hole => continue,
                PieceKind::Run | PieceKind::Walk => {}
            }
            interrupted = piece.kind != PieceKind::Run || own(i);
        }
        extra
    }

    /// A run that seems to be extra may be the one that seems to be missing or joined with another, and where there was no more running in
    /// all than prescribed the rest of one that seems too short: it is no surer to be extra than that is to be missing.
    pub(super) fn doubt_by_what_is_missing(&self, findings: &mut [Finding]) {
        let is_more = self.kind_s(0..self.matched.pieces.len(), PieceKind::Run) > self.laid_out_s().most;
        let missing = findings.iter().filter(|f| match f.code {
            Code::RepMissing | Code::WalkMissing => true,
            Code::RunTooShort => !is_more,
            _ => false,
        });
        let surely = missing.map(|f| f.certainty).fold(1.0, f64::min);
        let extra = findings.iter_mut().filter(|f| matches!(f.code, Code::RepExtra | Code::UnplannedRun));
        extra.for_each(|f| f.certainty = doubted(f.certainty, f.certainty.min(surely)));
    }
}
