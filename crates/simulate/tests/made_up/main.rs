//! Made-up sessions: that they are as ordered, and what the core makes of them. What needs both the simulator and the core
//! stands here, so that the core's own tests build without the simulator.

mod evidence;
mod formats;
mod kinds;
mod known_runner;
mod prescriptions;
mod ranges;
mod review_cases;
mod roundtrip;
mod sessions;
mod short_session;
mod truth;
mod workouts;
