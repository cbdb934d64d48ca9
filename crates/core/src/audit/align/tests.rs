use proptest::prelude::*;

use super::super::testing::bout;
use super::*;

fn exact_targets(steps: &[(Move, f64)]) -> Vec<Target> {
    targets(&steps.iter().map(|&(motion, s)| (motion, Range::exactly(s))).collect::<Vec<_>>())
}

fn align(pieces: &[Piece], targets: &[Target], costs: &Costs) -> Option<Alignment> {
    Aligner::new(pieces, costs, targets.len()).align(targets)
}

fn pieces(spec: &[(PieceKind, f64, f64)]) -> Vec<Piece> {
    let mut at = 0.0;
    spec.iter()
        .map(|&(kind, length_s, certainty)| {
            let gait = match kind {
                PieceKind::Run => Gait::Run,
                PieceKind::Walk => Gait::Walk,
                PieceKind::Rest => Gait::Stand,
                PieceKind::Hole => Gait::Unknown,
            };
            let bout = Bout { certainty, ..bout(gait, at, at + length_s) };
            at += length_s;
            Piece { kind, bout }
        })
        .collect()
}

#[test]
fn costs_are_those_worked_by_hand() {
    let wanted =
        exact_targets(&[(Move::Walk, 300.0), (Move::Run, 60.0), (Move::Walk, 120.0), (Move::Run, 60.0)]);
    let cost =
        |done: &[(PieceKind, f64, f64)]| align(&pieces(done), &wanted, &Costs::default()).unwrap().cost_s;
    let walk = |length_s| (PieceKind::Walk, length_s, 0.9);
    let run = |length_s| (PieceKind::Run, length_s, 0.9);
    let cases: [(f64, Vec<_>); 7] = [
        (0.0, vec![walk(300.0), run(60.0), walk(120.0), run(60.0)]),
        // A run 14 s too long.
        (14.0, vec![walk(300.0), run(74.0), walk(120.0), run(60.0)]),
        // A break 40 s too short: half a second each.
        (20.0, vec![walk(300.0), run(60.0), walk(80.0), run(60.0)]),
        // A break 40 s too long, the first walk 50 s too long.
        (40.0 * 0.05 + 50.0 * 0.02, vec![walk(350.0), run(60.0), walk(160.0), run(60.0)]),
        // A stand of 10 s inside a run.
        (2.0, vec![walk(300.0), run(30.0), (PieceKind::Rest, 10.0, 1.0), run(30.0), walk(120.0), run(60.0)]),
        // Another run of 30 s, 0.9 certain, after the last; the walk before it is loose.
        (
            0.03 * 20.0 + 0.9 * 30.0,
            vec![walk(300.0), run(60.0), walk(120.0), run(60.0), walk(20.0), run(30.0)],
        ),
        // The last run left out: its length and 5 s, and 0.01 s for being the last.
        (65.01, vec![walk(300.0), run(60.0), walk(120.0)]),
    ];
    for (worked, done) in cases {
        assert!((cost(&done) - worked).abs() < 1e-9, "{} is not {worked}: {done:?}", cost(&done));
    }
}

/// The cost of a matching, added up on its own. `None` when it is not allowed.
fn price(pieces: &[Piece], targets: &[Target], groups: &[Group], costs: &Costs) -> Option<f64> {
    let mut total = 0.0;
    let in_group = |i: usize| groups.iter().find(|g| g.pieces.contains(&i));
    for (i, piece) in pieces.iter().enumerate() {
        if in_group(i).is_some() {
            continue;
        }
        let done: usize =
            groups.iter().filter(|g| g.pieces.end <= i).map(|g| g.targets.end).max().unwrap_or(0);
        let next = groups.iter().filter(|g| g.pieces.start > i).map(|g| g.targets.start).min();
        // Missing targets between the neighbours may stand before or after the piece, whichever is cheaper.
        let cheapest = (done..=next.unwrap_or(targets.len()))
            .filter_map(|j| costs.loose(piece, j, targets.len()))
            .min_by(f64::total_cmp)?;
        total += cheapest;
    }
    for (j, left_out) in costs.missing(pieces, targets, targets.len()).iter().enumerate() {
        if !groups.iter().any(|g| g.targets.contains(&j)) {
            total += left_out;
        }
    }
    for group in groups {
        total += costs.group(pieces, targets, group)?;
    }
    Some(total)
}

/// Every set of groups in order, by recursion.
fn all_matchings(pieces: usize, targets: usize) -> Vec<Vec<Group>> {
    fn extend(from: (usize, usize), to: (usize, usize), so_far: &mut Vec<Group>, all: &mut Vec<Vec<Group>>) {
        all.push(so_far.clone());
        for i in from.0..to.0 {
            for i1 in i + 1..=to.0 {
                for j in from.1..to.1 {
                    for j1 in (j + 1..=to.1).step_by(2) {
                        so_far.push(Group { pieces: i..i1, targets: j..j1 });
                        extend((i1, j1), to, so_far, all);
                        so_far.pop();
                    }
                }
            }
        }
    }
    let mut all = Vec::new();
    extend((0, 0), (pieces, targets), &mut Vec::new(), &mut all);
    all
}

fn any_kind() -> impl Strategy<Value = PieceKind> {
    prop_oneof![4 => Just(PieceKind::Run), 4 => Just(PieceKind::Walk), 1 => Just(PieceKind::Rest), 1 => Just(PieceKind::Hole)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]
    #[test]
    fn no_other_matching_is_cheaper(
        done in prop::collection::vec((any_kind(), 1.0..200.0f64, 0.5..1.0f64), 0..6),
        wanted in prop::collection::vec((any::<bool>(), 10.0..200.0f64), 0..6),
    ) {
        let pieces = pieces(&done);
        let steps: Vec<(Move, f64)> =
            wanted.iter().map(|&(run, s)| (if run { Move::Run } else { Move::Walk }, s)).collect();
        let targets = exact_targets(&steps);
        let costs = Costs::default();
        let found = align(&pieces, &targets, &costs).unwrap();
        let own_price = price(&pieces, &targets, &found.groups, &costs).expect("an allowed matching");
        prop_assert!((own_price - found.cost_s).abs() < 1e-6, "{} is priced {own_price}", found.cost_s);
        let least = all_matchings(pieces.len(), targets.len())
            .iter()
            .filter_map(|groups| price(&pieces, &targets, groups, &costs))
            .fold(f64::INFINITY, f64::min);
        prop_assert!((least - found.cost_s).abs() < 1e-6, "found {}, but {least} is possible", found.cost_s);
    }
}

/// Walks and runs in turn, some of which need not be done.
fn in_turn(lengths_s: &[(f64, f64)]) -> Vec<Target> {
    let motion = |at: usize| if at.is_multiple_of(2) { Move::Walk } else { Move::Run };
    let step = |(at, &(least, more)): (usize, &(f64, f64))| {
        (motion(at), Range { least: least.max(0.0), most: least.max(0.0) + more })
    };
    targets(&lengths_s.iter().enumerate().map(step).collect::<Vec<_>>())
}

proptest! {
    #[test]
    fn what_lists_have_in_common_changes_nothing(
        done in prop::collection::vec((any_kind(), 1.0..200.0f64, 0.5..1.0f64), 0..24),
        wanted in prop::collection::vec((-40.0..120.0f64, 0.0..60.0f64), 1..24),
        others in prop::collection::vec((0usize..24, prop::collection::vec((-40.0..120.0f64, 0.0..60.0f64), 0..4)), 1..6),
    ) {
        let (pieces, costs) = (pieces(&done), Costs::default());
        let mut aligner = Aligner::new(&pieces, &costs, 32);
        let fresh = |targets: &[Target]| Aligner::new(&pieces, &costs, 32).align(targets);
        let first = in_turn(&wanted);
        prop_assert_eq!(aligner.align(&first), fresh(&first));
        // The first list up to some place, and something else behind it.
        for (kept, more) in others {
            let list = in_turn(&[&wanted[..kept.min(wanted.len())], &more].concat());
            prop_assert_eq!(aligner.align(&list), fresh(&list));
        }
    }
}

#[test]
fn neighbouring_steps_of_one_gait_become_one_target() {
    let steps = [(Move::Walk, 300.0), (Move::Run, 60.0), (Move::Walk, 120.0), (Move::Walk, 300.0)];
    let targets = exact_targets(&steps);
    let lengths: Vec<f64> = targets.iter().map(|t| t.length_s.exact().unwrap()).collect();
    assert_eq!(lengths, [300.0, 60.0, 420.0]);
    assert_eq!(targets[2].steps, 2..4);
    let places: Vec<TargetPlace> = targets.iter().map(|t| t.place).collect();
    assert_eq!(places, [TargetPlace::Lead, TargetPlace::Inner, TargetPlace::Trail]);
}

#[test]
fn a_long_day_is_matched_and_more_is_refused() {
    // 24 hours of changes every 40 s against 100 steps.
    let done: Vec<(PieceKind, f64, f64)> =
        (0..2160).map(|i| (if i % 2 == 0 { PieceKind::Walk } else { PieceKind::Run }, 40.0, 0.9)).collect();
    let steps: Vec<(Move, f64)> =
        (0..100).map(|i| (if i % 2 == 0 { Move::Walk } else { Move::Run }, 40.0)).collect();
    let found = align(&pieces(&done), &exact_targets(&steps), &Costs::default()).unwrap();
    assert_eq!(found.groups.len(), 100);
    // More than can be matched is refused and not tried.
    let many: Vec<(Move, f64)> = steps.iter().cycle().take(10_000).copied().collect();
    assert_eq!(align(&pieces(&done), &exact_targets(&many), &Costs::default()), None);
}
