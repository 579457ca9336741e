//! The reading columns of a procedure: one list for files, forms, marks and questions.

use std::fmt;

use crate::measure::{Glassware, Reading};
use crate::procedure::{Method, Portion, Procedure, SampleBy};
use crate::submission::{OtherReadings, Piece, SampleReadings, Titration, TrialLabel};
use crate::words::counted;

/// One reading of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Column {
    /// Start of the n-th filling, from 1.
    BuretteStart(usize),
    /// Burette at the first of two endpoints.
    FirstEndpoint,
    /// End of the n-th filling, from 1.
    BuretteEnd(usize),
    /// Start of the n-th filling for another portion, from 1.
    SecondStart(usize),
    /// End of the n-th filling for another portion, from 1.
    SecondEnd(usize),
    Crucible,
    CrucibleFull,
    Vessel,
    /// Vessel full of water.
    VesselWater,
    /// Vessel full of the liquid.
    VesselFull,
    Absorbance,
    /// Sample in graduated glassware.
    SampleVolume,
    /// Sample on a tared balance.
    SampleMass,
    SampleBefore,
    SampleAfter,
}

/// Most fillings of the burette in one titration.
pub const MAX_FILLINGS: usize = 9;

impl Column {
    /// The columns of a procedure with so many fillings of the burette.
    pub fn of(procedure: &Procedure, fillings: usize) -> Vec<Self> {
        let measured = Self::of_measured(procedure, fillings);
        measured
            .into_iter()
            .chain(Self::of_sample(procedure))
            .collect()
    }

    /// The columns of one row: a blank and a standard have no sample.
    pub fn of_row(procedure: &Procedure, trial: TrialLabel, fillings: usize) -> Vec<Self> {
        if matches!(trial, TrialLabel::Blank | TrialLabel::Standard(_)) {
            Self::of_measured(procedure, fillings)
        } else {
            Self::of(procedure, fillings)
        }
    }

    /// The columns in which what the scheme measures is read.
    fn of_measured(procedure: &Procedure, fillings: usize) -> Vec<Self> {
        let burette =
            (1..=fillings.max(1)).flat_map(|n| [Self::BuretteStart(n), Self::BuretteEnd(n)]);
        match procedure.method() {
            Method::Direct { .. } | Method::Back { .. } | Method::Standardisation { .. } => {
                burette.collect()
            }
            Method::TwoEndpoint {
                portion: Portion::Same,
                ..
            } => {
                let mut columns: Vec<Self> = burette.collect();
                columns.insert(1, Self::FirstEndpoint);
                columns
            }
            Method::TwoEndpoint {
                portion: Portion::Another,
                ..
            } => {
                let second =
                    (1..=fillings.max(1)).flat_map(|n| [Self::SecondStart(n), Self::SecondEnd(n)]);
                burette.chain(second).collect()
            }
            Method::Gravimetric { .. } => vec![Self::Crucible, Self::CrucibleFull],
            Method::Density(vessel) if vessel.water.is_some() => {
                vec![Self::Vessel, Self::VesselWater, Self::VesselFull]
            }
            Method::Density(_) => vec![Self::Vessel, Self::VesselFull],
            Method::CalibrationLine { .. } => vec![Self::Absorbance],
        }
    }

    /// The columns in which a procedure's sample is read.
    pub fn of_sample(procedure: &Procedure) -> Vec<Self> {
        match procedure.sample.by {
            SampleBy::Volume if procedure.reads_sample_volume() => vec![Self::SampleVolume],
            SampleBy::Volume => vec![],
            SampleBy::Mass => vec![Self::SampleMass],
            SampleBy::MassDifference => vec![Self::SampleBefore, Self::SampleAfter],
        }
    }

    /// Whether it belongs to a second or later filling of the burette, which few titrations have.
    pub fn is_of_refill(self) -> bool {
        let (Self::BuretteStart(n)
        | Self::BuretteEnd(n)
        | Self::SecondStart(n)
        | Self::SecondEnd(n)) = self
        else {
            return false;
        };
        n > 1
    }

    /// The column of the end that belongs to a start.
    pub fn end(self) -> Option<Self> {
        match self {
            Self::BuretteStart(n) => Some(Self::BuretteEnd(n)),
            Self::SecondStart(n) => Some(Self::SecondEnd(n)),
            _ => None,
        }
    }

    /// The column of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        let fillings = (1..=MAX_FILLINGS).flat_map(|n| {
            [
                Self::BuretteStart(n),
                Self::BuretteEnd(n),
                Self::SecondStart(n),
                Self::SecondEnd(n),
            ]
        });
        fillings
            .chain([
                Self::FirstEndpoint,
                Self::Crucible,
                Self::CrucibleFull,
                Self::Vessel,
                Self::VesselWater,
                Self::VesselFull,
                Self::Absorbance,
                Self::SampleVolume,
                Self::SampleMass,
                Self::SampleBefore,
                Self::SampleAfter,
            ])
            .find(|column| column.to_string() == name)
    }

    /// For people, with the unit.
    pub fn label(self) -> String {
        match self {
            Self::BuretteStart(1) => "Burette start (mL)".into(),
            Self::BuretteEnd(1) => "Burette end (mL)".into(),
            Self::BuretteStart(n) => format!("Burette start, filling {n} (mL)"),
            Self::BuretteEnd(n) => format!("Burette end, filling {n} (mL)"),
            Self::FirstEndpoint => "Burette at the first endpoint (mL)".into(),
            Self::SecondStart(1) => "Second titration, start (mL)".into(),
            Self::SecondEnd(1) => "Second titration, end (mL)".into(),
            Self::SecondStart(n) => format!("Second titration, start, filling {n} (mL)"),
            Self::SecondEnd(n) => format!("Second titration, end, filling {n} (mL)"),
            Self::Crucible => "Crucible, empty (g)".into(),
            Self::CrucibleFull => "Crucible with precipitate (g)".into(),
            Self::Vessel => "Vessel, empty (g)".into(),
            Self::VesselWater => "Vessel with water (g)".into(),
            Self::VesselFull => "Vessel with the liquid (g)".into(),
            Self::Absorbance => "Absorbance".into(),
            Self::SampleVolume => "Sample volume (mL)".into(),
            Self::SampleMass => "Sample mass (g)".into(),
            Self::SampleBefore => "Mass before (g)".into(),
            Self::SampleAfter => "Mass after (g)".into(),
        }
    }

    /// What it is read from.
    pub fn glassware(self, procedure: &Procedure) -> &Glassware {
        let sample = &procedure.sample.glassware;
        match self {
            Self::SampleVolume | Self::SampleMass | Self::SampleBefore | Self::SampleAfter => {
                sample
            }
            _ => match procedure.method() {
                Method::Direct { titrant, .. }
                | Method::Back { titrant, .. }
                | Method::Standardisation { titrant, .. }
                | Method::TwoEndpoint { titrant, .. } => &titrant.burette,
                Method::Gravimetric { precipitate, .. } => &precipitate.balance,
                Method::Density(vessel) => &vessel.balance,
                Method::CalibrationLine { calibration, .. } => &calibration.instrument,
            },
        }
    }

    /// The reading of a row, if it is there.
    pub fn get(self, row: &Titration) -> Option<&Reading> {
        let piece = |n: usize| row.burette.get(n.saturating_sub(1));
        let second = |n: usize| row.other.second.get(n.saturating_sub(1));
        match self {
            Self::BuretteStart(n) => piece(n).map(|p| &p.start),
            Self::BuretteEnd(n) => piece(n).map(|p| &p.end),
            Self::SecondStart(n) => second(n).map(|p| &p.start),
            Self::SecondEnd(n) => second(n).map(|p| &p.end),
            Self::FirstEndpoint => row.other.first_endpoint.as_ref(),
            Self::Crucible | Self::Vessel => row.other.empty.as_ref(),
            Self::CrucibleFull | Self::VesselFull => row.other.full.as_ref(),
            Self::VesselWater => row.other.water.as_ref(),
            Self::Absorbance => row.other.absorbance.as_ref(),
            Self::SampleVolume => row.sample.volume.as_ref(),
            Self::SampleMass => row.sample.mass.as_ref(),
            Self::SampleBefore => row.sample.before.as_ref(),
            Self::SampleAfter => row.sample.after.as_ref(),
        }
    }
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::BuretteStart(1) => "burette_start_mL",
            Self::BuretteEnd(1) => "burette_end_mL",
            Self::BuretteStart(n) => return write!(f, "burette_start_{n}_mL"),
            Self::BuretteEnd(n) => return write!(f, "burette_end_{n}_mL"),
            Self::FirstEndpoint => "burette_first_endpoint_mL",
            Self::SecondStart(1) => "second_start_mL",
            Self::SecondEnd(1) => "second_end_mL",
            Self::SecondStart(n) => return write!(f, "second_start_{n}_mL"),
            Self::SecondEnd(n) => return write!(f, "second_end_{n}_mL"),
            Self::Crucible => "crucible_g",
            Self::CrucibleFull => "crucible_and_precipitate_g",
            Self::Vessel => "vessel_g",
            Self::VesselWater => "vessel_and_water_g",
            Self::VesselFull => "vessel_and_liquid_g",
            Self::Absorbance => "absorbance",
            Self::SampleVolume => "sample_mL",
            Self::SampleMass => "sample_g",
            Self::SampleBefore => "sample_before_g",
            Self::SampleAfter => "sample_after_g",
        })
    }
}

/// Cells at fault, each with what was found and what was expected.
pub type CellFaults = Vec<(Column, String)>;

/// The raw cells of one row, by column, as somebody wrote them.
pub type Cells = std::collections::BTreeMap<Column, String>;

/// The readings of one row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RowReadings {
    pub burette: Vec<Piece>,
    pub sample: SampleReadings,
    /// What other schemes read.
    pub other: OtherReadings,
}

/// Reads the cells of one row.
pub fn read_cells(
    procedure: &Procedure,
    trial: TrialLabel,
    cells: &Cells,
) -> Result<RowReadings, CellFaults> {
    let mut faults = Vec::new();
    let mut read = |column: Column, required: bool| -> Option<Reading> {
        let text = cells.get(&column).map_or("", String::as_str);
        if text.trim().is_empty() {
            if required {
                faults.push((column, nothing(procedure, column)));
            }
            return None;
        }
        Reading::parse(text)
            .map_err(|why| faults.push((column, why.to_string())))
            .ok()
    };
    let there = |c: Column| cells.get(&c).is_some_and(|text| !text.trim().is_empty());
    let mut found = RowReadings::default();
    // a rough trial need not have its sample measured
    let sample_needed = trial.number().is_some();
    for column in Column::of(procedure, MAX_FILLINGS) {
        // read beside its start
        if matches!(column, Column::BuretteEnd(_) | Column::SecondEnd(_)) {
            continue;
        }
        if let Some(end) = column.end() {
            if column.is_of_refill() && !there(column) && !there(end) {
                continue;
            }
            if let (Some(start), Some(end)) = (read(column, true), read(end, true)) {
                let pieces = match column {
                    Column::SecondStart(_) => &mut found.other.second,
                    _ => &mut found.burette,
                };
                pieces.push(Piece { start, end });
            }
            continue;
        }
        let (place, required) = match column {
            Column::SampleVolume => (&mut found.sample.volume, sample_needed),
            Column::SampleMass => (&mut found.sample.mass, sample_needed),
            Column::SampleBefore => (&mut found.sample.before, sample_needed),
            Column::SampleAfter => (&mut found.sample.after, sample_needed),
            Column::FirstEndpoint => (&mut found.other.first_endpoint, true),
            Column::Crucible | Column::Vessel => (&mut found.other.empty, true),
            Column::CrucibleFull | Column::VesselFull => (&mut found.other.full, true),
            Column::VesselWater => (&mut found.other.water, true),
            _ => (&mut found.other.absorbance, true),
        };
        *place = read(column, required);
    }
    if faults.is_empty() {
        Ok(found)
    } else {
        Err(faults)
    }
}

fn nothing(procedure: &Procedure, column: Column) -> String {
    let piece = column.glassware(procedure);
    let decimals = counted(piece.decimals().unwrap_or(0), "decimal", "decimals");
    match piece.kind().unit() {
        "" => format!("found nothing, expected a reading with {decimals}"),
        unit => format!("found nothing, expected a reading in {unit} with {decimals}"),
    }
}
