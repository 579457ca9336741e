//! Marks of an experiment as histograms: the course, and section by section.

use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::measure::{as_f64, from_f64, plain};
use crate::term::Slot;
use crate::words::counted;

/// Columns of a histogram: tenths of the points there are.
const COLUMNS: usize = 10;

/// The marks of some students.
pub struct Marks {
    /// Whose: a section, or the course.
    pub name: String,
    pub n: usize,
    pub mean: String,
    /// Half of them are at least this.
    pub median: String,
    /// The picture in words.
    pub words: String,
    pub counts: [usize; COLUMNS],
    /// Left edge, width, upper edge and height of each column, percent.
    pub columns: Vec<[String; 4]>,
    /// Where the mean stands, percent of the width.
    pub mean_at: String,
}

/// Histograms of one experiment.
pub struct Histograms {
    pub all: Marks,
    /// Of each section with marks.
    pub sections: Vec<Marks>,
    /// What the columns are, in points.
    pub ranges: Vec<String>,
    pub possible: String,
}

/// The histograms of an experiment; none while nobody has marks. Students who have left are not counted.
pub fn histograms(image: &Image, key: &ExperimentKey) -> Option<Histograms> {
    let term = &image.term;
    let experiment = term.experiment(key)?;
    let possible = as_f64(experiment.procedure.marking.possible());
    let of = |section: Option<&str>| {
        let students = term.enrolled();
        let students = students.filter(|s| section.is_none_or(|name| s.section == name));
        let mark = |id: &StudentId| {
            let judged = image.judged.get(&Slot::new(key, id))?;
            Some(as_f64(judged.evaluation.marks.total))
        };
        let all: Vec<f64> = students.filter_map(|s| mark(&s.id)).collect();
        marks(section.unwrap_or("All sections"), all, possible)
    };
    let edge = |index: usize| number(possible * index as f64 / COLUMNS as f64);
    Some(Histograms {
        all: of(None)?,
        sections: term
            .sections()
            .into_iter()
            .filter_map(|name| of(Some(name)))
            .collect(),
        ranges: (0..COLUMNS)
            .map(|index| format!("{} to {}", edge(index), edge(index + 1)))
            .collect(),
        possible: number(possible),
    })
}

fn marks(name: &str, mut all: Vec<f64>, possible: f64) -> Option<Marks> {
    if all.is_empty() || possible <= 0.0 {
        return None;
    }
    all.sort_by(f64::total_cmp);
    let mut counts = [0_usize; COLUMNS];
    for mark in &all {
        // the full mark belongs to the last column
        let place = (mark / possible * COLUMNS as f64).floor().max(0.0) as usize;
        if let Some(count) = counts.get_mut(place.min(COLUMNS - 1)) {
            *count = count.saturating_add(1);
        }
    }
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    let at = |index: usize| all.get(index).copied().unwrap_or_default();
    let half = all.len() / 2;
    let median = match all.len().is_multiple_of(2) {
        true => f64::midpoint(at(half.saturating_sub(1)), at(half)),
        false => at(half),
    };
    let (mean_words, median) = (number(mean), number(median));
    Some(Marks {
        words: format!(
            "{name}: {}, from {} to {} of {}; mean {mean_words}, median {median}.",
            counted(all.len(), "mark", "marks"),
            number(at(0)),
            number(at(all.len() - 1)),
            counted(number(possible), "point", "points")
        ),
        name: name.to_owned(),
        n: all.len(),
        mean: mean_words,
        median,
        columns: columns(&counts),
        counts,
        mean_at: figure((100.0 * mean / possible).clamp(0.0, 100.0)),
    })
}

/// Columns side by side with a gap between them, the tallest as high as the picture.
fn columns(counts: &[usize; COLUMNS]) -> Vec<[String; 4]> {
    let tallest = counts.iter().copied().max().unwrap_or(1).max(1) as f64;
    let width = 100.0 / COLUMNS as f64;
    let one = |(index, count): (usize, &usize)| {
        let height = 100.0 * *count as f64 / tallest;
        [
            width * index as f64 + 0.5,
            width - 1.0,
            100.0 - height,
            height,
        ]
        .map(figure)
    };
    counts.iter().enumerate().map(one).collect()
}

fn number(value: f64) -> String {
    from_f64(value, 3).map(plain).unwrap_or_default()
}

/// A length for SVG.
fn figure(value: f64) -> String {
    format!("{value:.2}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mark_stands_in_one_column() {
        let marks = marks("A", vec![20.0, 0.0, -1.0, 10.0, 19.99], 20.0).expect("has marks");
        assert_eq!(marks.counts, [2, 0, 0, 0, 0, 1, 0, 0, 0, 2]);
        assert_eq!((marks.mean.as_str(), marks.median.as_str()), ("9.8", "10"));
        assert_eq!(marks.columns[5][3], "50.00");
        assert!(
            marks
                .words
                .contains("A: 5 marks, from -1 to 20 of 20 points"),
            "{}",
            marks.words
        );
    }

    #[test]
    fn nothing_is_drawn_of_nothing() {
        assert!(marks("A", Vec::new(), 20.0).is_none());
        assert!(marks("A", vec![0.0], 0.0).is_none());
    }
}
