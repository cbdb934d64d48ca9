//! Hashes of content and their text.

use sha2::{Digest, Sha256};

/// SHA-256, lower-case hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    #[cfg(test)]
    tests::HASHED.with(|count| count.set(count.get() + 1));
    hexadecimal(&Sha256::digest(bytes))
}

/// Lower-case hexadecimal.
pub fn hexadecimal(bytes: &[u8]) -> String {
    base16ct::lower::encode_string(bytes)
}

#[cfg(test)]
pub(crate) mod tests {
    use std::cell::Cell;

    use super::*;

    thread_local! {
        /// Hashes of whole contents that this thread made.
        pub(crate) static HASHED: Cell<usize> = const { Cell::new(0) };
    }

    #[test]
    fn the_hash_is_the_published_one() {
        // FIPS 180-2, appendix B.1: the message "abc".
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
