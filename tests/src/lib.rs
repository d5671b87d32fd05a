//! Test helpers.

pub mod ask;
pub mod fresh;
pub mod histories;
pub mod server;
pub mod stepper;
