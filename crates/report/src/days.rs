//! Days as people write them.

use jiff::civil::Date;

/// Such as "Thursday 12 March"; with its year when it is not `this_year`.
pub(super) fn long_day(date: Date, this_year: i16) -> String {
    if date.year() == this_year { date.strftime("%A %-d %B").to_string() } else { with_year(date) }
}

/// Such as "Thursday 12 March 2026".
pub(super) fn with_year(date: Date) -> String {
    date.strftime("%A %-d %B %Y").to_string()
}

/// Such as "Wed 4 March"; with its year when it is not `this_year`.
pub(super) fn short_day(date: Date, this_year: i16) -> String {
    date.strftime(if date.year() == this_year { "%a %-d %B" } else { "%a %-d %B %Y" }).to_string()
}

/// Such as "2 March"; what is no date stays as it is.
pub fn short(date: &str) -> String {
    written(date, |date| date.strftime("%-d %B").to_string())
}

/// Such as "Monday 2 March 2026"; what is no date stays as it is.
pub fn long(date: &str) -> String {
    written(date, with_year)
}

/// For a table, such as "Mon 2 Mar 2026"; what is no date stays as it is.
pub fn in_table(date: &str) -> String {
    written(date, |date| date.strftime("%a %-d %b %Y").to_string())
}

fn written(date: &str, as_people_do: impl Fn(Date) -> String) -> String {
    date.parse().map_or_else(|_| date.to_owned(), as_people_do)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_written_as_people_do_and_other_text_stays() {
        assert_eq!(short("2026-03-02"), "2 March");
        assert_eq!(long("2026-03-02"), "Monday 2 March 2026");
        assert_eq!(in_table("2026-03-02"), "Mon 2 Mar 2026");
        assert_eq!(long("soon"), "soon");
        assert_eq!(long_day(jiff::civil::date(2026, 3, 12), 2026), "Thursday 12 March");
        assert_eq!(long_day(jiff::civil::date(2027, 1, 1), 2026), "Friday 1 January 2027");
    }
}
