//! Test helpers.

pub mod ask;
pub mod histories;
pub mod server;
pub mod stepper;
