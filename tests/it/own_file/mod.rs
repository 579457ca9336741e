//! The coordinator's own file filled in: not a byte changes but those of the cells chosen.

mod bytes;
mod pages;
