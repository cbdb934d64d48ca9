//! Reads every recording in a zip archive, in the archive's order.
//!
//! Other files are stepped over without being decompressed. An archive that is cut has lost its directory, which stands at its
//! end: its files are then found one behind another, as far as they say their size.

use std::io::{Cursor, Read};
use std::ops::ControlFlow;

use zip::read::{ZipFile, read_zipfile_from_stream};
use zip::result::ZipResult;
use zip::{CompressionMethod, ZipArchive};

use crate::notice::{Noted, Notice, NoticeCode};

use super::decompression::DecompressionBudget;
use super::sniff::{self, ContentKind, printable_start};
use super::{ReadError, ReadErrorKind, Recording, read_file, text, xml};

/// Files that an archive may list: a year's export of everything has some ten thousand. Our choice.
const MOST_LISTED: usize = 1 << 16;
/// Samples of an archive behind which no further file is read: 24 days at one a second. Our choice.
const MOST_SAMPLES: usize = 1 << 21;
/// Notices of one code that are given one by one. Our choice.
const MOST_ALIKE: usize = 5;
/// The beginning of a file from which it is told what it is. Our choice.
const HEAD_BYTES: u64 = 1 << 16;
/// Longest file name in a notice, in characters. Our choice.
const NAME_CHARS: usize = 60;

/// Whether an archive may list more files than that, told before its directory is read: PKWARE APPNOTE 6.3, section 4.3.12.
pub fn lists_more_than(archive: &[u8], most: usize) -> bool {
    archive.windows(4).filter(|window| window == b"PK\x01\x02").take(most + 1).count() > most
}

/// Reads all recordings of an archive.
pub(super) fn read(
    archive: &[u8],
    budget: &mut DecompressionBudget,
) -> Result<Noted<Vec<Recording>>, ReadError> {
    // The directory is read as a whole, so its size is bounded first.
    if lists_more_than(archive, MOST_LISTED) {
        return Err(ReadError::new(None, ReadErrorKind::ZipTooManyFiles { limit: MOST_LISTED as u64 }));
    }
    let mut reader = ArchiveReader::new(budget);
    let outcome = match ZipArchive::new(Cursor::new(archive)) {
        Ok(mut zip) => reader.by_directory(&mut zip),
        Err(cause) => {
            // What ends this way is told by the lost directory already.
            let _ = reader.one_behind_another(archive);
            Err(cause)
        }
    };
    if let Err(cause) = outcome {
        let text = format!(
            "the zip archive is cut or damaged ({cause}): files behind the damage, if there are any, are lost"
        );
        reader.notices.insert(0, Notice::new(NoticeCode::ZipDamaged, text));
    }
    reader.finish()
}

/// What an archive has given so far.
struct ArchiveReader<'a> {
    budget: &'a mut DecompressionBudget,
    recordings: Vec<Recording>,
    notices: Vec<Notice>,
    samples: usize,
    /// Files that are no recordings, and what the first is.
    others: u64,
    first_other: String,
    /// Why the first recording that could not be read could not.
    first_error: Option<ReadError>,
}

impl<'a> ArchiveReader<'a> {
    fn new(budget: &'a mut DecompressionBudget) -> Self {
        Self {
            budget,
            recordings: Vec::new(),
            notices: Vec::new(),
            samples: 0,
            others: 0,
            first_other: String::new(),
            first_error: None,
        }
    }

    fn by_directory(&mut self, zip: &mut ZipArchive<Cursor<&[u8]>>) -> ZipResult<()> {
        if zip.has_duplicate_names() {
            let text = "the zip archive holds several files of one name: the last of each is read";
            self.notices.push(Notice::new(NoticeCode::ZipNamesTwice, text));
        }
        for index in 0..zip.len() {
            let entry = zip.by_index_data(index)?;
            if entry.is_dir() {
                continue;
            }
            let name = printable_name(entry.name_raw());
            let flow = match refusal(entry.encrypted(), entry.compression()) {
                Some(kind) => self.refuse(&name, kind),
                None => match zip.by_index(index) {
                    Ok(mut file) => self.file(&name, &mut file),
                    Err(_) => self.refuse(&name, ReadErrorKind::ZipUnreadable),
                },
            };
            if flow.is_break() {
                break;
            }
        }
        Ok(())
    }

    fn one_behind_another(&mut self, archive: &[u8]) -> ZipResult<()> {
        let mut rest = archive;
        while let Some(mut file) = read_zipfile_from_stream(&mut rest)? {
            if file.is_dir() {
                continue;
            }
            let name = printable_name(file.name_raw());
            let flow = match refusal(file.encrypted(), file.compression()) {
                Some(kind) => self.refuse(&name, kind),
                None => self.file(&name, &mut file),
            };
            if flow.is_break() {
                break;
            }
        }
        Ok(())
    }

    /// Reads one file. Breaks when the archive's bounds are reached.
    fn file<R: Read>(&mut self, name: &str, file: &mut ZipFile<'_, R>) -> ControlFlow<()> {
        if self.samples > MOST_SAMPLES {
            let text = format!(
                "more than {MOST_SAMPLES} samples in one zip archive: all from `{name}` on is left out"
            );
            self.notices.push(Notice::new(NoticeCode::ZipTooMuch, text));
            return ControlFlow::Break(());
        }
        let mut content = Vec::new();
        let outcome = match self.budget.decompress(file.by_ref().take(HEAD_BYTES), &mut content) {
            Ok(Ok(())) => {
                if let Some(looks_like) = foreign(&content) {
                    self.others += 1;
                    if self.others == 1 {
                        self.first_other = format!("`{name}`, {looks_like}");
                    }
                    return ControlFlow::Continue(());
                }
                self.budget.decompress(file, &mut content)
            }
            ended => ended,
        };
        let mut damage = None;
        match outcome {
            Err(full) if self.recordings.is_empty() => {
                self.first_error = Some(full);
                return ControlFlow::Break(());
            }
            Err(full) => {
                let text = format!("`{name}` and all behind it in the zip archive is left out: {full}");
                self.notices.push(Notice::new(NoticeCode::ZipTooMuch, text));
                return ControlFlow::Break(());
            }
            Ok(Err(_)) if content.is_empty() => return self.refuse(name, ReadErrorKind::ZipUnreadable),
            Ok(Err(cause)) => {
                let text = format!(
                    "`{name}` in the zip archive is cut or damaged ({cause}): the {} bytes that unfold are read",
                    content.len()
                );
                damage = Some(Notice::new(NoticeCode::ZipCut, text));
            }
            Ok(Ok(())) => {}
        }
        match read_file(&content, self.budget) {
            Ok(Noted { mut value, mut notices }) => {
                self.samples += value.iter().map(|recording| recording.samples().len()).sum::<usize>();
                for notice in &mut notices {
                    notice.text.insert_str(0, &format!("`{name}`: "));
                }
                self.recordings.append(&mut value);
                self.notices.append(&mut super::merged(damage.into_iter().collect(), notices));
                ControlFlow::Continue(())
            }
            Err(error) => self.refuse_for(name, error),
        }
    }

    fn refuse(&mut self, name: &str, kind: ReadErrorKind) -> ControlFlow<()> {
        self.refuse_for(name, ReadError::new(None, kind))
    }

    fn refuse_for(&mut self, name: &str, error: ReadError) -> ControlFlow<()> {
        let text = format!("`{name}` in the zip archive is skipped: {error}");
        self.notices.push(Notice::new(NoticeCode::ZipFileUnreadable, text));
        self.first_error.get_or_insert(error);
        ControlFlow::Continue(())
    }

    fn finish(mut self) -> Result<Noted<Vec<Recording>>, ReadError> {
        if self.recordings.is_empty() {
            return Err(self.first_error.unwrap_or_else(|| {
                let kind = match self.others {
                    0 => ReadErrorKind::ZipUnreadable,
                    files => ReadErrorKind::NoRecordingInZip { files, first: self.first_other },
                };
                ReadError::new(None, kind)
            }));
        }
        if self.others > 0 {
            let text = format!(
                "files of the zip archive that are no recordings, skipped: {}; the first is {}",
                self.others, self.first_other
            );
            self.notices.push(Notice::new(NoticeCode::ZipOtherFiles, text));
        }
        Ok(Noted { value: self.recordings, notices: shortened(self.notices) })
    }
}

/// Keeps the first few notices of each code, then says how many more there were: an archive may hold hundreds of files.
fn shortened(notices: Vec<Notice>) -> Vec<Notice> {
    let mut kept: Vec<Notice> = Vec::new();
    let mut counts: Vec<(NoticeCode, usize)> = Vec::new();
    for notice in notices {
        let index = counts.iter().position(|(code, _)| *code == notice.code).unwrap_or_else(|| {
            counts.push((notice.code, 0));
            counts.len() - 1
        });
        let Some((_, count)) = counts.get_mut(index) else { continue };
        *count += 1;
        if *count <= MOST_ALIKE {
            kept.push(notice);
        }
    }
    let more = |(code, count): &(NoticeCode, usize)| {
        let text =
            format!("further notices of this kind from the zip archive: {}", count.checked_sub(MOST_ALIKE)?);
        (*count > MOST_ALIKE).then(|| Notice::new(*code, text))
    };
    kept.extend(counts.iter().filter_map(more));
    kept
}

/// Why a file cannot be read at all.
fn refusal(is_encrypted: bool, method: CompressionMethod) -> Option<ReadErrorKind> {
    match method {
        _ if is_encrypted => Some(ReadErrorKind::ZipLocked),
        CompressionMethod::Stored | CompressionMethod::Deflated => None,
        other => Some(ReadErrorKind::ZipMethod { method: other.to_string() }),
    }
}

fn printable_name(raw: &[u8]) -> String {
    printable_start(&String::from_utf8_lossy(raw), NAME_CHARS)
}

/// What a file is, from its beginning, if that is no recording.
fn foreign(head: &[u8]) -> Option<String> {
    match sniff::content_kind(head) {
        _ if head.is_empty() => Some("an empty file".to_owned()),
        ContentKind::Fit | ContentKind::Gzip => None,
        ContentKind::Zip => Some("a zip archive inside another (unzip it once)".to_owned()),
        ContentKind::Foreign(what) => Some(what.to_owned()),
        ContentKind::Text => {
            let text = text::decode(head, &mut Vec::new());
            let root = xml::root_name(&text);
            let is_recording = sniff::xml_format(root.as_deref()).is_some();
            (!is_recording).then(|| sniff::describe_text(&text, root.as_deref()))
        }
    }
}
