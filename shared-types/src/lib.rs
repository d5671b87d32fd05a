//! The words of the project: names, times, quantities, entries as they are posted and stored, answers.
//! It knows no rules, no files, no clock and no HTTP.

pub mod api;
pub mod bodies;
pub mod calendar;
pub mod catalogue;
pub mod entry;
mod letters;
pub mod names;
mod older;
mod order;
pub mod quantity;
mod text;
pub mod time;

pub use api::*;
pub use bodies::*;
pub use calendar::{ClockTime, NotAClockTime, Weekday};
pub use catalogue::{Body, BodyError, BodyKind};
pub use entry::{Entry, Fingerprint, KnownBy, LineError, Second, Shown};
pub use letters::{Unclear, clear_code, clear_text};
pub use names::{Code, Kind, NameError, StageName, ThingName};
pub use quantity::{Metres, Millimetres, NotPositive, Seconds};
pub use time::{Day, Instant, Stamp, TimeError};
