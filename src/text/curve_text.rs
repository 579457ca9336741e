//! A titration curve as it is pasted, or as an instrument wrote it: a point a line, volume and signal as they are written.

use super::shown;
use crate::language::{Message, message};

/// Points as they are written, and how many lines held none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CurveText {
    pub points: Vec<(String, String)>,
    pub skipped: usize,
}

/// What a heading may call a volume (common practice of instruments): one or two letters alone, or the beginning of a
/// longer word.
const VOLUME: [&str; 5] = ["v", "ml", "vol", "titrant", "added"];

/// Reads lines of two numbers apart by tabs, semicolons, spaces or commas. What stands above the first point and below
/// the last is left out; where there are more than two columns, headings say which are meant. `signals` is what a
/// heading may call the reading, as [`VOLUME`] says it of volumes.
pub fn read_curve(text: &str, signals: &[&str], most: usize) -> Result<CurveText, Message> {
    let text = text.trim_start_matches('\u{feff}');
    let apart = Apart::of(text)?;
    let lines: Vec<(usize, Vec<&str>)> = (1..)
        .zip(text.lines())
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(number, line)| (number, apart.cells(line)))
        .collect();
    let is_point = |cells: &[&str]| cells.iter().filter(|cell| is_number(cell)).count() > 1;
    let first = lines.iter().position(|(_, cells)| is_point(cells));
    let last = lines.iter().rposition(|(_, cells)| is_point(cells));
    let (Some(first), Some(last)) = (first, last) else {
        return Err(message!("curve.no-line"));
    };
    let (above, rest) = lines.split_at(first);
    let table = rest.get(..=last.saturating_sub(first)).unwrap_or_default();
    let places = places(above, &table[0].1, signals)?;
    let mut points = Vec::new();
    for (number, cells) in table {
        let cell = |place: usize| cells.get(place).copied().filter(|cell| is_number(cell));
        let (Some(volume), Some(signal)) = (cell(places.0), cell(places.1)) else {
            let line = cells.join(" ");
            return Err(message!("curve.line", line = *number, found = shown(&line)));
        };
        points.push((volume.to_owned(), signal.to_owned()));
    }
    if points.len() > most {
        return Err(message!(
            "curve.many-points",
            found = points.len(),
            most = most
        ));
    }
    let skipped = lines.len().saturating_sub(points.len());
    Ok(CurveText { points, skipped })
}

/// What stands between two numbers.
#[derive(Clone, Copy)]
enum Apart {
    By(char),
    Space,
}

impl Apart {
    /// A comma stands between numbers only where nothing else does; then it is no decimal mark.
    fn of(text: &str) -> Result<Self, Message> {
        let lines = || text.lines().map(str::trim).filter(|line| !line.is_empty());
        let splits = |by: char| {
            let cells = |line: &&str| line.split(by).filter(|cell| is_number(cell)).count() > 1;
            lines().any(|line| cells(&line))
        };
        for by in ['\t', ';'] {
            if splits(by) {
                return Ok(Self::By(by));
            }
        }
        let by_space = |line: &str| {
            line.split_whitespace()
                .filter(|cell| is_number(cell))
                .count()
                > 1
        };
        if lines().any(by_space) {
            return Ok(Self::Space);
        }
        let decimal_too = |line: &str| {
            let numbers = line.split(',').filter(|cell| is_number(cell));
            numbers.count() > 3 && !line.contains('.')
        };
        if lines().any(decimal_too) {
            return Err(message!("curve.commas"));
        }
        Ok(Self::By(','))
    }

    fn cells(self, line: &str) -> Vec<&str> {
        let bare = |cell: &str| -> bool { !cell.is_empty() };
        let cells = match self {
            Self::By(by) => return line.split(by).map(unquoted).collect(),
            Self::Space => line.split_whitespace().map(unquoted),
        };
        cells.filter(|cell| bare(cell)).collect()
    }
}

fn unquoted(cell: &str) -> &str {
    cell.trim().trim_matches('"').trim()
}

/// Where volume and signal stand.
fn places(
    above: &[(usize, Vec<&str>)],
    first: &[&str],
    signals: &[&str],
) -> Result<(usize, usize), Message> {
    let numbers: Vec<usize> = (0..first.len())
        .filter(|at| is_number(first[*at]))
        .collect();
    let begins = |cell: &str, words: &[&str]| {
        let letters: String = cell.chars().take_while(|c| c.is_alphabetic()).collect();
        let letters = letters.to_lowercase();
        let is_it = |word: &str| match word.chars().count() {
            1 | 2 => letters == word,
            _ => letters.starts_with(word),
        };
        words.iter().any(|word| is_it(word))
    };
    for (_, cells) in above.iter().rev() {
        let place = |words: &[&str]| {
            let mut named = numbers
                .iter()
                .filter(|at| cells.get(**at).is_some_and(|c| begins(c, words)));
            named.next().copied()
        };
        if let (Some(volume), Some(signal)) = (place(&VOLUME), place(signals))
            && volume != signal
        {
            return Ok((volume, signal));
        }
    }
    match numbers.as_slice() {
        [volume, signal] => Ok((*volume, *signal)),
        numbers => Err(message!("curve.columns", found = numbers.len())),
    }
}

/// Digits with at most one decimal mark, and a sign in front.
fn is_number(cell: &str) -> bool {
    let cell = unquoted(cell);
    let digits = cell.strip_prefix(['-', '+', '\u{2212}']).unwrap_or(cell);
    let is_part = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    match digits.split_once(['.', ',']) {
        Some((whole, fraction)) => is_part(whole) && is_part(fraction),
        None => is_part(digits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<(String, String)>, String> {
        read_curve(text, &["ph"], 5)
            .map(|curve| curve.points)
            .map_err(String::from)
    }

    fn two(points: &[(&str, &str)]) -> Result<Vec<(String, String)>, String> {
        let owned = |(x, y): &(&str, &str)| ((*x).to_owned(), (*y).to_owned());
        Ok(points.iter().map(owned).collect())
    }

    #[test]
    fn numbers_stand_as_they_were_written() {
        let expected = two(&[("0.00", "2.88"), ("1.00", "3.90")]);
        assert_eq!(read("0.00\t2.88\n1.00\t3.90\n"), expected);
        assert_eq!(read("\u{feff}0.00;2.88\r\n1.00;3.90\r\n"), expected);
        assert_eq!(read("0.00 2.88\n\n  1.00   3.90"), expected);
        assert_eq!(read("0.00,2.88\n1.00,3.90"), expected);
        assert_eq!(read("0.00, 2.88\n1.00, 3.90"), expected);
        assert_eq!(read("\"0.00\";\"2.88\"\n\"1.00\";\"3.90\""), expected);
        let commas = two(&[("0,00", "2,88"), ("1,00", "3,90")]);
        assert_eq!(read("0,00\t2,88\n1,00\t3,90"), commas);
        assert_eq!(read("0,00;2,88\n1,00;3,90"), commas);
        assert_eq!(read("0,00 2,88\n1,00 3,90"), commas);
        assert_eq!(
            read("0.0 -12\n1.0 \u{2212}3.5"),
            two(&[("0.0", "-12"), ("1.0", "\u{2212}3.5")])
        );
    }

    #[test]
    fn what_stands_around_the_table_is_left_out() {
        let text = "Titrator 5, serial 4711\nDate;2026-11-02\nV/mL;pH\n0,00;2,88\n1,00;3,90\nEP1;12,34 mL\n";
        let curve = read_curve(text, &["ph"], 5).expect("a curve");
        assert_eq!(curve.points.len(), 2);
        assert_eq!(curve.skipped, 4);
        let text =
            "No.\tTime/s\tTemp\tpH\tVolume/mL\n1\t0\t25.1\t2.88\t0.00\n2\t10\t25.1\t3.90\t1.00\n";
        assert_eq!(read(text), two(&[("0.00", "2.88"), ("1.00", "3.90")]));
    }

    #[test]
    fn what_cannot_be_told_is_said() {
        for (text, words) in [
            ("", "no line with two numbers"),
            ("pH meter\nnothing", "no line with two numbers"),
            ("0,00,2,88\n1,00,3,90", "commas between numbers"),
            ("1 0.00 2.88\n2 1.00 3.90", "found 3 columns"),
            (
                "0.00 2.88\nbubble\n1.00 3.90",
                "line 2: found \u{201c}bubble\u{201d}",
            ),
            ("0 1\n1 2\n2 3\n3 4\n4 5\n5 6", "found 6 points"),
        ] {
            let why = read(text).expect_err(words);
            assert!(why.contains(words), "{why}");
        }
    }
}
