//! Limits that are missing, that contradict each other, or that the runner's own data show to be impossible.

use jiff::civil::Weekday;

use super::increments::exceeds;
use super::{LintCode, Remark, RemarkUnit};
use crate::prescription::calendar::least_between;
use crate::prescription::figures::Figures;
use crate::prescription::{Move, Plan, Runner, Stage};
use jogaudit_recording::units::StepsPerMinute;

/// Upper end of brisk walking, m/s: 3.5 miles an hour (label of the Compendium of Physical Activities 2011).
pub const BRISK_WALK_MPS: f64 = 1.56;
/// Mean speed that people reached mostly by walking over ground, m/s (Baker, Long, Srinivasan, arXiv 2501.00720).
pub const MOSTLY_WALKING_MPS: f64 = 1.9;
/// Share of the greatest heart rate at which moderate effort begins (Garber et al. 2011, MSSE 43:1334-59).
pub const LEAST_RUNNING_HEART_SHARE: f64 = 0.64;
/// Steps a minute at which adults change from walking to running (doi 10.1080/02640414.2020.1855869).
pub const SLOWEST_RUN_SPM: f64 = 140.0;
/// Lower end of the band in which walking turns to running, steps a minute (doi 10.1016/j.humov.2023.103117).
pub const LEAST_RUN_SPM: f64 = 135.0;
/// Heuristic for walking at moderate effort, steps a minute (Tudor-Locke et al. 2019, IJBNPA 16:8).
pub const LEAST_BRISK_SPM: f64 = 100.0;
/// Most pain that the published pain-monitoring model lets pass (Silbernagel et al. 2007, AJSM 35:897-906).
pub const MOST_PAIN: f64 = 5.0;

pub(super) fn remarks(plan: &Plan, figures: &[Figures]) -> Vec<Remark> {
    let mut found = Vec::new();
    run_cadence(plan, &mut found);
    first_stage(plan, &mut found);
    for (stage, figures) in plan.stages.iter().zip(figures) {
        session_ceiling(stage, figures, &mut found);
        walk_cadence(stage, &plan.runner, &mut found);
        pain(stage, &mut found);
        if figures.runs > 0 {
            rest(stage, &mut found);
            weekdays(stage, &plan.weekdays, &mut found);
            pace(stage, &mut found);
            heart_rate(stage, &plan.runner, &mut found);
        }
    }
    found
}

fn run_cadence(plan: &Plan, found: &mut Vec<Remark>) {
    if let Some(cadence) = plan.runner.usual_run_cadence.filter(|c| c.get() < SLOWEST_RUN_SPM) {
        let remark = Remark::new(LintCode::RunCadenceIsWalking, "", RemarkUnit::StepsPerMinute)
            .held(cadence.get(), SLOWEST_RUN_SPM);
        let stages = plan.stage_names().map(str::to_owned).collect();
        found.push(Remark { stages, ..remark });
    }
}

/// The first stage that runs says how hard: by a ceiling for each run, or in words.
fn first_stage(plan: &Plan, found: &mut Vec<Remark>) {
    let Some(first) = plan.stages.iter().find(|stage| stage.session.prescribes_running()) else { return };
    let has_words = plan.note.is_some() || first.note.is_some();
    let limits = &first.limits;
    let has_ceiling =
        limits.heart_rate_ceiling.is_some() || limits.effort_ceiling.is_some() || is_paced(first);
    if !has_words && !has_ceiling {
        found.push(Remark::new(LintCode::FirstStageWithoutCeiling, &first.name, RemarkUnit::Seconds));
    }
}

/// Whether each run of a stage has a pace ceiling.
fn is_paced(stage: &Stage) -> bool {
    let steps = stage.session.expand().kinds_of_step();
    steps.iter().all(|step| step.motion != Move::Run || step.pace_ceiling(&stage.limits).is_some())
}

fn session_ceiling(stage: &Stage, figures: &Figures, found: &mut Vec<Remark>) {
    if let Some(ceiling) = stage.limits.session_ceiling
        && exceeds(figures.session_s, ceiling.get())
    {
        let remark = Remark::new(LintCode::SessionOverItsCeiling, &stage.name, RemarkUnit::Seconds)
            .held(figures.session_s, ceiling.get());
        found.push(Remark { is_estimated: !figures.is_session_exact, ..remark });
    }
}

fn rest(stage: &Stage, found: &mut Vec<Remark>) {
    const DAYS_OF_A_WEEK: u32 = 7;
    let rest_days = stage.limits.rest_days_between;
    let Some(rest_days) = rest_days.filter(|days| *days > 0) else {
        let remark = Remark::new(LintCode::RestDaysMissing, &stage.name, RemarkUnit::Days);
        found.push(Remark { value: rest_days.map(f64::from), limit: Some(1.0), ..remark });
        return;
    };
    let Some(sessions) = stage.limits.sessions_per_week else { return };
    // The first and the last day of a week may both have a session.
    let most = (DAYS_OF_A_WEEK + rest_days) / (1 + rest_days);
    let sessions = sessions.most;
    if sessions > most {
        let remark = Remark::new(LintCode::RestDaysDoNotFit, &stage.name, RemarkUnit::Sessions);
        let remark = remark.held(f64::from(sessions), f64::from(most));
        found.push(Remark { base: Some(f64::from(rest_days)), ..remark });
    }
}

/// Sessions meant for every weekday of the plan keep the stage's days of rest.
fn weekdays(stage: &Stage, weekdays: &[Weekday], found: &mut Vec<Remark>) {
    let (Some(least), Some(rest_days)) = (least_between(weekdays), stage.limits.rest_days_between) else {
        return;
    };
    if least < rest_days {
        let remark = Remark::new(LintCode::WeekdaysBreakRest, &stage.name, RemarkUnit::Days);
        found.push(remark.held(f64::from(least), f64::from(rest_days)));
    }
}

fn pace(stage: &Stage, found: &mut Vec<Remark>) {
    for ceiling in stage.pace_ceilings() {
        let speed_mps = ceiling.get();
        let (code, limit_mps) = if speed_mps <= BRISK_WALK_MPS {
            (LintCode::PaceCeilingIsWalking, BRISK_WALK_MPS)
        } else if speed_mps <= MOSTLY_WALKING_MPS {
            (LintCode::PaceCeilingIsSlow, MOSTLY_WALKING_MPS)
        } else {
            continue;
        };
        found.push(Remark::new(code, &stage.name, RemarkUnit::MetresPerSecond).held(speed_mps, limit_mps));
    }
}

fn heart_rate(stage: &Stage, runner: &Runner, found: &mut Vec<Remark>) {
    let (Some(ceiling), Some(most)) = (stage.limits.heart_rate_ceiling, runner.max_heart_rate) else {
        return;
    };
    let (ceiling_bpm, most_bpm) = (ceiling.get(), most.get());
    let least_bpm = most_bpm * LEAST_RUNNING_HEART_SHARE;
    let remark = |code| Remark::new(code, &stage.name, RemarkUnit::BeatsPerMinute);
    if ceiling_bpm >= most_bpm {
        found.push(remark(LintCode::HeartRateCeilingAboveMax).held(ceiling_bpm, most_bpm));
    } else if ceiling_bpm < least_bpm {
        let too_low = remark(LintCode::HeartRateCeilingTooLow).held(ceiling_bpm, least_bpm);
        found.push(Remark { base: Some(most_bpm), ..too_low });
    }
}

fn walk_cadence(stage: &Stage, runner: &Runner, found: &mut Vec<Remark>) {
    let Some(floor_spm) = stage.limits.walk_cadence_floor.map(StepsPerMinute::get) else { return };
    let own_spm = runner.usual_run_cadence.map_or(LEAST_RUN_SPM, |own| own.get().min(LEAST_RUN_SPM));
    let remark = |code| Remark::new(code, &stage.name, RemarkUnit::StepsPerMinute);
    if floor_spm >= own_spm {
        found.push(remark(LintCode::WalkCadenceFloorIsRunning).held(floor_spm, own_spm));
    } else if floor_spm < LEAST_BRISK_SPM {
        found.push(remark(LintCode::WalkCadenceFloorNotBrisk).held(floor_spm, LEAST_BRISK_SPM));
    }
}

fn pain(stage: &Stage, found: &mut Vec<Remark>) {
    if let Some(limit) = stage.limits.pain_limit.filter(|limit| *limit > MOST_PAIN) {
        found.push(
            Remark::new(LintCode::PainLimitAbovePublished, &stage.name, RemarkUnit::Pain)
                .held(limit, MOST_PAIN),
        );
    }
}
