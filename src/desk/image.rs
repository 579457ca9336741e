//! The course in memory.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use super::FileTexts;
use crate::changes::{Change, Made, Reach};
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::store::{Connection, StoreError, Stored, load_stored};
use crate::term::{BySlot, ClassBook, ExperimentAudit, Judged, Preview, Slot, Term};

/// The course in memory, as it is on disk.
#[derive(Clone, Debug)]
pub struct Image {
    pub term: Term,
    /// Everything handed in, judged.
    pub judged: BySlot<Judged>,
    /// Whether anybody has named the course yet.
    founded: bool,
    /// Number of the newest change it knows of.
    newest: i64,
    audits: Audits,
}

/// By experiment; each is made when somebody first asks, and kept until something of its experiment changes.
type Audits = BTreeMap<ExperimentKey, Arc<OnceLock<ExperimentAudit>>>;

impl Image {
    /// Reads what is in the database. What this program cannot read of its judgements it makes anew.
    pub(super) async fn load(connection: &mut Connection) -> Result<Self, StoreError> {
        let Stored {
            term,
            founded,
            mut judged,
            rules: _,
            newest,
        } = load_stored(connection, &FileTexts).await?;
        let handed_in = term.submissions.keys();
        let unread = handed_in.filter(|slot| !judged.contains_key(slot));
        let unread: Vec<Slot> = unread.cloned().collect();
        let reaches: Vec<Reach> = unread.into_iter().map(Reach::Section).collect();
        let mut book = ClassBook::default();
        let fresh = term.judge_reached(&judged, &mut book, &reaches).into_iter();
        judged.extend(fresh.filter_map(|(slot, one)| Some((slot, one?))));
        Ok(Self {
            term,
            judged,
            founded,
            newest,
            audits: Audits::new(),
        }
        .with_audits(Audits::new()))
    }

    pub(super) fn apply(&mut self, change: &Change, made: &Made) {
        self.term.apply(change, Some(made));
        self.founded |= matches!(change, Change::Course(_));
        self.newest = made.seq;
    }

    /// Judgements in course order, then in the order of people.
    pub fn in_course_order(&self) -> Vec<(Slot, Judged)> {
        let term = &self.term;
        let experiments = term.experiments.iter();
        let students = term.in_order();
        let slots = experiments.flat_map(|e| students.iter().map(|s| Slot::new(&e.key, &s.id)));
        slots
            .filter_map(|slot| {
                self.judged
                    .get(&slot)
                    .map(|one| (slot.clone(), one.clone()))
            })
            .collect()
    }

    /// The audit of an experiment, made now if nobody has asked for it.
    pub fn audit(&self, experiment: &Experiment) -> Option<&ExperimentAudit> {
        let audit = self.audits.get(&experiment.key)?;
        Some(audit.get_or_init(|| self.term.audit_of(experiment, &self.judged)))
    }

    /// Those of all experiments, in course order.
    pub fn audits(&self) -> Vec<&ExperimentAudit> {
        let experiments = self.term.experiments.iter();
        experiments.filter_map(|one| self.audit(one)).collect()
    }

    /// Makes every audit that is wanting, on no thread that serves pages.
    pub async fn audited(self: &Arc<Self>) -> Result<(), StoreError> {
        if self.audits.values().all(|audit| audit.get().is_some()) {
            return Ok(());
        }
        let image = Arc::clone(self);
        let made = tokio::task::spawn_blocking(move || image.audits().len());
        made.await.map(|_| ()).map_err(StoreError::broken_off)
    }

    /// The audits that still hold after changes of some reach; empty places for the others.
    pub(super) fn standing_audits(&self, reaches: &[Reach]) -> Audits {
        let is_reached = |key: &ExperimentKey| {
            let rests_on = self.term.rests_on(key);
            let into = |reach: &Reach| rests_on.iter().any(|key| reach.is_into(key));
            reaches.iter().any(into)
        };
        let audits = self.audits.iter().filter(|(key, _)| !is_reached(key));
        audits
            .map(|(key, audit)| (key.clone(), Arc::clone(audit)))
            .collect()
    }

    pub(super) fn with_audits(mut self, audits: Audits) -> Self {
        self.audits = audits;
        for experiment in &self.term.experiments {
            self.audits.entry(experiment.key.clone()).or_default();
        }
        self
    }

    /// Number of the newest change it knows of.
    pub fn newest(&self) -> i64 {
        self.newest
    }

    pub(super) fn is_founded(&self) -> bool {
        self.founded
    }

    /// Puts judgements in the place of those they differ from; none where nothing is left to judge.
    pub(super) fn replace(&mut self, altered: impl IntoIterator<Item = (Slot, Option<Judged>)>) {
        for (slot, judged) in altered {
            match judged {
                Some(judged) => self.judged.insert(slot, judged),
                None => self.judged.remove(&slot),
            };
        }
    }

    /// What changes would come to; nothing is changed. `book` is what is known of the classes.
    pub(super) fn preview(&self, book: &mut ClassBook, changes: &[Change]) -> Preview {
        self.term.preview(&self.judged, book, changes)
    }

    /// Whether every section of the course has the results of an experiment. Whether a student has them is another
    /// question: [`Image::is_released_to`].
    pub fn is_released(&self, experiment: &ExperimentKey) -> bool {
        let sections = self.term.sections();
        let released = self.term.released.get(experiment);
        released.is_some_and(|release| match sections.is_empty() {
            true => release.everyone.is_some(),
            false => sections.iter().all(|section| release.of(section).is_some()),
        })
    }

    /// Whether the results are out for a student. Until they are, nothing that depends on the truth is shown to them.
    pub fn is_released_to(&self, slot: &Slot) -> bool {
        let student = self.term.student(&slot.student);
        student.is_some_and(|s| {
            self.term
                .released_to(&slot.experiment, &s.section)
                .is_some()
        })
    }
}
