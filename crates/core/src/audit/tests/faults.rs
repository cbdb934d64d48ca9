//! One fault in many kinds of session gives its own code and nothing else.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::super::testing::{normal, parse, segmentation_of};
use super::*;
use crate::gait::Gait;

type Parts = Vec<(Gait, f64)>;

/// Sessions of our own: short and long reps, short and long breaks, a pyramid, none but one run, no walk around.
const SESSIONS: [&str; 8] = [
    SIX,
    "w300 r180 w60 r180 w60 r180 w60 r180 w60 w300",
    "r300 w60 r300 w60 r300 w60 r300",
    "w300 r60 w120 r90 w120 r120 w120 r90 w120 r60 w300",
    "w300 r30 w90 r30 w90 r30 w90 r30 w90 r30 w90 r30 w90 w300",
    "w300 r600 w60 r600 w60 w300",
    "w180 r60 w60 r60 w60 r60 w60 r60 w60 r60 w60 r60 w60 r60 w60 w180",
    "r60 w300 r60 w300 r60 w300 r60",
];

/// A fault at part `at`: what is done then and what has to be found. `None` where it makes no sense.
struct Fault {
    name: &'static str,
    make: fn(&Parts, usize) -> Option<Parts>,
    expected: &'static [Code],
}

fn is_run(parts: &Parts, at: usize) -> bool {
    parts[at].0 == Gait::Run
}

fn is_break(parts: &Parts, at: usize) -> bool {
    parts[at].0 == Gait::Walk && parts[..at].iter().any(|p| p.0 == Gait::Run) && at < last_run(parts)
}

fn last_run(parts: &Parts) -> usize {
    parts.iter().rposition(|p| p.0 == Gait::Run).unwrap()
}

fn lengthened(parts: &Parts, at: usize, by: f64) -> Parts {
    let mut parts = parts.clone();
    parts[at].1 += by;
    parts
}

fn spliced(parts: &Parts, at: usize, with: &[(Gait, f64)]) -> Parts {
    let mut parts = parts.clone();
    parts.splice(at..=at, with.iter().copied());
    parts
}

const FAULTS: [Fault; 14] = [
    Fault { name: "nothing", make: |p, at| (at == 0).then(|| p.clone()), expected: &[] },
    Fault {
        name: "run 16 s longer",
        make: |p, at| is_run(p, at).then(|| lengthened(p, at, 16.0)),
        expected: &[Code::RunTooLong],
    },
    Fault {
        name: "run twice as long",
        make: |p, at| is_run(p, at).then(|| lengthened(p, at, p[at].1)),
        expected: &[Code::RunTooLong],
    },
    Fault {
        name: "run 20 s shorter",
        make: |p, at| (is_run(p, at) && p[at].1 > 40.0).then(|| lengthened(p, at, -20.0)),
        expected: &[Code::RunTooShort],
    },
    Fault {
        name: "break 15 s shorter",
        make: |p, at| is_break(p, at).then(|| lengthened(p, at, -15.0)),
        expected: &[Code::WalkCutShort],
    },
    Fault {
        name: "break of a third",
        make: |p, at| is_break(p, at).then(|| lengthened(p, at, -p[at].1 / 1.5)),
        expected: &[Code::WalkCutShort],
    },
    Fault {
        name: "break left out",
        make: |p, at| is_break(p, at).then(|| spliced(p, at, &[])),
        expected: &[Code::WalkMissing],
    },
    Fault {
        name: "break run through",
        make: |p, at| is_break(p, at).then(|| spliced(p, at, &[(Gait::Run, p[at].1)])),
        expected: &[Code::WalkMissing],
    },
    Fault {
        name: "rep walked",
        make: |p, at| is_run(p, at).then(|| spliced(p, at, &[(Gait::Walk, p[at].1)])),
        expected: &[Code::RepMissing],
    },
    Fault {
        name: "one rep more",
        make: |p, at| (at == last_run(p)).then(|| spliced(p, at, &[p[at], (Gait::Walk, 90.0), p[at]])),
        expected: &[Code::RepExtra],
    },
    Fault {
        name: "stop inside a run",
        make: |p, at| {
            let length = p[at].1;
            let parts = [(Gait::Run, 0.4 * length), (Gait::Stand, 25.0), (Gait::Run, 0.6 * length)];
            is_run(p, at).then(|| spliced(p, at, &parts))
        },
        expected: &[],
    },
    Fault {
        name: "running inside a break",
        make: |p, at| {
            let length = p[at].1;
            let parts = [(Gait::Walk, 0.4 * length), (Gait::Run, 30.0), (Gait::Walk, 0.6 * length)];
            (is_break(p, at) && length > 100.0).then(|| spliced(p, at, &parts))
        },
        expected: &[Code::UnplannedRun],
    },
    Fault {
        name: "warm-up",
        make: |p, at| (at == 0).then(|| spliced(p, 0, &[(Gait::Walk, 240.0), p[0]])),
        expected: &[],
    },
    Fault {
        name: "late start",
        make: |p, at| (at == 0 && !is_run(p, 0)).then(|| lengthened(p, 0, -90.0)),
        expected: &[],
    },
];

/// Moves every boundary inside by a normal error and says so in the bouts.
fn shaken(segmentation: &Segmentation, rng: &mut ChaCha8Rng, error_s: f64) -> Segmentation {
    let mut bouts = segmentation.bouts().to_vec();
    for i in 1..bouts.len() {
        let at_s = bouts[i].start_s + error_s * normal(rng);
        (bouts[i].start_s, bouts[i - 1].end_s) = (at_s, at_s);
        (bouts[i].start_error_s, bouts[i - 1].end_error_s) = (error_s, error_s);
    }
    Segmentation::new(bouts).unwrap()
}

#[test]
fn a_fault_gives_its_code_alone() {
    /// Times that each fault is tried at each place.
    const TRIES: usize = 10;
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    for fault in &FAULTS {
        let (mut tried, mut right, mut example) = (0_u32, 0_u32, None);
        for text in SESSIONS {
            let prescribed = parse(text);
            let cases = (0..prescribed.len()).filter_map(|at| (fault.make)(&prescribed, at));
            for done in cases.flat_map(|done| std::iter::repeat_n(done, TRIES)) {
                let segmentation = shaken(&segmentation_of(&done), &mut rng, 1.0);
                let series = Track::of(&segmentation).build();
                let found = run_audit(&segmentation, &series, &stage(text), &Runner::default()).value;
                tried += 1;
                if codes(&found) == fault.expected {
                    right += 1;
                } else {
                    example = Some((text, done, codes(&found)));
                }
            }
        }
        println!("{}: {right} of {tried}", fault.name);
        assert!(
            tried >= 60 && f64::from(right) >= 0.99 * f64::from(tried),
            "{}: {right} of {tried}: {example:?}",
            fault.name
        );
    }
}
