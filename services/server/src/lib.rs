//! The shell.

pub mod archive;
pub mod cli;
pub mod clock;
pub mod committer;
mod demo;
pub mod fingerprint;
pub mod http;
mod import;
pub mod intake;
pub mod journal;
pub mod load;
#[cfg(test)]
mod testing;
pub mod yard;

/// Requests, entries and answers are small pieces that one thread makes and another lets go: this allocator is made for
/// that.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;
