//! What the API takes and answers. These shapes are converted from the rules' own, never stored.

mod answers;
mod changes;
mod devices;
mod effect;
mod posted;
mod problem;
mod proofs;
mod stock;
mod views;
mod warnings;

pub use answers::*;
pub use changes::*;
pub use devices::*;
pub use effect::*;
pub use posted::*;
pub use problem::*;
pub use proofs::*;
pub use stock::*;
pub use views::*;
pub use warnings::*;
