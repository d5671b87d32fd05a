//! What is known of people beside the log, in `people/people.json` of the data folder: names, hashes and keys, and
//! nothing else. Only its owner can read it; it is replaced whole or not at all.

use super::{feeds::Feed, secret::Hashed};
use crate::private;
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, io, path::Path};

const FOLDER: &str = "people";
const FILE: &str = "people.json";
/// The code of a first start that nobody looked on at.
pub(crate) const CODE_FILE: &str = "set-up-code";

/// A person, by their badge's code.
#[derive(Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Person {
    pub(crate) name: String,
    /// argon2id, as a PHC string.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) password: Option<String>,
    /// The secret of one-time codes, in base32.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) one_time: Option<String>,
    /// What the badge's symbol holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) badge: Option<Hashed>,
}

/// A program's token, by the token's name in the log.
#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Program {
    pub(crate) token: Hashed,
    /// Whose it is, as the log has it.
    pub(crate) badge: String,
}

#[derive(Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Kept {
    #[serde(default)]
    pub(crate) people: BTreeMap<String, Person>,
    /// The token of each enrolled device.
    #[serde(default)]
    pub(crate) devices: BTreeMap<String, Hashed>,
    #[serde(default)]
    pub(crate) programs: BTreeMap<String, Program>,
    /// Addresses of the calendar, by their ids.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(crate) feeds: BTreeMap<String, Feed>,
    /// Whoever has this code may begin anew: made beside a stopped server.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) set_up: Option<Hashed>,
}

/// What is kept; nothing where nobody was ever set up.
pub(crate) fn read(data: &Path) -> io::Result<Kept> {
    match private::read(&data.join(FOLDER).join(FILE))? {
        Some(text) => serde_json::from_slice(&text).map_err(|error| io::Error::new(io::ErrorKind::InvalidData, error)),
        None => Ok(Kept::default()),
    }
}

/// After a power cut the old or the new is there, whole.
pub(crate) fn replace(data: &Path, kept: &Kept) -> io::Result<()> {
    private::replace(&data.join(FOLDER).join(FILE), &serde_json::to_vec_pretty(kept)?)
}

/// A code that a person has to read from a file, because nobody looked on when the server started.
pub(crate) fn leave_code(data: &Path, code: &str) -> io::Result<()> {
    private::replace(&data.join(FOLDER).join(CODE_FILE), format!("{code}\n").as_bytes())
}

pub(crate) fn forget_code(data: &Path) -> io::Result<()> {
    private::remove(&data.join(FOLDER).join(CODE_FILE))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{fs, os::unix::fs::PermissionsExt};

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).unwrap().permissions().mode() & 0o777
    }

    #[test]
    fn what_is_kept_is_read_back_and_nobody_else_can_read_it() {
        let data = tempfile::tempdir().unwrap();
        assert!(read(data.path()).unwrap().people.is_empty());
        let mut kept = Kept::default();
        kept.people.insert("B-17".to_owned(), Person { name: "Ana Example".to_owned(), ..Person::default() });
        kept.devices.insert("H-1".to_owned(), Hashed::of("rmd_x"));
        replace(data.path(), &kept).unwrap();
        let again = read(data.path()).unwrap();
        assert_eq!(again.people["B-17"].name, "Ana Example");
        assert!(again.devices["H-1"].same(&Hashed::of("rmd_x")));
        let folder = data.path().join(FOLDER);
        assert_eq!((mode(&folder), mode(&folder.join(FILE))), (0o700, 0o600));
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
    }

    #[test]
    fn a_file_that_cannot_be_read_is_an_error_and_never_an_empty_yard() {
        let data = tempfile::tempdir().unwrap();
        fs::create_dir(data.path().join(FOLDER)).unwrap();
        fs::write(data.path().join(FOLDER).join(FILE), "{").unwrap();
        assert!(read(data.path()).is_err());
    }

    #[test]
    fn a_code_that_was_left_is_gone_once_it_was_used() {
        let data = tempfile::tempdir().unwrap();
        leave_code(data.path(), "K3QF-7MWA").unwrap();
        let path = data.path().join(FOLDER).join(CODE_FILE);
        assert_eq!((fs::read_to_string(&path).unwrap().as_str(), mode(&path)), ("K3QF-7MWA\n", 0o600));
        forget_code(data.path()).unwrap();
        forget_code(data.path()).unwrap();
        assert!(!path.exists());
    }
}
