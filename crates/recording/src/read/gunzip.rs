//! Decompresses gzip data of one or many members into a bounded buffer.

use flate2::bufread::GzDecoder;

use crate::notice::{Noted, Notice, NoticeCode};

use super::decompression::DecompressionBudget;
use super::{ReadError, ReadErrorKind};

/// What gzip data begins with (RFC 1952).
pub(super) const MAGIC: [u8; 2] = [0x1F, 0x8B];
/// Members that are joined: blocked gzip has one for every 64 KiB, so this is 4 GiB of it. Our choice.
const MOST_MEMBERS: usize = 1 << 16;

/// Decompresses `zipped`. What comes out before damage is kept, with the notice `gzip_cut`.
pub(super) fn gunzip(zipped: &[u8], budget: &mut DecompressionBudget) -> Result<Noted<Vec<u8>>, ReadError> {
    let mut content = Noted::plain(Vec::new());
    let mut rest = zipped;
    for _ in 0..MOST_MEMBERS {
        if !rest.starts_with(&MAGIC) {
            break;
        }
        let mut member = GzDecoder::new(rest);
        if let Err(cause) = budget.decompress(&mut member, &mut content.value)? {
            content.notices.push(cut(content.value.len(), &cause));
            rest = &[];
            break;
        }
        rest = member.into_inner();
    }
    if content.value.is_empty() && !content.notices.is_empty() {
        return Err(ReadError::new(None, ReadErrorKind::GzipUnreadable));
    }
    // Zero padding behind the last member is customary on tapes and harmless.
    if rest.iter().any(|b| *b != 0) {
        let text = format!("{} bytes behind the gzip data are not gzip: left out", rest.len());
        content.notices.push(Notice::new(NoticeCode::GzipTrailingBytes, text));
    }
    Ok(content)
}

fn cut(bytes_out: usize, cause: &std::io::Error) -> Notice {
    let text = format!(
        "the gzip data is cut or damaged ({cause}): the {bytes_out} bytes that unfold are read, the rest is lost"
    );
    Notice::new(NoticeCode::GzipCut, text)
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use flate2::{Compression, write::GzEncoder};

    use super::*;
    use crate::read::ReadConfig;

    fn zip(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    }

    fn gunzip(zipped: &[u8], max_unzipped_bytes: u64) -> Result<Noted<Vec<u8>>, ReadError> {
        super::gunzip(zipped, &mut DecompressionBudget::new(zipped, ReadConfig { max_unzipped_bytes }))
    }

    #[test]
    fn members_are_joined() {
        let two = [zip(b"one "), zip(b"two")].concat();
        assert_eq!(gunzip(&two, 100).unwrap(), Noted::plain(b"one two".to_vec()));
    }

    #[test]
    fn the_limit_is_exact() {
        let zipped = zip(&[7; 1000]);
        assert_eq!(gunzip(&zipped, 1000).unwrap().value.len(), 1000);
        assert_eq!(gunzip(&zipped, 999).unwrap_err().kind, ReadErrorKind::TooLarge { limit_bytes: 999 });
    }

    #[test]
    fn a_cut_keeps_the_beginning() {
        // A linear congruential generator's high bytes: they do not compress, so half the file is half the content.
        let next = |state: &mut u32| {
            *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (*state >> 24) as u8
        };
        let noise: Vec<u8> = std::iter::repeat_n((), 20_000).scan(1, |state, ()| Some(next(state))).collect();
        let zipped = zip(&noise);
        let content = gunzip(&zipped[..zipped.len() / 2], 1 << 20).unwrap();
        assert_eq!(content.notices[0].code, NoticeCode::GzipCut);
        assert!(content.value.len() > 9900, "{}", content.value.len());
        assert!(noise.starts_with(&content.value));
    }

    #[test]
    fn nothing_unfolds_from_a_bare_start() {
        assert_eq!(gunzip(&zip(b"x")[..10], 100).unwrap_err().kind, ReadErrorKind::GzipUnreadable);
    }

    #[test]
    fn padding_is_silent_and_rubbish_is_not() {
        assert_eq!(gunzip(&[zip(b"x"), vec![0; 9]].concat(), 100).unwrap().notices, []);
        assert_eq!(
            gunzip(&[zip(b"x"), vec![1]].concat(), 100).unwrap().notices[0].code,
            NoticeCode::GzipTrailingBytes
        );
    }
}
