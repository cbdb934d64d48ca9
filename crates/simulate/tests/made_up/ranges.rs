//! What practitioners prescribe, on simulated sessions with cadence: at the least, inside and at the most of each range the
//! session is kept, 15 s beyond either end that is found. Every figure is printed:
//! `cargo test -p jogaudit-simulate ranges -- --nocapture`.

#![allow(clippy::print_stdout)]

use jogaudit_core::audit::{Audit, Outcome};
use jogaudit_core::pipeline::{Config, audit_recording, segment_recording};
use jogaudit_core::prescription::{Plan, Session};
use jogaudit_simulate::{Fault, FaultKind, InRange, Realism, Settings, simulate, steps_of};

const FIRST_SEED: u64 = 1_200_000;
const SEEDS: u64 = 100;
/// Of 100 seeds, so many are to be right.
const RIGHT: usize = 97;

/// A session with a range, and which run is the last one of it where it is at its least and at its most.
struct Show {
    session: &'static str,
    /// The run that is cut short, or goes on, beyond the least and the most.
    reps: (u32, u32),
    realism: Realism,
}

impl Show {
    /// Of even runners and quick recorders.
    fn ideal(session: &'static str, reps: (u32, u32)) -> Self {
        Self { session, reps, realism: Realism::Ideal }
    }

    fn plan(&self) -> Plan {
        let text = format!("[[stage]]\nname = '1'\nsession = '{}'", self.session);
        Plan::parse(&text).expect(self.session).value
    }

    fn audit(&self, seed: u64, in_range: InRange, faults: Vec<Fault>) -> Audit {
        let plan = self.plan();
        let stage = &plan.stages[0];
        let settings = Settings { seed, in_range, faults, realism: self.realism, ..Settings::default() };
        let steps = steps_of(&stage.session, &settings);
        let simulated = simulate(&steps, &settings).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        let config = Config::default();
        let mut segmented = segment_recording(&simulated.recording, &config);
        audit_recording(&mut segmented, &plan, stage, &config)
    }

    /// How many of the seeds end as `wanted`, and how many are called overdone.
    fn count(&self, what: &str, in_range: InRange, fault: Option<Fault>, wanted: Outcome) -> (usize, usize) {
        let outcomes: Vec<Outcome> = (FIRST_SEED..FIRST_SEED + SEEDS)
            .map(|seed| self.audit(seed, in_range, fault.into_iter().collect()).outcome)
            .collect();
        let right = outcomes.iter().filter(|outcome| **outcome == wanted).count();
        let overdone = outcomes.iter().filter(|outcome| **outcome == Outcome::Overdone).count();
        println!("{:66} {what:16} {wanted} {right:3} of {SEEDS}, overdone {overdone:3}", self.session);
        (right, overdone)
    }

    fn holds(&self) {
        for (what, in_range) in
            [("least", InRange::Least), ("inside", InRange::Inside), ("most", InRange::Most)]
        {
            let (right, overdone) = self.count(what, in_range, None, Outcome::Kept);
            assert!(right >= RIGHT && overdone <= 1, "{what} of {}", self.session);
        }
        let shorter = Fault::new(FaultKind::RunShorter, 15.0).at_rep(self.reps.0);
        let longer = Fault::new(FaultKind::RunLonger, 15.0).at_rep(self.reps.1);
        let (right, overdone) = self.count("less", InRange::Least, Some(shorter), Outcome::Underdone);
        assert!(right >= RIGHT && overdone <= 1, "less than {}", self.session);
        let (right, _) = self.count("more", InRange::Most, Some(longer), Outcome::Overdone);
        assert!(right >= RIGHT, "more than {}", self.session);
    }
}

#[test]
fn a_range_in_all() {
    Show::ideal("walk 4:10 or more, for 20:30 to 26:40 (run 2:50, walk 1:20)", (5, 7)).holds();
}

#[test]
fn a_range_of_a_run() {
    Show::ideal("walk 4:10, run 8:20 to 11:10, walk 1:40, run 5:00, walk 3:10", (1, 1)).holds();
}

#[test]
fn a_range_of_a_count() {
    let session = "walk 4:10, 4 to 6 x (run 1:50, walk 1:40)";
    Show::ideal(session, (2, 5)).holds();
    // A repetition fewer than the least and one more than the most.
    let show = Show::ideal(session, (0, 0));
    let missing = Fault::new(FaultKind::RepMissing, 1.0).at_rep(2);
    assert!(show.count("one fewer", InRange::Least, Some(missing), Outcome::Underdone).0 >= RIGHT);
    let extra = Fault::new(FaultKind::RepExtra, 1.0);
    assert!(show.count("one more", InRange::Most, Some(extra), Outcome::Overdone).0 >= RIGHT);
}

#[test]
fn a_rest_that_may_be_longer() {
    Show::ideal("walk 4:10, 5 x (run 2:20, rest 1:10 or more), walk 2:00 or less", (3, 3)).holds();
}

#[test]
fn a_walk_between_rests_of_realistic_runners() {
    let show = Show {
        session: "walk 4:10, 4 x (run 2:20, rest 0:30, walk 0:30, rest 0:30), walk 0:30",
        reps: (1, 1),
        realism: Realism::Realistic,
    };
    let (kept, overdone) = show.count("as prescribed", InRange::Inside, None, Outcome::Kept);
    assert!(kept >= RIGHT && overdone <= 1, "{kept} kept, {overdone} overdone");
}

#[test]
fn the_simulator_stays_inside_the_ranges() {
    let session = Session::parse("walk 4:10 or more, 4 to 6 x (run 1:50 to 2:20, walk 1:40)").unwrap();
    for seed in 0..50 {
        let settings = Settings { seed, ..Settings::default() };
        let steps = steps_of(&session, &settings);
        let runs = steps.len() / 2;
        assert!((4..=6).contains(&runs), "{runs}");
        let simulated = simulate(&steps, &settings).unwrap();
        let run_s = |gait| {
            simulated
                .truth
                .iter()
                .filter(move |bout| bout.gait == gait)
                .map(jogaudit_simulate::TrueBout::duration_s)
        };
        assert!(run_s(jogaudit_core::gait::Gait::Run).all(|s| s > 108.0 && s < 142.0));
    }
}
