//! The reading columns of a procedure: one list for files, forms, marks and questions.

use std::fmt;

use crate::measure::{Glassware, Reading};
use crate::procedure::{Procedure, SampleBy};
use crate::submission::{Piece, SampleReadings, Titration, TrialLabel};

/// One reading of a titration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Column {
    /// Start of the n-th filling, from 1.
    BuretteStart(usize),
    /// End of the n-th filling, from 1.
    BuretteEnd(usize),
    /// Sample in graduated glassware.
    SampleVolume,
    /// Sample on a tared balance.
    SampleMass,
    /// Weighing bottle before.
    SampleBefore,
    /// Weighing bottle after.
    SampleAfter,
}

/// Most fillings of the burette in one titration.
pub const MAX_FILLINGS: usize = 9;

impl Column {
    /// The columns of a procedure with so many fillings of the burette.
    #[must_use]
    pub fn of(procedure: &Procedure, fillings: usize) -> Vec<Self> {
        let burette =
            (1..=fillings.max(1)).flat_map(|n| [Self::BuretteStart(n), Self::BuretteEnd(n)]);
        burette.chain(Self::of_sample(procedure)).collect()
    }

    /// The columns in which a procedure's sample is read.
    #[must_use]
    pub fn of_sample(procedure: &Procedure) -> Vec<Self> {
        match procedure.sample.by {
            SampleBy::Volume if procedure.reads_sample_volume() => vec![Self::SampleVolume],
            SampleBy::Volume => vec![],
            SampleBy::Mass => vec![Self::SampleMass],
            SampleBy::MassDifference => vec![Self::SampleBefore, Self::SampleAfter],
        }
    }

    /// The column of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        let all = (1..=MAX_FILLINGS).flat_map(|n| [Self::BuretteStart(n), Self::BuretteEnd(n)]);
        all.chain([
            Self::SampleVolume,
            Self::SampleMass,
            Self::SampleBefore,
            Self::SampleAfter,
        ])
        .find(|column| column.to_string() == name)
    }

    /// For people, with the unit.
    #[must_use]
    pub fn label(self) -> String {
        match self {
            Self::BuretteStart(1) => "Burette start (mL)".into(),
            Self::BuretteEnd(1) => "Burette end (mL)".into(),
            Self::BuretteStart(n) => format!("Burette start, filling {n} (mL)"),
            Self::BuretteEnd(n) => format!("Burette end, filling {n} (mL)"),
            Self::SampleVolume => "Sample volume (mL)".into(),
            Self::SampleMass => "Sample mass (g)".into(),
            Self::SampleBefore => "Mass before (g)".into(),
            Self::SampleAfter => "Mass after (g)".into(),
        }
    }

    /// What it is read from.
    #[must_use]
    pub fn glassware(self, procedure: &Procedure) -> &Glassware {
        match self {
            Self::BuretteStart(_) | Self::BuretteEnd(_) => &procedure.titrant.burette,
            _ => &procedure.sample.glassware,
        }
    }

    /// The reading of a titration, if it is there.
    #[must_use]
    pub fn get(self, titration: &Titration) -> Option<&Reading> {
        let piece = |n: usize| titration.burette.get(n.saturating_sub(1));
        match self {
            Self::BuretteStart(n) => piece(n).map(|p| &p.start),
            Self::BuretteEnd(n) => piece(n).map(|p| &p.end),
            Self::SampleVolume => titration.sample.volume.as_ref(),
            Self::SampleMass => titration.sample.mass.as_ref(),
            Self::SampleBefore => titration.sample.before.as_ref(),
            Self::SampleAfter => titration.sample.after.as_ref(),
        }
    }
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BuretteStart(1) => f.write_str("burette_start_mL"),
            Self::BuretteEnd(1) => f.write_str("burette_end_mL"),
            Self::BuretteStart(n) => write!(f, "burette_start_{n}_mL"),
            Self::BuretteEnd(n) => write!(f, "burette_end_{n}_mL"),
            Self::SampleVolume => f.write_str("sample_mL"),
            Self::SampleMass => f.write_str("sample_g"),
            Self::SampleBefore => f.write_str("sample_before_g"),
            Self::SampleAfter => f.write_str("sample_after_g"),
        }
    }
}

/// Cells at fault, each with what was found and what was expected.
pub type CellFaults = Vec<(Column, String)>;

/// The raw cells of one titration, by column, as somebody wrote them.
pub type Cells = std::collections::BTreeMap<Column, String>;

/// Reads the cells of one titration into burette pieces and sample readings.
///
/// # Errors
/// [`CellFaults`] names every cell at fault.
pub fn read_cells(
    procedure: &Procedure,
    trial: TrialLabel,
    cells: &Cells,
) -> Result<(Vec<Piece>, SampleReadings), CellFaults> {
    let mut faults = Vec::new();
    let mut read = |column: Column, required: bool| -> Option<Reading> {
        let text = cells.get(&column).map_or("", String::as_str);
        if text.trim().is_empty() {
            if required {
                let decimals = column.glassware(procedure).decimals().unwrap_or(0);
                let unit = column.glassware(procedure).kind().unit();
                faults.push((
                    column,
                    format!("found nothing, expected a reading in {unit} with {decimals} decimals"),
                ));
            }
            return None;
        }
        Reading::parse(text)
            .map_err(|why| faults.push((column, why.to_string())))
            .ok()
    };
    let mut burette = Vec::new();
    for n in 1..=MAX_FILLINGS {
        let (start, end) = (Column::BuretteStart(n), Column::BuretteEnd(n));
        let there = |c: &Column| cells.get(c).is_some_and(|text| !text.trim().is_empty());
        if n > 1 && !there(&start) && !there(&end) {
            continue;
        }
        if let (Some(start), Some(end)) = (read(start, true), read(end, true)) {
            burette.push(Piece { start, end });
        }
    }
    // a blank has no sample; a rough trial need not have its sample measured
    let required = trial.number().is_some();
    let mut sample = SampleReadings::default();
    for column in Column::of_sample(procedure) {
        let reading = read(column, required);
        match column {
            Column::SampleVolume => sample.volume = reading,
            Column::SampleMass => sample.mass = reading,
            Column::SampleBefore => sample.before = reading,
            _ => sample.after = reading,
        }
    }
    if faults.is_empty() {
        Ok((burette, sample))
    } else {
        Err(faults)
    }
}
