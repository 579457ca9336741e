//! The work-up of a submission as one graph of named steps.
//!
//! From the same object come the result, the derivation people read, and the uncertainty with its budget. Each scheme
//! has one file that says how its steps follow from one another; no formula stands anywhere else.

mod back;
mod budget;
mod budget_table;
mod burette;
mod choose;
mod component;
mod density;
mod derivation;
mod direct;
mod figures;
mod graph;
mod gravimetric;
mod line;
mod parts;
mod preparation;
mod quantity;
mod role;
mod standardisation;
mod trials;
mod two_endpoint;

pub use budget::{Budget, Contribution, budget};
pub use budget_table::{BudgetLine, BudgetTable};
pub use burette::titre_scatter;
pub use choose::concordant;
pub use component::{Cause, Component, Load, Rows, Scope};
pub use derivation::{DerivationLine, DerivationPart, Room, Typeset, derivation};
pub use figures::{significant_figures, written_by_rule};
pub use graph::{Graph, Operation, Sign, Step, StepId, StepIds, WorkUpError};
pub use preparation::{
    Dilution, Preparation, PreparationFault, Prepared, Recorded, Stock, Taken, Weighed,
};
pub use quantity::{Instrument, Of, Quantity};
pub use role::{Delivery, DilutionKind, DilutionPart, Own, Party, Role, Titre};
pub use trials::{TrialOutcome, WorkUp, WorkUpInput, work_up, work_up_readings};
