//! What is measured by a procedure, whatever it is called and however it is marked.

use super::{Procedure, SampleBy};
use crate::chem::{Formula, Reaction};
use crate::columns::Column;
use crate::schemes::SchemeKind;

/// What tells whether readings taken by two procedures, of two terms say, can be laid beside each other: the scheme, the
/// reactions, what is found, how the sample is measured and which readings are taken.
///
/// Not the key and the title, by which a department may call the same procedure otherwise next year, nor its texts, its
/// rules for trials and its marking, which an experiment may replace; nor label molarities, the size of a sample or the
/// class of its glassware: where those are others, honest volumes are, and what was copied shows all the more. Nor what
/// becomes of the readings: a titration with a student's own titrant is read as one with a lot of the prep room.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    scheme: SchemeKind,
    reactions: Vec<Reaction>,
    analyte: Option<Formula>,
    sample: SampleBy,
    columns: Vec<Column>,
}

impl Procedure {
    pub fn measured(&self) -> Measured {
        Measured {
            scheme: self.scheme.kind(),
            reactions: self.reactions.clone(),
            analyte: self.result.analyte.clone(),
            sample: self.sample.by,
            columns: Column::of(self, 1),
        }
    }
}
