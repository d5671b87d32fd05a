//! The real server on a port of its own, over HTTP: every operation, every problem it documents, bad input, the pages.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail loudly")]

mod api;
mod bad_input;
mod boat;
mod browser;
mod changes;
mod checkpoint;
mod cut;
mod day;
mod devices;
mod disks;
mod dispose;
mod docs;
mod documented;
mod dry_run;
mod feed;
mod framework;
mod full_disk;
mod jobs;
mod mismatch_pages;
mod oven;
mod pages;
mod paper_day;
mod papers;
mod people;
mod problems;
mod proofs;
mod questions;
mod recall;
mod receive;
mod screens;
mod sealed;
mod stock;
mod strangers;
mod strike;
mod thing;
mod trace;
mod traces;
mod warned;
mod work;
mod yard;
