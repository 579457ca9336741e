//! What a course holds by its students' places. Copies share what neither has changed since: the image that readers have
//! and the next one are two copies, and most of a course is the same in both.

use std::iter::FusedIterator;
use std::slice;
use std::sync::Arc;

use super::Slot;
use crate::ids::{ExperimentKey, StudentId};

/// A map in order of the slots. To copy it costs as much as there are leaves; to change a copy, a leaf.
#[derive(Clone, Debug)]
pub struct BySlot<V> {
    /// In order, and none is empty. No slot of a leaf is before the one beside it, which is looked for: leaves lie
    /// anywhere in memory.
    leaves: Vec<(Slot, Arc<Leaf<V>>)>,
}

type Leaf<V> = Vec<(Slot, V)>;

/// Most entries of a leaf: more would cost a change more, fewer a copy.
const MOST: usize = 32;

/// The entries of a [`BySlot`] in order.
#[derive(Debug)]
pub struct Entries<'m, V> {
    leaves: slice::Iter<'m, (Slot, Arc<Leaf<V>>)>,
    leaf: slice::Iter<'m, (Slot, V)>,
}

impl<V> BySlot<V> {
    pub const fn new() -> Self {
        Self { leaves: Vec::new() }
    }

    pub fn len(&self) -> usize {
        self.leaves.iter().map(|(_, leaf)| leaf.len()).sum()
    }

    pub fn is_empty(&self) -> bool {
        self.leaves.is_empty()
    }

    pub fn get(&self, slot: &Slot) -> Option<&V> {
        self.get_key_value(slot).map(|(_, value)| value)
    }

    /// The same with the map's own slot, which lives as long.
    pub fn get_key_value(&self, slot: &Slot) -> Option<(&Slot, &V)> {
        let (leaf, place) = self.place(slot);
        let (_, leaf) = self.leaves.get(leaf)?;
        let (own, value) = leaf.get(place.ok()?)?;
        Some((own, value))
    }

    pub fn contains_key(&self, slot: &Slot) -> bool {
        self.get(slot).is_some()
    }

    pub fn iter(&self) -> Entries<'_, V> {
        Entries {
            leaves: self.leaves.iter(),
            leaf: [].iter(),
        }
    }

    pub fn keys(&self) -> impl Iterator<Item = &Slot> {
        self.iter().map(|(slot, _)| slot)
    }

    pub fn values(&self) -> impl Iterator<Item = &V> {
        self.iter().map(|(_, value)| value)
    }

    /// The entries of one experiment, in order of the students' ids.
    pub fn of_experiment<'m>(
        &'m self,
        experiment: &ExperimentKey,
    ) -> impl Iterator<Item = (&'m Slot, &'m V)> + use<'m, V> {
        let first = Slot::new(experiment, &StudentId::new(""));
        let (leaf, place) = self.place(&first);
        let place = place.unwrap_or_else(|place| place);
        let mut leaves = self.leaves.get(leaf..).unwrap_or_default().iter();
        let rest = leaves.next().and_then(|(_, leaf)| leaf.get(place..));
        let leaf = rest.unwrap_or_default().iter();
        let from = Entries { leaves, leaf };
        from.take_while(move |(slot, _)| slot.experiment == first.experiment)
    }

    /// The leaf that has a slot, or would have it, and where in it.
    fn place(&self, slot: &Slot) -> (usize, Result<usize, usize>) {
        let after = self.leaves.partition_point(|(first, _)| first <= slot);
        let at = after.saturating_sub(1);
        let leaf = self.leaves.get(at);
        let place = leaf.map(|(_, leaf)| leaf.binary_search_by(|(own, _)| own.cmp(slot)));
        (at, place.unwrap_or(Err(0)))
    }
}

impl<V: Clone> BySlot<V> {
    /// Puts a value in the place of the one that stood there, which is returned.
    pub fn insert(&mut self, slot: Slot, value: V) -> Option<V> {
        match self.get_mut(&slot) {
            Some(own) => Some(std::mem::replace(own, value)),
            None => {
                self.put_new((slot, value));
                None
            }
        }
    }

    pub fn get_mut(&mut self, slot: &Slot) -> Option<&mut V> {
        let (leaf, place) = self.place(slot);
        let place = place.ok()?;
        let (_, leaf) = self.leaves.get_mut(leaf)?;
        let leaf = Arc::make_mut(leaf);
        leaf.get_mut(place).map(|(_, value)| value)
    }

    pub fn remove(&mut self, slot: &Slot) -> Option<V> {
        let (at, place) = self.place(slot);
        let place = place.ok()?;
        let (_, leaf) = self.leaves.get_mut(at)?;
        let leaf = Arc::make_mut(leaf);
        let (_, value) = leaf.remove(place);
        if leaf.is_empty() {
            self.leaves.remove(at);
        }
        Some(value)
    }

    pub fn iter_mut(&mut self) -> impl Iterator<Item = (&Slot, &mut V)> {
        let leaves = self.leaves.iter_mut();
        let leaves = leaves.map(|(_, leaf)| Arc::make_mut(leaf));
        leaves.flatten().map(|(slot, value)| (&*slot, value))
    }

    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut V> {
        self.iter_mut().map(|(_, value)| value)
    }

    fn put_new(&mut self, entry: (Slot, V)) {
        let (at, place) = self.place(&entry.0);
        let (Some((first, leaf)), Err(place)) = (self.leaves.get_mut(at), place) else {
            return self.leaves.push(of_its_own(vec![entry]));
        };
        if entry.0 < *first {
            first.clone_from(&entry.0);
        }
        let leaf = Arc::make_mut(leaf);
        if leaf.len() < MOST {
            leaf.reserve_exact(1);
            return leaf.insert(place, entry);
        }
        // most come in order: what is full then stays full
        let middle = if place == MOST { MOST } else { MOST / 2 };
        let mut next = leaf.split_off(middle);
        match place.checked_sub(middle) {
            Some(place) => next.insert(place, entry),
            None => leaf.insert(place, entry),
        }
        self.leaves.insert(at.saturating_add(1), of_its_own(next));
    }
}

/// A leaf by its first slot.
fn of_its_own<V>(leaf: Leaf<V>) -> (Slot, Arc<Leaf<V>>) {
    let first = leaf.first().map(|(slot, _)| slot.clone());
    (first.unwrap_or_default(), Arc::new(leaf))
}

impl<T: Clone> BySlot<Vec<T>> {
    /// Adds to what a slot has in order.
    pub fn push(&mut self, slot: &Slot, one: T) {
        match self.get_mut(slot) {
            Some(all) => {
                // most have one
                all.reserve_exact(1);
                all.push(one);
            }
            None => self.put_new((slot.clone(), vec![one])),
        }
    }
}

impl<V> Default for BySlot<V> {
    fn default() -> Self {
        Self::new()
    }
}

impl<V: PartialEq> PartialEq for BySlot<V> {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

/// Of two with one slot the last counts.
impl<V: Clone> Extend<(Slot, V)> for BySlot<V> {
    fn extend<I: IntoIterator<Item = (Slot, V)>>(&mut self, entries: I) {
        for (slot, value) in entries {
            self.insert(slot, value);
        }
    }
}

/// Of two with one slot the last counts.
impl<V: Clone> FromIterator<(Slot, V)> for BySlot<V> {
    fn from_iter<I: IntoIterator<Item = (Slot, V)>>(entries: I) -> Self {
        let mut all = Self::new();
        all.extend(entries);
        all
    }
}

impl<'m, V> IntoIterator for &'m BySlot<V> {
    type Item = (&'m Slot, &'m V);
    type IntoIter = Entries<'m, V>;

    fn into_iter(self) -> Entries<'m, V> {
        self.iter()
    }
}

impl<'m, V> Iterator for Entries<'m, V> {
    type Item = (&'m Slot, &'m V);

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some((slot, value)) = self.leaf.next() {
                return Some((slot, value));
            }
            self.leaf = self.leaves.next()?.1.iter();
        }
    }
}

impl<V> FusedIterator for Entries<'_, V> {}
