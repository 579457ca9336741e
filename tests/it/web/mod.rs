//! Pages over HTTP.

mod accounts;
mod frame;
mod record_of_access;
pub mod second_step;
