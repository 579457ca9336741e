//! What hand-ins of a term share with those of earlier terms, whose courses stand beside it: nothing of it enters a
//! judgement, since a course is judged by what is in it.

use std::collections::BTreeSet;

use super::Term;
use crate::ids::{CourseKey, ExperimentKey, SectionName, StudentId};
use crate::judge::{EarlierSets, Likeness, Peer};
use crate::procedure::Measured;

/// What was handed in in earlier terms, as far as it can be laid beside the experiments of one course: facts, and whose
/// they are.
#[derive(Clone, Debug, Default)]
pub struct EarlierTerms(Vec<OfProcedure>);

#[derive(Clone, Debug)]
struct OfProcedure {
    measured: Measured,
    sets: EarlierSets,
    /// Of each set.
    origins: Vec<EarlierHandIn>,
}

/// Where a hand-in of an earlier term stands.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierHandIn {
    pub course: CourseKey,
    pub experiment: ExperimentKey,
    /// Whose it is, with their sections there: one, or several of a bench group.
    pub students: Vec<(StudentId, SectionName)>,
}

/// A hand-in that shares readings with one of an earlier term beyond chance.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedEarlier {
    pub experiment: ExperimentKey,
    /// Whose it is: one, or several of a bench group.
    pub students: Vec<StudentId>,
    pub with: EarlierHandIn,
    /// Names nobody.
    pub likeness: Likeness,
}

impl EarlierTerms {
    /// Nothing yet, for the experiments of a term whose readings tell one student's work from another's.
    pub fn wanted_by(term: &Term) -> Self {
        let mut wanted: Vec<OfProcedure> = Vec::new();
        for measured in measured(term) {
            if wanted.iter().all(|one| one.measured != measured) {
                wanted.push(OfProcedure {
                    measured,
                    sets: EarlierSets::default(),
                    origins: Vec::new(),
                });
            }
        }
        Self(wanted)
    }

    /// Whether it was gathered for the experiments of a term as they are.
    pub fn is_wanted_by(&self, term: &Term) -> bool {
        let wanted = Self::wanted_by(term);
        let pairs = || self.0.iter().zip(&wanted.0);
        self.0.len() == wanted.0.len() && pairs().all(|(a, b)| a.measured == b.measured)
    }

    /// Takes in an earlier course; `gone` are those of whom it is no longer known who they are.
    pub fn add(&mut self, course: &CourseKey, term: &Term, gone: &BTreeSet<StudentId>) {
        for experiment in &term.experiments {
            let measured = experiment.procedure.measured();
            let Some(own) = self.0.iter_mut().find(|one| one.measured == measured) else {
                continue;
            };
            let mut peers = term.peers(experiment);
            for peer in &mut peers {
                peer.students.retain(|id| !gone.contains(*id));
            }
            peers.retain(|peer| !peer.students.is_empty());
            // an experiment of the same procedure in one course is another class
            let class = format!("{course}\n{}", experiment.key);
            own.sets.add(&experiment.procedure, &class, &peers);
            own.origins.extend(peers.iter().map(|peer| EarlierHandIn {
                course: course.clone(),
                experiment: experiment.key.clone(),
                students: students(term, peer),
            }));
        }
    }

    /// How many hand-ins of earlier terms there are.
    pub fn hand_ins(&self) -> usize {
        self.0.iter().map(|one| one.sets.len()).sum()
    }

    /// What the hand-ins of a term share with them beyond chance, in course order, then in roster order.
    pub fn shared_with(&self, term: &Term) -> Vec<SharedEarlier> {
        let mut shared = Vec::new();
        for experiment in &term.experiments {
            let measured = experiment.procedure.measured();
            let of = self.0.iter().find(|one| one.measured == measured);
            let Some(of) = of.filter(|of| !of.sets.is_empty()) else {
                continue;
            };
            let peers = term.peers(experiment);
            let found = of.sets.shared_by(&experiment.procedure, &peers);
            shared.extend(found.into_iter().filter_map(|one| {
                Some(SharedEarlier {
                    experiment: experiment.key.clone(),
                    students: one.students.into_iter().map(StudentId::new).collect(),
                    with: of.origins.get(one.earlier)?.clone(),
                    likeness: one.likeness,
                })
            }));
        }
        shared
    }
}

fn measured(term: &Term) -> impl Iterator<Item = Measured> {
    let procedures = term.experiments.iter().map(|one| &one.procedure);
    let telling = procedures.filter(|procedure| procedure.scheme.tells_apart());
    telling.map(|procedure| procedure.measured())
}

fn students(term: &Term, peer: &Peer) -> Vec<(StudentId, SectionName)> {
    let known = peer.students.iter().filter_map(|id| {
        let student = term.student(id)?;
        Some((student.id.clone(), student.section.clone()))
    });
    known.collect()
}
