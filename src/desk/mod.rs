//! Use cases.
