//! The study of accuracy: made nights judged by the engine and held against their truth.
//!
//! ```text
//! sleeper, sensor, seed ─make▶ night and truth ─judge▶ Row ─gather▶ Results ─page▶ text
//! ```
//!
//! Each night is judged three times: as the monitor wrote it; as a perfect sensor would have; and as the
//! monitor wrote it, believed exactly where the truth says it is right, which tells what screening costs
//! apart from what averaging, rounding, drift and gaps cost anyway.
//!
//! What this module does not do: it sets no limit. Limits are set on training nights; held-out nights
//! only tell how well that went.

pub mod ablate;
pub mod belief;
pub mod draw;
pub mod gather;
pub mod held_out;
pub mod kept;
pub mod laid;
pub mod night;
pub mod nights;
pub mod page;
pub mod results;
pub mod run;
pub mod section;
pub mod tally;
pub mod targets;
pub mod variant;
mod worst;

pub use gather::gather;
pub use nights::Set;
pub use page::page;
pub use results::{Kept, Results};
pub use run::{Options, run};
