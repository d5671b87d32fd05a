//! The fields of a form as they were typed: read one by one, with what is wrong kept beside each, so that all of it is
//! said at once and nothing that was entered is lost.

use crate::http::say::sentence;
use chrono::{DateTime, Utc};
use domain::say::Say;
use shared_types::{Code, Instant, clear_code};
use std::collections::BTreeMap;

pub(super) type Said = BTreeMap<String, String>;

pub(super) struct Typed<'a> {
    said: &'a Said,
    pub(super) faults: Vec<(&'static str, String)>,
}

impl<'a> Typed<'a> {
    pub(super) fn of(said: &'a Said) -> Typed<'a> {
        Typed { said, faults: Vec::new() }
    }

    pub(super) fn text(&self, name: &str) -> &'a str {
        self.said.get(name).map_or("", |text| text.trim())
    }

    /// Reads a field that has to be there.
    pub(super) fn read<T>(&mut self, name: &'static str, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let found = read(self.text(name));
        found.map_err(|say| self.faults.push((name, sentence(&say)))).ok()
    }

    /// Reads a field that may be left empty.
    pub(super) fn read_if_any<T>(
        &mut self,
        name: &'static str,
        read: impl FnOnce(&str) -> Result<T, String>,
    ) -> Option<T> {
        match self.text(name) {
            "" => None,
            _ => self.read(name, read),
        }
    }

    /// A code, or the sentence that asks for it.
    pub(super) fn code(&mut self, name: &'static str, ask: &str) -> Option<Code> {
        self.read(name, |text| match text {
            "" => Err(ask.to_owned()),
            text => {
                let code = Code::new(text).map_err(|error| error.to_string())?;
                clear_code(text).map(|()| code).map_err(|why| why.to_string())
            }
        })
    }

    pub(super) fn is_right(&self) -> bool {
        self.faults.is_empty()
    }
}

/// A time as such a field takes it, in the yard's zone.
pub(super) fn time_field(say: &Say, at: Instant) -> String {
    let local = DateTime::<Utc>::from_timestamp_millis(at.0).map(|at| at.with_timezone(&say.zone));
    let whole = at.0.rem_euclid(60_000) == 0;
    let form = if whole { "%Y-%m-%d %H:%M" } else { "%Y-%m-%d %H:%M:%S%.3f" };
    local.map_or_else(String::new, |local| local.format(form).to_string())
}
