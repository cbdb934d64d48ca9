//! Days as people write them.

use jiff::civil::Date;

/// Such as "2 March"; what is no date stays as it is.
pub fn short(date: &str) -> String {
    as_people_write(date, "%-d %B")
}

/// Such as "Monday 2 March 2026"; what is no date stays as it is.
pub fn long(date: &str) -> String {
    as_people_write(date, "%A %-d %B %Y")
}

/// For a table, such as "Mon 2 Mar 2026"; what is no date stays as it is.
pub fn in_table(date: &str) -> String {
    as_people_write(date, "%a %-d %b %Y")
}

fn as_people_write(date: &str, format: &str) -> String {
    date.parse::<Date>().map_or_else(|_| date.to_owned(), |date| date.strftime(format).to_string())
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
    }
}
