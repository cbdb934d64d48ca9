//! Finished chunks beside the output, so that a killed run loses nothing.
//!
//! A part is named after what is asked (version, settings, paths, prescriptions) and holds what stood in the files
//! (the hash of each) and the rows. It is taken up only when both still hold. Its first line is the hash of the rest.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jogaudit_case::{Failure, blake3, named};
use jogaudit_files::{self as files, Staged, could_not_write, with_suffix};

use super::file_input::FileInput;
use super::inputs::Input;
use super::plans::Plans;
use super::table::Table;
use super::value::{Row, Value};

/// Rows of each table of a run, in the order of the tables.
pub(super) type Rows = Vec<Vec<Row>>;

/// The folder of finished chunks. Whoever opens it holds the lock of the output that it belongs to.
pub(super) struct Parts {
    folder: PathBuf,
    /// What is asked besides paths and prescriptions.
    settings: String,
}

/// How the name of a finished chunk ends.
const PART: &str = ".part";
/// Letters before that: a BLAKE3 in hexadecimal.
const NAME_LETTERS: usize = 64;

/// A finished chunk.
#[derive(Default)]
pub(super) struct Part {
    /// What stood for each input's content.
    pub(super) fingerprints: Vec<String>,
    pub(super) rows: Rows,
    /// Tables of cases with their SHA-256, where that is wanted.
    pub(super) tables: Vec<(String, String)>,
    /// Files in folders that are no recordings.
    pub(super) passed_over: Vec<String>,
}

impl Part {
    /// Takes in what comes after it.
    pub(super) fn append(&mut self, mut next: Self) {
        self.fingerprints.append(&mut next.fingerprints);
        self.rows.iter_mut().zip(&mut next.rows).for_each(|(all, rows)| all.append(rows));
        self.tables.append(&mut next.tables);
        self.passed_over.append(&mut next.passed_over);
    }
}

impl Parts {
    /// The folder that belongs to an output.
    pub(super) fn folder_of(out: &Path) -> PathBuf {
        with_suffix(out, ".parts")
    }

    /// Opens or makes the folder. Parts of an earlier run are an error unless they are to be taken up.
    pub(super) fn open(out: &Path, resume: bool, settings: String) -> Result<Self, Failure> {
        let folder = Self::folder_of(out);
        let failed = |error: &io::Error| could_not_write(&folder, error);
        match fs::create_dir(&folder) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(failed(&error)),
            Err(_) if !fs::symlink_metadata(&folder).is_ok_and(|known| known.is_dir()) => {
                let what = format!("{} is in the way: it is no folder", named(&folder));
                return Err(Failure::refused(what)
                    .hint("finished chunks are kept there: take it away, or name another file"));
            }
            _ => {}
        }
        let parts = Self { folder, settings };
        files::remove_unfinished(&parts.folder);
        let finished = parts.names().map_err(|error| could_not_write(&parts.folder, &error))?.len();
        if finished > 0 && !resume {
            let folder = named(&parts.folder);
            let what = format!("an earlier run left finished chunks ({finished}) in {folder}");
            return Err(Failure::refused(what)
                .hint("add --resume to take them up, or remove that folder to start afresh"));
        }
        Ok(parts)
    }

    /// The name of a chunk.
    pub(super) fn name(&self, inputs: &[Input], plans: &Plans) -> String {
        let mut hash = blake3::Hasher::new();
        let mut add = |text: &[u8]| {
            hash.update(&(text.len() as u64).to_le_bytes());
            hash.update(text);
        };
        add(self.settings.as_bytes());
        for input in inputs {
            add(input.path().as_os_str().as_encoded_bytes());
            match input {
                Input::Case(case) => add(case.participant.as_bytes()),
                Input::File(FileInput { prescribed: Ok(prescribed), .. }) => {
                    add(prescribed.participant.as_deref().unwrap_or_default().as_bytes());
                    add(plans.sha256(prescribed).as_bytes());
                    add(plans.stage(prescribed).name.as_bytes());
                }
                Input::File(_) => {}
            }
        }
        format!("{}{PART}", hash.finalize())
    }

    /// A finished chunk of that name; `None` when there is none or it is damaged.
    pub(super) fn load(&self, name: &str, tables: &[&Table]) -> Option<Part> {
        decode(&fs::read(self.folder.join(name)).ok()?, tables)
    }

    /// Keeps a finished chunk. It is not waited for until it is on the disk: what a crash of the machine leaves of it is
    /// told by its hash.
    pub(super) fn store(&self, name: &str, part: &Part) -> Result<(), Failure> {
        let staged = Staged::unique(&self.folder.join(name))?;
        let written = staged.file()?.write_all(&encode(part));
        written.map_err(|error| could_not_write(&self.folder, &error))?;
        staged.publish()
    }

    /// Takes the folder away once the output is there.
    pub(super) fn remove(self) -> io::Result<()> {
        for name in self.names()? {
            fs::remove_file(self.folder.join(name))?;
        }
        Ok(())
    }

    fn names(&self) -> io::Result<Vec<PathBuf>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.folder)? {
            let name = PathBuf::from(entry?.file_name());
            let stem = name.to_str().and_then(|name| name.strip_suffix(PART));
            // Whatever else lies there is somebody else's.
            if stem
                .is_some_and(|stem| stem.len() == NAME_LETTERS && stem.bytes().all(|b| b.is_ascii_hexdigit()))
            {
                names.push(name);
            }
        }
        Ok(names)
    }
}

impl Drop for Parts {
    /// Takes the folder away unless it holds finished chunks, or something else.
    fn drop(&mut self) {
        let _ = fs::remove_dir(&self.folder);
    }
}

fn encode(part: &Part) -> Vec<u8> {
    // Writing to memory does not fail.
    let mut csv = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    let _ = csv.write_record(&part.fingerprints);
    let tables = part.tables.iter().flat_map(|(path, hash)| [path, hash]);
    let _ = csv.write_record(std::iter::once("tables").chain(tables.map(String::as_str)));
    let _ =
        csv.write_record(std::iter::once("passed over").chain(part.passed_over.iter().map(String::as_str)));
    for (table, rows) in part.rows.iter().enumerate() {
        for row in rows {
            let cells = std::iter::once(table.to_string()).chain(row.iter().map(Value::to_plain));
            let _ = csv.write_record(cells);
        }
    }
    let body = csv.into_inner().unwrap_or_default();
    let mut bytes = blake3(&body).into_bytes();
    bytes.push(b'\n');
    bytes.extend(body);
    bytes
}

fn decode(bytes: &[u8], tables: &[&Table]) -> Option<Part> {
    let end = bytes.iter().position(|byte| *byte == b'\n')?;
    let (hash, body) = (&bytes[..end], &bytes[end + 1..]);
    if blake3(body).as_bytes() != hash {
        return None;
    }
    let mut csv = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(body);
    let mut records = csv.records();
    let mut texts = || Some(records.next()?.ok()?.iter().map(str::to_owned).collect::<Vec<String>>());
    let fingerprints = texts()?;
    let mut listed = texts()?.into_iter().skip(1);
    let tables_read = std::iter::from_fn(|| Some((listed.next()?, listed.next()?))).collect();
    let passed_over = texts()?.into_iter().skip(1).collect();
    let mut rows: Rows = vec![Vec::new(); tables.len()];
    for record in records {
        let record = record.ok()?;
        let table: usize = record.get(0)?.parse().ok()?;
        let fields = &tables.get(table)?.fields;
        let cells = fields.iter().zip(record.iter().skip(1));
        let row: Row = cells.map(|(field, text)| Value::parse(field.kind, text)).collect::<Option<_>>()?;
        (row.len() == fields.len()).then(|| rows[table].push(row))?;
    }
    Some(Part { fingerprints, rows, tables: tables_read, passed_over })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::value::CellKind;

    fn table() -> Table {
        let mut table = Table::new("test/1", "a line", |_| 1);
        table.add("path", "", CellKind::Text, "x", |_, _| "");
        table.add("n_s", "s", CellKind::Real, "y", |_, _| 1.5);
        table
    }

    fn part() -> Part {
        let row = |text: &str, number| vec![Value::from(text), Value::from(number)];
        let first = vec![row("a\r\n\"b\",c", Some(0.1 + 0.2)), row("ø", None)];
        Part {
            fingerprints: vec!["aa".into(), "not_found".into()],
            rows: vec![first, vec![row("x", Some(-0.5))]],
            tables: vec![("a/plan.toml".into(), "aa".into())],
            passed_over: vec!["notes, old.txt".into()],
        }
    }

    #[test]
    fn a_part_comes_back_as_it_was() {
        let back = decode(&encode(&part()), &[&table(), &table()]).unwrap();
        assert_eq!(back.fingerprints, part().fingerprints);
        assert_eq!(back.rows, part().rows);
        assert_eq!((back.tables, back.passed_over), (part().tables, part().passed_over));
    }

    #[test]
    fn a_damaged_part_is_not_taken_up() {
        let whole = encode(&part());
        for cut in 0..whole.len() {
            assert!(decode(&whole[..cut], &[&table(), &table()]).is_none(), "cut at {cut}");
        }
        for at in 0..whole.len() {
            let mut flipped = whole.clone();
            flipped[at] ^= 4;
            assert!(decode(&flipped, &[&table(), &table()]).is_none(), "flipped at {at}");
        }
    }

    #[test]
    fn parts_of_an_earlier_run_are_kept_until_they_are_wanted() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("t.csv");
        let parts = Parts::open(&out, false, String::new()).unwrap();
        let name = format!("{}.part", "0".repeat(64));
        parts.store(&name, &part()).unwrap();
        drop(parts);
        let said = Parts::open(&out, false, String::new()).err().unwrap().to_string();
        assert!(said.contains("finished chunks (1)") && said.contains("--resume"), "{said}");
        let parts = Parts::open(&out, true, String::new()).unwrap();
        assert!(parts.load(&name, &[&table(), &table()]).is_some());
        parts.remove().unwrap();
        assert!(!Parts::folder_of(&out).exists());
    }

    #[test]
    fn a_folder_of_somebody_else_keeps_what_it_holds() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("t.csv");
        let theirs = Parts::folder_of(&out);
        fs::create_dir(&theirs).unwrap();
        for name in ["lock", "thesis.part", "thesis.txt"] {
            fs::write(theirs.join(name), "mine").unwrap();
        }
        let parts = Parts::open(&out, true, String::new()).unwrap();
        parts.store(&format!("{}.part", "a".repeat(64)), &part()).unwrap();
        parts.remove().unwrap();
        let left: Vec<_> =
            fs::read_dir(&theirs).unwrap().map(|entry| fs::read(entry.unwrap().path()).unwrap()).collect();
        assert_eq!(left, [b"mine", b"mine", b"mine"]);
        let other = folder.path().join("u.csv");
        fs::write(Parts::folder_of(&other), "mine").unwrap();
        assert!(
            Parts::open(&other, true, String::new()).err().unwrap().to_string().contains("it is no folder")
        );
    }
}
