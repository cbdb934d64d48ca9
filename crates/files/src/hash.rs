//! Hashes of files of any size.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use jogaudit_case::hexadecimal;
use sha2::{Digest, Sha256};

/// Bytes that are read at a time, our choice.
const BUFFER_BYTES: usize = 1 << 16;

/// SHA-256 of a file, lower-case hexadecimal.
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

#[cfg(test)]
mod tests {
    use jogaudit_case::sha256;

    use super::*;

    #[test]
    fn a_file_has_the_hash_of_its_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("large");
        let bytes: Vec<u8> = (0..1_000_000_u32).map(|n| n as u8).collect();
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(sha256_of_file(&path).unwrap(), sha256(&bytes));
    }
}
