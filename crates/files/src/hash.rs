//! Hashes of content and their text.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest, Sha256};

/// Bytes that are read at a time, our choice.
const BUFFER_BYTES: usize = 1 << 16;

/// SHA-256, lower-case hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    #[cfg(test)]
    tests::HASHED.with(|count| count.set(count.get() + 1));
    hexadecimal(&Sha256::digest(bytes))
}

/// The same of a file of any size.
pub fn sha256_of_file(path: &Path) -> io::Result<String> {
    let (mut file, mut hash) = (File::open(path)?, Sha256::new());
    let mut buffer = vec![0; BUFFER_BYTES];
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(hexadecimal(&hash.finalize())),
            count => hash.update(&buffer[..count]),
        }
    }
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
    fn a_file_has_the_hash_of_its_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("large");
        let bytes: Vec<u8> = (0..1_000_000_u32).map(|n| n as u8).collect();
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(sha256_of_file(&path).unwrap(), sha256(&bytes));
        // FIPS 180-2, appendix B.1: the message "abc".
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
