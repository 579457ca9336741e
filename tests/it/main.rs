//! Integration tests.

mod reference;
