//! Which groups look off: one after the other, whichever explains most, with a look back after each.

use std::collections::BTreeMap;

use super::AUDIT_LEVEL;
use super::crossed::Crossed;
use super::drift::drift;
use super::few::{Class, Seen, is_judged};
use super::fit::{Effect, Looked, Selected};
use super::group::{AuditGroup, Rival, Ruled, Verdict};
use crate::stats::{holm, two_sided_t_p};

/// Fewest results by which one group is told from another.
const FEWEST_TO_TELL: usize = 3;

/// Level at which a lot may drift, over all lots of an experiment together. A line that is not level has one parameter
/// more than a shift, and is looked for in every term.
const DRIFT_LEVEL: f64 = 0.001;

/// The groups that look off.
pub(super) struct Attribution<'a> {
    crossed: &'a Crossed,
    /// As they are fitted together.
    effects: Vec<Effect>,
    /// The results beside them.
    class: Class,
    /// Groups that are tested.
    tested: usize,
    /// By group.
    looks: BTreeMap<usize, Look>,
}

/// A group as it was looked at last, beside those effects that touch it.
#[derive(Clone)]
struct Look {
    beside: Vec<Effect>,
    looked: Looked,
}

/// A named group with those that could be off instead of it.
struct Suspicion {
    named: usize,
    /// Each with its place among the groups.
    rivals: Vec<(usize, Rival)>,
    ruled_out: Vec<Ruled>,
}

impl<'a> Attribution<'a> {
    /// First with shifts alone; then with a drift of each lot that may have one, which is kept where all effects
    /// together are likelier so and no more of them are needed.
    pub fn of(crossed: &'a Crossed) -> Self {
        let mut best = Self::none(crossed).and_more();
        for _ in crossed.each() {
            let drifting = best.selected().filter(|selected| selected.drifts);
            let drifting: Vec<Selected> = drifting.collect();
            let others = |s: &Selected| !drifting.contains(s);
            let candidates = best.drifts().into_iter().filter(others);
            let attempts = candidates.map(|candidate| {
                let mut selected = drifting.clone();
                selected.push(candidate);
                Self::none(crossed).with(&selected).and_more()
            });
            let attempts: Vec<Self> = attempts.collect();
            if attempts.is_empty() {
                break;
            }
            let scatters = attempts
                .iter()
                .chain([&best])
                .map(|one| one.class.scatter());
            let scatter = scatters.fold(f64::INFINITY, f64::min);
            let cost = |one: &Self| one.cost(scatter);
            let simple = |attempt: &Self| attempt.parameters() <= best.parameters().max(2);
            let attempts = attempts.into_iter().filter(simple);
            let cheapest = attempts.min_by(|a, b| cost(a).total_cmp(&cost(b)));
            match cheapest {
                Some(next) if cost(&next) < cost(&best) => best = next,
                _ => break,
            }
        }
        best
    }

    fn none(crossed: &'a Crossed) -> Self {
        let judged = |group: &usize| {
            let n = crossed.groups[*group].results.len();
            is_judged(n, crossed.others(n))
        };
        let look = |group: usize| {
            let look = Look {
                beside: Vec::new(),
                looked: crossed.look(group, &[]),
            };
            (group, look)
        };
        Self {
            crossed,
            effects: Vec::new(),
            class: Class::of(crossed, &[]),
            tested: crossed.each().filter(judged).count(),
            looks: crossed.each().map(look).collect(),
        }
    }

    /// With those effects fitted together in place of what was allowed for.
    fn with(mut self, selected: &[Selected]) -> Self {
        self.allow_for(self.crossed.fit(selected));
        self
    }

    fn allow_for(&mut self, effects: Vec<Effect>) {
        self.class = Class::of(self.crossed, &effects);
        self.effects = effects;
        for group in self.crossed.each() {
            let beside = self.touching(group);
            // groups that share no results with what has changed are as they were
            if self.looks[&group].beside != beside {
                let looked = self.crossed.look(group, &beside);
                self.looks.insert(group, Look { beside, looked });
            }
        }
    }

    fn touching(&self, group: usize) -> Vec<Effect> {
        let members = &self.crossed.groups[group];
        let touches = |e: &&Effect| e.group == group || members.share_of(e.group) > 0.0;
        self.effects.iter().filter(touches).copied().collect()
    }

    fn and_more(mut self) -> Self {
        // each turn names one group or ends
        for _ in 0..self.tested {
            let Some(next) = self.next() else { break };
            let next = Selected {
                group: next,
                drifts: false,
            };
            let selected = self.selected().chain([next]).collect();
            let kept = self.look_back(selected);
            let named_in_vain = !kept.contains(&next);
            self.allow_for(self.crossed.fit(&kept));
            if named_in_vain {
                break;
            }
        }
        self
    }

    fn selected(&self) -> impl Iterator<Item = Selected> + '_ {
        self.effects.iter().map(Effect::selected)
    }

    fn is_selected(&self, group: usize) -> bool {
        self.effects.iter().any(|effect| effect.group == group)
    }

    /// Lots through whose results a line runs that is not level, by itself or beside what is allowed for.
    fn drifts(&self) -> Vec<Selected> {
        let is_lot = |group: &usize| self.crossed.groups[*group].name.kind.is_lot();
        let lots: Vec<usize> = self.crossed.each().filter(is_lot).collect();
        let level = DRIFT_LEVEL / lots.len().max(1) as f64;
        let runs = |group: &usize| {
            let line = self.crossed.line(*group, &[]);
            line.is_some_and(|line| line.p < level)
        };
        let drifting = lots.into_iter().filter(runs);
        drifting
            .map(|group| Selected {
                group,
                drifts: true,
            })
            .collect()
    }

    /// A shift has one, a line two.
    fn parameters(&self) -> usize {
        let lines = self.selected().filter(|selected| selected.drifts).count();
        self.effects.len().saturating_add(lines)
    }

    /// What the results, which scatter so much, cost beside the effects, with a price for each effect by the information criterion of G. Schwarz,
    /// Ann. Stat. 6 (1978) 461, and for having been chosen among all groups: half of twice the log likelihood, large
    /// errors counted as they are and not squared.
    fn cost(&self, scatter: f64) -> f64 {
        const WIDTH: f64 = 1.5;
        let crossed = self.crossed;
        let n = crossed.results() as f64;
        let loss = |left: f64| match (left / scatter).abs() {
            near if near <= WIDTH => near * near / 2.0,
            far => WIDTH * (far - WIDTH / 2.0),
        };
        let losses: f64 = crossed.all_lefts(&self.effects).into_iter().map(loss).sum();
        let is_lot = |group: &usize| crossed.groups[*group].name.kind.is_lot();
        let lots = (crossed.each().filter(is_lot).count() as f64).max(1.0);
        let groups = crossed.each().count() as f64;
        let price = |effect: &Effect| match effect.line {
            Some(_) => n.ln() + lots.ln(),
            None => n.ln() / 2.0 + groups.ln(),
        };
        losses + self.effects.iter().map(price).sum::<f64>()
    }

    fn p(&self, group: usize, effects: &[Effect], looked: &Looked) -> Option<f64> {
        self.class.p(self.crossed, group, effects, looked.p)
    }

    /// Of the groups that look off beside those found already, the one that explains most.
    fn next(&self) -> Option<usize> {
        let left = self.tested.saturating_sub(self.effects.len()).max(1) as f64;
        let level = AUDIT_LEVEL / left;
        let mut places = self.class.places(self.crossed, level);
        let mut best: Option<(usize, f64)> = None;
        for group in self.crossed.each() {
            let look = &self.looks[&group];
            if self.is_selected(group) {
                continue;
            }
            let by_t = look.looked.p.is_some_and(|p| p < level);
            if !by_t && !places.may_be_off(group, &look.beside) {
                continue;
            }
            let p = self.p(group, &look.beside, &look.looked);
            if p.is_none_or(|p| p * left >= AUDIT_LEVEL) {
                continue;
            }
            let shift = look.looked.own.percent;
            let gain = self.crossed.gain(group, shift, &look.beside);
            // of groups that hold the same results the first is kept: the bottle before the students
            if best.is_none_or(|(_, most)| gain > most + 1e-9) {
                best = Some((group, gain));
            }
        }
        best.map(|(group, _)| group)
    }

    /// Leaves out, one at a time, what no longer looks off beside the others.
    fn look_back(&self, mut selected: Vec<Selected>) -> Vec<Selected> {
        while selected.len() > 1 {
            let effects = self.crossed.fit(&selected);
            let class = Class::of(self.crossed, &effects);
            let p = |one: &Selected| {
                let looked = self.crossed.look(one.group, &effects);
                class
                    .p(self.crossed, one.group, &effects, looked.p)
                    .unwrap_or(1.0)
            };
            let weakest = selected
                .iter()
                .map(|one| (*one, p(one)))
                .max_by(|a, b| a.1.total_cmp(&b.1));
            match weakest {
                Some((one, p)) if p * self.tested as f64 >= AUDIT_LEVEL => {
                    selected.retain(|kept| *kept != one);
                }
                _ => break,
            }
        }
        selected
    }

    /// Whether no group looks off.
    pub fn is_quiet(&self) -> bool {
        self.effects.is_empty()
    }

    /// Every group summed up.
    pub fn groups(&self) -> Vec<AuditGroup> {
        let crossed = self.crossed;
        let suspicions: Vec<Suspicion> = self
            .effects
            .iter()
            .map(|effect| self.suspicion(effect))
            .collect();
        let class = Class::of(crossed, &[]);
        let mut seen = Seen::of(crossed, self.tested);
        let mut groups = Vec::new();
        for at in crossed.each() {
            let members = &crossed.groups[at];
            let raw = crossed.look(at, &[]);
            let (mut looked, mut p, mut verdict) = self.apart(at, &raw, &class);
            for Suspicion {
                named,
                rivals,
                ruled_out,
            } in &suspicions
            {
                if *named == at {
                    let effect = self.effects.iter().find(|effect| effect.group == at);
                    let rivals = rivals.iter().map(|(_, rival)| rival.clone());
                    verdict = Verdict::Off {
                        first: true,
                        drift: effect.and_then(|e| drift(crossed, e, &self.effects)),
                        rivals: rivals.collect(),
                        ruled_out: ruled_out.clone(),
                    };
                } else if let Some((_, rival)) = rivals.iter().find(|(rival, _)| *rival == at) {
                    let others = self.without(*named);
                    looked = crossed.look(at, &others);
                    p = self.p(at, &others, &looked);
                    verdict = Verdict::Off {
                        first: false,
                        drift: None,
                        rivals: vec![Rival {
                            group: crossed.groups[*named].name.clone(),
                            same_results: rival.same_results,
                        }],
                        ruled_out: Vec::new(),
                    };
                }
            }
            let contract = raw.own.standard_percent.hypot(crossed.stated(at));
            let joined = looked.own.joined_percent;
            let seen_from =
                p.and_then(|_| seen.from(&self.class, at, &self.looks[&at].beside, joined));
            groups.push(AuditGroup {
                name: members.name.clone(),
                members: members.results.clone(),
                bias_percent: raw.own.percent,
                scatter_percent: raw.scatter,
                bias_uncertainty_percent: contract,
                own: looked.own,
                p_value: p,
                adjusted_p: None,
                seen_from_percent: seen_from,
                verdict,
            });
        }
        adjust(&mut groups);
        groups
    }

    /// A group that is not named, beside those that are.
    fn apart(&self, group: usize, raw: &Looked, class: &Class) -> (Looked, Option<f64>, Verdict) {
        let Look { beside, looked } = &self.looks[&group];
        let p = self.p(group, beside, looked);
        if p.is_none() {
            return (*looked, p, Verdict::TooFew);
        }
        let raw = class.p(self.crossed, group, &[], raw.p);
        let seemed_off = raw.is_some_and(|p| p * self.tested as f64 <= AUDIT_LEVEL);
        let members = &self.crossed.groups[group];
        // a quarter of its results at least: fewer do not move a robust mean
        let explains = |other: &usize| members.share_of(*other) >= 0.25;
        let explained_by = self
            .selected()
            .map(|selected| selected.group)
            .filter(|_| seemed_off)
            .filter(explains)
            .map(|other| self.crossed.groups[other].name.clone());
        let explained_by = explained_by.collect();
        (*looked, p, Verdict::Agrees { explained_by })
    }

    fn without(&self, group: usize) -> Vec<Effect> {
        let others = self.effects.iter().filter(|effect| effect.group != group);
        others.copied().collect()
    }

    /// Groups that could be off instead of a named one: those that cannot be told from it, and those that can. Were
    /// another the cause, the named group's results outside it would not be off, and its own others would be. Instead of
    /// a drift only what holds the very same results could be off.
    fn suspicion(&self, effect: &Effect) -> Suspicion {
        let (crossed, named) = (self.crossed, effect.group);
        let others = self.without(named);
        let looked = crossed.look(named, &others);
        let members = &crossed.groups[named];
        let n = members.results.len();
        let freedom = n as f64 - 1.0;
        let scatter = if crossed.is_few(named) {
            crossed.scatter()
        } else {
            looked.scatter
        };
        let differs = |results: &[usize], from: f64| {
            if results.len() < FEWEST_TO_TELL {
                return false;
            }
            let found = crossed.robust(results, &others, None);
            let standard = 1.25 * scatter / (results.len() as f64).sqrt();
            two_sided_t_p((found.mean - from) / standard, freedom) < AUDIT_LEVEL
        };
        let (mut rivals, mut ruled_out) = (Vec::new(), Vec::new());
        let mut neighbours: Vec<usize> = members.neighbours().collect();
        neighbours.sort_by_key(|group| &crossed.groups[*group].name);
        for at in neighbours {
            let group = &crossed.groups[at];
            let (outside, inside) = (crossed.outside(named, at), crossed.outside(at, named));
            if group.name.kind == members.name.kind || self.is_selected(at) {
                continue;
            }
            let same_results = outside.is_empty() && inside.is_empty();
            if effect.line.is_some() && !same_results {
                continue;
            }
            let off_outside = differs(&outside, 0.0).then_some(outside.len());
            let sound_inside = differs(&inside, looked.own.percent).then_some(inside.len());
            let name = group.name.clone();
            if off_outside.is_some() || sound_inside.is_some() {
                // only those that hold most of its results were ever in question
                if outside.len() <= n / 2 {
                    ruled_out.push(Ruled {
                        group: name,
                        off_outside,
                        sound_inside,
                    });
                }
            } else {
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
