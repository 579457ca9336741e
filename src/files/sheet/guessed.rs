//! What a table does not say of itself: where its header is, what separates its cells, which lines are sums.

use std::collections::BTreeMap;

use super::Line;
use crate::files::separator::Separator;

/// The place of the header: the first line as wide as most are, below a title of a cell or two, or below names that
/// stand over several columns each.
pub(super) fn header_among(
    lines: &[Line],
    says: impl Fn(&Line) -> usize,
    is_of_words: impl Fn(&Line) -> bool,
) -> usize {
    const FIRST: usize = 15;
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    for line in lines {
        let count = counts.entry(line.cells.len()).or_default();
        *count = count.saturating_add(1);
    }
    let most = counts
        .into_iter()
        .max_by_key(|(width, count)| (*count, *width));
    let most = most.map(|(width, _)| width);
    let is_title = |line: &Line| {
        most.is_some_and(|most| most > 2 && (line.cells.len() < most.min(3) || says(line) < 2))
    };
    let place = lines.iter().take(FIRST).position(|line| !is_title(line));
    let place = place.unwrap_or(0);
    // then both lines are of words, and what stands below is not
    let is_over_several = match lines.get(place..).unwrap_or_default() {
        [first, next, below, ..] => {
            let words = [first, next, below].map(&is_of_words);
            words == [true, true, false] && says(next) > says(first)
        }
        _ => false,
    };
    place.saturating_add(usize::from(is_over_several))
}

/// Whether a cell begins like that of a line of sums.
pub(super) fn says_total(cell: &[u8]) -> bool {
    let text = String::from_utf8_lossy(cell).to_lowercase();
    let text = text.trim_start_matches(['"', ' ']);
    let words = [
        "total", "sum", "mean", "average", "gesamt", "mittel", "anzahl", "moyenne", "media",
    ];
    words.iter().any(|word| text.starts_with(word))
}

/// Past a first line `sep=;`: where the table starts, on which line, and what separates its cells.
pub(super) fn after_hint(bytes: &[u8], start: usize) -> (usize, u64, Option<Separator>) {
    let rest = bytes.get(start..).unwrap_or_default();
    let hint = |separator: &Separator| match rest {
        [b's', b'e', b'p', b'=', said, end @ ..] if *said == separator.byte() => match end {
            [b'\r', b'\n', ..] => Some(7),
            [b'\n' | b'\r', ..] => Some(6),
            _ => None,
        },
        _ => None,
    };
    let found = Separator::ALL
        .into_iter()
        .find_map(|separator| hint(&separator).map(|length| (separator, length)));
    match found {
        Some((separator, length)) => (start.saturating_add(length), 2, Some(separator)),
        None => (start, 1, None),
    }
}

/// The separators, first the one that stands most often in the first line that is not blank, quoted cells aside.
pub(super) fn likely(bytes: &[u8]) -> [Separator; 3] {
    let mut counts = [0_usize; 3];
    let (mut quoted, mut begun) = (false, false);
    for byte in bytes {
        match byte {
            b'"' => quoted = !quoted,
            b'\r' | b'\n' if !quoted && begun => break,
            b'\r' | b'\n' if !quoted => continue,
            _ if quoted => {}
            _ => {
                for (count, separator) in counts.iter_mut().zip(Separator::ALL) {
                    *count += usize::from(*byte == separator.byte());
                }
            }
        }
        begun = true;
    }
    let mut places = [0, 1, 2];
    places.sort_by_key(|place| std::cmp::Reverse(counts[*place]));
    places.map(|place| Separator::ALL[place])
}
