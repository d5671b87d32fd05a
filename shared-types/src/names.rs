//! Names of things: a kind and the code on a label, made comparable once, here.

use crate::order::as_people_count;
use crate::text::from_text;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::{cmp::Ordering, fmt, str::FromStr, sync::Arc};
use unicode_normalization::UnicodeNormalization;
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{ObjectBuilder, RefOr, Schema, schema::Type},
};

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    #[error("a code has 1 to 40 printable characters and no slash; \"{0}\" has not")]
    Code(String),
    #[error("\"{0}\" is no kind of thing; the kinds are {KINDS}")]
    Kind(String),
    #[error("name a thing as kind/code, such as roll/R-42, not \"{0}\"")]
    Thing(String),
    #[error("a batch is named with its material: batch/PM-101/B-123, not \"{0}\"")]
    Batch(String),
}

const KINDS: &str = "yard, place, material, batch, delivery, roll, job, nest, kit, part, run, boat, badge, device";
const LONGEST: usize = 40;

fn shown(text: &str) -> String {
    text.chars().take(60).filter(|c| !c.is_control()).collect()
}

fn tidy(text: &str) -> String {
    // A label printed by one program and read by another must meet itself again: composed, then upper case.
    let upper: String = text.trim().nfc().flat_map(char::to_uppercase).collect();
    upper.nfc().collect()
}

fn printable(c: char) -> bool {
    let invisible = matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff0}'..='\u{fffb}' | '\u{e000}'..='\u{f8ff}' | '\u{e0000}'..='\u{e0fff}');
    !c.is_control() && !invisible && (c == ' ' || !c.is_whitespace())
}

fn plain_ascii(text: &str) -> bool {
    text.len() <= LONGEST
        && !matches!(text, "" | "." | "..")
        && text.bytes().all(|b| b.is_ascii_graphic() && b != b'/' && !b.is_ascii_lowercase())
}

/// A code as it stands on a label: trimmed, NFC, upper case, 1 to 40 printable characters, no slash.
/// Codes and names are handed around much more often than they are made, so a copy shares the text.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Code(Arc<str>);

impl Ord for Code {
    fn cmp(&self, other: &Code) -> Ordering {
        as_people_count(&self.0, &other.0)
    }
}

impl PartialOrd for Code {
    fn partial_cmp(&self, other: &Code) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Code {
    pub fn new(text: &str) -> Result<Code, NameError> {
        if plain_ascii(text) {
            return Ok(Code(text.into()));
        }
        // Nothing longer than this can become a code, and no work is done for it.
        let tidy = if text.len() <= 1_000 { tidy(text) } else { String::new() };
        let fits = (1..=LONGEST).contains(&tidy.chars().count());
        // As parts of an address these mean something else.
        let dots = matches!(&*tidy, "." | "..");
        match fits && !dots && tidy.chars().all(|c| printable(c) && c != '/') {
            true => Ok(Code(tidy.into())),
            false => Err(NameError::Code(shown(text))),
        }
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The name of a lay-up stage: as a code, but in lower case (`skin`, `core bond`).
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize)]
#[serde(transparent)]
pub struct StageName(Box<str>);

impl StageName {
    pub fn new(text: &str) -> Result<StageName, NameError> {
        let code = Code::new(text)?;
        let lower: String = code.as_str().chars().flat_map(char::to_lowercase).collect();
        Ok(StageName(lower.into()))
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for StageName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The kinds of things, in the order in which material passes through them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Yard,
    Place,
    Material,
    Batch,
    Delivery,
    Roll,
    Job,
    Nest,
    Kit,
    Part,
    Run,
    Boat,
    Badge,
    Device,
}

impl Kind {
    pub const ALL: [Kind; 14] = [
        Kind::Yard,
        Kind::Place,
        Kind::Material,
        Kind::Batch,
        Kind::Delivery,
        Kind::Roll,
        Kind::Job,
        Kind::Nest,
        Kind::Kit,
        Kind::Part,
        Kind::Run,
        Kind::Boat,
        Kind::Badge,
        Kind::Device,
    ];

    pub fn as_str(self) -> &'static str {
        match self {
            Kind::Yard => "yard",
            Kind::Place => "place",
            Kind::Material => "material",
            Kind::Batch => "batch",
            Kind::Delivery => "delivery",
            Kind::Roll => "roll",
            Kind::Job => "job",
            Kind::Nest => "nest",
            Kind::Kit => "kit",
            Kind::Part => "part",
            Kind::Run => "run",
            Kind::Boat => "boat",
            Kind::Badge => "badge",
            Kind::Device => "device",
        }
    }
}

impl FromStr for Kind {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Kind, NameError> {
        Kind::ALL.into_iter().find(|kind| kind.as_str() == text).ok_or_else(|| NameError::Kind(shown(text)))
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A thing: `roll/R-42`, `batch/PM-101/B-123`. A batch's code is its material's and its own, joined by a slash.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct ThingName {
    kind: Kind,
    code: Arc<str>,
}

/// By kind, then by code; batches material by material.
impl Ord for ThingName {
    fn cmp(&self, other: &ThingName) -> Ordering {
        let whole = || as_people_count(&self.code, &other.code);
        self.kind.cmp(&other.kind).then_with(|| match (self.code.split_once('/'), other.code.split_once('/')) {
            (Some((material, _)), Some((of, _))) => as_people_count(material, of).then_with(whole),
            _ => whole(),
        })
    }
}

impl PartialOrd for ThingName {
    fn partial_cmp(&self, other: &ThingName) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl ThingName {
    pub fn new(kind: Kind, code: &Code) -> ThingName {
        ThingName { kind, code: code.0.clone() }
    }

    pub fn batch(material: &Code, batch: &Code) -> ThingName {
        ThingName { kind: Kind::Batch, code: format!("{material}/{batch}").into() }
    }

    /// What stands before every name of a kind, itself no name of anything.
    pub fn first_of(kind: Kind) -> ThingName {
        ThingName { kind, code: "".into() }
    }

    /// The yard itself.
    pub fn yard() -> ThingName {
        ThingName { kind: Kind::Yard, code: "YARD".into() }
    }

    /// Stands in where a name is asked for that was never given out.
    pub fn nobody() -> ThingName {
        ThingName { kind: Kind::Badge, code: "?".into() }
    }

    /// The thing's own code; of a batch without its material.
    pub fn own_code(&self) -> Code {
        Code(self.short().into())
    }

    pub fn roll(code: &Code) -> ThingName {
        ThingName::new(Kind::Roll, code)
    }

    /// From a path's two parts; a batch's code may hold one slash.
    pub fn from_parts(kind: &str, code: &str) -> Result<ThingName, NameError> {
        let kind: Kind = kind.parse()?;
        if kind != Kind::Batch {
            return Ok(ThingName::new(kind, &Code::new(code)?));
        }
        let (material, batch) = code.split_once('/').ok_or_else(|| NameError::Batch(shown(code)))?;
        Ok(ThingName::batch(&Code::new(material)?, &Code::new(batch)?))
    }

    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The code alone: `R-42`, or `PM-101/B-123` for a batch.
    pub fn code(&self) -> &str {
        &self.code
    }

    /// What people say: the code, without a batch's material.
    pub fn short(&self) -> &str {
        match self.kind {
            Kind::Batch => self.code.split_once('/').map_or(&*self.code, |(_, batch)| batch),
            _ => &self.code,
        }
    }
}

impl FromStr for ThingName {
    type Err = NameError;
    fn from_str(text: &str) -> Result<ThingName, NameError> {
        let (kind, code) = text.trim().split_once('/').ok_or_else(|| NameError::Thing(shown(text)))?;
        ThingName::from_parts(kind, code)
    }
}

impl fmt::Display for ThingName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.kind, self.code)
    }
}

impl Serialize for Code {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&self.0)
    }
}

impl Serialize for ThingName {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&[self.kind.as_str(), "/", &self.code].concat())
    }
}

macro_rules! read_from_text {
    ($type:ty, $read:expr) => {
        impl<'de> Deserialize<'de> for $type {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                from_text(from, $read)
            }
        }
    };
}
read_from_text!(Code, Code::new);
read_from_text!(StageName, StageName::new);
read_from_text!(ThingName, ThingName::from_str);

macro_rules! text_schema {
    ($type:ty, $says:literal, $example:literal) => {
        impl ToSchema for $type {}
        impl PartialSchema for $type {
            fn schema() -> RefOr<Schema> {
                ObjectBuilder::new().schema_type(Type::String).description(Some($says)).examples([$example]).into()
            }
        }
    };
}
text_schema!(
    Code,
    "The code on a label: 1 to 40 printable characters, no slash; read trimmed and in upper case. In what is posted it has the \
     letters A to Z, also with accents, digits and the signs of a plain keyboard: nothing that can look like another code",
    "R-42"
);
text_schema!(StageName, "A lay-up stage of a part", "skin");
text_schema!(ThingName, "A thing: its kind and its code, a batch with its material", "roll/R-42");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_meets_itself_again_whatever_the_keyboard_did() {
        assert_eq!(Code::new("  r-42 ").unwrap(), Code::new("R-42").unwrap());
        assert_eq!(Code::new("e\u{301}-1").unwrap(), Code::new("\u{c9}-1").unwrap());
    }

    #[test]
    fn what_cannot_stand_on_a_label_is_no_code() {
        for bad in [
            "",
            "   ",
            ".",
            "..",
            "a\u{e0041}b",
            "a/b",
            "a\nb",
            "a\u{0}b",
            "a\u{200b}b",
            &"x".repeat(41),
            &"x".repeat(100_000),
        ] {
            assert!(Code::new(bad).is_err(), "{bad:.20}");
        }
        assert!(Code::new(&"x".repeat(40)).is_ok());
    }

    #[test]
    fn a_batch_is_named_with_its_material() {
        let batch: ThingName = "batch/pm-101/b-123".parse().unwrap();
        assert_eq!(batch.to_string(), "batch/PM-101/B-123");
        assert_eq!(batch.short(), "B-123");
        assert!("batch/B-123".parse::<ThingName>().is_err());
        assert!("wheel/W-1".parse::<ThingName>().is_err());
    }
}
