//! Results released to a section or (none) to all of them, or (no time) withdrawn.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, newer, nothing};
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetRelease {
    pub experiment: ExperimentKey,
    pub section: Option<SectionName>,
    pub released_at: Option<Timestamp>,
}

impl ChangeKind for SetRelease {
    const NAME: &'static str = "release";
    const FILE: Option<fn() -> RecordsOf<Self>> = None;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

    fn subject(&self) -> String {
        let section = self.section.as_ref().map(|name| format!("/{name}"));
        format!("{}{}", self.experiment, section.unwrap_or_default())
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.set_release(&self.experiment, self.section.as_ref(), self.released_at);
    }

    fn reach(&self) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for (experiment, release) in newer(&held.released, &incoming.released) {
            let known = held.released.get(experiment).cloned().unwrap_or_default();
            let mut put = |section: Option<&SectionName>, released_at| {
                fresh.push(Self {
                    experiment: experiment.clone(),
                    section: section.cloned(),
                    released_at,
                });
            };
            // a release to everybody ends what was arranged for single sections
            let anew = release.everyone.is_some() && release.everyone != known.everyone;
            if anew {
                put(None, release.everyone);
            }
            for (section, at) in &release.sections {
                if anew || known.sections.get(section) != Some(at) {
                    put(Some(section), *at);
                }
            }
        }
        fresh
    }
}
