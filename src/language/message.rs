//! Something to say to somebody, in no language yet.

use std::borrow::Cow;
use std::fmt;

use jiff::civil::DateTime;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use smol_str::{SmolStr, ToSmolStr as _};

use super::Language;
use crate::measure::Reading;

/// What is to be said: the key of a text and what stands in its places. Shown as it is, it is English.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "Kept")]
pub struct Message {
    // short texts stand in their place: a course holds as many messages as anything
    key: SmolStr,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    args: Vec<(SmolStr, Arg)>,
}

/// What stands in a place of a text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Arg {
    /// As it is, in every language.
    Text(SmolStr),
    /// Digits, with the language's own mark for decimals.
    Number(SmolStr),
    /// A local date and time.
    Date(DateTime),
    Message(Box<Message>),
    /// One after the other, with “and” before the last.
    List(Vec<Arg>),
}

/// As judgements hold it: those before there were languages have a sentence.
#[derive(Deserialize)]
#[serde(untagged)]
enum Kept {
    Sentence(String),
    Message {
        key: SmolStr,
        #[serde(default)]
        args: Vec<(SmolStr, Arg)>,
    },
}

impl Message {
    /// A text of the catalogue.
    pub fn new(key: impl Into<Cow<'static, str>>) -> Self {
        let key = match key.into() {
            Cow::Borrowed(key) => SmolStr::new_static(key),
            Cow::Owned(key) => key.into(),
        };
        let args = Vec::new();
        Self { key, args }
    }

    /// A sentence that is no text of the catalogue: what people wrote, or what only staff read.
    pub fn verbatim(text: impl Into<String>) -> Self {
        Self::new("").with("text", text.into())
    }

    pub fn with(mut self, place: &'static str, value: impl Into<Arg>) -> Self {
        self.args.reserve_exact(1);
        self.args.push((SmolStr::new_static(place), value.into()));
        self
    }

    /// The key of its text; empty where it is none of the catalogue.
    pub fn key(&self) -> &str {
        &self.key
    }

    /// Whether it says nothing.
    pub fn is_empty(&self) -> bool {
        self.key.is_empty()
            && self
                .args
                .iter()
                .all(|(_, arg)| matches!(arg, Arg::Text(text) if text.is_empty()))
    }

    /// The same with English words for the texts that stand in its places: what judgements hold, who have always held
    /// them so.
    pub fn with_words(&self) -> Self {
        let said = |arg: &Arg| match arg {
            Arg::Message(message) => Arg::Text(message.to_smolstr()),
            other => other.clone(),
        };
        let args = self.args.iter();
        Self {
            key: self.key.clone(),
            args: args
                .map(|(place, arg)| (place.clone(), said(arg)))
                .collect(),
        }
    }

    /// What stands in a place.
    pub fn arg(&self, place: &str) -> Option<&Arg> {
        let mut args = self.args.iter();
        args.find(|(name, _)| name == place).map(|(_, arg)| arg)
    }
}

impl fmt::Display for Message {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&Language::English.say(self))
    }
}

impl From<Kept> for Message {
    fn from(kept: Kept) -> Self {
        match kept {
            Kept::Sentence(text) if text.is_empty() => Self::default(),
            Kept::Sentence(text) => Self::verbatim(text),
            Kept::Message { key, mut args } => {
                args.shrink_to_fit();
                Self { key, args }
            }
        }
    }
}

impl From<Message> for String {
    fn from(message: Message) -> Self {
        message.to_string()
    }
}

impl From<String> for Message {
    fn from(text: String) -> Self {
        Self::verbatim(text)
    }
}

impl From<&str> for Message {
    fn from(text: &str) -> Self {
        Self::verbatim(text)
    }
}

macro_rules! args {
    ($($from:ty => |$value:ident| $arg:expr;)+) => {$(
        impl From<$from> for Arg {
            fn from($value: $from) -> Self {
                $arg
            }
        }
    )+};
}
args! {
    String => |text| Self::Text(text.into());
    &String => |text| Self::Text(text.into());
    &str => |text| Self::Text(text.into());
    Message => |message| Self::Message(Box::new(message));
    &Message => |message| Self::Message(Box::new(message.clone()));
    DateTime => |at| Self::Date(at);
    Vec<Arg> => |args| Self::List(args);
    Decimal => |value| Self::Number(value.to_smolstr());
    &Reading => |reading| Self::Number(reading.written().into());
    usize => |n| Self::Number(n.to_smolstr());
    u32 => |n| Self::Number(n.to_smolstr());
    u64 => |n| Self::Number(n.to_smolstr());
    i64 => |n| Self::Number(n.to_smolstr());
}

/// Digits that are text already.
pub fn number(digits: impl fmt::Display) -> Arg {
    Arg::Number(digits.to_smolstr())
}

/// A text of the catalogue with what stands in its places: `message!("count.trial", n = 3)`.
macro_rules! message {
    ($key:literal $(, $place:ident = $value:expr)* $(,)?) => {
        $crate::language::Message::new($key)$(.with(stringify!($place), $value))*
    };
}
pub(crate) use message;
