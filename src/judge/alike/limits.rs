//! What the bound of a pair has to stay below.

use std::collections::BTreeMap;

use super::mates::Near;

/// Section and bottle of a set.
type Sort<'a> = (&'a str, Option<u32>);

/// What the bounds of all pairs of an experiment add up to at most: where one section stands alone, whose instructor knows
/// everybody, and where there are more.
const ONE_SECTION: f64 = 0.4;
const MANY_SECTIONS: f64 = 0.055;
/// How much of it each kind of pair has, where there are all: of two sections with two bottles, and with one; of one
/// section the same. Most pairs are of the first kind, and in few of them do honest titres lie close together.
const SHARES: [[f64; 2]; 2] = [[0.7, 0.1], [0.1, 0.1]];
/// Most that the bound of a pair may be, however few pairs there are.
const PAIR_BOUND: f64 = 0.006;

/// Limits by kind of pair: of one section or of two, with one bottle or with two.
#[derive(Clone, Debug, Default)]
pub(super) struct Limits {
    limits: [[f64; 2]; 2],
    /// Sum of the bounds of all pairs.
    pub sum: f64,
}

impl Limits {
    pub fn of(members: &[Sort]) -> Self {
        let mut bottles: BTreeMap<Option<u32>, usize> = BTreeMap::new();
        let mut sections: BTreeMap<(&str, bool), usize> = BTreeMap::new();
        let mut both: BTreeMap<(&str, Option<u32>), usize> = BTreeMap::new();
        for (section, bottle) in members {
            let add = |n: &mut usize| *n = n.saturating_add(1);
            add(bottles.entry(*bottle).or_default());
            add(sections.entry((section, bottle.is_some())).or_default());
            add(both.entry((section, *bottle)).or_default());
        }
        let pairs = |n: f64| n * (n - 1.0) / 2.0;
        let n = members.len() as f64;
        // a bottle that nobody knows may be any
        let unknown = bottles.get(&None).copied().unwrap_or(0) as f64;
        let sum = |counts: &mut dyn Iterator<Item = usize>| -> f64 {
            counts.map(|count| pairs(count as f64)).sum()
        };
        let one_bottle = sum(&mut bottles.values().copied()) + unknown * (n - unknown);
        let (mut one_section, mut unknown_here) = (0.0, 0.0);
        for ((section, is_known), count) in &sections {
            let of_other_sort = sections.get(&(*section, !*is_known)).copied().unwrap_or(0);
            let crossed = (*count as f64) * of_other_sort as f64 / 2.0;
            one_section += pairs(*count as f64) + crossed;
            unknown_here += crossed;
        }
        let one_of_both = sum(&mut both.values().copied()) + unknown_here;
        let counts = [
            [
                pairs(n) - one_section - one_bottle + one_of_both,
                one_bottle - one_of_both,
            ],
            [one_section - one_of_both, one_of_both],
        ];
        let kinds = || counts.iter().flatten().zip(SHARES.iter().flatten());
        let there: f64 = kinds()
            .filter(|(n, _)| **n > 0.0)
            .map(|(_, share)| share)
            .sum();
        let mut members = members.iter();
        let first = members.next().map(|(section, _)| section);
        let level = if members.all(|(section, _)| Some(section) == first) {
            ONE_SECTION
        } else {
            MANY_SECTIONS
        };
        let mut limits = SHARES;
        for ((count, _), limit) in kinds().zip(limits.iter_mut().flatten()) {
            let own = *limit / there.max(f64::MIN_POSITIVE) * level;
            *limit = (own / count.max(1.0)).min(PAIR_BOUND);
        }
        let there = kinds().map(|(count, _)| *count > 0.0);
        let there = there.zip(limits.iter().flatten());
        let strictest = there.filter(|(is_there, _)| *is_there);
        let strictest = strictest.map(|(_, limit)| *limit);
        let strictest = strictest.fold(PAIR_BOUND, f64::min);
        for ((count, _), limit) in kinds().zip(limits.iter_mut().flatten()) {
            // the next set may make the first pair of a kind, and many more
            if *count <= 0.0 {
                *limit = strictest;
            }
        }
        let of = |(counts, limits): (&[f64; 2], &[f64; 2])| {
            counts
                .iter()
                .zip(limits)
                .map(|(n, limit)| n * limit)
                .sum::<f64>()
        };
        Self {
            limits,
            sum: counts.iter().zip(&limits).map(of).sum(),
        }
    }

    /// The highest of them, of those a set makes with others than its near ones.
    pub fn loosest_but_for(&self, near: &Near) -> f64 {
        let kinds = [(0, 0), (0, 1), (1, 0), (1, 1)].into_iter();
        let kinds = kinds.filter(|(section, bottle)| {
            !(near.has_section && *section == 1 || near.has_bottle && *bottle == 1)
        });
        let limits = kinds.filter_map(|(section, bottle)| self.limits.get(section)?.get(bottle));
        limits.copied().fold(0.0, f64::max)
    }

    pub fn of_pair(&self, one: Sort, other: Sort) -> f64 {
        let section = usize::from(one.0 == other.0);
        let bottle = usize::from(share_bottle(one.1, other.1));
        self.limits
            .get(section)
            .and_then(|row| row.get(bottle))
            .copied()
            .unwrap_or(0.0)
    }
}

/// Bottles that nobody knows apart count as the same.
fn share_bottle(one: Option<u32>, other: Option<u32>) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => one == other,
        _ => true,
    }
}
