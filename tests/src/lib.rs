//! Test helpers.

pub mod ask;
pub mod fresh;
pub mod fuzz;
pub mod histories;
pub mod server;
pub mod stepper;

/// Looks again and again, for as long as a machine that has much to do may take, until it is so.
pub fn until(mut is_so: impl FnMut() -> bool) -> bool {
    (0..5_000).any(|_| is_so())
}
