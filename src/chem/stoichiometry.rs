//! Stoichiometric ratios, read off balanced reactions and never typed in.

use super::formula::Formula;
use super::ratio::Ratio;
use super::reaction::Reaction;

/// Why no ratio follows from the reactions.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RatioFault {
    /// A species that no reaction consumes.
    #[error("found no reaction that consumes {species}, expected one of the stated reactions to")]
    NotConsumed {
        /// The species.
        species: String,
    },
    /// Two consecutive reactions with no species made by the first and used by the next.
    #[error(
        "found no species that \u{201c}{first}\u{201d} makes and \u{201c}{next}\u{201d} uses, expected one to link them"
    )]
    NoLink {
        /// The earlier reaction.
        first: String,
        /// The later one.
        next: String,
    },
    /// Two consecutive reactions linked by several species that give different ratios.
    #[error(
        "found {found} linking \u{201c}{first}\u{201d} and \u{201c}{next}\u{201d}, expected one species"
    )]
    ManyLinks {
        /// The species.
        found: String,
        /// The earlier reaction.
        first: String,
        /// The later one.
        next: String,
    },
    /// No reaction consumes both species.
    #[error("found no reaction that consumes both {one} and {other}, expected one")]
    NotTogether {
        /// One species.
        one: String,
        /// The other.
        other: String,
    },
    /// The chain is too long for exact arithmetic.
    #[error("found coefficients too large to multiply exactly")]
    TooLarge,
}

/// Moles of `first` used per mole of `last`, along a chain: the reaction that uses `first`, then each next one using
/// what the one before made, to the reaction that uses `last`. A single reaction is a chain of one.
///
/// # Errors
/// [`RatioFault`] where a species or a link is missing or ambiguous.
pub fn chain_ratio(
    reactions: &[Reaction],
    first: &Formula,
    last: &Formula,
) -> Result<Ratio, RatioFault> {
    let (start, mut ratio) = consuming(reactions.iter(), first)?;
    let (end, used) = consuming(reactions.iter().rev(), last)?;
    let end = reactions.len().saturating_sub(end).saturating_sub(1);
    if end < start {
        return Err(RatioFault::NotTogether {
            one: first.to_string(),
            other: last.to_string(),
        });
    }
    let chain = reactions.get(start..=end).unwrap_or_default();
    for (earlier, later) in chain.iter().zip(chain.iter().skip(1)) {
        ratio = ratio.times(link(earlier, later)?);
    }
    let ratio = ratio.over(used);
    if ratio.is_positive() {
        Ok(ratio)
    } else {
        Err(RatioFault::TooLarge)
    }
}

/// Moles of `one` used per mole of `other` in the reaction that uses both.
///
/// # Errors
/// [`RatioFault::NotTogether`] if none does.
pub fn shared_ratio(
    reactions: &[Reaction],
    one: &Formula,
    other: &Formula,
) -> Result<Ratio, RatioFault> {
    reactions
        .iter()
        .find_map(|reaction| Some(reaction.consumed(one)?.over(reaction.consumed(other)?)))
        .ok_or_else(|| RatioFault::NotTogether {
            one: one.to_string(),
            other: other.to_string(),
        })
}

fn consuming<'a>(
    reactions: impl Iterator<Item = &'a Reaction>,
    species: &Formula,
) -> Result<(usize, Ratio), RatioFault> {
    reactions
        .enumerate()
        .find_map(|(index, reaction)| Some((index, reaction.consumed(species)?)))
        .ok_or_else(|| RatioFault::NotConsumed {
            species: species.to_string(),
        })
}

/// Turns of the earlier reaction per turn of the later one: moles of the linking species used / moles made.
fn link(earlier: &Reaction, later: &Reaction) -> Result<Ratio, RatioFault> {
    let links: Vec<(&Formula, Ratio)> = earlier
        .species()
        .filter_map(|species| {
            Some((
                species,
                later.consumed(species)?.over(earlier.produced(species)?),
            ))
        })
        .collect();
    // water and its ions are the solvent: they link only where nothing else does
    let solvent = |formula: &Formula| {
        formula
            .atoms()
            .keys()
            .all(|symbol| matches!(*symbol, "H" | "O"))
    };
    let real: Vec<_> = links
        .iter()
        .filter(|(species, _)| !solvent(species))
        .collect();
    let chosen = if real.is_empty() {
        links.iter().collect()
    } else {
        real
    };
    let (first, next) = (earlier.to_string(), later.to_string());
    match chosen.as_slice() {
        [] => Err(RatioFault::NoLink { first, next }),
        [(_, ratio), rest @ ..] if rest.iter().all(|(_, other)| other == ratio) => Ok(*ratio),
        many => {
            let found = many
                .iter()
                .map(|(species, _)| species.to_string())
                .collect::<Vec<_>>()
                .join(" and ");
            Err(RatioFault::ManyLinks { found, first, next })
        }
    }
}
