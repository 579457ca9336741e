//! What a class shows about each of its submissions, kept beside the judgements: what is handed in alters what it touches,
//! and the same book comes out as if everything were gathered anew.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::gather::{Gather, Where};
use super::{Judged, Roster, Slot, Term};
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::{
    ClassEvidence, ClassSpread, Consensus, DefaultLots, EndDigits, Habits, LikenessIndex,
    ScatterShare, TermScatter, audited_if_off, class_scatter, median_of_s, pooled_digits,
    pooled_scatter, shifts_at,
};
use crate::measure::{as_f64, from_f64};
use crate::stats::median;

/// What the classes of a term show. Empty, it is filled by the first judgements.
#[derive(Debug, Default)]
pub struct ClassBook {
    /// Whose places in it the others hold.
    roster: Roster,
    shares: BTreeMap<ExperimentKey, Shares>,
    classes: BTreeMap<ExperimentKey, ClassPage>,
    /// Who shares readings with whom: kept while a class is told anew, and lent to those who only try a change.
    likeness: BTreeMap<ExperimentKey, Arc<LikenessIndex>>,
}

/// How far each student's trials of an experiment lie apart.
#[derive(Debug, Default)]
struct Shares {
    by_place: BTreeMap<usize, ScatterShare>,
    class_s: Option<f64>,
}

/// What the class of an experiment shows.
#[derive(Debug)]
struct ClassPage {
    gather: Gather,
    /// Each student's s over the one expected of it.
    within: BTreeMap<usize, f64>,
    spread: ClassSpread,
    /// By place, of those whose results are shifted.
    consensus: BTreeMap<usize, Consensus>,
}

/// Whose habits may look otherwise.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Touched {
    Some(BTreeSet<StudentId>),
    All,
}

impl Touched {
    pub fn none() -> Self {
        Self::Some(BTreeSet::new())
    }

    pub fn add(&mut self, student: &StudentId) {
        if let Self::Some(students) = self {
            students.insert(student.clone());
        }
    }
}

impl ClassBook {
    /// Follows the roster of a term. What an experiment shows is told anew where the roster is another.
    pub(super) fn follow(&mut self, term: &Term) {
        let same = self.roster.is_of_the_same(&term.students);
        let roster = term.students.clone();
        *self = match same {
            true => Self {
                roster,
                ..std::mem::take(self)
            },
            false => Self {
                roster,
                ..Self::default()
            },
        };
    }

    /// What is worth having of it to whoever tries a change.
    pub fn lent(&self) -> Self {
        Self {
            roster: self.roster.clone(),
            likeness: self.likeness.clone(),
            ..Self::default()
        }
    }

    /// Takes up what a trial has told that is not told here. Before it is used it is held against the term.
    pub fn take_up(&mut self, lent: Self) {
        if self.roster.is_empty() {
            self.roster = lent.roster;
        } else if !self.roster.is_of_the_same(&lent.roster) {
            return;
        }
        for (experiment, index) in lent.likeness {
            self.likeness.entry(experiment).or_insert(index);
        }
    }

    pub(super) fn has_class(&self, experiment: &ExperimentKey) -> bool {
        self.classes.contains_key(experiment)
    }

    /// Lets go of what is only wanted where something of the experiment changes.
    pub(super) fn close(&mut self, experiment: &ExperimentKey) {
        self.classes.remove(experiment);
        self.likeness.remove(experiment);
    }

    pub(super) fn default_lots(&self, experiment: &ExperimentKey, section: &str) -> DefaultLots {
        let class = self.classes.get(experiment);
        class
            .map(|class| class.gather.default_lots(section))
            .unwrap_or_default()
    }

    /// Fills the pages of an experiment anew.
    pub(super) fn fill(&mut self, at: Where, gather: Gather, results: &BTreeMap<&Slot, &Judged>) {
        let (procedure, peers) = (&at.experiment.procedure, at.term.peers(at.experiment));
        let held = self.likeness.remove(&at.experiment.key);
        let held = held.filter(|held| held.is_of(procedure, &peers));
        let likeness = held.unwrap_or_else(|| Arc::new(LikenessIndex::of(procedure, &peers)));
        self.likeness.insert(at.experiment.key.clone(), likeness);
        let mut class = ClassPage {
            gather,
            within: BTreeMap::new(),
            spread: ClassSpread::default(),
            consensus: BTreeMap::new(),
        };
        for (slot, judged) in results {
            class.put(at, slot, Some(judged));
        }
        class.conclude(at);
        self.classes.insert(at.experiment.key.clone(), class);
    }

    /// Takes in what was handed in last. Returns whose evidence may be another.
    pub(super) fn put(&mut self, at: Where, results: &BTreeMap<&Slot, Option<&Judged>>) -> Touched {
        let mut touched = Touched::none();
        let key = &at.experiment.key;
        let page = self.classes.get_mut(key);
        let Some((class, likeness)) = page.zip(self.likeness.get_mut(key)) else {
            return touched;
        };
        let likeness = Arc::make_mut(likeness);
        let mut peers = Vec::new();
        for (slot, judged) in results {
            touched.add(&slot.student);
            class.put(at, slot, *judged);
            let peer = at.place(&slot.student);
            peers.extend(peer.and_then(|student| at.term.peer(at.experiment, student)));
        }
        for place in likeness.update_all(&at.experiment.procedure, &peers) {
            let students = at.term.students.get(place).into_iter();
            students.for_each(|student| touched.add(&student.id));
        }
        let (spread, before) = (class.spread, std::mem::take(&mut class.consensus));
        class.conclude(at);
        if class.spread != spread {
            return Touched::All;
        }
        let places = before.keys().chain(class.consensus.keys());
        let others = places.filter(|place| before.get(*place) != class.consensus.get(*place));
        let students = others.filter_map(|place| at.term.students.get(*place));
        students.for_each(|student| touched.add(&student.id));
        touched
    }

    /// Takes in how far trials lie apart: all of an experiment, or those of some students.
    pub(super) fn share<'j>(
        &mut self,
        experiment: &ExperimentKey,
        all: bool,
        results: impl Iterator<Item = (&'j Slot, Option<&'j Judged>)>,
        touched: &mut Touched,
    ) {
        let shares = self.shares.entry(experiment.clone()).or_default();
        if all {
            shares.by_place.clear();
        }
        for (slot, judged) in results {
            let Some(place) = self.roster.place(&slot.student) else {
                continue;
            };
            match judged.and_then(|judged| judged.evaluation.scatter) {
                Some(share) => shares.by_place.insert(place, share),
                None => shares.by_place.remove(&place),
            };
            touched.add(&slot.student);
        }
        // three figures, so that one more hand-in seldom shows a whole class otherwise
        let class_s =
            class_scatter(shares.by_place.values()).and_then(|s| from_f64(s, 3).map(as_f64));
        if shares.class_s != class_s {
            shares.class_s = class_s;
            *touched = Touched::All;
        }
    }

    pub(super) fn has_shares(&self, experiment: &ExperimentKey) -> bool {
        self.shares.contains_key(experiment)
    }

    /// What the class and the term show about a submission.
    pub(super) fn evidence(&self, at: Where, slot: &Slot) -> ClassEvidence {
        let habits = self.habits(at, &slot.student);
        let Some(class) = self.classes.get(&slot.experiment) else {
            return ClassEvidence {
                habits,
                ..ClassEvidence::default()
            };
        };
        let place = self.roster.place(&slot.student);
        let consensus = place.and_then(|place| class.consensus.get(&place));
        let likeness = self.likeness.get(&slot.experiment);
        let of_student = |index: &Arc<LikenessIndex>| index.of_student(&slot.student);
        ClassEvidence {
            likenesses: likeness.map(of_student).unwrap_or_default(),
            spread: class.spread,
            consensus: consensus.cloned(),
            habits,
        }
    }

    /// What a student's reports of the term show together, up to this experiment.
    pub(super) fn habits(&self, at: Where, student: &StudentId) -> Habits {
        let so_far = at.term.experiments.iter();
        let so_far = so_far.take_while(|one| one.key != at.experiment.key);
        let place = self.roster.place(student);
        let term = so_far.chain([at.experiment]).filter_map(|experiment| {
            let shares = self.shares.get(&experiment.key)?;
            Some(TermScatter {
                experiment: &experiment.procedure.title,
                share: *shares.by_place.get(&place?)?,
                class_s: shares.class_s,
            })
        });
        let term: Vec<TermScatter> = term.collect();
        let digits: Vec<EndDigits> = term.iter().map(|one| one.share.digits).collect();
        Habits {
            even_trials: pooled_scatter(&term),
            odd_digits: pooled_digits(&digits),
        }
    }
}

impl ClassPage {
    fn put(&mut self, at: Where, slot: &Slot, judged: Option<&Judged>) {
        self.gather.put(at, slot, judged);
        let Some((place, _)) = at.place(&slot.student) else {
            return;
        };
        match judged.and_then(within) {
            Some(ratio) => self.within.insert(place, ratio),
            None => self.within.remove(&place),
        };
    }

    /// What follows for everybody from what was put in.
    fn conclude(&mut self, at: Where) {
        self.gather.state(at);
        self.consensus = self.shifts(at);
        let errors = self.gather.crossed().errors();
        let off: Vec<f64> = errors
            .map(|(place, error, standard)| {
                let shift = self.consensus.get(&place);
                let shift = shift.map_or(0.0, |consensus| consensus.percent);
                (error - shift) / standard
            })
            .collect();
        let middle = median(&off).unwrap_or(0.0);
        let between: Vec<f64> = off.iter().map(|off| off - middle).collect();
        let within: Vec<f64> = self.within.values().copied().collect();
        self.spread = ClassSpread::of(&within, &between);
    }

    /// By how much results are shifted through groups that are off. Bench mates have the shift of the readings they share.
    fn shifts(&self, at: Where) -> BTreeMap<usize, Consensus> {
        let Some(groups) = audited_if_off(self.gather.crossed()) else {
            return BTreeMap::new();
        };
        let results = self.gather.results();
        let last = results.last_key_value().map_or(0, |(place, _)| *place);
        let times = (0..=last).map(|place| results.get(&place)?.observed.at_days);
        let shifts = shifts_at(&times.collect::<Vec<_>>(), &groups);
        let shift = |place: &usize| Some(Consensus::from(shifts.get(*place)?.clone()?));
        let own = results.keys();
        let own = own.filter_map(|place| Some((*place, shift(place)?)));
        let mates = at.term.groups.keys();
        let mates = mates.filter(|slot| slot.experiment == at.experiment.key);
        let mates = mates.filter_map(|slot| {
            let (reader, _) = at.term.handed_in_by(slot)?;
            let (of_reader, _) = at.place(&reader.student)?;
            let shift = (reader != slot).then(|| shift(&of_reader))?;
            let (place, _) = at.place(&slot.student)?;
            Some((place, shift?))
        });
        own.chain(mates).collect()
    }
}

/// A student's s over the median of what reading and endpoint predict for it.
fn within(judged: &Judged) -> Option<f64> {
    let outcome = judged.evaluation.outcome.as_ref()?;
    let predicted = as_f64(outcome.predicted_scatter?);
    let freedom = outcome.counted.checked_sub(1)?;
    let ratio = (predicted > 0.0).then_some(as_f64(outcome.std_dev?) / predicted)?;
    Some(ratio / median_of_s(freedom)?)
}
