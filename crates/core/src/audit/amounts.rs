//! What was done of each step, and in all.

use super::align::PieceKind;
use super::gradient::cost_ratio;
use super::matched::Matched;
use super::measure::{self, BoutPart, Done};
use super::{Amount, Dose, Rep};
use crate::clean::SpeedSource;
use crate::prescription::{Move, Step};
use crate::range::Range;
use jogaudit_recording::units::Seconds;

impl Matched<'_> {
    /// Each step with what was done for it. `over_ceiling_s` has one entry a step.
    pub(super) fn reps(&self, over_ceiling_s: &[Option<f64>]) -> Vec<Rep> {
        let steps = self.steps_done().zip(over_ceiling_s);
        steps.map(|((step, done), over)| self.rep(step, done, *over)).collect()
    }

    fn rep(&self, step: &Step, done: &Done, over_ceiling_s: Option<f64>) -> Rep {
        let series = self.series;
        let amounts = Some(step.extent.amounts());
        let (prescribed_s, prescribed_m) =
            if step.extent.is_time() { (amounts, None) } else { (None, amounts) };
        let has_any = !done.own.is_empty();
        let pace = |speed: Option<f64>| speed.filter(|v| *v > 0.0).map(|v| 1000.0 / v);
        let level = |k: usize| {
            let speed = series.speed_mps().get(k).copied().flatten()?;
            Some(speed * cost_ratio(done.gait, self.slopes.at(k)?))
        };
        let level_mps = measure::mean_by(series.time_s(), &done.own, level)
            .filter(|m| m.is_most_of(measure::total_s(&done.own)));
        Rep {
            rep: done.rep,
            motion: step.motion,
            prescribed_s,
            prescribed_m,
            // Standing is rest too.
            achieved_s: measure::total_s(&done.own)
                + if step.motion == Move::Rest { done.rest_s } else { 0.0 },
            achieved_m: measure::distance_m(series, &done.own).filter(|_| has_any),
            error_s: measure::error_s(&done.own),
            start_s: done.range_s.map(|r| r.0),
            end_s: done.range_s.map(|r| r.1),
            stand_s: done.rest_s,
            mean_pace_s_per_km: pace(self.ground_speed(&done.own)),
            level_pace_s_per_km: pace(level_mps.map(|m| m.value)),
            over_ceiling_s,
            mean_cadence_spm: measure::mean_cadence(series, &done.own),
            max_heart_rate_bpm: measure::greatest(series, &done.own, series.heart_rate_bpm()),
        }
    }

    /// Mean speed over ground: from the speed column, else from distance.
    fn ground_speed(&self, parts: &[BoutPart]) -> Option<f64> {
        let by_speed = || measure::mean(self.series, parts, self.series.speed_mps()).map(|m| m.value);
        let by_distance = || {
            let length_s = measure::total_s(parts);
            measure::distance_m(self.series, parts).filter(|_| length_s > 0.0).map(|d| d / length_s)
        };
        if self.series.speed_source() == SpeedSource::Absent {
            by_distance()
        } else {
            by_speed().or_else(by_distance)
        }
    }

    /// What was prescribed and done in all; `range_s` is from the first to the last second of running or walking. Prescribed is what
    /// the session's words say, and only where they leave it to the runner's speed what this way to do it came to.
    pub(super) fn dose(&self, range_s: Option<(f64, f64)>) -> Dose {
        let words = self.prescription.session.dose();
        let in_words = |time: Option<Range<Seconds>>| time.map(|time| time.map(Seconds::get));
        let laid_out = |gait: Option<Move>| -> Option<Range> {
            let timed = || self.layout.steps.iter().zip(&self.layout.lengths_s);
            let steps = || timed().filter(|(s, _)| gait.is_none_or(|g| s.motion == g));
            let open = steps().any(|(s, _)| !s.extent.is_time());
            (!open).then(|| steps().map(|(_, s)| *s).sum())
        };
        let bouts = |kind: PieceKind| -> Vec<BoutPart> {
            self.pieces.iter().filter(|p| p.kind == kind).map(BoutPart::of).collect()
        };
        let (run, walk) = (bouts(PieceKind::Run), bouts(PieceKind::Walk));
        let run_s = measure::total_s(&run);
        let session_s = range_s.map_or(0.0, |(from, to)| to - from);
        let cadence = measure::mean_cadence(self.series, &run);
        Dose {
            run_s: Amount {
                prescribed: in_words(words.run).or_else(|| laid_out(Some(Move::Run))),
                achieved: Some(run_s),
            },
            walk_s: Amount {
                prescribed: in_words(words.walk).or_else(|| laid_out(Some(Move::Walk))),
                achieved: Some(measure::total_s(&walk)),
            },
            session_s: Amount {
                prescribed: in_words(words.session).or_else(|| laid_out(None)),
                achieved: Some(session_s),
            },
            run_steps: if run.is_empty() { Some(0.0) } else { cadence.map(|c| c * run_s / 60.0) },
            run_distance_m: if run.is_empty() { Some(0.0) } else { measure::distance_m(self.series, &run) },
        }
    }
}
