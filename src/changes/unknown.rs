//! An unknown, or another value for one.

use serde::{Deserialize, Serialize};

use super::lot::brought_in_again;
use super::{ChangeKind, GivenValue, Made, Reach, Replaced, next_version, written};
use crate::ids::{ExperimentKey, StudentId};
use crate::term::Term;
use crate::truth::{Bottle, Unknown};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct UnknownValue {
    pub experiment: ExperimentKey,
    #[serde(flatten)]
    pub unknown: Unknown,
    pub source: Option<String>,
    /// Why it replaces the value before; empty for the first.
    pub reason: String,
}

impl ChangeKind for UnknownValue {
    const NAME: &'static str = "unknown";
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = values;

    fn subject(&self) -> String {
        format!("{}/{}", self.experiment, self.unknown.code)
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn given_value(&self) -> Option<GivenValue<'_>> {
        Some(GivenValue {
            bottle: Bottle::unknown(&self.experiment, &self.unknown.code),
            version: self.unknown.version,
            source: self.source.as_ref(),
        })
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let code = &self.unknown.code;
        let named = (self.experiment.clone(), code.clone());
        match &self.source {
            Some(text) => term.sources.unknowns.insert(named, text.clone()),
            None => term.sources.unknowns.remove(&named),
        };
        let unknowns = term.unknowns.entry(self.experiment.clone()).or_default();
        unknowns.insert(code.clone(), self.unknown.clone());
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Experiment(self.experiment.clone())
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for (experiment, unknowns) in &incoming.unknowns {
            let known = held.unknowns.get(experiment);
            for unknown in unknowns.values() {
                let old = known.and_then(|known| known.get(&unknown.code));
                let named = (experiment.clone(), unknown.code.clone());
                let source = incoming.sources.unknowns.get(&named).cloned();
                let same = old.is_some_and(|old| old.truth == unknown.truth)
                    && held.sources.unknowns.get(&named) == source.as_ref();
                if !same {
                    let version = next_version(old.map(|u| u.version)).max(unknown.version);
                    fresh.push(Self {
                        experiment: experiment.clone(),
                        unknown: Unknown {
                            version,
                            ..unknown.clone()
                        },
                        source,
                        reason: brought_in_again(old.is_some()),
                    });
                }
            }
        }
        fresh
    }
}

fn values(value: &UnknownValue, term: &Term) -> Vec<Replaced> {
    let (key, unknown) = (&value.experiment, &value.unknown);
    let Some(experiment) = term.experiment(key) else {
        return Vec::new();
    };
    let named = (key.clone(), unknown.code.clone());
    let old = term.unknowns.get(key);
    let old = old.and_then(|unknowns| unknowns.get(&unknown.code));
    vec![Replaced {
        name: format!("Unknown {}", unknown.code),
        unit: experiment.procedure.result.unit.name(),
        before: old.map(|old| written(old.truth.open(), term.sources.unknowns.get(&named))),
        after: written(unknown.truth.open(), value.source.as_ref()),
        unknown: Some(unknown.code.clone()),
    }]
}
