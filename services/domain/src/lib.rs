//! The rules, pure and total: facts in, answers out. No clock, no I/O, no randomness, no HTTP.
//! The time asked for, the log position known and the time of asking are arguments.

pub mod book;
pub mod decide;
pub mod question;
pub mod refusal;
pub mod wish;

pub use book::Book;
pub use question::{MayUseQuestion, When};
pub use refusal::{Between, Refusal};
pub use wish::Wish;

/// The rules version. A golden test forces it up when any published answer changes.
pub const RULES: &str = "2026.1";
