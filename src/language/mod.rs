//! Every text that a student reads, in the languages of courses.
//!
//! What is to be said is a [`Message`]: the modules that find it out know no language. A page says it in the language of
//! its [`Frame`](crate::web::Frame). The texts stand in `en/` and `de/`, the same keys with
//! the same places.

mod catalogue;
mod message;

use std::fmt::Display;
use std::sync::LazyLock;

use jiff::civil::DateTime;
use serde::{Deserialize, Serialize};

use crate::words::named;

pub use catalogue::{Catalogue, Text, filled, places};
pub(crate) use message::message;
pub use message::{Arg, Message, number};

/// A language that courses are held in.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub enum Language {
    #[default]
    #[serde(rename = "en")]
    English,
    #[serde(rename = "de")]
    German,
}

named! { Language, code, from_code:
    English = "en": "English",
    German = "de": "Deutsch",
}

/// The files of a language: of all pages, of the bench, of readings, of results, of how a result comes about.
macro_rules! files {
    ($language:literal) => {
        LazyLock::new(|| {
            Catalogue::read(&[
                include_str!(concat!($language, "/pages.txt")),
                include_str!(concat!($language, "/bench.txt")),
                include_str!(concat!($language, "/readings.txt")),
                include_str!(concat!($language, "/results.txt")),
                include_str!(concat!($language, "/work.txt")),
            ])
        })
    };
}

static ENGLISH: LazyLock<Catalogue> = files!("en");
static GERMAN: LazyLock<Catalogue> = files!("de");

impl Language {
    /// All of its texts.
    pub fn catalogue(self) -> &'static Catalogue {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }

    /// As HTML names it.
    pub fn tag(self) -> &'static str {
        match self {
            Self::English => "en-GB",
            Self::German => "de",
        }
    }

    /// A text without places. A key that there is none of is shown, so that it is noticed.
    pub fn text(self, key: &str) -> &str
    where
        Self: 'static,
    {
        match self.found(key) {
            Some(text) => &text.other,
            None => key,
        }
    }

    /// A message in words.
    pub fn say(self, message: &Message) -> String {
        if message.key().is_empty() {
            return message
                .arg("text")
                .map(|arg| self.arg(arg))
                .unwrap_or_default();
        }
        let value = |place: &str| message.arg(place).map(|arg| self.arg(arg));
        let n = value("n");
        filled(self.form(message.key(), n.as_deref()), value)
    }

    /// The same with a capital in front.
    pub fn sentence(self, message: &Message) -> String {
        crate::words::sentence(&self.say(message))
    }

    /// A text with values that are words already.
    pub fn tell(self, key: &str, values: &[(&str, &dyn Display)]) -> String {
        let value = |place: &str| {
            let mut values = values.iter();
            let found = values.find(|(name, _)| *name == place);
            found.map(|(_, value)| value.to_string())
        };
        let n = value("n");
        filled(self.form(key, n.as_deref()), value)
    }

    /// A text that goes by a number.
    pub fn counted(self, key: &str, n: impl Display) -> String {
        self.tell(key, &[("n", &self.number(n))])
    }

    /// Digits with the mark for decimals that the language has.
    pub fn number(self, digits: impl Display) -> String {
        let digits = digits.to_string();
        match self {
            Self::English => digits,
            Self::German => digits.replace('.', ","),
        }
    }

    /// One after the other, with “and” before the last.
    pub fn listed(self, items: &[String]) -> String {
        match items.split_last() {
            Some((last, before)) if !before.is_empty() => self.tell(
                "list.and",
                &[("before", &before.join(", ")), ("last", last)],
            ),
            Some((last, _)) => last.clone(),
            None => String::new(),
        }
    }

    /// A local date and time.
    pub fn date(self, at: DateTime) -> String {
        let day = format!("date.day.{}", at.weekday().to_monday_one_offset());
        let month = format!("date.month.{}", at.month());
        let (day, month) = (self.text(&day), self.text(&month));
        self.tell(
            "date.local",
            &[
                ("day", &day),
                ("d", &at.day()),
                ("month", &month),
                ("year", &at.year()),
                ("time", &at.strftime("%H:%M")),
            ],
        )
    }

    fn arg(self, arg: &Arg) -> String {
        match arg {
            Arg::Text(text) => text.to_string(),
            Arg::Number(digits) => self.number(digits),
            Arg::Date(at) => self.date(*at),
            Arg::Message(message) => self.say(message),
            Arg::List(args) => {
                let items: Vec<String> = args.iter().map(|arg| self.arg(arg)).collect();
                self.listed(&items)
            }
        }
    }

    /// The text of a key, where it goes by a number in the form of that number.
    fn form<'k>(self, key: &'k str, n: Option<&str>) -> &'k str
    where
        Self: 'static,
    {
        match self.found(key) {
            Some(Text { one: Some(one), .. }) if n == Some("1") => one,
            Some(text) => &text.other,
            None => key,
        }
    }

    /// A text that another language lacks is said in English.
    fn found(self, key: &str) -> Option<&'static Text> {
        let own = self.catalogue().text(key);
        own.or_else(|| ENGLISH.text(key))
    }
}
