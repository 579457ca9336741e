//! Pages over HTTP.

mod accounts;
mod frame;
