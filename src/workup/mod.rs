//! The work-up of a submission as one graph of named steps.
//!
//! From the same object come the result, the derivation people read, and the uncertainty with its budget. How the
//! steps of one trial follow from one another stands in the file of its scheme, and no formula anywhere else.

mod budget;
mod budget_table;
mod burette;
mod choose;
mod component;
mod derivation;
mod figures;
mod fit;
mod graph;
mod parts;
mod preparation;
mod quantity;
mod role;
mod trials;

pub use budget::{Budget, Contribution, budget};
pub use budget_table::{BudgetLine, BudgetTable};
pub use burette::titre_scatter;
pub use choose::concordant;
pub use component::{Cause, Component, Load, Rows, Scope};
pub use derivation::{DerivationLine, DerivationPart, Room, Typeset, derivation};
pub use figures::{significant_figures, written_by_rule};
pub use fit::Fit;
pub use graph::{Graph, Operation, Sign, Step, StepId, StepIds, WorkUpError, Worked};
pub use parts::{Builder, MG_PER_G, rectangular, triangular, volume_reading};
pub use preparation::{
    Conditions, Dilution, Preparation, PreparationFault, Prepared, Recorded, Stock, Taken, Weighed,
};
pub use quantity::{Instrument, Of, Quantity};
pub use role::{DilutionKind, DilutionPart, Own, Party, Role, Titre};
pub use trials::{
    LabRow, Measured, Shared, Trial, TrialOutcome, WorkUp, WorkUpInput, work_up, work_up_readings,
};
