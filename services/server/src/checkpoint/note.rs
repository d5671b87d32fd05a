//! Signed notes as transparency logs write them (the C2SP specification signed-note): a text, an empty line, and a line
//! with a name and a signature for everybody who signed. Keys stand in the one-line form of the same specification.

use std::fmt;

use base64::{Engine, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer as _, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};

/// The type of an Ed25519 signature over the text as it is.
const ED25519: u8 = 1;
const DASH: &str = "— ";
/// A note of a log has a few hundred bytes.
const MOST_BYTES: usize = 64 * 1024;
const PRIVATE: &str = "PRIVATE+KEY+";

/// Who signs.
pub(crate) struct Signer {
    name: String,
    key: SigningKey,
}

/// Whose signature is looked for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Verifier {
    name: String,
    key: VerifyingKey,
}

/// Why a text is not what somebody signed.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub(crate) enum NoteError {
    #[error("it is no signed note: {0}")]
    Shape(&'static str),
    #[error("the signature of {0} does not fit: the text or the signature was changed")]
    Forged(String),
    #[error("it is signed by {by}, and not with this key of {wanted}")]
    OtherKey { by: String, wanted: String },
}

impl Signer {
    /// The key that is made of this secret, under a name of its own.
    pub(crate) fn made(secret: &[u8; 32], name: impl FnOnce(&VerifyingKey) -> String) -> Signer {
        let key = SigningKey::from_bytes(secret);
        Signer { name: name(&key.verifying_key()), key }
    }

    /// `PRIVATE+KEY+name+id+key`, as `secret_text` writes it.
    pub(crate) fn parse(text: &str) -> Option<Signer> {
        let (name, id, key) = key_parts(text.trim().strip_prefix(PRIVATE)?)?;
        let signer = Signer { name, key: SigningKey::from_bytes(&key) };
        (signer.verifier().id() == id).then_some(signer)
    }

    pub(crate) fn secret_text(&self) -> String {
        let verifier = self.verifier();
        format!("{PRIVATE}{}", key_text(&self.name, verifier.id(), self.key.as_bytes()))
    }

    pub(crate) fn verifier(&self) -> Verifier {
        Verifier { name: self.name.clone(), key: self.key.verifying_key() }
    }

    /// The text, which ends with a newline, as a note.
    pub(crate) fn sign(&self, text: &str) -> String {
        let mut signed = self.verifier().id().to_vec();
        signed.extend_from_slice(&self.key.sign(text.as_bytes()).to_bytes());
        format!("{text}\n{DASH}{} {}\n", self.name, STANDARD.encode(signed))
    }
}

impl Verifier {
    /// `name+id+key`.
    pub(crate) fn parse(text: &str) -> Option<Verifier> {
        let (name, id, key) = key_parts(text.trim())?;
        let verifier = Verifier { name, key: VerifyingKey::from_bytes(&key).ok()? };
        (verifier.id() == id).then_some(verifier)
    }

    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    fn id(&self) -> [u8; 4] {
        let hash =
            Sha256::new().chain_update(&self.name).chain_update([b'\n', ED25519]).chain_update(self.key.as_bytes());
        let [a, b, c, d, ..] = <[u8; 32]>::from(hash.finalize());
        [a, b, c, d]
    }

    /// The text of a note that this key signed.
    pub(crate) fn open<'n>(&self, note: &'n str) -> Result<&'n str, NoteError> {
        let (text, lines) = parts(note)?;
        let mut signed = false;
        let mut by = Vec::new();
        for line in lines.split_terminator('\n') {
            let (name, signature) = line.strip_prefix(DASH).and_then(|line| line.split_once(' ')).unwrap_or_default();
            let bytes = STANDARD.decode(signature).unwrap_or_default();
            let Some((id, signature)) = bytes.split_first_chunk::<4>().filter(|(_, rest)| !rest.is_empty()) else {
                return Err(NoteError::Shape("a line below its text is no signature"));
            };
            by.push(name.to_owned());
            // Whoever else signed it is not asked about.
            if name != self.name || *id != self.id() {
                continue;
            }
            let fits = Signature::from_slice(signature)
                .is_ok_and(|signature| self.key.verify_strict(text.as_bytes(), &signature).is_ok());
            if !fits {
                return Err(NoteError::Forged(self.name.clone()));
            }
            signed = true;
        }
        match signed {
            true => Ok(text),
            false => Err(NoteError::OtherKey { by: by.join(" and "), wanted: self.name.clone() }),
        }
    }
}

impl fmt::Display for Verifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&key_text(&self.name, self.id(), self.key.as_bytes()))
    }
}

/// The text with its last newline, and the lines behind the empty one.
pub(super) fn parts(note: &str) -> Result<(&str, &str), NoteError> {
    if MOST_BYTES < note.len() {
        return Err(NoteError::Shape("it is too long"));
    }
    if note.chars().any(|c| c < ' ' && c != '\n') {
        return Err(NoteError::Shape("it has control characters"));
    }
    let between = note.rfind("\n\n").ok_or(NoteError::Shape("it has no empty line before its signatures"))?;
    let (text, rest) = note.split_at(between + 1);
    match rest.strip_prefix('\n').filter(|lines| lines.ends_with('\n') && *lines != "\n") {
        Some(lines) => Ok((text, lines)),
        None => Err(NoteError::Shape("its last line does not end, or there is none")),
    }
}

fn key_text(name: &str, id: [u8; 4], key: &[u8; 32]) -> String {
    let id: String = id.iter().map(|byte| format!("{byte:02x}")).collect();
    let mut typed = vec![ED25519];
    typed.extend_from_slice(key);
    format!("{name}+{id}+{}", STANDARD.encode(typed))
}

fn key_parts(text: &str) -> Option<(String, [u8; 4], [u8; 32])> {
    let mut parts = text.splitn(3, '+');
    let (name, id, key) = (parts.next()?, parts.next()?, parts.next()?);
    let id = u32::from_str_radix(id, 16).ok().filter(|_| id.len() == 8)?.to_be_bytes();
    let typed = STANDARD.decode(key).ok()?;
    let (kind, key) = typed.split_first()?;
    let fits = *kind == ED25519 && !name.is_empty() && !name.contains(char::is_whitespace);
    fits.then_some((name.to_owned(), id, key.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    // The published test vector: golang/mod, sumdb/note/note.go and note_test.go (commit
    // a410e2daa716f879ede62862a0351cad3606d11b), quoted by several other implementations of signed notes.
    const PUBLIC: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    const SECRET: &str = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz";
    const TEXT: &str =
        "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n";
    const NOTE: &str = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem \
        is.\n\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";

    #[test]
    fn the_published_note_is_signed_and_opened_byte_for_byte() {
        let (signer, verifier) = (Signer::parse(SECRET).unwrap(), Verifier::parse(PUBLIC).unwrap());
        assert_eq!(signer.sign(TEXT), NOTE);
        assert_eq!(verifier.open(NOTE), Ok(TEXT));
        assert_eq!(signer.secret_text(), SECRET);
        assert_eq!((signer.verifier(), verifier.to_string()), (verifier.clone(), PUBLIC.to_owned()));
    }

    #[test]
    fn a_changed_letter_anywhere_is_not_what_was_signed() {
        let verifier = Verifier::parse(PUBLIC).unwrap();
        for at in 0..NOTE.len() {
            let mut bytes = NOTE.as_bytes().to_vec();
            bytes[at] ^= 1;
            if let Ok(changed) = String::from_utf8(bytes) {
                assert!(verifier.open(&changed).is_err(), "{at}: {changed}");
            }
        }
    }

    #[test]
    fn another_key_of_the_same_name_has_not_signed() {
        let other = Signer::made(&[7; 32], |_| "PeterNeumann".to_owned());
        let verifier = Verifier::parse(PUBLIC).unwrap();
        assert!(matches!(verifier.open(&other.sign(TEXT)), Err(NoteError::OtherKey { .. })));
        // Beside the right one it does no harm.
        let both = format!("{NOTE}{}", other.sign(TEXT).rsplit_once("\n\n").unwrap().1);
        assert_eq!(verifier.open(&both), Ok(TEXT));
    }

    #[test]
    fn what_is_no_note_or_no_key_is_told_apart_from_a_forged_one() {
        let verifier = Verifier::parse(PUBLIC).unwrap();
        let long = format!("{}\n{NOTE}", "x".repeat(MOST_BYTES));
        for note in [
            "",
            "\n",
            "\n\n",
            "text\n",
            "text\n\n",
            "text\n\n\n",
            "text\n\nno dash AAAAAAAA\n",
            &NOTE[..NOTE.len() - 1],
        ] {
            assert!(matches!(verifier.open(note), Err(NoteError::Shape(_))), "{note:?}");
        }
        for note in ["a\tb\n\n— x AAAAAAAA\n", "a\n\n— x AAAA\n", "a\n\n— x\n", "a\n\n— x !\n", &long] {
            assert!(matches!(verifier.open(note), Err(NoteError::Shape(_))), "{note:?}");
        }
        for key in ["", "x", "x+1+y", "PeterNeumann+c74f20a4+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW", SECRET] {
            assert_eq!(Verifier::parse(key), None, "{key}");
        }
        assert!(Signer::parse(PUBLIC).is_none());
    }
}
