//! How much a session prescribes in all.

use jogaudit_recording::units::{Metres, Seconds};

use super::expand::{Block, Expansion, is_of_one_kind};
use super::{Extent, Move, Session};
use crate::range::Range;

/// What a session prescribes in all, from the least to the most. `None` where its words leave it open; a most that has no
/// end is infinite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrescribedDose {
    /// Running time; known when no run is by distance. 0 when no running is prescribed.
    pub run: Option<Range<Seconds>>,
    /// Walking time; known when no walk is by distance.
    pub walk: Option<Range<Seconds>>,
    /// Time of the whole session.
    pub session: Option<Range<Seconds>>,
    /// Running distance; known when every run is by distance.
    pub run_distance: Option<Range<Metres>>,
    /// Whether there is a most of how long a run may be: not in `run 18:00 or more`.
    pub longest_run_ends: bool,
    /// Whether there is a most of how many runs there may be: not in `for 18:00 or more (run 1:00, walk 1:00)`.
    pub runs_end: bool,
}

/// Sums that are lost once a part of them is not known.
#[derive(Clone, Copy)]
struct Sums {
    run_s: Option<Range>,
    walk_s: Option<Range>,
    session_s: Option<Range>,
    run_m: Option<Range>,
}

fn add(sum: &mut Option<Range>, part: Option<Range>) {
    *sum = sum.zip(part).map(|(sum, part)| [sum, part].into_iter().sum());
}

impl Sums {
    const NOTHING: Self = {
        let nothing = Some(Range::exactly(0.0));
        Self { run_s: nothing, walk_s: nothing, session_s: nothing, run_m: nothing }
    };

    fn of(expansion: &Expansion) -> Self {
        let mut sums = Self::NOTHING;
        for block in &expansion.blocks {
            match block {
                Block::Steps(steps) => steps.iter().for_each(|step| sums.step(step.motion, step.extent)),
                Block::Until { extent, cycle } => {
                    // An open part holds at least two kinds of step. In one unit throughout, its shares follow from where
                    // it may be cut; else they are open. (Two kinds of run still add up to the whole.)
                    let motion = cycle.first().map(|step| step.motion);
                    match motion.filter(|motion| cycle.iter().all(|step| step.motion == *motion)) {
                        Some(motion) => sums.step(motion, *extent),
                        None if is_of_one_kind(*extent, cycle) => {
                            sums.all(&Self::cut(*extent, cycle));
                        }
                        None => {
                            add(&mut sums.session_s, parts(*extent).0);
                            sums.all(&Self { session_s: Self::NOTHING.session_s, ..Self::OPEN });
                        }
                    }
                }
                Block::Times { times, once } => sums.all(&Self::of(once).times(*times)),
            }
        }
        sums
    }

    const OPEN: Self = Self { run_s: None, walk_s: None, session_s: None, run_m: None };

    /// Of a part in one unit that may be cut in one of several steps: what is longer has no less of anything.
    fn cut(extent: Range<Extent>, cycle: &[super::Step]) -> Self {
        let at = |end: Extent| {
            let cut = Block::Until { extent: end.into(), cycle: cycle.to_vec() };
            // Speeds play no part in one unit.
            let speed = jogaudit_recording::units::MetresPerSecond::new(1.0);
            let steps = Expansion { blocks: vec![cut] }.steps_at(speed, speed, super::End::Least);
            Self::of(&Expansion { blocks: vec![Block::Steps(steps)] })
        };
        let least = at(extent.least);
        let most = if extent.most.amount().is_finite() { at(extent.most) } else { Self::endless(cycle) };
        let range = |of: fn(&Self) -> Option<Range>| {
            of(&least).zip(of(&most)).map(|(least, most)| Range { least: least.least, most: most.most })
        };
        Self {
            run_s: range(|s| s.run_s),
            walk_s: range(|s| s.walk_s),
            session_s: range(|s| s.session_s),
            run_m: range(|s| s.run_m),
        }
    }

    /// Of a cycle that has no end: no most of whatever it holds.
    fn endless(cycle: &[super::Step]) -> Self {
        let once = Self::of(&Expansion { blocks: vec![Block::Steps(cycle.to_vec())] });
        let of = |sum: Option<Range>| {
            sum.map(|sum| Range::exactly(if sum.most > 0.0 { f64::INFINITY } else { 0.0 }))
        };
        Self {
            run_s: of(once.run_s),
            walk_s: of(once.walk_s),
            session_s: of(once.session_s),
            run_m: of(once.run_m),
        }
    }

    fn step(&mut self, motion: Move, extent: Range<Extent>) {
        let (time, distance) = parts(extent);
        add(&mut self.session_s, time);
        match motion {
            Move::Run => {
                add(&mut self.run_s, time);
                add(&mut self.run_m, distance);
            }
            Move::Walk => add(&mut self.walk_s, time),
            Move::Rest => {}
        }
    }

    fn all(&mut self, more: &Self) {
        add(&mut self.run_s, more.run_s);
        add(&mut self.walk_s, more.walk_s);
        add(&mut self.session_s, more.session_s);
        add(&mut self.run_m, more.run_m);
    }

    fn times(self, times: Range<u32>) -> Self {
        let of = |sum: Option<Range>| {
            sum.map(|sum| Range {
                least: sum.least * f64::from(times.least),
                most: sum.most * f64::from(times.most),
            })
        };
        Self {
            run_s: of(self.run_s),
            walk_s: of(self.walk_s),
            session_s: of(self.session_s),
            run_m: of(self.run_m),
        }
    }
}

impl Session {
    /// Adds up what is prescribed.
    pub fn dose(&self) -> PrescribedDose {
        self.expand().dose()
    }
}

impl Expansion {
    /// Adds up what is prescribed.
    pub(super) fn dose(&self) -> PrescribedDose {
        let sums = Sums::of(self);
        let (longest_run_ends, runs_end) = self.ends_of_runs();
        let seconds = |sum: Option<Range>| sum.map(|sum| sum.map(Seconds::new));
        PrescribedDose {
            run: seconds(sums.run_s),
            walk: seconds(sums.walk_s),
            session: seconds(sums.session_s),
            run_distance: sums.run_m.map(|sum| sum.map(Metres::new)),
            longest_run_ends,
            runs_end,
        }
    }
}

/// `(seconds, metres)`, one of them known.
fn parts(extent: Range<Extent>) -> (Option<Range>, Option<Range>) {
    let amounts = Some(extent.amounts());
    if extent.is_time() { (amounts, None) } else { (None, amounts) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Run s, walk s, session s, run m.
    fn dose(text: &str) -> [Option<f64>; 4] {
        let dose = Session::parse(text).unwrap().dose();
        let exact = |range: Range| range.exact().expect("an exact figure");
        [
            dose.run.map(|run| exact(run.map(Seconds::get))),
            dose.walk.map(|walk| exact(walk.map(Seconds::get))),
            dose.session.map(|session| exact(session.map(Seconds::get))),
            dose.run_distance.map(|run| exact(run.map(Metres::get))),
        ]
    }

    #[test]
    fn a_dose_knows_a_least_and_a_most() {
        let dose = |text| {
            let dose = Session::parse(text).unwrap().dose();
            let ends =
                |range: Option<Range<Seconds>>| range.map(|range| (range.least.get(), range.most.get()));
            (ends(dose.run), ends(dose.walk), ends(dose.session))
        };
        // By hand: 5 × 70 = 350 s and 6 × 70 = 420 s of running; 5 × 100 = 500 s, 6 × 100 = 600 s of walking.
        let expected = (Some((350.0, 420.0)), Some((500.0, 600.0)), Some((850.0, 1020.0)));
        assert_eq!(dose("5 to 6 x (run 1:10, walk 1:40)"), expected);
        // 4:00 hold two runs of 0:50 and walks of 1:40 and 0:40; 6:00 three runs and walks of 3:20 and 0:10.
        let expected = (Some((100.0, 150.0)), Some((140.0, 210.0)), Some((240.0, 360.0)));
        assert_eq!(dose("for 4:00 to 6:00 (run 0:50, walk 1:40)"), expected);
        let expected = (Some((1080.0, 1320.0)), Some((0.0, 240.0)), Some((1080.0, f64::INFINITY)));
        assert_eq!(dose("walk 4:00 or less, run 18:00 to 22:00, rest 5:00 or more").0, expected.0);
        assert_eq!(
            dose("walk 4:00 or less, run 18:00 to 22:00"),
            (expected.0, expected.1, Some((1080.0, 1560.0)))
        );
        // 4:00 hold what they held above, and there is no end of it.
        let endless = |least: f64| Some((least, f64::INFINITY));
        let expected = (endless(100.0), endless(140.0), endless(240.0));
        assert_eq!(dose("for 4:00 or more (run 0:50, walk 1:40)"), expected);
        assert_eq!(dose("for 4:00 or more (run 0:50, rest 1:40)").1, Some((0.0, 0.0)));
        let expected = (Some((0.0, 150.0)), Some((0.0, 210.0)), Some((0.0, 360.0)));
        assert_eq!(dose("for 6:00 or less (run 0:50, walk 1:40)"), expected);
        assert_eq!(dose("run 18:00 or more").2, Some((1080.0, f64::INFINITY)));
        // A rest is neither running nor walking, but time.
        assert_eq!(dose("run 1:10, rest 0:50"), (Some((70.0, 70.0)), Some((0.0, 0.0)), Some((120.0, 120.0))));
    }

    #[test]
    fn what_may_go_on_has_no_most() {
        let ends = |text: &str| {
            let dose = Session::parse(text).unwrap().dose();
            (dose.longest_run_ends, dose.runs_end)
        };
        assert_eq!(ends("walk 5:00 or more, 2 x (run 18:00, walk 2:00 to 3:00)"), (true, true));
        assert_eq!(ends("2 to 3 x (run 18:00 or more, walk 2:00)"), (false, true));
        assert_eq!(ends("for 18:00 or more (run 1:00, walk 2:00)"), (true, false));
        assert_eq!(ends("for 18:00 to 40:00 (run 1:00, walk 2:00)"), (true, true));
        assert_eq!(ends("for 18:00 or more (run 1:00 @ 7:00 /km, run 2:00)"), (false, false));
        assert_eq!(ends("for 18:00 or more (walk 1:00, rest 2:00)"), (true, true));
    }

    #[test]
    fn times_add_up() {
        // By hand: 6 × 60 = 360 s; 300 + 6 × 120 + 300 = 1320 s.
        assert_eq!(
            dose("walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00"),
            [Some(360.0), Some(1320.0), Some(1680.0), None]
        );
        assert_eq!(dose("for 7:00 (run 1:00, walk 3:00)"), [Some(120.0), Some(300.0), Some(420.0), None]);
    }

    #[test]
    fn published_hospital_plan_first_weeks() {
        // Running minutes a session of a published five-week plan (manhattansportsdoc.com,
        // secondary): week 1: 3, 6, 9; week 2: 16, 15, 18.
        let minutes = |text| dose(text)[0].unwrap() / 60.0;
        assert_eq!(minutes("3 x (walk 4:00, run 1:00)"), 3.0);
        assert_eq!(minutes("3 x (walk 3:00, run 2:00)"), 6.0);
        assert_eq!(minutes("3 x (walk 2:00, run 3:00)"), 9.0);
        assert_eq!(minutes("4 x (walk 1:00, run 4:00)"), 16.0);
        assert_eq!(minutes("3 x (walk 1:00, run 5:00)"), 15.0);
        assert_eq!(minutes("3 x (walk 1:00, run 6:00)"), 18.0);
    }

    #[test]
    fn distances_leave_times_open() {
        assert_eq!(dose("10 x (walk 100 m, run 400 m)"), [None, None, None, Some(4000.0)]);
        assert_eq!(dose("walk 5:00, run 1 km"), [None, Some(300.0), None, Some(1000.0)]);
        assert_eq!(dose("walk 5:00, for 30:00 (run 400 m, walk 1:00)"), [None, None, Some(2100.0), None]);
        assert_eq!(dose("for 1.5 mi (run 1:00, walk 1:00)"), [None, None, None, None]);
    }

    #[test]
    fn no_running_is_zero_not_unknown() {
        assert_eq!(dose("walk 30:00"), [Some(0.0), Some(1800.0), Some(1800.0), Some(0.0)]);
    }
}
