//! The pace of a session as the audit takes it, with its error and ceilings, to be drawn.

use super::ceilings;
use super::matched::Matched;
use super::measure::BoutPart;
use super::pace::{self, Basis, PacePoint};
use crate::gait::Gait;

/// The ceiling of one run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CeilingSpan {
    /// First second of the run, s.
    pub start_s: f64,
    /// Last second of the run, s.
    pub end_s: f64,
    /// Speed never to be exceeded, m/s.
    pub ceiling_mps: f64,
    /// The same with the tolerance for the pace, m/s.
    pub tolerated_mps: f64,
}

/// What can be drawn of a session besides its bouts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Speeds along each bout of running and walking, in order of time; empty without speed.
    pub speeds: Vec<Vec<PacePoint>>,
    /// Length over which a speed is averaged, s.
    pub smoothing_s: f64,
    /// Whether the speed of running is that on level ground of the same cost.
    pub is_level: bool,
    /// The ceilings of the runs that were done.
    pub ceilings: Vec<CeilingSpan>,
    /// Cadence below which a walk is not brisk, steps a minute.
    pub walk_floor_spm: Option<f64>,
}

impl Matched<'_> {
    /// Gives what can be drawn of the session: its pace as the audit takes it, with its error and ceilings.
    pub fn trace(&self) -> Trace {
        let basis = |level| Basis { series: self.series, slopes: &self.slopes, level, stand_in: false };
        let (running, walking) = (basis(self.is_level()), basis(false));
        let cores = pace::cores(&self.done, self.config);
        let moving = self.pieces.iter().filter_map(|piece| {
            let basis = match piece.bout.gait {
                Gait::Run => &running,
                Gait::Walk => &walking,
                Gait::Stand | Gait::Unknown => return None,
            };
            Some((basis, BoutPart::of(piece).trimmed(self.config.pace_trail_s, self.config.pace_trail_s)))
        });
        let ceilings = self.steps_done().filter_map(|(step, done)| {
            let (ceiling_mps, (start_s, end_s)) = (self.ceiling_mps(step)?, done.range_s?);
            let tolerated_mps = ceiling_mps * (1.0 + self.prescription.tolerance.pace);
            Some(CeilingSpan { start_s, end_s, ceiling_mps, tolerated_mps })
        });
        Trace {
            speeds: pace::along(moving, &cores, self.config).filter(|points| !points.is_empty()).collect(),
            smoothing_s: self.config.pace_smoothing_s,
            is_level: self.is_level(),
            ceilings: ceilings.collect(),
            walk_floor_spm: ceilings::walk_floor_spm(&self.prescription, self.config),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Track, segmentation};
    use super::super::{AuditConfig, Prescription};
    use super::*;
    use crate::prescription::Plan;

    fn traced(plan: &str) -> Trace {
        let plan = Plan::parse(plan).unwrap().value;
        let bouts = segmentation("w120 r60 u30 r60 w120");
        let series = Track::of(&bouts).build();
        let config = AuditConfig::default();
        Matched::new(&bouts, &series, Prescription::of(&plan, &plan.stages[0]), &config).trace()
    }

    #[test]
    fn speeds_come_with_their_error_and_stay_within_their_bouts() {
        let trace =
            traced("[[stage]]\nname = '1'\nsession = 'walk 2:00, run 1:00, walk 0:30, run 1:00, walk 2:00'");
        let ranges: Vec<(f64, f64)> =
            trace.speeds.iter().map(|points| (points[0].at_s, points[points.len() - 1].at_s)).collect();
        let bouts = [(0.0, 120.0), (120.0, 180.0), (210.0, 270.0), (270.0, 390.0)];
        assert_eq!(ranges.len(), 4);
        for ((from_s, to_s), (start_s, end_s)) in ranges.into_iter().zip(bouts) {
            assert!(
                start_s < from_s && to_s < end_s && to_s - from_s > 0.7 * (end_s - start_s),
                "{from_s} {to_s}"
            );
        }
        let run = &trace.speeds[1];
        assert!(run.iter().all(|p| (p.speed_mps - 2.3).abs() < 0.01 && p.error_mps > 0.0), "{run:?}");
        assert!(trace.ceilings.is_empty() && trace.walk_floor_spm.is_none());
    }

    #[test]
    fn each_run_has_its_own_ceiling_with_its_tolerance() {
        let trace = traced(
            "[limits]\npace_ceiling = '8:00 /km'\nwalk_cadence_floor = '110 spm'\n[tolerance]\npace = '5 %'\n[[stage]]\n\
             name = '1'\nsession = 'walk 2:00, run 1:00, walk 0:30, run 1:00 @ 7:00 /km, walk 2:00'",
        );
        let ceilings: Vec<f64> = trace.ceilings.iter().map(|c| 1000.0 / c.ceiling_mps).collect();
        assert_eq!(ceilings.iter().map(|pace| pace.round()).collect::<Vec<_>>(), [480.0, 420.0]);
        assert!(trace.ceilings.iter().all(|c| (c.tolerated_mps / c.ceiling_mps - 1.05).abs() < 1e-12));
        assert_eq!((trace.ceilings[0].start_s, trace.ceilings[0].end_s), (120.0, 180.0));
        assert_eq!(trace.walk_floor_spm, Some(110.0));
    }
}
