//! The diary → [`Diary`]: pain and effort by day.

use std::collections::BTreeSet;

use jiff::civil::Date;

use crate::codes::codes;
use jogaudit_recording::notice::{Noted, NoticeCode};

use super::csv::{self, Cell, Row};
use super::remarks::Remarks;
use super::unread::Unread;

codes! {
    /// When pain was felt, as the diary asks it; from the least grave to the gravest.
    pub enum Pattern {
        /// While warming up, gone later.
        WarmUpOnly = "warm_up_only",
        /// After the session, or more than an hour later.
        After = "after",
        /// While warming up, gone, and back during the session.
        Returns = "returns",
        /// While warming up, and it went on.
        WarmUpStays = "warm_up_stays",
        /// At night.
        Night = "night",
    }
}

impl Pattern {
    /// Reads a cell of the diary: one pattern, or several with a space, comma, semicolon, plus or slash between them. `None` where
    /// there is none, or a word that is none.
    pub fn read_all(text: &str) -> Option<Vec<Self>> {
        let words = text.split([' ', ',', ';', '+', '/']).filter(|word| !word.is_empty());
        let read = |word: &str| Self::ALL.iter().copied().find(|p| word.eq_ignore_ascii_case(p.word()));
        let mut all: Vec<Self> = words.map(read).collect::<Option<_>>()?;
        all.sort_unstable();
        all.dedup();
        (!all.is_empty()).then_some(all)
    }
}

/// Reads a cell of pain or effort: a number from 0 to 10, also with a decimal comma.
pub fn score(text: &str) -> Option<f64> {
    text.trim()
        .replace(',', ".")
        .parse::<f64>()
        .ok()
        .filter(|number| (0.0..=10.0).contains(number))
        .map(|number| number + 0.0)
}

/// What was noted on one day. What was not asked is `None`.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The day of the session.
    pub date: Date,
    /// Greatest pain during the session, 0 to 10.
    pub pain_during: Option<f64>,
    /// When it was felt, the gravest last.
    pub patterns: Vec<Pattern>,
    /// Pain on the morning after that day, 0 to 10.
    pub pain_next_morning: Option<f64>,
    /// Session effort (rating of perceived exertion), 0 to 10.
    pub effort: Option<f64>,
    /// Free words.
    pub note: String,
    /// Whether something that may be about pain on this day cannot be read. It is not taken for no pain.
    pub pain_unread: bool,
}

impl Entry {
    /// A day on which nothing was noted.
    pub fn empty(date: Date) -> Self {
        Self {
            date,
            pain_during: None,
            patterns: Vec::new(),
            pain_next_morning: None,
            effort: None,
            note: String::new(),
            pain_unread: false,
        }
    }

    /// When it was felt; of several the gravest.
    pub fn gravest_pattern(&self) -> Option<Pattern> {
        self.patterns.last().copied()
    }

    /// The greatest pain noted for the day, during or on the morning after.
    pub fn greatest_pain(&self) -> Option<f64> {
        let both = self.pain_during.into_iter().chain(self.pain_next_morning);
        both.fold(None, |most: Option<f64>, pain| Some(most.map_or(pain, |m| m.max(pain))))
    }

    /// Takes the greater or graver of each from another entry of the same day.
    fn join(&mut self, other: &Self) {
        let most = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        self.pain_during = most(self.pain_during, other.pain_during);
        self.patterns.extend(&other.patterns);
        self.patterns.sort_unstable();
        self.patterns.dedup();
        self.pain_next_morning = most(self.pain_next_morning, other.pain_next_morning);
        self.effort = most(self.effort, other.effort);
        self.pain_unread |= other.pain_unread;
        if !other.note.is_empty() {
            let gap = if self.note.is_empty() { "" } else { "; " };
            self.note = format!("{}{gap}{}", self.note, other.note);
        }
    }
}

/// The diary: at most one entry a day, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Diary {
    entries: Vec<Entry>,
    unread: Unread,
}

impl Diary {
    /// Puts entries in order and joins those of one day, taking the greater pain.
    pub fn new(entries: Vec<Entry>) -> Self {
        let mut all = entries;
        all.sort_by_key(|entry| entry.date);
        let mut joined: Vec<Entry> = Vec::with_capacity(all.len());
        for entry in all {
            match joined.last_mut() {
                Some(last) if last.date == entry.date => last.join(&entry),
                _ => joined.push(entry),
            }
        }
        Self { entries: joined, unread: Unread::Nothing }
    }

    /// A diary that is there and cannot be read.
    pub fn unreadable() -> Self {
        Self { entries: Vec::new(), unread: Unread::Whole }
    }

    /// How much of it could not be read so that it is not known which day it is about.
    pub fn unread(&self) -> Unread {
        self.unread
    }

    /// The entries in order.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// What was noted on a day.
    pub fn on(&self, date: Date) -> Option<&Entry> {
        self.entries.binary_search_by_key(&date, |entry| entry.date).ok().map(|index| &self.entries[index])
    }

    /// A `diary.csv` to fill in: its header and a line for each day.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::review::Diary;
    /// let blank = Diary::blank(["2026-03-02".parse()?]);
    /// assert_eq!(blank, "date,pain_during,pain_pattern,pain_next_morning,effort,note\n2026-03-02,,,,,\n");
    /// # Ok::<(), jiff::Error>(())
    /// ```
    pub fn blank(days: impl IntoIterator<Item = Date>) -> String {
        let cells = ",".repeat(COLUMNS.len() - 1);
        let lines = days.into_iter().map(|day| format!("{day}{cells}\n"));
        std::iter::once(format!("{}\n", COLUMNS.join(","))).chain(lines).collect()
    }

    /// Reads `diary.csv`. What cannot be read is left out and said with line and column; the rest is used. It is not taken for
    /// no pain: [`Entry::pain_unread`], [`Diary::unread`]. Days after `as_of` are left out and, unless nothing stands there yet, said.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::review::Diary;
    /// let text = "date,pain_during,effort\n2026-03-02,1,4\n2026-03-04,none,3\n";
    /// let diary = Diary::parse(text, "2026-03-10".parse()?);
    /// assert_eq!(diary.value.entries().len(), 2);
    /// assert!(diary.notices[0].text.contains("line 3, column 12"));
    /// # Ok::<(), jiff::Error>(())
    /// ```
    pub fn parse(text: &str, as_of: Date) -> Noted<Self> {
        let mut reader = Reader {
            remarks: Remarks::on("diary.csv"),
            columns: [None; COLUMNS.len()],
            width: COLUMNS.len(),
            doubtful: Vec::new(),
        };
        let rows = csv::rows(text);
        let body = match rows.split_first() {
            Some((head, body)) if reader.header(head) => body,
            // No header: the columns of the case folder's description.
            _ => {
                reader.columns = std::array::from_fn(Some);
                &rows
            }
        };
        let (mut entries, mut days) = (Vec::new(), BTreeSet::new());
        let (mut has_day, mut has_lost) = (false, false);
        for row in body.iter().filter(|row| row.cells.iter().any(|cell| !cell.text.is_empty())) {
            let Some(entry) = reader.entry(row) else {
                has_lost = true;
                continue;
            };
            has_day = true;
            // A day that is prepared and still to come.
            if entry.date > as_of && entry == Entry::empty(entry.date) {
                continue;
            }
            if entry.date > as_of {
                reader.say(
                    NoticeCode::DiaryFuture,
                    row.line,
                    1,
                    &format!("{} lies after {as_of}; the line is left out", entry.date),
                );
                continue;
            }
            if !days.insert(entry.date) {
                reader.say(
                    NoticeCode::DiaryDateTwice,
                    row.line,
                    1,
                    &format!("{} stands here a second time; the greater pain and effort count", entry.date),
                );
            }
            entries.push(entry);
        }
        let unread = Unread::of(has_lost, has_day);
        Noted { value: Self { unread, ..Self::new(entries) }, notices: reader.remarks.notices() }
    }
}

pub(super) const COLUMNS: [&str; 6] =
    ["date", "pain_during", "pain_pattern", "pain_next_morning", "effort", "note"];

/// Those of [`COLUMNS`] that are about pain.
const PAIN_COLUMNS: [usize; 3] = [1, 2, 3];

struct Reader {
    remarks: Remarks,
    /// Where each of [`COLUMNS`] stands.
    columns: [Option<usize>; COLUMNS.len()],
    /// Columns that the first line names.
    width: usize,
    /// Columns that are not read and may be about pain: one under a name that is not known while a column of pain is missing, and
    /// the first of two with one name.
    doubtful: Vec<usize>,
}

impl Reader {
    fn say(&mut self, code: NoticeCode, line: usize, column: usize, what: &str) {
        self.remarks.at(code, line, column, what);
    }

    /// Reads the header. `false` when the row is none.
    fn header(&mut self, row: &Row) -> bool {
        let known = |cell: &Cell| COLUMNS.iter().position(|name| cell.text.eq_ignore_ascii_case(name));
        if !row.cells.iter().any(|cell| known(cell).is_some()) {
            let text = "no header is found, so the columns are taken to be date, pain_during, pain_pattern, \
                pain_next_morning, effort, note";
            self.say(NoticeCode::DiaryNoHeader, row.line, 1, text);
            return false;
        }
        self.width = row.cells.len();
        let mut unknown = Vec::new();
        for (index, cell) in row.cells.iter().enumerate() {
            let what = match known(cell) {
                Some(column) => {
                    let Some(before) = self.columns[column].replace(index) else { continue };
                    self.doubtful.push(before);
                    format!("`{}` stands here a second time; the first one is not used", COLUMNS[column])
                }
                None if cell.text.is_empty() => continue,
                None => {
                    unknown.push(index);
                    format!("`{}` is no column of a diary and is not used", shown(&cell.text))
                }
            };
            self.say(NoticeCode::DiaryColumn, row.line, cell.column, &what);
        }
        if PAIN_COLUMNS.iter().any(|column| self.columns[*column].is_none()) {
            self.doubtful.append(&mut unknown);
        }
        if self.columns[0].is_none() {
            self.say(
                NoticeCode::DiaryColumn,
                row.line,
                1,
                "there is no column `date`, so no line can be used",
            );
        }
        true
    }

    fn entry(&mut self, row: &Row) -> Option<Entry> {
        if row.unclosed {
            self.say(
                NoticeCode::DiaryLine,
                row.line,
                1,
                "a quote is opened and not closed; it is taken to end with the line",
            );
        }
        let cell = |index: usize| self.columns[index].and_then(|at| row.cell(at)).cloned();
        let [date, during, pattern, morning, effort, note] = std::array::from_fn(cell);
        let Some(date) = date else {
            if self.columns[0].is_some() {
                self.say(NoticeCode::DiaryLine, row.line, 1, "there is no date; the line is left out");
            }
            return None;
        };
        let Ok(day) = date.text.parse::<Date>() else {
            self.say(
                NoticeCode::DiaryLine,
                row.line,
                date.column,
                &format!(
                    "expected a date such as 2026-03-02, found `{}`; the line is left out",
                    shown(&date.text)
                ),
            );
            return None;
        };
        let is_too_long = row.cells.iter().skip(self.width).any(|cell| !cell.text.is_empty());
        if is_too_long {
            let text = "there are more cells than columns, so it is not sure which is which; put quotes around a note with commas";
            self.say(NoticeCode::DiaryLine, row.line, 1, text);
        }
        let is_doubtful =
            self.doubtful.iter().filter_map(|at| row.cell(*at)).any(|cell| score(&cell.text) != Some(0.0));
        let pain_during = self.score(row.line, during.as_ref());
        let patterns = self.patterns(row.line, pattern.as_ref());
        let pain_next_morning = self.score(row.line, morning.as_ref());
        let is_lost = (during.is_some() && pain_during.is_none())
            || (pattern.is_some() && patterns.is_empty())
            || (morning.is_some() && pain_next_morning.is_none());
        Some(Entry {
            date: day,
            pain_during,
            patterns,
            pain_next_morning,
            effort: self.score(row.line, effort.as_ref()),
            note: note.map(|cell| cell.text).unwrap_or_default(),
            pain_unread: is_lost || is_doubtful || is_too_long || row.unclosed,
        })
    }

    /// A number from 0 to 10; with a decimal comma too.
    fn score(&mut self, line: usize, cell: Option<&Cell>) -> Option<f64> {
        let cell = cell?;
        let number = score(&cell.text);
        if number.is_none() {
            self.say(
                NoticeCode::DiaryCell,
                line,
                cell.column,
                &format!(
                    "expected a number from 0 to 10, found `{}`; it counts as not asked",
                    shown(&cell.text)
                ),
            );
        }
        number
    }

    fn patterns(&mut self, line: usize, cell: Option<&Cell>) -> Vec<Pattern> {
        let Some(cell) = cell else { return Vec::new() };
        let found = Pattern::read_all(&cell.text);
        if found.is_none() {
            self.say(NoticeCode::DiaryCell, line, cell.column, &format!(
                "expected warm_up_only, warm_up_stays, returns, after or night, found `{}`; it counts as not asked",
                shown(&cell.text)
            ));
        }
        found.unwrap_or_default()
    }
}

/// What a person wrote, cut when long.
pub(super) fn shown(text: &str) -> String {
    const LONGEST: usize = 30;
    let mut cut: String = text.chars().take(LONGEST).collect();
    if text.chars().nth(LONGEST).is_some() {
        cut.push('…');
    }
    cut
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn parse(text: &str) -> Noted<Diary> {
        Diary::parse(text, "2026-03-31".parse().unwrap())
    }

    #[test]
    fn a_day_may_have_several_patterns_and_all_of_them_count() {
        for cell in ["warm_up_only night", "\"night, warm_up_only\"", "Night+WARM_UP_ONLY+night"] {
            let diary = parse(&format!("date,pain_during,pain_pattern\n2026-03-02,1,{cell}\n"));
            assert!(diary.notices.is_empty(), "{:?}", diary.notices);
            assert_eq!(diary.value.entries()[0].patterns, [Pattern::WarmUpOnly, Pattern::Night]);
        }
        // A word that is none makes the cell one that cannot be read, which is not taken for no pain.
        let odd = parse("date,pain_pattern\n2026-03-02,after hours\n");
        assert!(odd.value.entries()[0].pain_unread && odd.value.entries()[0].patterns.is_empty());
    }

    #[test]
    fn the_case_folders_example() {
        let diary = parse(
            "date,pain_during,pain_pattern,pain_next_morning,effort,note\n\
             2026-03-02,0,,0,3,\"first jog, since January\"\n2026-03-04,1,warm_up_only,,3.5,\n",
        );
        assert!(diary.notices.is_empty(), "{:?}", diary.notices);
        let [first, second] = diary.value.entries() else { panic!() };
        assert_eq!(
            (first.pain_during, first.gravest_pattern(), first.note.as_str()),
            (Some(0.0), None, "first jog, since January")
        );
        assert_eq!(
            (second.gravest_pattern(), second.pain_next_morning, second.effort),
            (Some(Pattern::WarmUpOnly), None, Some(3.5))
        );
    }

    #[test]
    fn broken_lines_are_said_with_line_and_column_and_the_rest_is_used() {
        let diary = parse(
            "date,pain_during,pain_pattern,effort,mood\n\
             2026-03-02,eleven,night,11\n\
             02.03.2026,1,,3\n\
             \n\
             2026-03-04,2,sometimes,4\n\
             ,5,,\n\
             2026-04-01,1,,\n\
             2026-03-06,1,,2\n\
             2026-03-06,3,returns,\n\
             2026-03-08,1,\"x\n",
        );
        let said: Vec<(NoticeCode, String)> = diary
            .notices
            .iter()
            .map(|n| (n.code, n.text.split(": ").next().unwrap().replace("diary.csv, ", "")))
            .collect();
        let expected = [
            (NoticeCode::DiaryColumn, "line 1, column 38"),
            (NoticeCode::DiaryCell, "line 2, column 12"),
            (NoticeCode::DiaryCell, "line 2, column 25"),
            (NoticeCode::DiaryLine, "line 3, column 1"),
            (NoticeCode::DiaryCell, "line 5, column 14"),
            (NoticeCode::DiaryLine, "line 6, column 1"),
            (NoticeCode::DiaryFuture, "line 7, column 1"),
            (NoticeCode::DiaryDateTwice, "line 9, column 1"),
            (NoticeCode::DiaryLine, "line 10, column 1"),
            (NoticeCode::DiaryCell, "line 10, column 14"),
        ];
        let expected: Vec<(NoticeCode, String)> =
            expected.iter().map(|(c, p)| (*c, (*p).to_owned())).collect();
        assert_eq!(said, expected);
        let days: Vec<String> = diary.value.entries().iter().map(|e| e.date.to_string()).collect();
        assert_eq!(days, ["2026-03-02", "2026-03-04", "2026-03-06", "2026-03-08"]);
        let night = &diary.value.entries()[0];
        assert_eq!((night.pain_during, night.gravest_pattern()), (None, Some(Pattern::Night)));
        let twice = diary.value.on("2026-03-06".parse().unwrap()).unwrap();
        assert_eq!(
            (twice.pain_during, twice.gravest_pattern(), twice.effort),
            (Some(3.0), Some(Pattern::Returns), Some(2.0))
        );
    }

    #[test]
    fn other_orders_separators_and_no_header() {
        let semicolons = parse("effort;date;pain_during\n3,5;2026-03-02;2\n").value;
        assert_eq!(
            (semicolons.entries()[0].effort, semicolons.entries()[0].pain_during),
            (Some(3.5), Some(2.0))
        );
        let bare = parse("2026-03-02,1,,0,4,x\n");
        assert_eq!(bare.value.entries()[0].effort, Some(4.0));
        assert_eq!(bare.notices[0].code, NoticeCode::DiaryNoHeader);
        assert!(parse("pain_during\n3\n").value.entries().is_empty());
        assert_eq!(parse(""), Noted::plain(Diary::default()));
    }

    #[test]
    fn a_blank_diary_reads_without_a_notice_and_its_days_to_come_are_no_entries() {
        let days = ["2026-03-30", "2026-03-31", "2026-04-02"].map(|day| day.parse().unwrap());
        let diary = parse(&Diary::blank(days));
        assert_eq!(diary.notices, []);
        assert_eq!(diary.value.entries(), [Entry::empty(days[0]), Entry::empty(days[1])]);
        assert_eq!(diary.value.unread(), Unread::Nothing);
        assert_eq!(parse(&Diary::blank([])), Noted::plain(Diary::default()));
        // What stands there already is not for a day to come.
        for odd in ["2026-04-02,,,,,x", "2026-04-02,3", "2026-04-02,none"] {
            let said = parse(&format!("{}{odd}\n", Diary::blank([]))).notices;
            assert_eq!(said.last().map(|notice| notice.code), Some(NoticeCode::DiaryFuture), "{odd}");
        }
    }

    proptest! {
        #[test]
        fn no_text_panics_and_days_rise(text in "[0-9,;\\-\n\"a-z]{0,120}") {
            let diary = parse(&text).value;
            prop_assert!(diary.entries().windows(2).all(|pair| pair[0].date < pair[1].date));
        }
    }
}
