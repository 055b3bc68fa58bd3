//! The hash by which a clip is known again wherever it lies.
use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::error::BookError;

/// SHA-256 of a file (FIPS 180-4), written as 64 hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// Of a file, read piece by piece.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn of(path: &Path) -> Result<Digest, BookError> {
        read(path).map_err(|error| {
            let words = error.to_string();
            BookError::Clip {
                path: path.to_path_buf(),
                reason: words
                    .split(" (os error")
                    .next()
                    .unwrap_or(&words)
                    .to_lowercase(),
            }
        })
    }
}

fn read(path: &Path) -> io::Result<Digest> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut block = vec![0; 1 << 16];
    loop {
        match file.read(&mut block)? {
            0 => return Ok(Digest(hash.finalize().into())),
            count => hash.update(&block[..count]),
        }
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl From<Digest> for String {
    fn from(digest: Digest) -> String {
        digest.to_string()
    }
}

impl FromStr for Digest {
    type Err = String;

    fn from_str(text: &str) -> Result<Digest, String> {
        let wrong = || format!("`{text}` is no SHA-256: 64 hexadecimal digits");
        if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(wrong());
        }
        let mut bytes = [0; 32];
        for (at, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Digest(bytes))
    }
}

impl TryFrom<String> for Digest {
    type Error = String;

    fn try_from(text: String) -> Result<Digest, String> {
        text.parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // FIPS 180-4, example "abc".
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), "abc").unwrap();
        let digest = Digest::of(file.path()).unwrap();
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(digest.to_string(), text);
        assert_eq!(text.parse(), Ok(digest));
    }

    #[test]
    fn what_is_no_hash_is_refused() {
        for wrong in ["", "ab", &"g".repeat(64), &"é".repeat(32)] {
            assert!(wrong.parse::<Digest>().is_err(), "{wrong}");
        }
    }
}
