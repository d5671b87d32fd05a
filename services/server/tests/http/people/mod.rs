//! Who did it, from where: setting up, signing in, devices, programs, a second person, and that nobody else gets in.

mod devices;
mod enforced;
mod mine;
mod pages;
mod signing_in;
pub(crate) mod town;
mod written;
