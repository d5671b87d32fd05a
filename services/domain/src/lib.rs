//! The rules, pure and total: facts in, answers out. No clock, no I/O, no randomness, no HTTP.
//! The time asked for, the log position known and the time of asking are arguments.
//!
//! `book` keeps the facts, `view` filters them, `history` folds one thing's, `clock` adds up out-time along roll,
//! kit and lay-up, `limits` applies a material's limits to it; every question stands in a file of its own.

mod against;
pub mod book;
pub mod calendar;
pub mod card;
pub mod changes;
pub mod clock;
mod cold;
pub mod cure;
pub mod deadlines;
pub mod decide;
pub mod deliveries;
pub mod devices;
pub mod effect;
pub mod fact;
mod finding;
mod follow;
mod guard;
mod handover;
pub mod history;
pub mod holds;
mod installing;
mod issue;
mod jobs;
pub mod judge;
mod kept;
pub mod kit;
mod later;
pub mod limits;
pub mod links;
pub mod lists;
pub mod may_use;
pub mod mismatch;
pub mod opening;
mod part_checks;
mod plan;
mod puzzle;
pub mod question;
mod read;
pub mod recall;
pub mod record;
pub mod refusal;
pub mod rights;
pub mod roll;
pub mod rows;
pub mod run_checks;
pub mod say;
pub mod sheet;
pub mod stage;
pub mod standing;
pub mod stock;
mod subject;
mod take_out;
pub mod thing;
mod today;
pub mod trace;
pub mod view;
mod walk;
mod warnings;
mod whereabouts;
pub mod wish;
mod wording;
mod worst;

pub use book::Book;
pub use card::out_time_card;
pub use effect::effect;
pub use handover::{handover, stage_waits, waiting_for_oven};
pub use installing::may_install;
pub use issue::for_issue;
pub use jobs::{JobNeeds, jobs_needing};
pub use lists::{mismatches, runs_out, scan};
pub use may_use::may_use;
pub use question::{MayUseQuestion, NotAsked, When};
pub use record::part_record;
pub use refusal::{Between, Refusal};
pub use sheet::build_sheet;
pub use take_out::{TakeOutQuestion, short_of, take_out_list};
pub use thing::thing_view;
pub use today::{Today, today};
pub use trace::trace;
pub use warnings::{WarningsQuestion, warnings};
pub use wish::Wish;
pub use wording::{RETURN_ENDS_IT, told_put_away};

/// The rules version. A golden test forces it up when any published answer changes.
pub const RULES: &str = "2026.6";
