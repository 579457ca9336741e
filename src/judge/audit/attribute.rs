//! Which groups look off: one after the other, whichever explains most, with a look back after each.

use super::crossed::{Crossed, Effect, Looked};
use super::group::{AuditGroup, Rival, Ruled, Verdict};
use super::{AUDIT_LEVEL, FEWEST_TO_JUDGE};
use crate::stats::{holm, two_sided_t_p};

/// Fewest results by which one group is told from another.
const FEWEST_TO_TELL: usize = 3;

/// The groups that look off.
pub(super) struct Attribution<'a> {
    crossed: &'a Crossed,
    /// As they are fitted together.
    effects: Vec<Effect>,
    /// Groups that are tested.
    tested: usize,
}

/// A named group with those that could be off instead of it.
struct Suspicion {
    named: usize,
    /// Each with its place among the groups.
    rivals: Vec<(usize, Rival)>,
    ruled_out: Vec<Ruled>,
}

impl<'a> Attribution<'a> {
    pub fn of(crossed: &'a Crossed) -> Self {
        let big = |g: &&super::crossed::Members| g.results.len() >= FEWEST_TO_JUDGE;
        let mut found = Self {
            crossed,
            effects: Vec::new(),
            tested: crossed.groups.iter().filter(big).count(),
        };
        // each turn names one group or ends
        for _ in 0..found.tested {
            let Some(next) = found.next() else { break };
            let selected = found.selected().chain([next]).collect();
            let kept = found.look_back(selected);
            let named_in_vain = !kept.contains(&next);
            found.effects = crossed.fit(&kept);
            if named_in_vain {
                break;
            }
        }
        found
    }

    fn selected(&self) -> impl Iterator<Item = usize> + '_ {
        self.effects.iter().map(|effect| effect.group)
    }

    /// Of the groups that look off beside those found already, the one that explains most.
    fn next(&self) -> Option<usize> {
        let left = self.tested.saturating_sub(self.effects.len()).max(1) as f64;
        let mut best: Option<(usize, f64)> = None;
        for group in 0..self.crossed.groups.len() {
            if self.selected().any(|selected| selected == group) {
                continue;
            }
            let looked = self.crossed.look(group, &self.effects);
            if looked.p.is_none_or(|p| p * left >= AUDIT_LEVEL) {
                continue;
            }
            let shift = looked.own.percent;
            let gain = self.crossed.gain(group, shift, &self.effects);
            // of groups that hold the same results the first is kept: the bottle before the students
            if best.is_none_or(|(_, most)| gain > most + 1e-9) {
                best = Some((group, gain));
            }
        }
        best.map(|(group, _)| group)
    }

    /// Leaves out, one at a time, what no longer looks off beside the others.
    fn look_back(&self, mut selected: Vec<usize>) -> Vec<usize> {
        while selected.len() > 1 {
            let effects = self.crossed.fit(&selected);
            let p = |group: usize| self.crossed.look(group, &effects).p.unwrap_or(1.0);
            let weakest = selected
                .iter()
                .map(|group| (*group, p(*group)))
                .max_by(|a, b| a.1.total_cmp(&b.1));
            match weakest {
                Some((group, p)) if p * self.tested as f64 >= AUDIT_LEVEL => {
                    selected.retain(|kept| *kept != group);
                }
                _ => break,
            }
        }
        selected
    }

    /// Every group summed up.
    pub fn groups(&self) -> Vec<AuditGroup> {
        let crossed = self.crossed;
        let suspicions: Vec<Suspicion> =
            self.selected().map(|group| self.suspicion(group)).collect();
        let mut groups = Vec::new();
        for (at, members) in crossed.groups.iter().enumerate() {
            let raw = crossed.look(at, &[]);
            let (mut looked, mut verdict) = self.apart(at, &raw);
            for Suspicion {
                named,
                rivals,
                ruled_out,
            } in &suspicions
            {
                if *named == at {
                    let rivals = rivals.iter().map(|(_, rival)| rival.clone());
                    verdict = Verdict::Off {
                        first: true,
                        rivals: rivals.collect(),
                        ruled_out: ruled_out.clone(),
                    };
                } else if let Some((_, rival)) = rivals.iter().find(|(rival, _)| *rival == at) {
                    let others = self.without(*named);
                    looked = crossed.look(at, &others);
                    verdict = Verdict::Off {
                        first: false,
                        rivals: vec![Rival {
                            group: crossed.groups[*named].name.clone(),
                            same_results: rival.same_results,
                        }],
                        ruled_out: Vec::new(),
                    };
                }
            }
            let contract = raw.own.standard_percent.hypot(crossed.stated(at));
            groups.push(AuditGroup {
                name: members.name.clone(),
                members: members.results.clone(),
                bias_percent: raw.own.percent,
                scatter_percent: raw.scatter,
                bias_uncertainty_percent: contract,
                own: looked.own,
                p_value: looked.p,
                adjusted_p: None,
                verdict,
            });
        }
        adjust(&mut groups);
        groups
    }

    /// A group that is not named, beside those that are.
    fn apart(&self, group: usize, raw: &Looked) -> (Looked, Verdict) {
        let looked = self.crossed.look(group, &self.effects);
        if looked.p.is_none() {
            return (looked, Verdict::TooFew);
        }
        let seemed_off = raw.p.is_some_and(|p| p * self.tested as f64 <= AUDIT_LEVEL);
        let members = &self.crossed.groups[group];
        // a quarter of its results at least: fewer do not move a robust mean
        let explains = |other: &usize| members.share_of(&self.crossed.groups[*other]) >= 0.25;
        let explained_by = self
            .selected()
            .filter(|_| seemed_off)
            .filter(explains)
            .map(|other| self.crossed.groups[other].name.clone());
        let explained_by = explained_by.collect();
        (looked, Verdict::Agrees { explained_by })
    }

    fn without(&self, group: usize) -> Vec<Effect> {
        let others = self.effects.iter().filter(|effect| effect.group != group);
        others.copied().collect()
    }

    /// Groups that could be off instead of a named one: those that cannot be told from it, and those that can. Were
    /// another the cause, the named group's results outside it would not be off, and its own others would be.
    fn suspicion(&self, named: usize) -> Suspicion {
        let crossed = self.crossed;
        let others = self.without(named);
        let looked = crossed.look(named, &others);
        let members = &crossed.groups[named];
        let freedom = members.results.len() as f64 - 1.0;
        let differs = |results: &[usize], from: f64| {
            let n = results.len();
            if n < FEWEST_TO_TELL {
                return false;
            }
            let found = crossed.robust(results, &others, None);
            let standard = 1.25 * looked.scatter / (n as f64).sqrt();
            two_sided_t_p((found.mean - from) / standard, freedom) < AUDIT_LEVEL
        };
        let (mut rivals, mut ruled_out) = (Vec::new(), Vec::new());
        for (at, group) in crossed.groups.iter().enumerate() {
            let (outside, inside) = (members.outside(group), group.outside(members));
            let apart = outside.len() == members.results.len();
            let same_kind = group.name.kind == members.name.kind;
            if apart || same_kind || self.selected().any(|selected| selected == at) {
                continue;
            }
            let off_outside = differs(&outside, 0.0).then_some(outside.len());
            let sound_inside = differs(&inside, looked.own.percent).then_some(inside.len());
            let name = group.name.clone();
            if off_outside.is_some() || sound_inside.is_some() {
                // only those that hold most of its results were ever in question
                if outside.len() <= members.results.len() / 2 {
                    ruled_out.push(Ruled {
                        group: name,
                        off_outside,
                        sound_inside,
                    });
                }
            } else {
                let same_results = outside.is_empty() && inside.is_empty();
                rivals.push((
                    at,
                    Rival {
                        group: name,
                        same_results,
                    },
                ));
            }
        }
        Suspicion {
            named,
            rivals,
            ruled_out,
        }
    }
}

/// Probabilities over all groups together.
fn adjust(groups: &mut [AuditGroup]) {
    let p: Vec<f64> = groups.iter().filter_map(|group| group.p_value).collect();
    let tested = groups.iter_mut().filter(|group| group.p_value.is_some());
    for (group, adjusted) in tested.zip(holm(&p)) {
        group.adjusted_p = Some(adjusted);
    }
}
