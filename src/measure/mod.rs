//! Readings as written, the glassware they are read from, water, and rounding.
//!
//! Pure: numbers in, numbers and errors out.

mod glassware;
mod reading;
mod rounding;
mod water;

pub use glassware::{Class, Glassware, GlasswareFault, GlasswareKind, GlasswareTable};
pub use reading::{Reading, ReadingError};
pub use rounding::{as_f64, from_f64, order_of_magnitude, plain, to_decimals, to_figures};
pub use water::{WATER_CELSIUS, Weighing, water_density, water_density_slope};
