//! The real server on a port of its own, over HTTP: every operation, every problem it documents, bad input, the pages.

mod api;
mod bad_input;
mod full_disk;
mod pages;
mod problems;
mod yard;
