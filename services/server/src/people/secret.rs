//! Secrets: made of random bytes, shown once, and kept as hashes. A secret has so many random bits that a plain hash of
//! it can't be searched; only passwords, which people choose, need a slow one.

use crate::clock::{Clock, NoSecret};
use data_encoding::{BASE32_NOPAD, BASE64URL_NOPAD, HEXLOWER};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};
use sha2::{Digest, Sha256};
use std::fmt;
use subtle::ConstantTimeEq;

/// SHA-256 of a secret.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Hashed([u8; 32]);

impl Hashed {
    pub(crate) fn of(secret: &str) -> Hashed {
        Hashed(Sha256::digest(secret.as_bytes()).into())
    }

    /// Compared in a time that says nothing about where they differ.
    pub(crate) fn same(&self, other: &Hashed) -> bool {
        self.0.ct_eq(&other.0).into()
    }
}

impl fmt::Debug for Hashed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Hashed(..)")
    }
}

impl Serialize for Hashed {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&HEXLOWER.encode(&self.0))
    }
}

impl<'de> Deserialize<'de> for Hashed {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let bytes = HEXLOWER.decode(String::deserialize(from)?.as_bytes()).map_err(D::Error::custom)?;
        bytes.try_into().map(Hashed).map_err(|_| D::Error::custom("a hash has 64 hexadecimal digits"))
    }
}

/// What the token of a device, of a program, and of a session begin with: whoever finds one knows what it is.
pub(crate) const DEVICE: &str = "rmd_";
pub(crate) const PROGRAM: &str = "rmp_";
pub(crate) const SESSION: &str = "rms_";
/// The token in an address of the calendar.
pub(crate) const FEED: &str = "rmc_";
/// What the symbol on a badge begins with: capitals and digits, so that every scanner sends it as it is.
pub(crate) const BADGE: &str = "RMB.";

/// 256 random bits behind a prefix.
pub(crate) fn token(prefix: &str, clock: &dyn Clock) -> Result<String, NoSecret> {
    Ok(format!("{prefix}{}", BASE64URL_NOPAD.encode(&clock.secret()?)))
}

/// What a badge's symbol holds: 128 random bits.
pub(crate) fn badge(clock: &dyn Clock) -> Result<String, NoSecret> {
    let bytes = clock.secret()?;
    Ok(format!("{BADGE}{}", BASE32_NOPAD.encode(bytes.first_chunk::<16>().unwrap_or(&[0; 16]))))
}

/// A code that is typed once, such as `K3QF-7MWA-PZ2X-VH5N`: 80 random bits.
pub(crate) fn code(clock: &dyn Clock) -> Result<String, NoSecret> {
    let bytes = clock.secret()?;
    let text = BASE32_NOPAD.encode(bytes.first_chunk::<10>().unwrap_or(&[0; 10]));
    let fours = text.as_bytes().chunks(4).map(|four| String::from_utf8_lossy(four).into_owned());
    Ok(fours.collect::<Vec<_>>().join("-"))
}

/// A typed code as it was made: people leave out hyphens and write small letters.
pub(crate) fn typed_code(text: &str) -> String {
    let signs = text.chars().filter(|c| c.is_ascii_alphanumeric()).take(64);
    let text: String = signs.map(|c| c.to_ascii_uppercase()).collect();
    // Neither digit is ever in a code.
    let text = text.replace('0', "O").replace('1', "I");
    let fours = text.as_bytes().chunks(4).map(|four| String::from_utf8_lossy(four).into_owned());
    fours.collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SystemClock;

    #[test]
    fn a_secret_is_kept_as_its_hash_and_read_back() {
        // FIPS 180-2, appendix B.1: the message "abc".
        let hash = Hashed::of("abc");
        let text = serde_json::to_string(&hash).unwrap();
        assert_eq!(text, "\"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\"");
        let read: Hashed = serde_json::from_str(&text).unwrap();
        assert!(read.same(&hash) && !read.same(&Hashed::of("abd")));
        assert!(serde_json::from_str::<Hashed>("\"ba78\"").is_err());
        assert_eq!(format!("{hash:?}"), "Hashed(..)");
    }

    #[test]
    fn secrets_are_as_long_as_they_say_and_never_the_same() {
        let clock = SystemClock::new();
        let (one, other) = (token(DEVICE, &clock).unwrap(), token(DEVICE, &clock).unwrap());
        assert_ne!(one, other);
        // 32 bytes are 43 digits of base64 (RFC 4648, section 4).
        assert_eq!(one.len(), DEVICE.len() + 43);
        assert_eq!(badge(&clock).unwrap().len(), BADGE.len() + 26);
        let code = code(&clock).unwrap();
        assert_eq!(code.len(), 19);
        assert_eq!(typed_code(&code), code);
        assert_eq!(typed_code(&format!("  {} ", code.to_lowercase().replace('-', " "))), code);
    }

    #[test]
    fn a_code_is_read_as_people_type_it() {
        assert_eq!(typed_code("k3qf7mwa pz2x-vh5n"), "K3QF-7MWA-PZ2X-VH5N");
        assert_eq!(typed_code("O01I"), "OOII");
        assert_eq!(typed_code(""), "");
    }
}
