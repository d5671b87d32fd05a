//! The envelope: one entry is one JSON line. It is whole from the first day on, whoever fills it later.

use crate::{Body, BodyError, Code, Instant, Stamp, ThingName, text::Short};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};
use serde_json::value::RawValue;
use std::fmt;
use utoipa::ToSchema;
use uuid::Uuid;

/// The first 16 bytes of SHA-256 over the item as posted (RFC 8785 form, nulls dropped).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fingerprint(pub [u8; 16]);

/// How the log knows who it was.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum KnownBy {
    #[default]
    Claimed,
    Badge,
    Pin,
    Password,
    Token,
}

/// The second person.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Second {
    pub by: Code,
    #[serde(default)]
    pub by_known: KnownBy,
}

/// What the screen had told the person.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Shown {
    pub answer: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<Stamp>,
    pub as_of_seq: u64,
    pub rules: String,
}

/// One entry of the log.
#[derive(Clone, PartialEq, Debug)]
pub struct Entry {
    pub seq: u64,
    /// Never falls; one per group.
    pub recorded_at: Instant,
    /// Its time differs from the moment it was made.
    pub told: bool,
    pub id: Uuid,
    pub fp: Fingerprint,
    pub thing: ThingName,
    pub by: Code,
    pub by_known: KnownBy,
    pub second: Option<Second>,
    pub device: Option<Code>,
    /// `claimed` while the device is not enrolled: then it is only said to come from there.
    pub device_known: Option<KnownBy>,
    pub counter: Option<u64>,
    pub device_said: Option<Stamp>,
    pub occurred_at: Stamp,
    pub uncertain_by_ms: u32,
    pub shown: Option<Shown>,
    pub based_on: Option<u64>,
    pub strikes: Option<Uuid>,
    pub body: Body,
}

#[derive(Debug, thiserror::Error)]
pub enum LineError {
    #[error("the line is not an entry: {0}")]
    Envelope(#[from] serde_json::Error),
    #[error(transparent)]
    Body(#[from] BodyError),
}

#[derive(Serialize, Deserialize)]
struct Line<'a, B> {
    seq: u64,
    recorded_at: Stamp,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    told: bool,
    id: Uuid,
    fp: Fingerprint,
    kind: &'a str,
    thing: ThingName,
    occurred_at: Stamp,
    #[serde(default, skip_serializing_if = "is_zero")]
    uncertain_by_ms: u32,
    by: Code,
    by_known: KnownBy,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    second: Option<Second>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    device: Option<Code>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    device_known: Option<KnownBy>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    counter: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    device_said: Option<Stamp>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shown: Option<Shown>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    based_on: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    strikes: Option<Uuid>,
    body: B,
}

fn is_zero(value: &u32) -> bool {
    *value == 0
}

impl Entry {
    /// Reads one line of the log. Unknown kinds and shapes are errors: nothing in a log is passed over.
    pub fn read(line: &[u8]) -> Result<Entry, LineError> {
        let line: Line<'_, &RawValue> = serde_json::from_slice(line)?;
        let body = Body::read(line.kind, line.body.get())?;
        Ok(Entry {
            seq: line.seq,
            recorded_at: line.recorded_at.at,
            told: line.told,
            id: line.id,
            fp: line.fp,
            thing: line.thing,
            by: line.by,
            by_known: line.by_known,
            second: line.second,
            device: line.device,
            device_known: line.device_known,
            counter: line.counter,
            device_said: line.device_said,
            occurred_at: line.occurred_at,
            uncertain_by_ms: line.uncertain_by_ms,
            shown: line.shown,
            based_on: line.based_on,
            strikes: line.strikes,
            body,
        })
    }

    /// Appends the line, without a newline.
    pub fn write(&self, to: &mut Vec<u8>) -> serde_json::Result<()> {
        let line = Line {
            seq: self.seq,
            recorded_at: Stamp::utc(self.recorded_at),
            told: self.told,
            id: self.id,
            fp: self.fp,
            kind: self.body.kind(),
            thing: self.thing.clone(),
            occurred_at: self.occurred_at,
            uncertain_by_ms: self.uncertain_by_ms,
            by: self.by.clone(),
            by_known: self.by_known,
            second: self.second.clone(),
            device: self.device.clone(),
            device_known: self.device_known,
            counter: self.counter,
            device_said: self.device_said,
            shown: self.shown.clone(),
            based_on: self.based_on,
            strikes: self.strikes,
            body: &self.body,
        };
        serde_json::to_writer(to, &line)
    }

    /// The device it was scanned by, as far as that is known: a told entry and a claimed device have none.
    pub fn scanned_by(&self) -> Option<&Code> {
        match (self.told, self.device_known) {
            (false, None | Some(KnownBy::Token)) => self.device.as_ref(),
            (_, _) => None,
        }
    }

    /// Whether somebody else than its maker stands beside it.
    pub fn has_second_person(&self) -> bool {
        self.second.as_ref().is_some_and(|second| second.by != self.by)
    }
}

impl Fingerprint {
    fn text(self) -> Short<32> {
        let digit = |four: u8| if four < 10 { b'0' + four } else { b'a' + four - 10 };
        let mut text = Short::new();
        for byte in self.0 {
            text.push(digit(byte >> 4));
            text.push(digit(byte & 0xf));
        }
        text
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text().as_str())
    }
}

impl Serialize for Fingerprint {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.text().as_str())
    }
}

impl<'de> Deserialize<'de> for Fingerprint {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = <&str>::deserialize(from)?;
        let number = u128::from_str_radix(text, 16).map_err(D::Error::custom)?;
        match text.len() {
            32 => Ok(Fingerprint(number.to_be_bytes())),
            _ => Err(D::Error::custom("a fingerprint has 32 hexadecimal digits")),
        }
    }
}
