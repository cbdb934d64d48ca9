#![no_main]

use jiff::civil::{Date, date};
use jogaudit_core::review::{Diary, day_cells, diary_with};
use libfuzzer_sys::fuzz_target;

const DAY: Date = date(2026, 3, 2);

fuzz_target!(|input: (&str, [Option<String>; 5])| {
    let (text, cells) = input;
    Diary::parse(text, Date::MAX);
    let Ok(before) = day_cells(text, DAY) else { return };
    let Ok(after) = diary_with(text, DAY, &cells) else { panic!("what can be read can be written") };
    // (What is set may change which mark is taken for the separator: whoever writes reads back first.)
    let _ = day_cells(&after, DAY);
    if cells.iter().all(Option::is_none) && before.iter().any(|cell| !cell.is_empty()) {
        assert_eq!(after, text, "nothing set, nothing written");
    }
});
