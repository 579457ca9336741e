//! What is read beside or instead of one titre: a second endpoint, a precipitate, a vessel, standards.

use rust_decimal::Decimal;

use crate::chem::{Formula, Reaction};
use crate::measure::Glassware;

/// The second endpoint, which tells a second analyte from the first.
#[derive(Clone, Debug)]
pub struct Second {
    /// Where it is titrated.
    pub portion: Portion,
    /// In the same portion what happens from the first endpoint to the second, in another what happens there.
    pub reactions: Vec<Reaction>,
    /// The other species the titrant finds.
    pub other: Formula,
}

/// Where the second endpoint is titrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Portion {
    /// On in the same flask, with a second indicator.
    Same,
    /// In another, equal portion of the sample.
    Another,
}

/// What is weighed at the end of a gravimetric determination.
#[derive(Clone, Debug)]
pub struct Precipitate {
    /// As it is weighed, after drying or ignition.
    pub species: Formula,
    /// What weighs the crucible, empty and full.
    pub balance: Glassware,
    /// The mass to expect, g.
    pub nominal: Decimal,
}

/// A vessel whose content is weighed.
#[derive(Clone, Debug)]
pub struct Vessel {
    pub balance: Glassware,
    /// Temperature of the water it is calibrated with, °C; none if its nominal volume is used.
    pub water: Option<Decimal>,
}

/// Standards made from a stock solution, and the instrument that reads them and the samples.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// What is in the stock.
    pub species: Formula,
    /// Label molarity of the stock, mol/L.
    pub nominal: Decimal,
    /// The graduated piece that measures the stock.
    pub taken_with: Glassware,
    /// The flask in which a standard, and a sample, is made up.
    pub made_up_in: Glassware,
    /// Volume of stock in each standard, mL, in order.
    pub stock: Vec<Decimal>,
    pub instrument: Glassware,
}

impl Portion {
    /// The word in a procedure's file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Same => "same",
            Self::Another => "another",
        }
    }
}
