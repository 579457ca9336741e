//! Chemistry from first principles: formulae, atomic weights, balanced reactions, and the ratios read off them.
//!
//! Pure. Nothing here is looked up under a name: every molar mass and every ratio follows from a formula.

mod atomic_weights;
mod balance;
pub mod complexation;
mod composition;
mod equivalence;
mod formula;
mod null_space;
mod ratio;
mod reaction;
mod script;
mod stoichiometry;

pub use atomic_weights::{AtomicWeight, atomic_weight};
pub use balance::{BalanceError, BalanceFault, balance};
pub use complexation::is_edta;
pub use composition::{CompositionFault, per_analyte};
pub use equivalence::{Convention, Equivalence, by_equivalents};
pub use formula::{Formula, FormulaError, MolarMass};
pub use ratio::Ratio;
pub use reaction::{Reaction, ReactionError};
pub use script::{Glyph, glyphs, printed, printed_reaction};
pub use stoichiometry::{RatioFault, chain_ratio, made_ratio, shared_ratio, whole_use};
