//! Passwords: argon2id (RFC 9106) of 19 MiB and 2 passes, salted, and compared in the same time whether or not there is one.

use crate::clock::{Clock, NoSecret};
use argon2::{
    Argon2,
    password_hash::{PasswordHasher, PasswordVerifier, phc::PasswordHash},
};
use std::sync::LazyLock;
use zxcvbn::{Score, zxcvbn};

/// So many characters at least; nothing else is asked of a password.
pub(crate) const SHORTEST: usize = 12;
/// So many characters at most, so that hashing one has an end.
pub(crate) const LONGEST: usize = 200;

/// Nobody's: what a password is held against where there is none.
static NOBODYS: LazyLock<String> =
    LazyLock::new(|| hash_with("nobody has this one", b"nobody's sixteen").unwrap_or_default());

#[derive(Debug, thiserror::Error)]
pub(crate) enum NotHashed {
    #[error(transparent)]
    NoSecret(#[from] NoSecret),
    #[error("the password could not be hashed: {0}")]
    Hash(#[from] argon2::password_hash::Error),
}

/// The password as it is kept.
pub(crate) fn hash(password: &str, clock: &dyn Clock) -> Result<String, NotHashed> {
    let secret = clock.secret()?;
    hash_with(password, secret.first_chunk::<16>().unwrap_or(&[0; 16]))
}

fn hash_with(password: &str, salt: &[u8]) -> Result<String, NotHashed> {
    // Argon2::default(): argon2id, version 19, 19 MiB, 2 passes, 1 lane.
    Ok(Argon2::default().hash_password_with_salt(password.as_bytes(), salt)?.to_string())
}

/// Whether it is this password. Without a kept one it takes as long, and it is not.
pub(crate) fn is(password: &str, kept: Option<&str>) -> bool {
    let read = |text: &str| PasswordHash::new(text).ok();
    let Some(hash) = read(kept.unwrap_or(&NOBODYS)) else { return false };
    Argon2::default().verify_password(password.as_bytes(), &hash).is_ok() && kept.is_some()
}

/// What is wrong with a new password, in a sentence.
pub(crate) fn wrong(password: &str, badge: &str, name: &str) -> Option<String> {
    let count = password.chars().count();
    if !(SHORTEST..=LONGEST).contains(&count) {
        return Some(format!(
            "A password has {SHORTEST} to {LONGEST} characters; this has {count}. A short sentence is easy to keep."
        ));
    }
    let small = password.to_lowercase();
    let own = [badge, name].iter().any(|own| 3 <= own.chars().count() && small.contains(&own.to_lowercase()));
    (own || is_guessable(password, badge, name)).then(|| {
        "That password is among the first that anybody would try, or made of such. Take a short sentence that has neither your name nor your badge in it.".to_owned()
    })
}

/// Whether somebody who tries the commonest passwords, words, names, dates and rows of keys first would soon come to it. It takes some
/// milliseconds, and looks at the first 100 characters.
fn is_guessable(password: &str, badge: &str, name: &str) -> bool {
    let known: Vec<&str> = name.split_whitespace().chain([badge, "rimebook"]).collect();
    zxcvbn(password, &known).score() < Score::Three
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SystemClock;

    #[test]
    fn a_password_is_kept_as_argon2id_and_nothing_else_fits() {
        let clock = SystemClock::new();
        let kept = hash("a boat on a cold slip", &clock).unwrap();
        // The least that OWASP's password storage cheat sheet asks of argon2id (from memory): 19 MiB, 2 passes, 1 lane.
        assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
        assert!(is("a boat on a cold slip", Some(&kept)));
        assert!(!is("a boat on a cold slip ", Some(&kept)));
        assert_ne!(hash("a boat on a cold slip", &clock).unwrap(), kept);
    }

    #[test]
    fn nobodys_password_is_never_right() {
        assert!(!is("nobody has this one", None));
        assert!(!is("anything", Some("")));
        assert!(!NOBODYS.is_empty());
    }

    #[test]
    fn a_new_password_is_long_and_none_that_is_tried_first() {
        for weak in
            ["short", "aaaaaaaaaaaaaaa", "password1234", "b-17 is my badge", "Ana Example 2026", &"x".repeat(201)]
        {
            assert!(wrong(weak, "B-17", "Ana Example").is_some(), "{weak}");
        }
        // On every published list of what is tried first (from memory), and what is made of those; keys side by side.
        for weak in [
            "1q2w3e4r5t6y",
            "qazwsxedcrfv",
            "abcdefghijklm",
            "football1234",
            "sunshine2024",
            "trustno1trustno1",
            "zxcvbnm,./zxcvbnm",
            "Pa55w0rd!Pa55w0rd!",
            "christopher1",
            "rimebookrimebook",
        ] {
            assert!(wrong(weak, "B-17", "Ana Example").is_some(), "{weak}");
        }
        for good in
            ["a boat on a cold slip", "käse und brot um elf", "tr0ub4dor-xylophone", &"dull ember kite ".repeat(12)]
        {
            assert_eq!(wrong(good, "B-17", "Ana Example"), None, "{good}");
        }
        // What a name is made of counts as known, whoever looks.
        assert!(wrong("Montgomery-1974", "B-17", "Ida Montgomery").is_some());
    }
}
