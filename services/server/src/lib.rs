//! The shell.

mod alarms;
pub mod archive;
pub mod backup;
mod checkpoint;
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
mod measured;
pub mod people;
mod private;
#[cfg(test)]
mod testing;
pub mod tls;
mod tree;
pub mod yard;

/// An answer is made of many short texts: where memory for them comes from is a tenth of its time.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;
