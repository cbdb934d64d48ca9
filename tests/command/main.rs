//! The whole command as its users meet it: arguments, files, standard output, exit codes; the local page over bare sockets;
//! and that the documents say what the command does.

mod agree;
mod annotate;
mod bad_input;
mod batch;
mod batch_cases;
mod batch_killed;
mod check;
mod docs;
mod export;
mod from_outside;
#[cfg(target_os = "linux")]
mod full_disk;
mod html;
mod outputs;
mod page_attacks;
mod page_killed;
mod page_plan;
mod page_use;
mod plan;
#[cfg(target_os = "linux")]
mod power_loss;
mod readme;
mod review;
mod right_patient;
mod share;
mod simulate;
mod two_hosts;
mod units;
mod usage;
mod zipped;

// Shared with the tests of other packages.
#[path = "../support/batch_folder.rs"]
mod batch_folder;
#[path = "../support/folder.rs"]
mod folder;
#[path = "../support/hand_made.rs"]
mod hand_made;
#[path = "../support/html_page.rs"]
mod html_page;
#[path = "../support/page.rs"]
mod page;
#[path = "../support/program.rs"]
mod program;
