//! The work-up of a submission as one graph of named steps.
//!
//! From the same object come the result, the derivation people read, and the uncertainty with its budget. Each scheme
//! has one file that says how its steps follow from one another; no formula stands anywhere else.

mod back;
mod budget;
mod derivation;
mod direct;
mod figures;
mod graph;
mod parts;
mod preparation;
mod standardisation;
mod trials;

pub use budget::{Budget, Contribution, budget, trial_scatter};
pub use derivation::{DerivationLine, derivation};
pub use figures::{significant_figures, written_by_rule};
pub use graph::{Doubt, Graph, Operation, Scope, Sign, Step, StepId, WorkUpError};
pub use preparation::{Dilution, Preparation, PreparationFault, Weighed};
pub use trials::{TrialOutcome, WorkUp, WorkUpInput, work_up};
