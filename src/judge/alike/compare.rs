//! Two sets of readings laid beside each other: what coincides, and how likely that is by chance.

use smallvec::SmallVec;

use super::habits::Others;
use super::index::Kind;
use super::sheet::{Amount, NEAR, Row, Sheet, Titre};
use crate::stats::weights_at_least;
use crate::submission::TrialLabel;

/// Chance above which a coincidence says nothing.
const NO_NEWS: f64 = 0.9;
/// Least chance that who once filled near a reading does so again.
const NEAR_OWN: f64 = 0.15;
/// Least chance that a volume which each of the two already wrote before is written again: some stop at two alike.
const AGAIN: f64 = 0.25;
/// Weights are this many times the logarithm of one over the chance, rounded.
const SCALE: f64 = 8.0;

/// How the rows of one set are laid beside those of another, all burette readings of the other `shift` units lower.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Layout {
    /// Places in the one and in the other, in the order of the other's rows.
    pub rows: Places,
    pub shift: i64,
    /// Whether readings are passed over of which a difference is known.
    pub by_difference: bool,
}

/// What is found in a layout: of most of them nothing is kept, so that it takes no memory of its own.
pub(super) type Facts = SmallVec<[Fact; 24]>;

/// Rows of two sets beside each other, by their numbers in the one and in the other: copied for every layout of a pair, so
/// they are kept small.
pub(super) type Places = SmallVec<[(u8, u8); 8]>;

/// One reading, or one volume, that coincides or does not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fact {
    pub what: What,
    pub coincides: bool,
    /// Whether it coincides but for one digit left of the last.
    pub but_for_a_digit: bool,
    /// At most this is the chance that honest students coincide in it, given the facts before.
    pub chance: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    Start,
    Volume,
    Difference,
    Amount,
}

/// The facts of a layout; 1 for the chance of what is not told. `one` is taken as it is; the chance is that of `other` to meet it.
pub(super) fn facts((one, other): (&Sheet, &Sheet), layout: &Layout, others: Others) -> Facts {
    let mut compared = Compared {
        others,
        shift: layout.shift,
        by_difference: layout.by_difference,
        coarser: one.step.max(other.step) as f64 / others.step() as f64,
        found: Facts::new(),
        filled: SmallVec::new(),
        volumes: SmallVec::new(),
        amounts: SmallVec::new(),
    };
    for (a, b) in beside((one, other), layout) {
        compared.row(a, (other, b));
    }
    compared.found
}

/// The rows of a layout.
fn beside<'s>(
    (one, other): (&'s Sheet, &'s Sheet),
    layout: &'s Layout,
) -> impl Iterator<Item = (&'s Row, &'s Row)> {
    let rows = layout.rows.iter();
    rows.filter_map(|(a, b)| {
        let (a, b) = (usize::from(*a), usize::from(*b));
        Some((one.rows.get(a)?, other.rows.get(b)?))
    })
}

/// No more than so many facts of a layout coincide, where burettes are read in steps of so many units: most layouts of most
/// pairs coincide in little, and are seen through by this alone.
pub(super) fn coincide_at_most(sheets: (&Sheet, &Sheet), layout: &Layout, step: i64) -> usize {
    let of_titre = |a: &Titre, b: &Titre| {
        let first = a.first.is_some() && a.first == b.first;
        let end = a.end.saturating_add(layout.shift);
        let volume = a.delivered == b.delivered
            || !layout.by_difference && (end == b.end || is_but_for_a_digit(end, b.end, step));
        let start = !layout.by_difference && b.start == a.start.saturating_add(layout.shift);
        [first, volume, start]
            .into_iter()
            .filter(|one| *one)
            .count()
    };
    let of_rows = |(a, b): (&Row, &Row)| -> usize {
        let titres = a.titres.iter().zip(&b.titres);
        let titres: usize = titres.map(|(a, b)| of_titre(a, b)).sum();
        let amounts = a.amounts.iter().zip(&b.amounts);
        titres.saturating_add(amounts.filter(|(a, b)| a == b).count())
    };
    beside(sheets, layout).map(of_rows).sum()
}

/// Whether two readings differ in one digit alone, and not in the last.
fn is_but_for_a_digit(a: i64, b: i64, step: i64) -> bool {
    let off = a.saturating_sub(b);
    let tens = step.saturating_mul(10);
    // nine in ten are seen through by one division
    if off == 0 || off.checked_rem(tens) != Some(0) {
        return false;
    }
    let is_digit = |digit: i64| {
        let above = digit.saturating_mul(10);
        off.checked_rem(digit) == Some(0) && a.checked_div(above) == b.checked_div(above)
    };
    is_digit(tens) || is_digit(tens.saturating_mul(10))
}

/// Probability that honest students coincide in as much: the exact tail of the sum of weights of what coincides.
pub(super) fn chance(facts: &[Fact]) -> f64 {
    let telling = || facts.iter().filter(|fact| fact.chance <= NO_NEWS);
    let events: Vec<(f64, usize)> = telling()
        .map(|fact| (fact.chance, weight(fact.chance)))
        .collect();
    let total = telling()
        .filter(|fact| fact.coincides)
        .map(|fact| weight(fact.chance))
        .fold(0, usize::saturating_add);
    weights_at_least(&events, total)
}

/// A lower bound of that, quickly had: the chance of exactly these coincidences and any others.
pub(super) fn least_chance(facts: &[Fact]) -> f64 {
    let told = facts.iter().filter(|fact| fact.coincides);
    told.filter(|fact| fact.chance <= NO_NEWS)
        .map(|fact| fact.chance)
        .product()
}

/// Trials laid beside each other: the second's, the first's.
pub(super) fn rows(
    laid: (&Sheet, &Sheet),
    places: &[(u8, u8)],
    turned: bool,
) -> Vec<(TrialLabel, TrialLabel)> {
    let trial = |sheet: &Sheet, place: u8| Some(sheet.rows.get(usize::from(place))?.trial);
    let rows = places.iter().filter_map(|(of_first, of_second)| {
        let pair = (trial(laid.1, *of_second)?, trial(laid.0, *of_first)?);
        Some(if turned { (pair.1, pair.0) } else { pair })
    });
    let mut rows: Vec<_> = rows.collect();
    rows.sort_unstable();
    rows
}

/// How many of a kind coincide, and how many there are.
pub(super) fn tally(facts: &[Fact], what: What) -> (usize, usize) {
    let of = || facts.iter().filter(|fact| fact.what == what);
    (of().filter(|fact| fact.coincides).count(), of().count())
}

fn weight(chance: f64) -> usize {
    (-chance.ln() * SCALE).round().max(1.0) as usize
}

struct Compared<'a> {
    others: Others<'a>,
    shift: i64,
    by_difference: bool,
    /// How many times coarser than read the two write their volumes.
    coarser: f64,
    found: Facts,
    /// Readings to which the other filled before.
    filled: SmallVec<[i64; 6]>,
    /// Pairs of volumes compared before.
    volumes: SmallVec<[(i64, i64); 6]>,
    /// Amounts of the other, before.
    amounts: SmallVec<[(Amount, i64, bool); 12]>,
}

impl Compared<'_> {
    fn row(&mut self, a: &Row, (sheet, b): (&Sheet, &Row)) {
        for (index, (one, other)) in a.titres.iter().zip(&b.titres).enumerate() {
            // where a second portion is titrated, the first start alone says how much all are shifted
            let defines_shift = self.shift != 0 && self.found.is_empty() && index == 0;
            let volume = match index {
                0 if self.others.is_told(self.may_coincide(one, other)) => {
                    self.volume_chance(one.delivered, sheet, b)
                }
                _ => self.any_volume(),
            };
            let volume = (volume * self.coarser).min(1.0);
            self.titre(one, other, volume, defines_shift);
        }
        let mut difference = false;
        for ((amount, a), (other, b)) in a.amounts.iter().zip(&b.amounts) {
            if amount != other {
                continue;
            }
            match amount {
                Amount::Difference => difference = a == b,
                weighed if self.by_difference && is_weighed_twice(*weighed) => continue,
                // it follows from the difference and the other weighing
                Amount::SampleAfter if difference => continue,
                _ => {}
            }
            self.amount(*amount, *a, *b);
        }
    }

    fn may_coincide(&self, one: &Titre, other: &Titre) -> bool {
        one.delivered == other.delivered
            || one.end.saturating_add(self.shift) == other.end
            || self.differs_in_a_digit(one, other)
    }

    /// Chance that the other delivers that volume in a row.
    fn volume_chance(&self, volume: i64, sheet: &Sheet, row: &Row) -> f64 {
        if let Some(apart) = sheet.apart(row, volume) {
            let kind = match row.trial.number() {
                Some(_) => Kind::APART,
                None => Kind::ROUGH_APART,
            };
            return self.others.apart(kind, apart);
        }
        let is_first = sheet.first().is_some_and(|first| first.trial == row.trial);
        match row.to_nominal(volume) {
            Some(nominal) if is_first => self.others.first_volume(nominal),
            _ => self.any_volume(),
        }
    }

    fn any_volume(&self) -> f64 {
        let titration = self.others.titration;
        titration.map_or(1.0, |titration| titration.coincide)
    }

    fn titre(&mut self, a: &Titre, b: &Titre, volume: f64, defines_shift: bool) {
        let first = (self.any_volume() * self.coarser).min(1.0);
        if self.by_difference {
            if let (Some(a), Some(b)) = (a.first, b.first) {
                self.volume(a, b, false, first);
            }
            self.volume(a.delivered, b.delivered, false, volume);
            return;
        }
        let wanted = a.start.saturating_add(self.shift);
        let start = b.start == wanted;
        let chance = if defines_shift || !self.others.is_told(start) {
            1.0
        } else {
            self.start_chance(wanted, b)
        };
        self.push(What::Start, start, false, chance);
        if b.is_filled() {
            self.filled.push(b.start);
        }
        if let (Some(a), Some(b)) = (a.first, b.first) {
            self.volume(a, b, false, first);
        }
        if start || !(a.whole && b.whole) {
            let digit = a.whole && b.whole && self.differs_in_a_digit(a, b);
            self.volume(a.delivered, b.delivered, digit, volume);
        } else {
            // where the start was altered, it is the end that was kept
            let end = a.end.saturating_add(self.shift) == b.end;
            self.push(What::Volume, end, false, volume);
            self.volumes.push((a.delivered, b.delivered));
        }
    }

    fn volume(&mut self, a: i64, b: i64, digit: bool, chance: f64) {
        let again = self.volumes.contains(&(a, a)) && a == b;
        let chance = if again { chance.max(AGAIN) } else { chance };
        let chance = if digit {
            (chance + self.others.but_for_a_digit() * self.coarser).min(1.0)
        } else {
            chance
        };
        self.push(What::Volume, a == b || digit, digit, chance);
        self.volumes.push((a, b));
    }

    /// Whether the ends differ in one digit alone, and not in the last.
    fn differs_in_a_digit(&self, a: &Titre, b: &Titre) -> bool {
        is_but_for_a_digit(a.end.saturating_add(self.shift), b.end, self.others.step())
    }

    /// Chance that the other starts there, given where its burette stood.
    fn start_chance(&self, wanted: i64, b: &Titre) -> f64 {
        let near = |reading: i64| wanted.saturating_sub(reading).saturating_abs() <= NEAR;
        let filling = self.others.filling(wanted, b.stood.is_none());
        let again = b.stood.filter(|stood| near(*stood));
        let chance = match again {
            Some(stood) => {
                let apart = wanted.saturating_sub(stood);
                self.others.read_again(apart).max(filling)
            }
            None => filling,
        };
        if self.filled.contains(&wanted) {
            1.0
        } else if self.filled.iter().any(|own| near(*own)) {
            chance.max(NEAR_OWN)
        } else {
            chance
        }
    }

    fn amount(&mut self, amount: Amount, a: i64, b: i64) {
        // a weighing bottle is weighed once between two portions, and written twice
        let known =
            amount != Amount::Difference && self.amounts.iter().any(|(_, own, _)| *own == a);
        let met = |(own, _, coincided): &(Amount, i64, bool)| *own == amount && *coincided;
        let chance = match known || !self.others.is_told(a == b) {
            true => 1.0,
            false if self.amounts.iter().any(met) => {
                let again = self.others.repeated(amount);
                self.others.amount(amount, a).max(again)
            }
            false => self.others.amount(amount, a),
        };
        let what = match amount {
            Amount::Difference => What::Difference,
            _ => What::Amount,
        };
        self.push(what, a == b, false, chance);
        self.amounts.push((amount, b, a == b));
    }

    fn push(&mut self, what: What, coincides: bool, but_for_a_digit: bool, chance: f64) {
        self.found.push(Fact {
            what,
            coincides,
            but_for_a_digit,
            chance,
        });
    }
}

/// Whether a weighing is one of two whose difference counts.
fn is_weighed_twice(amount: Amount) -> bool {
    matches!(
        amount,
        Amount::SampleBefore | Amount::SampleAfter | Amount::CrucibleFull
    )
}
