//! Who holds which fact: what every set of readings says, kept so that sets which share facts meet, and so that what is
//! common can be told from what is rare.

use std::collections::{BTreeMap, HashMap};
use std::ops::RangeInclusive;

use smallvec::SmallVec;

use super::sheet::{AMOUNTS, Amount, NEAR, Sheet};

/// One thing that a set of readings says: of what kind, and the number, in units.
pub(super) type IndexedFact = (Kind, i64);

/// What a number stands for, as a number by which facts are compared: that is done more often than anything else here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Kind(u64);

impl Kind {
    /// Where a burette was filled to before the first titration.
    pub const FIRST_FILLING: Self = Self::of(0, 0);
    /// Where it was filled to later.
    pub const LATER_FILLING: Self = Self::of(1, 0);
    pub const END: Self = Self::of(2, 0);
    pub const DELIVERED: Self = Self::of(3, 0);
    /// Hundredths and tenths of start and end of one titration, which an altered millilitre leaves.
    pub const LAST_DIGITS: Self = Self::of(5, 0);
    /// How far from where a meniscus was read it is read again.
    pub const READ_AGAIN: Self = Self::of(6, 0);
    pub const OF_ANY_BOTTLE: Self = Self::of(9, 0);
    /// How much more than the first numbered titration another takes, for nominal samples.
    pub const APART: Self = Self::of(10, 0);
    /// The same as it was run in.
    pub const RUN_IN_APART: Self = Self::of(11, 0);
    /// How much more a rough one takes.
    pub const ROUGH_APART: Self = Self::of(12, 0);

    pub const fn amount(amount: Amount) -> Self {
        Self::of(4, amount as u64)
    }

    /// Whether an amount is that of the row before, 1 or 0.
    pub const fn repeated(amount: Amount) -> Self {
        Self::of(7, amount as u64)
    }

    /// What a nominal sample takes from the bottle of that number.
    pub fn of_bottle(number: u32) -> Self {
        Self::of(8, u64::from(number))
    }

    const fn of(kind: u64, which: u64) -> Self {
        Self((kind << 56) | which)
    }

    /// Whether two sets meet that share it; the others are counted alone, and come after in the order of kinds.
    fn is_met(self) -> bool {
        self < Self::READ_AGAIN
    }
}

/// A fact that more than this share of all sets holds says nothing.
const COMMON: f64 = 0.25;
/// Up to this share of what is to be said, by facts of which nobody is asked who holds them: they have the longest lists.
const UNASKED: f64 = 0.5;
/// Units of a millilitre.
const MILLILITRE: i64 = 1_000_000;

/// How many sets say what: by that the chance of a fact is told.
#[derive(Clone, Debug, Default)]
pub(super) struct Counts {
    /// Every fact that sets hold, once and in order, with how often it and those before it are held.
    facts: Vec<(IndexedFact, usize)>,
    /// How many of each kind there are.
    sizes: BTreeMap<Kind, usize>,
    sets: usize,
}

impl Counts {
    /// From the facts of each set.
    pub fn of<'s>(sets: impl Iterator<Item = &'s [IndexedFact]>) -> Self {
        let mut counts = Self::default();
        let mut all = Vec::new();
        for facts in sets {
            all.extend_from_slice(facts);
            counts.sets = counts.sets.saturating_add(1);
        }
        all.sort_unstable();
        let mut held: usize = 0;
        for same in all.chunk_by(|a, b| a == b) {
            let Some(fact) = same.first() else { continue };
            held = held.saturating_add(same.len());
            counts.facts.push((*fact, held));
            let size = counts.sizes.entry(fact.0).or_default();
            *size = size.saturating_add(same.len());
        }
        counts.facts.shrink_to_fit();
        counts
    }

    /// How many facts of that kind lie there, and how many there are; those of some sets left out.
    pub fn count(
        &self,
        kind: Kind,
        between: RangeInclusive<i64>,
        without: &[&[IndexedFact]],
    ) -> (f64, f64) {
        let there = self.between((kind, *between.start()), (kind, *between.end()));
        let all = self.sizes.get(&kind).copied().unwrap_or(0);
        let left_out = |between: &RangeInclusive<i64>| -> usize {
            let of_one = |facts: &&[IndexedFact]| {
                let from = facts.partition_point(|fact| *fact < (kind, *between.start()));
                let to = facts.partition_point(|fact| *fact <= (kind, *between.end()));
                to.saturating_sub(from)
            };
            without.iter().map(of_one).sum()
        };
        (
            there.saturating_sub(left_out(&between)) as f64,
            all.saturating_sub(left_out(&(i64::MIN..=i64::MAX))) as f64,
        )
    }

    fn between(&self, first: IndexedFact, last: IndexedFact) -> usize {
        let from = self.facts.partition_point(|(fact, _)| *fact < first);
        let rest = self.facts.get(from..).unwrap_or_default();
        let inside = if first == last {
            usize::from(rest.first().is_some_and(|(fact, _)| *fact == first))
        } else {
            rest.partition_point(|(fact, _)| *fact <= last)
        };
        let held = |upto: usize| {
            let last = upto.checked_sub(1).and_then(|last| self.facts.get(last));
            last.map_or(0, |(_, held)| *held)
        };
        held(from.saturating_add(inside)).saturating_sub(held(from))
    }

    /// Share of sets that hold a fact, one of them left out; at least that of one.
    fn share(&self, fact: IndexedFact) -> f64 {
        let others = self.between(fact, fact).saturating_sub(1).max(1);
        others as f64 / self.sets.max(1) as f64
    }
}

/// Who holds which fact by which sets meet.
#[derive(Clone, Debug, Default)]
pub(super) struct Holders {
    places: HashMap<IndexedFact, SmallVec<[u32; 4]>>,
    /// One more than the last place of any.
    end: usize,
}

impl Holders {
    pub fn insert(&mut self, place: usize, facts: &[IndexedFact]) {
        // no roster is as long
        let Ok(number) = u32::try_from(place) else {
            return;
        };
        self.end = self.end.max(place.saturating_add(1));
        for fact in distinct(facts) {
            self.places.entry(*fact).or_default().push(number);
        }
    }

    pub fn remove(&mut self, place: usize, facts: &[IndexedFact]) {
        for fact in distinct(facts) {
            let Some(holders) = self.places.get_mut(fact) else {
                continue;
            };
            let at = holders.iter().position(|held| *held as usize == place);
            if let Some(at) = at {
                holders.swap_remove(at);
            }
            if holders.is_empty() {
                self.places.remove(fact);
            }
        }
    }

    fn of(&self, fact: IndexedFact) -> impl Iterator<Item = usize> + '_ {
        let held = self.places.get(&fact).into_iter().flatten();
        held.map(|place| *place as usize)
    }
}

impl Met {
    /// Somebody who is looked at whatever is said.
    pub fn surely(place: usize) -> Self {
        let said = f32::INFINITY;
        Self { place, said }
    }
}

/// A set that is asked whom it meets.
#[derive(Debug)]
pub(super) struct Asked<'a> {
    counts: &'a Counts,
    facts: &'a [IndexedFact],
    /// What of it is not common, the commonest first.
    telling: Vec<Telling>,
    /// How much has to be said by what another shares with it.
    from: f64,
    /// How many of the commonest are asked of nobody: whatever of them is shared, the others have to say the rest.
    unasked: usize,
}

/// Somebody whom a set meets, with what those facts say together that were asked for, each for itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct Met {
    pub place: usize,
    pub said: f32,
}

impl<'a> Asked<'a> {
    /// `facts` are those by which it meets others, who have to share what says as much as `from`.
    pub fn of(facts: &'a [IndexedFact], counts: &'a Counts, from: f64) -> Self {
        let telling = distinct(facts).filter_map(|fact| counts.telling(*fact));
        let mut telling: Vec<Telling> = telling.collect();
        telling.sort_by(|a, b| a.weight.total_cmp(&b.weight).then(a.fact.cmp(&b.fact)));
        let mut said = 0.0;
        let unasked = telling.iter().take_while(|one| {
            said += one.weight;
            said < UNASKED * from
        });
        Self {
            counts,
            facts,
            from,
            unasked: unasked.count(),
            telling,
        }
    }

    fn unasked(&self) -> &[Telling] {
        self.telling.get(..self.unasked).unwrap_or_default()
    }

    /// Those among whom all sets are that share with it facts which say enough together, in order of place. `said` is room
    /// for what each says, which is left as it is found: without anything.
    pub fn met(&self, holders: &Holders, said: &mut Vec<f32>) -> Vec<Met> {
        if said.len() < holders.end {
            said.resize(holders.end, 0.0);
        }
        let mut met = Vec::new();
        for one in self.telling.iter().skip(self.unasked) {
            for place in holders.of(one.fact) {
                let Some(said) = said.get_mut(place) else {
                    continue;
                };
                if *said == 0.0 {
                    met.push(place);
                }
                *said += one.weight as f32;
            }
        }
        let unasked: f64 = self.unasked().iter().map(|one| one.weight).sum();
        let wanted = rounded_off(self.from - unasked);
        let enough = met.into_iter().filter_map(|place| {
            let said = said.get_mut(place).map(std::mem::take)?;
            (said >= wanted).then_some(Met { place, said })
        });
        let mut enough: Vec<Met> = enough.collect();
        enough.sort_unstable_by_key(|one| one.place);
        enough
    }

    /// Whether what another set shares with it may say enough: seen by the facts alone that were not asked for.
    pub fn may_share(&self, theirs: &[IndexedFact], said: f32) -> bool {
        let unasked = self.unasked().iter();
        let shared = unasked.filter(|own| theirs.binary_search(&own.fact).is_ok());
        let more: f64 = shared.map(|one| one.weight).sum();
        said + more as f32 >= rounded_off(self.from)
    }

    /// Whether what another set shares with it says as much together.
    pub fn shares(&self, theirs: &[IndexedFact], from: f64) -> bool {
        let shared = self.telling.iter();
        let shared = shared.filter(|own| theirs.binary_search(&own.fact).is_ok());
        let shared: SmallVec<[Telling; 8]> = shared.copied().collect();
        // together they say no more than each alone
        let alone: f64 = shared.iter().map(|one| one.weight).sum();
        let start = |start| holds_start(self.facts, start) && holds_start(theirs, start);
        alone >= from && self.counts.said(&shared, start) >= from
    }
}

/// A little less, for what short numbers round off.
fn rounded_off(wanted: f64) -> f32 {
    (wanted * (1.0 - 1e-4)) as f32
}

/// Each of some facts once, which are in order.
fn distinct(facts: &[IndexedFact]) -> impl Iterator<Item = &IndexedFact> {
    facts
        .chunk_by(|a, b| a == b)
        .filter_map(|same| same.first())
}

/// A fact that is not common, with what it says alone: the logarithm of how many sets there are to each that holds it.
#[derive(Clone, Copy, Debug)]
struct Telling {
    fact: IndexedFact,
    weight: f64,
}

impl Telling {
    /// The volume, if it is one that was delivered.
    fn delivered(&self) -> Option<i64> {
        let (kind, volume) = self.fact;
        (kind == Kind::DELIVERED).then_some(volume)
    }
}

impl Counts {
    fn telling(&self, fact: IndexedFact) -> Option<Telling> {
        let share = self.share(fact);
        let weight = -share.ln();
        (share <= COMMON).then_some(Telling { fact, weight })
    }

    /// What facts say together. Where a volume and the start are the same the end is no news; and who shares one volume
    /// shares another more easily: beside the rarest each says no more than how seldom titrations of one set lie so far
    /// apart.
    fn said(&self, shared: &[Telling], is_start: impl Fn(i64) -> bool) -> f64 {
        let volumes = || shared.iter().filter(|one| one.delivered().is_some());
        let mut follow: SmallVec<[IndexedFact; 8]> = SmallVec::new();
        for volume in volumes().filter_map(Telling::delivered) {
            for (_, end) in shared
                .iter()
                .map(|one| one.fact)
                .filter(|fact| fact.0 == Kind::END)
            {
                let start = end.saturating_sub(volume);
                if is_start(start) {
                    follow.extend([(Kind::END, end), last_digits(start, end)]);
                }
            }
        }
        let alone = shared.iter().filter(|one| one.delivered().is_none());
        let alone = alone.filter(|one| !follow.contains(&one.fact));
        let rarest =
            volumes().min_by(|a, b| b.weight.total_cmp(&a.weight).then(a.fact.cmp(&b.fact)));
        let beside = volumes().map(|one| match rarest {
            Some(rarest) if rarest.fact != one.fact => self.beside(one, rarest),
            _ => one.weight,
        });
        alone.map(|one| one.weight).chain(beside).sum()
    }

    fn beside(&self, one: &Telling, rarest: &Telling) -> f64 {
        let volumes = one.delivered().zip(rarest.delivered());
        let apart = volumes.map_or(0, |(one, other)| one.saturating_sub(other));
        let there = |apart: i64| self.count(Kind::RUN_IN_APART, apart..=apart, &[]);
        let ((more, all), (less, _)) = (there(apart), there(apart.saturating_neg()));
        // where none lies so far apart the logarithm is that of nothing, and the fact says what it says alone
        (all / more.max(less)).ln().max(0.0).min(one.weight)
    }
}

fn last_digits(start: i64, end: i64) -> IndexedFact {
    let digits = |reading: i64| reading.rem_euclid(MILLILITRE);
    let both = digits(start)
        .saturating_mul(MILLILITRE)
        .saturating_add(digits(end));
    (Kind::LAST_DIGITS, both)
}

/// Whether a burette stood there before one of the titrations.
fn holds_start(facts: &[IndexedFact], start: i64) -> bool {
    let fillings = [Kind::FIRST_FILLING, Kind::LATER_FILLING];
    fillings
        .iter()
        .any(|kind| facts.binary_search(&(*kind, start)).is_ok())
}

/// By how many of the first of some facts, which are in order, a set meets others.
pub(super) fn meeting(facts: &[IndexedFact]) -> usize {
    facts.partition_point(|(kind, _)| kind.is_met())
}

/// What a set says, by someone with that bottle; in order.
pub(super) fn facts_of(sheet: &Sheet, bottle: Option<u32>) -> Vec<IndexedFact> {
    let mut facts = Vec::new();
    let first = sheet.numbered().first().copied();
    let run_in = |place: usize| Some(sheet.rows.get(place)?.titres.first()?.delivered);
    let first_volume = first.and_then(run_in);
    for (place, row) in sheet.rows.iter().enumerate() {
        if let (Some(volume), Some(first_volume)) = (run_in(place), first_volume)
            && Some(place) != first
        {
            facts.push((Kind::RUN_IN_APART, volume.saturating_sub(first_volume)));
        }
        for titre in &row.titres {
            facts.push((Kind::DELIVERED, titre.delivered));
            // after a filling to zero the end is the volume once more
            if titre.start != 0 {
                facts.extend([(Kind::END, titre.end), last_digits(titre.start, titre.end)]);
            }
            match titre.stood {
                None => facts.push((Kind::FIRST_FILLING, titre.start)),
                Some(stood) if titre.start.saturating_sub(stood).abs() <= NEAR => {
                    facts.push((Kind::READ_AGAIN, titre.start.saturating_sub(stood)));
                }
                Some(_) => facts.push((Kind::LATER_FILLING, titre.start)),
            }
        }
        let amounts = row.amounts.iter();
        facts.extend(amounts.map(|(amount, reading)| (Kind::amount(*amount), *reading)));
        let delivered = row.titres.first().map(|titre| titre.delivered);
        if let Some(apart) = delivered.and_then(|volume| sheet.apart(row, volume)) {
            let kind = match row.trial.number() {
                Some(_) => Kind::APART,
                None => Kind::ROUGH_APART,
            };
            facts.push((kind, apart));
        }
        let numbered = row.trial.number().and(delivered);
        if let Some(volume) = numbered.and_then(|volume| row.to_nominal(volume)) {
            facts.push((Kind::OF_ANY_BOTTLE, volume));
            facts.extend(bottle.map(|bottle| (Kind::of_bottle(bottle), volume)));
        }
    }
    for amount in AMOUNTS {
        let own: SmallVec<[i64; 6]> = sheet.amounts(amount).collect();
        for (one, next) in own.iter().zip(own.iter().skip(1)) {
            facts.push((Kind::repeated(amount), i64::from(one == next)));
        }
    }
    facts.sort_unstable();
    facts.shrink_to_fit();
    facts
}
