//! How one species is expressed as another that shares its elements: Ca²⁺ as CaCO₃, Fe³⁺ as Fe₂O₃.

use super::formula::Formula;
use super::ratio::Ratio;

/// Why one species cannot be expressed as another.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CompositionFault {
    /// No element in common, or only hydrogen and oxygen in different proportions.
    #[error(
        "found {expressed} for the analyte {analyte}, expected a species that shares an element with it other than H and O"
    )]
    NothingShared {
        analyte: String,
        /// What it was to be expressed as.
        expressed: String,
    },
    /// The shared elements call for different ratios.
    #[error(
        "found {expressed} for the analyte {analyte}, whose shared elements stand in different proportions ({proportions}); expected one proportion"
    )]
    Ambiguous {
        analyte: String,
        /// What it was to be expressed as.
        expressed: String,
        /// Each shared element with its ratio.
        proportions: String,
    },
}

/// Moles of `expressed` that hold as much of the shared elements as one mole of `analyte`.
///
/// The shared elements other than hydrogen and oxygen decide, since those two come with water. Where only hydrogen
/// or oxygen is shared (OH⁻ as NaOH), every shared one must give the same ratio and, for hydrogen alone, one to one:
/// how many hydrogens of an acid react is chemistry, not composition.
pub fn per_analyte(analyte: &Formula, expressed: &Formula) -> Result<Ratio, CompositionFault> {
    if analyte == expressed {
        return Ok(Ratio::ONE);
    }
    let shared: Vec<(&str, Ratio)> = analyte
        .atoms()
        .iter()
        .filter_map(|(symbol, n)| {
            let other = expressed.atoms().get(symbol)?;
            Some((*symbol, Ratio::fraction(i64::from(*n), i64::from(*other))))
        })
        .collect();
    let deciding: Vec<_> = shared
        .iter()
        .filter(|(symbol, _)| !matches!(*symbol, "H" | "O"))
        .copied()
        .collect();
    let names = || (analyte.to_string(), expressed.to_string());
    if deciding.is_empty() {
        return match shared.as_slice() {
            [(_, ratio)] if *ratio == Ratio::ONE => Ok(*ratio),
            [(_, one), (_, other)] if one == other => Ok(*one),
            _ => {
                let (analyte, expressed) = names();
                Err(CompositionFault::NothingShared { analyte, expressed })
            }
        };
    }
    let first = deciding[0].1;
    if deciding.iter().all(|(_, ratio)| *ratio == first) {
        Ok(first)
    } else {
        let (analyte, expressed) = names();
        let proportions = deciding
            .iter()
            .map(|(s, r)| format!("{s} {r}"))
            .collect::<Vec<_>>()
            .join(", ");
        Err(CompositionFault::Ambiguous {
            analyte,
            expressed,
            proportions,
        })
    }
}
