//! Sets of one section and of one bottle.

use std::collections::HashMap;

use super::member::Member;

/// So few mates are all laid beside a set: of few a limit may ask for so little that it would meet everybody.
const FEW_MATES: usize = 64;

/// All sets by section and by bottle, by their places.
#[derive(Clone, Debug, Default)]
pub(super) struct Mates {
    sections: HashMap<String, Vec<usize>>,
    bottles: HashMap<Option<u32>, Vec<usize>>,
    sets: usize,
}

/// The mates of a set that are few; that of which there are more is left out.
#[derive(Debug, Default)]
pub(super) struct Near {
    /// Whether those of its section are among them.
    pub has_section: bool,
    /// Whether those of its bottle are.
    pub has_bottle: bool,
    /// Once or twice each, itself among them.
    pub places: Vec<usize>,
}

impl Mates {
    pub fn insert(&mut self, member: &Member) {
        let section = self.sections.entry(member.section.clone()).or_default();
        section.push(member.place);
        let bottle = self.bottles.entry(member.last.bottle).or_default();
        bottle.push(member.place);
        self.sets = self.sets.saturating_add(1);
    }

    pub fn remove(&mut self, member: &Member) {
        let section = self.sections.get_mut(&member.section);
        let bottle = self.bottles.get_mut(&member.last.bottle);
        for mates in section.into_iter().chain(bottle) {
            mates.retain(|place| *place != member.place);
        }
        self.sets = self.sets.saturating_sub(1);
    }

    pub fn near(&self, member: &Member) -> Near {
        let of = |bottle: Option<u32>| self.bottles.get(&bottle).map_or(&[][..], Vec::as_slice);
        let mut near = Near::default();
        let section = self.sections.get(&member.section);
        if let Some(section) = section.filter(|mates| mates.len() <= FEW_MATES) {
            near.has_section = true;
            near.places.extend(section);
        }
        // a bottle that nobody knows may be anybody's
        let (own, unknown) = (of(member.last.bottle), of(None));
        let of_bottle = match member.last.bottle {
            Some(_) => own.len().saturating_add(unknown.len()),
            None => self.sets,
        };
        if member.last.bottle.is_some() && of_bottle <= FEW_MATES {
            near.has_bottle = true;
            near.places.extend(own.iter().chain(unknown));
        }
        near
    }
}
