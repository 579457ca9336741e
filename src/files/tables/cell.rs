//! What a cell of a workbook shows, and what is odd about it.

use jiff::civil::{Date, date};

use super::grid::on_one_line;
use crate::files::office::formats::{Format, padded};

/// From this number on a spreadsheet no longer keeps every digit.
const FIRST_INEXACT: f64 = 1e15;

/// Why the text of a cell may not be what somebody typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Odd {
    /// An error, such as `#N/A`.
    Error,
    /// A day or a time: what was typed, such as 3-10, is lost.
    Date,
    /// TRUE or FALSE.
    Logical,
    /// A number of more digits than a spreadsheet keeps.
    DigitsLost,
    /// A formula that was never worked out.
    NoValue,
}

/// A cell as it looks to whoever opens the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Shown {
    pub text: String,
    pub odd: Option<Odd>,
    pub is_formula: bool,
}

impl Odd {
    /// What is wrong with a cell where a text of somebody is wanted, and what to do.
    pub fn fault(self, text: &str) -> String {
        const TYPE_AGAIN: &str = "format the column as text and type it again";
        match self {
            Self::Error => format!(
                "found the error \u{201c}{text}\u{201d}, expected a value: mend the cell and save the file again"
            ),
            Self::Date => format!("found the date {text}, expected text: {TYPE_AGAIN}"),
            Self::Logical => format!("found the logical value {text}, expected text: {TYPE_AGAIN}"),
            Self::DigitsLost => format!(
                "found the number {text}, of which a spreadsheet keeps 15 digits, expected text: {TYPE_AGAIN}"
            ),
            Self::NoValue => "found a formula without a value, expected a value: open the file in a spreadsheet program and save it".to_owned(),
        }
    }
}

impl Shown {
    pub fn text(text: &str) -> Self {
        Self {
            text: on_one_line(text),
            ..Self::default()
        }
    }

    pub fn odd(text: &str, odd: Odd) -> Self {
        Self {
            odd: Some(odd),
            ..Self::text(text)
        }
    }

    /// A number by its format. A whole one has no decimals.
    pub fn number(number: f64, format: &Format, from_1904: bool) -> Self {
        let is_whole = number.fract() == 0.0;
        if is_whole && number.abs() >= FIRST_INEXACT {
            return Self::odd(&number.to_string(), Odd::DigitsLost);
        }
        let text = match is_whole {
            true => format!("{number:.0}"),
            false => number.to_string(),
        };
        match format {
            Format::Date => Self::day(&day(number, from_1904).unwrap_or(text)),
            Format::Padded(pieces) if is_whole && number >= 0.0 => {
                Self::text(&padded(pieces, &text))
            }
            _ => Self::text(&text),
        }
    }

    /// A day, or a time, as ISO 8601 writes it.
    pub fn day(text: &str) -> Self {
        Self::odd(text.strip_suffix("T00:00:00").unwrap_or(text), Odd::Date)
    }

    pub fn logical(is_true: bool) -> Self {
        Self::odd(if is_true { "TRUE" } else { "FALSE" }, Odd::Logical)
    }

    /// Whether nothing is to be said of it.
    pub fn is_nothing(&self) -> bool {
        self.text.is_empty() && self.odd.is_none()
    }
}

/// The day of a number (ISO/IEC 29500-1, 18.17.4.1), with its time where it has one; none beyond the days that there are.
fn day(number: f64, from_1904: bool) -> Option<String> {
    const MINUTES: i64 = 24 * 60;
    let first: Date = match from_1904 {
        true => date(1904, 1, 1),
        // the other count has a 29th of February 1900
        false if number < 60.0 => date(1899, 12, 31),
        false => date(1899, 12, 30),
    };
    if !(0.0..=2_958_465.0).contains(&number) {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "within the days that there are"
    )]
    let minutes = (number * MINUTES as f64).round() as i64;
    let at = first.at(0, 0, 0, 0);
    let at = at
        .checked_add(jiff::Span::new().try_minutes(minutes).ok()?)
        .ok()?;
    let is_day = minutes.checked_rem(MINUTES) == Some(0);
    Some(match is_day {
        true => at.strftime("%Y-%m-%d").to_string(),
        false => at.strftime("%Y-%m-%d %H:%M").to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_shown_as_the_spreadsheet_shows_them() {
        let shown = |number, format: Format, from_1904| Shown::number(number, &format, from_1904);
        let day = |number, from_1904| shown(number, Format::Date, from_1904).text;
        // ISO/IEC 29500-1, 18.17.4.1: the days of both counts
        assert_eq!(day(1.0, false), "1900-01-01");
        assert_eq!(day(2_958_465.0, false), "9999-12-31");
        assert_eq!(day(0.0, true), "1904-01-01");
        assert_eq!(day(46_300.0, false), "2026-10-05");
        assert_eq!(day(46_300.5, false), "2026-10-05 12:00");
        assert_eq!(shown(-1.0, Format::Date, false).text, "-1");
        assert_eq!(shown(7.45, Format::Number, false).text, "7.45");
        let lost = shown(202_612_345_678_900_000.0, Format::Number, false);
        assert_eq!(
            (lost.text.as_str(), lost.odd),
            ("202612345678900000", Some(Odd::DigitsLost))
        );
    }
}
