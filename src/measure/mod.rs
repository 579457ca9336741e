//! Readings as written, the glassware they are read from, and rounding.
//!
//! Pure: decimal numbers in, decimal numbers and errors out.

mod glassware;
mod reading;
mod rounding;

pub use glassware::{Class, Glassware, GlasswareFault, GlasswareKind, GlasswareTable};
pub use reading::{Reading, ReadingError};
pub use rounding::{as_f64, from_f64, order_of_magnitude, plain, to_decimals, to_figures};
