//! Readings as they were written, with the volumes they deliver: what a student sees before release.

use rust_decimal::Decimal;

use super::entry::trial_words;
use crate::columns::Column;
use crate::course::Experiment;
use crate::desk::Image;
use crate::language::{Language, message, number};
use crate::measure::{Glassware, from_f64, plain, to_decimals};
use crate::procedure::{Procedure, SampleBy};
use crate::stats::Replicates;
use crate::submission::{Delivery, HandIn, Titration};
use crate::term::Slot;
use crate::workup::{StepId, TrialOutcome, WorkUp, work_up_readings};

/// A table of readings as they were written.
pub struct ReadingsTable {
    /// Columns after the first, which says which titration it is.
    pub heads: Vec<Head>,
    pub rows: Vec<TrialRow>,
}

/// Head of a column of readings.
pub struct Head {
    /// In a word or two.
    pub words: String,
    /// Unit; empty for absorbance.
    pub unit: &'static str,
}

/// One row in a table of readings.
pub struct TrialRow {
    /// What people call it.
    pub title: String,
    /// A cell per head, a line per filling of the burette; no line where nothing was read.
    pub cells: Vec<Vec<String>>,
}

/// Spread of what the trials that count delivered: mL, or mL per gram where samples are weighed.
pub struct VolumeSpread {
    /// `mL` or `mL/g`.
    pub unit: &'static str,
    /// How many trials count.
    pub n: usize,
    /// Whether that is every trial.
    pub all_count: bool,
    pub mean: String,
    pub range: String,
    /// Standard deviation; none for a single trial.
    pub s: Option<String>,
}

/// The readings of a hand-in, with the volumes they deliver.
pub fn readings_table(
    procedure: &Procedure,
    hand_in: &HandIn,
    language: Language,
) -> ReadingsTable {
    table(
        procedure,
        hand_in,
        (&shown(procedure, &[hand_in]), language),
    )
}

/// The same of two, in the same columns, for staff.
pub fn side_by_side(procedure: &Procedure, both: [&HandIn; 2]) -> [ReadingsTable; 2] {
    let columns = shown(procedure, &both);
    both.map(|hand_in| table(procedure, hand_in, (&columns, Language::English)))
}

fn table(
    procedure: &Procedure,
    hand_in: &HandIn,
    (columns, language): (&[Shown], Language),
) -> ReadingsTable {
    let done = work_up_readings(procedure, hand_in);
    let row = |(titration, outcome): (&Titration, &TrialOutcome)| TrialRow {
        title: match &titration.spoiled {
            Some(why) => {
                let trial = trial_words(titration.trial);
                language.say(&message!("trial.spoiled", trial = trial, why = why))
            }
            None => language.say(&trial_words(titration.trial)),
        },
        cells: columns
            .iter()
            .map(|column| match column {
                Shown::Read(column) => column_text(*column, titration),
                Shown::Delivered | Shown::Equivalence => {
                    delivered(procedure, &done, outcome.delivered)
                }
                Shown::SecondDelivered => delivered(procedure, &done, outcome.second),
                Shown::Sample => sample_text(procedure, titration),
            })
            .map(|lines| lines.iter().map(|line| language.number(line)).collect())
            .collect(),
    };
    ReadingsTable {
        heads: columns
            .iter()
            .map(|shown| shown.head(procedure, language))
            .collect(),
        rows: hand_in
            .titrations
            .iter()
            .zip(&done.trials)
            .map(row)
            .collect(),
    }
}

/// A column of the table.
enum Shown {
    Read(Column),
    Delivered,
    SecondDelivered,
    /// Of a curve.
    Equivalence,
    Sample,
}

/// What nobody noted has no column.
fn shown(procedure: &Procedure, hand_ins: &[&HandIn]) -> Vec<Shown> {
    let sample = Column::of_sample(procedure);
    let mut rows = hand_ins.iter().flat_map(|hand_in| &hand_in.titrations);
    let mut noted = |column: Column| rows.any(|row| column.get(row).is_some());
    let mut columns = Vec::new();
    for column in Column::with_notes(procedure, 1) {
        if sample.contains(&column) || column.is_note(procedure) && !noted(column) {
            continue;
        }
        columns.push(Shown::Read(column));
        for (delivery, delivered) in [
            (Delivery::First, Shown::Delivered),
            (Delivery::Second, Shown::SecondDelivered),
        ] {
            if column == Column::piece(delivery, 1).1 {
                columns.push(delivered);
            }
        }
        if column.is_of_curve() && !matches!(column, Column::CurveVolume(_)) {
            columns.push(Shown::Equivalence);
        }
    }
    if !sample.is_empty() {
        columns.push(Shown::Sample);
    }
    columns
}

impl Shown {
    fn head(&self, procedure: &Procedure, language: Language) -> Head {
        let unit = match self {
            Self::Read(column) => column.glassware(procedure).kind().unit(),
            Self::Delivered | Self::SecondDelivered | Self::Equivalence => "mL",
            Self::Sample => procedure.sample.glassware.kind().unit(),
        };
        let words = match self {
            Self::Read(Column::Vessels(n)) => message!("table.vessel", n = *n),
            Self::Read(column) => column.head(),
            Self::Delivered => message!("table.delivered"),
            Self::Equivalence => message!("table.equivalence"),
            Self::SecondDelivered => message!("table.second-delivered"),
            Self::Sample => message!("table.sample"),
        };
        Head {
            words: language.say(&words),
            unit,
        }
    }
}

fn column_text(column: Column, titration: &Titration) -> Vec<String> {
    for delivery in Delivery::ALL {
        let (start, end) = Column::piece(delivery, 1);
        let pieces = titration.pieces(delivery);
        if column == start {
            return pieces.map(|piece| piece.start.to_string()).collect();
        }
        if column == end {
            return pieces.map(|piece| piece.end.to_string()).collect();
        }
    }
    if column.is_of_curve() {
        // one under the other, all points of it
        let points = titration.readings.iter();
        let points = points.filter(|(one, _)| one.head() == column.head());
        return points.map(|(_, reading)| reading.to_string()).collect();
    }
    let reading = column.get(titration);
    reading.map(ToString::to_string).into_iter().collect()
}

fn delivered(procedure: &Procedure, done: &WorkUp, id: Option<StepId>) -> Vec<String> {
    id.map(|id| volume(procedure, done.graph.value(id)))
        .into_iter()
        .collect()
}

/// The spread of what the trials that count delivered; none where none counts, and none for a weighed sample in a back
/// titration, whose volumes need not agree in any simple way.
pub fn volume_spread(
    procedure: &Procedure,
    hand_in: &HandIn,
    work_up: &WorkUp,
) -> Option<VolumeSpread> {
    let weighed = procedure.sample.by != SampleBy::Volume;
    if weighed && procedure.uses_excess_lot() {
        return None;
    }
    let trials = hand_in.titrations.iter().zip(&work_up.trials);
    let counted = trials.filter(|(_, outcome)| outcome.counted);
    let values: Vec<Decimal> = counted
        .filter_map(|(titration, outcome)| {
            let delivered = work_up.graph.value(outcome.delivered?);
            if weighed {
                delivered.checked_div(mass(titration)?)
            } else {
                Some(delivered)
            }
        })
        .collect();
    let spread = Replicates::of(&values).ok()?;
    let decimals = procedure.burette()?.decimals().unwrap_or(2);
    let mean_decimals = if weighed {
        decimals
    } else {
        decimals.saturating_add(1)
    };
    Some(VolumeSpread {
        unit: if weighed { "mL/g" } else { "mL" },
        n: spread.n,
        all_count: hand_in.numbered().count() == spread.n,
        mean: to_decimals(spread.mean, mean_decimals).to_string(),
        range: volume(procedure, spread.range),
        s: spread.s.and_then(|s| from_f64(s, 2)).map(plain),
    })
}

/// The spread as a student may know it: what decisions of staff leave out counts until the results are out.
pub fn spread_for_student(
    view: &Image,
    experiment: &Experiment,
    slot: &Slot,
    hand_in: &HandIn,
) -> Option<VolumeSpread> {
    let procedure = &experiment.procedure;
    let settled = || view.term.with_case(slot, |case| case.work_up());
    let work_up = view.is_released_to(slot).then(settled).flatten();
    let work_up = work_up.unwrap_or_else(|| work_up_readings(procedure, hand_in));
    volume_spread(procedure, hand_in, &work_up)
}

/// Mass of a weighed sample, g.
fn mass(titration: &Titration) -> Option<Decimal> {
    let read = |column: Column| Some(column.get(titration)?.value());
    let difference = || read(Column::SampleBefore)?.checked_sub(read(Column::SampleAfter)?);
    read(Column::SampleMass).or_else(difference)
}

fn volume(procedure: &Procedure, value: Decimal) -> String {
    let decimals = procedure
        .burette()
        .and_then(Glassware::decimals)
        .unwrap_or(2);
    to_decimals(value, decimals).to_string()
}

fn sample_text(procedure: &Procedure, titration: &Titration) -> Vec<String> {
    let readings = Column::of_sample(procedure)
        .iter()
        .filter_map(|column| column.get(titration));
    let text = readings
        .map(|r| r.written().to_owned())
        .collect::<Vec<_>>()
        .join("\u{a0}\u{2192} ");
    Some(text)
        .filter(|text| !text.is_empty())
        .into_iter()
        .collect()
}

/// The bottle and the lots that a hand-in goes by, in a sentence; `issued` is the bottle given to the student.
pub fn bottles_in_words(hand_in: &HandIn, issued: Option<&str>, language: Language) -> String {
    let bottle = match (hand_in.unknown_written(), issued) {
        (Some(written), Some(issued)) if !issued.eq_ignore_ascii_case(written) => Some(message!(
            "table.bottle-other",
            code = written.as_str(),
            issued = issued
        )),
        (Some(written), _) => Some(message!("table.bottle", code = written.as_str())),
        (None, issued) => issued.map(|code| message!("table.bottle-issued", code = code)),
    };
    let distinct = |codes: Vec<&str>| {
        let mut once: Vec<&str> = Vec::new();
        for code in codes {
            if !once.contains(&code) {
                once.push(code);
            }
        }
        once.join(", ")
    };
    let rows = || hand_in.titrations.iter();
    let lots = distinct(rows().filter_map(|row| row.lot.as_deref()).collect());
    let excess = distinct(rows().filter_map(|row| row.excess_lot.as_deref()).collect());
    let lots = (!lots.is_empty()).then(|| message!("table.titrant-lot", lots = lots));
    let excess = (!excess.is_empty()).then(|| message!("table.excess-lot", lots = excess));
    let parts = [bottle, lots, excess].into_iter().flatten();
    let parts: Vec<String> = parts.map(|part| language.say(&part)).collect();
    match parts.is_empty() {
        true => String::new(),
        false => format!("{}.", parts.join("; ")),
    }
}

impl VolumeSpread {
    /// In a sentence.
    pub fn words(&self, language: Language) -> String {
        let mean = message!(
            "table.mean-unit",
            mean = number(&self.mean),
            unit = self.unit
        );
        let sentence = match (self.n, self.all_count, &self.s) {
            (1, true, _) => message!("table.one-all"),
            (1, false, _) => message!("table.one-counts"),
            (_, true, None) => message!("table.mean-all"),
            (_, false, None) => message!("table.mean-counts"),
            (_, true, Some(s)) => message!("table.mean-s-all", s = number(s)),
            (_, false, Some(s)) => message!("table.mean-s-counts", s = number(s)),
        };
        let mean = match self.unit {
            "mL/g" => message!("table.of-sample", mean = mean),
            _ => mean,
        };
        let sentence = sentence
            .with("n", self.n)
            .with("range", number(&self.range));
        language.say(&sentence.with("mean", mean).with("unit", self.unit))
    }
}
