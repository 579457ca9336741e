//! The work-up of a submission as one graph of named steps.
//!
//! From the same object come the result, the derivation people read, and the uncertainty with its budget. Each scheme
//! has one file that says how its steps follow from one another; no formula stands anywhere else.

mod back;
mod budget;
mod burette;
mod causes;
mod choose;
mod density;
mod derivation;
mod direct;
mod figures;
mod graph;
mod gravimetric;
mod line;
mod name;
mod parts;
mod preparation;
mod standardisation;
mod trials;
mod two_endpoint;

pub use budget::{Budget, Contribution, budget};
pub use burette::titre_scatter;
pub use causes::{Cause, Causes};
pub use choose::concordant;
pub use derivation::{DerivationLine, DerivationPart, Room, Typeset, derivation};
pub use figures::{significant_figures, written_by_rule};
pub use graph::{Doubt, Graph, Operation, Scope, Sign, Step, StepId, StepIds, WorkUpError};
pub use name::{Name, Of, words};
pub use preparation::{
    Dilution, Preparation, PreparationFault, Prepared, Recorded, Stock, Taken, Weighed,
};
pub use trials::{TrialOutcome, WorkUp, WorkUpInput, work_up};
