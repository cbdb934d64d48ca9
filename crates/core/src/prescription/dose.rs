//! How much a session prescribes in all.

use jogaudit_recording::units::{Metres, Seconds};

use super::expand::Block;
use super::{Extent, Move, Session};

/// What a session prescribes in all. `None` where its words leave it open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrescribedDose {
    /// Running time; known when no run is by distance. 0 when no running is prescribed.
    pub run: Option<Seconds>,
    /// Walking time; known when no walk is by distance.
    pub walk: Option<Seconds>,
    /// Time of the whole session.
    pub session: Option<Seconds>,
    /// Running distance; known when every run is by distance.
    pub run_distance: Option<Metres>,
}

/// A sum that is lost once a part of it is not known.
#[derive(Clone, Copy)]
struct Sum(Option<f64>);

impl Sum {
    fn add(&mut self, part: Option<f64>) {
        self.0 = self.0.zip(part).map(|(sum, part)| sum + part);
    }
}

impl Session {
    /// Adds up what is prescribed.
    pub fn dose(&self) -> PrescribedDose {
        let [mut run_s, mut walk_s, mut session_s, mut run_m] = [Sum(Some(0.0)); 4];
        for block in self.expand().blocks {
            match block {
                Block::Steps(steps) => {
                    for step in steps {
                        let (time, distance) = parts(step.extent);
                        session_s.add(time);
                        if step.motion == Move::Run {
                            run_s.add(time);
                            run_m.add(distance);
                        } else {
                            walk_s.add(time);
                        }
                    }
                }
                Block::Until { extent, cycle } => {
                    session_s.add(parts(extent).0);
                    // An open part holds at least two kinds of step, so its shares are open. (Two kinds of run, with
                    // different ceilings, still add up to the whole.)
                    let holds = |motion| cycle.iter().any(|step| step.motion == motion);
                    match (holds(Move::Run), holds(Move::Walk)) {
                        (true, false) => {
                            run_s.add(parts(extent).0);
                            run_m.add(parts(extent).1);
                        }
                        (false, true) => walk_s.add(parts(extent).0),
                        _ => [&mut run_s, &mut walk_s, &mut run_m].into_iter().for_each(|sum| sum.add(None)),
                    }
                }
            }
        }
        PrescribedDose {
            run: run_s.0.map(Seconds::new),
            walk: walk_s.0.map(Seconds::new),
            session: session_s.0.map(Seconds::new),
            run_distance: run_m.0.map(Metres::new),
        }
    }
}

/// `(seconds, metres)`, one of them known.
fn parts(extent: Extent) -> (Option<f64>, Option<f64>) {
    match extent {
        Extent::Time(time) => (Some(time.get()), None),
        Extent::Distance(distance) => (None, Some(distance.get())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Run s, walk s, session s, run m.
    fn dose(text: &str) -> [Option<f64>; 4] {
        let dose = Session::parse(text).unwrap().dose();
        [
            dose.run.map(Seconds::get),
            dose.walk.map(Seconds::get),
            dose.session.map(Seconds::get),
            dose.run_distance.map(Metres::get),
        ]
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
        // Running minutes a session of a published five-week plan (manhattansportsdoc.com, as listed in the project's
        // facts 7.03): week 1: 3, 6, 9; week 2: 16, 15, 18.
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
