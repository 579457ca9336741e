//! The reading columns of a procedure: one table for files, forms, marks and questions.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::language::{Message, message};
use crate::measure::{Glassware, Reading, ReadingError};
use crate::procedure::{Procedure, SampleBy};
use crate::submission::{Delivery, Readings, Titration, TrialLabel};

/// Most fillings of the burette in one titration.
pub const MAX_FILLINGS: usize = 9;
/// Most points of a titration curve.
pub const MAX_POINTS: usize = 150;

/// What is said of a column, but for the filling.
struct Said {
    /// Its name in files, but for the unit.
    name: &'static str,
    /// Empty for an absorbance and a pH.
    unit: &'static str,
    /// Which filling of the burette, or point of a curve, from 1; 0 of what there is once.
    filling: usize,
}

macro_rules! columns {
    (
        by filling { $($(#[$of:meta])* $filled:ident: $fname:literal, $funit:literal;)* }
        once { $($(#[$doc:meta])* $once:ident: $name:literal, $unit:literal;)* }
    ) => {
        /// One reading of a row.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub enum Column {
            $($(#[$of])* $filled(usize),)*
            $($(#[$doc])* $once,)*
        }

        impl Column {
            /// Every column there is once, and those of that filling or point.
            fn with_number(n: usize) -> impl Iterator<Item = Self> {
                [$(Self::$filled(n),)*].into_iter().chain([$(Self::$once,)*])
            }

            fn said(self) -> Said {
                match self {
                    $(Self::$filled(filling) => Said {
                        name: $fname,
                        unit: $funit,
                        filling,
                    },)*
                    $(Self::$once => Said {
                        name: $name,
                        unit: $unit,
                        filling: 0,
                    },)*
                }
            }
        }
    };
}

columns! {
    by filling {
        /// Start of the n-th filling, from 1.
        BuretteStart: "burette_start", "mL";
        /// End of the n-th filling, from 1.
        BuretteEnd: "burette_end", "mL";
        /// Start of the n-th filling for another portion, from 1.
        SecondStart: "second_start", "mL";
        /// End of the n-th filling for another portion, from 1.
        SecondEnd: "second_end", "mL";
        /// Start of the n-th filling with the excess reagent, from 1.
        ExcessStart: "excess_start", "mL";
        /// End of the n-th filling with the excess reagent, from 1.
        ExcessEnd: "excess_end", "mL";
        /// Volume added at the n-th point of a curve, from 1.
        CurveVolume: "volume", "mL";
        /// pH at the n-th point.
        CurvePh: "pH", "";
        /// Potential at the n-th point.
        CurvePotential: "potential", "mV";
        /// Conductance at the n-th point.
        CurveConductance: "conductance", "mS";
        /// Absorbance of the n-th vessel of a series of additions, from 1.
        Vessels: "vessel_absorbance", "";
    }
    once {
        /// Burette at the first of two endpoints.
        FirstEndpoint: "burette_first_endpoint", "mL";
        /// Burette before the last drop, which careful people note beside the end: it brackets the endpoint.
        BeforeLastDrop: "before_last_drop", "mL";
        Crucible: "crucible", "g";
        CrucibleFull: "crucible_and_precipitate", "g";
        CrucibleHeated: "crucible_after_heating", "g";
        Vessel: "vessel", "g";
        /// Vessel full of water.
        VesselWater: "vessel_and_water", "g";
        /// Vessel full of the liquid.
        VesselFull: "vessel_and_liquid", "g";
        Absorbance: "absorbance", "";
        /// The same at the second of two wavelengths.
        SecondAbsorbance: "absorbance_second", "";
        /// Sample in graduated glassware.
        SampleVolume: "sample", "mL";
        /// Sample on a tared balance.
        SampleMass: "sample", "g";
        SampleBefore: "sample_before", "g";
        SampleAfter: "sample_after", "g";
    }
}

impl Column {
    /// The columns of a procedure with so many fillings of the burette.
    pub fn of(procedure: &Procedure, fillings: usize) -> Vec<Self> {
        let mut columns = procedure.scheme.columns(fillings);
        columns.extend(Self::of_sample(procedure));
        columns
    }

    /// The same with what may be noted beside them, which nobody has to.
    pub fn with_notes(procedure: &Procedure, fillings: usize) -> Vec<Self> {
        let mut columns = Self::of(procedure, fillings);
        let burette = columns.contains(&Self::BuretteEnd(1));
        columns.extend(burette.then_some(Self::BeforeLastDrop));
        if procedure.excess().is_some_and(|e| e.brought_back.is_some()) {
            columns.extend(Self::of_burette(Delivery::Excess, 1));
        }
        columns
    }

    /// Most numbered columns of one name in a row of that procedure.
    pub fn most(procedure: &Procedure) -> usize {
        match procedure.scheme.instrument().kind().is_meter() {
            true => MAX_POINTS,
            false => MAX_FILLINGS,
        }
    }

    /// Which filling of the burette, or point of a curve, it belongs to, from 1; 0 of what there is once.
    pub fn number(self) -> usize {
        self.said().filling
    }

    /// Whether it is of a point of a titration curve.
    pub fn is_of_curve(self) -> bool {
        matches!(
            self,
            Self::CurveVolume(_)
                | Self::CurvePh(_)
                | Self::CurvePotential(_)
                | Self::CurveConductance(_)
        )
    }

    /// Reads what is written in it.
    pub fn parse(self, text: &str) -> Result<Reading, ReadingError> {
        if matches!(self, Self::CurvePotential(_)) {
            Reading::parse_signed(text)
        } else if self.said().unit == "g" {
            Reading::parse_of_balance(text)
        } else {
            Reading::parse(text)
        }
    }

    /// Whether it may be left out: what is noted beside, and what was added after an endpoint run over.
    pub fn is_note(self, procedure: &Procedure) -> bool {
        let brought_back = || procedure.excess().is_some_and(|e| e.brought_back.is_some());
        self == Self::BeforeLastDrop || self.is_of_excess() && brought_back()
    }

    fn is_of_excess(self) -> bool {
        matches!(self, Self::ExcessStart(_) | Self::ExcessEnd(_))
    }

    /// The columns of one row: a blank and a standard have no sample.
    pub fn of_row(procedure: &Procedure, trial: TrialLabel, fillings: usize) -> Vec<Self> {
        if matches!(trial, TrialLabel::Blank | TrialLabel::Standard(_)) {
            procedure.scheme.columns(fillings)
        } else {
            Self::of(procedure, fillings)
        }
    }

    /// The columns in which a procedure's sample is read.
    pub fn of_sample(procedure: &Procedure) -> &'static [Self] {
        match procedure.sample.by {
            SampleBy::Volume if procedure.reads_sample_volume() => &[Self::SampleVolume],
            SampleBy::Volume => &[],
            SampleBy::Mass => &[Self::SampleMass],
            SampleBy::MassDifference => &[Self::SampleBefore, Self::SampleAfter],
        }
    }

    /// Start and end of each filling of the burette.
    pub fn of_burette(delivery: Delivery, fillings: usize) -> impl Iterator<Item = Self> {
        (1..=fillings.max(1)).flat_map(move |n| <[Self; 2]>::from(Self::piece(delivery, n)))
    }

    /// Start and end of the n-th filling, from 1.
    pub fn piece(delivery: Delivery, n: usize) -> (Self, Self) {
        match delivery {
            Delivery::First => (Self::BuretteStart(n), Self::BuretteEnd(n)),
            Delivery::Second => (Self::SecondStart(n), Self::SecondEnd(n)),
            Delivery::Excess => (Self::ExcessStart(n), Self::ExcessEnd(n)),
        }
    }

    /// Whether it belongs to a second or later filling of the burette, which few titrations have.
    pub fn is_of_refill(self) -> bool {
        self.said().filling > 1 && !matches!(self, Self::Vessels(_))
    }

    /// The column of the end that belongs to a start.
    pub fn end(self) -> Option<Self> {
        let (start, end) = self.piece_of()?;
        (start == self).then_some(end)
    }

    /// Whether it is the end of a filling.
    pub fn is_end(self) -> bool {
        self.piece_of().is_some_and(|(_, end)| end == self)
    }

    /// Whether it is start or end of a filling of the burette.
    pub fn is_of_piece(self) -> bool {
        self.piece_of().is_some()
    }

    /// Whether it is read off the burette.
    pub fn is_of_burette(self) -> bool {
        self.is_of_piece() || matches!(self, Self::FirstEndpoint | Self::BeforeLastDrop)
    }

    /// Whether it weighs a container, empty or with something in it.
    pub fn is_of_container(self) -> bool {
        self.said().unit == "g" && self != Self::SampleMass
    }

    /// Start and end of the filling it belongs to.
    fn piece_of(self) -> Option<(Self, Self)> {
        let filling = self.said().filling;
        let mut pieces = Delivery::ALL.into_iter().map(|d| Self::piece(d, filling));
        pieces.find(|(start, end)| [start, end].contains(&&self))
    }

    /// What is read together with it: the whole filling, or point.
    fn beside(self) -> Vec<Self> {
        let n = self.number();
        match self.piece_of() {
            Some((start, end)) => vec![start, end],
            None if self.is_of_curve() => vec![
                Self::CurveVolume(n),
                Self::CurvePh(n),
                Self::CurvePotential(n),
                Self::CurveConductance(n),
            ],
            None => vec![self],
        }
    }

    /// The column of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        let number = name.split('_').find_map(|part| part.parse().ok());
        let number = number.unwrap_or(1);
        let most = |column: Self| match column.is_of_curve() {
            true => MAX_POINTS,
            false => MAX_FILLINGS,
        };
        let mut columns = Self::with_number(number);
        columns.find(|column| number <= most(*column) && column.to_string() == name)
    }

    /// For people, with the unit, in English.
    pub fn label(self) -> String {
        self.words().to_string()
    }

    /// For people, with the unit.
    pub fn words(self) -> Message {
        let said = self.said();
        let label = Message::new(format!("column.label.{}", self.key()));
        let label = match said.filling {
            n if self.is_of_curve() => message!("column.point", label = label, n = n),
            n if matches!(self, Self::Vessels(_)) => {
                message!("column.vessel", label = label, n = n)
            }
            0 | 1 => label,
            n => message!("column.filling", label = label, n = n),
        };
        // the unit stands behind all of it
        match said.unit {
            "" => label,
            unit => message!("column.with-unit", label = label, unit = unit),
        }
    }

    /// For people, where several stand side by side.
    pub fn head(self) -> Message {
        Message::new(format!("column.head.{}", self.key()))
    }

    /// What its texts go by: its name in files, whichever filling it is of.
    pub fn key(self) -> String {
        let said = self.said();
        match said.unit {
            "" => said.name.to_owned(),
            unit => format!("{}_{unit}", said.name),
        }
    }

    /// A column of each kind.
    pub fn kinds() -> impl Iterator<Item = Self> {
        Self::with_number(1)
    }

    /// What it is read from.
    pub fn glassware(self, procedure: &Procedure) -> &Glassware {
        if Self::of_sample(procedure).contains(&self) {
            return &procedure.sample.glassware;
        }
        let excess = procedure.excess().filter(|_| self.is_of_excess());
        let is_volume = matches!(self, Self::CurveVolume(_));
        let burette = procedure.burette().filter(|_| is_volume);
        let burette = burette.or_else(|| excess?.burette());
        burette.unwrap_or_else(|| procedure.scheme.instrument())
    }

    /// The reading of a row, if it is there.
    pub fn get(self, row: &Titration) -> Option<&Reading> {
        row.readings.get(&self)
    }
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let said = self.said();
        f.write_str(said.name)?;
        if said.filling > 1 {
            write!(f, "_{}", said.filling)?;
        }
        match said.unit {
            "" => Ok(()),
            unit => write!(f, "_{unit}"),
        }
    }
}

impl TryFrom<String> for Column {
    type Error = String;

    fn try_from(name: String) -> Result<Self, String> {
        let none = || format!("found \u{201c}{name}\u{201d}, expected the name of a column");
        Self::from_name(&name).ok_or_else(none)
    }
}

impl From<Column> for String {
    fn from(column: Column) -> Self {
        column.to_string()
    }
}

/// Cells at fault, each with what was found and what was expected.
pub type CellFaults = Vec<(Column, Message)>;

/// The raw cells of one row, by column, as somebody wrote them.
pub type Cells = std::collections::BTreeMap<Column, String>;

/// Reads the cells of one row.
pub fn read_cells(
    procedure: &Procedure,
    trial: TrialLabel,
    cells: &Cells,
) -> Result<Readings, CellFaults> {
    let (mut readings, mut faults) = (Readings::new(), Vec::new());
    let text = |column: Column| cells.get(&column).map_or("", |text| text.trim());
    // a rough trial need not have its sample measured
    let not_needed = match trial.number() {
        Some(_) => &[],
        None => Column::of_sample(procedure),
    };
    // a refill, or a point, there was none of
    let is_left_out = |column: Column| {
        column.is_of_refill() && column.beside().iter().all(|one| text(*one).is_empty())
    };
    for column in Column::with_notes(procedure, Column::most(procedure)) {
        if text(column).is_empty() {
            if !column.is_note(procedure) && !is_left_out(column) && !not_needed.contains(&column) {
                faults.push((column, nothing(procedure, column)));
            }
            continue;
        }
        match column.parse(text(column)) {
            Ok(reading) => {
                readings.insert(column, reading);
            }
            Err(why) => faults.push((column, why.into())),
        }
    }
    let (start, end) = Column::piece(Delivery::Excess, 1);
    if readings.contains_key(&start) != readings.contains_key(&end) && faults.is_empty() {
        let missing = [start, end].into_iter().find(|c| !readings.contains_key(c));
        faults.extend(missing.map(|column| (column, nothing(procedure, column))));
    }
    if faults.is_empty() {
        Ok(readings)
    } else {
        Err(faults)
    }
}

fn nothing(procedure: &Procedure, column: Column) -> Message {
    let piece = column.glassware(procedure);
    let decimals = message!("count.decimal", n = piece.decimals().unwrap_or(0));
    match piece.kind().unit() {
        "" => message!("reading.nothing", decimals = decimals),
        unit => message!("reading.nothing-unit", unit = unit, decimals = decimals),
    }
}
