#![no_main]

use jogaudit_core::agree::input::{Side, join, parse};
use jogaudit_core::agree::{compare_bouts, compare_scores};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: (&str, &str)| {
    let sides = (parse(input.0, &[]), parse(input.1, &[]));
    match sides {
        (Ok(Side::Bouts(one)), Ok(Side::Bouts(two))) => drop(compare_bouts(&one, &two)),
        (Ok(Side::Scores(one)), Ok(Side::Scores(two))) => {
            if let Ok(joined) = join(&one, &two, &[], &[]) {
                compare_scores(joined);
            }
        }
        _ => {}
    }
});
