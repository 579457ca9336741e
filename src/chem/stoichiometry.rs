//! Stoichiometric ratios, read off balanced reactions and never typed in.

use super::formula::Formula;
use super::ratio::Ratio;
use super::reaction::Reaction;

/// Why no ratio follows from the reactions.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RatioFault {
    /// A species that no reaction consumes, or a product that none makes.
    #[error(
        "found no reaction that consumes {species} (or makes it, if it is a precipitate), expected one of the stated reactions to"
    )]
    NotInvolved { species: String },
    /// Two consecutive reactions with no species made by the first and used by the next.
    #[error(
        "found no species that \u{201c}{first}\u{201d} makes and \u{201c}{next}\u{201d} uses, expected one to link them"
    )]
    NoLink { first: String, next: String },
    /// Two consecutive reactions linked by several species that give different ratios.
    #[error(
        "found {found} linking \u{201c}{first}\u{201d} and \u{201c}{next}\u{201d}, expected one species"
    )]
    ManyLinks {
        found: String,
        first: String,
        next: String,
    },
    /// No reaction consumes both species.
    #[error("found no reaction that consumes both {one} and {other}, expected one")]
    NotTogether { one: String, other: String },
    /// The chain is too long for exact arithmetic.
    #[error("found coefficients too large to multiply exactly")]
    TooLarge,
}

/// Moles of `first` used per mole of `last`, along a chain: the reaction that uses `first`, then each next one using
/// what the one before made, to the reaction that uses `last`. A single reaction is a chain of one.
pub fn chain_ratio(
    reactions: &[Reaction],
    first: &Formula,
    last: &Formula,
) -> Result<Ratio, RatioFault> {
    along(reactions, first, last, Reaction::consumed)
}

/// Moles of `first` used per mole of `product` made, along a chain as in [`chain_ratio`].
pub fn made_ratio(
    reactions: &[Reaction],
    first: &Formula,
    product: &Formula,
) -> Result<Ratio, RatioFault> {
    along(reactions, first, product, Reaction::produced)
}

/// Moles of `titrant` used per mole of `species`, by every reaction that uses the species and every one that then uses
/// what was made of it: CO3^2- takes two H^+ where the reaction of HCO3^- is listed beside its own, and HCO3^- one.
pub fn whole_use(
    reactions: &[Reaction],
    species: &Formula,
    titrant: &Formula,
) -> Result<Ratio, RatioFault> {
    let mut sum = Ratio::ZERO;
    for (index, reaction) in reactions.iter().enumerate() {
        let Some(own) = reaction.consumed(species) else {
            continue;
        };
        if let Some(used) = reaction.consumed(titrant) {
            sum = sum.plus(used.over(own));
        }
        let others: Vec<Reaction> = reactions
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != index)
            .map(|(_, reaction)| reaction.clone())
            .collect();
        for made in reaction.species().filter(|made| !is_solvent(made)) {
            let (Some(amount), true) = (reaction.produced(made), *made != *titrant) else {
                continue;
            };
            if let Ok(used) = whole_use(&others, made, titrant) {
                sum = sum.plus(used.times(amount.over(own)));
            }
        }
    }
    if sum.is_positive() {
        Ok(sum)
    } else {
        Err(RatioFault::NotTogether {
            one: species.to_string(),
            other: titrant.to_string(),
        })
    }
}

/// Moles of `one` used per mole of `other` in the reaction that uses both.
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

/// Moles of `first` used per mole of `last`, as `of_last` counts that in the last reaction of the chain.
fn along(
    reactions: &[Reaction],
    first: &Formula,
    last: &Formula,
    of_last: impl Fn(&Reaction, &Formula) -> Option<Ratio>,
) -> Result<Ratio, RatioFault> {
    let (start, mut ratio) = find(reactions.iter(), first, Reaction::consumed)?;
    let (end, amount) = find(reactions.iter().rev(), last, of_last)?;
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
    let ratio = ratio.over(amount);
    if ratio.is_positive() {
        Ok(ratio)
    } else {
        Err(RatioFault::TooLarge)
    }
}

fn find<'a>(
    reactions: impl Iterator<Item = &'a Reaction>,
    species: &Formula,
    amount: impl Fn(&Reaction, &Formula) -> Option<Ratio>,
) -> Result<(usize, Ratio), RatioFault> {
    reactions
        .enumerate()
        .find_map(|(index, reaction)| Some((index, amount(reaction, species)?)))
        .ok_or_else(|| RatioFault::NotInvolved {
            species: species.to_string(),
        })
}

/// Water and its ions, which stand in most reactions and link none.
fn is_solvent(formula: &Formula) -> bool {
    formula
        .atoms()
        .keys()
        .all(|symbol| matches!(*symbol, "H" | "O"))
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
    // water and its ions link only where nothing else does
    let real: Vec<_> = links
        .iter()
        .filter(|(species, _)| !is_solvent(species))
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
