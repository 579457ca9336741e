//! The anonymous picture of where the class lies: a histogram, the student's own place marked by a shape and a word.

use crate::language::{Language, Message, message, number as digits};
use crate::measure::{from_f64, plain};
use crate::term::{ClassNumber, ClassView};

/// Columns of the histogram, about.
const COLUMNS: f64 = 14.0;
/// Height of the tallest column, px, and where columns stand.
const TALLEST: f64 = 100.0;
const GROUND: f64 = 130.0;

/// The picture, its words and the table behind it.
pub struct ClassPicture {
    pub title: &'static str,
    /// The picture in words.
    pub words: String,
    /// Columns, left to right.
    pub columns: Vec<ColumnView>,
    /// Place in percent of the width, and number.
    pub ticks: Vec<(String, String)>,
    /// Place of the student's own column, percent of the width, and the height of its mark.
    pub own: (String, String),
    /// What the numbers are.
    pub unit: &'static str,
}

pub struct ColumnView {
    /// Left edge and width, percent.
    pub left: String,
    pub width: String,
    /// Upper edge and height, px.
    pub top: String,
    pub height: String,
    pub range: String,
    pub count: usize,
    /// The student's own is in it.
    pub own: bool,
}

/// The picture of a class.
pub fn picture(view: &ClassView, language: Language) -> ClassPicture {
    let number = |value: f64| language.number(number(value));
    let (low, high, step, clipped) = scale(view);
    let count = ((high - low) / step).round().max(1.0) as usize;
    let place = |value: f64| (((value - low) / step).floor().max(0.0) as usize).min(count - 1);
    let mut counts = vec![0_usize; count];
    for value in &view.all {
        if let Some(count) = counts.get_mut(place(*value)) {
            *count = count.saturating_add(1);
        }
    }
    let own = place(view.own);
    let tallest = counts.iter().copied().max().unwrap_or(1).max(1) as f64;
    let width = 100.0 / count as f64;
    let height = |n: usize| TALLEST * n as f64 / tallest;
    let edge = |index: usize| low + step * index as f64;
    let columns = counts.iter().enumerate().map(|(index, n)| ColumnView {
        left: figure(width * index as f64),
        width: figure(width),
        top: figure(GROUND - height(*n)),
        height: figure(height(*n)),
        range: match index {
            0 if clipped => language.tell("class.below", &[("edge", &number(edge(1)))]),
            last if clipped && last == count - 1 => {
                language.tell("class.above", &[("edge", &number(edge(last)))])
            }
            _ => language.tell(
                "class.range",
                &[
                    ("from", &number(edge(index))),
                    ("to", &number(edge(index + 1))),
                ],
            ),
        },
        count: *n,
        own: index == own,
    });
    let every = count.div_ceil(5).max(1);
    let inner = (0..=count).filter(|index| index % every == 0 && *index > 0 && *index < count);
    let ticks = inner
        .map(|index| (figure(width * index as f64), number(edge(index))))
        .collect();
    ClassPicture {
        title: match view.of {
            ClassNumber::Off => language.text("class.off"),
            ClassNumber::Points { .. } => language.text("class.points"),
        },
        words: language.say(&words(view)),
        columns: columns.collect(),
        ticks,
        own: (
            figure(width * (own as f64 + 0.5)),
            figure(GROUND - height(counts[own]) - 8.0),
        ),
        unit: match view.of {
            ClassNumber::Off => "%",
            ClassNumber::Points { .. } => language.text("class.unit-points"),
        },
    }
}

/// Lowest and highest number of the picture, width of a column, and whether the outer columns hold all beyond.
fn scale(view: &ClassView) -> (f64, f64, f64, bool) {
    match view.of {
        ClassNumber::Points { possible } => {
            let low = view.all.first().copied().unwrap_or(0.0).min(0.0).floor();
            let step = nice((possible - low).max(1.0) / COLUMNS);
            // the best mark has a column to stand in
            let high = low + step * ((possible - low) / step + 1e-9).floor() + step;
            (low, high, step, false)
        }
        ClassNumber::Off => {
            // the middle 90 % fill the picture
            let at = |share: f64| {
                let last = view.all.len().saturating_sub(1) as f64;
                let index = (share * last).round() as usize;
                view.all.get(index).map_or(0.0, |value| value.abs())
            };
            let reach = at(0.05).max(at(0.95)).max(0.1) * 1.2;
            let step = nice(2.0 * reach / COLUMNS);
            let half = (reach / step).ceil() * step;
            (-half, half, step, true)
        }
    }
}

/// The next of 1, 2 and 5 times a power of ten.
fn nice(step: f64) -> f64 {
    let power = 10_f64.powf(step.log10().floor());
    let digit = step / power;
    let digit = [1.0, 2.0, 5.0].into_iter().find(|d| *d >= digit - 1e-9);
    digit.unwrap_or(10.0) * power
}

/// The picture in words.
fn words(view: &ClassView) -> Message {
    let (n, median) = (view.all.len(), middle(&view.all));
    let own = digits(number(view.own));
    let median_shown = digits(number(median));
    match view.of {
        ClassNumber::Off => {
            let closer = view.all.iter().filter(|v| v.abs() < view.own.abs()).count();
            let closer = match closer {
                0 => message!("class.closer-none"),
                some => message!("class.closer", n = some),
            };
            message!(
                "class.off-words",
                n = n,
                median = median_shown,
                own = own,
                closer = closer
            )
        }
        ClassNumber::Points { possible } => {
            let above = view.all.iter().filter(|v| **v > view.own).count();
            let more = match above {
                0 => message!("class.more-none"),
                some => message!("class.more", n = some),
            };
            let said = match median >= possible {
                true => message!("class.full-half"),
                false => message!("class.half-above", median = median_shown),
            };
            said.with("n", n).with("own", own).with("more", more)
        }
    }
}

fn middle(sorted: &[f64]) -> f64 {
    let at = |index: usize| sorted.get(index).copied().unwrap_or(0.0);
    let half = sorted.len() / 2;
    if sorted.len().is_multiple_of(2) {
        f64::midpoint(at(half.saturating_sub(1)), at(half))
    } else {
        at(half)
    }
}

/// A number of the picture for people: three figures at most, with a true minus.
fn number(value: f64) -> String {
    if value.abs() < 1e-9 {
        return "0".to_owned();
    }
    let text = from_f64(value.abs(), 3).map(plain).unwrap_or_default();
    let sign = if value < 0.0 { "\u{2212}" } else { "" };
    format!("{sign}{text}")
}

/// A length for SVG.
fn figure(value: f64) -> String {
    format!("{value:.2}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everybody_stands_in_one_column_and_the_own_one_is_marked() {
        let mut all: Vec<f64> = (0..40).map(|n| f64::from(n) * 0.3 - 5.0).collect();
        all.push(30.0);
        let view = ClassView {
            of: ClassNumber::Off,
            own: all[3],
            all,
        };
        let shown = picture(&view, Language::English);
        let counted: usize = shown.columns.iter().map(|c| c.count).sum();
        assert_eq!(counted, 41);
        assert_eq!(shown.columns.iter().filter(|c| c.own).count(), 1);
        assert!(shown.columns[0].range.starts_with("below \u{2212}"));
        assert!(
            shown
                .words
                .contains("Yours is \u{2212}4.1 % off; 27 are closer"),
            "{}",
            shown.words
        );
    }

    #[test]
    fn the_best_mark_has_its_column() {
        let mut all: Vec<f64> = (0..12).map(f64::from).collect();
        all.push(22.0);
        let view = ClassView {
            of: ClassNumber::Points { possible: 22.0 },
            own: 22.0,
            all,
        };
        let shown = picture(&view, Language::English);
        assert!(shown.columns.last().expect("a column").own);
        assert!(
            shown.words.contains("You have 22; nobody has more"),
            "{}",
            shown.words
        );
    }
}
