//! Grammar of the sentences that pages, files and commands say.

use std::fmt::{Display, Write as _};

/// Names of a type's variants, each written once: all of them in order, the name of one, the one of a name and, where a
/// second text is given, what people call it.
macro_rules! named {
    ($kind:ident, $name:ident $(, $from:ident)?: $($variant:ident = $text:literal $(: $words:literal)?,)+) => {
        impl $kind {
            /// All of them, in order.
            pub const ALL: [Self; [$($text),+].len()] = [$(Self::$variant),+];

            /// As it is written in files.
            pub fn $name(self) -> &'static str {
                match self {
                    $(Self::$variant => $text,)+
                }
            }

            $(
                /// The one of that name.
                pub fn $from(name: &str) -> Option<Self> {
                    Self::ALL.into_iter().find(|one| one.$name() == name)
                }
            )?

            $crate::words::named!(@words $($variant $(= $words)?,)+);
        }
    };
    (@words $($variant:ident,)+) => {};
    (@words $($variant:ident = $words:literal,)+) => {
        /// As people say it.
        pub fn words(self) -> &'static str {
            match self {
                $(Self::$variant => $words,)+
            }
        }
    };
}

pub(crate) use named;

/// A number with its noun, or whatever else goes by its number: `1 trial`, `2 trials`, `1.5 points`.
pub fn counted(n: impl Display, one: &str, many: &str) -> String {
    let n = n.to_string();
    let noun = if n == "1" { one } else { many };
    format!("{n} {noun}")
}

/// `1`, `1 and 2`, `1, 2 and 3`.
pub fn listed(items: &[String]) -> String {
    match items.split_last() {
        Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

/// Bytes as two hexadecimal digits each.
pub fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().saturating_mul(2));
    for byte in bytes {
        // writing to a string cannot fail
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// A local date and time, such as “Mon 14 Sep 2026, 17:00”.
pub fn local(at: jiff::civil::DateTime) -> String {
    at.strftime("%a %-d %b %Y, %H:%M").to_string()
}

/// A number with its sign, as people write it.
pub fn signed(points: rust_decimal::Decimal) -> String {
    let sign = if points.is_sign_negative() {
        "\u{2212}"
    } else {
        "+"
    };
    format!("{sign}{}", crate::measure::plain(points.abs()))
}

/// The same words with a capital in front.
pub fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(words.chars().skip(1)).collect()
}
