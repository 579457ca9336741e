//! Readings that two students share, side by side.

use super::{Found, address};
use crate::desk::Image;
use crate::ids::StudentId;
use crate::judge::{FlagCode, Likeness};
use crate::measure::plain;
use crate::submission::TrialLabel;
use crate::term::Slot;
use crate::web::student::record::{Head, ReadingsTable, side_by_side};

/// The readings of a submission beside another's that share them.
pub struct Beside {
    /// The others: name, and address of their submission.
    pub others: Vec<(String, String)>,
    /// How they are laid beside each other, in a sentence; empty as they stand.
    pub how: String,
    pub heads: Vec<Head>,
    /// Trial by trial.
    pub rows: Vec<Line>,
}

/// A trial beside the other's.
pub struct Line {
    /// What people call it.
    pub title: String,
    /// What the other calls it, if something else.
    pub other: Option<String>,
    /// A cell per head.
    pub cells: Vec<Cell>,
}

/// One reading of each.
pub struct Cell {
    pub own: String,
    /// The other's, if it is not the same.
    pub other: Option<String>,
}

/// Those whose readings the submission shares, where it is flagged for that.
pub fn beside(view: &Image, slot: &Slot, found: &Found) -> Vec<Beside> {
    let evaluation = &found.judged.evaluation;
    if !evaluation
        .flags
        .iter()
        .any(|flag| flag.code == FlagCode::Alike)
    {
        return Vec::new();
    }
    let alike = evaluation.class.likenesses.iter();
    alike
        .filter_map(|likeness| one(view, slot, found, likeness))
        .collect()
}

fn one(view: &Image, slot: &Slot, found: &Found, likeness: &Likeness) -> Option<Beside> {
    let other = Slot::new(
        &slot.experiment,
        &StudentId::new(likeness.others.first()?.as_str()),
    );
    let (_, revisions) = view.term.handed_in_by(&other)?;
    let procedure = &found.experiment.procedure;
    let own = &found.revisions.last()?.hand_in;
    let theirs = &revisions.last()?.hand_in;
    let [mine, others] = side_by_side(procedure, [own, theirs]);
    let place = |hand_in: &crate::submission::HandIn, trial: TrialLabel| {
        hand_in.titrations.iter().position(|row| row.trial == trial)
    };
    let rows = likeness.rows.iter().filter_map(|(of_own, of_other)| {
        let (a, b) = (place(own, *of_own)?, place(theirs, *of_other)?);
        line((&mine, a), (&others, b))
    });
    let rows = rows.collect();
    let name = |id: &String| {
        let named = view.term.student(id).map(ToString::to_string);
        let slot = Slot::new(&slot.experiment, &StudentId::new(id.as_str()));
        (named.unwrap_or_else(|| id.clone()), address(&slot))
    };
    Some(Beside {
        others: likeness.others.iter().map(name).collect(),
        how: how(likeness),
        heads: mine.heads,
        rows,
    })
}

fn line(own: (&ReadingsTable, usize), other: (&ReadingsTable, usize)) -> Option<Line> {
    let (own, other) = (own.0.rows.get(own.1)?, other.0.rows.get(other.1)?);
    let cell = |(own, other): (&Vec<String>, &Vec<String>)| {
        let text = |lines: &Vec<String>| match lines.is_empty() {
            true => "–".to_owned(),
            false => lines.join(", "),
        };
        Cell {
            own: text(own),
            other: (own != other).then(|| text(other)),
        }
    };
    Some(Line {
        title: own.title.clone(),
        other: (own.title != other.title).then(|| other.title.clone()),
        cells: own.cells.iter().zip(&other.cells).map(cell).collect(),
    })
}

fn how(likeness: &Likeness) -> String {
    let mut words = Vec::new();
    if likeness.is_reordered() {
        words.push("The trials are in another order.".to_owned());
    }
    if !likeness.shift.is_zero() {
        let way = if likeness.shift.is_sign_positive() {
            "higher"
        } else {
            "lower"
        };
        words.push(format!(
            "All burette readings are {} mL {way} than the other\u{2019}s.",
            plain(likeness.shift.abs())
        ));
    }
    words.join(" ")
}
