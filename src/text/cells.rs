//! Text of cells and keys: encoding, codes, numbers, times, and cells that a spreadsheet would run.

use std::str::FromStr;

use jiff::{Timestamp, civil};
use rust_decimal::Decimal;

use super::fault::{Fault, found};

/// Years that dates may lie in.
pub const YEARS: std::ops::RangeInclusive<i16> = 2000..=2100;
/// Most characters of an id, a code or a section.
pub const MAX_CODE: usize = 40;

/// The text of a file: UTF-8, a byte-order mark left out.
pub fn decode<'a>(file: &str, bytes: &'a [u8]) -> Result<&'a str, Fault> {
    let utf16 = match bytes {
        [0xff, 0xfe, ..] => Some("UTF-16 (little-endian)"),
        [0xfe, 0xff, ..] => Some("UTF-16 (big-endian)"),
        _ => None,
    };
    if let Some(encoding) = utf16 {
        let what = format!(
            "found text in {encoding}, expected UTF-8: save it again as \u{201c}CSV UTF-8\u{201d}"
        );
        return Err(Fault::of_file(file, what).at(1));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|why| {
        let at = why.valid_up_to();
        let before = bytes.get(..at).unwrap_or_default();
        let line = line_at(before);
        let byte = bytes.get(at).copied().unwrap_or_default();
        let what = format!(
            "found the byte 0x{byte:02X} (byte {} of the file), expected UTF-8 text",
            at.saturating_add(1)
        );
        Fault::of_file(file, what).at(line)
    })
}

/// The line, from 1, on which the text after `before` starts.
pub fn line_at(before: &[u8]) -> u64 {
    let breaks = before.iter().filter(|b| **b == b'\n').count();
    (breaks as u64).saturating_add(1)
}

/// An id or a code: 1 to 40 characters, none of them a control character; spaces around it are left out.
pub fn code(text: &str) -> Result<String, String> {
    let text = text.trim();
    let length = text.chars().count();
    if length == 0 || length > MAX_CODE || text.chars().any(char::is_control) {
        return Err(found(text, "1 to 40 characters on one line"));
    }
    Ok(text.to_owned())
}

/// A name or title: at most 200 characters on one line, possibly none.
pub fn line_of_text(text: &str) -> Result<String, String> {
    line_within(text, 200)
}

/// A line of at most so many characters; it may be empty.
pub fn line_within(text: &str, most: usize) -> Result<String, String> {
    let text = text.trim();
    if text.chars().count() > most || text.chars().any(char::is_control) {
        let expected = format!("at most {most} characters on one line");
        return Err(found(text, &expected));
    }
    Ok(text.to_owned())
}

/// A decimal number written plainly: no exponent, no underscore, no thousands separator.
pub fn decimal(text: &str) -> Result<Decimal, String> {
    let text = text.trim();
    let bad = || found(text, "a plain number such as 0.0100");
    let unsigned = text.strip_prefix('-').unwrap_or(text);
    let (whole, fraction) = match unsigned.split_once('.') {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (unsigned, None),
    };
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !fraction.is_none_or(digits) || unsigned.len() > 28 {
        return Err(bad());
    }
    Decimal::from_str(text).map_err(|_| bad())
}

/// Whether a text is a number as a spreadsheet shows a long one: `4.10E+06`.
pub fn is_power_of_ten(text: &str) -> bool {
    let Some((number, power)) = text.split_once(['E', 'e']) else {
        return false;
    };
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let number: String = number.replacen([',', '.'], "", 1);
    digits(&number) && power.strip_prefix('+').is_some_and(digits)
}

pub fn whole(text: &str, range: std::ops::RangeInclusive<u32>) -> Result<u32, String> {
    let text = text.trim();
    let number = text
        .bytes()
        .all(|b| b.is_ascii_digit())
        .then(|| text.parse().ok());
    number
        .flatten()
        .filter(|n| range.contains(n))
        .ok_or_else(|| {
            found(
                text,
                &format!("a whole number from {} to {}", range.start(), range.end()),
            )
        })
}

/// An instant in RFC 3339, in the years allowed.
pub fn instant(text: &str) -> Result<Timestamp, String> {
    let text = text.trim();
    let instant = Timestamp::from_str(text).map_err(|_| {
        found(
            text,
            "a date and time with its offset (RFC 3339), such as 2026-03-02T14:05:00+01:00",
        )
    })?;
    let year = jiff::tz::TimeZone::UTC.to_datetime(instant).year();
    if YEARS.contains(&year) {
        Ok(instant)
    } else {
        Err(found(text, &years()))
    }
}

/// A local date and time, in the years allowed.
pub fn local_time(text: &str) -> Result<civil::DateTime, String> {
    let text = text.trim();
    let expected = "a local date and time without offset, such as 2026-03-02T14:00:00";
    let plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'-' | b':' | b'.' | b'T' | b't' | b' '));
    let time = text
        .get(11..)
        .filter(|time| plain && !time.contains('-') && time.contains(':'));
    let local = time
        .and_then(|_| civil::DateTime::from_str(text).ok())
        .ok_or_else(|| found(text, expected))?;
    if YEARS.contains(&local.year()) {
        Ok(local)
    } else {
        Err(found(text, &years()))
    }
}

/// A day, in the years allowed.
pub fn day(text: &str) -> Result<civil::Date, String> {
    let text = text.trim();
    let plain = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
    let day = plain.then(|| civil::Date::from_str(text).ok()).flatten();
    let day = day.ok_or_else(|| found(text, "a day such as 2026-03-02"))?;
    if YEARS.contains(&day.year()) {
        Ok(day)
    } else {
        Err(found(text, &years()))
    }
}

fn years() -> String {
    format!("a date in the years {} to {}", YEARS.start(), YEARS.end())
}

/// A text as it is written to a CSV file: with an apostrophe in front where a spreadsheet would run it as a formula.
/// A text that already looks guarded gets another one, so that [`unguarded`] always gives the text back.
pub fn guarded(text: &str) -> String {
    if runs(text.trim_start_matches('\'')) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The text of a cell without the apostrophe that [`guarded`] puts in front.
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if runs(rest.trim_start_matches('\'')) => rest,
        _ => cell,
    }
}

fn runs(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn guarding_is_undone_whatever_the_text() {
        for text in [
            "=1+1", "'=1", "''@x", "-5", "'", "O'Neil", "", "\tx", "+", "12", "'a",
        ] {
            assert_eq!(unguarded(&guarded(text)), text);
        }
        assert_eq!(guarded("=HYPERLINK(1)"), "'=HYPERLINK(1)");
        assert_eq!(guarded("00123"), "00123");
    }

    #[test]
    fn numbers_are_plain() {
        for bad in [
            "1e3", "1_000", "nan", "inf", "", ".5", "5.", "+5", "1,5", "0x10",
        ] {
            assert!(decimal(bad).is_err(), "{bad}");
        }
        assert_eq!(decimal(" 0.0100 ").unwrap().to_string(), "0.0100");
        assert_eq!(
            decimal("1e3").unwrap_err(),
            "found “1e3”, expected a plain number such as 0.0100"
        );
    }

    #[test]
    fn times_are_local_or_not_as_asked() {
        assert!(local_time("2026-03-02T14:00:00").is_ok());
        assert!(local_time("2026-03-02 14:00").is_ok());
        for bad in [
            "2026-03-02",
            "2026-03-02T14:00:00Z",
            "2026-03-02T14:00:00-05:00",
            "1999-01-01T00:00:00",
            "2026-02-30T10:00:00",
        ] {
            assert!(local_time(bad).is_err(), "{bad}");
        }
        assert!(instant("2026-03-02T14:05:00+01:00").is_ok());
        assert!(instant("2026-03-02T14:05:00").is_err());
        assert_eq!(
            instant("2101-01-02T00:00:00Z").unwrap_err(),
            "found “2101-01-02T00:00:00Z”, expected a date in the years 2000 to 2100"
        );
    }
}
