//! Pages over HTTP.

mod accounts;
pub mod campus;
mod clock;
mod frame;
mod record_of_access;
pub mod second_step;
mod tokens;
