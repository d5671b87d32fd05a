//! The minute stepper: cases worked out by hand, and the product's answers beside it on random histories.

mod ahead;
mod compare;
mod laid;
mod laws;
mod log;
mod scanned;
mod told;
