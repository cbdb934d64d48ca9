//! Keyed hashes in place of names and paths, and shifted dates.

use std::path::Path;

use hmac::{Hmac, KeyInit, Mac};
use jiff::SignedDuration;
use sha2::Sha256;

use jogaudit_case::{Failure, hexadecimal, named};
use jogaudit_files as files;

use super::scored::{RowError, Scored};

/// Shorter keys can be guessed: 16 random bytes are 128 bits. Our choice.
const LEAST_KEY_BYTES: usize = 16;
/// Larger files are no keys. Our choice.
const MOST_KEY_BYTES: u64 = 1 << 16;
/// Bytes of a hash that are shown: two of a million names agree by chance once in 10^26.
const SHOWN_BYTES: usize = 16;
/// Dates are shifted back by 1 to so many days, five years. Our choice.
const MOST_DAYS: u32 = 1826;

/// Takes out of a recording's rows what names people and places on disk.
pub(super) struct Pseudonymiser(Vec<u8>);

impl Pseudonymiser {
    pub(super) fn read(path: &Path) -> Result<Self, Failure> {
        let key = files::bytes(path, MOST_KEY_BYTES)?;
        if key.len() < LEAST_KEY_BYTES {
            let what = format!("the key in {} is shorter than {LEAST_KEY_BYTES} bytes", named(path));
            return Err(Failure::refused(what).hint("make one with: head -c 32 /dev/urandom > KEYFILE"));
        }
        Ok(Self(key))
    }

    /// What is the same for the same key, and tells nothing of it.
    pub(super) fn key_fingerprint(&self) -> String {
        self.keyed("key", "")
    }

    pub(super) fn apply(&self, scored: &mut Scored) {
        let days = self.days(scored.participant.as_deref());
        scored.path = self.path(&scored.path);
        scored.participant = scored.participant.take().map(|name| self.keyed("participant", &name));
        for hash in [&mut scored.blake3, &mut scored.sha256] {
            *hash = hash.take().map(|hash| self.content(&hash));
        }
        let shift = SignedDuration::from_hours(-24 * i64::from(days));
        scored.start = scored.start.and_then(|start| start.checked_add(shift).ok());
        if let Some(session) = &mut scored.session {
            session.date = session.date.and_then(|date| date.checked_add(shift).ok());
        }
        // A message may quote the file, a reason names others.
        scored.error = scored.error.take().map(|error| RowError::standard(error.code));
        if let Some(left_out) = &mut scored.left_out {
            left_out.text.clear();
        }
    }

    /// What stands for a path.
    pub(super) fn path(&self, path: &str) -> String {
        self.keyed("path", path)
    }

    /// What stands for the hash of a file's bytes.
    pub(super) fn content(&self, hash: &str) -> String {
        self.keyed("content", hash)
    }

    fn keyed(&self, domain: &str, text: &str) -> String {
        hexadecimal(&self.hash(domain, text)[..SHOWN_BYTES])
    }

    /// Whole days to shift back, the same for all recordings of a participant.
    fn days(&self, participant: Option<&str>) -> u32 {
        let hash = self.hash("days", participant.unwrap_or_default());
        let mut eight = [0; 8];
        eight.copy_from_slice(&hash[..8]);
        (u64::from_le_bytes(eight) % u64::from(MOST_DAYS)) as u32 + 1
    }

    fn hash(&self, domain: &str, text: &str) -> [u8; 32] {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes keys of any length");
        mac.update(domain.as_bytes());
        mac.update(&[0]);
        mac.update(text.as_bytes());
        mac.finalize().into_bytes().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shift_depends_on_key_and_participant_and_stays_in_bounds() {
        let (one, other) = (Pseudonymiser(vec![1; 32]), Pseudonymiser(vec![2; 32]));
        let days: Vec<u32> = (0..1000).map(|n| one.days(Some(&n.to_string()))).collect();
        assert!(days.iter().all(|days| (1..=1826).contains(days)));
        let mut distinct = days.clone();
        distinct.sort_unstable();
        distinct.dedup();
        assert!(distinct.len() > 700, "{}", distinct.len());
        assert_eq!(days[7], one.days(Some("7")));
        assert_ne!(days, (0..1000).map(|n| other.days(Some(&n.to_string()))).collect::<Vec<_>>());
    }

    #[test]
    fn a_name_and_a_path_of_the_same_text_do_not_look_alike() {
        let pseudonymiser = Pseudonymiser(vec![1; 32]);
        assert_ne!(pseudonymiser.keyed("path", "anna"), pseudonymiser.keyed("participant", "anna"));
        assert_eq!(pseudonymiser.keyed("path", "anna").len(), 32);
    }

    #[test]
    fn a_short_key_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key");
        std::fs::write(&path, "secret").unwrap();
        assert!(Pseudonymiser::read(&path).err().unwrap().to_string().contains("shorter than 16 bytes"));
    }
}
