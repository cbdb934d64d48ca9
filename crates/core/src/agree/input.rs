//! The forms in which a side comes: a document with bouts, or a table (CSV, or one JSON object a line) of bouts or scores.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use serde_json::{Map, Value};

use crate::gait::agreement::GaitSpan;

/// Bouts of recordings by name. A file of one recording has the name "".
pub type BoutSets = BTreeMap<String, BoutSet>;

/// The bouts of one recording, in order of time and without overlap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoutSet {
    /// The bouts.
    pub spans: Vec<GaitSpan>,
    /// Of what they say they are.
    pub origin: Origin,
}

/// What a set of bouts says of where it comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// SHA-256 of the recording.
    pub sha256: Option<String>,
    /// When the recording began.
    pub start: Option<Timestamp>,
    /// Who marked them.
    pub rater: Option<String>,
}

impl Origin {
    /// What a table's columns or a document's keys say: nothing where a cell is empty or cannot be read.
    fn of<'a>(cell: impl Fn(&str) -> Option<&'a str>) -> Self {
        let filled = |name| cell(name).map(str::trim).filter(|text| !text.is_empty());
        Self {
            sha256: filled("sha256").map(str::to_ascii_lowercase),
            start: filled("start").and_then(|start| start.parse().ok()),
            rater: filled("rater").map(str::to_owned),
        }
    }

    /// Leaves what another row says otherwise unsaid.
    fn keep(&mut self, other: &Self) {
        self.sha256.take_if(|sha256| other.sha256.as_ref() != Some(sha256));
        self.start.take_if(|start| other.start != Some(*start));
        self.rater.take_if(|rater| other.rater.as_ref() != Some(rater));
    }

    /// Whether both say of what recording they are, and it is not the same.
    pub fn differs(&self, other: &Self) -> bool {
        fn differ<T: PartialEq>(one: Option<&T>, two: Option<&T>) -> bool {
            one.zip(two).is_some_and(|(one, two)| one != two)
        }
        differ(self.sha256.as_ref(), other.sha256.as_ref())
            || differ(self.start.as_ref(), other.start.as_ref())
    }
}

/// Most bouts of one recording: matching needs room for their square.
pub const MOST_BOUTS: usize = 2000;
/// Most characters of a side, and most cells of a table, our choice: 60 columns of 60,000 recordings stay below.
pub const MOST_CHARACTERS: usize = 64 << 20;
/// See [`MOST_CHARACTERS`].
pub const MOST_CELLS: usize = 4_000_000;
/// What bouts may overlap by, s: more than rounding explains is a mistake.
const ROUNDING_S: f64 = 0.1;
/// The columns that make a table one of bouts.
const BOUT_COLUMNS: [&str; 3] = ["gait", "start_s", "end_s"];
/// The column that names the recording, unless another is given.
const PATH: &str = "path";
/// The column that names it where there is no such.
const RECORDING: &str = "recording";

/// One side.
#[derive(Clone, Debug, PartialEq)]
pub enum Side {
    /// Bouts of one recording or many.
    Bouts(BoutSets),
    /// A table of scores.
    Scores(Table),
}

/// Cells as they are written; empty where there is no value.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// One list of cells a row, as long as `columns`.
    pub rows: Vec<Vec<String>>,
}

/// Why a side cannot be used: what is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct InputError(String);

fn wrong<T>(what: impl Into<String>) -> Result<T, InputError> {
    Err(InputError(what.into()))
}

/// Reads one side. `key`: the columns that name a recording or row; empty for `path`, else the first column.
pub fn parse(text: &str, key: &[String]) -> Result<Side, InputError> {
    let text = text.trim_start_matches('\u{feff}');
    if text.len() > MOST_CHARACTERS {
        return wrong(format!("larger than {} MiB; leave columns or rows out", MOST_CHARACTERS >> 20));
    }
    if let Ok(Value::Object(document)) = serde_json::from_str(text)
        && let Some(bouts) = document.get("bouts")
    {
        return Ok(Side::Bouts(BTreeMap::from([(String::new(), bout_set(&document, bouts)?)])));
    }
    let table = if text.trim_start().starts_with('{') {
        match objects(text)? {
            Objects::Bouts(sets) => return Ok(Side::Bouts(sets)),
            Objects::Scores(table) => table,
        }
    } else {
        csv_table(text)?
    };
    if BOUT_COLUMNS.iter().all(|name| table.columns.iter().any(|c| c == name)) {
        bout_rows(&table, key).map(Side::Bouts)
    } else {
        Ok(Side::Scores(table))
    }
}

/// Values of one column in two tables, joined by key.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pairs {
    /// Values of the reference.
    pub reference: Vec<f64>,
    /// Values of the other side, in the same order.
    pub other: Vec<f64>,
    /// Joined rows in which a side has no value.
    pub missing: usize,
}

/// Two tables joined by key.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Joined {
    /// The columns of the key.
    pub key: Vec<String>,
    /// Pairs by column.
    pub columns: Vec<(String, Pairs)>,
    /// Rows of the reference and of the other side.
    pub rows: [usize; 2],
    /// Joined rows.
    pub matched: usize,
    /// Keys without a partner, in the reference and in the other side.
    pub unmatched: [Vec<String>; 2],
}

/// Joins two tables. `columns`: those to compare; empty for all that are numbers in both.
pub fn join(
    reference: &Table,
    other: &Table,
    key: &[String],
    columns: &[String],
) -> Result<Joined, InputError> {
    let key = key_of(reference, key)?;
    let (left, right) = (keyed(reference, &key, "the reference")?, keyed(other, &key, "the other side")?);
    let names = if columns.is_empty() { number_columns(reference, other, &key) } else { columns.to_vec() };
    if names.is_empty() {
        return wrong("no column holds numbers on both sides");
    }
    let matched: Vec<(usize, usize)> =
        left.iter().filter_map(|(key, at)| right.get(key).map(|there| (*at, *there))).collect();
    let mut joined = Joined {
        rows: [reference.rows.len(), other.rows.len()],
        matched: matched.len(),
        unmatched: [
            left.keys().filter(|key| !right.contains_key(*key)).cloned().collect(),
            right.keys().filter(|key| !left.contains_key(*key)).cloned().collect(),
        ],
        key,
        columns: Vec::new(),
    };
    for name in names {
        let (here, there) = (reference.place(&name, "the reference")?, other.place(&name, "the other side")?);
        let mut pairs = Pairs::default();
        for &(i, j) in &matched {
            match (reference.number(i, here)?, other.number(j, there)?) {
                (Some(a), Some(b)) => {
                    pairs.reference.push(a);
                    pairs.other.push(b);
                }
                _ => pairs.missing += 1,
            }
        }
        joined.columns.push((name, pairs));
    }
    Ok(joined)
}

impl Table {
    fn place(&self, name: &str, side: &str) -> Result<usize, InputError> {
        match self.columns.iter().position(|column| column == name) {
            Some(at) => Ok(at),
            None => {
                wrong(format!("{side} has no column `{name}`; its columns are {}", listed(&self.columns)))
            }
        }
    }

    /// The number of a cell, `None` where there is none.
    fn number(&self, row: usize, column: usize) -> Result<Option<f64>, InputError> {
        number(&self.rows[row][column]).map_err(|cell| {
            InputError(format!("row {}, column `{}`: `{cell}` is no number", row + 1, self.columns[column]))
        })
    }
}

fn number(cell: &str) -> Result<Option<f64>, &str> {
    match cell.trim() {
        "" => Ok(None),
        text => match text.parse::<f64>() {
            Ok(value) => Ok(value.is_finite().then_some(value)),
            Err(_) => Err(cell),
        },
    }
}

fn listed(names: &[String]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

fn key_of(table: &Table, key: &[String]) -> Result<Vec<String>, InputError> {
    match (key, table.columns.first()) {
        ([], None) => wrong("the table has no column"),
        ([], Some(_)) if table.columns.iter().any(|c| c == PATH) => Ok(vec![PATH.to_owned()]),
        ([], Some(first)) => Ok(vec![first.clone()]),
        (given, _) => Ok(given.to_vec()),
    }
}

fn keyed(table: &Table, key: &[String], side: &str) -> Result<BTreeMap<String, usize>, InputError> {
    let places = key.iter().map(|name| table.place(name, side)).collect::<Result<Vec<_>, _>>()?;
    let mut rows = BTreeMap::new();
    for (at, row) in table.rows.iter().enumerate() {
        let name = places.iter().map(|p| row[*p].as_str()).collect::<Vec<_>>().join(" · ");
        if rows.contains_key(&name) {
            return wrong(format!("{side} has two rows for `{name}` (row {}): a key names one row", at + 1));
        }
        rows.insert(name, at);
    }
    Ok(rows)
}

/// Columns that both tables have and in which every filled cell is a number.
fn number_columns(reference: &Table, other: &Table, key: &[String]) -> Vec<String> {
    let is_number = |table: &Table, name: &str| {
        table.columns.iter().position(|c| c == name).is_some_and(|at| {
            table.rows.iter().all(|row| number(&row[at]).is_ok())
                && table.rows.iter().any(|row| number(&row[at]).is_ok_and(|value| value.is_some()))
        })
    };
    let is_wanted =
        |name: &&String| !key.contains(name) && is_number(reference, name) && is_number(other, name);
    reference.columns.iter().filter(is_wanted).cloned().collect()
}

fn csv_table(text: &str) -> Result<Table, InputError> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let fault = |error: csv::Error| InputError(format!("not a table: {error}"));
    let columns: Vec<String> =
        reader.headers().map_err(fault)?.iter().map(|name| name.trim().to_owned()).collect();
    let mut seen = BTreeSet::new();
    if let Some(twice) = columns.iter().find(|name| !seen.insert(name.as_str())) {
        return wrong(format!("two columns are named `{twice}`"));
    }
    let mut rows = Vec::new();
    for row in reader.records() {
        rows.push(row.map_err(fault)?.iter().map(str::to_owned).collect());
        refuse_too_many_cells(rows.len(), columns.len())?;
    }
    Ok(Table { columns, rows })
}

fn refuse_too_many_cells(rows: usize, columns: usize) -> Result<(), InputError> {
    if rows.saturating_mul(columns) <= MOST_CELLS {
        return Ok(());
    }
    wrong(format!("a table of more than {MOST_CELLS} cells; leave columns or rows out"))
}

enum Objects {
    Bouts(BoutSets),
    Scores(Table),
}

/// One JSON object a line: documents with `bouts` and a `path` or `name`, or rows of a table.
fn objects(text: &str) -> Result<Objects, InputError> {
    let mut objects: Vec<Map<String, Value>> = Vec::new();
    for (line, content) in text.lines().enumerate().filter(|(_, content)| !content.trim().is_empty()) {
        let object = serde_json::from_str(content)
            .map_err(|error| InputError(format!("line {}: no JSON object: {error}", line + 1)))?;
        objects.push(object);
    }
    if objects.iter().all(|object| object.contains_key("bouts")) {
        let mut sets = BoutSets::new();
        for (at, object) in objects.iter().enumerate() {
            let Some(name) = [PATH, "name"].iter().find_map(|key| object.get(*key)?.as_str()) else {
                return wrong(format!("object {}: `path` or `name` has to name the recording", at + 1));
            };
            let set = bout_set(object, &object["bouts"])
                .map_err(|error| InputError(format!("object {}: {error}", at + 1)))?;
            if sets.insert(name.to_owned(), set).is_some() {
                return wrong(format!("`{name}` stands there twice"));
            }
        }
        return Ok(Objects::Bouts(sets));
    }
    let mut table = Table::default();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for object in objects.iter().flat_map(Map::keys) {
        if !places.contains_key(object) {
            places.insert(object.clone(), table.columns.len());
            table.columns.push(object.clone());
        }
    }
    refuse_too_many_cells(objects.len(), table.columns.len())?;
    for object in objects {
        let mut row = vec![String::new(); table.columns.len()];
        for (name, value) in object {
            row[places[&name]] = match value {
                Value::Null => String::new(),
                Value::String(text) => text,
                other => other.to_string(),
            };
        }
        table.rows.push(row);
    }
    Ok(Objects::Scores(table))
}

/// Bouts of a document, with what it says of the recording.
fn bout_set(document: &Map<String, Value>, bouts: &Value) -> Result<BoutSet, InputError> {
    let recording = document.get(RECORDING).and_then(Value::as_object).unwrap_or(document);
    let origin = Origin::of(|name| recording.get(name).or_else(|| document.get(name))?.as_str());
    Ok(BoutSet { spans: spans(bouts)?, origin })
}

/// Bouts out of a document's list.
fn spans(list: &Value) -> Result<Vec<GaitSpan>, InputError> {
    let Some(list) = list.as_array() else { return wrong("`bouts` is no list") };
    let one = |(at, bout): (usize, &Value)| {
        let number = |key: &str| bout.get(key).and_then(Value::as_f64);
        match (bout.get("gait").and_then(Value::as_str), number("start_s"), number("end_s")) {
            (Some(gait), Some(start_s), Some(end_s)) => span(gait, start_s, end_s, at + 1),
            _ => wrong(format!("bout {} lacks `gait`, `start_s` or `end_s`", at + 1)),
        }
    };
    in_order(list.iter().enumerate().map(one).collect::<Result<_, _>>()?)
}

/// Bouts out of a table with one row a bout. Without a column that names the recording it is one recording.
fn bout_rows(table: &Table, key: &[String]) -> Result<BoutSets, InputError> {
    let has = |name: &str| table.columns.iter().any(|c| c == name);
    let key = match key {
        [] if has(PATH) => vec![PATH.to_owned()],
        [] if has(RECORDING) => vec![RECORDING.to_owned()],
        given => given.to_vec(),
    };
    let names = key.iter().map(|name| table.place(name, "the table")).collect::<Result<Vec<_>, _>>()?;
    let [gait, start, end] =
        BOUT_COLUMNS.map(|name| table.columns.iter().position(|c| c == name).unwrap_or_default());
    if table.rows.is_empty() {
        return wrong("the table has no bout");
    }
    let cell = |row: usize, name: &str| {
        let at = table.columns.iter().position(|c| c == name)?;
        Some(table.rows[row][at].as_str())
    };
    let mut sets: BTreeMap<String, (Vec<GaitSpan>, Origin)> = BTreeMap::new();
    for (at, row) in table.rows.iter().enumerate() {
        let name = names.iter().map(|p| row[*p].as_str()).collect::<Vec<_>>().join(" · ");
        let (Some(start_s), Some(end_s)) = (table.number(at, start)?, table.number(at, end)?) else {
            return wrong(format!("row {} has no `start_s` or no `end_s`", at + 1));
        };
        let origin = Origin::of(|name| cell(at, name));
        let span = span(&row[gait], start_s, end_s, at + 1)?;
        match sets.get_mut(&name) {
            None => drop(sets.insert(name, (vec![span], origin))),
            Some((spans, known)) => {
                known.keep(&origin);
                spans.push(span);
            }
        }
    }
    let named = |(name, (spans, origin)): (String, (Vec<GaitSpan>, Origin))| match in_order(spans) {
        Ok(spans) => Ok((name, BoutSet { spans, origin })),
        Err(error) if name.is_empty() => Err(error),
        Err(error) => wrong(format!("`{name}`: {error}")),
    };
    sets.into_iter().map(named).collect()
}

fn span(gait: &str, start_s: f64, end_s: f64, at: usize) -> Result<GaitSpan, InputError> {
    let Some(gait) = super::bouts::GAITS.into_iter().find(|known| known.word() == gait) else {
        return wrong(format!("bout {at}: `{gait}` is no gait; expected run, walk, stand or unknown"));
    };
    if end_s < start_s || !(start_s.is_finite() && end_s.is_finite()) {
        return wrong(format!("bout {at} ends before it starts: {start_s} to {end_s} s"));
    }
    Ok(GaitSpan { gait, start_s, end_s })
}

/// Checks order and number; drops what has no length and joins neighbours of one gait.
fn in_order(spans: Vec<GaitSpan>) -> Result<Vec<GaitSpan>, InputError> {
    if spans.len() > MOST_BOUTS {
        return wrong(format!("{} bouts in one recording; at most {MOST_BOUTS} are compared", spans.len()));
    }
    let mut tidy: Vec<GaitSpan> = Vec::with_capacity(spans.len());
    for mut span in spans {
        if let Some(last) = tidy.last_mut() {
            if span.start_s < last.end_s - ROUNDING_S {
                return wrong(format!(
                    "bouts overlap or are out of order: one from {} s after one to {} s",
                    span.start_s, last.end_s
                ));
            }
            span.start_s = span.start_s.max(last.end_s);
            if last.gait == span.gait && span.start_s - last.end_s <= 0.0 {
                last.end_s = span.end_s.max(last.end_s);
                continue;
            }
        }
        if span.end_s > span.start_s {
            tidy.push(span);
        }
    }
    if tidy.is_empty() { wrong("no bout has any length") } else { Ok(tidy) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gait::Gait;

    fn one(text: &str) -> Vec<GaitSpan> {
        let Side::Bouts(sets) = parse(text, &[]).unwrap() else { panic!("bouts") };
        let (name, set) = sets.into_iter().next().unwrap();
        assert_eq!(name, "");
        set.spans
    }

    fn table(text: &str) -> Table {
        let Side::Scores(table) = parse(text, &[]).unwrap() else { panic!("scores") };
        table
    }

    fn error(text: &str) -> String {
        parse(text, &[]).unwrap_err().to_string()
    }

    #[test]
    fn documents_and_tables_hold_the_same_bouts() {
        let document = r#"{"schema": "jogaudit.bouts/1", "bouts": [
            {"gait": "walk", "start_s": 0.0, "end_s": 60.5, "certainty": 0.9},
            {"gait": "run", "start_s": 60.5, "end_s": 60.5}, {"gait": "walk", "start_s": 60.5, "end_s": 90}]}"#;
        let csv =
            "\u{feff}gait,start_s,end_s,certainty\r\nwalk,0,60.5,\r\nrun,60.5,60.5,\r\nwalk,60.5,90,1\r\n";
        let whole = [GaitSpan { gait: Gait::Walk, start_s: 0.0, end_s: 90.0 }];
        assert_eq!(one(document), whole);
        assert_eq!(one(csv), whole);
    }

    #[test]
    fn many_recordings_by_name() {
        let csv = "path,gait,start_s,end_s\nb,run,0,5\na,walk,0,9\nb,walk,5,7\n";
        let lines = "{\"path\":\"b\",\"gait\":\"run\",\"start_s\":0,\"end_s\":5}\n{\"path\":\"a\",\"gait\":\"walk\",\"start_s\":0,\"end_s\":9}\n\
                     {\"path\":\"b\",\"gait\":\"walk\",\"start_s\":5.0,\"end_s\":7}\n";
        let documents = "{\"name\":\"b\",\"bouts\":[{\"gait\":\"run\",\"start_s\":0,\"end_s\":5},{\"gait\":\"walk\",\"start_s\":5,\"end_s\":7}]}\n\
                         {\"name\":\"a\",\"bouts\":[{\"gait\":\"walk\",\"start_s\":0,\"end_s\":9}]}\n";
        let sides = [csv, lines, documents].map(|text| parse(text, &[]).unwrap());
        let Side::Bouts(sets) = &sides[0] else { panic!("bouts") };
        assert_eq!(sets["b"].spans.len(), 2);
        assert_eq!(sides[0], sides[1]);
        assert_eq!(sides[0], sides[2]);
    }

    #[test]
    fn a_set_says_of_what_recording_it_is() {
        let marked = "recording,sha256,start,rater,gait,start_s,end_s\n\
                      b.fit,AB,2026-03-02T07:10:00Z,anna,run,0,5\nb.fit,AB,2026-03-02T07:10:00Z,anna,walk,5,7\n\
                      a.fit,cd,,anna,walk,0,9\n";
        let Side::Bouts(marked) = parse(marked, &[]).unwrap() else { panic!("bouts") };
        let found = r#"{"schema": "jogaudit.bouts/1", "recording": {"sha256": "ab", "start": "2026-03-02T08:10:00+01:00"},
            "bouts": [{"gait": "walk", "start_s": 0, "end_s": 7}]}"#;
        let Side::Bouts(found) = parse(found, &[]).unwrap() else { panic!("bouts") };
        let (a, b, found) = (&marked["a.fit"].origin, &marked["b.fit"].origin, &found[""].origin);
        assert_eq!((&b.sha256, b.start), (&found.sha256, found.start));
        assert!(!b.differs(found) && a.differs(found));
        assert_eq!(b.rater.as_deref(), Some("anna"));
        let unsaid = Origin::default();
        assert!(!unsaid.differs(a));
        // A table of one's own may have times of the day there.
        let Side::Bouts(own) =
            parse("gait,start_s,end_s,start\nrun,0,5,2026-03-02T07:10:00Z\nwalk,5,9,07:10\n", &[]).unwrap()
        else {
            panic!("bouts")
        };
        assert_eq!(own[""].origin, Origin::default());
    }

    #[test]
    fn scores_are_joined_by_key_and_what_is_left_over_is_counted() {
        let reference = table("path,run_s,note\na,1.5,x\nb,2,\nc,,\nd,4,\n");
        let other = table(
            "{\"path\":\"b\",\"run_s\":2.5}\n{\"path\":\"a\",\"run_s\":1}\n{\"path\":\"c\",\"run_s\":3}\n{\"path\":\"e\",\"run_s\":null}\n",
        );
        let joined = join(&reference, &other, &[], &[]).unwrap();
        assert_eq!(joined.key, ["path"]);
        assert_eq!((joined.rows, joined.matched), ([4, 4], 3));
        assert_eq!(joined.unmatched, [vec!["d".to_owned()], vec!["e".to_owned()]]);
        let pairs = Pairs { reference: vec![1.5, 2.0], other: vec![1.0, 2.5], missing: 1 };
        assert_eq!(joined.columns, [("run_s".to_owned(), pairs)]);
    }

    #[test]
    fn a_table_of_too_many_cells_is_refused_before_it_is_held() {
        const COLUMNS: usize = 2_000;
        let names = (0..COLUMNS).map(|n| n.to_string()).collect::<Vec<_>>().join(",");
        let row = ",".repeat(COLUMNS - 1);
        let csv = |rows: usize| format!("{names}\n{}", format!("{row}\n").repeat(rows));
        let most = MOST_CELLS / COLUMNS;
        assert!(parse(&csv(most), &[]).is_ok());
        assert!(error(&csv(most + 1)).contains("more than 4000000 cells"));
        // As lines of JSON: few columns each, many in all.
        let line = |n: usize| format!("{{\"c{}\":1}}\n", n % COLUMNS);
        let lines: Vec<String> = (0..=most).map(line).collect();
        assert!(error(&lines.concat()).contains("more than 4000000 cells"));
    }

    #[test]
    fn what_is_wrong_is_said() {
        let says = |got: String, part: &str| assert!(got.contains(part), "{got}");
        says(
            error("gait,start_s,end_s\njog,0,5\n"),
            "`jog` is no gait; expected run, walk, stand or unknown",
        );
        says(error("gait,start_s,end_s\nrun,0,five\n"), "row 1, column `end_s`: `five` is no number");
        says(error("gait,start_s,end_s\nrun,7,5\n"), "ends before it starts");
        says(error("gait,start_s,end_s\nrun,0,5\nwalk,3,9\n"), "overlap");
        says(error("gait,start_s,end_s\n"), "the table has no bout");
        says(error("{\"a\":1}\n{\"a\":\n"), "line 2: no JSON object");
        says(error("a,b\n1\n"), "not a table");
        says(error("a,a\n1,2\n"), "two columns are named `a`");
        says(error("{\"bouts\": 3}"), "`bouts` is no list");
        let (twice, once) = (table("id,x\na,1\na,2\n"), table("id,x\na,1\n"));
        let joined = |left: &Table, right: &Table, key: &[String], columns: &[String]| {
            join(left, right, key, columns).unwrap_err().to_string()
        };
        says(joined(&once, &twice, &[], &[]), "the other side has two rows for `a` (row 2)");
        says(joined(&once, &once, &["no".to_owned()], &[]), "has no column `no`; its columns are `id`, `x`");
        says(joined(&once, &table("id,x\na,b\n"), &[], &["x".to_owned()]), "`b` is no number");
        says(joined(&once, &table("id,x\na,b\n"), &[], &[]), "no column holds numbers on both sides");
    }
}
