//! Hashes of content and their text.

use sha2::{Digest, Sha256};

/// BLAKE3, lower-case hexadecimal: tells whether two contents are the same. Without SHA instructions in the processor it costs
/// a small part of what SHA-256 does.
pub fn blake3(bytes: &[u8]) -> String {
    #[cfg(test)]
    tests::HASHED.with(|count| count.set(count.get() + 1));
    hexadecimal(::blake3::hash(bytes).as_bytes())
}

/// SHA-256, lower-case hexadecimal: the hash that is published, since everybody has a program for it.
pub fn sha256(bytes: &[u8]) -> String {
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
    fn the_hashes_are_the_published_ones() {
        // FIPS 180-2, appendix B.1: the message "abc".
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        // The first 32 bytes of the first of BLAKE3's test vectors (test_vectors.json), the empty message.
        assert_eq!(blake3(b""), "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262");
    }
}
