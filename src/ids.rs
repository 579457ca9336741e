//! Names of things: each kind is a type of its own, so that no call takes one for another.
//!
//! An id is text as people write it: leading zeros stay. It reads as `&str` wherever text is wanted; nothing turns text
//! into an id but [`parse`](StudentId::parse), which checks it, and `new`, for text that was checked before.

use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use smol_str::SmolStr;

use crate::text::found;

/// Most characters of an id.
pub const LONGEST: usize = 40;

/// 1 to 40 characters on one line; spaces around it are left out.
fn code(text: &str) -> Result<&str, String> {
    let text = text.trim();
    let length = text.chars().count();
    if length == 0 || length > LONGEST || text.chars().any(char::is_control) {
        return Err(found(text, "1 to 40 characters on one line"));
    }
    Ok(text)
}

/// Whether a text can be a key: 1 to 60 lower-case letters, digits and hyphens, starting with a letter or digit.
pub fn is_key(text: &str) -> bool {
    (1..=60).contains(&text.len())
        && !text.starts_with('-')
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

fn key(text: &str) -> Result<&str, String> {
    let text = text.trim();
    if is_key(text) {
        Ok(text)
    } else {
        Err(format!(
            "found \u{201c}{text}\u{201d}, expected lower-case letters, digits and hyphens"
        ))
    }
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident: $rule:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(SmolStr);

        impl $name {
            /// Text that was checked before, or never leaves the program.
            pub fn new(text: impl Into<SmolStr>) -> Self {
                Self(text.into())
            }

            /// # Errors
            /// What was found and what was expected.
            pub fn parse(text: &str) -> Result<Self, String> {
                $rule(text).map(Self::new)
            }

            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl Deref for $name {
            type Target = str;

            fn deref(&self) -> &str {
                &self.0
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }

        impl PartialEq<str> for $name {
            fn eq(&self, other: &str) -> bool {
                *self.0 == *other
            }
        }

        impl PartialEq<&str> for $name {
            fn eq(&self, other: &&str) -> bool {
                *self.0 == **other
            }
        }

        impl PartialEq<&$name> for $name {
            fn eq(&self, other: &&$name) -> bool {
                *self == **other
            }
        }

        impl PartialEq<String> for $name {
            fn eq(&self, other: &String) -> bool {
                *self.0 == **other
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Debug::fmt(&*self.0, f)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                SmolStr::deserialize(deserializer).map(Self::new)
            }
        }
    )*};
}

ids! {
    /// A student's number at the institution.
    StudentId: code;
    /// Names a course of a department in files and addresses.
    CourseKey: key;
    /// Names an experiment in files and addresses.
    ExperimentKey: key;
    /// The code on a lot of titrant, excess reagent or stock.
    LotCode: code;
    /// The code on a bottle given to a student.
    UnknownCode: code;
    SectionName: code;
}
