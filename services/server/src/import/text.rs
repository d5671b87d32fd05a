//! A file's text, and the line in which a byte of it stands.

use std::{fs, io, path::Path};

use super::problems::{Problems, Spot};

/// Nobody's list of rolls is longer than this; a larger file is a wrong one.
const LARGEST: u64 = 16 << 20;

/// A file that was read: its short name, for messages, and its text without a byte order mark.
#[derive(Debug)]
pub(crate) struct Text {
    pub(crate) name: String,
    pub(crate) text: String,
}

impl Text {
    /// Reads the file. What is wrong with it as a whole is added to the problems.
    pub(crate) fn read(path: &Path, problems: &mut Problems) -> Option<Text> {
        let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
        match bytes(path) {
            Ok(bytes) => Text::from_bytes(&name, &bytes, problems),
            Err(error) => {
                problems.add(&Spot { file: name, line: 0 }, cannot_read(path, &error));
                None
            }
        }
    }

    /// A byte order mark at the start is left out: spreadsheet programs write it, and it says nothing.
    pub(crate) fn from_bytes(name: &str, bytes: &[u8], problems: &mut Problems) -> Option<Text> {
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            problems.add(&Spot { file: name.to_owned(), line: 1 }, "this file is UTF-16; save it as UTF-8");
            return None;
        }
        match std::str::from_utf8(bytes) {
            Ok(text) => {
                Some(Text { name: name.to_owned(), text: text.strip_prefix('\u{feff}').unwrap_or(text).to_owned() })
            }
            Err(error) => {
                let line = line_of(bytes, error.valid_up_to());
                problems.add(&Spot { file: name.to_owned(), line }, "this line is not UTF-8; save the file as UTF-8");
                None
            }
        }
    }

    pub(crate) fn spot(&self, line: u64) -> Spot {
        Spot { file: self.name.clone(), line }
    }

    /// The line of the byte at `offset`.
    pub(crate) fn spot_of(&self, offset: usize) -> Spot {
        self.spot(line_of(self.text.as_bytes(), offset))
    }
}

fn line_of(bytes: &[u8], offset: usize) -> u64 {
    let before = bytes.get(..offset.min(bytes.len())).unwrap_or_default();
    1 + u64::try_from(before.iter().filter(|byte| **byte == b'\n').count()).unwrap_or(u64::MAX - 1)
}

fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    match fs::metadata(path)?.len() {
        ..=LARGEST => fs::read(path),
        _ => Err(io::Error::new(io::ErrorKind::FileTooLarge, "larger than 16 MiB")),
    }
}

fn cannot_read(path: &Path, error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => format!("there is no file {}", path.display()),
        _ => format!("{} can't be read: {error}", path.display()),
    }
}
