//! Walks through TOML tables and says of every value that can't be meant in which line it stands.

use shared_types::{Code, Seconds};
use std::{collections::BTreeSet, fmt::Display, ops::Range};
use toml::{Spanned, de::DeTable, de::DeValue};

use super::{
    problems::{Problems, Spot},
    text::Text,
    words,
};

/// One table: gives its values by name, and in the end says which names nobody asked for.
pub(crate) struct Table<'a> {
    file: &'a Text,
    at: Spot,
    /// What it is, for messages: `[[place]]`.
    title: String,
    values: &'a DeTable<'a>,
    asked: BTreeSet<&'static str>,
}

/// A value and where it stands.
pub(crate) struct Value<'a> {
    pub(crate) spot: Spot,
    value: &'a DeValue<'a>,
}

impl<'a> Table<'a> {
    pub(crate) fn new(file: &'a Text, title: &str, values: &'a DeTable<'a>, span: &Range<usize>) -> Table<'a> {
        Table { file, at: file.spot_of(span.start), title: title.to_owned(), values, asked: BTreeSet::new() }
    }

    pub(crate) fn spot(&self) -> &Spot {
        &self.at
    }

    pub(crate) fn get(&mut self, name: &'static str) -> Option<Value<'a>> {
        self.asked.insert(name);
        let (key, value) = self.values.iter().find(|(key, _)| key.get_ref() == name)?;
        Some(Value { spot: self.file.spot_of(key.span().start), value: value.get_ref() })
    }

    /// A value that must be there, read from its text.
    pub(crate) fn need<T>(&mut self, name: &'static str, problems: &mut Problems, read: Read<T>) -> Option<T> {
        match self.get(name) {
            Some(value) => value.read(name, problems, read),
            None => {
                problems.add(&self.at, format!("{} lacks {name}", self.title));
                None
            }
        }
    }

    /// A value that may be left out.
    pub(crate) fn may<T>(&mut self, name: &'static str, problems: &mut Problems, read: Read<T>) -> Option<T> {
        self.get(name)?.read(name, problems, read)
    }

    /// A list of values, `["saturday", "sunday"]`; none where it is left out.
    pub(crate) fn several<T>(&mut self, name: &'static str, problems: &mut Problems, read: Read<T>) -> Vec<T> {
        let Some(value) = self.get(name) else { return Vec::new() };
        let Some(list) = value.value.as_array() else {
            problems.add(&value.spot, format!("{name} is a list, in square brackets"));
            return Vec::new();
        };
        let each = list.iter().map(|one| (self.file.spot_of(one.span().start), one.get_ref()));
        each.filter_map(|(spot, value)| Value { spot, value }.read(name, problems, read)).collect()
    }

    /// `true` or `false`; it must be there.
    pub(crate) fn need_flag(&mut self, name: &'static str, problems: &mut Problems) -> Option<bool> {
        let Some(value) = self.get(name) else {
            problems.add(&self.at, format!("{} lacks {name}", self.title));
            return None;
        };
        let flag = value.value.as_bool();
        if flag.is_none() {
            problems.add(&value.spot, format!("{name} is true or false"));
        }
        flag
    }

    /// A table within this one: `shelf_life = { months = 12 }`.
    pub(crate) fn table(&mut self, name: &'static str, problems: &mut Problems, like: &str) -> Option<Table<'a>> {
        let value = self.get(name)?;
        let Some(values) = value.value.as_table() else {
            problems.add(&value.spot, format!("{name} is written as {like}"));
            return None;
        };
        let title = format!("{name} of {}", self.title);
        Some(Table { file: self.file, at: value.spot, title, values, asked: BTreeSet::new() })
    }

    /// The tables of a list: `[[place]]`.
    pub(crate) fn list(&mut self, name: &'static str, problems: &mut Problems) -> Vec<Table<'a>> {
        let Some(value) = self.get(name) else { return Vec::new() };
        let title = format!("[[{name}]]");
        let tables = value.value.as_array().map(|array| {
            array.iter().map(|item: &Spanned<DeValue<'_>>| {
                let values = item.get_ref().as_table()?;
                Some(Table::new(self.file, &title, values, &item.span()))
            })
        });
        match tables.and_then(Iterator::collect) {
            Some(tables) => tables,
            None => {
                problems.add(&value.spot, format!("write {title} above the values of each {name}"));
                Vec::new()
            }
        }
    }

    /// Says which names are not known here: a misspelt limit must not be left out in silence.
    pub(crate) fn no_others(self, problems: &mut Problems) {
        for (key, _) in self.values.iter().filter(|(key, _)| !self.asked.contains(&**key.get_ref())) {
            let known = self.asked.iter().copied().collect::<Vec<_>>().join(", ");
            let say = format!("{} has no \"{}\"; it has {known}", self.title, key.get_ref());
            problems.add(&self.file.spot_of(key.span().start), say);
        }
    }
}

/// Reads a value from its text.
pub(crate) type Read<T> = fn(&str) -> Result<T, String>;

impl Value<'_> {
    /// The text of a text, a number or a time as it stands in the file.
    fn text(&self) -> Option<String> {
        match self.value {
            DeValue::String(text) => Some(text.to_string()),
            DeValue::Integer(whole) if whole.radix() == 10 => Some(whole.as_str().to_owned()),
            DeValue::Float(number) => Some(number.as_str().to_owned()),
            DeValue::Datetime(time) => Some(time.to_string()),
            DeValue::Integer(_) | DeValue::Boolean(_) | DeValue::Array(_) | DeValue::Table(_) => None,
        }
    }

    pub(crate) fn is_table(&self) -> bool {
        self.value.is_table()
    }

    pub(crate) fn read<T>(&self, name: &str, problems: &mut Problems, read: Read<T>) -> Option<T> {
        let read = match self.text() {
            Some(text) => read(&text),
            None => Err("write a text in quotes, or a number".to_owned()),
        };
        read.map_err(|say| problems.add(&self.spot, format!("{name}: {say}"))).ok()
    }
}

pub(crate) fn code(text: &str) -> Result<Code, String> {
    Code::new(text).map_err(say)
}

/// A name that people read: one line, not empty.
pub(crate) fn name(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("it is empty".to_owned()),
        long if 200 < long.chars().count() => Err("it is longer than 200 characters".to_owned()),
        text if text.chars().any(char::is_control) => {
            Err("it has a line break or another control character".to_owned())
        }
        text => Ok(text.to_owned()),
    }
}

pub(crate) fn seconds(text: &str) -> Result<Seconds, String> {
    words::duration(text)
}

/// A whole number, 0 to 10,000.
pub(crate) fn count(text: &str) -> Result<u32, String> {
    let number = text.trim().parse::<u32>().ok().filter(|number| *number <= 10_000);
    number.ok_or_else(|| format!("\"{}\" is no count; write a whole number from 0 to 10000", text.trim()))
}

pub(crate) fn say(error: impl Display) -> String {
    error.to_string()
}
