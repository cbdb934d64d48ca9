//! Which stage a session was: the likeliest by alignment, those that are due before the others.

use std::borrow::Cow;

use crate::audit::{AuditConfig, alignment_costs_s};
use crate::prescription::{Plan, Session, Stage};

use super::config::ReviewConfig;
use super::longest_prescribed::longest_prescribed_run_s;
use super::performed::StageChoice;
use super::progress::Progress;
use super::recorded::{Recorded, Totals};

/// Stages less likely than this are no candidates.
const LEAST_CANDIDATE: f64 = 0.05;

/// How a recording fits a stage.
#[derive(Clone, Copy, Debug)]
struct Fit {
    stage: usize,
    /// Alignment cost, s.
    cost_s: f64,
    /// How likely the stage is before the recording is looked at, relative to the one in turn.
    weight: f64,
}

/// What a session of a stage is asked for next: of a count that rises, the number that is due.
pub(super) fn asked<'p>(plan: &'p Plan, stage: usize, progress: &Progress<'_>) -> Cow<'p, Session> {
    let session = &plan.stages[stage].session;
    let due = progress.due(stage);
    due.map_or(Cow::Borrowed(session), |due| Cow::Owned(due.session))
}

/// Recognises the stage of a recording.
pub(super) fn recognise(
    recorded: &Recorded,
    totals: &Totals,
    plan: &Plan,
    progress: &Progress<'_>,
    config: &ReviewConfig,
    audit_config: &AuditConfig,
) -> StageChoice {
    let has_run = totals.sure_run_s >= config.least_run_s;
    let in_turn = progress.in_turn();
    let may_be: Vec<(usize, &Stage)> = plan
        .stages
        .iter()
        .enumerate()
        .filter(|(_, prescribed)| {
            // A walk is a session only where a stage of walking is still to be done.
            let is_from = progress.furthest.is_none_or(|f| prescribed.place >= plan.stages[f].place);
            let due = is_from && prescribed.place <= in_turn;
            has_run || (due && !prescribed.session.prescribes_running())
        })
        .collect();
    let asked: Vec<Cow<'_, Session>> =
        may_be.iter().map(|(stage, _)| asked(plan, *stage, progress)).collect();
    let sessions = asked.iter().map(Cow::as_ref);
    let costs = alignment_costs_s(&recorded.segmentation, &recorded.series, sessions, audit_config);
    // Too much to match: it may have been any stage, and none is held against it.
    let Some(costs_s) = costs else { return StageChoice::Ambiguous(Vec::new()) };
    let fit = |((stage, _), cost_s): (&(usize, &Stage), f64)| Fit {
        stage: *stage,
        cost_s,
        weight: weight(*stage, plan, (progress, in_turn), config),
    };
    let fits: Vec<Fit> = may_be.iter().zip(costs_s).map(fit).collect();
    let Some(best) = fits.iter().min_by(|a, b| a.cost_s.total_cmp(&b.cost_s)) else {
        return StageChoice::NoSession;
    };
    if fits_none(&plan.stages[best.stage], totals, has_run, config) {
        return StageChoice::NoSession;
    }
    choose(shares(&fits, plan, best.cost_s, config), config.stage_certainty)
}

fn weight(
    stage: usize,
    plan: &Plan,
    (progress, in_turn): (&Progress<'_>, usize),
    config: &ReviewConfig,
) -> f64 {
    let place = |stage: usize| plan.stages[stage].place;
    let furthest_due = progress.furthest.map_or(0, |furthest| place(furthest) + 1);
    if place(stage) == in_turn {
        1.0
    } else if place(stage) <= furthest_due {
        config.due_weight
    } else {
        config.not_due_weight
    }
}

/// Whether the recording is none of the plan's sessions: one long run where even the stage that fits best has shorter
/// ones, or a short walk.
fn fits_none(stage: &Stage, totals: &Totals, has_run: bool, config: &ReviewConfig) -> bool {
    let dose = stage.session.dose();
    if !has_run {
        return dose.walk.is_some_and(|walk| totals.walk_s < config.least_walk_share * walk.least.get());
    }
    let speed = totals.longest_run_m.map(|m| m / totals.longest_run_s);
    let by_distance = || dose.run_distance.zip(speed).map(|(m, speed)| m.most.get() / speed);
    let Some(all_s) = dose.run.map(|run| run.most.get()).or_else(by_distance) else {
        return false;
    };
    let longest_s = longest_prescribed_run_s(&stage.session, speed);
    all_s > 0.0
        && totals.longest_run_s > config.free_run_total * all_s
        && totals.longest_run_s > config.free_run_longest * longest_s
}

/// Probabilities of the stages, the likeliest first. Of stages with the same session only the likeliest is there, with
/// the probability of all of them: they ask for the same.
fn shares(fits: &[Fit], plan: &Plan, least_s: f64, config: &ReviewConfig) -> Vec<(usize, f64)> {
    let scale_s = config.cost_scale_s + config.cost_share * least_s;
    let score = |fit: &Fit| fit.weight * (-(fit.cost_s - least_s) / scale_s).exp();
    let total: f64 = fits.iter().map(score).sum();
    let mut ordered: Vec<&Fit> = fits.iter().collect();
    ordered.sort_by(|a, b| score(b).total_cmp(&score(a)).then(a.stage.cmp(&b.stage)));
    let mut shares: Vec<(usize, f64)> = Vec::new();
    for fit in ordered {
        let session = &plan.stages[fit.stage].session;
        let share = score(fit) / total;
        match shares.iter_mut().find(|(stage, _)| plan.stages[*stage].session == *session) {
            Some((_, sum)) => *sum += share,
            None => shares.push((fit.stage, share)),
        }
    }
    shares.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    shares
}

fn choose(shares: Vec<(usize, f64)>, needed: f64) -> StageChoice {
    match shares.first() {
        Some(&(stage, certainty)) if certainty >= needed => StageChoice::Recognised { stage, certainty },
        Some(_) => StageChoice::Ambiguous(
            shares.into_iter().filter(|(_, share)| *share >= LEAST_CANDIDATE).collect(),
        ),
        None => StageChoice::NoSession,
    }
}

#[cfg(test)]
mod tests {
    use super::super::recorded::testing::recorded;
    use super::*;
    use crate::audit::Outcome;

    const PLAN: &str = "
[[stage]]
name = 'walk'
session = 'walk 20:00'
[[stage]]
name = '1'
session = 'walk 5:00, 4 x (run 1:00, walk 2:00)'
[[stage]]
name = '2'
session = 'walk 5:00, 4 x (run 1:30, walk 2:00)'
[[stage]]
name = '2 again'
session = 'walk 5:00, 4 x (run 1:30, walk 2:00)'
[[stage]]
name = '3'
session = 'walk 5:00, 4 x (run 1:35, walk 2:00)'
";

    fn chosen(bouts: &str, done: &[usize]) -> StageChoice {
        let plan = Plan::parse(PLAN).unwrap().value;
        let recorded = recorded("a", "2026-03-02T07:00:00Z", bouts);
        let totals = Totals::of(&recorded.segmentation);
        let mut progress = Progress::new(&plan);
        for stage in done {
            progress.done(*stage, Outcome::Kept, jiff::civil::Date::constant(2026, 3, 2));
        }
        recognise(&recorded, &totals, &plan, &progress, &ReviewConfig::default(), &AuditConfig::default())
    }

    const ONE: &str = "w300 r60 w120 r60 w120 r60 w120 r60 w120";
    const TWO: &str = "w300 r90 w120 r90 w120 r90 w120 r90 w120";

    #[test]
    fn the_fitting_stage_is_recognised_wherever_the_runner_is() {
        for done in [&[][..], &[0], &[0, 1], &[0, 1, 2, 3]] {
            assert_eq!(chosen(ONE, done).stage(), Some(1), "{done:?}");
        }
    }

    #[test]
    fn of_equal_sessions_the_one_in_turn_is_taken() {
        assert_eq!(chosen(TWO, &[0, 1]).stage(), Some(2));
        assert_eq!(chosen(TWO, &[0, 1, 2]).stage(), Some(3));
    }

    #[test]
    fn what_lies_between_two_stages_is_ambiguous_and_not_guessed() {
        let between = "w300 r76 w120 r75 w120 r75 w120 r74 w120";
        let StageChoice::Ambiguous(candidates) = chosen(between, &[0, 1]) else { panic!() };
        assert!(candidates.len() >= 2 && candidates.windows(2).all(|pair| pair[0].1 >= pair[1].1));
        // 5 s a run are too little to tell stages apart.
        let near = "w300 r92 w120 r93 w120 r92 w120 r93 w120";
        assert!(matches!(chosen(near, &[0, 1, 2, 3]), StageChoice::Ambiguous(_)));
    }

    #[test]
    fn a_walk_is_a_session_only_where_walking_is_due() {
        assert_eq!(chosen("w1200", &[]).stage(), Some(0));
        assert_eq!(chosen("w1200", &[0, 1]), StageChoice::NoSession);
        assert_eq!(chosen("w1200 r10 w60", &[0, 1]), StageChoice::NoSession);
    }

    #[test]
    fn a_free_run_is_no_session_and_an_abandoned_session_is_one() {
        assert_eq!(chosen("w60 r2400 w60", &[0, 1]), StageChoice::NoSession);
        assert_eq!(chosen("w300 r60 w120 r60 w400", &[0]).stage(), Some(1));
    }

    #[test]
    fn more_than_can_be_matched_is_not_guessed() {
        // Nine stages of 10,000 steps: each alone can be matched with a hundred bouts, all of them are too many.
        let stage = |n| format!("[[stage]]\nname = '{n}'\nsession = '5 x (1000 x (run 0:01, walk 0:02))'\n");
        let plan = Plan::parse(&(0..9).map(stage).collect::<String>()).unwrap().value;
        let many = format!("w300 {}", "r60 w120 ".repeat(50));
        let recorded = recorded("a", "2026-03-02T07:00:00Z", &many);
        let totals = Totals::of(&recorded.segmentation);
        let (review, audit) = (ReviewConfig::default(), AuditConfig::default());
        let chosen = recognise(&recorded, &totals, &plan, &Progress::new(&plan), &review, &audit);
        assert_eq!(chosen, StageChoice::Ambiguous(Vec::new()));
    }

    #[test]
    fn an_overdone_session_is_still_its_stage() {
        let overdone = "w300 r60 w120 r110 w120 r60 w60 r60 w120";
        assert_eq!(chosen(overdone, &[0]).stage(), Some(1));
    }
}
