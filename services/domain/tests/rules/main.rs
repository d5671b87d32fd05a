//! The rules as sentences: each test builds a small yard, says what happened and what the book must answer.
//! Numbers are worked out by hand beside each test; what has no other source is the yard's own rule.

#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "one test binary: nobody outside reaches its helpers, and a test may panic"
)]

mod again;
mod alone;
mod answers;
mod careful;
mod carried;
mod changed;
mod charged;
mod contradict;
mod cure;
mod decisions;
mod devices;
mod effects;
mod extremes;
mod facts;
mod gives_back;
mod ground;
mod handed;
mod history;
mod installing;
mod kept;
mod laws;
mod limits;
mod lists;
mod look;
mod named;
mod people;
mod random;
mod readings;
mod recalled;
mod refreezes;
mod rights;
mod rules_version;
mod scene;
mod second;
mod settled;
mod standing;
mod stocked;
mod told;
mod traced;
mod uncut;
mod unsure;
mod warm;
mod warned;
mod when;
mod wishing;
